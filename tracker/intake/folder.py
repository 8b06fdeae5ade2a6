"""Load a folder of CSV files: read whole, checked whole, then written in one transaction or not at all.

docs/exchange.md describes the files. Loading the same folder twice changes nothing. A row that differs from
what is on record is refused unless a correction reason is given; it is then changed and audited.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from tracker.intake import folder_facts as of_facts
from tracker.intake import folder_lines as of_lines
from tracker.intake.folder_files import FileText, read_files
from tracker.intake.folder_lines import Line, Lines, Progress
from tracker.intake.problems import Problem
from tracker.intake.tables import BY_NAME, TABLES, Table
from tracker.records import audit, calendar, ledger_settle
from tracker.records.loads import LoadedVersion, load_versions
from tracker.records.lookups import (
    TARGETS,
    Lookups,
    change_row,
    find_programme,
    insert_rows,
    to_record,
)
from tracker.records.sheets import sheet_code

BATCH = 5000
SHEETS = "week_sheets"
HAPPENED_FROM = "day_marks"  # the first table of what happened; those before say what stands where
LEDGER = ("stock_moves", "stock_counts", "readings")  # what the ledger's own moves are worked out from
PLACE_IN_ORDER = {table.name: place for place, table in enumerate(TABLES)}
SETUP, HAPPENED = TABLES[: PLACE_IN_ORDER[HAPPENED_FROM]], TABLES[PLACE_IN_ORDER[HAPPENED_FROM] :]
STANDS = frozenset({*(table.name for table in SETUP), HAPPENED_FROM})  # marks decide which days are school days


class FolderError(ValueError):
    """The folder is refused; nothing was loaded. ``problems`` says what to correct, in the order of files and lines."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        order = {**PLACE_IN_ORDER, "": -1}
        self.problems = sorted(problems, key=lambda one: (order[one.table], one.row))
        super().__init__(f"{len(self.problems)} to correct")


@dataclass(frozen=True, slots=True)
class LoadResult:
    """Rows by table; ``problems`` holds soft ones that no note could settle, as questions to look at."""

    added: dict[str, int]
    unchanged: dict[str, int]
    changed: dict[str, int]
    problems: list[Problem] = field(default_factory=list)

    def summary(self) -> str:
        """One line for the command line.

        >>> LoadResult({"units": 2}, {}, {}).summary()
        '2 rows added, 0 changed, 0 already on record.'
        """
        added, changed, same = (sum(rows.values()) for rows in (self.added, self.changed, self.unchanged))
        asked = f" {len(self.problems)} to look at." if self.problems else ""
        return f"{added} rows added, {changed} changed, {same} already on record.{asked}"


@dataclass(slots=True)
class _Load:
    """One load on its way: what it writes with, and how far it is."""

    session: Session
    lines: Lines
    lookups: Lookups
    programme: str
    reason: str
    progress: Progress | None
    total: int
    written: int = 0
    versions: list[LoadedVersion] = field(default_factory=list)

    def tick(self, rows: int, name: str) -> None:
        """Each row counts half when it is read and half when it is dealt with."""
        self.written += rows
        if self.progress is not None:
            self.progress((self.total + min(self.written, self.total)) // 2, self.total, name)


def load_folder(
    session: Session,
    folder: Path,
    *,
    progress: Progress | None = None,
    correction_reason: str | None = None,
    now: datetime | None = None,
) -> LoadResult:
    """Load a folder, or raise and leave everything as it was.

    Args:
        session: a writing session; the caller commits.
        folder: the CSV files.
        progress: called with rows done, rows in all and the file at hand.
        correction_reason: why rows that differ from what is on record may be changed.
        now: the instant after which nothing can have happened; the clock's by default. A programme marked as a
            demo may lie in the future.
    Returns:
        rows added, unchanged and changed by table, and soft problems of tables that have no note.
    Raises:
        FolderError: with every problem found; nothing is loaded.
    """
    files, problems = read_files(folder)
    total = sum(len(text.rows) for text in files.values())
    lines = of_lines.parse(files, _reading(progress, files, total))
    lines.problems = [*problems, *lines.problems]
    lookups, programme = _programme(session, lines)
    if lookups is None:
        raise FolderError(lines.problems)
    load = _Load(session, lines, lookups, programme, (correction_reason or "").strip(), progress, total)
    is_demo = bool(lines.by_table["programme"][0].values["is_demo"])
    moment = None if is_demo else now or datetime.now(UTC)
    try:
        with session.begin_nested():  # whatever is raised in here takes its writes with it
            return _check_and_write(load, moment)
    except IntegrityError as error:
        raise FolderError([_refused(error)]) from error


def _reading(progress: Progress | None, files: dict[str, FileText], total: int) -> Callable[[int, str], None]:
    starts, sum_so_far = {}, 0
    for name, text in files.items():
        starts[name] = sum_so_far
        sum_so_far += len(text.rows)

    def tick(rows: int, name: str) -> None:
        if progress is not None:
            progress((starts[name] + rows) // 2, total, name)

    return tick


def _programme(session: Session, lines: Lines) -> tuple[Lookups | None, str]:
    """What codes are looked up with; None where the folder does not say which programme it is."""
    rows = lines.by_table.get("programme", [])
    if len(rows) != 1:
        if "programme" in lines.files:
            message = f"This file has {len(rows)} rows that can be read. A folder holds one programme: write one row."
            lines.problems.append(Problem("programme", 0, "", "", message))
        return None, ""
    values = rows[0].values
    wrong = of_lines.check_programme(rows[0])
    if wrong or values["programme"] is None or values["first_weekday"] is None:
        lines.problems += wrong
        return None, ""
    known = find_programme(session, values["programme"])
    zone = ZoneInfo(known.zone if known else values["zone"])
    weekday = known.first_weekday if known else values["first_weekday"]
    return Lookups(known.id if known else 0, zone, weekday), values["programme"]


def _check_and_write(load: _Load, now: datetime | None) -> LoadResult:
    lines, session = load.lines, load.session
    doubts = of_lines.unsure(lines)
    of_lines.compare(session, load.lookups, lines, bool(load.reason))
    local = None if now is None else now.astimezone(load.lookups.zone).replace(tzinfo=None)
    lines.problems += [*of_lines.check_links(lines, doubts), *of_lines.check_setup(lines, local, doubts)]
    owners = of_facts.Owners(lines, load.lookups.first_weekday)
    if not lines.problems:
        lines.problems += of_facts.check_versions(lines, owners)
    if lines.problems:
        raise FolderError(dict.fromkeys([*lines.problems, *_found_beside(load, owners, now)]))
    something = any(lines.touched(name) for name in lines.by_table)
    if load.reason:
        session.info["reason"] = load.reason
    _write(load, SETUP, owners)
    if something:
        calendar.rebuild(session, load.lookups.programme_id)
    asked = of_facts.check(session, load.lookups, lines, owners, now)
    if of_facts.refusing(asked):
        raise FolderError(asked)
    touched = any(lines.touched(name) for name in LEDGER)
    places = ledger_settle.inner_places(session, load.lookups.programme_id) if touched else ()
    with ledger_settle.reported(session, load.lookups.programme_id, places):
        _write(load, HAPPENED, owners)
    if something:
        load_versions(session, load.versions)
        calendar.rebuild(session, load.lookups.programme_id)
    _audit(load)
    session.expire_all()
    return _result(lines, asked)


def _found_beside(load: _Load, owners: of_facts.Owners, now: datetime | None) -> list[Problem]:
    """What rules say of facts of a folder that is refused anyway, so that one reading lists all there is to correct.

    The sound part of the set-up is written for it; the caller raises, and takes all of it back.
    """
    sound = of_lines.sound(load.lines, STANDS, lambda name, line: owners.of(name, line.values).school)
    if sound is None:
        return []
    beside = replace(load, lines=sound, progress=None)
    try:
        _write(beside, SETUP, owners)
        calendar.rebuild(load.session, load.lookups.programme_id)
        return of_facts.refusing(of_facts.check(load.session, load.lookups, sound, owners, now))
    except (LookupError, IntegrityError):  # rows of one school that lean on a row left out: the first list must do
        return []


def _write(load: _Load, tables: Iterable[Table], owners: of_facts.Owners) -> None:
    for table in tables:
        added = load.lines.added.get(table.name, [])
        keyed = table.name in TARGETS or table.name in (SHEETS, "programme")
        for start in range(0, len(added), BATCH):
            part = added[start : start + BATCH]
            records = [_record(load, table, line, owners) for line in part]
            insert_rows(load.session, load.lookups, table, records, [line.key for line in part] if keyed else ())
            load.tick(len(part), table.name)
        for stored, line in load.lines.changed.get(table.name, ()):
            record = _record(load, table, line, owners)
            change_row(load.session, table, stored.row_id, record)
            key = "/".join(str(part) for part in line.key)
            audit.note(load.session, "changed", table.name, key, before=stored.values, after=line.values)
        load.tick(len(load.lines.by_table.get(table.name, ())) - len(added), table.name)
        if table.name == "programme" and added:
            load.lookups.programme_id = load.lookups.ids["programme"][added[0].key]
        if table.name == SHEETS:
            _versions(load, owners)


def _record(load: _Load, table: Table, line: Line, owners: of_facts.Owners) -> dict[str, Any]:
    record = to_record(load.lookups, table, line.values)
    if table.name == SHEETS:
        record["code"] = sheet_code(load.programme, line.values["school"], line.values["week"])
    if hasattr(table.model, "sheet_id"):
        sheets = load.lookups.ids.get(SHEETS, {})
        record["sheet_id"] = sheets.get(of_facts.sheet_key(owners.of(table.name, line.values)))
    return record


def _versions(load: _Load, owners: of_facts.Owners) -> None:
    """A version for each new sheet, and for each that the folder raises."""
    lines = load.lines
    new = {line.key: "" for line in lines.added.get(SHEETS, ())}
    for stored, line in lines.changed.get(SHEETS, ()):
        if line.values["version"] > stored.values["version"]:
            new[line.key] = load.reason
    if not new:
        return
    said = of_facts.payloads(lines, owners)
    for line in lines.touched(SHEETS):
        if line.key in new:
            load.versions.append(
                LoadedVersion(
                    sheet_id=load.lookups.ids[SHEETS][line.key],
                    sheet_code=sheet_code(load.programme, line.values["school"], line.values["week"]),
                    number=line.values["version"],
                    sent_at=load.lookups.instant(line.values["first_sent_local_time"]),
                    payload=said[line.values["school"], line.values["week"]],
                    reason=new[line.key],
                )
            )


def _audit(load: _Load) -> None:
    """One row a file; changed rows have theirs already."""
    for name, text in load.lines.files.items():
        added, changed = len(load.lines.added.get(name, ())), len(load.lines.changed.get(name, ()))
        if added or changed:
            said = {"added": added, "changed": changed, "sha256": text.sha256}
            audit.note(load.session, "loaded", BY_NAME[name].model.__tablename__, f"{name}.csv", after=said)


def _result(lines: Lines, asked: list[Problem]) -> LoadResult:
    names = list(lines.by_table)
    return LoadResult(
        added={name: len(lines.added.get(name, ())) for name in names},
        unchanged={name: lines.unchanged_count(name) for name in names},
        changed={name: len(lines.changed.get(name, ())) for name in names},
        problems=asked,
    )


def _refused(error: IntegrityError) -> Problem:
    """What the database itself refused; the checks before should have said it better."""
    statement = (error.statement or "").split()
    models = {table.model.__tablename__: table.name for table in TABLES}
    name = next((models[word] for word in statement if word in models), "")
    message = "The database refuses a row of this file: it disagrees with another row. Look for rows that overlap."
    return Problem(name, 0, "", "", message, rule="database")
