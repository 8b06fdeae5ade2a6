"""Blocks, units, what is fitted to them, dials and what a meter serves. All dated: a change splits, never rewrites."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import CountWay, FittingKind, Group, LitresBasis, Quantity, Source, UnitKind


class Block(Base):
    """Units under one roof."""

    __tablename__ = "block"
    __table_args__ = (UniqueConstraint("school_id", "code"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    code: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(60))


class BlockGroup(Base):
    """Whom a block is for, from a day on."""

    __tablename__ = "block_group"
    __table_args__ = (UniqueConstraint("block_id", "from_day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    block_id: Mapped[int] = mapped_column(ForeignKey("block.id"))
    grp: Mapped[Group] = mapped_column(word(Group))
    from_day: Mapped[date]


class Unit(Base):
    """One thing that can be up or down. Its code is unique in the school and written on its door."""

    __tablename__ = "unit"
    __table_args__ = (
        UniqueConstraint("school_id", "code"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"), index=True)
    block_id: Mapped[int] = mapped_column(ForeignKey("block.id"))
    code: Mapped[str] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(String(60))
    kind: Mapped[UnitKind] = mapped_column(word(UnitKind))
    accessible: Mapped[bool] = mapped_column(default=False)
    from_day: Mapped[date]
    until_day: Mapped[date | None]  # last day in use
    preferred_source: Mapped[Source] = mapped_column(word(Source), default=Source.TALLY)


class UnitWay(Base):
    """How a unit's visits are counted, from a day on."""

    __tablename__ = "unit_way"
    __table_args__ = (UniqueConstraint("unit_id", "from_day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    way: Mapped[CountWay] = mapped_column(word(CountWay))
    from_day: Mapped[date]


class Fitting(Base):
    """A part fitted from a day on, with its litres. Two flush fittings of a unit do not overlap (trigger)."""

    __tablename__ = "fitting"
    __table_args__ = (
        UniqueConstraint("unit_id", "kind", "from_day"),
        CheckConstraint("until_day IS NULL OR until_day >= from_day", name="order"),
        CheckConstraint("ml >= 0", name="ml"),
        CheckConstraint("long_ml IS NULL OR long_ml >= ml", name="long_ml"),
        CheckConstraint("every_n IS NULL OR every_n >= 1", name="every_n"),
        CheckConstraint("factor_permille IS NULL OR factor_permille BETWEEN 1 AND 1000", name="factor"),
        CheckConstraint("u_permille IS NULL OR u_permille BETWEEN 0 AND 1000", name="u"),
        CheckConstraint(
            "kind <> 'flush_two_stage' OR (long_ml IS NOT NULL AND threshold_s IS NOT NULL)", name="two_stage"
        ),
        CheckConstraint("kind <> 'floor_wash' OR every_n IS NOT NULL", name="floor_wash"),
        CheckConstraint("kind <> 'vacuum' OR factor_permille IS NOT NULL", name="vacuum"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    kind: Mapped[FittingKind] = mapped_column(word(FittingKind))
    ml: Mapped[int]  # a visit, a wash or a floor wash; 0 for vacuum and none
    long_ml: Mapped[int | None]  # two-stage: a long visit
    threshold_s: Mapped[int | None]  # two-stage: a visit longer than this is long
    every_n: Mapped[int | None]  # floor wash: after every so many visits
    factor_permille: Mapped[int | None]  # vacuum: the flush takes this share of its litres
    litres_basis: Mapped[LitresBasis] = mapped_column(word(LitresBasis))
    u_permille: Mapped[int | None]  # relative standard uncertainty of the litres, where known
    from_day: Mapped[date]
    until_day: Mapped[date | None]  # last day fitted


class Dial(Base):
    """A meter's or counter's dial as installed: digits that count, what a step is, where it began and ended.

    ``step_ml`` is the millilitres of one step for water and 1 for counts.
    """

    __tablename__ = "meter_install"
    __table_args__ = (
        UniqueConstraint("unit_id", "quantity", "from_at"),
        CheckConstraint("digits BETWEEN 1 AND 12", name="digits"),
        CheckConstraint("step_ml >= 1", name="step"),
        CheckConstraint("u_permille BETWEEN 0 AND 1000", name="u"),
        CheckConstraint("first_value >= 0", name="first"),
        CheckConstraint("until_at IS NULL OR until_at > from_at", name="order"),
        CheckConstraint("(until_at IS NULL) = (last_value IS NULL)", name="taken_out"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    quantity: Mapped[Quantity] = mapped_column(word(Quantity))
    from_at: Mapped[datetime] = mapped_column(Instant)
    until_at: Mapped[datetime | None] = mapped_column(Instant)
    digits: Mapped[int]
    step_ml: Mapped[int]
    u_permille: Mapped[int] = mapped_column(default=0)
    first_value: Mapped[int]
    last_value: Mapped[int | None]


class MeterScope(Base):
    """A unit that a meter serves. ``whole``: all the meter serves is listed, so that a balance means something."""

    __tablename__ = "meter_scope"
    __table_args__ = (UniqueConstraint("meter_id", "unit_id", "from_day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    meter_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    whole: Mapped[bool]
    from_day: Mapped[date]
    until_day: Mapped[date | None]
