"""School days, break occasions and weeks of one school, minute by minute (docs/measures_parts/calendar.md)."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from tests.recompute.files import DAY, Asked, Row, clock, day, holds, midnight, minute, week_of


@dataclass
class Break:
    """A break occasion: its day, its code and the minute at which it starts."""

    day: date
    code: str
    start: int


@dataclass
class Calendar:
    """The school's days: day → its school minutes since 1970; its breaks; and school days and breaks by week."""

    minutes: dict[date, set[int]] = field(default_factory=dict)
    breaks: list[Break] = field(default_factory=list)
    school_days: dict[date, int] = field(default_factory=dict)  # by week
    occasions: dict[date, int] = field(default_factory=dict)  # by week
    last_day: dict[date, date] = field(default_factory=dict)  # the last school day of a week


def calendar(asked: Asked) -> Calendar:
    """All school days of all terms."""
    school = next(row for row in asked.rows("schools") if row["school"] == asked.school)
    closed = closed_days(asked, school["area"])
    marks = {(row["day"], row["mark"]) for row in asked.mine("day_marks")}
    hours, breaks = asked.mine("school_hours"), asked.mine("breaks")
    found = Calendar()
    for term in asked.rows("terms"):
        today = day(term["first_day"])
        while today <= day(term["last_day"]):
            if today not in closed and (str(today), "lost") not in marks:
                add_day(found, asked, today, hours, breaks, half=(str(today), "half") in marks)
            today += DAY
    for today in sorted(found.minutes):
        week = week_of(today, asked.weekday)
        found.school_days[week] = found.school_days.get(week, 0) + 1
        found.last_day[week] = today
    for one in found.breaks:
        week = week_of(one.day, asked.weekday)
        found.occasions[week] = found.occasions.get(week, 0) + 1
    return found


def closed_days(asked: Asked, area: str) -> set[date]:
    """Days on which the programme, the area or the school was closed."""
    closed = set()
    for row in asked.rows("closures"):
        whole = row["scope"] == "programme"
        if whole or (row["scope"] == "area" and row["area"] == area) or row["school"] == asked.school:
            today = day(row["first_day"])
            while today <= day(row["last_day"]):
                closed.add(today)
                today += DAY
    return closed


def add_day(found: Calendar, asked: Asked, today: date, hours: list[Row], breaks: list[Row], half: bool) -> None:
    """The school minutes and the breaks of one day, shift by shift."""
    start = minute(midnight(today, asked.zone))
    for shift in sorted({row["shift"] for row in hours}):
        rule = in_force([row for row in hours if row["shift"] == shift], today)
        if rule is None:
            continue
        opens, closes = clock(rule["opens"]), clock(rule["closes"])
        if half:
            closes = opens + (closes - opens) // 2
        found.minutes.setdefault(today, set()).update(start + number for number in range(opens, closes))
        for code in sorted({row["break"] for row in breaks if row["shift"] == shift}):
            rest = in_force([row for row in breaks if row["shift"] == shift and row["break"] == code], today)
            if rest is not None and opens <= clock(rest["starts"]) and clock(rest["ends"]) <= closes:
                found.breaks.append(Break(today, code, start + clock(rest["starts"])))


def in_force(rows: list[Row], today: date) -> Row | None:
    """Of the rows of this weekday that hold on a day the one with the latest first day."""
    found = None
    for row in rows:
        today_s = int(row["weekday"]) == today.weekday() and holds(row, today)
        if today_s and (found is None or row["from_day"] > found["from_day"]):
            found = row
    return found


def weeks_of_term(asked: Asked, held: Calendar) -> list[date]:
    """Weeks of the report: those whose last school day lies in its period."""
    return [week for week in sorted(held.school_days) if asked.first <= held.last_day[week] <= asked.last]


def all_weeks(asked: Asked) -> list[date]:
    """Every week that has a day in the period, weeks without school included."""
    week = week_of(asked.first, asked.weekday)
    weeks = []
    while week <= asked.last:
        weeks.append(week)
        week += timedelta(days=7)
    return weeks


def days_of_term(asked: Asked, held: Calendar) -> list[date]:
    """School days of the period."""
    return [today for today in sorted(held.minutes) if asked.first <= today <= asked.last]
