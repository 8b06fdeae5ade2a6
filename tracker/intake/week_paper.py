"""The paper sheet: which tables stand on which page in how many columns, and which box holds which total."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tracker.intake.week_layout import Kind, Layout, Section, Table
from tracker.intake.week_totals import Part, parts

ROW_MM = 8.2  # a box is at least 8 mm high
HEAD_MM = 9.0  # caption and heads of a table
CAUTION_MM = {1: 12.0, 2: 23.0, 3: 33.0}  # by columns: the narrower, the more lines
PAGE_MM = 265.0 - 40.0  # height of the lower of A4 and Letter, without margins, the sheet's own head and totals
FILLED = 0.97  # tables are not cut, so that columns are never full
MOST_BOXES = 7  # beside each other in a column of a third of the page
BOXES_A_ROW = 9  # boxes of the totals beside each other


@dataclass(frozen=True, slots=True)
class Page:
    """What one page holds: tables in columns, and below them those that need its whole width."""

    tables: tuple[Table, ...]
    wide: tuple[Table, ...]
    columns: int


def pages(layout: Layout) -> tuple[Page, ...]:
    """One page where the sheet fits on it, else the visits and after them the rest, in the order of the screen.

    The control total is no table of a page: it is printed below the last one.
    """
    printed = tuple(section for section in layout.sections if section.key != "paper")
    whole = _page(printed)
    if fits(whole):
        return (whole,)
    last = next((n for n, section in enumerate(printed) if section.key == "visits"), -1)
    return tuple(_page(part) for part in (printed[: last + 1], printed[last + 1 :]) if part)


def _page(sections: Iterable[Section]) -> Page:
    every = tuple(table for section in sections for table in section.tables)
    narrow, wide = tuple(t for t in every if not t.more), tuple(t for t in every if t.more)
    boxes = max((len(table.columns) + table.zeros for table in narrow), default=0)
    return Page(narrow, wide, 3 if boxes < MOST_BOXES else 2)


def fits(page: Page) -> bool:
    """Whether a page's tables find room on the lower of A4 and Letter, by a careful estimate."""
    below = sum(height_mm(table, 1) for table in page.wide)
    room = page.columns * (PAGE_MM - below) * FILLED
    return sum(height_mm(table, page.columns) for table in page.tables) <= room


def height_mm(table: Table, columns: int) -> float:
    """About how high a table is in one of so many columns."""
    if table.key == "read":
        return ROW_MM
    asked = [row for row in table.rows if any(cell.kind is not Kind.HIDDEN for cell in row.cells)]
    return HEAD_MM + ROW_MM * (len(asked) + table.zeros) + (CAUTION_MM[columns] if table.caution else 0)


def total_boxes(layout: Layout) -> tuple[tuple[Part, ...], ...]:
    """The parts with a total, in rows of boxes beside each other."""
    found = parts(layout.tables())
    return tuple(tuple(found[at : at + BOXES_A_ROW]) for at in range(0, len(found), BOXES_A_ROW))
