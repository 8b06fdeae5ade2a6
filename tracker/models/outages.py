"""Outages, what somebody saw, visits of the engineer, and dangers reported at once."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Cause, Danger, Source, State, VisitPurpose


class Outage(Base):
    """An interval in which a unit could not be used. Same unit, source and cause never overlap (trigger).

    ``event`` joins outages of one common cause (one low tank, six cabins). A dangerous one is closed only with
    the name of the competent person who checked.
    """

    __tablename__ = "outage"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        UniqueConstraint("unit_id", "source", "cause", "start_at"),
        CheckConstraint("end_at IS NULL OR end_at > start_at", name="order"),
        CheckConstraint("cause <> 'danger' OR end_at IS NULL OR length(checked_by) > 0", name="danger_checked"),
        Index("ix_outage_unit_start", "unit_id", "start_at"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    end_sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    source: Mapped[Source] = mapped_column(word(Source))
    cause: Mapped[Cause] = mapped_column(word(Cause))
    start_at: Mapped[datetime] = mapped_column(Instant)
    end_at: Mapped[datetime | None] = mapped_column(Instant)
    event: Mapped[str | None] = mapped_column(String(40))
    said_by: Mapped[str] = mapped_column(String(80), default="")
    danger: Mapped[Danger | None] = mapped_column(word(Danger))
    checked_by: Mapped[str] = mapped_column(String(80), default="")
    checked_on: Mapped[date | None]
    note: Mapped[str] = mapped_column(String(200), default="")


class Sighting(Base):
    """Somebody looked at a unit on a day and says what they saw. Silence is not a sighting."""

    __tablename__ = "sighting"
    __table_args__ = (
        UniqueConstraint("unit_id", "day", "source"),
        Index("ix_sighting_unit_day", "unit_id", "day"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    source: Mapped[Source] = mapped_column(word(Source))
    day: Mapped[date]
    state: Mapped[State] = mapped_column(word(State))


class ServiceVisit(Base):
    """A visit to a unit: what for, what was found, what was done, parts used. Done is empty while it is a job."""

    __tablename__ = "service_visit"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        CheckConstraint("done_at IS NULL OR length(done) > 0", name="said_what_was_done"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"), index=True)
    outage_id: Mapped[int | None] = mapped_column(ForeignKey("outage.id"))
    purpose: Mapped[VisitPurpose] = mapped_column(word(VisitPurpose))
    asked_on: Mapped[date]
    done_at: Mapped[datetime | None] = mapped_column(Instant)
    by_person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    found: Mapped[str] = mapped_column(String(200), default="")
    done: Mapped[str] = mapped_column(String(200), default="")
    parts: Mapped[str] = mapped_column(String(200), default="")
    back_in_service: Mapped[bool] = mapped_column(default=False)
