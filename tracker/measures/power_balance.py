"""Metered energy and energy from other sources, against modelled use, for meters that list all they serve."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, TypeAlias

import pandas as pd

from tracker.measures.balance import compared, meter_u_ml, unexplained
from tracker.measures.dials import (
    dial_uses,
    first_week,
    interval_shares,
    intervals_of,
    rows_of,
    school_calendar,
    stood_in,
)
from tracker.measures.figure import Figure, Part, not_recorded
from tracker.measures.intervals import sum_u
from tracker.measures.power import WH, Z95, energy_u_wh
from tracker.vocabulary import Basis, EnergySource, Quantity, Source

REST_NOTE = "Unexplained energy: metered and other energy less modelled use."


@dataclass(frozen=True, slots=True)
class EnergyBalance:
    """An energy meter's figures (kWh), what other sources gave, and whether the rest asks for a look."""

    meter_id: int
    school_id: int
    metered: Figure
    sources: dict[EnergySource, Figure]
    modelled: Figure
    unexplained: Figure
    query: bool


_Turned: TypeAlias = tuple[list[Any], list[Any], Mapping[int, list[tuple[date, int, Basis]]]]


@dataclass(frozen=True, slots=True)
class _Meter:
    """A meter and the weeks that are compared."""

    unit: Any
    due: int
    metered: Mapping[date, float]
    u_metered: float
    served: Mapping[date, set[int]]


def energy_balances(
    units: pd.DataFrame,
    scopes: pd.DataFrame,
    readings: pd.DataFrame,
    energy: pd.DataFrame,
    occasions: pd.DataFrame,
    *,
    sources: pd.DataFrame | None = None,
    preferred: Mapping[int, Source] | None = None,
    around: pd.DataFrame | None = None,
    since: date | None = None,
) -> list[EnergyBalance]:
    """Metered + solar + recovered − modelled, per energy meter of which everything it serves is listed.

    A week is compared where the scope holds all week and every unit served that stood in it has energy rows that
    hold all week (a unit that never has a row uses no energy by any rule). A week without a record of a source that
    the meter's units have in other weeks is not compared. An interval between
    readings is compared where all its weeks are (``balance.compared``), so meter and model run over the same weeks.
    A meter installed inside a week without an earlier one is compared from its first reading on.

    Args:
        units, scopes, readings, occasions: the frames; of ``readings`` those of the quantity energy, whose step
            (column step_ml) is the watt-hours of a step.
        energy: from ``power.unit_week_energy``.
        sources: meter_id, week, origin (``EnergySource``), wh, u_rel: energy that reached what this meter serves
            without passing it. None: there is none.
        preferred: unit_id → the source of readings that counts there.
        around: frame ``occasions`` of every week that the readings are about. An interval that is also about a week
            outside the period is left out. None: no other week had school.
        since: the day from which ``around`` was read (see ``dials.first_week``).
    Returns:
        One row per such meter, by id. u² = meter² + sources² + model²; interval ± 1.96·u; query beyond 2·u. The
        meter's uncertainty is as for water. Source of the arithmetic: JCGM 100:2008 (from memory).
    Raises:
        ValueError: an origin that is not an ``EnergySource``.
    """
    dials = readings[readings["quantity"] == Quantity.ENERGY]
    around = occasions if around is None else around
    turns = dial_uses(dials, period_from=first_week(around, since), preferred=preferred)
    uses, intervals = _grouped(rows_of(turns), "unit_id"), _grouped(rows_of(intervals_of(turns)), "unit_id")
    given = _grouped(rows_of(sources), "meter_id") if sources is not None else {}
    by_unit: dict[int, dict[date, list[Any]]] = {}
    for row in rows_of(energy):
        by_unit.setdefault(row.unit_id, {}).setdefault(row.week.date(), []).append(row)
    calendar, every = school_calendar(occasions), school_calendar(around)
    known = {row.unit_id: row for row in rows_of(units)}
    found = []
    for meter_id, scope in sorted(_grouped(rows_of(scopes), "meter_id").items()):
        meter = known.get(meter_id)
        days = {} if meter is None or meter_id not in intervals else calendar.get(meter.school_id, {})
        if meter is not None and any(row.whole and stood_in(row, week) for row in scope for week in days):
            mine = given.get(meter_id, [])
            served = {
                week: _served(scope, week, known, by_unit if held else {}) if _told(mine, week) else None
                for week, held in days.items()
            }
            shares = {one.interval: interval_shares(one, every[meter.school_id]) for one in intervals[meter_id]}
            turned = (intervals[meter_id], uses[meter_id], shares)
            found.append(_balance(_meter(meter, turned, days, served), by_unit, mine))
    return found


def _grouped(rows: Iterable[Any], name: str) -> dict[int, list[Any]]:
    groups: dict[int, list[Any]] = {}
    for row in rows:
        groups.setdefault(getattr(row, name), []).append(row)
    return groups


def _told(given: list[Any], week: date) -> bool:
    """Whether every source that this meter's units ever had is recorded for a week; missing is not zero."""
    return {row.origin for row in given} == {row.origin for row in given if row.week.date() == week}


def _served(
    scopes: list[Any], week: date, units: Mapping[int, Any], by_unit: Mapping[int, Mapping[date, list[Any]]]
) -> set[int] | None:
    """Units served in a week; None where the week cannot be compared. ``by_unit``: none for a week without school."""
    mine = [row for row in scopes if stood_in(row, week)]
    end = week + timedelta(days=6)
    for row in mine:
        ended = not pd.isna(row.until_day) and row.until_day.date() < end
        if not row.whole or row.from_day.date() > week or ended:
            return None
    wanted = {row.unit_id for row in mine if row.unit_id in units and stood_in(units[row.unit_id], week)}
    for unit in wanted:
        weeks = by_unit.get(unit, {})
        now = weeks.get(week, [])
        if weeks and not (now and all(row.whole for row in now)):
            return None
    return wanted if mine else None


def _meter(unit: Any, turned: _Turned, days: Mapping[date, int], served: Mapping[date, set[int] | None]) -> _Meter:
    intervals, uses, shares = turned
    chosen = compared(intervals, shares, {week for week, found in served.items() if found is not None})
    metered: dict[date, float] = {}
    for interval in chosen:
        for week, steps, _ in shares[interval.interval]:
            metered[week] = metered.get(week, 0.0) + steps * interval.step_ml
    numbers = {interval.interval for interval in chosen}
    u = meter_u_ml(use for use in uses if use.interval in numbers)
    due = sum(1 for week in days if days[week])
    return _Meter(unit, due, metered, u, {week: served.get(week) or set() for week in metered})


def _balance(meter: _Meter, by_unit: Mapping[int, Mapping[date, list[Any]]], given: list[Any]) -> EnergyBalance:
    every = {unit for served in meter.served.values() for unit in served}
    weeks = [(unit, week, rows) for unit in sorted(every) for week, rows in by_unit.get(unit, {}).items()]
    mine = [row for unit, week, rows in weeks if unit in meter.served.get(week, ()) for row in rows]
    used = _sums(meter.metered, ((row.week.date(), row.wh) for row in mine))
    inside = [row for row in given if row.week.date() in meter.metered]
    sources = {source: _source(meter, source, inside) for source in EnergySource}
    extra = _sums(meter.metered, ((row.week.date(), row.wh) for row in inside))
    supply = {week: meter.metered[week] + extra[week] for week in meter.metered}
    u_supply = sum_u([meter.u_metered, *(_source_u(source, inside) for source in EnergySource)])
    u_model = energy_u_wh(mine)
    _, u, query = unexplained(math.fsum(supply.values()), u_supply, math.fsum(used.values()), u_model)
    rest = {week: supply[week] - used[week] for week in supply}
    return EnergyBalance(
        meter.unit.unit_id,
        meter.unit.school_id,
        _figure(meter, meter.metered, meter.u_metered, Basis.METERED),
        sources,
        _figure(meter, used, u_model, Basis.MODELLED),
        _figure(meter, rest, u, Basis.MODELLED, note=REST_NOTE),
        bool(rest) and query,
    )


def _sums(weeks: Iterable[date], amounts: Iterable[tuple[date, float]]) -> dict[date, float]:
    sums = dict.fromkeys(weeks, 0.0)
    for week, wh in amounts:
        sums[week] += wh
    return sums


def _source_u(source: EnergySource, rows: Iterable[Any]) -> float:
    """One source's error is one error: side by side."""
    return math.fsum(row.wh * row.u_rel for row in rows if EnergySource(row.origin) is source)


def _source(meter: _Meter, source: EnergySource, rows: Iterable[Any]) -> Figure:
    mine = [row for row in rows if EnergySource(row.origin) is source]
    sums = _sums({row.week.date() for row in mine}, ((row.week.date(), row.wh) for row in mine))
    return _figure(meter, sums, _source_u(source, mine), Basis.METERED)


def _figure(meter: _Meter, sums: Mapping[date, float], u: float, basis: Basis, *, note: str = "") -> Figure:
    if not sums:
        return not_recorded("kWh", basis, expected=meter.due, records="weeks")
    parts = tuple(Part(meter.unit.school, week, sums[week] / WH) for week in sorted(sums))
    value, half = math.fsum(part.value for part in parts), Z95 * u / WH
    return Figure(
        value,
        "kWh",
        basis,
        value - half,
        value + half,
        len(sums),
        max(meter.due, len(sums)),
        records="weeks",
        note=note,
        parts=parts,
    )
