"""Metered water against modelled water, for meters of which everything they serve is listed.

The difference is called unexplained water and nothing else: it holds meter error, uncounted use and rules that
do not fit, as well as water that ran away.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.columns import Whole, keys, matches
from tracker.measures.dials import (
    dial_uses,
    first_week,
    interval_shares,
    intervals_of,
    rows_of,
    school_calendar,
)
from tracker.measures.figure import Figure, Part, not_recorded
from tracker.measures.intervals import sum_u
from tracker.measures.meter_scopes import Scopes, scopes_of
from tracker.measures.water_rows import ML, Z95, WaterRows, all_rows
from tracker.vocabulary import Basis, Quantity, Source, UnitKind

METER_U = 0.02  # relative standard uncertainty of a meter where its own is not given
EPOCH = date(1970, 1, 1)
USED = ("unit_id", "interval", "dial", "steps", "step_ml", "u_permille")
READ = ("unit_id", "quantity", "interval", "start_day", "after_week", "week", "steps", "step_ml")
QUERY_K = 2  # unexplained water beyond this many standard uncertainties asks for a look


@dataclass(frozen=True, slots=True)
class MeterBalance:
    """A meter's three figures, and whether the unexplained water asks for a look."""

    meter_id: int
    meter: str
    school_id: int
    metered: Figure
    modelled: Figure
    unexplained: Figure
    query: bool


@dataclass(frozen=True, slots=True)
class _Records:
    """What every meter's balance reads. rows: in the order of ``unit_weeks``."""

    scopes: Scopes
    rows: WaterRows
    unit_weeks: Whole
    uses: Mapping[int, list[Any]]


def meter_balance(
    units: pd.DataFrame,
    scopes: pd.DataFrame,
    readings: pd.DataFrame,
    water: pd.DataFrame,
    occasions: pd.DataFrame,
    *,
    preferred: Mapping[int, Source] | None = None,
    around: pd.DataFrame | None = None,
    since: date | None = None,
) -> list[MeterBalance]:
    """Metered litres, modelled litres of what the meter serves, and the difference, per meter.

    A week is compared where the scope of the whole week lists everything the meter serves, every cabin, urinal and
    tap served has litres for all its visits, and the readings that are about it are about compared weeks only. So
    the meter runs from a reading to a reading, over the same weeks as the model. A dial installed inside a week
    without an earlier one is compared from its first reading on.

    Args:
        units: frame ``units``, with the meters.
        scopes: frame ``meter_scopes``; until_day is the last day.
        readings: frame ``readings``, with the last reading before the period.
        water: from ``flush.unit_week_water``.
        occasions: frame ``occasions`` of the period.
        around: the same of every week that the readings are about. An interval that is also about a week outside
            the period is left out. None: no other week had school.
        since: the day from which ``around`` was read (see ``dials.first_week``).
    Returns:
        One row per meter that has such a scope in the period, in order of its id; records are weeks with school.
        A meter whose readings are all of something else than water (energy) has none.
        unexplained = metered − modelled; u = √(u_meter² + u_model²), interval ± 1.96·u. u_meter² = Σ over dials
        of (calibration u × volume)² + 2·step²/12 for each unbroken run of readings. One calibration error scales
        the whole run, so it is taken once. query: |unexplained| > 2·u. Source of the arithmetic: JCGM 100:2008
        (from memory).
    """
    meters = readings["unit_id"].isin(units.loc[units["kind"] == UnitKind.METER, "unit_id"])
    dials = readings[meters & (readings["quantity"] == Quantity.WATER)]
    around = occasions if around is None else around
    uses = dial_uses(dials, period_from=first_week(around, since), preferred=preferred)
    rows = all_rows(water)
    rows = rows.take(np.argsort(rows.unit_week, kind="stable"))
    known = scopes_of(scopes, units, rows)
    records = _Records(known, rows, rows.unit_week, _grouped(rows_of(uses[list(USED)]), lambda row: row.unit_id))
    intervals = _grouped(rows_of(intervals_of(uses)[list(READ)]), lambda row: row.unit_id)
    calendar, every = school_calendar(occasions), school_calendar(around)
    found = {row.unit_id: row for row in rows_of(units[units["unit_id"].isin(scopes["meter_id"])])}
    others = set(readings.loc[meters, "unit_id"]) - set(dials["unit_id"])  # meters of energy have no litres
    balances = []
    for meter_id in sorted((set(known.meter_id.tolist()) & set(found)) - others):
        school = found[meter_id].school_id
        days = calendar.get(school, {})
        if days and known.ever_whole(meter_id, days):
            weeks = (days, every[school])
            balances.append(_balance(found[meter_id], intervals.get(meter_id, []), weeks, records))
    return balances


def meter_u_ml(uses: Iterable[Any]) -> float:
    """Standard uncertainty (mL) of what dials turned: calibration and resolution.

    Args:
        uses: rows of ``dials.dial_uses`` of one meter. Rows of one dial whose intervals follow each other are one
            run, with two readings that count: the first and the last.
    """
    volume: dict[Any, float] = {}
    scale: dict[Any, float] = {}
    runs: list[float] = []
    last: dict[Any, int] = {}
    for use in sorted(uses, key=lambda use: use.interval):
        volume[use.dial] = volume.get(use.dial, 0.0) + use.steps * use.step_ml
        scale[use.dial] = METER_U if pd.isna(use.u_permille) else use.u_permille / 1000
        if last.get(use.dial) != use.interval - 1:
            runs.append(math.sqrt(2) * use.step_ml / math.sqrt(12))
        last[use.dial] = use.interval
    return sum_u([*(volume[dial] * scale[dial] for dial in volume), *runs])


def unexplained(metered: float, u_metered: float, modelled: float, u_modelled: float) -> tuple[float, float, bool]:
    """metered − modelled, its standard uncertainty, and whether it asks for a look (beyond 2 u).

    >>> unexplained(100, 2, 85, 1.5)
    (15, 2.5, True)
    """
    difference, u = metered - modelled, sum_u([u_metered, u_modelled])
    return difference, u, abs(difference) > QUERY_K * u


def _balance(
    meter: Any, intervals: list[Any], weeks: tuple[Mapping[date, int], Mapping[date, int]], records: _Records
) -> MeterBalance:
    """``weeks``: school days by week, of the period and of all that the readings are about."""
    days, every = weeks
    served = records.scopes.served(meter.unit_id, days)
    shares = {interval.interval: interval_shares(interval, every) for interval in intervals}
    chosen = compared(intervals, shares, {week for week, units in served.items() if units is not None})
    metered: dict[date, float] = {}
    for interval in chosen:
        for week, steps, _ in shares[interval.interval]:
            metered[week] = metered.get(week, 0.0) + steps * interval.step_ml
    rows, modelled = _modelled(records, served, metered)
    numbers = {interval.interval for interval in chosen}
    u_meter = meter_u_ml(use for use in records.uses.get(meter.unit_id, []) if use.interval in numbers)
    u_model = max(rows.limits()) / Z95
    _, u, query = unexplained(sum(metered.values()), u_meter, sum(modelled.values()), u_model)
    due = sum(1 for week in days if days[week])
    rest = {week: metered[week] - modelled[week] for week in metered}
    return MeterBalance(
        meter.unit_id,
        meter.unit,
        meter.school_id,
        _figure(meter.school, metered, u_meter, Basis.METERED, due),
        _figure(meter.school, modelled, u_model, Basis.MODELLED, due),
        _figure(meter.school, rest, u, Basis.MODELLED, due, note="Unexplained water: metered less modelled."),
        bool(metered) and query,
    )


def _modelled(
    records: _Records, served: Mapping[date, Whole | None], weeks: Iterable[date]
) -> tuple[WaterRows, dict[date, float]]:
    """Water rows of the units served in these weeks, and their mL by week."""
    order = list(weeks)
    units = [served.get(week) for week in order]
    wanted = [
        keys(ids, np.full(len(ids), (week - EPOCH).days))
        for ids, week in zip(units, order, strict=True)
        if ids is not None
    ]
    number = np.repeat(np.arange(len(order)), [0 if ids is None else len(ids) for ids in units])
    asked, places = matches(np.concatenate([np.zeros(0, dtype=np.int64), *wanted]), records.unit_weeks)
    sums = np.bincount(number[asked], weights=records.rows.ml[places], minlength=len(order)).tolist()
    return records.rows.take(places), dict(zip(order, sums, strict=True))


def compared(intervals: list[Any], shares: Mapping[int, list[tuple[date, int, Basis]]], good: set[date]) -> list[Any]:
    """Intervals all of whose weeks can be compared, and none of whose weeks is also about another interval that
    cannot. ``shares``: of each interval by its number, from ``dials.interval_shares``."""
    about = [{week for week, _, _ in shares[interval.interval]} for interval in intervals]
    numbers = {interval.interval for interval in intervals}
    good = good - {
        min(weeks)
        for interval, weeks in zip(intervals, about, strict=True)
        if interval.interval - 1 not in numbers and _begins_inside(interval, min(weeks))
    }
    while True:
        spoilt = {week for weeks in about if not weeks <= good for week in weeks}
        if not spoilt & good:
            return [interval for interval, weeks in zip(intervals, about, strict=True) if weeks <= good]
        good = good - spoilt


def _begins_inside(interval: Any, week: date) -> bool:
    """Whether an interval without one before it leaves out the beginning of its first week."""
    if pd.isna(interval.after_week):
        return bool(interval.start_day.date() > week)
    return bool(interval.after_week.date() >= week)


def _figure(school: str, sums: Mapping[date, float], u: float, basis: Basis, due: int, *, note: str = "") -> Figure:
    if not sums:
        return not_recorded("L", basis, expected=due, records="weeks")
    value = math.fsum(sums.values())
    return Figure(
        value / ML,
        "L",
        basis,
        low=(value - Z95 * u) / ML,
        high=(value + Z95 * u) / ML,
        used=len(sums),
        expected=max(due, len(sums)),
        records="weeks",
        note=note,
        parts=tuple(Part(school, week, sums[week] / ML) for week in sorted(sums)),
    )


def _grouped(rows: Iterable[Any], key: Any) -> dict[Any, list[Any]]:
    groups: dict[Any, list[Any]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return groups
