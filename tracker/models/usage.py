"""What was counted and read: visits, long visits, dial readings, levels, deliveries of water."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import CountWay, Quantity, Source


class UsageCount(Base):
    """Visits of a unit in a slot (a break, "other" times, or "all") over one day, or over a week's days."""

    __tablename__ = "usage_count"
    __table_args__ = (
        UniqueConstraint("unit_id", "first_day", "days", "slot", "source"),
        CheckConstraint("visits >= 0", name="visits"),
        CheckConstraint("days BETWEEN 1 AND 7", name="days"),
        CheckConstraint("days = 1 OR slot = 'all'", name="week_slot"),
        CheckConstraint("how <> 'counter' AND how <> 'none'", name="how_counted"),
        Index("ix_usage_count_unit_week", "unit_id", "week"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    week: Mapped[date]
    first_day: Mapped[date]
    days: Mapped[int] = mapped_column(default=1)
    slot: Mapped[str] = mapped_column(String(16))
    source: Mapped[Source] = mapped_column(word(Source))
    how: Mapped[CountWay] = mapped_column(word(CountWay))
    visits: Mapped[int]
    note: Mapped[str] = mapped_column(String(200), default="")


class LongWeek(Base):
    """Of the visits looked at in a week, those longer than the fitting's threshold. Never finer than a week."""

    __tablename__ = "long_week"
    __table_args__ = (
        UniqueConstraint("unit_id", "week", "source"),
        CheckConstraint("seen > 0", name="seen"),
        CheckConstraint("long_visits BETWEEN 0 AND seen", name="long_visits"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    week: Mapped[date]
    source: Mapped[Source] = mapped_column(word(Source))
    seen: Mapped[int]
    long_visits: Mapped[int]


class Reading(Base):
    """A dial's digits read as one whole number of its smallest steps."""

    __tablename__ = "reading"
    __table_args__ = (
        UniqueConstraint("unit_id", "quantity", "source", "at"),
        CheckConstraint("value >= 0", name="value"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    quantity: Mapped[Quantity] = mapped_column(word(Quantity))
    source: Mapped[Source] = mapped_column(word(Source))
    at: Mapped[datetime] = mapped_column(Instant)
    day: Mapped[date]  # local day of ``at``
    week: Mapped[date]
    value: Mapped[int]
    note: Mapped[str] = mapped_column(String(200), default="")


class Level(Base):
    """A tank's or used-supply bin's level in quarters (0 empty, 4 full)."""

    __tablename__ = "level"
    __table_args__ = (
        UniqueConstraint("unit_id", "day", "source"),
        CheckConstraint("quarters BETWEEN 0 AND 4", name="quarters"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    source: Mapped[Source] = mapped_column(word(Source))
    day: Mapped[date]
    quarters: Mapped[int]


class WaterDelivery(Base):
    """Water brought to a tank, or recovered on site."""

    __tablename__ = "water_delivery"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        CheckConstraint("ml > 0", name="ml"),
        CheckConstraint("origin IN ('tanker', 'rain', 'recovered')", name="origin"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    tank_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    day: Mapped[date]
    origin: Mapped[str] = mapped_column(String(16))
    ml: Mapped[int]
