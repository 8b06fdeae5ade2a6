"""Tanks and what fills and empties them, cleaning by the clock, flushes worked by hand, and what takes energy.

All dated: a change splits, never rewrites.
"""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import EnergySource, Every, LitresBasis, PowerPart

ORDER = "until_day IS NULL OR until_day >= from_day"
U = "u_permille IS NULL OR u_permille BETWEEN 0 AND 1000"


class Tank(Base):
    """How much a tank holds, and whether all that comes in is written down as deliveries."""

    __tablename__ = "tank"
    __table_args__ = (
        UniqueConstraint("unit_id", "from_day"),
        CheckConstraint(ORDER, name="order"),
        CheckConstraint("capacity_ml > 0", name="capacity"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    capacity_ml: Mapped[int]
    inflow_known: Mapped[bool]  # no pipe fills it unseen; without this its water is not balanced
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class TankScope(Base):
    """A unit that draws on a tank. ``whole``: all that draws on it is listed, so that a balance means something."""

    __tablename__ = "tank_scope"
    __table_args__ = (
        UniqueConstraint("tank_id", "unit_id", "from_day"),
        CheckConstraint(ORDER, name="order"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    tank_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    whole: Mapped[bool]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class CleaningPlan(Base):
    """A cleaning cycle of a unit that runs by the clock: how often, and how much water. No agent is written here."""

    __tablename__ = "cleaning_plan"
    __table_args__ = (
        UniqueConstraint("unit_id", "name", "from_day"),
        CheckConstraint(ORDER, name="order"),
        CheckConstraint("ml >= 0", name="ml"),
        CheckConstraint("times >= 1", name="times"),
        CheckConstraint(U, name="u"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    name: Mapped[str] = mapped_column(String(40))
    ml: Mapped[int]  # of one cycle
    times: Mapped[int]
    every: Mapped[Every] = mapped_column(word(Every))
    litres_basis: Mapped[LitresBasis] = mapped_column(word(LitresBasis))
    u_permille: Mapped[int | None]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class HandFlush(Base):
    """A flush worked by hand beside the automatic one: its litres, and the share of visits with its bounds."""

    __tablename__ = "hand_flush"
    __table_args__ = (
        UniqueConstraint("unit_id", "from_day"),
        CheckConstraint(ORDER, name="order"),
        CheckConstraint("ml >= 0", name="ml"),
        CheckConstraint(
            "share_low_permille BETWEEN 0 AND share_permille AND share_permille <= share_high_permille"
            " AND share_high_permille <= 1000",
            name="share",
        ),
        CheckConstraint(U, name="u"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    ml: Mapped[int]
    share_permille: Mapped[int]
    share_low_permille: Mapped[int]
    share_high_permille: Mapped[int]
    share_seen: Mapped[bool]  # somebody looked; otherwise it is an assumption
    instead: Mapped[bool]  # the automatic flush then does not run
    litres_basis: Mapped[LitresBasis] = mapped_column(word(LitresBasis))
    u_permille: Mapped[int | None]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class PowerUse(Base):
    """What a part of a unit takes: watts for some seconds of a visit, or thousandths of a Wh each time it runs."""

    __tablename__ = "power_use"
    __table_args__ = (
        UniqueConstraint("unit_id", "part", "from_day"),
        CheckConstraint(ORDER, name="order"),
        CheckConstraint(
            "(part = 'light and fan') = (watts IS NOT NULL)"
            " AND (watts IS NULL) = (seconds IS NULL)"
            " AND (watts IS NULL) = (wh_thousandths IS NOT NULL)",
            name="rule",
        ),
        CheckConstraint("watts >= 0 AND seconds >= 0", name="light"),
        CheckConstraint("wh_thousandths >= 0", name="wh"),
        CheckConstraint("every_n >= 1", name="every_n"),
        CheckConstraint(U, name="u"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    part: Mapped[PowerPart] = mapped_column(word(PowerPart))
    watts: Mapped[int | None]  # light and fan while a cabin is in use
    seconds: Mapped[int | None]  # of a visit
    wh_thousandths: Mapped[int | None]  # of a flush, a treatment or a burn
    every_n: Mapped[int] = mapped_column(default=1)  # treatment: after every so many visits
    u_permille: Mapped[int | None]
    from_day: Mapped[date]
    until_day: Mapped[date | None]


class EnergyGiven(Base):
    """Energy of a week that reached what an energy meter serves without passing it: solar, or recovered."""

    __tablename__ = "energy_given"
    __table_args__ = (
        UniqueConstraint("meter_id", "week", "origin"),
        CheckConstraint("wh >= 0", name="wh"),
        CheckConstraint("u_permille BETWEEN 0 AND 1000", name="u"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    meter_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    week: Mapped[date]
    origin: Mapped[EnergySource] = mapped_column(word(EnergySource))
    wh: Mapped[int]
    u_permille: Mapped[int]
