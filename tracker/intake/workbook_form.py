"""The workbook's one form: where each cell of a week sheet stands, and how a page tells that it was changed.

Writer and reader both use it, so that neither can drift from the other. Rows and columns count from 0, as the
writing library does; addresses as people read them (C12) are made at the end.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from tracker.intake.week_layout import Cell, Kind, Layout, RowCounts, Table

FORM = "week workbook"
FORM_VERSION = "1"  # one higher when pages are laid out in another way
COVER, TO_DO, LISTS, ABOUT, PLACES = "How to use", "What to do", "lists", "about", "places"
NO_SCHOOL = "no school"
NOTES = 6
WORKBOOK_ROWS = RowCounts(4, 4)
FIRST_COLUMN = 2  # A holds labels, B hints
WAITING = ("still:", "backday:", "backtime:", "left:", "put:", "got:", "gave:")  # outages from before, and supplies:
# which there are changes from week to week, also by loading a workbook, and not because the school was set up anew
DANGEROUS = ("=", "+", "-", "@", "\t", "\r")
MOST_WEEKS = 26
LONGEST_TEXT = 400  # of one cell, as in the form
NEW_ONE = "Get a new workbook from the school's page and copy your figures into it."


@dataclass(frozen=True, slots=True)
class Slot:
    """A place to write, with the cell of the week sheet that it stands for."""

    cell: Cell
    row: int
    column: int

    @property
    def address(self) -> str:
        """The place as people read it."""
        return address(self.row, self.column)


@dataclass(frozen=True, slots=True)
class Text:
    """A text that is not filled in. ``look`` names how it is printed."""

    row: int
    column: int
    text: str
    look: str = "plain"


@dataclass(slots=True)
class Page:
    """One week on one worksheet."""

    texts: list[Text] = field(default_factory=list)
    slots: list[Slot] = field(default_factory=list)
    next_row: int = 0

    def say(self, text: str, look: str = "plain") -> None:
        """A line of text across the page; nothing for an empty one."""
        if text:
            self.texts.append(Text(self.next_row, 0, text, look))
            self.next_row += 1

    def add_table(self, table: Table, cautions: Mapping[str, Sequence[str]]) -> None:
        """A table as on screen: caption, hint, heads, a line for each row."""
        self.say(table.caption, "caption")
        for said in (table.hint, *cautions.get(table.caution, ())):
            self.say(said, "hint")
        heads = [(0, table.head), *enumerate(table.columns, start=FIRST_COLUMN)]
        self.texts += [Text(self.next_row, column, text, "head") for column, text in heads if text]
        for row in table.rows:
            self.next_row += 1
            self.texts.append(Text(self.next_row, 0, row.label, "label"))
            if row.hint:
                self.texts.append(Text(self.next_row, 1, row.hint, "hint"))
            asked = [cell for cell in row.cells if cell.kind is not Kind.HIDDEN]
            self.slots += [Slot(cell, self.next_row, column) for column, cell in enumerate(asked, start=FIRST_COLUMN)]
        self.next_row += 2


def page_of(layout: Layout, title: str, cautions: Mapping[str, Sequence[str]] | None = None) -> Page:
    """The sheet of a week laid out on a worksheet: the same sections, order and labels as on screen.

    Args:
        layout: the week sheet.
        title: the first line.
        cautions: sentences by the key of a table's caution.
    """
    page = Page()
    page.say(title, "title")
    page.say("Leave a cell empty if nobody counted. Write 0 only if somebody looked and there was none.")
    page.next_row += 1
    for section in layout.sections:
        page.say(section.title, "section")
        page.say(section.hint, "hint")
        for table in section.tables:
            page.add_table(table, cautions or {})
    _add_notes(page)
    return page


def _add_notes(page: Page) -> None:
    page.say("How you know", "section")
    page.say("Where a figure looks unusual but is right, name its cell and say how you know. No pupil's name.", "hint")
    page.texts += [Text(page.next_row, 2, "Cell", "head"), Text(page.next_row, 3, "How you know", "head")]
    for number in range(1, NOTES + 1):
        page.next_row += 1
        page.texts.append(Text(page.next_row, 0, f"Note {number}", "label"))
        where = Cell(f"noteat:{number}", f"Note {number}: the cell, for example C12", Kind.TEXT, length=8)
        said = Cell(f"notesaid:{number}", f"Note {number}: how you know", Kind.TEXT, length=200)
        page.slots += [Slot(where, page.next_row, 2), Slot(said, page.next_row, 3)]


def column_name(column: int) -> str:
    """A column's letters.

    >>> column_name(0), column_name(27)
    ('A', 'AB')
    """
    letters = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(65 + place) + letters
    return letters


def address(row: int, column: int) -> str:
    """A place as people read it.

    >>> address(11, 2)
    'C12'
    """
    return f"{column_name(column)}{row + 1}"


def sheet_title(week: date) -> str:
    """A worksheet's name: the first day of its week, the month in letters.

    >>> sheet_title(date(2026, 1, 5))
    '05 Jan 2026'
    """
    return f"{week:%d %b %Y}"


def labels_hash(texts: Iterable[tuple[str, str]]) -> str:
    """A sign of all texts of a page that are not filled in, and of where they stand: moved rows change it."""
    said = "\n".join(f"{where}={' '.join(as_typed(text)[:LONGEST_TEXT].split())}" for where, text in sorted(texts))
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def layout_hash(rows: Iterable[Sequence[str]]) -> str:
    """A sign of all that the hidden pages say about the form."""
    said = "\n".join("\t".join(row) for row in rows)
    return hashlib.sha256(said.encode()).hexdigest()[:32]


def stable_keys(layout: Layout) -> list[str]:
    """Keys of the cells that a sheet asks for as long as the school's set-up stays; hidden ones are not asked."""
    return [one.key for one in layout.cells() if one.kind is not Kind.HIDDEN and not one.key.startswith(WAITING)]


def defused(text: str) -> str:
    """A text that no spreadsheet takes for a formula, whatever somebody does with it later.

    >>> defused("=1+1"), defused("all well")
    ("'=1+1", 'all well')
    """
    return f"'{text}" if text.startswith(DANGEROUS) else text


def as_typed(text: str) -> str:
    """The text as it was before it was defused.

    >>> as_typed("'=1+1"), as_typed("'quoted'")
    ('=1+1', "'quoted'")
    """
    return text[1:] if text[:1] == "'" and text[1:].startswith(DANGEROUS) else text
