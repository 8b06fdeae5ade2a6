"""A report as CSV: every table, the headlines, the targets, and all notes in a file of their own; RFC 4180, UTF-8.

A number stands alone in its cell, with its unit and, where it is missing, the reason in the columns after it; blank is
never zero. Text that a spreadsheet would run as a formula is defused. The same report gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from tracker.measures.figure import Figure
from tracker.reports import targets
from tracker.reports.printing import NOT_RECORDED, plain, print_figure, unit_words
from tracker.reports.report import Cell, Column, Line, Report, Table

RISKY: Final = ("=", "+", "-", "@", "\t", "\r", "\0")
ZIP_TIME: Final = (1980, 1, 1, 0, 0, 0)  # the same report gives the same bytes
ABOUT: Final = "about.csv"
HEADLINES: Final = "headlines.csv"
SHARE_HEADING: Final = "share, 0 to 1"
TARGETS: Final = "targets.csv"
BESIDE: Final = ("low", "high", "basis", "records used", "records expected", "records of")
HEADLINE_COLUMNS: Final = (
    *("section", "key", "label", "value", "unit", "reason for a blank", "low", "high", "basis", "records used"),
    *("records expected", "records of", "note", "last term", "last term reason for a blank", "last term low"),
    *("last term high", "last term basis", "last term records used", "last term records expected"),
    *("same term last year", "same term last year reason for a blank", "same term last year low"),
    *("same term last year high", "same term last year basis", "same term last year records used"),
    *("same term last year records expected",),
    *("target", "target side", "target verdict", "target set on", "baseline", "in words"),
)
TARGET_COLUMNS: Final = (
    *("key", "label", "value", "unit", "reason for a blank", "low", "high"),
    *("target", "side", "verdict", "reason", "set on"),
)


def csv_files(report: Report) -> dict[str, str]:
    """Every table, headlines, targets, and what the report is about with all notes; RFC 4180, UTF-8."""
    files = {ABOUT: _csv(_about_rows(report)), HEADLINES: _csv(_headline_rows(report))}
    files[TARGETS] = _csv(_target_rows(report))
    for table in report.tables():
        files[file_name(table.key, "csv")] = _csv(_table_rows(table))
    return files


def file_name(key: str, ending: str) -> str:
    """A safe file name."""
    return re.sub(r"[^A-Za-z0-9_-]", "_", key) + "." + ending


def zipped(files: Mapping[str, str | bytes]) -> bytes:
    """Files in one zip, with no clock in it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in files.items():
            archive.writestr(zipfile.ZipInfo(name, ZIP_TIME), body, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def defused(cell: str) -> str:
    """Text that a spreadsheet would run gets a leading single quote.

    >>> defused("=1+1"), defused("-5"), defused("Lakeside")
    ("'=1+1", "'-5", 'Lakeside')
    """
    return "'" + cell if cell.startswith(RISKY) else cell


class _Number(str):
    """Digits that stay a number in a file, a minus sign before them included."""

    __slots__ = ()


def _csv(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    width = max(len(row) for row in rows)
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        cells = [cell if isinstance(cell, _Number) else defused(cell) for cell in row]
        writer.writerow([*cells, *[""] * (width - len(row))])
    return out.getvalue()


def _about_rows(report: Report) -> list[list[str]]:
    rows = [["what", "value"], ["report", report.kind.value], ["title", report.title], ["programme", report.programme]]
    rows += [["school", report.scope], ["term", report.term], ["first day", report.first_day.isoformat()]]
    rows += [["last day", report.last_day.isoformat()], ["last day of the term", report.term_last_day.isoformat()]]
    rows += [["records known by", report.cutoff_at.isoformat()], ["version", report.code_version]]
    rows += [["note", note] for note in report.notes]
    for table in report.tables():
        rows += [[f"note on {file_name(table.key, 'csv')}", note] for note in _table_notes(table)]
    return rows


def _table_notes(table: Table) -> list[str]:
    """Everything that is said about a table and not in it, each once."""
    figures = [(row[0], cell) for row in table.rows for cell in row if isinstance(cell, Figure) and cell.note]
    said = [f"{name}: {figure.note}" if isinstance(name, str) else figure.note for name, figure in figures]
    whole = [] if table.rows else [table.empty]
    return list(dict.fromkeys(note for note in [table.title + ".", table.note, *whole, *said] if note))


def _headline_rows(report: Report) -> list[list[str]]:
    rows = [list(HEADLINE_COLUMNS)]
    for section in report.sections:
        for line in section.lines:
            rows.append([section.title, line.key, line.label, *_headline(line)])
    return rows


def _headline(line: Line) -> list[str]:
    figure = line.figure
    value, *beside = _figure_cells(figure)
    before = [*_before(line.last_term), *_before(line.year_before)]
    goal = [_Number(plain(line.target, figure.unit)), targets.side_of(line) or "", targets.verdict(line) or ""]
    set_at = line.target_set_at.isoformat() if line.target_set_at else ""
    said = [set_at, line.baseline, print_figure(figure).sentence]
    return [value, unit_name(figure.unit), _reason(figure), *beside, figure.note, *before, *goal, *said]


def _before(figure: Figure | None) -> list[str]:
    """An earlier figure of a headline; blank where there is none."""
    if figure is None:
        return [""] * 7
    value, *ends = _figure_cells(figure)[:6]
    return [value, _reason(figure), *ends]


def _target_rows(report: Report) -> list[list[str]]:
    rows = [list(TARGET_COLUMNS)]
    for found in targets.standings(report):
        line, figure = found.line, found.line.figure
        value, low, high = _figure_cells(figure)[:3]
        set_at = line.target_set_at.isoformat() if line.target_set_at else ""
        goal = [_Number(plain(line.target, figure.unit)), targets.side_of(line) or "", found.verdict, found.reason]
        rows.append([line.key, line.label, value, unit_name(figure.unit), _reason(figure), low, high, *goal, set_at])
    return rows


def _figure_cells(figure: Figure) -> list[str]:
    ends = [_Number(plain(number, figure.unit)) for number in (figure.value, figure.low, figure.high)]
    counts = [_Number(str(figure.used)), _Number(str(figure.expected))] if figure.expected else ["", ""]
    return [*ends, figure.basis.value, *counts, figure.records if figure.expected else ""]


def _reason(figure: Figure) -> str:
    return "" if figure.recorded else (figure.withheld or NOT_RECORDED)


def unit_name(unit: str) -> str:
    """A unit as files name it, a share with its ends."""
    return SHARE_HEADING if unit == "share" else unit_words(unit)


def _table_rows(table: Table) -> list[list[str]]:
    """Headings, then a line for each row. A column of numbers is followed by its unit, the reason where a number is
    missing, and, where its numbers are figures, by what stands beside each of them."""
    columns: list[list[list[str]]] = []
    for place, column in enumerate(table.columns):
        columns.append(_spread([row[place] for row in table.rows], column))
    return [[cell for spread in columns for cell in spread[line]] for line in range(len(table.rows) + 1)]


def _spread(cells: Sequence[Cell], column: Column) -> list[list[str]]:
    """A column as the columns of a file, its heading first."""
    figured = any(isinstance(cell, Figure) for cell in cells)
    if not figured and not (column.numeric and any(isinstance(cell, int | float) for cell in cells)):
        return [[column.heading], *([_word(cell)] for cell in cells)]
    rows = [_number_cells(cell, column, figured) for cell in cells]
    names = ("unit", "reason for a blank", *(BESIDE if figured else ()))
    return [[column.heading, *(f"{column.heading}, {name}" for name in names)], *rows]


def _number_cells(cell: Cell, column: Column, figured: bool) -> list[str]:
    rest = [""] * len(BESIDE) if figured else []
    if isinstance(cell, Figure):
        value, *beside = _figure_cells(cell)
        return [value, unit_name(cell.unit), _reason(cell), *beside]
    if isinstance(cell, int | float):
        return [_Number(plain(float(cell), column.unit)), unit_name(column.unit), "", *rest]
    return ["", unit_name(column.unit), _word(cell) or NOT_RECORDED, *rest]


def _word(cell: Cell) -> str:
    return cell.isoformat() if isinstance(cell, date) else str(cell if cell is not None else "")
