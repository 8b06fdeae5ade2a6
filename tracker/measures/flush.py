"""The rules of water use: visits of a unit and week → whole millilitres for flush, washes and hands.

Each fitting has a rule, in force from a day on. Every rule works on visits that are already counted; the
litres are therefore modelled, however well the visits are known.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum
from typing import Any, NamedTuple

import pandas as pd

from tracker.measures.dials import first_week, interval_uses, rows_of, spread_over_weeks
from tracker.measures.intervals import wilson
from tracker.vocabulary import FLUSH_KINDS, CountWay, FittingKind, LitresBasis, Quantity

MEASURED_U = 0.03  # relative standard uncertainty of litres measured at commissioning
CLAIM_U = 0.10  # and of a maker's claim

WATER = {
    "unit_id": "int64",
    "week": "datetime64[us]",
    "school_id": "int64",
    "school": "str",
    "block": "str",
    "unit": "str",
    "kind": "str",
    "group": "str",
    "part": "str",
    "fitting": "str",
    "visits": "float64",
    "u_visits": "float64",
    "visit_ml": "float64",
    "ml": "int64",
    "below_ml": "float64",
    "above_ml": "float64",
    "share_known": "bool",
    "u_rel": "float64",
    "whole": "bool",
}
LONG_WEEKS = {"unit_id": "int64", "week": "datetime64[us]", "seen": "int64", "long": "int64"}


class WaterPart(StrEnum):
    """What water was taken for."""

    FLUSH = "flush"
    PRE_WASH = "pre-wash"
    FLOOR_WASH = "floor wash"
    HANDWASH = "handwash"


PART_OF = {
    **dict.fromkeys(FLUSH_KINDS, WaterPart.FLUSH),
    FittingKind.PRE_WASH: WaterPart.PRE_WASH,
    FittingKind.FLOOR_WASH: WaterPart.FLOOR_WASH,
    FittingKind.TAP: WaterPart.HANDWASH,
}


class LongShare(NamedTuple):
    """Share of visits that get the long flush, 0 to 1, with its bounds; known = looked at in that week."""

    share: float
    low: float
    high: float
    known: bool = False


class Fitting(NamedTuple):
    """A fitting's rule in its period; ``until_day`` is its last day, None while it is in place."""

    kind: FittingKind
    ml: float
    long_ml: float
    every_n: int
    factor: float
    u_rel: float
    label: str
    from_day: date
    until_day: date | None
    number: int  # its place in the frame


class Stretch(NamedTuple):
    """The part of a week in which the same rule held: its share of the week's school days."""

    fitting: Fitting
    vacuum: Fitting | None
    share: float


def flush_ml(kind: FittingKind, ml: float, long_ml: float, long_share: float, factor: float = 1.0) -> float:
    """Millilitres of one visit's flush, on average.

    fixed, pour: ml; two-stage: ml + share × (long_ml − ml); none: 0; all × the vacuum factor.

    Raises:
        ValueError: the kind is no flush, or the share is outside 0 to 1.

    >>> flush_ml(FittingKind.FLUSH_TWO_STAGE, 3000, 6000, 1 / 3)
    4000.0
    """
    if kind not in FLUSH_KINDS:
        raise ValueError(f"{kind} is not a flush")
    if not 0 <= long_share <= 1:
        raise ValueError(f"a share lies between 0 and 1, got {long_share}")
    if kind is FittingKind.FLUSH_NONE:
        return 0.0
    extra = long_share * (long_ml - ml) if kind is FittingKind.FLUSH_TWO_STAGE else 0.0
    return (ml + extra) * factor


def floor_washes(before: float, after: float, every_n: int) -> int:
    """Floor washes while a unit's visits since the fitting was put in rose from ``before`` to ``after``.

    ⌊after ÷ N⌋ − ⌊before ÷ N⌋, sampled visits first rounded half up to whole ones. What is left over is carried,
    so the washes of any split of the visits add up to ⌊total ÷ N⌋.

    Raises:
        ValueError: N is below 1, or visits fall.

    >>> floor_washes(8, 21, 10)
    2
    """
    if every_n < 1:
        raise ValueError(f"a floor wash comes after at least 1 visit, got {every_n}")
    if not 0 <= before <= after:
        raise ValueError(f"visits cannot fall from {before} to {after}")
    return half_up(after) // every_n - half_up(before) // every_n


def half_up(number: float) -> int:
    """Whole number, halves up. A millionth is cut first, so that binary fractions do not decide a half.

    >>> half_up(2.5), half_up(2.4999999999), half_up(2.49)
    (3, 3, 2)
    """
    return math.floor(round(number, 6) + 0.5)


def with_long_counters(
    long_weeks: pd.DataFrame,
    readings: pd.DataFrame,
    unit_weeks: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
) -> pd.DataFrame:
    """``long_weeks`` with the weeks of counters for long visits; a counter goes before what was looked at.

    seen is the week's visits where they come from a counter; a week whose visits do not is left out. A long
    count above the visits is taken as all visits.
    """
    long_reads = readings[readings["quantity"] == Quantity.LONG_VISITS]
    steps = interval_uses(long_reads, period_from=first_week(occasions))
    uses = {(row.unit_id, row.week): row.steps for row in rows_of(spread_over_weeks(steps, occasions, units))}
    rows = {(row.unit_id, row.week): (row.seen, row.long) for row in rows_of(long_weeks)}
    for row in rows_of(unit_weeks[unit_weeks["way"] == CountWay.COUNTER]):
        if (row.unit_id, row.week) in uses:
            rows[row.unit_id, row.week] = (int(row.visits), min(int(row.visits), uses[row.unit_id, row.week]))
    return pd.DataFrame([(*key, *rows[key]) for key in sorted(rows)], columns=list(LONG_WEEKS)).astype(LONG_WEEKS)


def unit_week_water(
    unit_weeks: pd.DataFrame,
    units: pd.DataFrame,
    fittings: pd.DataFrame,
    long_weeks: pd.DataFrame,
    school_days: pd.DataFrame,
    *,
    assumed: LongShare,
    period_from: date | None = None,
) -> pd.DataFrame:
    """Water of each unit and week by the fittings in force, in whole mL, one row per part and fitting.

    A fitting that changes inside a week shares that week's visits by the school days before and after (days on
    which the unit stood). mL are rounded half up once per unit, week and part; the fittings' rows take the
    differences of the rounded running sum, so they add up. Floor washes are whole washes, counted on over all
    weeks given since the fitting's first day: give also the weeks before the period.

    Args:
        unit_weeks: from ``visits.unit_weeks``, from the first day of the floor wash on.
        units, fittings: the frames; ``fittings`` also of the weeks before. Of two fittings of one part the later
            one is in force.
        long_weeks: visits looked at and of them long, per unit and week (see ``with_long_counters``).
        school_days: school_id, day; one row per school day.
        assumed: the long share where nobody looked, with bounds.
        period_from: rows of earlier weeks are computed and then left out.
    Returns:
        the unit's facts, week, part, fitting (kind, litres and their basis), visits (of those days), u_visits
        (standard uncertainty), visit_ml (mL per visit by the rule), ml, below_ml and above_ml (how much lower and
        higher with the bounds of the long share; Wilson limits where only some visits were looked at),
        share_known, u_rel (relative standard uncertainty of the fitting's mL), whole (all visits of the week have
        a fitting of this part). Visits on days without a fitting of the part have no mL and no row.
    """
    looked_at = {(row.unit_id, row.week): row for row in rows_of(long_weeks) if row.seen > 0}
    plan = _Plan(_rules(fittings), {row.unit_id: row for row in rows_of(units)}, _days(school_days))
    carried: dict[tuple[int, int], float] = {}
    rows: list[tuple[Any, ...]] = []
    for row in rows_of(unit_weeks.sort_values(["unit_id", "week"])):
        unit, week = plan.units.get(row.unit_id), row.week.date()
        if unit is None:
            continue
        early = period_from is not None and week < period_from
        looked = looked_at.get((row.unit_id, row.week))
        share = assumed if looked is None or early else _seen_share(looked, row.visits)
        facts = (row.unit_id, row.week, unit.school_id, unit.school, unit.block, unit.unit, unit.kind, unit.group)
        for part, stretches in plan.stretches(unit, week):
            if not early or part == WaterPart.FLOOR_WASH:  # what is carried is all that an earlier week leaves
                found = _part_lines(part, stretches, row, share, carried)
                rows += [] if early else [(*facts, *line) for line in found]
    return pd.DataFrame(
        dict(zip(WATER, zip(*rows, strict=True), strict=True)) if rows else None, columns=list(WATER)
    ).astype(WATER)


def _days(school_days: pd.DataFrame) -> dict[int, set[date]]:
    days: dict[int, set[date]] = {}
    for school, day in zip(school_days["school_id"].tolist(), school_days["day"].dt.date.tolist(), strict=True):
        days.setdefault(school, set()).add(day)
    return days


class _Plan:
    """Which fittings hold at a unit in a week; worked out once while nothing changes."""

    def __init__(
        self, rules: Mapping[int, Mapping[str, Sequence[Fitting]]], units: Mapping[int, Any], days: dict[int, set[date]]
    ) -> None:
        self.rules, self.units, self.days = rules, units, days
        self.changes = {unit: _change_days(parts) for unit, parts in rules.items()}
        self.known: dict[tuple[int, int], list[tuple[str, list[Stretch]]]] = {}

    def stretches(self, unit: Any, week: date) -> list[tuple[str, list[Stretch]]]:
        """Per part of a unit the rules of a week, with the share of its school days."""
        changes = self.changes.get(unit.unit_id, [])
        before = bisect_right(changes, week)
        if before < bisect_right(changes, week + timedelta(days=6)):
            return self._of(unit.unit_id, _open_days(unit, week, self.days.get(unit.school_id, set())))
        key = (unit.unit_id, before)
        if key not in self.known:
            self.known[key] = self._of(unit.unit_id, [week])
        return self.known[key]

    def _of(self, unit_id: int, days: Sequence[date]) -> list[tuple[str, list[Stretch]]]:
        parts = self.rules.get(unit_id, {})
        return [(part, _stretches(fits, parts, days)) for part, fits in parts.items() if part != FittingKind.VACUUM]


def _change_days(parts: Mapping[str, Sequence[Fitting]]) -> list[date]:
    """Days on which a fitting of a unit begins to hold, or no longer holds."""
    fits = [fit for group in parts.values() for fit in group]
    ends = {fit.until_day + timedelta(days=1) for fit in fits if fit.until_day is not None}
    return sorted({fit.from_day for fit in fits} | ends)


def _part_lines(
    part: str, stretches: Sequence[Stretch], row: Any, share: LongShare, carried: dict[tuple[int, int], float]
) -> list[tuple[Any, ...]]:
    """The columns of ``WATER`` from "part" on. ``carried``: visits by unit and number of its fitting."""
    whole = math.isclose(sum(stretch.share for stretch in stretches), 1.0)
    lines, running = [], 0.0
    for stretch in stretches:
        fitting, visits = stretch.fitting, row.visits * stretch.share
        visit_ml, below, above = _visit_ml(stretch, share)
        if part == WaterPart.FLOOR_WASH:
            key = (row.unit_id, fitting.number)
            before = carried.get(key, 0.0)
            carried[key] = before + visits
            ml = floor_washes(before, before + visits, fitting.every_n) * half_up(fitting.ml)
        else:
            ml = half_up(running + visits * visit_ml) - half_up(running)
            running += visits * visit_ml
        vacuum = stretch.vacuum
        lines.append(
            (
                str(part),
                fitting.label if vacuum is None else f"{fitting.label}, {vacuum.label}",
                visits,
                math.sqrt(row.var) * stretch.share,
                visit_ml,
                ml,
                visits * below,
                visits * above,
                share.known,
                fitting.u_rel if vacuum is None else math.hypot(fitting.u_rel, vacuum.u_rel),
                whole,
            )
        )
    return lines


def _visit_ml(stretch: Stretch, share: LongShare) -> tuple[float, float, float]:
    """mL of a visit, and how much lower and higher at the bounds of the long share."""
    fitting = stretch.fitting
    if fitting.kind is FittingKind.FLOOR_WASH:
        return fitting.ml / fitting.every_n, 0.0, 0.0
    if fitting.kind not in FLUSH_KINDS:
        return fitting.ml, 0.0, 0.0
    factor = 1.0 if stretch.vacuum is None else stretch.vacuum.factor
    middle, *ends = (
        flush_ml(fitting.kind, fitting.ml, fitting.long_ml, at, factor) for at in (share.share, share.low, share.high)
    )
    return middle, middle - min(ends), max(ends) - middle


def _stretches(
    fits: Sequence[Fitting], of_unit: Mapping[str, Sequence[Fitting]], days: Sequence[date]
) -> list[Stretch]:
    vacuums = of_unit.get(FittingKind.VACUUM, ())
    if not any(_changes(fit, days) for fit in (*fits, *vacuums)):
        days = days[:1]  # the usual week: one day stands for all
    counts: dict[tuple[Fitting, Fitting | None], int] = {}
    for day in days:
        fitting = _in_force(fits, day)
        if fitting is None:
            continue
        vacuum = _in_force(vacuums, day) if fitting.kind in FLUSH_KINDS else None
        counts[fitting, vacuum] = counts.get((fitting, vacuum), 0) + 1
    return [Stretch(fitting, vacuum, count / len(days)) for (fitting, vacuum), count in counts.items()]


def _changes(fit: Fitting, days: Sequence[date]) -> bool:
    starts = days[0] < fit.from_day <= days[-1]
    return starts or (fit.until_day is not None and days[0] <= fit.until_day < days[-1])


def _in_force(fits: Sequence[Fitting], day: date) -> Fitting | None:
    """The latest fitting that holds on a day; ``fits`` are in order of their first day."""
    return next(
        (fit for fit in reversed(fits) if fit.from_day <= day and (fit.until_day is None or day <= fit.until_day)),
        None,
    )


def _open_days(unit: Any, week: date, school_days: set[date]) -> list[date]:
    """School days of the week on which the unit stood; without any, the week's school days, else all seven."""
    seven = [week + timedelta(days=number) for number in range(7)]
    open_days = [day for day in seven if day in school_days]
    first = date.min if pd.isna(unit.from_day) else unit.from_day.date()
    last = date.max if pd.isna(unit.until_day) else unit.until_day.date()
    return [day for day in open_days if first <= day <= last] or open_days or seven


def _seen_share(looked: Any, visits: float) -> LongShare:
    """Long share of the visits looked at; exact where all were, else with Wilson's limits."""
    share = looked.long / looked.seen
    if looked.seen >= half_up(visits):
        return LongShare(share, share, share, known=True)
    _, low, high = wilson(int(looked.long), int(looked.seen))
    return LongShare(share, low or 0.0, 1.0 if high is None else high, known=True)


def _rules(fittings: pd.DataFrame) -> dict[int, dict[str, list[Fitting]]]:
    rules: dict[int, dict[str, list[Fitting]]] = {}
    for number, row in enumerate(rows_of(fittings.sort_values("from_day", kind="stable"))):
        kind = FittingKind(row.kind)
        part = FittingKind.VACUUM if kind is FittingKind.VACUUM else PART_OF[kind]
        rules.setdefault(row.unit_id, {}).setdefault(part, []).append(_fitting(row, kind, number))
    return rules


def _fitting(row: Any, kind: FittingKind, number: int) -> Fitting:
    ml, long_ml, every_n, factor = (
        None if pd.isna(value) else float(value) for value in (row.ml, row.long_ml, row.every_n, row.factor_permille)
    )
    needs = _needs(kind)
    given = {"ml": ml, "long_ml": long_ml, "every_n": every_n, "factor_permille": factor}
    missing = [name for name in needs if given[name] is None]
    if missing:
        raise ValueError(f"a fitting {kind} needs {' and '.join(missing)}")
    usual = MEASURED_U if row.litres_basis == LitresBasis.MEASURED else CLAIM_U
    label = " ".join([str(kind), *(f"{name} {given[name]:g}" for name in needs), str(row.litres_basis)])
    return Fitting(
        kind,
        ml or 0.0,
        long_ml or 0.0,
        int(every_n or 0),
        1.0 if factor is None else factor / 1000,
        usual if pd.isna(row.u_permille) else row.u_permille / 1000,
        label,
        row.from_day.date(),
        None if pd.isna(row.until_day) else row.until_day.date(),
        number,
    )


def _needs(kind: FittingKind) -> Iterable[str]:
    special = {
        FittingKind.FLUSH_TWO_STAGE: ("ml", "long_ml"),
        FittingKind.FLUSH_NONE: (),
        FittingKind.VACUUM: ("factor_permille",),
        FittingKind.FLOOR_WASH: ("ml", "every_n"),
    }
    return special.get(kind, ("ml",))
