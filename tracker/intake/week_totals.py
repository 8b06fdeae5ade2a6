"""Totals of a paper sheet: what its boxes add up to, by unit or table, and the one control total of the week.

Somebody who copies from paper types the control total; where the cells add up to something else the check asks for
the totals of the parts, and says which part to look at again. It never asks to make two numbers agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from tracker.intake.week_cells import clean, plain
from tracker.intake.week_layout import Cell, Kind, Row, Section, Table, key

CONTROL = "paper:week"
SAID = "Control total"
HINT = "All numbers of the sheet added up, dials left out: one number, to find slips of the pen."
WRITE_A_NUMBER = "Write the total as a whole number, for example 412, or leave it empty."
LOOK = "Look at the paper sheet again"
AGREE = "each part agrees, only their sum does not"
ADDED = "If its own total was added wrongly, leave both and write that here."


@dataclass(frozen=True, slots=True)
class Part:
    """Cells that have one total box on paper: a unit's visits, or the numbers of a small table."""

    key: str
    label: str
    table: str
    cells: tuple[str, ...]


def parts(tables: Iterable[Table]) -> tuple[Part, ...]:
    """The parts of a sheet with a total box of their own, in the order of the sheet.

    Visits have one box a unit, other counts one a table. Dials are left out: nobody adds up counters by hand, and
    the reading before stands beside them. So are lessons and outages, whose rows are sentences more than numbers.
    """
    found: dict[tuple[str, str], list[str]] = {}
    captions: dict[str, str] = {}
    for table in tables:
        captions[table.key] = table.caption
        for cell in _counted(table):
            visits = cell.key.startswith("visits:")
            found.setdefault((table.key, cell.unit if visits else ""), []).append(cell.key)
    return tuple(
        Part(key("paper", "unit" if unit else "table", unit or table), unit or captions[table], table, tuple(cells))
        for (table, unit), cells in found.items()
    )


def _counted(table: Table) -> Iterator[Cell]:
    if not (table.stacked or table.folded):
        yield from (cell for row in table.rows for cell in row.cells if cell.kind is Kind.COUNT)


def paper_section(sections: Iterable[Section]) -> Section:
    """The control total of the paper sheet, and, out of sight until they are asked for, the totals of its parts."""
    found = parts([table for section in sections for table in section.tables])
    if not found:
        return Section("paper", "", ())
    asked = Cell(CONTROL, "Control total of the paper sheet", Kind.COUNT, length=9)
    hidden = (Cell(one.key, f"{one.label}, total on paper", Kind.HIDDEN, length=9) for one in found)
    table = Table("paper", "Copied from paper?", ("Total",), (Row(SAID, (asked, *hidden)),), hint=HINT, folded=True)
    return Section("paper", "The paper's total", (table,))


def typed_totals(cells: Mapping[str, str]) -> dict[str, str]:
    """The totals of the paper that were typed, as they were typed."""
    return {name: clean(text) for name, text in cells.items() if name.startswith("paper:") and clean(text)}


def added_up(part: Part, cells: Mapping[str, str]) -> int:
    """What a part's cells add up to; an empty cell and one that holds no number add nothing.

    >>> added_up(Part("paper:unit:G1", "G1", "grid-G1", ("a", "b", "c")), {"a": "12", "b": "", "c": "7"})
    19
    """
    return sum(number for number in (_number(cells.get(name, "")) for name in part.cells) if number is not None)


def _number(text: str) -> int | None:
    digits = plain(clean(text))
    return int(digits) if digits.isascii() and digits.isdecimal() and len(digits) < 10 else None


def unreadable(tables: Iterable[Table], cells: Mapping[str, str]) -> list[str]:
    """Keys of paper totals that are no whole number."""
    known = {CONTROL, *(one.key for one in parts(tables))}
    return [name for name, text in typed_totals(cells).items() if name in known and _number(text) is None]


def differing(tables: Iterable[Table], cells: Mapping[str, str]) -> list[tuple[str, str]]:
    """Totals that differ from the paper's, as (key of the total, what to do), the parts before the whole.

    Where a part differs, the control total is not asked about as well.
    """
    found = parts(tables)
    if not found:
        return []
    said = [(one.key, _said(added_up(one, cells), paper, one.label)) for one, paper in _compared(found, cells)]
    paper, here = _number(cells.get(CONTROL, "")), sum(added_up(one, cells) for one in found)
    if said or paper is None or paper == here:
        return said
    agree = all(_number(cells.get(one.key, "")) is not None for one in found)
    return [(CONTROL, _said(here, paper, AGREE if agree else "each part, box by box"))]


def _compared(found: Iterable[Part], cells: Mapping[str, str]) -> Iterator[tuple[Part, int]]:
    for one in found:
        paper = _number(cells.get(one.key, ""))
        if paper is not None and paper != added_up(one, cells):
            yield one, paper


def _said(here: int, paper: int, where: str) -> str:
    return f"The boxes typed here add up to {here}, the paper says {paper}. {LOOK}: {where}. {ADDED}"
