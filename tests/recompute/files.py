"""The CSV files of a folder as lists of rows, and small helpers for days and clock times."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

Row = dict[str, str]
WEEK = timedelta(days=7)
DAY = timedelta(days=1)
SOURCES = ["device", "tally", "officer", "engineer"]


class Fig(NamedTuple):
    """A figure: value, limits, records used of records expected, and its basis. None: not recorded."""

    value: float | None
    low: float | None
    high: float | None
    used: int
    expected: int
    basis: str = "counted"


@dataclass
class Asked:
    """Whose report: folder, school, term and the instant at which it is made (aware)."""

    folder: Path
    school: str
    term: Row
    before: Row | None
    now: datetime
    zone: ZoneInfo
    weekday: int
    settings: dict[str, int]
    first: date
    last: date
    read_from: date  # the first day of the term before; of this term where there is none
    visits_from: date  # visits are read from here: the first day of the oldest floor wash in place since then

    def rows(self, name: str) -> list[Row]:
        """Every row of a file."""
        return read(self.folder, name)

    def mine(self, name: str) -> list[Row]:
        """The rows of a file that are the school's."""
        return [row for row in self.rows(name) if row["school"] == self.school]

    @property
    def until(self) -> datetime:
        """The report's instant, or the end of the period's last day where that came first."""
        return min(self.now, midnight(self.last + DAY, self.zone))


def read(folder: Path, name: str) -> list[Row]:
    """All rows of one file."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def day(text: str) -> date:
    """A day as it is written."""
    return date.fromisoformat(text)


def midnight(of: date, zone: ZoneInfo) -> datetime:
    """The first instant of a local day."""
    return datetime(of.year, of.month, of.day, tzinfo=zone).astimezone(UTC)


def local(text: str, zone: ZoneInfo) -> datetime:
    """A local clock time as an instant."""
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)


def minute(instant: datetime) -> int:
    """Whole minutes since 1970; seconds are dropped."""
    return int(instant.timestamp()) // 60


def clock(text: str) -> int:
    """Minutes since midnight of 08:30."""
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)


def week_of(of: date, weekday: int) -> date:
    """The first day of the week that a day lies in."""
    return of - timedelta(days=(of.weekday() - weekday) % 7)


def holds(row: Row, on: date) -> bool:
    """Whether a dated row holds on a day; the last day is included."""
    return day(row["from_day"]) <= on and (row["until_day"] == "" or on <= day(row["until_day"]))


def holds_in(row: Row, first: date, last: date) -> bool:
    """Whether a dated row holds on any day between two days."""
    return day(row["from_day"]) <= last and (row["until_day"] == "" or first <= day(row["until_day"]))


def latest(rows: list[Row], by: date) -> Row | None:
    """The row with the latest first day, not later than a day."""
    found = None
    for row in rows:
        if day(row["from_day"]) <= by and (found is None or day(row["from_day"]) >= day(found["from_day"])):
            found = row
    return found


SETTINGS = {
    "sheet_due_days": 3,
    "promise_restore_hours": 72,
    "look_every_school_days": 2,
    "reference_cistern_ml": 9000,
    "long_share_permille": 300,
    "long_share_low_permille": 150,
    "long_share_high_permille": 500,
    "litres_u_permille": 100,
}  # the defaults of docs/settings.md


def ask(folder: Path, school: str, term_code: str, now: datetime) -> Asked:
    """What a report of this school and term needs to know first."""
    programme = read(folder, "programme")[0]
    zone = ZoneInfo(programme["zone"])
    terms = sorted(read(folder, "terms"), key=lambda row: row["first_day"])
    term = next(row for row in terms if row["term"] == term_code)
    earlier = [row for row in terms if row["last_day"] < term["first_day"]]
    last = min(day(term["last_day"]), now.astimezone(zone).date())
    settings = dict(SETTINGS)
    for row in sorted(read(folder, "settings"), key=lambda row: row["from_day"]):
        if day(row["from_day"]) <= last and row["key"] in settings:
            settings[row["key"]] = int(row["value"])
    before = earlier[-1] if earlier else None
    read_from = day(before["first_day"]) if before else day(term["first_day"])
    weekday = int(programme["first_weekday"])
    period = (day(term["first_day"]), last, read_from, oldest_floor_wash(folder, school, read_from, last))
    return Asked(folder, school, term, before, now, zone, weekday, settings, *period)


def oldest_floor_wash(folder: Path, school: str, first: date, last: date) -> date:
    """The first day of the oldest floor wash in place between two days, where that is before them."""
    since = first
    for row in read(folder, "fittings"):
        if row["school"] == school and row["kind"] == "floor_wash" and holds_in(row, first, last):
            since = min(since, day(row["from_day"]))
    return since
