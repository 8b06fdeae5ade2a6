"""A filled workbook back into cells of week sheets: read only, never calculated, nothing of it kept.

Reading says what stands in the file and nothing about whether it is right; ``workbook_load`` checks it as the form
is checked. Two steps, because a file may be read without a database and long before somebody says yes.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError

from tracker.intake import workbook_form as form
from tracker.intake.week_cells import clean
from tracker.intake.week_layout import Cell, Kind, Layout
from tracker.intake.week_sheet import CellProblem
from tracker.intake.workbook_out import choices_of
from tracker.intake.workbook_safe import MOST_COLUMNS, MOST_ROWS, TOO_LONG, UNREADABLE, WorkbookError, check_file

FORMULA = "This is a formula. Write the number or the word itself."
FAILED = "This cell shows an error of the spreadsheet. Write the number or the word itself, or leave it empty."
NOT_OURS = "This workbook was not made here. Get one from the school's page and fill that in."
OLD_FORM = f"This workbook is of another version of the form, or its hidden pages were changed. {form.NEW_ONE}"
CHANGED = f"Labels of this page were changed, rows were moved, or something stands outside the cells. {form.NEW_ONE}"
PAGE_GONE = f"This page is missing or was renamed. {form.NEW_ONE}"
NOTE_WHERE = "Write the address of a cell to fill in on this page, for example C12."
NOTE_EMPTY = "Write how you know, or take the address out."


@dataclass(frozen=True, slots=True)
class Raw:
    """What stands in a cell of the file. ``wrong``: the sentence about a formula or an error of the spreadsheet."""

    text: str
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class ReadWeek:
    """One page as it was read: texts by cell key, and where each stands."""

    week: date
    base: int
    outages: int
    sessions: int
    cells: Mapping[str, str]
    places: Mapping[str, str]  # cell key to address
    wrong: Mapping[str, str] = field(default_factory=dict)  # cell key, or "" for the page, to its sentence


@dataclass(frozen=True, slots=True)
class Book:
    """A workbook as it was read."""

    programme: str
    school: str
    weeks: tuple[ReadWeek, ...]


Grid = dict[tuple[int, int], Raw]


def read_workbook(name: str, data: bytes) -> Book:
    """Read a filled workbook.

    Args:
        name: the file's name as it was sent.
        data: its bytes.
    Returns:
        whose it is, and its pages in the order of weeks.
    Raises:
        WorkbookError: the file as a whole is refused.
    """
    check_file(name, data)
    return _book(_grids(data))


def _grids(data: bytes) -> dict[str, Grid]:
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    broken: tuple[type[Exception], ...] = (
        zipfile.BadZipFile,
        InvalidFileException,
        ParseError,
        DefusedXmlException,
        KeyError,
        ValueError,
    )
    broken += (TypeError, AttributeError, IndexError, OverflowError, OSError, EOFError)  # of a file made by hand
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
        try:
            return {sheet.title: _grid(sheet) for sheet in book.worksheets}
        finally:
            book.close()
    except WorkbookError:
        raise
    except broken as error:
        raise WorkbookError(UNREADABLE) from error


def _grid(sheet: Any) -> Grid:
    if (sheet.max_row or 0) > MOST_ROWS or (sheet.max_column or 0) > MOST_COLUMNS:
        raise WorkbookError(TOO_LONG)
    sheet.reset_dimensions()  # what the file says of itself need not be so
    found: Grid = {}
    for row, cells in enumerate(sheet.iter_rows()):
        if row >= MOST_ROWS or len(cells) > MOST_COLUMNS:
            raise WorkbookError(TOO_LONG)
        for column, cell in enumerate(cells):
            if cell.value is not None and cell.value != "":
                found[row, column] = _raw(cell.value, cell.data_type)
    return found


def _raw(value: object, kind: str) -> Raw:
    if kind == "f":
        return Raw(str(getattr(value, "text", value) or "=")[: form.LONGEST_TEXT], FORMULA)
    text = text_of(value)[: form.LONGEST_TEXT]
    return Raw(text, FAILED if kind == "e" else "")


def text_of(value: object) -> str:
    """A value as somebody would have typed it: days and times as the form takes them.

    >>> text_of(12.0), text_of(time(8, 10)), text_of(datetime(2026, 2, 3)), text_of("'-5")
    ('12', '08:10', '2026-02-03', '-5')
    """
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time(0) else f"{value:%Y-%m-%dT%H:%M}"
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return form.as_typed(str(value))


def _book(grids: Mapping[str, Grid]) -> Book:
    if form.ABOUT not in grids or form.PLACES not in grids:
        raise WorkbookError(NOT_OURS)
    about, places = (list(_lines(grids[name])) for name in (form.ABOUT, form.PLACES))
    if not about or about[0][0] != form.FORM:
        raise WorkbookError(NOT_OURS)
    if about[-1] != ["sign", form.layout_hash([*about[:-1], *places])] or about[0][1] != form.FORM_VERSION:
        raise WorkbookError(OLD_FORM)
    try:
        _, _, programme, school = about[0]
        weeks = tuple(_week(line, grids, places) for line in about[1:-1])
    except (ValueError, IndexError) as error:
        raise WorkbookError(OLD_FORM) from error
    return Book(programme, school, tuple(sorted(weeks, key=lambda one: one.week)))


def _lines(grid: Grid) -> Iterator[list[str]]:
    rows: dict[int, list[str]] = {}
    for (row, _), raw in sorted(grid.items()):
        rows.setdefault(row, []).append(raw.text)
    return iter(rows.values())


def _week(line: list[str], grids: Mapping[str, Grid], places: list[list[str]]) -> ReadWeek:
    name, week, base, outages, sessions, labels = line
    grid = grids.get(name, {})
    where = {
        (int(row), column): key
        for page, row, *keys in places
        if page == name
        for column, key in enumerate(keys, start=form.FIRST_COLUMN)
    }
    texts = ((form.address(*at), raw.text) for at, raw in grid.items() if at not in where)
    wrong = {key: grid[at].wrong for at, key in where.items() if at in grid and grid[at].wrong}
    if name not in grids:
        wrong = {"": PAGE_GONE}
    elif form.labels_hash(texts) != labels:
        wrong = {"": CHANGED}
    return ReadWeek(
        date.fromisoformat(week),
        int(base),
        int(outages),
        int(sessions),
        {key: grid[at].text for at, key in where.items() if at in grid},
        {key: form.address(*at) for at, key in where.items()},
        wrong,
    )


# --- texts to cells of the week sheet -----------------------------------------------------------------------------


def typed_cells(
    page: ReadWeek, layout: Layout, on_record: Mapping[str, str] | None = None
) -> tuple[dict[str, str], list[CellProblem]]:
    """The page's texts as the form would send them, with chosen words for the records, and what cannot be taken.

    A cell that no longer stands in the sheet is refused where something is written in it. A word that is on record
    (the officer's cause of an outage) may stay although the list does not offer it.
    """
    cells: dict[str, str] = {}
    problems = [CellProblem(key, said, page.cells.get(key, "")) for key, said in page.wrong.items()]
    known = layout.by_key()
    for key, text in page.cells.items():
        cell = known.get(key)
        if key.startswith(("noteat:", "notesaid:")) or (text == form.NO_SCHOOL and not _chosen(cell, text)):
            continue
        if cell is None:
            problems.append(CellProblem(key, f"This is not asked any more. {form.NEW_ONE}", text))
            continue
        chosen = _chosen(cell, text) if cell.kind in {Kind.CHOICE, Kind.TICK} else text
        cells[key] = chosen or text
        if text and not chosen and text != (on_record or {}).get(key):
            words = ", ".join(choices_of(cell).values())
            problems.append(CellProblem(key, f"Write one of: {words}. Or leave the cell empty.", text))
    noted, wrong = _notes(page)
    return cells | noted, [*problems, *wrong]


def _chosen(cell: Cell | None, text: str) -> str:
    """The word for the records; "" for what is not among the choices."""
    if cell is None:
        return ""
    said = " ".join(text.split()).casefold()
    for value, label in choices_of(cell).items():
        if said in {value.casefold(), label.casefold(), label.partition(" ")[2].casefold()}:
            return value
    return said if cell.key.startswith("out:") and cell.key.endswith(":endday") and _is_day(said) else ""


def _is_day(text: str) -> bool:
    """Whether it is a day as 2026-02-03: an outage of old records may end in a later week."""
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _notes(page: ReadWeek) -> tuple[dict[str, str], list[CellProblem]]:
    """Notes on figures, by the cell that their address names."""
    at = {place: key for key, place in page.places.items() if not key.startswith("note")}
    notes: dict[str, str] = {}
    problems = []
    for number in range(1, form.NOTES + 1):
        where, said = (clean(page.cells.get(f"{what}:{number}")) for what in ("noteat", "notesaid"))
        key = at.get(where.replace("$", "").upper())
        if (where or said) and key is None:
            problems.append(CellProblem(f"noteat:{number}", NOTE_WHERE, where))
        elif where and not said:
            problems.append(CellProblem(f"notesaid:{number}", NOTE_EMPTY, ""))
        elif key is not None:
            notes[f"note:{key}"] = said
    return notes, problems
