"""Visits by unit and week, their total and its limits (docs/measures_parts/visits.md)."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction

from tests.recompute import chance, dials
from tests.recompute.files import SOURCES, Asked, Fig, Row, day, holds_in, latest, week_of
from tests.recompute.school_time import Calendar, weeks_of_term

Tallies = dict[tuple[str, str], int]  # day, break → visits
VISITED = ["cabin", "urinal", "tap"]
ORDER = ["counter", "week_total", "grid", "drawn"]
STRENGTH = ["counted", "metered", "sampled", "modelled", "estimated"]


@dataclass
class UnitWeek:
    """Visits of a unit in a week; without a record there is none of these."""

    visits: Fraction
    way: str
    basis: str
    tallies: Tallies = field(default_factory=dict)
    variance: float = 0.0


@dataclass
class Seen:
    """What the other parts need: units of the period, visits by unit and week, and which of them are expected."""

    units: list[Row]
    weeks: dict[str, dict[date, UnitWeek]]
    expected: list[tuple[Row, date]]
    period: list[date]


def visits_of(asked: Asked, held: Calendar) -> Seen:
    """The school's visits."""
    units = units_of_period(asked)
    weeks = {}
    for unit in units:
        if unit["kind"] in VISITED and unit["way"] != "none":
            weeks[unit["unit"]] = unit_weeks(asked, held, unit)
    period = weeks_of_term(asked, held)
    expected = []
    for unit in units:
        for week in period:
            if unit["unit"] in weeks and holds_in(unit, week, week + timedelta(days=6)):
                expected.append((unit, week))
    return Seen(units, weeks, expected, period)


def units_of_period(asked: Asked) -> list[Row]:
    """Units that stood on a day of the period, with their group and way of counting on its last day."""
    units = []
    for row in sorted(asked.mine("units"), key=lambda row: row["unit"]):
        if not holds_in(row, asked.first, asked.last):
            continue
        groups = [group for group in asked.mine("block_groups") if group["block"] == row["block"]]
        ways = [way for way in asked.mine("unit_ways") if way["unit"] == row["unit"]]
        group, way = latest(groups, asked.last), latest(ways, asked.last)
        units.append(row | {"group": group["group"] if group else "everyone", "way": way["way"] if way else "none"})
    return units


def unit_weeks(asked: Asked, held: Calendar, unit: Row) -> dict[date, UnitWeek]:
    """All weeks of a unit that have a record, each in one way of counting only."""
    ways: dict[str, dict[date, UnitWeek]] = {
        "counter": by_counter(asked, held, unit),
        "week_total": by_cells(asked, unit, "week_total"),
        "grid": by_cells(asked, unit, "grid"),
        "drawn": by_drawn(asked, held, unit),
    }
    found: dict[date, UnitWeek] = {}
    for way in [unit["way"], *ORDER]:
        for week, record in ways[way].items():
            found.setdefault(week, record)
    return found


def by_counter(asked: Asked, held: Calendar, unit: Row) -> dict[date, UnitWeek]:
    """Visits from the unit's own counter."""
    weeks = dials.by_week(dials.intervals(asked, held, unit, "visits"))
    return {week: UnitWeek(Fraction(steps), "counter", basis) for week, (steps, basis) in weeks.items()}


def by_cells(asked: Asked, unit: Row, how: str) -> dict[date, UnitWeek]:
    """Sums of a week's counts, of the first source that has any."""
    sums: dict[date, dict[str, int]] = {}
    for row in asked.mine("usage_counts"):
        if row["unit"] == unit["unit"] and row["how"] == how and day(row["first_day"]) <= asked.last:
            week = sums.setdefault(week_of(day(row["first_day"]), asked.weekday), {})
            week[row["source"]] = week.get(row["source"], 0) + int(row["visits"])
    found = {}
    for week, by_source in sums.items():
        source = next(name for name in [unit["preferred_source"], *SOURCES] if name in by_source)
        found[week] = UnitWeek(Fraction(by_source[source]), how, "counted")
    return found


def by_drawn(asked: Asked, held: Calendar, unit: Row) -> dict[date, UnitWeek]:
    """Mean of the tallied breaks × the breaks of the week, with its variance."""
    weeks: dict[date, Tallies] = {}
    for row in asked.mine("usage_counts"):
        if row["unit"] == unit["unit"] and row["how"] == "drawn" and day(row["first_day"]) <= asked.last:
            week = week_of(day(row["first_day"]), asked.weekday)
            if week + timedelta(days=6) >= asked.visits_from:
                weeks.setdefault(week, {})[row["first_day"], row["slot"]] = int(row["visits"])
    pooled = pooled_square([list(tallied.values()) for tallied in weeks.values()])
    found = {}
    for week, tallied in weeks.items():
        counts = list(tallied.values())
        n, size = len(counts), max(held.occasions.get(week, 0), len(counts))
        mean = Fraction(sum(counts), n)
        square = squares(counts) / (n - 1) if n > 1 else float(mean) if pooled is None else pooled
        variance = size * size * (1 - n / size) * square / n
        found[week] = UnitWeek(mean * size, "drawn", "sampled", tallied, variance)
    return found


def squares(counts: list[int] | list[float]) -> float:
    """Sum of the squared distances from the mean."""
    mean = sum(counts) / len(counts)
    return sum((count - mean) ** 2 for count in counts)


def pooled_square(weeks: list[list[int]] | list[list[float]]) -> float | None:
    """Σ of squares ÷ Σ (n − 1) over weeks; none where no week has two counts."""
    freedom = sum(len(counts) - 1 for counts in weeks)
    return sum(squares(counts) for counts in weeks) / freedom if freedom else None


def total(seen: Seen, held: Calendar, due: list[tuple[Row, date]], around: list[tuple[Row, date]] | None = None) -> Fig:
    """Visits of some unit-weeks; the limits of one week take their spread from all the weeks ``around`` it."""
    used = [(unit, week) for unit, week in due if week in seen.weeks[unit["unit"]]]
    if not used:
        return Fig(None, None, None, 0, len(due))
    records = [seen.weeks[unit["unit"]][week] for unit, week in used]
    value = sum(record.visits for record in records)
    basis = max((record.basis for record in records), key=STRENGTH.index)
    drawn = [(week, seen.weeks[unit["unit"]][week]) for unit, week in used]
    drawn = [(week, record) for week, record in drawn if record.way == "drawn"]
    if not drawn:
        return Fig(float(value), None, None, len(used), len(due), basis)
    others = [(week, seen.weeks[unit["unit"]].get(week)) for unit, week in around or []]
    spread = week_spread([(week, record) for week, record in others if record is not None and record.way == "drawn"])
    below, above = limits(drawn, held, spread)
    return Fig(float(value), float(value) - below, float(value) + above, len(used), len(due), basis)


def week_spread(drawn: list[tuple[date, UnitWeek]]) -> tuple[float, int] | None:
    """Mean square between the drawn breaks of a week, pooled over weeks, and its degrees of freedom."""
    weeks = []
    for week in sorted({week for week, _ in drawn}):
        records = [record for of, record in drawn if of == week]
        breaks = sorted({key for record in records for key in record.tallies})
        weeks.append(
            [
                float(sum(r.tallies.get(key, sum(r.tallies.values()) / len(r.tallies)) for r in records))
                for key in breaks
            ]
        )
    pooled = pooled_square(weeks)
    return None if pooled is None else (pooled, sum(len(totals) - 1 for totals in weeks))


def limits(
    drawn: list[tuple[date, UnitWeek]], held: Calendar, spread: tuple[float, int] | None = None
) -> tuple[float, float]:
    """How far the 95 % limits lie below and above a total of drawn breaks."""
    strata = []
    for week in sorted({week for week, _ in drawn}):
        records = [record for of, record in drawn if of == week]
        breaks = sorted({key for record in records for key in record.tallies})
        totals = []
        for key in breaks:
            each = [r.tallies.get(key, sum(r.tallies.values()) / len(r.tallies)) for r in records]
            totals.append(float(sum(each)))
        strata.append((totals, max(held.occasions.get(week, 0), len(totals))))
    whole = sum(size * sum(totals) / len(totals) for totals, size in strata)
    seen = sum(sum(totals) for totals, _ in strata)
    freedom = sum(len(totals) - 1 for totals, _ in strata)
    pooled = pooled_square([totals for totals, _ in strata])
    if spread is not None:
        pooled, freedom = spread
    variance = 0.0
    for totals, size in strata:
        n = len(totals)
        own = n > 1 and spread is None
        square = squares(totals) / (n - 1) if own else sum(totals) / n if pooled is None else pooled
        variance += size * size * (1 - n / size) * square / n
    half = (chance.student(freedom) if freedom else chance.Z) * math.sqrt(variance)
    return min(half, whole - seen), half


def pupil_days(asked: Asked, held: Calendar, weeks: list[date]) -> dict[date, int]:
    """Pupils enrolled × school days of each week; a week without any enrolment has none."""
    found = {}
    for week in weeks:
        rolls: dict[tuple[str, ...], Row] = {}
        for row in asked.mine("enrolment"):
            if holds_in(row, week, week + timedelta(days=6)):
                key = (row["shift"], row["sex"], row["grade"], row["age_years"])
                if key not in rolls or row["from_day"] > rolls[key]["from_day"]:
                    rolls[key] = row
        if rolls:
            found[week] = sum(int(row["pupils"]) for row in rolls.values()) * held.school_days[week]
    return found


def per_pupil_day(asked: Asked, seen: Seen, held: Calendar) -> Fig:
    """Visits of pupils ÷ pupil-days of the weeks that have both."""
    days = pupil_days(asked, held, seen.period)
    due = [(u, week) for u, week in seen.expected if u["kind"] != "tap" and u["group"] != "staff"]
    both = [(unit, week) for unit, week in due if week in days]
    found = total(seen, held, both)
    weeks = {week for unit, week in both if week in seen.weeks[unit["unit"]]}
    base = sum(days[week] for week in weeks)
    if found.value is None or not base:
        return Fig(None, None, None, 0, len(due))
    low = None if found.low is None else found.low / base
    high = None if found.high is None else found.high / base
    return Fig(found.value / base, low, high, found.used, len(due), found.basis)


def of_cabins(seen: Seen) -> list[tuple[Row, date]]:
    """Expected unit-weeks of cabins and urinals."""
    return [(unit, week) for unit, week in seen.expected if unit["kind"] != "tap"]
