"""Water taken, and how much less that is than a cistern would have taken for the same visits.

Works on the rows of ``flush.unit_week_water``: whole millilitres per unit, week, part and fitting.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.columns import Flags, day_numbers, distinct, is_in, keys, named, text
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.flush import MEASURED_U, WaterPart
from tracker.measures.intervals import sum_u
from tracker.measures.water_rows import ML, Z95, Totals, WaterRows, main_part, parts_of, water_rows
from tracker.vocabulary import CABIN_LIKE, Basis, Group, LitresBasis, UnitKind

__all__ = ["ML", "Z95", "main_part"]  # asked here by other measures of water

CABIN_PARTS = (WaterPart.FLUSH, WaterPart.PRE_WASH, WaterPart.FLOOR_WASH)
KINDS_OF = {**dict.fromkeys(CABIN_PARTS, CABIN_LIKE), WaterPart.HANDWASH: (UnitKind.TAP,)}
CABINS_ONLY = "Cabins only; urinals and hand washes are left out."


def water_taken(water: pd.DataFrame, expected: pd.DataFrame) -> Figure:
    """Litres taken for flush, pre-wash, floor wash and handwash, by rule; basis modelled.

    Args:
        water: from ``flush.unit_week_water``.
        expected: from ``visits.expected_unit_weeks``; its unit-weeks are the period.
    Returns:
        Figure in L; parts per school and week (whole mL). A unit-week counts as used where all its visits have a
        flush (a tap: its wash). Interval (95 %): 1.96·u, u² = visits² + litres²; see ``WaterRows.limits``; then the
        bounds of the long share in quadrature.
    """
    return _taken(water_rows(water, expected), len(expected))


def water_by(water: pd.DataFrame, expected: pd.DataFrame, by: str) -> dict[Any, Figure]:
    """Litres taken per group: ``by`` is "unit_id", "unit", "block", "school", "kind", "group" or "week" (a date)."""
    rows = water_rows(water, expected)
    due, names = pd.factorize(_name_column(expected, by), sort=True)
    mine = pd.Index(names).get_indexer(pd.Index(rows.named(by)))
    order = np.argsort(mine, kind="stable")
    ends = np.searchsorted(mine[order], np.arange(len(names) + 1))
    counts = np.bincount(due, minlength=len(names))
    rows = rows.take(order)
    groups = [rows.take(slice(start, end)) for start, end in pairwise(ends.tolist())]
    return {
        named(name, is_day=by == "week"): _taken(group, int(count))
        for name, group, count in zip(names, groups, counts, strict=True)
    }


def water_parts(water: pd.DataFrame, expected: pd.DataFrame) -> dict[WaterPart, Figure]:
    """Litres taken per part; unit-weeks are those of cabins and urinals, for the handwash those of taps.

    A part for which no fitting is known has no value.
    """
    rows, due = water_rows(water, expected), text(expected["kind"])
    figures = {}
    for part in WaterPart:
        of_part = rows.take(np.asarray(rows.part == part, dtype=bool))
        mine = rows.take(_is_any(rows.kind, KINDS_OF[part]))
        wanted = int(_is_any(due, KINDS_OF[part]).sum())
        figures[part] = _figure(of_part, of_part.sums(), (mine.used() if len(of_part) else 0, wanted))
    return figures


def less_than_cistern(water: pd.DataFrame, expected: pd.DataFrame, reference_ml: int) -> Figure:
    """Litres that a cistern of ``reference_ml`` a flush would have taken more for the same cabin visits.

    cabin visits × reference − (flush + pre-wash + floor wash of the same visits). Below zero where more was taken.
    The reference is a convention and carries no uncertainty.

    Raises:
        ValueError: the reference is not above 0.
    """
    if reference_ml <= 0:
        raise ValueError(f"a cistern holds more than 0 mL, got {reference_ml}")
    rows, due = _cabins(water, expected)
    counts = (rows.used(), len(due))
    return _figure(rows, rows.sums(rows.saved(reference_ml)), counts, shift=reference_ml, note=CABINS_ONLY)


def saved_against_before(water: pd.DataFrame, expected: pd.DataFrame, before: pd.DataFrame) -> Figure:
    """Litres saved against what stood there before, only at schools where its litres were measured.

    Args:
        before: school_id, ml (of a flush), litres_basis, u_permille (NaN: 3 %); one row per school.
    Returns:
        Figure in L as of ``less_than_cistern``, with the uncertainty of each school's own measured mL; no value
        where no school has a measured one.
    """
    rows, due = _cabins(water, expected)
    measured = {row.school_id: row for row in rows_of(before) if row.litres_basis == LitresBasis.MEASURED}
    figures = []
    for school in sorted(measured):
        mine = rows.take(rows.school_id == school)
        known = measured[school]
        u_rel = MEASURED_U if pd.isna(known.u_permille) else known.u_permille / ML
        figures.append((mine, float(known.ml), mine.flushed * known.ml * u_rel))
    wanted = due["school_id"].isin(list(measured))
    schools = (due.loc[wanted, "school_id"].nunique(), due["school_id"].nunique())
    return _saved(figures, int(wanted.sum()), schools)


def litres_per_visit(water: pd.DataFrame, expected: pd.DataFrame) -> Figure:
    """Litres of flush, pre-wash and floor wash ÷ visits to cabins and urinals that have litres."""
    rows = water_rows(water, expected)
    rows = rows.take(_is_any(rows.kind, CABIN_LIKE))
    due = int(_is_any(text(expected["kind"]), CABIN_LIKE).sum())
    visits, taken = rows.flushed, int(rows.ml.sum())
    if not visits:
        return not_recorded("L per visit", Basis.MODELLED, expected=due, records="unit-weeks")
    return _ratio(taken, rows.limits(taken / visits), visits, "L per visit", (rows.used(), due))


def litres_per_pupil_day(water: pd.DataFrame, expected: pd.DataFrame, pupil_days: pd.DataFrame) -> Figure:
    """Litres of all parts ÷ pupil-days of the school-weeks that have both; units for staff only are left out.

    Args:
        pupil_days: from ``visits.pupil_days``.
    """
    rows = water_rows(water, expected)
    base = keys(pupil_days["school_id"].to_numpy("int64"), day_numbers(pupil_days["week"]))
    rows = rows.take(np.isin(keys(rows.school_id, rows.week), base) & (rows.group != Group.STAFF))
    due = int((text(expected["group"]) != Group.STAFF).sum())
    having = np.isin(base, keys(rows.school_id, rows.week))
    days = int(pupil_days["pupil_days"].to_numpy()[having].sum())
    unit = "L per pupil and school day"
    if not days:
        return not_recorded(unit, Basis.MODELLED, expected=due, records="unit-weeks")
    return _ratio(int(rows.ml.sum()), rows.limits(), days, unit, (rows.used(), due))


def _taken(rows: WaterRows, due: int) -> Figure:
    return _figure(rows, rows.sums(), (rows.used(), due))


def _figure(
    rows: WaterRows, sums: Totals, records: tuple[int, int], *, shift: float | None = None, note: str = ""
) -> Figure:
    """Σ ml, or with a ``shift`` what shift × visits is above it, with parts and interval. records: used, expected."""
    used, due = records
    if not len(rows):
        return not_recorded("L", Basis.MODELLED, expected=due, records="unit-weeks")
    below, above = rows.limits(shift or 0.0)
    if shift is not None:
        below, above = above, below  # the more is taken, the less is saved
    value = math.fsum(sums.values())
    return Figure(
        value / ML,
        "L",
        Basis.MODELLED,
        low=(value - below) / ML,
        high=(value + above) / ML,
        used=used,
        expected=due,
        records="unit-weeks",
        note=note,
        parts=parts_of(sums),
    )


def _saved(schools: list[tuple[WaterRows, float, float]], due: int, counts: tuple[int, int]) -> Figure:
    """One figure of several schools, each with its own mL before and their uncertainty (mL)."""
    note = f"{CABINS_ONLY} Litres before were measured at {counts[0]} of {counts[1]} schools."
    sums: Totals = {}
    limits = []
    used = 0
    for mine, before_ml, before_u in schools:
        sums |= mine.sums(mine.saved(before_ml))
        below, above = mine.limits(before_ml)
        limits.append((sum_u([above, Z95 * before_u]), sum_u([below, Z95 * before_u])))
        used += mine.used()
    if not sums:
        return not_recorded("L", Basis.MODELLED, expected=due, records="unit-weeks")
    value = math.fsum(sums.values())
    # Side by side: the litres of fittings err together across schools.
    low, high = (value - sum(low for low, _ in limits)) / ML, (value + sum(high for _, high in limits)) / ML
    parts = parts_of({key: sums[key] for key in sorted(sums)})
    return Figure(value / ML, "L", Basis.MODELLED, low, high, used, due, records="unit-weeks", note=note, parts=parts)


def _ratio(ml: float, limits: tuple[float, float], base: float, unit: str, records: tuple[int, int]) -> Figure:
    """mL ÷ base in litres; the limits are distances in mL."""
    below, above = limits
    return Figure(
        ml / base / ML,
        unit,
        Basis.MODELLED,
        low=(ml - below) / base / ML,
        high=(ml + above) / base / ML,
        used=records[0],
        expected=records[1],
        records="unit-weeks",
    )


def _cabins(water: pd.DataFrame, expected: pd.DataFrame) -> tuple[WaterRows, pd.DataFrame]:
    """Rows of cabin weeks that have a flush, and the cabin weeks expected."""
    rows = water_rows(water, expected)
    rows = rows.take(np.asarray(rows.kind == UnitKind.CABIN, dtype=bool))
    flushed = distinct(rows.unit_week[rows.flush])
    return rows.take(is_in(rows.unit_week, flushed)), expected[expected["kind"] == UnitKind.CABIN]


def _is_any(names: Any, wanted: Iterable[str]) -> Flags:
    found = np.zeros(len(names), dtype=bool)
    for name in wanted:
        found |= names == name
    return found


def _name_column(expected: pd.DataFrame, by: str) -> Any:
    return day_numbers(expected["week"]) if by == "week" else expected[by].to_numpy()
