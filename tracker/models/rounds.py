"""Restocking rounds as they are driven: vehicle-days, stops, what was planned and what was handed over."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import HandWhy, LeftOut, RoundState, StopState


class TravelMinutes(Base):
    """Minutes of driving from one area to another or within one; they hold both ways unless both are written."""

    __tablename__ = "travel_minutes"
    __table_args__ = (
        UniqueConstraint("programme_id", "from_area_id", "to_area_id"),
        CheckConstraint("minutes BETWEEN 1 AND 1440", name="minutes"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    from_area_id: Mapped[int] = mapped_column(ForeignKey("area.id"))
    to_area_id: Mapped[int] = mapped_column(ForeignKey("area.id"))
    minutes: Mapped[int]


class StoreSite(Base):
    """Where a store stands: its area, and its position where one is known."""

    __tablename__ = "store_site"
    __table_args__ = (
        UniqueConstraint("place_id"),
        CheckConstraint("latitude_udeg IS NULL OR latitude_udeg BETWEEN -90000000 AND 90000000", name="latitude"),
        CheckConstraint("longitude_udeg IS NULL OR longitude_udeg BETWEEN -180000000 AND 180000000", name="longitude"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    area_id: Mapped[int] = mapped_column(ForeignKey("area.id"))
    latitude_udeg: Mapped[int | None]
    longitude_udeg: Mapped[int | None]


class DeliveryHours(Base):
    """When a school receives goods on a weekday (0 Monday), from a day on. Without a row: in its school hours."""

    __tablename__ = "delivery_hours"
    __table_args__ = (
        UniqueConstraint("school_id", "weekday", "from_day"),
        CheckConstraint("weekday BETWEEN 0 AND 6", name="weekday"),
        CheckConstraint("opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    weekday: Mapped[int]
    opens_min: Mapped[int]
    closes_min: Mapped[int]
    from_day: Mapped[date]


class Round(Base):
    """One restocking trip over several schools, from a store. ``key`` is what the form sent: twice makes one round."""

    __tablename__ = "restock_round"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        UniqueConstraint("programme_id", "key"),
        CheckConstraint("next_day > day", name="days"),
        CheckConstraint("budget_minor IS NULL OR budget_minor >= 0", name="budget"),
        CheckConstraint("stay_min BETWEEN 0 AND 480", name="stay"),
        CheckConstraint("state <> 'closed' OR closed_at IS NOT NULL", name="closed"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    key: Mapped[str] = mapped_column(String(64))
    store_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    day: Mapped[date]
    next_day: Mapped[date]
    aim: Mapped[str] = mapped_column(String(40))
    budget_minor: Mapped[int | None]
    stay_min: Mapped[int]
    state: Mapped[RoundState] = mapped_column(word(RoundState))
    closed_at: Mapped[datetime | None] = mapped_column(Instant)
    note: Mapped[str] = mapped_column(String(200), default="")


class RoundDay(Base):
    """A vehicle on a day of a round: when it leaves, its hours and most stops; when it set out and was unloaded."""

    __tablename__ = "round_day"
    __table_args__ = (
        UniqueConstraint("round_id", "vehicle_id", "day"),
        CheckConstraint("starts_min BETWEEN 0 AND 1439", name="starts"),
        CheckConstraint("limit_min BETWEEN 1 AND 1440", name="hours"),
        CheckConstraint("most_stops IS NULL OR most_stops >= 1", name="stops"),
        CheckConstraint("back_at IS NULL OR set_out_at IS NOT NULL", name="back"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    round_id: Mapped[int] = mapped_column(ForeignKey("restock_round.id"))
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"))
    day: Mapped[date]
    starts_min: Mapped[int]
    limit_min: Mapped[int]
    most_stops: Mapped[int | None]
    set_out_at: Mapped[datetime | None] = mapped_column(Instant)
    back_at: Mapped[datetime | None] = mapped_column(Instant)


class RoundStop(Base):
    """A school of a round: on which vehicle-day and in which place, and what became of it.

    Without a vehicle-day the school is left out, and ``left_out`` says why. ``received_by`` is a name or an office
    of the staff, never a pupil's.
    """

    __tablename__ = "round_stop"
    __table_args__ = (
        UniqueConstraint("round_id", "school_id"),
        CheckConstraint("round_day_id IS NOT NULL OR left_out IS NOT NULL", name="left_out"),
        CheckConstraint("state <> 'not reached' OR length(reason) > 0", name="reason"),
        CheckConstraint("state <> 'done' OR length(received_by) > 0", name="received"),
        Index("ix_round_stop_day", "round_day_id", "place_no"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    round_id: Mapped[int] = mapped_column(ForeignKey("restock_round.id"))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"), index=True)
    round_day_id: Mapped[int | None] = mapped_column(ForeignKey("round_day.id"))
    left_out: Mapped[LeftOut | None] = mapped_column(word(LeftOut))
    place_no: Mapped[int] = mapped_column(default=0)
    arrive_min: Mapped[int | None]  # as planned, local minutes after midnight
    need_thousandths: Mapped[int] = mapped_column(default=0)
    state: Mapped[StopState] = mapped_column(word(StopState), default=StopState.TO_DO)
    reason: Mapped[str] = mapped_column(String(200), default="")
    received_by: Mapped[str] = mapped_column(String(80), default="")
    at: Mapped[datetime | None] = mapped_column(Instant)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class RoundLine(Base):
    """Pieces of a product planned for a stop, and handed over there (blank: not recorded yet)."""

    __tablename__ = "round_line"
    __table_args__ = (
        UniqueConstraint("stop_id", "product_id"),
        CheckConstraint("planned >= 0", name="planned"),
        CheckConstraint("handed IS NULL OR handed >= 0", name="handed"),
        CheckConstraint("handed IS NULL OR handed = planned OR why IS NOT NULL", name="why"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    stop_id: Mapped[int] = mapped_column(ForeignKey("round_stop.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    planned: Mapped[int]
    handed: Mapped[int | None]
    why: Mapped[HandWhy | None] = mapped_column(word(HandWhy, 40))


class RoundReturn(Base):
    """What was counted off a vehicle-day when it came back, and why that differs from what should be on it."""

    __tablename__ = "round_return"
    __table_args__ = (
        UniqueConstraint("round_day_id", "product_id"),
        CheckConstraint("loaded >= 0 AND returned >= 0", name="pieces"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    round_day_id: Mapped[int] = mapped_column(ForeignKey("round_day.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    loaded: Mapped[int]
    handed: Mapped[int]
    returned: Mapped[int]
    why: Mapped[HandWhy | None] = mapped_column(word(HandWhy, 40))
