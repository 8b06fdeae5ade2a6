"""From typed cells to facts that may be written, or to problems at their cells; and what to look at before sending."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tracker.intake import rows as reader
from tracker.intake import rules, week_totals
from tracker.intake.problems import Problem, shown
from tracker.intake.week_cells import Cells, FactRow, SheetFacts, cells_to_facts, clean, plain
from tracker.intake.week_layout import Cell, Kind, Layout, RowCounts, Table, key, layout, rows_needed
from tracker.intake.week_plan import SheetPlan, long_day
from tracker.intake.week_row_kinds import READING_LABELS
from tracker.records.context import SchoolContext
from tracker.vocabulary import DayMark, Quantity

WRITE_A_TIME = "Write a time of day, for example 08:10."
EXAMPLE_DIGITS = "012345678901"  # a dial has at most 12
CHOOSE_A_DAY = "Choose a day."
NOT_RECORDED = "not recorded"
FIGURES = {("readings", "value"), ("stock_counts", "quantity"), ("burns", "burns")}


@dataclass(frozen=True, slots=True)
class CellProblem:
    """A problem at its cell ("" is the whole sheet); ``soft`` asks once and never stops sending."""

    cell: str
    message: str
    value: str
    soft: bool = False


@dataclass(frozen=True, slots=True)
class Checked:
    """A sheet after the checker: its facts as text and typed, and what is wrong or asked."""

    facts: SheetFacts
    values: dict[str, list[dict[str, Any]]]
    problems: tuple[CellProblem, ...]

    @property
    def refusals(self) -> list[CellProblem]:
        """What must be put right before the sheet can be sent."""
        return [one for one in self.problems if not one.soft]

    @property
    def questions(self) -> list[CellProblem]:
        """What is asked once."""
        return [one for one in self.problems if one.soft]


@dataclass(frozen=True, slots=True)
class Line:
    """A figure of the check page beside last week's."""

    label: str
    now: str
    last: str
    change: str
    measure: str = ""


def sheet_of(plan: SheetPlan, cells: Cells, least: RowCounts | None = None) -> Layout:
    """The layout for what is typed: rows for all of it, and "no school" where a day was marked so."""
    marked = tuple(_marked(plan, item.day, cells) for item in plan.days)
    days = tuple(
        replace(item, closed=item.closed or "marked") if lost else item
        for item, lost in zip(plan.days, marked, strict=True)
    )
    needed, floor = rows_needed(dict(cells)), least or RowCounts()
    counts = RowCounts(max(needed.outages, floor.outages), max(needed.sessions, floor.sessions))
    return layout(replace(plan, days=days), counts)


def _marked(plan: SheetPlan, day: object, cells: Cells) -> bool:
    return bool(cells.get(key("mark", DayMark.LOST.value, day)))


def check(
    context: SchoolContext,
    sheet: Layout,
    cells: Cells,
    kept: Mapping[str, list[FactRow]] | None = None,
    now: datetime | None = None,
) -> Checked:
    """Read every cell and judge the whole sheet with the one checker of all ways in.

    Args:
        context: the school's units, calendar and records around the week.
        sheet: the layout that was filled in.
        cells: raw text by cell key.
        kept: rows of the version before that no cell can show.
        now: an aware instant; what is dated later is refused. None: not looked for.
    Returns:
        typed rows by table, problems in the order of the sheet's cells (questions that a note settles are among
        them, so that question and note stay together). Nothing is written.
    """
    facts = cells_to_facts(sheet, cells, kept)
    typed, unread = rules.parse_facts(facts.rows)
    judged = [*rules.check_facts(context, typed, now=now), *rules.noted(context, typed)]
    found = [*_clock_problems(sheet, cells), *(_at_cell(sheet, facts, cells, one) for one in unread)]
    unreadable = {one.cell for one in found}
    asked = (_at_cell(sheet, facts, cells, one) for one in judged)
    found += [one for one in asked if one.cell not in unreadable]  # first it must be a number at all
    found += _paper_problems(sheet, cells)
    values = {table: [dict(row.values) for row in rows] for table, rows in typed.items()}
    return Checked(facts, values, tuple(_in_order(sheet, found)))


def _paper_problems(sheet: Layout, cells: Cells) -> Iterable[CellProblem]:
    """Totals of the paper that are no number, and those that the typed cells do not add up to."""
    tables = list(sheet.tables())
    wrong = week_totals.unreadable(tables, cells)
    for name in wrong:
        place = name if name == week_totals.CONTROL else week_totals.CONTROL
        yield CellProblem(place, week_totals.WRITE_A_NUMBER, shown(clean(cells[name])))
    if not wrong:
        for name, said in week_totals.differing(tables, cells):
            yield CellProblem(name, said, plain(clean(cells[name])), soft=True)


def _clock_problems(sheet: Layout, cells: Cells) -> Iterable[CellProblem]:
    for cell in sheet.cells():
        text = clean(cells.get(cell.key))
        if cell.kind is Kind.CLOCK and text and reader.CLOCK.fullmatch(text) is None:
            yield CellProblem(cell.key, WRITE_A_TIME, shown(text))


def _at_cell(sheet: Layout, facts: SheetFacts, cells: Cells, problem: Problem) -> CellProblem:
    """The problem at the cell that its column came from, in words that fit the cell."""
    place = facts.origin.get((problem.table, problem.row - 1, problem.column)) or _first_cell(facts, problem)
    cell = sheet.by_key().get(place)
    message = problem.message
    if problem.rule == "readable" and problem.column.endswith("local_time") and cell is not None:
        message = WRITE_A_TIME if cell.kind is Kind.CLOCK else CHOOSE_A_DAY
    if problem.rule == "readable" and cell is not None and cell.kind is Kind.DIGITS:
        message = f"Write all {cell.digits} digits, for example {EXAMPLE_DIGITS[: cell.digits]}."
    typed = plain(shown(cells.get(place, problem.value)))
    return CellProblem(place, message, typed, problem.soft)


def _first_cell(facts: SheetFacts, problem: Problem) -> str:
    return next(
        (cell for (table, row, _), cell in facts.origin.items() if (table, row + 1) == (problem.table, problem.row)), ""
    )


def _in_order(sheet: Layout, problems: Iterable[CellProblem]) -> list[CellProblem]:
    """Each cell's problems once, in the order of the sheet."""
    place = {cell.key: number for number, cell in enumerate(sheet.cells())}
    once: dict[tuple[str, str], CellProblem] = {}
    for one in problems:
        once.setdefault((one.cell, one.message), one)
    return sorted(once.values(), key=lambda one: place.get(one.cell, -1))


# --- before sending -----------------------------------------------------------------------------------------------


def totals(sheet: Layout, checked: Checked) -> list[Line]:
    """Figures of the week beside last week's: visits of each unit, dials, supplies, burns."""
    lines = list(_visit_lines(sheet, checked))
    for cell in sheet.cells():
        if cell.kind is Kind.DIGITS:
            lines.append(
                _line(
                    f"{cell.unit} {READING_LABELS[Quantity(cell.slot)]}", _number(checked, cell), cell.last, "reading"
                )
            )
        elif cell.key.startswith(("left:", "burns:")):
            lines.append(_line(cell.label, _number(checked, cell), cell.last, cell.measure))
    return lines


def _visit_lines(sheet: Layout, checked: Checked) -> Iterable[Line]:
    summed: dict[str, int] = {}
    for row in checked.values.get("usage_counts", []):
        if isinstance(row.get("visits"), int):
            summed[row["unit"]] = summed.get(row["unit"], 0) + row["visits"]
    asked = {cell.unit for cell in sheet.cells() if cell.key.startswith("visits:")}
    for unit in sheet.plan.units:
        if unit.code in asked:
            now = str(summed[unit.code]) if unit.code in summed else ""
            yield _line(
                f"{unit.code} {unit.name}", now, sheet.plan.last.get(f"total:{unit.code}", ""), "visits counted"
            )


def _number(checked: Checked, cell: Cell) -> str:
    for (table, row, column), origin in checked.facts.origin.items():
        if origin == cell.key and (table, column) in FIGURES:
            return plain(clean(checked.facts.rows[table][row][column]))
    return ""


def _line(label: str, now: str, last: str, measure: str) -> Line:
    change = ""
    if now.isdecimal() and last.isdecimal():
        difference = int(now) - int(last)
        change = f"+{difference}" if difference > 0 else f"−{-difference}" if difference < 0 else "0"
    return Line(label, now or NOT_RECORDED, last or NOT_RECORDED, change, measure)


def blanks(sheet: Layout, cells: Cells) -> list[str]:
    """What was left empty, one sentence a table; rows that one may add and days that one may mark are not asked."""
    said = []
    for table in sheet.tables():
        if table.stacked or table.folded:
            continue
        asked = [cell for row in table.rows for cell in row.cells if cell.kind not in {Kind.SHUT, Kind.HIDDEN}]
        empty = sum(not clean(cells.get(cell.key)) for cell in asked)
        if empty:
            said.append(f"{table.caption}: {empty} of {len(asked)} cells")
    return said


def closed_days(sheet: Layout) -> list[str]:
    """Days of the week without school: the third thing beside blank and zero."""
    return [long_day(item.day) for item in sheet.plan.days if item.closed]


# --- named actions ------------------------------------------------------------------------------------------------


def fill_column(sheet: Layout, cells: Cells, table_key: str, column: int, text: str) -> dict[str, str]:
    """The cells with the empty ones of one column filled: with "0", or with "working" where somebody looked at all.

    Closed days stay as they are, and so does everything typed.
    """
    filled = dict(cells)
    table: Table | None = next((one for one in sheet.tables() if one.key == table_key), None)
    allowed = table is not None and (table.zeros or table.key == "states")
    for row in table.rows if table is not None and allowed else ():
        if column < len(row.cells):
            cell = row.cells[column]
            if cell.kind is not Kind.SHUT and not clean(filled.get(cell.key)):
                filled[cell.key] = text
    return filled


def label_of(sheet: Layout, name: str) -> str:
    """A cell's label for people; the whole sheet without a cell."""
    cell = sheet.by_key().get(name)
    return cell.label if cell is not None else name or "The whole sheet"
