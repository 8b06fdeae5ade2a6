"""Rules about codes, units and days: is it there, is it of the right kind, can it have happened then."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from tracker.intake.rulebook import Finding, Rule, View, days_of, no_such, spoken, table_of
from tracker.measures.calendar import week_of
from tracker.records.lookups import key_of
from tracker.vocabulary import VISITED, Cause, Source, UnitKind

AT_UNITS = (
    "usage_counts",
    "long_weeks",
    "readings",
    "levels",
    "outages",
    "sightings",
    "machine_days",
    "burns",
)
FACT_TABLES = (*AT_UNITS, "day_marks", "bell_counts", "stock_moves", "stock_counts", "awareness_sessions")
EVERY_FACT = (*FACT_TABLES, "attendance", "quizzes")
KINDS: dict[str, tuple[tuple[UnitKind, ...], str]] = {
    "usage_counts": (VISITED, "Visits are counted at cabins, urinals and taps only."),
    "long_weeks": (VISITED, "Visits are counted at cabins, urinals and taps only."),
    "machine_days": ((UnitKind.MACHINE,), "Only a napkin machine can run out."),
    "burns": ((UnitKind.INCINERATOR,), "Burns are started at an incinerator only."),
}
IN_FUTURE = "This lies in the future. Write the day on which it was seen, counted or read."
DAYS_OF_WEEK = 7
PLACE_COLUMNS = {"stock_moves": ("from_place", "to_place"), "stock_counts": ("place",)}


def unit_known(view: View) -> Iterator[Finding]:
    """Every unit is one of this school's."""
    for table, row in view.rows(*AT_UNITS):
        code = row.values.get("unit")
        if code is not None and code not in view.context.units:
            yield Finding(table, row, "unit", no_such("unit", code, view.context.units, "at this school"))


def place_known(view: View) -> Iterator[Finding]:
    """Every place is this school's or the programme's, every product the programme's."""
    for table, row in view.rows(*PLACE_COLUMNS):
        for column in PLACE_COLUMNS[table]:
            code = row.values.get(column)
            if code is not None and code not in view.context.places:
                yield Finding(table, row, column, no_such("place", code, view.context.places, "for this school"))
        product = row.values.get("product")
        if product is not None and product not in view.context.products:
            message = no_such("product", product, view.context.products, "in this programme")
            yield Finding(table, row, "product", message)


def session_known(view: View) -> Iterator[Finding]:
    """Attendance and quiz totals belong to a session of this school."""
    known = {*view.context.sessions, *(row.values.get("ref") for _, row in view.rows("awareness_sessions"))}
    for table, row in view.rows("attendance", "quizzes"):
        ref = row.values.get("session")
        if ref is not None and ref not in known:
            codes = [code for code in known if code]
            yield Finding(table, row, "session", no_such("session", ref, codes, "at this school"))


def unit_there(view: View) -> Iterator[Finding]:
    """The unit stood there on every day that is spoken of."""
    for table, row, unit in view.at_units(*AT_UNITS):
        for day in days_of(row.values):
            if day < unit.from_day or (unit.until_day is not None and day > unit.until_day):
                until = f" to {spoken(unit.until_day)}" if unit.until_day else ""
                message = (
                    f"Unit {unit.code} was in use from {spoken(unit.from_day)}{until}. Correct the day or the unit."
                )
                yield Finding(table, row, "unit", message)
                break


def unit_kind(view: View) -> Iterator[Finding]:
    """The unit is of a kind that can have such a record."""
    for table, row, unit in view.at_units(*KINDS):
        kinds, sentence = KINDS[table]
        if unit.kind not in kinds:
            yield Finding(table, row, "unit", f"Unit {unit.code} is a {unit.kind.value}. {sentence}")
    for table, row, unit in view.at_units("outages"):
        if row.values.get("cause") is Cause.EMPTY and unit.kind is not UnitKind.MACHINE:
            message = (
                f"Unit {unit.code} is a {unit.kind.value}. Only a napkin machine can be sold out. Choose its cause."
            )
            yield Finding(table, row, "cause", message)


def in_span(view: View) -> Iterator[Finding]:
    """Every day lies in the week of the sheet (in a folder: in the programme's weeks)."""
    span = view.context.span
    of_a_sheet = (span.last - span.first).days < DAYS_OF_WEEK
    for table, row in view.rows(*FACT_TABLES):
        if not of_a_sheet and (table in PLACE_COLUMNS or row.values.get("source") not in (None, Source.TALLY)):
            continue  # goods are brought, and meters read by the engineer, before the first week too
        days = days_of(row.values)
        begun_before = table == "outages" and days and days[0] < span.first  # an outage may go on from earlier
        if days and not begun_before and (days[0] not in span or days[-1] not in span):
            message = f"Write a day from {spoken(span.first)} to {spoken(span.last)}."
            yield Finding(table, row, _day_column(table), message)


def not_future(view: View) -> Iterator[Finding]:
    """Nothing is dated later than now."""
    if view.now is None:
        return
    now = view.now.astimezone(view.context.zone).replace(tzinfo=None)
    for table, row in view.rows(*FACT_TABLES):
        if table == "day_marks":
            continue  # a lost day may be known ahead
        for column in late_columns(row.values, now):
            yield Finding(table, row, column, IN_FUTURE)


def late_columns(values: Mapping[str, Any], now: datetime) -> list[str]:
    """The columns whose day or local time is later than a local time."""
    times = {name: value for name, value in values.items() if isinstance(value, date)}
    return [
        name for name, value in times.items() if (value > now if isinstance(value, datetime) else value > now.date())
    ]


def week_start(view: View) -> Iterator[Finding]:
    """A week is named by its first day; a count over days stays in one week."""
    first_weekday = view.context.first_weekday
    for table, row in view.rows("long_weeks"):
        week = row.values.get("week")
        if week is not None and week_of(week, first_weekday) != week:
            message = f"A week is named by its first day. Write {week_of(week, first_weekday).isoformat()}."
            yield Finding(table, row, "week", message)
    for table, row in view.rows("usage_counts", "burns"):
        days = days_of(row.values)
        if days and week_of(days[0], first_weekday) != week_of(days[-1], first_weekday):
            next_week = week_of(days[-1], first_weekday)
            message = f"These days reach into the week of {spoken(next_week)}. Write one row for each week."
            yield Finding(table, row, "days", message)


def once(view: View) -> Iterator[Finding]:
    """The same thing is said once."""
    for name in EVERY_FACT:
        table = table_of(name)
        seen: dict[tuple[object, ...], int] = {}
        for _, row in view.rows(name):
            key = key_of(table, row.values)
            if key in seen:
                message = f"This is said twice; the first time in row {seen[key]}. Keep one of them."
                yield Finding(name, row, _day_column(name), message)
            seen.setdefault(key, row.row)


def _day_column(table: str) -> str:
    names = [column.name for column in table_of(table).columns]
    wanted = ("first_day", "day", "week", "at_local_time", "start_local_time")
    return next((name for name in wanted if name in names), "")


RULES = (
    Rule("unit_known", AT_UNITS, "The unit is one of the school's.", unit_known),
    Rule(
        "place_known",
        tuple(PLACE_COLUMNS),
        "The place is the school's or the programme's, the product known.",
        place_known,
    ),
    Rule("session_known", ("attendance", "quizzes"), "The session is one of the school's.", session_known),
    Rule("unit_there", AT_UNITS, "The unit was in use on every day spoken of.", unit_there),
    Rule("unit_kind", (*KINDS, "outages"), "The unit is of a kind that can have such a record.", unit_kind),
    Rule("in_span", FACT_TABLES, "The day lies in the week of the sheet (folder: in the programme's weeks).", in_span),
    Rule("not_future", FACT_TABLES, "Nothing but a day's mark is dated later than now.", not_future),
    Rule(
        "week_start",
        ("long_weeks", "usage_counts", "burns"),
        "A week is named by its first day; no row spans two.",
        week_start,
    ),
    Rule("once", EVERY_FACT, "The same thing is said once.", once),
)
