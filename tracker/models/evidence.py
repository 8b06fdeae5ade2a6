"""What makes a report believable: trials declared ahead, figures that somebody else checked, whose money it was."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Better, FittingKind, Measure, SpotFigure, TrialSide


class Trial(Base):
    """A comparison as it was declared. One that was declared late is kept; its days say so."""

    __tablename__ = "trial"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("until_day >= from_day", name="order"),
        CheckConstraint("at_least_thousandths >= 0", name="at_least"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    question: Mapped[str] = mapped_column(String(200))
    fitting: Mapped[FittingKind] = mapped_column(word(FittingKind))  # what the units get
    measure: Mapped[Measure] = mapped_column(word(Measure, 40))
    better: Mapped[Better] = mapped_column(word(Better))
    at_least_thousandths: Mapped[int]  # success: a difference of so much, in thousandths of the measure's unit
    from_day: Mapped[date]
    until_day: Mapped[date]
    declared_at: Mapped[datetime] = mapped_column(Instant)
    declared_by: Mapped[str] = mapped_column(String(80))


class TrialUnit(Base):
    """A unit of a trial, on one side of it."""

    __tablename__ = "trial_unit"
    __table_args__ = (UniqueConstraint("trial_id", "unit_id"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trial.id"))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    side: Mapped[TrialSide] = mapped_column(word(TrialSide))


class FundingGrant(Base):
    """Money of a funder or buyer, from a day to its last day."""

    __tablename__ = "funding_grant"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    funder: Mapped[str] = mapped_column(String(80))
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class GrantShare(Base):
    """Thousandths of a school that a grant stands for; over all grants at most 1000 on a day (a rule of intake)."""

    __tablename__ = "grant_share"
    __table_args__ = (
        UniqueConstraint("grant_id", "school_id", "from_day"),
        CheckConstraint("permille BETWEEN 1 AND 1000", name="permille"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    grant_id: Mapped[int] = mapped_column(ForeignKey("funding_grant.id"))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"), index=True)
    permille: Mapped[int]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class SpotDraw(Base):
    """A term's draw of figures to be checked. With its salt anybody can draw again, and it comes out the same."""

    __tablename__ = "spot_draw"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        UniqueConstraint("term_id", "number"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("number = 1 OR length(reason) > 0", name="reason"),
        CheckConstraint("schools >= 1 AND figures_each >= 1", name="size"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(40))  # the term's code and the number
    term_id: Mapped[int] = mapped_column(ForeignKey("term.id"))
    number: Mapped[int]
    drawn_at: Mapped[datetime] = mapped_column(Instant)
    drawn_by: Mapped[str] = mapped_column(String(80))
    salt: Mapped[str] = mapped_column(String(64))
    schools: Mapped[int]  # asked for
    figures_each: Mapped[int]
    reason: Mapped[str] = mapped_column(String(200), default="")  # why the term was drawn again


class SpotCheck(Base):
    """A drawn figure of a school's week, with what was on record when it was drawn. Never changed (trigger)."""

    __tablename__ = "spot_check"
    __table_args__ = (
        UniqueConstraint("draw_id", "school_id", "figure"),
        CheckConstraint("reported >= 0", name="reported"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    draw_id: Mapped[int] = mapped_column(ForeignKey("spot_draw.id"))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"), index=True)
    figure: Mapped[SpotFigure] = mapped_column(word(SpotFigure))
    week: Mapped[date]
    reported: Mapped[int]


class SpotAnswer(Base):
    """What another person found."""

    __tablename__ = "spot_answer"
    __table_args__ = (UniqueConstraint("check_id"), CheckConstraint("found >= 0", name="found"))
    id: Mapped[int] = mapped_column(primary_key=True)
    check_id: Mapped[int] = mapped_column(ForeignKey("spot_check.id"))
    found: Mapped[int]
    checked_by: Mapped[str] = mapped_column(String(80))  # name
    checker_role: Mapped[str] = mapped_column(String(80))
    checked_on: Mapped[date]
    note: Mapped[str] = mapped_column(String(200), default="")
