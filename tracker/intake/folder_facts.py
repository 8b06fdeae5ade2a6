"""Facts of a folder by school: checked by the same rules as a week sheet, and put together into sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy.orm import Session

from tracker.intake.folder_lines import Line, Lines
from tracker.intake.problems import Problem, shown
from tracker.intake.rulebook import FactRow, day_of
from tracker.intake.rules import check_facts
from tracker.intake.tables import BY_NAME, TABLES
from tracker.measures.calendar import week_of
from tracker.records.context import programme_contexts
from tracker.records.lookups import Lookups
from tracker.records.sheets import payload_hash
from tracker.vocabulary import Source

FACT_NAMES = tuple(table.name for table in TABLES if table.fact)
WITH_NOTE = frozenset(table.name for table in TABLES if any(column.name == "note" for column in table.columns))
OF_SESSIONS = ("attendance", "quizzes")
PLACES = ("place", "from_place", "to_place")

SheetKey = tuple[str, date]


class Whose(NamedTuple):
    """Where a fact belongs: its school (None: none) and the sheet's week (None: no sheet)."""

    school: str | None
    week: date | None


class Owners:
    """Tells of each fact whose it is, from the folder and from what is on record."""

    def __init__(self, lines: Lines, first_weekday: int) -> None:
        self.first_weekday = first_weekday
        self.places = self._column(lines, "places", "school")
        self.session_schools = self._column(lines, "awareness_sessions", "school")
        self.session_days = self._column(lines, "awareness_sessions", "day")

    @staticmethod
    def _column(lines: Lines, table: str, column: str) -> dict[Any, Any]:
        on_record = {key[0]: one.values.get(column) for key, one in lines.on_record.get(table, {}).items()}
        return on_record | {line.key[0]: line.values.get(column) for line in lines.by_table.get(table, ())}

    def of(self, table: str, values: Mapping[str, Any]) -> Whose:
        """The school and the sheet's week of a fact; what others than the coordinator say is in no sheet."""
        if table in OF_SESSIONS:
            school, day = self.session_schools.get(values["session"]), self.session_days.get(values["session"])
        else:
            school, day = values.get("school") or self._place(values), day_of(values)
        if day is None or school is None or values.get("source", Source.TALLY) is not Source.TALLY:
            return Whose(school, None)
        return Whose(school, week_of(day, self.first_weekday))

    def _place(self, values: Mapping[str, Any]) -> str | None:
        schools = (self.places.get(values.get(column)) for column in PLACES)
        return next((school for school in schools if school is not None), None)


def check(session: Session, lookups: Lookups, lines: Lines, owners: Owners, now: datetime | None) -> list[Problem]:
    """New and changed facts of every school against the rules; the contexts are read once for all schools."""
    by_school: dict[str, dict[str, list[FactRow]]] = defaultdict(lambda: defaultdict(list))
    for name in FACT_NAMES:
        for line in lines.touched(name):
            school = owners.of(name, line.values).school
            if school is not None:
                by_school[school][name].append(FactRow(line.number, line.values))
    if not by_school:
        return []
    ids = lookups.ids["schools"]
    contexts = programme_contexts(session, lookups.programme_id, None, [ids[school,] for school in by_school])
    problems: list[Problem] = []
    for school, facts in sorted(by_school.items()):
        problems += check_facts(contexts[ids[school,]], facts, now=now)
    return problems


def refusing(problems: list[Problem]) -> list[Problem]:
    """Problems that keep the folder out: hard ones, and soft ones where a note could have been written."""
    return [one for one in problems if not one.soft or one.table in WITH_NOTE]


def payloads(lines: Lines, owners: Owners) -> dict[SheetKey, dict[str, list[dict[str, str]]]]:
    """What each sheet of the folder says: fact rows by table as typed, without the school."""
    found: dict[SheetKey, dict[str, list[dict[str, str]]]] = {
        (line.values["school"], line.values["week"]): {} for line in lines.by_table.get("week_sheets", ())
    }
    for name in FACT_NAMES:
        for line in lines.by_table.get(name, ()):
            payload = found.get(sheet_key(owners.of(name, line.values)))
            if payload is not None:
                row = {column: cell.strip() for column, cell in line.raw.items() if column != "school"}
                payload.setdefault(name, []).append(row)
    return found


def sheet_key(whose: Whose) -> Any:
    """School and week as the key of a sheet."""
    return whose.school, whose.week


def check_versions(lines: Lines, owners: Owners) -> list[Problem]:
    """A sheet on record takes other figures only as a higher version, so that what was sent stays as it was."""
    raised = {
        (line.values["school"], line.values["week"])
        for stored, line in lines.changed.get("week_sheets", ())
        if line.values["version"] > stored.values["version"]
    }
    problems: dict[SheetKey, Problem] = {}
    sheets = lines.on_record.get("week_sheets", {})
    for name in FACT_NAMES:
        for line in lines.touched(name):
            key = sheet_key(owners.of(name, line.values))
            if key in sheets and key not in raised and key not in problems:
                problems[key] = _version_problem(name, line, key)
    return list(problems.values())


def _version_problem(name: str, line: Line, key: SheetKey) -> Problem:
    message = (
        f"The sheet of school {key[0]} for the week of {key[1].isoformat()} is on record without this. "
        "Raise its version in week_sheets.csv and load with a correction reason."
    )
    column = BY_NAME[name].key[-1]
    return Problem(name, line.number, column, shown(line.raw.get(column)), message, rule="version_raised")


__all__ = ["FACT_NAMES", "Owners", "SheetKey", "check", "check_versions", "payload_hash", "payloads", "refusing"]
