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


class IncineratorRating(Base):
    """What the maker's plate allows, as it is written there; empty where the plate does not say. Never a target."""

    __tablename__ = "incinerator_rating"
    __table_args__ = (
        UniqueConstraint("unit_id", "from_day"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
        CheckConstraint("pads > 0", name="pads"),
        CheckConstraint("grams > 0", name="grams"),
        CheckConstraint("burns_a_day > 0", name="burns_a_day"),
        CheckConstraint("pads IS NOT NULL OR grams IS NOT NULL OR burns_a_day IS NOT NULL", name="something"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    pads: Mapped[int | None]  # in one burn
    grams: Mapped[int | None]  # in one burn
    burns_a_day: Mapped[int | None]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class BurnOutput(Base):
    """Ash taken out and energy taken by an incinerator over a week, where somebody weighed or read it."""

    __tablename__ = "burn_output"
    __table_args__ = (
        UniqueConstraint("unit_id", "week"),
        CheckConstraint("ash_g >= 0", name="ash"),
        CheckConstraint("energy_wh >= 0", name="energy"),
        CheckConstraint("ash_g IS NOT NULL OR energy_wh IS NOT NULL", name="something"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    week: Mapped[date]
    ash_g: Mapped[int | None]
    energy_wh: Mapped[int | None]
