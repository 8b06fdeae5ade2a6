"""The week sheet's one definition: sections, tables, rows and cells in their order, with labels and units.

Screen, paper, workbook and feed all walk this. A cell holds raw text exactly as typed: "" is blank, "0" is
zero, and a cell of kind ``shut`` stands for a day without school, which is neither.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from tracker.intake.week_plan import SheetPlan, long_day

LONGEST_KEY = 80
FIRST_ROWS = 2
MOST_ROWS = 30


class Kind(StrEnum):
    """How a cell is filled in."""

    COUNT = "count"  # a whole number
    DIGITS = "digits"  # all digits of a dial
    CHOICE = "choice"  # one of a few words
    TICK = "tick"  # "yes" or blank
    TEXT = "text"
    CLOCK = "clock"  # 08:10
    HIDDEN = "hidden"  # carried along, not typed
    SHUT = "shut"  # no school that day: nothing to fill in


@dataclass(frozen=True, slots=True)
class Cell:
    """One place to write. ``label`` says it all to somebody who cannot see the table around it."""

    key: str
    label: str
    kind: Kind
    day: date | None = None
    slot: str = ""
    unit: str = ""
    measure: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    last: str = ""  # what stood here last week, shown beside, never filled in
    default: str = ""  # prefilled: only the day and time of reading
    digits: int = 0
    length: int = 7  # most characters that can be typed
    wide: bool = False  # takes a line of its own where fields stand in pairs


@dataclass(frozen=True, slots=True)
class Row:
    """A row of cells with its label; ``hint`` is printed below the label. Columns it has no cell for stay empty."""

    label: str
    cells: tuple[Cell, ...]
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A small table. ``columns`` are heads; ``days`` the day of each column, where columns are days."""

    key: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    days: tuple[date | None, ...] = ()
    hint: str = ""
    stacked: bool = False  # rows are groups of fields below one another, not a grid
    more: str = ""  # name of a further row that can be asked for
    folded: bool = False  # rarely needed: shown by its caption alone until it holds something
    caution: str = ""  # key of a caution to show at the act
    zeros: bool = False  # empty cells of a day may be filled with 0 at once
    head: str = ""  # head of the label column


@dataclass(frozen=True, slots=True)
class Section:
    """Tables that belong together under one heading."""

    key: str
    title: str
    tables: tuple[Table, ...]
    hint: str = ""


@dataclass(frozen=True, slots=True)
class RowCounts:
    """How many rows the growing tables show."""

    outages: int = FIRST_ROWS
    sessions: int = FIRST_ROWS


@dataclass(frozen=True, slots=True)
class Layout:
    """The sheet of one school and week."""

    plan: SheetPlan
    sections: tuple[Section, ...]
    rows: RowCounts

    def tables(self) -> Iterator[Table]:
        """All tables in their order."""
        for section in self.sections:
            yield from section.tables

    def cells(self) -> Iterator[Cell]:
        """All cells in their order: the order of eye, hand and the Next key."""
        for table in self.tables():
            for row in table.rows:
                yield from row.cells

    def by_key(self) -> dict[str, Cell]:
        """Cells by their key."""
        return {cell.key: cell for cell in self.cells()}

    @property
    def version(self) -> str:
        """Four signs that differ where a sheet asks for other cells: a paper printed before a change tells it."""
        asked = "|".join(cell.key for cell in self.cells() if cell.kind is not Kind.HIDDEN)
        return hashlib.sha256(asked.encode()).hexdigest()[:4].upper()

    def defaults(self) -> dict[str, str]:
        """What a new sheet starts with: the day and time of reading, nothing else."""
        return {cell.key: cell.default for cell in self.cells() if cell.default}


def key(*parts: object) -> str:
    """A cell's key from its parts, at most 80 characters; a longer one ends in a hash of itself.

    >>> key("visits", "G1", date(2026, 2, 3), "b1")
    'visits:G1:2026-02-03:b1'
    """
    joined = ":".join(str(part) for part in parts)
    if len(joined) <= LONGEST_KEY:
        return joined
    tail = hashlib.sha256(joined.encode()).hexdigest()[:12]
    return f"{joined[: LONGEST_KEY - 13]}~{tail}"


def layout(plan: SheetPlan, rows: RowCounts | None = None) -> Layout:
    """The sheet that a plan asks for. Sections with nothing to ask are left out.

    Args:
        plan: the school's week.
        rows: how many rows the outage and session tables show; two each at first.
    """
    from tracker.intake import week_sections, week_totals

    counts = rows or RowCounts()
    made = [build(plan, counts) for build in week_sections.BUILDERS]
    made.append(week_totals.paper_section(made))
    return Layout(plan, tuple(section for section in made if section.tables), counts)


def rows_needed(cells: Mapping[str, str]) -> RowCounts:
    """Rows that typed cells need, so that no typed row is ever out of sight; at most 30 each."""

    def needed(kind: str) -> int:
        numbers = [_number_of(name) for name, text in cells.items() if name.startswith(kind + ":") and text]
        return min(max([FIRST_ROWS, *numbers]), MOST_ROWS)

    return RowCounts(needed("out"), needed("session"))


def _number_of(name: str) -> int:
    number = name.split(":")[1]
    return int(number) if number.isdecimal() and len(number) < 4 else 0


def day_choices(plan: SheetPlan) -> tuple[tuple[str, str], ...]:
    """The week's days as choices."""
    return tuple((item.day.isoformat(), long_day(item.day)) for item in plan.days)
