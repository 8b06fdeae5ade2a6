"""Visits and breaks; water."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from tracker.measures import visits, water
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.measures.flush import WaterPart
from tracker.records.frames import TargetHead
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.printing import amount, day, short_day
from tracker.reports.report import Chart, Section, Table
from tracker.reports.rows import WAY_WORDS, count, counts, weekly_chart, words
from tracker.reports.sections.estimates import visits_by_sex_table, visits_estimate_table, water_norms_table
from tracker.vocabulary import CABIN_LIKE, CountWay

LITRES = "L"
MODELLED_NOTE = (
    "A counter's visits are called modelled where a reading was missed, so that one reading stands for several weeks "
    "and its visits are shared over them by school days."
)


def visits_section(pair: Pair, targets: dict[str, TargetHead], one_school: bool) -> Section:
    """Visits: headlines, by week, by unit or school, and who still waited at the bell."""
    facts = pair.now
    by_week = visits_by(facts, "week")
    chart = weekly_chart(facts, "visits_week", "Visits", by_week, "visits")
    table = _by_unit(facts) if one_school else _by_school(facts)
    waiting = [waiting_table(facts)] + ([worst_breaks(facts)] if one_school else [])
    whole = (visits_estimate_table(facts), visits_by_sex_table(facts))
    return Section(
        "visits",
        "Visits and breaks",
        "A visit is one use of a cabin or urinal by one person. Weeks that were not reported add nothing.",
        figures.lines(figures.VISITS, pair, targets),
        (*whole, table, *waiting),
        (chart,),
    )


def visits_by(facts: TermFacts, by: str) -> dict[Any, Figure]:
    """Visits of the period by unit, school or week."""
    known = (facts.unit_weeks, facts.tallies, facts.occasions, facts.units)
    return visits.visits_by(*known, by, expected=facts.expected)


def _by_unit(facts: TermFacts) -> Table:
    by_unit = visits_by(facts, "unit_id")
    rows = facts.of_kinds(facts.units, CABIN_LIKE)
    cells = tuple(
        (row.unit, row.block, row.group, WAY_WORDS[CountWay(row.count_way)], by_unit.get(row.unit_id))
        for row in rows_of(rows)
    )
    columns = (
        words("unit", "Unit"),
        words("block", "Block"),
        words("group", "For"),
        words("way", "How counted"),
        counts("visits", "Visits", "visits"),
    )
    return Table("visits_by_unit", "Visits by unit", columns, cells, MODELLED_NOTE)


def _by_school(facts: TermFacts) -> Table:
    by_school = visits_by(facts, "school")
    cells = tuple((school.code, school.name, by_school.get(school.code)) for school in facts.schools)
    columns = (words("school", "School"), words("name", "Name"), counts("visits", "Visits", "visits"))
    return Table("visits_by_school", "Visits by school, in the order of their codes", columns, cells)


def waiting_table(facts: TermFacts) -> Table:
    """Drawn breaks at which somebody noted who still waited at the bell, by group."""
    known = facts.days_of(facts.all.bell_counts).dropna(subset=["waiting"])
    cells = tuple(
        (str(group), len(rows), int((rows["waiting"] > 0).sum()), int(rows["waiting"].max()))
        for group, rows in known.groupby("group", sort=True)
    )
    columns = (
        words("group", "Group"),
        counts("observed", "Breaks looked at", "breaks"),
        counts("waiting", "With somebody waiting", "breaks"),
        counts("most", "Most waiting at one bell", "pupils"),
    )
    note = "Counted at breaks drawn at random. It says what was seen then, not what happens at every break."
    return Table("waiting", "Still waiting at the bell", columns, cells, note, "Nobody noted who waited at the bell.")


def worst_breaks(facts: TermFacts, shown: int = 5) -> Table:
    """The drawn breaks with the most pupils waiting."""
    known = facts.days_of(facts.all.bell_counts).dropna(subset=["waiting"])
    known = known[known["waiting"] > 0].sort_values(["waiting", "day", "slot"], ascending=[False, True, True])
    cells = tuple(
        (short_day(row.day.date()), row.slot, row.group, int(row.waiting), count(row.present))
        for row in rows_of(known.head(shown))
    )
    columns = (
        words("day", "Day"),
        words("break", "Break"),
        words("group", "Group"),
        counts("waiting", "Waiting at the bell", "pupils"),
        counts("present", "Present that day", "pupils"),
    )
    return Table(
        "crowded", "Breaks with the most pupils waiting", columns, cells, empty="No break had anybody waiting."
    )


def water_section(pair: Pair, targets: dict[str, TargetHead], one_school: bool) -> Section:
    """Water: headlines, by part, by week, and meters against the model."""
    facts = pair.now
    first = parts_table(facts) if one_school else _water_by_school(facts)
    tables = (first, water_norms_table(facts), meters_table(facts))
    return Section(
        "water",
        "Water",
        "Litres are worked out from the visits and from what each fitting takes, and set against meters where a meter "
        "serves these units alone.",
        figures.lines(figures.WATER, pair, targets),
        tables,
        (water_chart(facts),),
        ("water",),
    )


def parts_table(facts: TermFacts) -> Table:
    """Litres by what they were taken for."""
    parts = water.water_parts(facts.water, facts.expected)
    cells = tuple((part.value, figure) for part, figure in parts.items())
    columns = (words("part", "Taken for"), counts("water_l", "Water taken", LITRES))
    return Table("water_by_part", "Water by part", columns, cells)


def _water_by_school(facts: TermFacts) -> Table:
    by_school = water.water_by(facts.water, facts.expected, "school")
    cells = tuple((school.code, school.name, by_school.get(school.code)) for school in facts.schools)
    columns = (words("school", "School"), words("name", "Name"), counts("water_l", "Water taken", LITRES))
    return Table("water_by_school", "Water by school, in the order of their codes", columns, cells)


def meters_table(facts: TermFacts) -> Table:
    """Metered, modelled and unexplained litres of each meter that can be compared."""
    cells = tuple(
        (
            facts.codes.get(one.school_id, ""),
            one.meter,
            one.metered,
            one.modelled,
            one.unexplained,
            "please check" if one.query else "within its range",
        )
        for one in facts.balances
    )
    columns = (
        words("school", "School"),
        words("meter", "Meter"),
        counts("metered_l", "Metered", LITRES),
        counts("modelled_l", "Modelled", LITRES),
        counts("unexplained_l", "Unexplained", LITRES),
        words("look", "Look"),
    )
    note = "Unexplained water holds meter error, use that was not counted and rules that do not fit, as well as leaks."
    empty = "No meter serves these units alone, so none is set against the model."
    return Table("meters", "Meters against the model", columns, cells, note, empty)


def water_chart(facts: TermFacts) -> Chart:
    """Litres by part and week, as a stacked bar a week."""
    rows = _part_weeks(facts)
    known = [row for row in rows if row["value"] is not None]
    columns = (words("week", "Week from"), words("part", "Taken for"), counts("value", "Water taken", LITRES))
    cells = tuple((row["week"], row["part"], row["value"]) for row in rows)
    table = Table("water_week_table", "Water by week and part", columns, cells)
    about = "One bar for each week: litres for flushing, pre-wash, floor wash and hand washing, one after the other."
    return Chart("water_week_chart", "stacked_week_share", _water_finding(known), about, rows, table)


def _part_weeks(facts: TermFacts) -> tuple[dict[str, Any], ...]:
    lines = facts.water
    sums = lines.groupby(["week", "part"])["ml"].sum().to_dict()
    held = {stamp.date() for stamp in facts.occasions["week"]}
    parts = [part for part in WaterPart if (lines["part"] == part.value).any()]
    rows: list[dict[str, Any]] = []
    for week in facts.weeks:
        for part in parts if week in held else ():
            ml = sums.get((pd.Timestamp(week), part.value))
            rows.append({"week": week, "part": part.value, "value": None if ml is None else ml / water.ML})
    return tuple(rows)


def _water_finding(known: list[dict[str, Any]]) -> str:
    if not known:
        return "Water: no week was recorded."
    by_week: dict[date, float] = {}
    for row in known:
        by_week[row["week"]] = by_week.get(row["week"], 0.0) + row["value"]
    most = max(by_week, key=lambda week: (by_week[week], -week.toordinal()))
    return f"Most water was taken in the week from {day(most)}: {amount(by_week[most], LITRES)}."
