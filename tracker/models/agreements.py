"""Agreements: who bought what, accepted when, under which warranty, interval and promise."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base


class Agreement(Base):
    """What was agreed with a buyer for a school. ``clock_stops`` says in words what stops the repair clock."""

    __tablename__ = "agreement"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("promise_hours > 0", name="promise"),
        CheckConstraint("visit_every_days > 0", name="interval"),
        CheckConstraint("price_minor >= 0", name="price"),
        CheckConstraint("warranty_until IS NULL OR warranty_until >= warranty_from", name="warranty"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    buyer: Mapped[str] = mapped_column(String(80))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    accepted_on: Mapped[date | None]
    warranty_from: Mapped[date | None]
    warranty_until: Mapped[date | None]
    clock_stops: Mapped[str] = mapped_column(String(200), default="")
    promise_hours: Mapped[int]  # elapsed hours to restore
    visit_every_days: Mapped[int]  # days between the engineer's visits
    price_minor: Mapped[int] = mapped_column(default=0)  # a year


class AgreementUnit(Base):
    """A unit under an agreement, with its serial number."""

    __tablename__ = "agreement_unit"
    __table_args__ = (UniqueConstraint("agreement_id", "unit_id"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    agreement_id: Mapped[int] = mapped_column(ForeignKey("agreement.id"))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    serial: Mapped[str] = mapped_column(String(60), default="")
