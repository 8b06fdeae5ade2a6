"""Where used supplies go: routes with their papers, and burns started. Nobody counts used pads."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import Route


class DisposalRoute(Base):
    """A route of a school with its papers and their dates. Local rules decide whether it may be used."""

    __tablename__ = "disposal_route"
    __table_args__ = (
        UniqueConstraint("school_id", "kind", "from_day"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    kind: Mapped[Route] = mapped_column(word(Route))
    from_day: Mapped[date]
    until_day: Mapped[date | None]
    permit_until: Mapped[date | None]  # last day of the permit; none: not permitted
    operator_until: Mapped[date | None]  # last day of the trained operator's certificate
    siting_checked: Mapped[date | None]
    flue_checked: Mapped[date | None]
    ash_route: Mapped[str] = mapped_column(String(80), default="")


class Burn(Base):
    """Burns started at an incinerator over some days of one week."""

    __tablename__ = "burn"
    __table_args__ = (
        UniqueConstraint("unit_id", "first_day"),
        CheckConstraint("burns >= 0", name="burns"),
        CheckConstraint("days BETWEEN 1 AND 7", name="days"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    week: Mapped[date]
    first_day: Mapped[date]
    days: Mapped[int] = mapped_column(default=1)
    burns: Mapped[int]
