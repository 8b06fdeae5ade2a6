"""The paper sheet: which tables stand on which page, and which box holds which total."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.intake.week_layout import Kind, Layout, Section, Table
from tracker.intake.week_totals import Part, parts

ROW_MM = 8.2  # a box is at least 8 mm high
HEAD_MM = 9.0  # caption and heads of a table
CAUTION_MM = 13.0
PAGE_MM = 2 * 205.0  # two columns of the smaller of A4 and Letter, below the sheet's own head
BOXES_A_ROW = 9  # boxes of the totals beside each other


def pages(layout: Layout) -> tuple[tuple[Section, ...], ...]:
    """The sections of each page: one page where they fit, else the visits and after them the rest.

    The last section, the control total, is printed by itself below the others.
    """
    printed = tuple(section for section in layout.sections if section.key != "paper")
    if sum(height_mm(table) for section in printed for table in section.tables) <= PAGE_MM:
        return (printed,)
    last = next((n for n, section in enumerate(printed) if section.key == "visits"), -1)
    split = tuple(part for part in (printed[: last + 1], printed[last + 1 :]) if part)
    return split or (printed,)


def height_mm(table: Table) -> float:
    """About how high a table is on paper."""
    if table.key == "read":
        return ROW_MM
    asked = [row for row in table.rows if any(cell.kind is not Kind.HIDDEN for cell in row.cells)]
    return HEAD_MM + ROW_MM * (len(asked) + table.zeros) + (CAUTION_MM if table.caution else 0)


def total_boxes(layout: Layout) -> tuple[tuple[Part, ...], ...]:
    """The parts with a total, in rows of boxes beside each other."""
    found: Sequence[Part] = parts(layout.tables())
    return tuple(tuple(found[at : at + BOXES_A_ROW]) for at in range(0, len(found), BOXES_A_ROW))
