"""Water of cleaning and disinfection cycles, which run by the clock and not by visits.

The litres follow from the cycles as planned, or as counted where somebody did. What is put into the water, how
much of it and how long it acts is not part of this: it is laid down by the maker, local rules and trained people.
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
from tracker.measures.flush import half_up
from tracker.measures.flush_plan import days_by_school
from tracker.measures.intervals import sum_u
from tracker.vocabulary import Basis, Every

Z95 = 1.96
ML = 1000
PLANNED = "Cleaning cycles as planned; nobody counted them."

CLEANING = {
    "unit_id": "int64",
    "week": "datetime64[us]",
    "school_id": "int64",
    "school": "str",
    "block": "str",
    "unit": "str",
    "kind": "str",
    "group": "str",
    "cleaning": "str",
    "cycles": "float64",
    "counted": "bool",
    "ml": "int64",
    "u_rel": "float64",
}


@dataclass(frozen=True, slots=True)
class Cleaning:
    """A cycle of a unit: ``ml`` each, ``times`` every school day or week. until_day: its last day.

    u_rel: relative standard uncertainty of the litres (3 % measured, 10 % claim: judgement, no published source).
    """

    name: str
    ml: float
    times: float
    every: Every = Every.SCHOOL_DAY
    u_rel: float = 0.10
    from_day: date | None = None
    until_day: date | None = None

    def __post_init__(self) -> None:
        if self.ml < 0 or self.times < 0 or self.u_rel < 0:
            raise ValueError("litres, cycles and uncertainty cannot be below 0")


def unit_week_cleaning(
    expected: pd.DataFrame,
    school_days: pd.DataFrame,
    plans: Mapping[int, Sequence[Cleaning]],
    counted: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Cleaning water of each unit and week, one row per cycle kind; whole mL, rounded half up.

    Args:
        expected: from ``visits.expected_unit_weeks``: unit-weeks with school.
        school_days: school_id, day.
        plans: unit_id → its cycles. A cycle runs on the school days in its period; a weekly one in the weeks with
            such a day.
        counted: unit_id, week, cleaning (the name), cycles, where somebody counted; it goes before the plan.
    Returns:
        Columns of ``CLEANING``; cycles 0 has a row, for nothing was run. Units without a plan have none.
    """
    held = days_by_school(school_days)
    in_week = lru_cache(maxsize=None)(lambda school, week: _in_week(held.get(school, set()), week))
    known = {} if counted is None else {(r.unit_id, r.week, r.cleaning): float(r.cycles) for r in rows_of(counted)}
    rows = []
    for due in rows_of(expected):
        days = in_week(due.school_id, due.week.date())
        facts = (due.unit_id, due.week, due.school_id, due.school, due.block, due.unit, due.kind, due.group)
        for plan in plans.get(due.unit_id, ()):
            seen = known.get((due.unit_id, due.week, plan.name))
            cycles = planned_cycles(plan, days) if seen is None else seen
            rows.append((*facts, plan.name, cycles, seen is not None, half_up(cycles * plan.ml), plan.u_rel))
    return pd.DataFrame(rows, columns=list(CLEANING)).astype(CLEANING)


def _in_week(school_days: set[date], week: date) -> list[date]:
    seven = (week + timedelta(days=number) for number in range(7))
    return [day for day in seven if day in school_days]


def beside_visits(water: pd.DataFrame, cleaning: pd.DataFrame) -> pd.DataFrame:
    """Rows of visits by rule with those of cleaning beside them, for a meter that both go through.

    Args:
        water: from ``flush.unit_week_water``. cleaning: from ``unit_week_cleaning``.
    Returns:
        The columns of ``water``; a row of cleaning has the part "cleaning", no visits, and is no unit's main part.
    """
    if cleaning.empty:
        return water
    said = "cleaning " + cleaning["cleaning"]
    names: dict[str, Any] = {"fitting": said, "part": "cleaning", "whole": True, "share_known": True}
    none: dict[str, Any] = dict.fromkeys(("visits", "u_visits", "visit_ml", "below_ml", "above_ml"), 0.0)
    rows = cleaning.assign(**names, **none)[list(water.columns)]
    return pd.concat([water, rows.astype(water.dtypes.to_dict())], ignore_index=True)


def planned_cycles(plan: Cleaning, days: Iterable[date]) -> float:
    """Cycles that a plan makes on these school days of one week.

    >>> planned_cycles(Cleaning("rinse", 4000, 2), [date(2031, 1, 6), date(2031, 1, 7)])
    4.0
    """
    first, last = plan.from_day or date.min, plan.until_day or date.max
    inside = sum(1 for day in days if first <= day <= last)
    return float(plan.times * (inside if plan.every is Every.SCHOOL_DAY else min(inside, 1)))


def cleaning_taken(cleaning: pd.DataFrame, expected_count: int | None = None) -> Figure:
    """Litres of cleaning cycles; basis modelled, parts per school and week.

    Interval (95 %): Σ ml·u_rel side by side within one kind of cycle (one error), kinds in quadrature, × 1.96.
    Whether planned cycles were run is not in the interval; the note says so.

    Args:
        cleaning: from ``unit_week_cleaning``, or some of its rows.
        expected_count: unit-weeks that should have rows; None takes those that have.
    """
    weeks, ml = day_numbers(cleaning["week"]), cleaning["ml"].to_numpy("float64")
    used = len(distinct(keys(cleaning["unit_id"].to_numpy("int64"), weeks)))
    due = used if expected_count is None else expected_count
    if cleaning.empty:
        return not_recorded("L", Basis.MODELLED, expected=due, records="unit-weeks")
    sums = sums_by(text(cleaning["school"]), weeks, ml)
    errors = cleaning.assign(error=ml * cleaning["u_rel"]).groupby(["cleaning", "u_rel"])["error"].sum()
    value, half = math.fsum(sums.values()), Z95 * sum_u(errors.tolist())
    return Figure(
        value / ML,
        "L",
        Basis.MODELLED,
        low=(value - half) / ML,
        high=(value + half) / ML,
        used=used,
        expected=max(due, used),
        records="unit-weeks",
        note="" if cleaning["counted"].all() else PLANNED,
        parts=tuple(Part(school, week, total / ML) for (school, week), total in sums.items()),
    )
