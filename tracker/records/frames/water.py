"""Tanks, deliveries, cleaning by the clock, flushes worked by hand, energy, and what incinerators are rated for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.disposal import BurnOutput, IncineratorRating
from tracker.models.units import Unit
from tracker.models.usage import WaterDelivery
from tracker.models.water import CleaningPlan, EnergyGiven, HandFlush, PowerUse, Tank, TankScope
from tracker.records.frames.base import DAY, Scope, day_in, holds_in, read, schools_in, week_in, words

DATES = {"from_day": DAY, "until_day": DAY}
TANKS = {"unit_id": "int64", "school_id": "int64", "capacity_ml": "float64", "inflow_known": "bool", **DATES}
TANK_SCOPES = {"tank_id": "int64", "unit_id": "int64", "whole": "bool", **DATES}
DELIVERIES = {"tank_id": "int64", "school_id": "int64", "day": DAY, "origin": "str", "ml": "float64"}
CLEANING_PLANS = {
    "unit_id": "int64",
    "cycle": "str",
    "ml": "float64",
    "times": "int64",
    "every": "str",
    "litres_basis": "str",
    "u_permille": "float64",
    **DATES,
}
HAND_FLUSHES = {
    "unit_id": "int64",
    "ml": "float64",
    "share_permille": "float64",
    "share_low_permille": "float64",
    "share_high_permille": "float64",
    "share_seen": "bool",
    "instead": "bool",
    "litres_basis": "str",
    "u_permille": "float64",
    **DATES,
}
POWER_USES = {
    "unit_id": "int64",
    "part": "str",
    "watts": "float64",
    "seconds": "float64",
    "wh_thousandths": "float64",
    "every_n": "int64",
    "u_permille": "float64",
    **DATES,
}
ENERGY_GIVEN = {"meter_id": "int64", "week": DAY, "origin": "str", "wh": "float64", "u_rel": "float64"}
RATINGS = {"unit_id": "int64", "pads": "float64", "grams": "float64", "burns_a_day": "float64", **DATES}
BURN_OUTPUTS = {"unit_id": "int64", "week": DAY, "ash_g": "float64", "energy_wh": "float64"}


def _held(session: Session, scope: Scope, row: Any, columns: Mapping[str, str], *read_as: Any) -> pd.DataFrame:
    """Rows of units that hold on a day of the scope, in order of unit and day."""
    query = select(*read_as, row.from_day, row.until_day).join(Unit, Unit.id == row.unit_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), holds_in(row, scope))
    return read(session, columns, query.order_by(row.unit_id, row.from_day, row.id))


def tanks(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``tanks``: what tanks hold; a tank may have several rows, one after another."""
    row = Tank
    return _held(session, scope, row, TANKS, row.unit_id, Unit.school_id, row.capacity_ml, row.inflow_known)


def tank_scopes(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``tank_scopes``: units that draw on a tank; ``whole``: all that draws on it is listed."""
    return _held(session, scope, TankScope, TANK_SCOPES, TankScope.tank_id, TankScope.unit_id, TankScope.whole)


def deliveries(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``deliveries``: water that was brought to tanks, caught as rain, or recovered, on days of the scope."""
    row = WaterDelivery
    query = select(row.tank_id, Unit.school_id, row.day, row.origin, row.ml).join(Unit, Unit.id == row.tank_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), day_in(row.day, scope))
    return read(session, DELIVERIES, query.order_by(row.tank_id, row.day, row.id))


def cleaning_plans(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``cleaning_plans``: cycles that run by the clock."""
    row = CleaningPlan
    columns = (row.unit_id, row.name, row.ml, row.times, words(row.every), words(row.litres_basis), row.u_permille)
    return _held(session, scope, row, CLEANING_PLANS, *columns)


def hand_flushes(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``hand_flushes``: flushes worked by hand beside the automatic ones, with the share of visits."""
    row = HandFlush
    shares = (row.share_permille, row.share_low_permille, row.share_high_permille, row.share_seen)
    columns = (row.unit_id, row.ml, *shares, row.instead, words(row.litres_basis), row.u_permille)
    return _held(session, scope, row, HAND_FLUSHES, *columns)


def power_uses(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``power_uses``: what parts of units take of energy."""
    row = PowerUse
    columns = (row.unit_id, words(row.part), row.watts, row.seconds, row.wh_thousandths, row.every_n, row.u_permille)
    return _held(session, scope, row, POWER_USES, *columns)


def energy_given(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``energy_given``: solar or recovered energy by meter and week; u_rel is 0 to 1."""
    row = EnergyGiven
    query = select(row.meter_id, row.week, words(row.origin), row.wh, row.u_permille / 1000.0)
    query = query.join(Unit, Unit.id == row.meter_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), week_in(row.week, scope))
    return read(session, ENERGY_GIVEN, query.order_by(row.meter_id, row.week, row.origin))


def ratings(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``ratings``: what the plates of incinerators allow; NaN where a plate does not say."""
    row = IncineratorRating
    return _held(session, scope, row, RATINGS, row.unit_id, row.pads, row.grams, row.burns_a_day)


def burn_outputs(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``burn_outputs``: ash and energy of an incinerator's week; NaN where it was not weighed or read."""
    row = BurnOutput
    query = select(row.unit_id, row.week, row.ash_g, row.energy_wh).join(Unit, Unit.id == row.unit_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), week_in(row.week, scope))
    return read(session, BURN_OUTPUTS, query.order_by(row.unit_id, row.week))
