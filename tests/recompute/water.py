"""Water by rule, its limits, and meters against it (docs/measures_parts/water.md). Whole millilitres throughout."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from tests.recompute import chance, dials
from tests.recompute.files import Asked, Fig, Row, day, holds
from tests.recompute.school_time import Calendar
from tests.recompute.visits import Seen, UnitWeek

Z = 1.96  # as the page on water states it
FLUSHES = ["flush_fixed", "flush_two_stage", "flush_pour", "flush_none"]
PART_OF = dict.fromkeys(FLUSHES, "flush") | {"pre_wash": "pre-wash", "floor_wash": "floor wash", "tap": "handwash"}
PARTS = ["flush", "pre-wash", "floor wash", "handwash"]
Due = list[tuple[Row, date]]


@dataclass
class Line:
    """Water of a unit, week and part by one rule."""

    unit: Row
    week: date
    part: str
    rule: tuple[str, ...]
    visits: Fraction
    u_visits: float
    visit_ml: Fraction
    ml: int
    below: float  # how much less with the bounds of the share of long visits
    above: float
    looked: bool
    u: float
    whole: bool


@dataclass
class Long:
    """Share of long visits with its bounds; looked: somebody or a counter looked in that week."""

    share: Fraction
    low: Fraction | float
    high: Fraction | float
    looked: bool


def half_up(number: Fraction) -> int:
    """Rounded half up."""
    return math.floor(number + Fraction(1, 2))


def lines(asked: Asked, held: Calendar, seen: Seen) -> list[Line]:
    """Water of every unit and week that has visits, those before the period included."""
    found = []
    for unit in seen.units:
        if unit["unit"] in seen.weeks:
            found += of_unit(asked, held, unit, seen.weeks[unit["unit"]])
    return found


def of_unit(asked: Asked, held: Calendar, unit: Row, weeks: dict[date, UnitWeek]) -> list[Line]:
    """Water of one unit, week after week; visits since a floor wash was fitted are carried on."""
    fittings = [row for row in asked.mine("fittings") if row["unit"] == unit["unit"]]
    long_steps = dials.by_week(dials.intervals(asked, held, unit, "long_visits"))
    carried: dict[str, Fraction] = {}
    found = []
    for week in sorted(weeks):
        share = long_share(asked, unit, week, weeks[week], long_steps)
        for part in PARTS:
            rules = [row for row in fittings if PART_OF.get(row["kind"]) == part]
            vacuums = [row for row in fittings if row["kind"] == "vacuum" and part == "flush"]
            found += part_lines(asked, held, (unit, week, part), (rules, vacuums), weeks[week], share, carried)
    return found


def long_share(asked: Asked, unit: Row, week: date, record: UnitWeek, steps: dict[date, tuple[int, str]]) -> Long:
    """The week's share of long visits: by its counter, by what was looked at, else as the programme assumes."""
    seen = long = 0
    for row in asked.mine("long_weeks"):
        if row["unit"] == unit["unit"] and day(row["week"]) == week:
            seen += int(row["seen_visits"])
            long += int(row["long_visits"])
    if record.way == "counter" and week in steps:
        seen = int(record.visits)
        long = min(seen, steps[week][0])
    if seen == 0:
        names = ("long_share_permille", "long_share_low_permille", "long_share_high_permille")
        share, low, high = (Fraction(asked.settings[name], 1000) for name in names)
        return Long(share, low, high, False)
    share = Fraction(long, seen)
    if seen >= half_up(record.visits):
        return Long(share, share, share, True)
    _, least, most = chance.wilson(long, seen)
    assert least is not None and most is not None
    return Long(share, least, most, True)


def counted_days(held: Calendar, unit: Row, week: date) -> list[date]:
    """School days of the week on which the unit stood; without any the school days; without any all seven."""
    seven = [week + timedelta(days=number) for number in range(7)]
    school = [today for today in seven if today in held.minutes]
    stood = [today for today in school if holds(unit, today)]
    return stood or school or seven


def in_force(rows: list[Row], today: date) -> Row | None:
    """The fitting with the latest first day among those that hold."""
    found = None
    for row in rows:
        if holds(row, today) and (found is None or row["from_day"] >= found["from_day"]):
            found = row
    return found


def part_lines(
    asked: Asked,
    held: Calendar,
    what: tuple[Row, date, str],
    fittings: tuple[list[Row], list[Row]],
    record: UnitWeek,
    share: Long,
    carried: dict[str, Fraction],
) -> list[Line]:
    """The rows of one unit, week and part: one for each fitting that held, by its share of the days."""
    unit, week, part = what
    days = counted_days(held, unit, week)
    held_by: list[tuple[Row, Row | None, int]] = []
    for today in days:
        fitting, vacuum = in_force(fittings[0], today), in_force(fittings[1], today)
        if fitting is None:
            continue
        if held_by and held_by[-1][0] is fitting and held_by[-1][1] is vacuum:
            held_by[-1] = (fitting, vacuum, held_by[-1][2] + 1)
        else:
            held_by.append((fitting, vacuum, 1))
    whole = sum(number for *_, number in held_by) == len(days)
    found, running = [], Fraction(0)
    for fitting, vacuum, number in held_by:
        portion = Fraction(number, len(days))
        visits = record.visits * portion
        each = visit_ml(fitting, vacuum, share.share)
        ends = [float(visit_ml(fitting, vacuum, end)) for end in (share.low, share.high)]
        if part == "floor wash":
            before = carried.get(fitting["from_day"], Fraction(0))
            carried[fitting["from_day"]] = before + visits
            every = int(fitting["every_visits"])
            ml = (half_up(before + visits) // every - half_up(before) // every) * int(fitting["visit_ml"])
        else:
            ml = half_up(running + visits * each) - half_up(running)
            running += visits * each
        below, above = float(visits) * (float(each) - min(ends)), float(visits) * (max(ends) - float(each))
        u_visits = math.sqrt(record.variance) * float(portion)
        rule, u = rule_of(asked, fitting, vacuum)
        line = Line(unit, week, part, rule, visits, u_visits, each, ml, below, above, share.looked, u, whole)
        found.append(line)
    return found


def visit_ml(fitting: Row, vacuum: Row | None, share: Fraction | float) -> Fraction:
    """Millilitres of one visit by the rule."""
    ml = Fraction(int(fitting["visit_ml"]))
    if fitting["kind"] == "floor_wash":
        return ml / int(fitting["every_visits"])
    if fitting["kind"] == "flush_none":
        return Fraction(0)
    if fitting["kind"] == "flush_two_stage":
        ml += Fraction(share) * (int(fitting["long_visit_ml"]) - ml)
    return ml if vacuum is None else ml * Fraction(int(vacuum["factor_permille"]), 1000)


def rule_of(asked: Asked, fitting: Row, vacuum: Row | None) -> tuple[tuple[str, ...], float]:
    """What is one rule, with the relative standard uncertainty of its litres."""
    names = ("kind", "visit_ml", "long_visit_ml", "every_visits", "litres_basis")
    rule, u = tuple(fitting[name] for name in names), relative_u(asked, fitting)
    if vacuum is None:
        return rule, u
    return (*rule, vacuum["factor_permille"], vacuum["litres_basis"]), math.hypot(u, relative_u(asked, vacuum))


def relative_u(asked: Asked, fitting: Row) -> float:
    """The fitting's own, else 3 % measured and the programme's for a maker's claim."""
    if fitting["u_permille"]:
        return int(fitting["u_permille"]) / 1000
    return 0.03 if fitting["litres_basis"] == "measured" else asked.settings["litres_u_permille"] / 1000


def distances(found: list[Line], shift: float = 0.0) -> tuple[float, float]:
    """mL to the 95 % limits, below and above; ``shift`` is taken off each visit of the flush."""
    weeks: dict[date, float] = {}
    rules: dict[tuple[str, ...], float] = {}
    looked_below, looked_above, assumed_below, assumed_above = [], [], 0.0, 0.0
    for line in found:
        each = float(line.visit_ml) - (shift if line.part == "flush" else 0.0)
        weeks[line.week] = weeks.get(line.week, 0.0) + each * line.u_visits
        rules[line.rule] = rules.get(line.rule, 0.0) + line.ml * line.u
        if line.looked:
            looked_below.append(line.below)
            looked_above.append(line.above)
        else:
            assumed_below += line.below
            assumed_above += line.above
    random = Z * chance.root([*weeks.values(), *rules.values()])
    return chance.root([random, assumed_below, *looked_below]), chance.root([random, assumed_above, *looked_above])


def main_part(unit: Row) -> str:
    """The part without which a unit's water is not known."""
    return "handwash" if unit["kind"] == "tap" else "flush"


def used(found: list[Line]) -> int:
    """Unit-weeks with litres for all their visits."""
    whole = {(x.unit["unit"], x.week) for x in found if x.whole and x.part == main_part(x.unit)}
    return len(whole)


def chosen(found: list[Line], due: Due) -> list[Line]:
    """The rows of the unit-weeks that are due."""
    keys = {(unit["unit"], week) for unit, week in due}
    return [line for line in found if (line.unit["unit"], line.week) in keys]


def taken(found: list[Line], due: Due) -> Fig:
    """Litres of all rows."""
    if not found:
        return Fig(None, None, None, 0, len(due), "modelled")
    below, above = distances(found)
    ml = sum(line.ml for line in found)
    return Fig(ml / 1000, (ml - below) / 1000, (ml + above) / 1000, used(found), len(due), "modelled")


def by_part(found: list[Line], due: Due, part: str) -> Fig:
    """Litres of one part, of the units that can have it."""
    tap = part == "handwash"
    wanted = [(unit, week) for unit, week in due if (unit["kind"] == "tap") == tap]
    rows = [line for line in chosen(found, wanted) if line.part == part]
    figure = taken(rows, wanted)
    return figure._replace(used=used(chosen(found, wanted)) if rows else 0)


def spared(found: list[Line], due: Due, reference: float, u_before: float = 0.0) -> Fig:
    """What a flush of so many mL would have taken more at the cabins. ``u_before``: relative, of those mL."""
    due = [(unit, week) for unit, week in due if unit["kind"] == "cabin"]
    rows = chosen(found, due)
    flushed = {(line.unit["unit"], line.week) for line in rows if line.part == "flush"}
    rows = [line for line in rows if (line.unit["unit"], line.week) in flushed]
    if not rows:
        return Fig(None, None, None, 0, len(due), "modelled")
    visits = float(sum(line.visits for line in rows if line.part == "flush"))
    ml = visits * reference - sum(line.ml for line in rows)
    below, above = distances(rows, reference)
    known = Z * u_before * visits * reference
    low, high = ml - chance.root([above, known]), ml + chance.root([below, known])
    return Fig(ml / 1000, low / 1000, high / 1000, used(rows), len(due), "modelled")


def before(asked: Asked, found: list[Line], due: Due) -> Fig | None:
    """Saved against what stood there before, where its litres were measured."""
    rows = [row for row in asked.mine("before") if row["flush_ml"] and day(row["from_day"]) <= asked.last]
    rows.sort(key=lambda row: row["from_day"])
    if not rows or rows[-1]["litres_basis"] != "measured":
        return None
    return spared(found, due, int(rows[-1]["flush_ml"]), 0.03)


def per_visit(found: list[Line], due: Due) -> Fig:
    """Litres of a visit to a cabin or urinal."""
    due = [(unit, week) for unit, week in due if unit["kind"] != "tap"]
    rows = chosen(found, due)
    visits = float(sum(line.visits for line in rows if line.part == "flush"))
    if not visits:
        return Fig(None, None, None, 0, len(due), "modelled")
    ml = sum(line.ml for line in rows)
    below, above = distances(rows, ml / visits)
    base = visits * 1000
    return Fig(ml / base, (ml - below) / base, (ml + above) / base, used(rows), len(due), "modelled")


def per_pupil_day(found: list[Line], due: Due, days: dict[date, int]) -> Fig:
    """Litres of pupils' units ÷ pupil-days of the weeks that have both."""
    due = [(unit, week) for unit, week in due if unit["group"] != "staff"]
    rows = [line for line in chosen(found, due) if line.week in days]
    base = sum(days[week] for week in {line.week for line in rows}) * 1000
    if not base:
        return Fig(None, None, None, 0, len(due), "modelled")
    ml = sum(line.ml for line in rows)
    below, above = distances(rows)
    return Fig(ml / base, (ml - below) / base, (ml + above) / base, used(rows), len(due), "modelled")
