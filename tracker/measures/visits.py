"""Visits: how often units were used, by counter, week's total, every break, or breaks drawn at random.

Each unit and week is counted in one way only. What was not recorded stays missing and lowers completeness;
nothing is filled in. Tallies of drawn breaks are scaled to the break occasions of their week.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from datetime import date
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from tracker.measures.columns import DAY_KEY, Floats, Texts, Whole, day_numbers, keys, matches, named, text
from tracker.measures.dials import SOURCE_ORDER, first_week, interval_uses, spread_over_weeks
from tracker.measures.figure import Figure, Part, not_recorded, weakest
from tracker.measures.intervals import sum_u
from tracker.measures.visits_drawn import Key, Spread, cells_of, limits_of, sample_of, spreads_of
from tracker.vocabulary import CABIN_LIKE, VISITED, Basis, CountWay, Group, Quantity, Source, UnitKind

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


def unit_weeks(
    units: pd.DataFrame,
    usage: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    preferred: Mapping[int, Source] | None = None,
    since: date | None = None,
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
            quantities; ``occasions`` every week that the readings are about.
        preferred: unit_id → the source that counts, else device before tally.
        since: the day from which ``occasions`` was read; a counter installed before it is counted from its first
            reading on. None: its first week.
    Returns:
        unit_id, week, way, visits, var (0 for counted), basis, cells, cells_expected (breaks of the week for
        a grid, 2 for drawn breaks, else 1); a unit and week without a record has no row.
    """
    kinds = units[units["kind"].isin([str(kind) for kind in VISITED]) & (units["count_way"] != CountWay.NONE)]
    steps = readings[readings["quantity"] == Quantity.VISITS]
    uses = interval_uses(steps, period_from=first_week(occasions, since), preferred=preferred)
    held = kinds[["unit_id", "school_id"]].merge(occasions[["school_id", "week", "breaks"]], on="school_id")
    of_usage = [_by_usage(usage, how, held, preferred or {}) for how in (CountWay.WEEK_TOTAL, CountWay.GRID)]
    ways = [_by_counter(spread_over_weeks(uses, occasions, units)), *of_usage, _by_drawn(tallies, kinds, occasions)]
    found = pd.concat([way for way in ways if len(way)] or [_no_weeks()], ignore_index=True)
    found = found[found["unit_id"].isin(kinds["unit_id"])]
    own = found["unit_id"].map(dict(zip(kinds["unit_id"], kinds["count_way"], strict=True)))
    rank = found["way"].map({str(way): rank for rank, way in enumerate(ORDER)}).where(found["way"] != own, -1)
    found = found.assign(rank=rank).sort_values(["unit_id", "week", "rank"], kind="stable")
    return found.drop_duplicates(["unit_id", "week"])[list(UNIT_WEEKS)].astype(UNIT_WEEKS).reset_index(drop=True)


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
    weeks = occasions[occasions["school_days"] > 0].sort_values(["school_id", "week"])
    wanted = units[units["kind"].isin([str(kind) for kind in kinds]) & (units["count_way"] != CountWay.NONE)]
    wanted = wanted.sort_values("unit_id", kind="stable")
    unit, at = matches(wanted["school_id"].to_numpy("int64"), weeks["school_id"].to_numpy("int64"))
    week = weeks["week"].to_numpy("datetime64[D]")[at]
    first, until = (wanted[name].to_numpy("datetime64[D]")[unit] for name in ("from_day", "until_day"))
    there = (np.isnat(first) | (first <= week + np.timedelta64(6, "D"))) & (np.isnat(until) | (until >= week))
    rows = wanted[[name for name in EXPECTED if name != "week"]].take(unit[there])
    return rows.assign(week=week[there])[list(EXPECTED)].astype(EXPECTED).reset_index(drop=True)


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

    The limits of a single week take the spread between drawn breaks pooled over the school's weeks of the frame:
    two breaks alone say little of how breaks differ. Blocks of different schools may bear one name: ask for them
    school by school. ``expected``: what ``expected_unit_weeks`` gives for these units, where it is at hand (other
    kinds are left out).
    """
    records = _records(unit_weeks, due_of(units, occasions, kinds, expected))
    sample = sample_of(tallies)
    breaks = _breaks(occasions)
    if by is None:
        return {"all": _total(records, sample, breaks)}
    of_row, names = pd.factorize(records.week if by == "week" else getattr(records, by), sort=True)
    spreads = spreads_of(_drawn(records), sample, breaks) if by == "week" else None
    figures = _totals(records, of_row.astype(np.int64), len(names), _Drawn(sample, breaks, spreads))
    return {named(name, is_day=by == "week"): figure for name, figure in zip(names, figures, strict=True)}


def pupil_days(enrolment: pd.DataFrame, occasions: pd.DataFrame) -> pd.DataFrame:
    """Pupils enrolled × school days, per school and week with a school day.

    Of each school, sex, grade and age the row with the latest from_day that overlaps the week counts
    (from_day up to the week's last day, until_day empty or from its first day on).

    Returns:
        school_id, week, pupils, school_days, pupil_days; school-weeks without any enrolment have no row.
    """
    held = occasions[occasions["school_days"] > 0].sort_values(["school_id", "week"])
    rolls = enrolment.sort_values(["school_id", "from_day"], kind="stable")
    of_week, roll = matches(held["school_id"].to_numpy("int64"), rolls["school_id"].to_numpy("int64"))
    first, until = (rolls[name].to_numpy("datetime64[D]")[roll] for name in ("from_day", "until_day"))
    week = held["week"].to_numpy("datetime64[D]")[of_week]
    there = (first <= week + np.timedelta64(6, "D")) & (np.isnat(until) | (until >= week))
    of_week, roll = of_week[there], roll[there]
    codes = [pd.factorize(rolls[name])[0].astype(np.int64) + 1 for name in ("sex", "grade", "age")]
    kinds = (codes[0] * (len(rolls) + 1) + codes[1]) * (len(rolls) + 1) + codes[2]
    kinds = np.unique(kinds, return_inverse=True)[1]
    same = (of_week * (len(rolls) + 1) + kinds[roll])[::-1]  # the latest of one kind comes last
    latest = len(same) - 1 - np.unique(same, return_index=True)[1]
    pupils = np.bincount(
        of_week[latest], weights=rolls["pupils"].to_numpy("float64")[roll[latest]], minlength=len(held)
    )
    rows = held.assign(pupils=pupils, pupil_days=pupils * held["school_days"])
    known = np.bincount(of_week, minlength=len(held)) > 0
    return rows.loc[known, list(PUPIL_DAYS)].astype(PUPIL_DAYS).reset_index(drop=True)


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
    due = due_of(pupils_units, occasions, CABIN_LIKE, expected)
    records = _records(unit_weeks, due[due["group"] != Group.STAFF])
    counted = keys(days["school_id"].to_numpy("int64"), day_numbers(days["week"]))
    school_week = keys(records.school_id, records.week)
    usable = records.take(np.isin(school_week, counted))
    total = _total(usable, sample_of(tallies), _breaks(occasions))
    with_visits = np.isin(counted, school_week[~np.isnan(records.visits)])
    base = int(days["pupil_days"].to_numpy()[with_visits].sum())
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


def _by_counter(uses: pd.DataFrame) -> pd.DataFrame:
    rows = uses[["unit_id", "week", "basis"]].assign(way=str(CountWay.COUNTER), visits=uses["steps"], var=0.0)
    return rows.assign(cells=1, cells_expected=1)[list(UNIT_WEEKS)].astype(UNIT_WEEKS)


def _by_usage(usage: pd.DataFrame, how: CountWay, held: pd.DataFrame, preferred: Mapping[int, Source]) -> pd.DataFrame:
    """``held``: the break occasions of each unit's weeks."""
    rows = usage[(usage["how"] == how) & usage["visits"].notna()]
    if rows.duplicated(["unit_id", "week"]).any():
        rank = rows["source"].map({str(source): rank for rank, source in enumerate(SOURCE_ORDER)})
        rank = rank.where(rows["source"] != rows["unit_id"].map(dict(preferred)).astype("str"), -1)
        rows = rows.assign(rank=rank).sort_values("rank", kind="stable").drop_duplicates(["unit_id", "week"])
    due = rows["cells"].clip(lower=1)
    if how is CountWay.GRID:
        breaks = rows[["unit_id", "week"]].merge(held, on=["unit_id", "week"], how="left")["breaks"].fillna(0)
        due = np.maximum(rows["cells"], breaks.to_numpy("int64"))
    rows = rows.assign(way=str(how), var=0.0, basis=str(Basis.COUNTED), cells_expected=due)
    return rows[list(UNIT_WEEKS)].astype(UNIT_WEEKS)


def _by_drawn(tallies: pd.DataFrame, kinds: pd.DataFrame, occasions: pd.DataFrame) -> pd.DataFrame:
    schools = dict(zip(kinds["unit_id"], kinds["school_id"], strict=True))
    cells = cells_of(tallies, schools, _breaks(occasions))
    rows = [(*key, str(CountWay.DRAWN), *cell) for key, cell in cells.items()]
    return pd.DataFrame(rows, columns=list(UNIT_WEEKS)).astype(UNIT_WEEKS)


def _no_weeks() -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in UNIT_WEEKS.items()})


def _breaks(occasions: pd.DataFrame) -> dict[Key, int]:
    days = occasions["week"].to_numpy("datetime64[D]").tolist()
    rows = zip(occasions["school_id"].tolist(), days, occasions["breaks"].tolist(), strict=True)
    return {(school, week): int(breaks) for school, week, breaks in rows}


@dataclass(frozen=True, slots=True)
class _Records:
    """Unit-weeks that should have visits, with those that were recorded (NaN: none); weeks as day numbers."""

    unit_id: Whole
    week: Whole
    school_id: Whole
    school: Texts
    block: Texts
    unit: Texts
    kind: Texts
    group: Texts
    visits: Floats
    way: Texts
    basis: Texts

    def __len__(self) -> int:
        return len(self.week)

    def take(self, chosen: Any) -> _Records:
        return _Records(*(getattr(self, column.name)[chosen] for column in fields(self)))


def _records(unit_weeks: pd.DataFrame, expected: pd.DataFrame) -> _Records:
    seen = keys(unit_weeks["unit_id"].to_numpy("int64"), day_numbers(unit_weeks["week"]))
    due = keys(expected["unit_id"].to_numpy("int64"), day_numbers(expected["week"]))
    at = pd.Index(seen).get_indexer(pd.Index(due)) if len(seen) else np.full(len(due), -1)
    found = at >= 0
    visits = np.full(len(due), np.nan)
    visits[found] = unit_weeks["visits"].to_numpy("float64")[at[found]]
    told = {}
    for name in ("way", "basis"):
        told[name] = np.full(len(due), "", dtype=object)
        told[name][found] = text(unit_weeks[name])[at[found]]
    columns: dict[str, Any] = {name: expected[name].to_numpy("int64") for name in ("unit_id", "school_id")}
    columns |= {name: text(expected[name]) for name in ("school", "block", "unit", "kind", "group")} | told
    return _Records(**columns, week=day_numbers(expected["week"]), visits=visits)


def due_of(
    units: pd.DataFrame, occasions: pd.DataFrame, kinds: Collection[UnitKind], expected: pd.DataFrame | None
) -> pd.DataFrame:
    """Expected unit-weeks of these kinds, taken from those at hand where there are any."""
    if expected is None:
        return expected_unit_weeks(units, occasions, kinds)
    return expected[expected["kind"].isin([str(kind) for kind in kinds])]


def _drawn(records: _Records) -> list[tuple[int, int, date]]:
    """School, unit and week of each recorded unit-week that was tallied on drawn breaks."""
    drawn = records.take(~np.isnan(records.visits) & (records.way == CountWay.DRAWN))
    weeks = drawn.week.astype("datetime64[D]").tolist()
    return list(zip(drawn.school_id.tolist(), drawn.unit_id.tolist(), weeks, strict=True))


class _Drawn(NamedTuple):
    """What the limits of drawn breaks rest on: tallies, break occasions, and spreads for single weeks."""

    sample: Mapping[Key, Any]
    breaks: Mapping[Key, int]
    spreads: Mapping[int, Spread] | None = None


def _total(records: _Records, sample: Mapping[Key, Any], breaks: Mapping[Key, int]) -> Figure:
    return _totals(records, np.zeros(len(records), dtype=np.int64), 1, _Drawn(sample, breaks))[0]


def _totals(records: _Records, group: Whole, groups: int, known: _Drawn) -> list[Figure]:
    """The total of each group of records; ``group``: the number of each record's group."""
    seen = ~np.isnan(records.visits)
    used, mine = records.take(seen), group[seen]
    expected, counts = (np.bincount(of, minlength=groups).tolist() for of in (group, mine))
    parts = _parts(used, mine, groups)
    bases = {
        Basis(name): np.bincount(mine[used.basis == name], minlength=groups) > 0 for name in set(used.basis.tolist())
    }
    drawn: dict[int, list[tuple[int, int, date]]] = {}
    for of, row in zip(mine[used.way == CountWay.DRAWN].tolist(), _drawn(used), strict=True):
        drawn.setdefault(of, []).append(row)
    return [
        _figure(
            parts[of],
            weakest(basis for basis, there in bases.items() if there[of]),
            (counts[of], expected[of]),
            limits_of(drawn[of], *known) if of in drawn else None,
        )
        if counts[of]
        else not_recorded("visits", Basis.COUNTED, expected=expected[of], records="unit-weeks")
        for of in range(groups)
    ]


def _figure(
    parts: tuple[Part, ...], basis: Basis, records: tuple[int, int], limits: list[tuple[float, float]] | None
) -> Figure:
    """Visits from their parts. records: used, expected. limits: distances by school, None where nothing was drawn."""
    value = sum(part.value for part in parts)
    return Figure(
        value,
        "visits",
        basis,
        low=None if limits is None else value - sum_u(below for below, _ in limits),
        high=None if limits is None else value + sum_u(above for _, above in limits),
        used=records[0],
        expected=records[1],
        records="unit-weeks",
        note="" if limits is None else BREAKS_ONLY,
        parts=parts,
    )


def _parts(used: _Records, group: Whole, groups: int) -> list[tuple[Part, ...]]:
    """Sums by school and week of each group, in order."""
    codes, names = pd.factorize(used.school, sort=True)
    wanted, place = np.unique(keys(group * max(len(names), 1) + codes, used.week), return_inverse=True)
    totals = np.bincount(place, weights=used.visits, minlength=len(wanted)).tolist()
    owner, school = np.divmod(wanted // DAY_KEY, max(len(names), 1))
    weeks = (wanted % DAY_KEY).astype("datetime64[D]").tolist()
    found = list(map(Part, np.asarray(names, dtype=object)[school].tolist(), weeks, totals))
    ends = np.searchsorted(owner, np.arange(groups + 1)).tolist()
    return [tuple(found[start:end]) for start, end in pairwise(ends)]
