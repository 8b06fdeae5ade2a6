"""Visits of all unit-weeks, also those that nobody reported, beside the total that was reported.

The reported total is never changed. The estimate stands beside it, says how many unit-weeks it had to stand in
for, and takes them as if they were like the reported ones of the same school; schools that reported nothing as if
they were like the schools that did. Weeks are missing for reasons, so this is an assumption and not a sample.

Sources: ratio estimate and two-stage sampling, W. G. Cochran, Sampling Techniques, ch. 6 and 11 (from memory);
ratio of cluster totals, T. Lumley, "A survey analysis example" (vignette of the R survey package).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.columns import DAY_KEY, day_numbers, keys
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, not_recorded, weakest
from tracker.measures.intervals import ratio_of_totals, sum_u
from tracker.measures.visits import due_of, pupil_days, visits_by, visits_total
from tracker.vocabulary import CABIN_LIKE, Basis, Group, Sex, UnitKind

EPOCH = date(1970, 1, 1)
ALIKE = "The estimate takes unit-weeks that were not reported to be like the reported ones of the same school."
UNSEEN = "Schools that reported nothing are taken to be like those that did, by {size}."
NO_SPREAD = "There is no interval: too little was reported to see how much weeks or schools differ."
EVERYONE = "Visits in blocks for everyone are shared by the enrolled girls and boys of the school."


@dataclass(frozen=True, slots=True)
class VisitEstimate:
    """What was reported, and what all unit-weeks would come to. Show both, always."""

    reported: Figure
    estimate: Figure


@dataclass(slots=True)
class Cell:
    """Units of one kind and group of a school: visits and unit-days recorded, by week, and unit-days expected."""

    visits: dict[date, float] = field(default_factory=dict)
    days: dict[date, float] = field(default_factory=dict)
    expected: float = 0.0

    @property
    def rate(self) -> float | None:
        """Visits per unit and school day; None without a record."""
        base = math.fsum(self.days.values())
        return math.fsum(self.visits.values()) / base if base else None


@dataclass(frozen=True, slots=True)
class SchoolTotal:
    """A school's estimated total with what is needed for its variance.

    var: of the total, from week to week; None where it cannot be seen from this school. freedom: its degrees of
    freedom. missing: share of unit-days without a record. relative: squared relative residual of a week.
    """

    total: float
    size: float
    var: float | None
    freedom: int
    missing: float
    relative: float


def estimated_visits(
    unit_weeks: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    *,
    kinds: Collection[UnitKind] = CABIN_LIKE,
    enrolment: pd.DataFrame | None = None,
    expected: pd.DataFrame | None = None,
) -> VisitEstimate:
    """Visits reported, and the estimate for all unit-weeks that should have been reported.

    Within a school: per kind and group visits ÷ unit-days recorded (unit-days: units × school days) × unit-days
    expected; weeks are the clusters. Over schools: Σ totals of the schools that reported ÷ Σ their size × Σ size of
    all schools; schools are the clusters, with t on n − 1 and the finite population of the programme's schools.
    Size: pupil-days where ``enrolment`` covers every school, else unit-days.

    Variance = between schools + g·Σ weeks within schools + g·G²·breaks drawn, g = size of all ÷ size of those that
    reported, G² of a school = expected ÷ recorded unit-days. A school with one recorded week takes the relative
    variance pooled over the other schools. The low limit is no lower than what was reported.

    Args:
        unit_weeks, tallies, occasions, units: as for ``visits.visits_total``.
        kinds: cabins and urinals, unless said otherwise.
        enrolment: frame ``enrolment``; None sizes schools by unit-days.
        expected: what ``visits.expected_unit_weeks`` gives for these units, where it is at hand.
    Returns:
        ``reported`` is ``visits_total`` unchanged. ``estimate`` is the same figure where nothing is missing; else
        basis modelled, with a note, without parts (what was not reported has no school-week parts). used, expected:
        unit-weeks, as reported. No interval where one school reported of several, or no school has two weeks.

    Example: one unit, four weeks of 5 days; 100, 120 and 110 reported. 330 ÷ 15 × 20 = 440; residuals −10, 10, 0,
    e = 4/3 of them, var = (1 − 3/4) · 3/2 · (16/9 · 200) = 133.33, t(2) = 4.303: ± 49.7.
    """
    due = due_of(units, occasions, kinds, expected)
    reported = visits_total(unit_weeks, tallies, occasions, units, kinds, expected=due)
    if reported.value is None or reported.used == reported.expected:
        return VisitEstimate(reported, reported)
    schools = _schools(due, unit_weeks, occasions)
    sizes, size_name = _sizes(schools, enrolment, occasions)
    totals = _pooled({school: _school_total(cells, sizes[school]) for school, cells in schools.items()})
    sampled: Mapping[int, tuple[float, float]] = {}
    if reported.low is not None:  # something was drawn
        by_school = visits_by(unit_weeks, tallies, occasions, units, "school_id", kinds=kinds, expected=due)
        sampled = {school: _distances(figure) for school, figure in by_school.items()}
    value, half = _programme(totals, sizes, sampled)
    unseen = len(totals) < len(schools)
    notes = [ALIKE, UNSEEN.format(size=size_name) if unseen else "", "" if half else NO_SPREAD, reported.note]
    floor = reported.value if reported.low is None else reported.low
    estimate = Figure(
        value,
        "visits",
        weakest([reported.basis, Basis.MODELLED]),
        low=None if half is None else min(value, max(floor, value - half[0])),
        high=None if half is None else value + half[1],
        used=reported.used,
        expected=reported.expected,
        records=reported.records,
        note=" ".join(note for note in notes if note),
    )
    return VisitEstimate(reported, estimate)


def visits_per_pupil_day_by_sex(
    unit_weeks: pd.DataFrame,
    tallies: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    enrolment: pd.DataFrame,
) -> dict[Sex, Figure]:
    """Visits per pupil and school day, girls and boys apart: visits ÷ pupil-days of the school-weeks with both.

    Visits of a block go to its group; those of blocks for everyone are shared by the girls and boys enrolled in that
    school and week; blocks for staff are left out. Nobody is counted by sex at a unit.

    Interval: the drawn breaks', and where unit-weeks are missing also the ratio over schools (t on n − 1), in
    quadrature. Missing unit-weeks are not filled in; completeness says how many there were.
    Source: the share by enrolment is the project's own rule.
    """
    days = {sex: _days_of(enrolment, occasions, sex) for sex in Sex}
    groups = _by_school_and_group(unit_weeks, tallies, occasions, units)
    return {sex: _per_day(sex, groups, days) for sex in Sex}


def _schools(
    due: pd.DataFrame, unit_weeks: pd.DataFrame, occasions: pd.DataFrame
) -> dict[int, dict[tuple[str, str], Cell]]:
    """School → kind and group → what was recorded and expected."""
    held = keys(occasions["school_id"].to_numpy("int64"), day_numbers(occasions["week"]))
    week, school = day_numbers(due["week"]), due["school_id"].to_numpy("int64")
    days = occasions["school_days"].to_numpy("float64")[pd.Index(held).get_indexer(pd.Index(keys(school, week)))]
    seen = keys(unit_weeks["unit_id"].to_numpy("int64"), day_numbers(unit_weeks["week"]))
    at = pd.Index(seen).get_indexer(pd.Index(keys(due["unit_id"].to_numpy("int64"), week)))
    kept = at >= 0
    visits = unit_weeks["visits"].to_numpy("float64")[at[kept]]
    codes, names = pd.MultiIndex.from_frame(due[["school_id", "kind", "group"]]).factorize()
    expected = np.bincount(codes, weights=days, minlength=len(names)).tolist()
    cells = [Cell(expected=each) for each in expected]
    of_week, place = np.unique(keys(codes[kept].astype(np.int64), week[kept]), return_inverse=True)
    sums = (np.bincount(place, weights=part, minlength=len(of_week)).tolist() for part in (visits, days[kept]))
    for key, number, base in zip(of_week.tolist(), *sums, strict=True):
        cell, day = cells[key // DAY_KEY], EPOCH + timedelta(days=key % DAY_KEY)
        cell.visits[day], cell.days[day] = number, base
    schools: dict[int, dict[tuple[str, str], Cell]] = {}
    for (of_school, kind, group), cell in zip(names.tolist(), cells, strict=True):
        schools.setdefault(int(of_school), {})[kind, group] = cell
    return schools


def _sizes(
    schools: Mapping[int, Mapping[Any, Cell]], enrolment: pd.DataFrame | None, occasions: pd.DataFrame
) -> tuple[dict[int, float], str]:
    pupils: dict[int, float] = {}
    if enrolment is not None:
        for row in rows_of(pupil_days(enrolment, occasions)):
            pupils[row.school_id] = pupils.get(row.school_id, 0.0) + row.pupil_days
    if all(pupils.get(school) for school in schools):
        return {school: pupils[school] for school in schools}, "their pupils and school days"
    sizes = {school: math.fsum(cell.expected for cell in cells.values()) for school, cells in schools.items()}
    return sizes, "their units and school days"


def _school_total(cells: Mapping[tuple[str, str], Cell], size: float) -> SchoolTotal | None:
    """Ratio estimate of one school, weeks as clusters; None where nothing was recorded."""
    days = math.fsum(base for cell in cells.values() for base in cell.days.values())
    if not days:
        return None
    overall = math.fsum(v for cell in cells.values() for v in cell.visits.values()) / days
    total, residuals = 0.0, dict[date, float]()
    for (kind, _), cell in cells.items():
        rate = _rate(cells, kind, cell, overall)
        recorded = math.fsum(cell.days.values())
        total += math.fsum(cell.visits.values()) + rate * (cell.expected - recorded)
        for week, visits in cell.visits.items():
            residual = cell.expected / recorded * (visits - rate * cell.days[week])
            residuals[week] = residuals.get(week, 0.0) + residual
    n = len(residuals)
    missing = 1 - days / math.fsum(cell.expected for cell in cells.values())
    squares = math.fsum(residual**2 for residual in residuals.values())
    var = missing * n / (n - 1) * squares if n > 1 else None
    relative = n / (n - 1) * squares * n / total**2 if n > 1 and total else 0.0
    return SchoolTotal(total, size, var, n - 1, max(missing, 0.0), relative)


def _rate(cells: Mapping[tuple[str, str], Cell], kind: str, cell: Cell, overall: float) -> float:
    """Visits per unit-day of a cell; without a record that of the school's units of its kind, then of all."""
    own = cell.rate
    if own is not None:
        return own
    alike = [other for (name, _), other in cells.items() if name == kind]
    days = math.fsum(base for other in alike for base in other.days.values())
    return math.fsum(v for other in alike for v in other.visits.values()) / days if days else overall


def _pooled(found: Mapping[int, SchoolTotal | None]) -> dict[int, SchoolTotal]:
    """Schools that reported; one with a single week takes the squared relative residual pooled over the others."""
    totals = {school: total for school, total in found.items() if total is not None}
    freedom = sum(total.freedom for total in totals.values())
    if not freedom:
        return totals
    pooled = math.fsum(total.freedom * total.relative for total in totals.values()) / freedom
    return {
        school: total
        if total.var is not None
        else SchoolTotal(
            total.total, total.size, total.missing * pooled * total.total**2, 0, total.missing, total.relative
        )
        for school, total in totals.items()
    }


def _distances(figure: Figure) -> tuple[float, float]:
    if figure.value is None or figure.low is None or figure.high is None:
        return 0.0, 0.0
    return figure.value - figure.low, figure.high - figure.value


def _programme(
    totals: Mapping[int, SchoolTotal], sizes: Mapping[int, float], sampled: Mapping[int, tuple[float, float]]
) -> tuple[float, tuple[float, float] | None]:
    """The estimate and the distances of its limits; None where they cannot be known."""
    from scipy.special import stdtrit

    rows = list(totals.values())
    everything = math.fsum(sizes.values())
    scale = everything / math.fsum(row.size for row in rows)
    ratio = ratio_of_totals([row.total for row in rows], [row.size for row in rows], population=len(sizes))
    value = math.fsum(row.total for row in rows) * scale
    freedom = sum(row.freedom for row in rows)
    blind = any(row.var is None and row.missing for row in rows)
    if blind or (len(rows) < len(sizes) and ratio.high is None):
        return value, None
    between = 0.0 if ratio.high is None or ratio.value is None else (ratio.high - ratio.value) * everything
    within = math.sqrt(scale * math.fsum(row.var or 0.0 for row in rows))
    within *= float(stdtrit(freedom, 0.975)) if freedom else 0.0
    drawn = [
        math.sqrt(scale)
        * sum_u(sampled.get(school, (0.0, 0.0))[side] / math.sqrt(1 - row.missing) for school, row in totals.items())
        for side in (0, 1)
    ]
    return value, (sum_u([between, within, drawn[0]]), sum_u([between, within, drawn[1]]))


def _days_of(enrolment: pd.DataFrame, occasions: pd.DataFrame, sex: Sex) -> dict[tuple[int, date], float]:
    rows = pupil_days(enrolment[enrolment["sex"] == sex], occasions)
    weeks = rows["week"].to_numpy("datetime64[D]").tolist()
    return dict(
        zip(
            zip(rows["school_id"].tolist(), weeks, strict=True),
            rows["pupil_days"].astype("float64").tolist(),
            strict=True,
        )
    )


def _by_school_and_group(
    unit_weeks: pd.DataFrame, tallies: pd.DataFrame, occasions: pd.DataFrame, units: pd.DataFrame
) -> list[tuple[int, Group, Figure]]:
    """Visits of each school's girls', boys' and everyone's blocks."""
    pupils = units[units["group"] != Group.STAFF]
    named = pupils.assign(block=pupils["school_id"].astype("str") + "|" + pupils["group"])
    figures = visits_by(unit_weeks, tallies, occasions, named, "block")
    names = {name: name.split("|", 1) for name in figures}
    return [(int(names[name][0]), Group(names[name][1]), figure) for name, figure in figures.items()]


@dataclass(slots=True)
class SchoolVisits:
    """A school's visits by one sex with the distances of their limits, and the pupil-days they belong to."""

    visits: float = 0.0
    spread: tuple[float, float] = (0.0, 0.0)
    weeks: set[date] = field(default_factory=set)
    pupil_days: float = 0.0


def _per_day(
    sex: Sex, groups: Sequence[tuple[int, Group, Figure]], days: Mapping[Sex, Mapping[tuple[int, date], float]]
) -> Figure:
    unit = f"visits per {'girl' if sex is Sex.GIRLS else 'boy'} and school day"
    mine = [row for row in groups if row[1] in (Group.EVERYONE, Group(sex.value))]
    figures = [figure for _, _, figure in mine]
    expected, used = (sum(getattr(figure, name) for figure in figures) for name in ("expected", "used"))
    schools = list(_by_school(sex, mine, days).values())
    total = math.fsum(school.pupil_days for school in schools)
    if not total:
        return not_recorded(unit, Basis.COUNTED, expected=expected, records="unit-weeks")
    rate = math.fsum(school.visits for school in schools) / total
    cluster = _cluster(schools) if used < expected else 0.0
    below, above = (sum_u([*(s.spread[side] / total for s in schools), cluster or 0.0]) for side in (0, 1))
    limits = cluster is not None and (used < expected or above > 0)
    shared = any(group is Group.EVERYONE for _, group, _ in mine)
    notes = [EVERYONE if shared else "", NO_SPREAD if cluster is None else ""]
    return Figure(
        rate,
        unit,
        weakest([*(figure.basis for figure in figures if figure.recorded), *[Basis.MODELLED] * shared]),
        low=max(0.0, rate - below) if limits else None,
        high=rate + above if limits else None,
        used=used,
        expected=expected,
        records="unit-weeks",
        note=" ".join(note for note in notes if note),
    )


def _by_school(
    sex: Sex, mine: Sequence[tuple[int, Group, Figure]], days: Mapping[Sex, Mapping[tuple[int, date], float]]
) -> dict[int, SchoolVisits]:
    """School-weeks that have visits and pupils; blocks of one school err together, so their limits are added."""
    schools: dict[int, SchoolVisits] = {}
    for school, group, figure in mine:
        known = [part for part in figure.parts if days[sex].get((school, part.week))]
        got = math.fsum(part.value * _share(sex, group, (school, part.week), days) for part in known)
        row = schools.setdefault(school, SchoolVisits())
        row.visits += got
        ratio = got / figure.value if figure.value else 0.0
        below, above = _distances(figure)
        row.spread = (row.spread[0] + below * ratio, row.spread[1] + above * ratio)
        row.weeks |= {part.week for part in known}
    for school, row in schools.items():
        row.pupil_days = math.fsum(days[sex][school, week] for week in sorted(row.weeks))
    return {school: row for school, row in schools.items() if row.pupil_days}


def _cluster(schools: Sequence[SchoolVisits]) -> float | None:
    """Half-width of the ratio over schools; None with fewer than two."""
    ratio = ratio_of_totals([school.visits for school in schools], [school.pupil_days for school in schools])
    return None if ratio.high is None or ratio.value is None else ratio.high - ratio.value


def _share(
    sex: Sex, group: Group, key: tuple[int, date], days: Mapping[Sex, Mapping[tuple[int, date], float]]
) -> float:
    if group is not Group.EVERYONE:
        return 1.0
    both = math.fsum(of_sex.get(key, 0.0) for of_sex in days.values())
    return days[sex].get(key, 0.0) / both if both else 0.0
