"""Visits: how often units were used, by counter, week's total, every break, or breaks drawn at random.

Each unit and week is counted in one way only. What was not recorded stays missing and lowers completeness;
nothing is filled in. Tallies of drawn breaks are scaled to the break occasions of their week.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import pandas as pd

from tracker.measures.dials import SOURCE_ORDER, first_week, interval_uses, rows_of, spread_over_weeks, stood_in
from tracker.measures.figure import Figure, Part, not_recorded, weakest
from tracker.measures.intervals import StratifiedTotal, stratified_total, sum_u
from tracker.vocabulary import CABIN_LIKE, VISITED, Basis, CountWay, Group, Quantity, Source, UnitKind

DRAWN_BREAKS = 2  # breaks that the app draws per week for a short sheet
Z95 = 1.959964
ORDER = (CountWay.COUNTER, CountWay.WEEK_TOTAL, CountWay.GRID, CountWay.DRAWN)
BREAKS_ONLY = "Visits that were sampled are visits in breaks only."

UNIT_WEEKS = {
    "unit_id": "int64",
    "week": "datetime64[us]",
    "way": "str",
    "visits": "float64",
    "var": "float64",
    "basis": "str",
    "cells": "int64",
    "cells_expected": "int64",
}
EXPECTED = {"unit_id": "int64", "week": "datetime64[us]", "school_id": "int64"}
EXPECTED |= dict.fromkeys(("school", "block", "unit", "kind", "group"), "str")
PUPIL_DAYS = {"school_id": "int64", "week": "datetime64[us]"}
PUPIL_DAYS |= dict.fromkeys(("pupils", "school_days", "pupil_days"), "int64")

Key = tuple[int, date]


class Cell(NamedTuple):
    """The visits of one unit and week, counted in one way."""

    visits: float
    var: float
    basis: Basis
    cells: int
    cells_expected: int


class UnitWeek(NamedTuple):
    """A unit and week that should have visits, with those that were recorded."""

    unit: Any
    week: date
    visits: float | None
    way: str
    basis: str


def unit_weeks(
    units: pd.DataFrame,
    usage: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    preferred: Mapping[int, Source] | None = None,
) -> pd.DataFrame:
    """Visits of each unit and week, counted in one way only.

    The unit's own ``count_way`` comes first, then counter, week's total, grid, drawn breaks: the first that has
    a record for that week. Units whose way is "none" and kinds without visits are left out.

    counter: steps of the visit counter by ``spread_over_weeks``. week_total: the tally. grid: sum of the cells
    recorded; missing cells stay missing, and ``cells`` of ``cells_expected`` tells. drawn: mean tally of the
    unit's drawn breaks × break occasions of that school and week, visits in breaks only, basis sampled, with
    var = M²·(1 − n/M)·s²/n. Where only one break was tallied s² is pooled over the unit's other weeks; where
    there are none, s² is the mean tally (a Poisson count). Source: Cochran, Sampling Techniques, ch. 2.

    Args:
        units, usage, tallies, occasions, readings: the frames of those names. ``readings`` may hold other
            quantities; ``occasions`` every week that the readings are about
            (a counter installed before its first week is counted from its first reading on).
        preferred: unit_id → the source that counts, else device before tally.
    Returns:
        unit_id, week, way, visits, var (0 for counted), basis, cells, cells_expected (breaks of the week for
        a grid, 2 for drawn breaks, else 1); a unit and week without a record has no row.
    """
    kinds = units[units["kind"].isin([str(kind) for kind in VISITED]) & (units["count_way"] != CountWay.NONE)]
    schools = dict(zip(kinds["unit_id"], kinds["school_id"], strict=True))
    breaks = _breaks(occasions)
    steps = readings[readings["quantity"] == Quantity.VISITS]
    uses = interval_uses(steps, period_from=first_week(occasions), preferred=preferred)
    ways = {
        CountWay.COUNTER: _by_counter(spread_over_weeks(uses, occasions, units)),
        CountWay.WEEK_TOTAL: _by_usage(usage, CountWay.WEEK_TOTAL, schools, breaks, preferred or {}),
        CountWay.GRID: _by_usage(usage, CountWay.GRID, schools, breaks, preferred or {}),
        CountWay.DRAWN: _by_drawn(tallies, schools, breaks),
    }
    first = {unit: CountWay(way) for unit, way in zip(kinds["unit_id"], kinds["count_way"], strict=True)}
    keys = sorted({key for cells in ways.values() for key in cells if key[0] in first})
    rows = []
    for unit, week in keys:
        order = (first[unit], *ORDER)
        way = next(way for way in order if (unit, week) in ways[way])
        rows.append((unit, week, str(way), *ways[way][unit, week]))
    return pd.DataFrame(rows, columns=list(UNIT_WEEKS)).astype(UNIT_WEEKS)


def expected_unit_weeks(
    units: pd.DataFrame, occasions: pd.DataFrame, kinds: Collection[UnitKind] = VISITED
) -> pd.DataFrame:
    """Unit-weeks that should have visits: the unit stood there and its school had a school day.

    Args:
        units: frame ``units``; until_day is the unit's last day, NaT while it stands.
        occasions: frame ``occasions`` of the period.
        kinds: which kinds of unit.
    Returns:
        unit_id, week, school_id, school, block, unit, kind, group; units with count_way "none" are left out.
    """
    weeks: dict[int, list[date]] = {}
    for row in rows_of(occasions[occasions["school_days"] > 0].sort_values("week")):
        weeks.setdefault(row.school_id, []).append(row.week.date())
    wanted = units[units["kind"].isin([str(kind) for kind in kinds]) & (units["count_way"] != CountWay.NONE)]
    rows = []
    for unit in rows_of(wanted.sort_values("unit_id")):
        facts = (unit.school_id, unit.school, unit.block, unit.unit, unit.kind, unit.group)
        rows += [(unit.unit_id, week, *facts) for week in weeks.get(unit.school_id, []) if stood_in(unit, week)]
    return pd.DataFrame(rows, columns=list(EXPECTED)).astype(EXPECTED)


def visits_total(
    unit_weeks: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    kinds: Collection[UnitKind] = CABIN_LIKE,
    *,
    expected: pd.DataFrame | None = None,
) -> Figure:
    """Visits of the period: the sum of the unit-weeks recorded, with an interval for the sampled part.

    Args:
        unit_weeks: from ``unit_weeks``; weeks outside ``occasions`` are left out.
        tallies, occasions, units: the frames of the period.
        kinds: cabins and urinals, unless said otherwise (uses of taps are hand washes).
    Returns:
        Figure in visits. Interval: per school, the drawn breaks of a week are a random sample of its break
        occasions (stratum), each with the sum over the units tallied then (a tally missing among them counts
        as the unit's mean of that week), by ``stratified_total``; schools in quadrature. Units tallied in the
        same break are so not taken as independent. records: unit-weeks. parts: per school and week.
    """
    return visits_by(unit_weeks, tallies, occasions, units, None, kinds=kinds, expected=expected)["all"]


def visits_by(
    unit_weeks: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    by: str | None,
    *,
    kinds: Collection[UnitKind] = CABIN_LIKE,
    expected: pd.DataFrame | None = None,
) -> dict[Any, Figure]:
    """Visits per group of unit-weeks: ``by`` is a column of ``expected_unit_weeks`` ("unit_id", "block",
    "school", "kind", "group", "week"), or None for one group named "all". Each value is a Figure as of
    ``visits_total``; groups in the order of their names, a week as a ``date``.

    Blocks of different schools may bear one name: ask for them school by school. ``expected``: what
    ``expected_unit_weeks`` gives for these units, where it is at hand (other kinds are left out).
    """
    records = _records(unit_weeks, _due(units, occasions, kinds, expected))
    sample = _sample(tallies)
    breaks = _breaks(occasions)
    groups: dict[Any, list[UnitWeek]] = {} if by else {"all": []}
    for record in records:
        groups.setdefault(_group_key(record, by), []).append(record)
    return {name: _total(groups[name], sample, breaks) for name in sorted(groups)}


def pupil_days(enrolment: pd.DataFrame, occasions: pd.DataFrame) -> pd.DataFrame:
    """Pupils enrolled × school days, per school and week with a school day.

    Of each school, sex, grade and age the row with the latest from_day that overlaps the week counts
    (from_day up to the week's last day, until_day empty or from its first day on).

    Returns:
        school_id, week, pupils, school_days, pupil_days; school-weeks without any enrolment have no row.
    """
    rolls: dict[int, list[tuple[Any, int, pd.Timestamp, pd.Timestamp]]] = {}
    for r in rows_of(enrolment.sort_values("from_day")):
        until = pd.Timestamp.max if pd.isna(r.until_day) else r.until_day
        rolls.setdefault(r.school_id, []).append(((r.sex, r.grade, str(r.age)), int(r.pupils), r.from_day, until))
    rows = []
    for row in rows_of(occasions[occasions["school_days"] > 0].sort_values(["school_id", "week"])):
        week, end = row.week, row.week + pd.Timedelta(days=6)
        known = rolls.get(row.school_id, [])
        latest = {key: pupils for key, pupils, first, last in known if first <= end and last >= week}
        if latest:
            pupils = sum(latest.values())
            rows.append((row.school_id, week.date(), pupils, row.school_days, pupils * row.school_days))
    return pd.DataFrame(rows, columns=list(PUPIL_DAYS)).astype(PUPIL_DAYS)


def visits_per_pupil_day(
    unit_weeks: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    enrolment: pd.DataFrame,
    *,
    expected: pd.DataFrame | None = None,
) -> Figure:
    """Visits to cabins and urinals ÷ pupil-days of the school-weeks that have both.

    Units for staff only are left out. The interval is that of the visits; pupils enrolled are taken as exact.
    A unit without a record lowers the figure, and completeness says so.
    """
    pupils_units = units[units["group"] != Group.STAFF]
    days = pupil_days(enrolment, occasions)
    counted = {(row.school_id, row.week.date()): row.pupil_days for row in rows_of(days)}
    due = _due(pupils_units, occasions, CABIN_LIKE, expected)
    due = due[due["group"] != Group.STAFF]
    records = _records(unit_weeks, due)
    usable = [record for record in records if (record.unit.school_id, record.week) in counted]
    total = _total(usable, _sample(tallies), _breaks(occasions))
    with_visits = {(r.unit.school_id, r.week) for r in usable if r.visits is not None}
    base = sum(counted[key] for key in with_visits)
    unit = "visits per pupil and school day"
    if total.value is None or not base:
        return not_recorded(unit, Basis.COUNTED, expected=len(records), records="unit-weeks")
    return Figure(
        total.value / base,
        unit,
        total.basis,
        low=None if total.low is None else total.low / base,
        high=None if total.high is None else total.high / base,
        used=total.used,
        expected=len(records),
        records="unit-weeks",
        note=total.note,
    )


def _by_counter(uses: pd.DataFrame) -> dict[Key, Cell]:
    return {
        (row.unit_id, row.week.date()): Cell(float(row.steps), 0.0, Basis(row.basis), 1, 1) for row in rows_of(uses)
    }


def _by_usage(
    usage: pd.DataFrame,
    how: CountWay,
    schools: Mapping[int, int],
    breaks: Mapping[Key, int],
    preferred: Mapping[int, Source],
) -> dict[Key, Cell]:
    found: dict[Key, tuple[int, Cell]] = {}
    for row in rows_of(usage[usage["how"] == how]):
        key = (row.unit_id, row.week.date())
        rank = -1 if preferred.get(row.unit_id) == row.source else SOURCE_ORDER.index(Source(row.source))
        if pd.isna(row.visits) or (key in found and found[key][0] <= rank):
            continue
        cells = int(row.cells)
        due = breaks.get((schools.get(row.unit_id, -1), key[1]), 0) if how is CountWay.GRID else 1
        found[key] = (rank, Cell(float(row.visits), 0.0, Basis.COUNTED, cells, max(cells, due)))
    return {key: cell for key, (_, cell) in found.items()}


def _by_drawn(tallies: pd.DataFrame, schools: Mapping[int, int], breaks: Mapping[Key, int]) -> dict[Key, Cell]:
    sample = _sample(tallies)
    pooled = _pooled(sample)
    found = {}
    for (unit, week), drawn in sample.items():
        occasions = max(breaks.get((schools.get(unit, -1), week), 0), len(drawn))
        mean = math.fsum(drawn.values()) / len(drawn)
        spread = _squares(drawn) / (len(drawn) - 1) if len(drawn) > 1 else pooled.get(unit, mean)
        var = occasions**2 * (1 - len(drawn) / occasions) * spread / len(drawn)
        due = max(len(drawn), min(DRAWN_BREAKS, occasions))
        found[unit, week] = Cell(mean * occasions, var, Basis.SAMPLED, len(drawn), due)
    return found


def _pooled(sample: Mapping[Key, Mapping[Any, float]]) -> dict[int, float]:
    squares: dict[int, float] = {}
    freedom: dict[int, int] = {}
    for (unit, _), drawn in sample.items():
        squares[unit] = squares.get(unit, 0.0) + _squares(drawn)
        freedom[unit] = freedom.get(unit, 0) + len(drawn) - 1
    return {unit: squares[unit] / count for unit, count in freedom.items() if count}


def _squares(drawn: Mapping[Any, float]) -> float:
    mean = math.fsum(drawn.values()) / len(drawn)
    return math.fsum((visits - mean) ** 2 for visits in drawn.values())


def _sample(tallies: pd.DataFrame) -> dict[Key, dict[Any, float]]:
    """Unit and week → drawn break (day, slot) → visits tallied."""
    found: dict[Key, dict[Any, float]] = {}
    for row in rows_of(tallies.dropna(subset=["visits"])):
        found.setdefault((row.unit_id, row.week.date()), {})[row.day, row.slot] = float(row.visits)
    return found


def _breaks(occasions: pd.DataFrame) -> dict[Key, int]:
    rows = zip(occasions["school_id"], occasions["week"], occasions["breaks"], strict=True)
    return {(school, week.date()): int(breaks) for school, week, breaks in rows}


def _records(unit_weeks: pd.DataFrame, expected: pd.DataFrame) -> list[UnitWeek]:
    found = {(row.unit_id, row.week): row for row in rows_of(unit_weeks)}
    records = []
    for row in rows_of(expected):
        seen: Any = found.get((row.unit_id, row.week))
        facts = (None, "", "") if seen is None else (seen.visits, seen.way, seen.basis)
        records.append(UnitWeek(row, row.week.date(), *facts))
    return records


def _due(
    units: pd.DataFrame, occasions: pd.DataFrame, kinds: Collection[UnitKind], expected: pd.DataFrame | None
) -> pd.DataFrame:
    if expected is None:
        return expected_unit_weeks(units, occasions, kinds)
    return expected[expected["kind"].isin([str(kind) for kind in kinds])]


def _group_key(record: UnitWeek, by: str | None) -> Any:
    if by is None:
        return "all"
    return record.week if by == "week" else getattr(record.unit, by)


def _total(records: Sequence[UnitWeek], sample: Mapping[Key, Any], breaks: Mapping[Key, int]) -> Figure:
    used = [record for record in records if record.visits is not None]
    if not used:
        return not_recorded("visits", Basis.COUNTED, expected=len(records), records="unit-weeks")
    sums: dict[tuple[str, date], float] = {}
    for record in used:
        key = (record.unit.school, record.week)
        sums[key] = sums.get(key, 0.0) + (record.visits or 0.0)
    parts = tuple(Part(school, week, sums[school, week]) for school, week in sorted(sums))
    value = sum(part.value for part in parts)
    drawn = [record for record in used if record.way == CountWay.DRAWN]
    limits = [_limits(strata) for strata in _strata(drawn, sample, breaks).values()]
    return Figure(
        value,
        "visits",
        weakest(Basis(record.basis) for record in used),
        low=value - sum_u(below for below, _ in limits) if drawn else None,
        high=value + sum_u(above for _, above in limits) if drawn else None,
        used=len(used),
        expected=len(records),
        records="unit-weeks",
        note=BREAKS_ONLY if drawn else "",
        parts=parts,
    )


def _strata(
    drawn: Sequence[UnitWeek], sample: Mapping[Key, Any], breaks: Mapping[Key, int]
) -> dict[int, list[tuple[list[float], int]]]:
    """School → per week the totals over units of each drawn break, and the break occasions of the week."""
    cells: dict[Key, list[Any]] = {}
    for record in drawn:
        cells.setdefault((record.unit.school_id, record.week), []).append(sample[record.unit.unit_id, record.week])
    strata: dict[int, list[tuple[list[float], int]]] = {}
    for (school, week), tallied in cells.items():
        occasions = sorted({occasion for unit in tallied for occasion in unit})
        means = [math.fsum(unit.values()) / len(unit) for unit in tallied]
        totals = [
            math.fsum(unit.get(occasion, mean) for unit, mean in zip(tallied, means, strict=True))
            for occasion in occasions
        ]
        strata.setdefault(school, []).append((totals, max(breaks.get((school, week), 0), len(totals))))
    return strata


def _limits(strata: Sequence[tuple[list[float], int]]) -> tuple[float, float]:
    """Distances of a school's 95 % limits, below and above; as Poisson counts where no week has two breaks."""
    result: StratifiedTotal = stratified_total(strata)
    value, low, high = result.interval
    if value is not None and low is not None and high is not None:
        return value - low, high - value
    half = Z95 * math.sqrt(math.fsum(_poisson_variance(totals, size) for totals, size in strata))
    unseen = math.fsum(result.totals) - math.fsum(seen for totals, _ in strata for seen in totals)
    return min(half, unseen), half


def _poisson_variance(totals: Sequence[float], size: int) -> float:
    n = len(totals)
    return size**2 * (1 - n / size) * (math.fsum(totals) / n) / n
