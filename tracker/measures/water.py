"""Water taken, and how much less that is than a cistern would have taken for the same visits.

Works on the rows of ``flush.unit_week_water``: whole millilitres per unit, week, part and fitting.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, Part, not_recorded
from tracker.measures.flush import MEASURED_U, WaterPart
from tracker.measures.intervals import sum_u
from tracker.vocabulary import CABIN_LIKE, VISITED, Basis, Group, LitresBasis, UnitKind

Z95 = 1.96
ML = 1000  # millilitres in a litre
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
        flush (a tap: its wash). Interval (95 %): 1.96·u, u² = visits² + litres²; see ``uncertainty_ml``; then the
        bounds of the long share in quadrature.
    """
    return _taken(_rows(water, expected), list(rows_of(expected)))


def water_by(water: pd.DataFrame, expected: pd.DataFrame, by: str) -> dict[Any, Figure]:
    """Litres taken per group: ``by`` is "unit_id", "unit", "block", "school", "kind", "group" or "week" (a date)."""
    due: dict[Any, list[Any]] = {}
    for row in rows_of(expected):
        due.setdefault(_name(row, by), []).append(row)
    lines: dict[Any, list[Any]] = {}
    for row in _rows(water, expected):
        lines.setdefault(_name(row, by), []).append(row)
    return {name: _taken(lines.get(name, []), due[name]) for name in sorted(due)}


def water_parts(water: pd.DataFrame, expected: pd.DataFrame) -> dict[WaterPart, Figure]:
    """Litres taken per part; unit-weeks are those of cabins and urinals, for the handwash those of taps.

    A part for which no fitting is known has no value.
    """
    rows, due = _rows(water, expected), list(rows_of(expected))
    figures = {}
    for part in WaterPart:
        kinds = KINDS_OF[part]
        of_part = [row for row in rows if row.part == part]
        wanted = [row for row in due if row.kind in kinds]
        used = _used([row for row in rows if row.kind in kinds])
        figures[part] = _figure(of_part, _sums(of_part), used if of_part else set(), wanted)
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
    return _figure(rows, _sums(rows, reference_ml), _used(rows), due, shift=reference_ml, note=CABINS_ONLY)


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
        mine = [row for row in rows if row.school_id == school]
        flush = math.fsum(row.visits for row in mine if row.part == WaterPart.FLUSH)
        known = measured[school]
        u_rel = MEASURED_U if pd.isna(known.u_permille) else known.u_permille / ML
        figures.append((mine, float(known.ml), flush * known.ml * u_rel))
    return _saved(figures, [row for row in due if row.school_id in measured], len({row.school_id for row in due}))


def litres_per_visit(water: pd.DataFrame, expected: pd.DataFrame) -> Figure:
    """Litres of flush, pre-wash and floor wash ÷ visits to cabins and urinals that have litres."""
    rows = [row for row in _rows(water, expected) if row.kind in CABIN_LIKE]
    due = [row for row in rows_of(expected) if row.kind in CABIN_LIKE]
    visits = math.fsum(row.visits for row in rows if row.part == WaterPart.FLUSH)
    taken = sum(row.ml for row in rows)
    if not visits:
        return not_recorded("L per visit", Basis.MODELLED, expected=len(due), records="unit-weeks")
    below, above = uncertainty_ml(rows, taken / visits)
    return _ratio(taken, (below, above), visits, "L per visit", (len(_used(rows)), len(due)))


def litres_per_pupil_day(water: pd.DataFrame, expected: pd.DataFrame, pupil_days: pd.DataFrame) -> Figure:
    """Litres of all parts ÷ pupil-days of the school-weeks that have both; units for staff only are left out.

    Args:
        pupil_days: from ``visits.pupil_days``.
    """
    base = {(row.school_id, row.week): row.pupil_days for row in rows_of(pupil_days)}
    pupils = [row for row in _rows(water, expected) if row.group != Group.STAFF]
    rows = [row for row in pupils if (row.school_id, row.week) in base]
    due = [row for row in rows_of(expected) if row.group != Group.STAFF]
    days = sum(base[key] for key in {(row.school_id, row.week) for row in rows})
    unit = "L per pupil and school day"
    if not days:
        return not_recorded(unit, Basis.MODELLED, expected=len(due), records="unit-weeks")
    return _ratio(sum(row.ml for row in rows), uncertainty_ml(rows), days, unit, (len(_used(rows)), len(due)))


def uncertainty_ml(rows: Iterable[Any], shift: float = 0.0) -> tuple[float, float]:
    """Distances (mL) from Σ ml − shift × visits to its 95 % limits, below and above.

    visits: Σ (visit_ml − shift)·u_visits, added side by side within a school and week, because units tallied in
    the same breaks err together, and in quadrature across. litres: Σ ml·u_rel, added side by side within one
    fitting rule (kind, litres and their basis: one error), in quadrature across. u² = visits² + litres², times
    1.96². Long share: assumed bounds added side by side (one assumption), limits of weeks that were looked at
    in quadrature. All in quadrature.

    Args:
        rows: of the frame of ``flush.unit_week_water``.
        shift: mL per visit that is taken off, on the rows of the flush.
    """
    by_week: dict[tuple[int, date], float] = {}
    by_rule: dict[str, float] = {}
    known: list[tuple[float, float]] = []
    assumed = [0.0, 0.0]
    for row in rows:
        each = row.visit_ml - (shift if row.part == WaterPart.FLUSH else 0.0)
        key = (row.school_id, row.week)
        by_week[key] = by_week.get(key, 0.0) + each * row.u_visits
        by_rule[row.fitting] = by_rule.get(row.fitting, 0.0) + row.ml * row.u_rel
        if row.share_known:
            known.append((row.below_ml, row.above_ml))
        else:
            assumed[0] += row.below_ml
            assumed[1] += row.above_ml
    random = Z95 * sum_u([*by_week.values(), *by_rule.values()])
    below = sum_u([random, assumed[0], *(low for low, _ in known)])
    above = sum_u([random, assumed[1], *(high for _, high in known)])
    return below, above


def _taken(rows: Sequence[Any], due: Sequence[Any]) -> Figure:
    return _figure(rows, _sums(rows), _used(rows), due)


def _figure(
    rows: Sequence[Any],
    sums: Mapping[tuple[str, date], float],
    used: set[Any],
    due: Sequence[Any],
    *,
    shift: float | None = None,
    note: str = "",
) -> Figure:
    """Σ ml, or with a ``shift`` what shift × visits is above it, with parts and interval."""
    if not rows:
        return not_recorded("L", Basis.MODELLED, expected=len(due), records="unit-weeks")
    below, above = uncertainty_ml(rows, shift or 0.0)
    if shift is not None:
        below, above = above, below  # the more is taken, the less is saved
    value = math.fsum(sums.values())
    parts = tuple(Part(school, week, sums[school, week] / ML) for school, week in sorted(sums))
    return Figure(
        value / ML,
        "L",
        Basis.MODELLED,
        low=(value - below) / ML,
        high=(value + above) / ML,
        used=len(used),
        expected=len(due),
        records="unit-weeks",
        note=note,
        parts=parts,
    )


def _sums(rows: Iterable[Any], reference_ml: float | None = None) -> dict[tuple[str, date], float]:
    """mL by school and week: taken, or with a reference what the reference would have taken more."""
    sums: dict[tuple[str, date], float] = {}
    for row in rows:
        key = (row.school, row.week.date())
        ml = float(row.ml)
        if reference_ml is not None:
            ml = (row.visits * reference_ml if row.part == WaterPart.FLUSH else 0.0) - ml
        sums[key] = sums.get(key, 0.0) + ml
    return sums


def _saved(schools: Sequence[tuple[list[Any], float, float]], due: Sequence[Any], all_schools: int) -> Figure:
    """One figure of several schools, each with its own mL before and their uncertainty (mL)."""
    rows = [row for mine, _, _ in schools for row in mine]
    known = {row.school_id for row in due}
    note = f"{CABINS_ONLY} Litres before were measured at {len(known)} of {all_schools} schools."
    if not rows:
        return not_recorded("L", Basis.MODELLED, expected=len(due), records="unit-weeks")
    sums: dict[tuple[str, date], float] = {}
    limits = []
    for mine, before_ml, before_u in schools:
        sums |= _sums(mine, before_ml)
        below, above = uncertainty_ml(mine, before_ml)
        limits.append((sum_u([above, Z95 * before_u]), sum_u([below, Z95 * before_u])))
    base = _figure(rows, sums, _used(rows), due, note=note)
    value = math.fsum(sums.values())
    # Side by side: the litres of fittings err together across schools.
    low, high = (value - sum(low for low, _ in limits)) / ML, (value + sum(high for _, high in limits)) / ML
    return Figure(
        base.value, "L", base.basis, low, high, base.used, base.expected, base.records, False, note, base.parts
    )


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


def _rows(water: pd.DataFrame, expected: pd.DataFrame) -> list[Any]:
    due = set(zip(expected["unit_id"], expected["week"], strict=True))
    return [row for row in rows_of(water) if row.kind in VISITED and (row.unit_id, row.week) in due]


def _cabins(water: pd.DataFrame, expected: pd.DataFrame) -> tuple[list[Any], list[Any]]:
    """Rows of cabin weeks that have a flush, and the cabin weeks expected."""
    rows = [row for row in _rows(water, expected) if row.kind == UnitKind.CABIN]
    flushed = {(row.unit_id, row.week) for row in rows if row.part == WaterPart.FLUSH}
    due = [row for row in rows_of(expected) if row.kind == UnitKind.CABIN]
    return [row for row in rows if (row.unit_id, row.week) in flushed], due


def _used(rows: Iterable[Any]) -> set[tuple[int, Any]]:
    return {(row.unit_id, row.week) for row in rows if row.whole and row.part == main_part(row.kind)}


def main_part(kind: str) -> WaterPart:
    """The part without which a unit's water is not known."""
    return WaterPart.HANDWASH if kind == UnitKind.TAP else WaterPart.FLUSH


def _name(row: Any, by: str) -> Any:
    return row.week.date() if by == "week" else getattr(row, by)
