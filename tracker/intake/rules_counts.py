"""Rules about counts of visits, long visits, and who waited at the bell."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any

from tracker.intake.rulebook import Finding, Rule, View, cells, days_of, spoken
from tracker.measures.calendar import week_of
from tracker.records.context import UnitInfo, group_of, pupils
from tracker.vocabulary import ALL_DAY, OTHER_TIMES, CountWay, Group, Sex

SEXES = {Group.GIRLS: Sex.GIRLS, Group.BOYS: Sex.BOYS}
OTHER_SLOTS = (OTHER_TIMES, ALL_DAY)
Grain = tuple[str, date, Any]


def school_day(view: View) -> Iterator[Finding]:
    """Visits are counted on school days, or on a day marked as used out of hours."""
    for table, row in view.rows("usage_counts", "bell_counts"):
        days = days_of(row.values)
        if not days or days[0] not in view.context.span:
            continue  # said by in_span
        if not any(day in view.hours or day in view.extra for day in days):
            column = "first_day" if table == "usage_counts" else "day"
            yield Finding(table, row, column, _no_school(view, days[0], len(days)))


def _no_school(view: View, day: date, count: int) -> str:
    closed = [one for one in view.context.calendar.closures if day in one]
    why = "The school was closed" if closed else "There was no school"
    when = f"on {spoken(day)}" if count == 1 else f"on the {count} days from {spoken(day)}"
    return f"{why} {when}. Leave the count blank, or mark the day as used out of hours."


def break_known(view: View) -> Iterator[Finding]:
    """A count of one day names a break that took place that day, "other" or "all"; of several days, "all"."""
    for table, row in view.rows("usage_counts"):
        values = row.values
        day, slot, days = values.get("first_day"), values.get("slot"), values.get("days")
        if day is None or slot is None or days is None:
            continue
        if days > 1:
            if slot != ALL_DAY:
                yield Finding(table, row, "slot", "A count over several days has the slot all. Write all.")
        elif slot not in OTHER_SLOTS and day in view.hours and slot not in view.breaks.get(day, ()):
            breaks = ", ".join([*sorted(view.breaks.get(day, ())), *OTHER_SLOTS])
            message = f"There was no break {slot} on {spoken(day)}. Use one of: {breaks}."
            yield Finding(table, row, "slot", message)


def drawn_only(view: View) -> Iterator[Finding]:
    """A tally of drawn breaks, and who waited at the bell, belong to a drawn break."""
    drawn = view.context.drawn
    for table, row in view.rows("usage_counts", "bell_counts"):
        values = row.values
        if table == "usage_counts" and values.get("how") is not CountWay.DRAWN:
            continue
        day, slot = values.get("first_day") or values.get("day"), values.get("slot") or values.get("break")
        if day is None or slot is None or (day, slot) in drawn or day not in view.context.span:
            continue
        week = week_of(day, view.context.first_weekday)
        of_week = [
            f"{code} on {spoken(on)}" for on, code in sorted(drawn) if week_of(on, view.context.first_weekday) == week
        ]
        instead = f"Count at the drawn ones: {', '.join(of_week)}." if of_week else "No break is drawn in this week."
        column = "slot" if table == "usage_counts" else "break"
        yield Finding(table, row, column, f"{slot} on {spoken(day)} is no drawn break. {instead}")


def way_and_days(view: View) -> Iterator[Finding]:
    """A week's total covers its days in one row; tallies of breaks are made day by day; counters are read."""
    for table, row in view.rows("usage_counts"):
        how, days, slot = (row.values.get(name) for name in ("how", "days", "slot"))
        if how in (CountWay.COUNTER, CountWay.NONE):
            message = "Visits of this unit are not tallied. Write the counter's reading in readings."
            yield Finding(table, row, "how", message)
        elif how is CountWay.WEEK_TOTAL and slot is not None and slot != ALL_DAY:
            yield Finding(table, row, "slot", "A week's total has the slot all. Write all.")
        elif how in (CountWay.GRID, CountWay.DRAWN) and days is not None and days > 1:
            yield Finding(table, row, "days", "A tally of breaks is made day by day. Write 1, or how as week_total.")


def one_grain(view: View) -> Iterator[Finding]:
    """A unit's week has counts by day or one total, never both; a day has its breaks or a total, never both."""
    first_weekday = view.context.first_weekday
    weekly: dict[Grain, set[bool]] = defaultdict(set)
    daily: dict[Grain, set[bool]] = defaultdict(set)
    for one in view.context.counts:
        weekly[one.unit, week_of(one.first_day, first_weekday), one.source].add(one.days > 1)
        daily[one.unit, one.first_day, one.source].add(one.slot == ALL_DAY)
    for table, row in view.rows("usage_counts"):
        given = cells(row, "unit", "first_day", "days", "slot", "source")
        if given is None:
            continue
        unit, day, days, slot, source = given
        of_week = weekly[unit, week_of(day, first_weekday), source]
        of_day = daily[unit, day, source]
        if (days > 1) in of_week or not of_week:
            of_week.add(days > 1)
        else:
            message = f"Unit {unit} has both a week's total and counts by day in this week. Keep one of them."
            yield Finding(table, row, "days", message)
        if days == 1 and of_day and (slot == ALL_DAY) not in of_day:
            message = f"Unit {unit} has both the day's total and counts by break on {spoken(day)}. Keep one of them."
            yield Finding(table, row, "slot", message)
        of_day.add(slot == ALL_DAY)


def too_many_visits(view: View) -> Iterator[Finding]:
    """A count of more than so many visits a pupil and day needs a note."""
    factor = view.context.settings["out_too_many_visits_factor"]
    for table, row, unit in view.at_units("usage_counts"):
        visits, days = row.values.get("visits"), row.values.get("days")
        day = row.values.get("first_day")
        if visits is None or days is None or day is None:
            continue
        who = _pupils_of(view, unit, day)
        if who and visits > who * factor * days:
            message = (
                f"{visits} visits are more than {factor} a day for each of the {who} pupils. "
                "Correct the count, or write in the note why it is right."
            )
            yield Finding(table, row, "visits", message)


def _pupils_of(view: View, unit: UnitInfo, day: date) -> int:
    group = group_of(unit, day)
    return pupils(view.context, day, SEXES.get(group) if group else None)


def visits_while_out(view: View) -> Iterator[Finding]:
    """Visits at a unit that is logged out of service all that time need a note."""
    out = defaultdict(list)
    for one in view.outages:
        out[one.unit].append(one)
    for table, row, unit in view.at_units("usage_counts"):
        days = [day for day in days_of(row.values) if day in view.hours]
        if not row.values.get("visits") or not days or unit.code not in out:
            continue
        if all(_out_all_day(view, day, out[unit.code]) for day in days):
            message = (
                f"Unit {unit.code} is logged as out of service all that time. "
                "Correct the count or the outage, or write in the note why both are right."
            )
            yield Finding(table, row, "visits", message)


def _out_all_day(view: View, day: date, outages: list[Any]) -> bool:
    opens, closes = view.hours[day]
    return any(one.start_at <= opens and (one.end_at is None or one.end_at >= closes) for one in outages)


def long_not_more(view: View) -> Iterator[Finding]:
    """No more long visits than visits looked at."""
    for table, row in view.rows("long_weeks"):
        seen, long = row.values.get("seen_visits"), row.values.get("long_visits")
        if seen is not None and long is not None and long > seen:
            message = f"{long} long visits are more than the {seen} visits looked at. Correct one of them."
            yield Finding(table, row, "long_visits", message)


def bell_group(view: View) -> Iterator[Finding]:
    """At the bell girls and boys are counted apart, and at least one of the two numbers is given."""
    for table, row in view.rows("bell_counts"):
        group = row.values.get("group")
        if group is not None and group not in SEXES:
            yield Finding(table, row, "group", "Write girls or boys; they are counted apart.")
        if row.values.get("waiting") is None and row.values.get("present") is None:
            message = "Write how many still waited at the bell or how many were present, or leave the row out."
            yield Finding(table, row, "waiting", message)


RULES = (
    Rule(
        "school_day",
        ("usage_counts", "bell_counts"),
        "Visits are counted on school days or days used out of hours.",
        school_day,
    ),
    Rule("break_known", ("usage_counts",), "The break took place that day; a total has the slot all.", break_known),
    Rule(
        "drawn_only",
        ("usage_counts", "bell_counts"),
        "A drawn tally and a bell count belong to a drawn break.",
        drawn_only,
    ),
    Rule(
        "way_and_days", ("usage_counts",), "Break tallies are made day by day, a week's total in one row.", way_and_days
    ),
    Rule(
        "one_grain",
        ("usage_counts",),
        "A week has days or a total, a day has breaks or a total, never both.",
        one_grain,
    ),
    Rule(
        "too_many_visits",
        ("usage_counts",),
        "More visits than out_too_many_visits_factor for each enrolled pupil and day.",
        too_many_visits,
        soft=True,
    ),
    Rule(
        "visits_while_out",
        ("usage_counts",),
        "Visits at a unit logged out of service all that time.",
        visits_while_out,
        soft=True,
    ),
    Rule("long_not_more", ("long_weeks",), "No more long visits than visits looked at.", long_not_more),
    Rule("bell_group", ("bell_counts",), "Girls and boys apart, and at least one number.", bell_group),
)
