"""What a rule across rows is, and the view of a school that rules look at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, NamedTuple

from tracker.intake.tables import BY_NAME, Table
from tracker.measures.calendar import Mark
from tracker.records.context import SchoolContext, UnitInfo, held, occasions
from tracker.vocabulary import Cause, DayMark, Source

MOST_CODES_SHOWN = 12
DAY_COLUMNS = ("first_day", "day", "week")
TIME_COLUMNS = ("at_local_time", "start_local_time")


@dataclass(frozen=True, slots=True)
class FactRow:
    """A fact as ``parse_row`` reads it, and the line or row number to name in problems."""

    row: int
    values: Mapping[str, Any]


Facts = Mapping[str, Sequence[FactRow]]


class Finding(NamedTuple):
    """What a rule found: where, and what to do."""

    table: str
    row: FactRow
    column: str
    message: str


@dataclass(frozen=True, slots=True)
class OutView:
    """An outage as the rules see it, on record or new (``row``)."""

    ref: str
    unit: str
    source: Source
    cause: Cause
    start_at: datetime
    end_at: datetime | None
    row: FactRow | None


@dataclass(frozen=True, slots=True)
class View:
    """One school, what it sends, and what follows from both.

    hours: opening and closing instants of each school day. breaks: break codes of each school day. extra: days
    marked as used out of hours. now: None where dates in the future are not looked for.
    """

    context: SchoolContext
    facts: Facts
    now: datetime | None
    hours: Mapping[date, tuple[datetime, datetime]]
    breaks: Mapping[date, frozenset[str]]
    extra: frozenset[date]
    outages: tuple[OutView, ...]

    def rows(self, *tables: str) -> Iterator[tuple[str, FactRow]]:
        """The rows of some tables, with their table's name."""
        for table in tables:
            for row in self.facts.get(table, ()):
                yield table, row

    def at_units(self, *tables: str) -> Iterator[tuple[str, FactRow, UnitInfo]]:
        """The rows of some tables whose unit is known."""
        for table, row in self.rows(*tables):
            unit = self.context.units.get(row.values.get("unit") or "")
            if unit is not None:
                yield table, row, unit

    def instant(self, local: datetime) -> datetime:
        """The instant of a local time."""
        return local.replace(tzinfo=self.context.zone).astimezone(UTC)


Check = Callable[[View], Iterable[Finding]]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of docs/checks.md. ``soft``: asks once, and is content with a note or a confirmation."""

    name: str
    tables: tuple[str, ...]
    says: str
    check: Check
    soft: bool = False


def view_of(context: SchoolContext, facts: Facts, now: datetime | None) -> View:
    """The school as it would stand with the new marks and outages."""
    marks = [
        Mark(row.values["day"], row.values["mark"])
        for row in facts.get("day_marks", ())
        if row.values.get("day") and row.values.get("mark")
    ]
    days = held(context, marks)
    hours: dict[date, tuple[datetime, datetime]] = {}
    breaks: dict[date, set[str]] = {}
    for one in days:
        midnight = datetime(one.day.year, one.day.month, one.day.day, tzinfo=context.zone)
        opens, closes = (midnight + timedelta(minutes=minute) for minute in (one.opens_min, one.closes_min))
        first, last = hours.get(one.day, (opens, closes))
        hours[one.day] = (min(first, opens), max(last, closes))
    for occasion in occasions(context, days):
        breaks.setdefault(occasion.day, set()).add(occasion.slot)
    every = [*context.calendar.marks, *marks]
    extra = frozenset(mark.day for mark in every if mark.kind is DayMark.OUT_OF_HOURS)
    frozen = {day: frozenset(codes) for day, codes in breaks.items()}
    return View(context, facts, now, hours, frozen, extra, _outages(context, facts))


def _outages(context: SchoolContext, facts: Facts) -> tuple[OutView, ...]:
    found: dict[str, OutView] = {
        one.ref: OutView(one.ref, one.unit, one.source, one.cause, one.start_at, one.end_at, None)
        for one in context.outages
    }
    for row in facts.get("outages", ()):
        values = row.values
        start, end = (
            None if moment is None else moment.replace(tzinfo=context.zone).astimezone(UTC)
            for moment in (values.get("start_local_time"), values.get("end_local_time"))
        )
        if start is not None and all(values.get(name) is not None for name in ("ref", "unit", "source", "cause")):
            found[values["ref"]] = OutView(
                values["ref"], values["unit"], values["source"], values["cause"], start, end, row
            )
    return tuple(found.values())


def cells(row: FactRow, *names: str) -> tuple[Any, ...] | None:
    """The cells of these columns; None where one of them is blank or could not be read."""
    found = tuple(row.values.get(name) for name in names)
    return None if None in found else found


def day_of(values: Mapping[str, Any]) -> date | None:
    """The first local day that a fact speaks of."""
    for name in DAY_COLUMNS:
        if values.get(name) is not None:
            day: date = values[name]
            return day
    for name in TIME_COLUMNS:
        if values.get(name) is not None:
            return (values[name]).date()  # type: ignore[no-any-return]
    return None


def days_of(values: Mapping[str, Any]) -> list[date]:
    """All days that a fact covers."""
    first = day_of(values)
    return [] if first is None else [first + timedelta(days=n) for n in range(values.get("days") or 1)]


def spoken(day: date) -> str:
    """A day as it is said in a sentence.

    >>> spoken(date(2026, 2, 3))
    'Tuesday 3 February 2026'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def no_such(what: str, code: object, known: Iterable[str], where: str) -> str:
    """The sentence for a code that nobody knows, the same on every way in.

    >>> no_such("unit", "G9", ["G1", "G2"], "at this school")
    'There is no unit G9 at this school. Use one of: G1, G2.'
    """
    codes = sorted(known)
    shown = ", ".join(codes[:MOST_CODES_SHOWN]) + (", …" if len(codes) > MOST_CODES_SHOWN else "")
    return f"There is no {what} {code} {where}. " + (f"Use one of: {shown}." if codes else "Add it first.")


def table_of(name: str) -> Table:
    """A table of the exchange format by name."""
    return BY_NAME[name]
