"""Rules about a unit's week beside the weeks before it: they ask once, show both, and never stop a sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt
from statistics import median

from tracker.intake.rulebook import FactRow, Finding, Rule, View
from tracker.intake.rules_dials import dial_at
from tracker.records.context import ReadingInfo, UnitInfo
from tracker.vocabulary import WHOLE_WEEK, CountWay, Quantity, Source

WEEK = timedelta(days=7)
TIMES = 3  # more than so many times last week's visits
WEEKS = 8  # weeks that tell what is usual
LEAST_WEEKS = 5  # fewer tell nothing
TO_SIGMA = 1.4826  # a normal's standard deviation over its median absolute deviation
SIGMAS = 3
LEAST_TALLY = 4  # a drawn break's visits below this are not told apart: nobody is asked about 5 after many a 0


@dataclass(frozen=True, slots=True)
class UnitWeek:
    """A unit's visits of the week, and where to ask about them."""

    unit: str
    visits: int
    table: str
    row: FactRow
    column: str


def usual_range(values: list[float]) -> tuple[float, float] | None:
    """Median ± 3 × 1.4826 × MAD of the latest 8 values, never below 0; None for fewer than 5.

    At least ± 3 × √median: counts around a mean differ by about its square root by chance alone (Poisson), and the
    MAD of so few weeks is often far too small. The factor 1.4826 is that of a normal distribution (from memory).

    >>> low, high = usual_range([100, 110, 90, 105, 95, 100, 120, 80])
    >>> round(low, 4), round(high, 4)
    (66.6415, 133.3585)
    """
    latest = values[-WEEKS:]
    return None if len(latest) < LEAST_WEEKS else _range(latest, median(latest))


def _range(values: Sequence[float], least_middle: float) -> tuple[float, float]:
    middle = median(values)
    spread = median(abs(value - middle) for value in values)
    width = SIGMAS * max(TO_SIGMA * spread, sqrt(least_middle))
    return max(middle - width, 0.0), middle + width


def usual_tally(weeks: Mapping[date, Sequence[int]]) -> tuple[float, float] | None:
    """The same range of a unit's tallies of drawn breaks in its latest 8 weeks; None for fewer than 5 tallies.

    All breaks together: a break that is always fuller than the others widens the range. At least ± 3 × √4 = 6
    visits, so that a unit that hardly anybody uses is not asked about for a handful of visits (common practice,
    no published source).

    >>> usual_tally({date(2026, 1, 5): [9, 9], date(2026, 1, 12): [9, 9], date(2026, 1, 19): [9]})
    (0.0, 18.0)
    """
    latest = [visits for week in sorted(weeks)[-WEEKS:] for visits in weeks[week]]
    return None if len(latest) < LEAST_WEEKS else _range(latest, max(median(latest), LEAST_TALLY))


def unlike_before(view: View) -> Iterator[Finding]:
    """A unit's week far from the weeks before is asked about, with last week's visits and the usual range."""
    days = len(view.hours)
    past = view.context.past
    if not past.school_days or not days:
        return
    for one in units_of_week(view):
        before = _before(view, one.unit)
        scaled = [visits * days / past.school_days[week] for week, visits in sorted(before.items())]
        usual = usual_range(scaled)
        last_week = view.context.span.first - WEEK
        last = before.get(last_week)
        jumped = bool(last) and one.visits > TIMES * (last or 0) * days / past.school_days[last_week]
        if jumped or (usual is not None and not usual[0] <= one.visits <= usual[1]):
            yield Finding(one.table, one.row, one.column, _said(one.visits, last, usual, days))


def tally_unlike_before(view: View) -> Iterator[Finding]:
    """A drawn break's tally far from the unit's tallies before is asked about, with the usual range."""
    usual = {unit: usual_tally(weeks) for unit, weeks in view.context.past.tallies.items()}
    for table, row, unit in view.at_units("usage_counts"):
        visits, between = row.values.get("visits"), usual.get(unit.code)
        drawn = row.values.get("how") is CountWay.DRAWN and row.values.get("source") is Source.TALLY
        if drawn and visits is not None and between is not None and not between[0] <= visits <= between[1]:
            message = (
                f"{visits} visits in this break. Usual for {unit.code} in a drawn break of its last {WEEKS} weeks: "
                f"{round(between[0])} to {round(between[1])}. "
                "Look at the paper sheet again, or write in the note why it is right."
            )
            yield Finding(table, row, "visits", message)


def _said(visits: int, last: int | None, usual: tuple[float, float] | None, days: int) -> str:
    parts = [f"{visits} visits this week.", f"Last week: {'not recorded' if last is None else last}."]
    if usual is not None:
        parts.append(f"Usual for {days} school days: {round(usual[0])} to {round(usual[1])}.")
    return " ".join([*parts, "Look at the paper sheet or the dial again, or write in the note why it is right."])


def _before(view: View, unit: str) -> Mapping[date, int]:
    """Visits of a unit by week, in the school weeks before."""
    past = view.context.past
    found = {week: visits for week, visits in past.counts.get(unit, {}).items() if past.school_days.get(week)}
    readings = past.readings.get(unit, {})
    for week, last in readings.items():
        first = readings.get(week - WEEK)
        turned = None if first is None else _turned(view.context.units.get(unit), first, last)
        if turned is not None and past.school_days.get(week):
            found[week] = turned
    return found


def _turned(unit: UnitInfo | None, first: ReadingInfo, last: ReadingInfo) -> int | None:
    """What a counter turned between two readings; None where it was not the same dial."""
    if unit is None:
        return None
    dial = dial_at(unit, Quantity.VISITS, last.at)
    if dial is None or dial is not dial_at(unit, Quantity.VISITS, first.at):
        return None
    return int((last.value - first.value) % 10**dial.digits)


def units_of_week(view: View) -> list[UnitWeek]:
    """Each unit's visits of the week: what was tallied over the whole week, and what counters turned."""
    return [*tallied(view), *_counters(view)]


def tallied(view: View) -> Iterator[UnitWeek]:
    """Week totals, and sums over the breaks of the full grid; asked at the largest count."""
    rows: dict[str, list[FactRow]] = {}
    for _, row, unit in view.at_units("usage_counts"):
        whole = row.values.get("how") in WHOLE_WEEK and row.values.get("source") is Source.TALLY
        if whole and isinstance(row.values.get("visits"), int):
            rows.setdefault(unit.code, []).append(row)
    for code, found in rows.items():
        total = sum(row.values["visits"] for row in found)
        yield UnitWeek(code, total, "usage_counts", max(found, key=lambda row: row.values["visits"]), "visits")


def _counters(view: View) -> Iterator[UnitWeek]:
    """What counters turned since the reading of the week before."""
    for _, row, unit in view.at_units("readings"):
        values = row.values
        local, value = values.get("at_local_time"), values.get("value")
        if values.get("quantity") is not Quantity.VISITS or values.get("source") is not Source.TALLY:
            continue
        first = view.context.past.readings.get(unit.code, {}).get(view.context.span.first - WEEK)
        if local is None or value is None or first is None:
            continue
        turned = _turned(unit, first, ReadingInfo(view.instant(local), value))
        if turned is not None:
            yield UnitWeek(unit.code, turned, "readings", row, "value")


RULES = (
    Rule(
        "unlike_before",
        ("usage_counts", "readings"),
        "A unit's week of more than 3 times last week's visits, or outside median ± 3 × 1.4826 × MAD (at least "
        "± 3 × √median) of its last 8 weeks, each taken to this week's school days (week sheet only).",
        unlike_before,
        soft=True,
    ),
    Rule(
        "tally_unlike_before",
        ("usage_counts",),
        "A drawn break's visits outside median ± 3 × 1.4826 × MAD (at least ± 3 × √median and ± 6 visits) of the "
        "unit's tallies in its last 8 weeks (week sheet only).",
        tally_unlike_before,
        soft=True,
    ),
)
