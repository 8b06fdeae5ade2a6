"""Energy of units by rule, against the energy meter, with solar and recovered energy as sources of their own.

The pattern of the water measures: counts × a rule in force that day, basis modelled; the difference to the meter
is called unexplained energy and nothing else. Ratings are those on the plate or of the measurement as entered. No
figure here says that an installation is in order; that is for a licensed electrician and local rules.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import pandas as pd

from tracker.measures.columns import day_numbers, distinct, keys, sums_by, text
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, Part, not_recorded
from tracker.measures.flush import floor_washes
from tracker.measures.flush_plan import days_by_school
from tracker.measures.intervals import sum_u
from tracker.vocabulary import Basis, PowerPart

Z95 = 1.96
WH = 1000  # watt-hours in a kilowatt-hour

ENERGY = {
    "unit_id": "int64",
    "week": "datetime64[us]",
    "school_id": "int64",
    "school": "str",
    "kind": "str",
    "part": "str",
    "rule": "str",
    "count": "float64",
    "u_count": "float64",
    "each_wh": "float64",
    "wh": "float64",
    "u_rel": "float64",
    "whole": "bool",
}


@dataclass(frozen=True, slots=True)
class PowerRule:
    """What a part of a unit uses. until_day: its last day, None while it is in place.

    Light and fan: ``watts`` for ``minutes`` of a visit. Pump: ``wh`` a flush. Treatment: ``wh`` a cycle after every
    ``every_n`` visits. Incinerator: ``wh`` a burn. u_rel: relative standard uncertainty of the energy of one visit,
    flush, cycle or burn (10 % for a plate: judgement, no published source).
    """

    part: PowerPart
    wh: float = 0.0
    watts: float = 0.0
    minutes: float = 0.0
    every_n: int = 1
    u_rel: float = 0.10
    from_day: date = date.min
    until_day: date | None = None

    def __post_init__(self) -> None:
        if min(self.wh, self.watts, self.minutes, self.u_rel) < 0 or self.every_n < 1:
            raise ValueError("energy, minutes and uncertainty cannot be below 0, and a cycle needs at least 1 visit")
        if self.wh and (self.watts or self.minutes):
            raise ValueError("give watts and minutes for light and fan, or watt-hours for the other parts, not both")

    @property
    def each_wh(self) -> float:
        """Watt-hours of one visit, flush, cycle or burn.

        >>> PowerRule(PowerPart.LIGHT_FAN, watts=30, minutes=2).each_wh
        1.0
        """
        return self.watts * self.minutes / 60 if self.part is PowerPart.LIGHT_FAN else self.wh

    @property
    def label(self) -> str:
        """Rules of one label share one error."""
        size = f"{self.watts:g} W {self.minutes:g} min" if self.part is PowerPart.LIGHT_FAN else f"{self.wh:g} Wh"
        return f"{self.part} {size}" + (f" every {self.every_n}" if self.every_n > 1 else "")


def unit_week_energy(
    unit_weeks: pd.DataFrame,
    burns: pd.DataFrame,
    units: pd.DataFrame,
    rules: Mapping[int, Sequence[PowerRule]],
    school_days: pd.DataFrame,
) -> pd.DataFrame:
    """Energy of each unit and week, one row per rule.

    A rule that begins or ends inside a week takes its share of the week's school days (without any, of all seven).
    Cycles are whole, carried over all weeks given (``flush.floor_washes``): give also the weeks before the period.

    Args:
        unit_weeks: from ``visits.unit_weeks``: unit_id, week, visits, var.
        burns: frame ``burns``: unit_id, week, burns.
        units: frame ``units``.
        rules: unit_id → its rules; a rule of a unit and part may follow another, but not overlap it.
        school_days: school_id, day.
    Returns:
        Columns of ``ENERGY``: count (visits, flushes, cycles or burns), u_count (standard uncertainty of the
        visits, for cycles ÷ N), each_wh, wh, u_rel, whole (the rule held all that week).
    """
    known = {row.unit_id: row for row in rows_of(units)}
    days = days_by_school(school_days)
    carried: dict[tuple[int, int], float] = {}
    share_of = lru_cache(maxsize=None)(lambda rule, school, week: _share(rule, week, days.get(school, set())))
    rows = []
    for row, number, burned in _counts(unit_weeks, burns):
        unit: Any = known.get(row.unit_id)
        if unit is None:
            continue
        facts = (row.unit_id, row.week, unit.school_id, unit.school, unit.kind)
        for place, rule in enumerate(rules.get(row.unit_id, ())):
            share = share_of(rule, unit.school_id, row.week.date())
            if share and (rule.part is PowerPart.BURN) is burned:
                u = 0.0 if burned else math.sqrt(row.var)
                rows.append(
                    (*facts, *_line(rule, (number * share, u * share), carried, (row.unit_id, place)), share == 1)
                )
    return pd.DataFrame(rows, columns=list(ENERGY)).astype(ENERGY)


def _line(
    rule: PowerRule, counted: tuple[float, float], carried: dict[tuple[int, int], float], key: tuple[int, int]
) -> tuple[Any, ...]:
    """The columns of ``ENERGY`` from "part" to "u_rel". ``carried``: visits by unit and place of its rule."""
    count, u = counted
    if rule.part is PowerPart.TREATMENT:
        before = carried.get(key, 0.0)
        carried[key] = before + count
        count, u = floor_washes(before, before + count, rule.every_n), u / rule.every_n
    return str(rule.part), rule.label, count, u, rule.each_wh, count * rule.each_wh, rule.u_rel


def _counts(unit_weeks: pd.DataFrame, burns: pd.DataFrame) -> Iterable[tuple[Any, float, bool]]:
    for row in rows_of(unit_weeks.sort_values(["unit_id", "week"])):
        yield row, float(row.visits), False
    for row in rows_of(burns.dropna(subset=["burns"]).sort_values(["unit_id", "week"])):
        yield row, float(row.burns), True


def _share(rule: PowerRule, week: date, school_days: set[date]) -> float:
    seven = [week + timedelta(days=number) for number in range(7)]
    base = [day for day in seven if day in school_days] or seven
    held = [day for day in base if rule.from_day <= day and (rule.until_day is None or day <= rule.until_day)]
    return len(held) / len(base)


def energy_used(energy: pd.DataFrame, expected_count: int | None = None) -> Figure:
    """Energy by rule in kWh; basis modelled, parts per school and week.

    Interval (95 %), as for water: counts Σ each_wh·u_count side by side within a school and week; energies Σ wh·u_rel
    side by side within one rule; both in quadrature, × 1.96.

    Args:
        energy: from ``unit_week_energy``, or some of its rows.
        expected_count: unit-weeks that should have rows; None takes those that have.
    """
    weeks = day_numbers(energy["week"])
    unit_weeks = keys(energy["unit_id"].to_numpy("int64"), weeks)
    used, seen = len(distinct(unit_weeks[energy["whole"].to_numpy(bool)])), len(distinct(unit_weeks))
    due = max(seen, expected_count or 0)
    if energy.empty:
        return not_recorded("kWh", Basis.MODELLED, expected=due, records="unit-weeks")
    sums = sums_by(text(energy["school"]), weeks, energy["wh"].to_numpy("float64"))
    parts = tuple(Part(school, week, total / WH) for (school, week), total in sums.items())
    counted = (energy["each_wh"] * energy["u_count"]).to_numpy("float64")
    by_week = sums_by(energy["school_id"].to_numpy("int64"), weeks, counted)
    by_rule = energy.assign(error=energy["wh"] * energy["u_rel"]).groupby("rule")["error"].sum()
    value, half = math.fsum(part.value for part in parts), Z95 * sum_u([*by_week.values(), *by_rule]) / WH
    return Figure(
        value, "kWh", Basis.MODELLED, value - half, value + half, used, due, records="unit-weeks", parts=parts
    )


def energy_by_part(energy: pd.DataFrame) -> dict[PowerPart, Figure]:
    """Energy by what it was used for; a part without a rule or a count has no value."""
    return {part: energy_used(energy[energy["part"] == part]) for part in PowerPart}


def energy_u_wh(rows: Iterable[Any]) -> float:
    """Standard uncertainty (Wh) of the sum of rows of ``unit_week_energy``."""
    by_week: dict[tuple[int, Any], float] = {}
    by_rule: dict[str, float] = {}
    for row in rows:
        key = (row.school_id, row.week)
        by_week[key] = by_week.get(key, 0.0) + row.each_wh * row.u_count
        by_rule[row.rule] = by_rule.get(row.rule, 0.0) + row.wh * row.u_rel
    return sum_u([*by_week.values(), *by_rule.values()])
