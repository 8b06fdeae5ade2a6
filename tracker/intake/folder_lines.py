"""Lines of a folder: parsed, compared with what is on record, their links and set-up checked. Nothing is written."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from tracker.intake.folder_files import FileText
from tracker.intake.problems import Problem, shown
from tracker.intake.rows import header, parse_row
from tracker.intake.rulebook import no_such
from tracker.intake.rules_units import IN_FUTURE, late_columns
from tracker.intake.setup_apart import ALL_CLASHES, ALL_SINGLE
from tracker.intake.setup_rules import SetupRule
from tracker.intake.tables import BY_NAME, TABLES, Link, Table
from tracker.records.lookups import TARGETS, Codes, Lookups, existing, key_of

Progress = Callable[[int, int, str], None]
EVERY_SO_MANY = 2000
WHERE = {"units": "at this school", "blocks": "at this school", "shifts": "at this school"}
WHAT = {
    "areas": "area", "schools": "school", "shifts": "shift", "blocks": "block", "units": "unit", "terms": "term",
    "agreements": "agreement", "products": "product", "lots": "lot", "places": "place", "people": "person",
    "outages": "outage", "awareness_sessions": "session", "trials": "trial", "grants": "grant", "spot_draws": "draw",
    "spot_checks": "drawn figure",
}  # fmt: skip
# what no rule about facts looks at, or what may belong to no school
OPEN_DATED = frozenset({"water_deliveries", "service_visits", "money", "stock_moves", "energy_given", "burn_outputs"})


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a file: as typed and as read; a cell that could not be read is None."""

    number: int
    key: Codes
    values: Mapping[str, Any]
    raw: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class OnRecord:
    """A row of the database in the words of the exchange format."""

    row_id: int
    values: Mapping[str, Any]
    sheet_id: int | None


@dataclass(slots=True)
class Lines:
    """All lines of a folder by table, beside what is on record, and what is wrong so far."""

    files: Mapping[str, FileText]
    by_table: dict[str, list[Line]] = field(default_factory=dict)
    on_record: dict[str, dict[Codes, OnRecord]] = field(default_factory=dict)
    added: dict[str, list[Line]] = field(default_factory=dict)
    changed: dict[str, list[tuple[OnRecord, Line]]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    unlinked: set[tuple[str, int]] = field(default_factory=set)  # lines that name a code which was not found

    def touched(self, table: str) -> list[Line]:
        """New and changed lines of a table."""
        return [*self.added.get(table, ()), *(line for _, line in self.changed.get(table, ()))]

    def unchanged_count(self, table: str) -> int:
        """Lines that say what is on record already."""
        return len(self.by_table.get(table, ())) - len(self.touched(table))


def parse(files: Mapping[str, FileText], tick: Callable[[int, str], None]) -> Lines:
    """Read every cell, and find lines that are said twice."""
    lines = Lines(files)
    for name, text in files.items():
        seen: dict[Codes, int] = {}
        table, blank = text.table, dict.fromkeys(header(text.table))
        found = lines.by_table[name] = []
        for place, (number, cells) in enumerate(text.rows):
            raw = dict(zip(text.columns, cells, strict=True))
            read, wrong = parse_row(table, raw, number)
            values = {**blank, **read}
            lines.problems += wrong
            line = Line(number, key_of(table, values), values, raw)
            if line.key in seen and not wrong:
                message = f"This is said twice; the first time in line {seen[line.key]}. Keep one of them."
                lines.problems.append(Problem(name, number, table.key[-1], shown(line.key[-1]), message, rule="once"))
                continue
            seen.setdefault(line.key, number)
            found.append(line)
            if place % EVERY_SO_MANY == 0:
                tick(place, name)
    return lines


def compare(session: Session, lookups: Lookups, lines: Lines, may_change: bool) -> None:
    """Sort lines into new, changed and unchanged; a changed one is a problem unless changes have a reason."""
    for table in TABLES:
        name = table.name
        if table.fact and name not in lines.by_table and name not in TARGETS:
            continue  # nothing asks for it
        on_record = lines.on_record[name] = {}
        for row_id, values, sheet_id in existing(session, lookups, table):
            key = key_of(table, values)
            on_record[key] = OnRecord(row_id, values, sheet_id)
            lookups.add(name, key, row_id)
        for line in lines.by_table.get(name, ()):
            stored = on_record.get(line.key)
            if stored is None:
                lines.added.setdefault(name, []).append(line)
                continue
            differs = [column for column in header(table) if line.values[column] != stored.values.get(column)]
            if differs:
                lines.changed.setdefault(name, []).append((stored, line))
                if not may_change:
                    lines.problems.append(_differs(table, line, stored, differs[0]))


def _differs(table: Table, line: Line, stored: OnRecord, column: str) -> Problem:
    before = shown(stored.values.get(column)) or "blank"
    message = f"This row is on record with {column} {before}. Correct the file, or load it with a correction reason."
    return Problem(table.name, line.number, column, shown(line.raw.get(column)), message, rule="unchanged")


def unsure(lines: Lines) -> dict[str, str]:
    """Files whose codes are not all known, and why: the file, or the key of a line of it, could not be read.

    Must be asked before anything but the reading of files and cells has added problems.
    """
    found: dict[str, str] = {}
    for one in lines.problems:
        if one.table and one.table not in lines.files:
            found[one.table] = f"{one.table}.csv could not be read"
        elif one.table and one.row and (not one.column or one.column in BY_NAME[one.table].key) and one.rule != "once":
            found.setdefault(one.table, f"line {one.row} of {one.table}.csv could not be read")
    return found


def _not_checked(name: str, reasons: Iterable[str]) -> Problem:
    message = f"Not checked further, because {' and '.join(sorted(set(reasons)))}."
    return Problem(name, 0, "", "", message, rule="not_checked")


def check_links(lines: Lines, doubts: Mapping[str, str]) -> list[Problem]:
    """Every code that a line names stands in the folder or on record.

    A code that may stand in a file of ``doubts`` is not called unknown; one sentence for the naming file says so.
    """
    known: dict[str, set[Codes]] = {
        name: {*lines.on_record.get(name, {}), *(line.key for line in lines.by_table.get(name, ()))} for name in TARGETS
    }
    below = {name: _below(codes) for name, codes in known.items()}
    problems: dict[tuple[str, int, str], Problem] = {}
    silent: dict[str, set[str]] = defaultdict(set)
    for name, rows in lines.by_table.items():
        for link in BY_NAME[name].links:
            beside = ("schools",) if link.columns[0] == "school" else ()
            reasons = {doubts[target] for target in (link.target, *beside) if target in doubts}
            for line in rows:
                wrong = _unlinked(link, line, known, below)
                if wrong is None:
                    continue
                lines.unlinked.add((name, line.number))
                if reasons:
                    silent[name] |= reasons
                    continue
                column, message = wrong
                value = shown(line.values.get(column))
                problem = Problem(name, line.number, column, value, message, rule="code_known")
                problems.setdefault((name, line.number, column), problem)
    return [*problems.values(), *(_not_checked(name, reasons) for name, reasons in silent.items())]


def _below(codes: Iterable[Codes]) -> dict[Codes, list[str]]:
    found: dict[Codes, list[str]] = defaultdict(list)
    for one in codes:
        found[one[:-1]].append(str(one[-1]))
    return found


def _unlinked(
    link: Link, line: Line, known: Mapping[str, set[Codes]], below: Mapping[str, Mapping[Codes, list[str]]]
) -> tuple[str, str] | None:
    codes = tuple(line.values.get(column) for column in link.columns)
    column = link.columns[-1]
    if codes[-1] is None:
        return None  # blank: where it is needed, the cell itself is refused
    if codes in known[link.target]:
        return None
    if len(codes) > 1 and codes[0] is None:
        return link.columns[0], f"Write the {link.columns[0]} of this {column}."
    if len(codes) > 1 and link.columns[0] == "school" and (codes[0],) not in known["schools"]:
        schools = [str(one[0]) for one in known["schools"]]
        return "school", no_such("school", codes[0], schools, "in this programme")
    where = WHERE.get(link.target, "in this programme")
    return column, no_such(WHAT[link.target], codes[-1], below[link.target].get(codes[:-1], ()), where)


def check_setup(lines: Lines, now: datetime | None, doubts: Mapping[str, str]) -> list[Problem]:
    """Rules about single lines, about lines that must agree, and dates of lines that belong to no school.

    A rule that needs the rows of a file of ``doubts`` is passed over; one sentence says so.
    """
    problems: list[Problem] = []
    for rule in ALL_SINGLE:
        for name in rule.tables:
            problems += _single(rule, name, lines.touched(name))
    merged = {
        name: {
            **{key: (0, stored.values) for key, stored in lines.on_record.get(name, {}).items()},
            **{line.key: (line.number, line.values) for line in lines.by_table.get(name, ())},
        }
        for name in {*lines.by_table, *lines.on_record}
    }
    for clash_rule in ALL_CLASHES:
        reasons = [doubts[name] for name in clash_rule.needs if name in doubts]
        if reasons:
            problems += [_not_checked(name, reasons) for name in clash_rule.tables if name in lines.files]
            continue
        for clash in clash_rule.check(merged):
            if clash.line:
                value = shown(_raw(lines, clash.table, clash.line, clash.column))
                at = (clash.table, clash.line, clash.column, value)
                problems.append(Problem(*at, clash.message, rule=clash_rule.name))
    return [*problems, *_late(lines, now)]


def _single(rule: SetupRule, name: str, lines: Iterable[Line]) -> Iterator[Problem]:
    for line in lines:
        for said in rule.check(line.values):
            value = shown(line.raw.get(said.column))
            yield Problem(name, line.number, said.column, value, said.message, rule=rule.name)


def _late(lines: Lines, now: datetime | None) -> Iterator[Problem]:
    if now is None:
        return
    for name in sorted(OPEN_DATED):
        for line in lines.touched(name):
            for column in late_columns(line.values, now):
                at = (name, line.number, column, shown(line.raw.get(column)))
                yield Problem(*at, IN_FUTURE, rule="not_future")


def _raw(lines: Lines, table: str, number: int, column: str) -> str | None:
    return next((line.raw.get(column) for line in lines.by_table[table] if line.number == number), None)


def sound(lines: Lines, setup: Collection[str], school_of: Callable[[str, Line], str | None]) -> Lines | None:
    """The lines that rules about facts can look at although others are wrong; None where none can.

    A school whose set-up has a problem is left out whole, for what its rules look at is not known. Lines that name
    an unknown code are left out too. A problem of set-up that belongs to no school leaves nothing.
    """
    out: set[str] = set()
    wrong = {(one.table, one.row) for one in lines.problems if one.table in setup}
    for name, number in wrong:
        schools = [school_of(name, line) for line in lines.by_table.get(name, ()) if line.number == number]
        if not schools or schools[0] is None:
            return None
        out.add(schools[0])

    def stays(name: str, line: Line) -> bool:
        return (name, line.number) not in lines.unlinked and school_of(name, line) not in out

    return Lines(
        lines.files,
        {name: [line for line in rows if stays(name, line)] for name, rows in lines.by_table.items()},
        lines.on_record,
        {name: [line for line in rows if stays(name, line)] for name, rows in lines.added.items()},
        {name: [(old, line) for old, line in rows if stays(name, line)] for name, rows in lines.changed.items()},
    )


def check_programme(line: Line) -> list[Problem]:
    """What is wrong with the programme's own row; without a zone no local time can be read."""
    rules = (rule for rule in ALL_SINGLE if "programme" in rule.tables)
    return [problem for rule in rules for problem in _single(rule, "programme", [line])]
