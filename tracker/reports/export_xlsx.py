"""A report as a workbook: a sheet for what it is about, one for the headlines, one for each table; no formulas.

The sheets hold what the CSV files hold, cell by cell, so that nobody gets other numbers: numbers as numbers, all else
as text that no spreadsheet runs. The same report gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import re
from typing import Any, Final

from tracker.reports.export_csv import csv_files
from tracker.reports.export_package import NUMBER, SMALL_COUNTS, day_of
from tracker.reports.report import Report

LONGEST: Final = 31  # letters of a sheet's name
WIDEST: Final = 46


def workbook(report: Report) -> bytes:
    """The report as an .xlsx file."""
    import xlsxwriter

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, options)
    book.set_properties(
        {
            "title": f"{report.title}, {report.term}",
            "comments": SMALL_COUNTS,
            "created": report.cutoff_at.replace(tzinfo=None),
        }
    )
    looks = _looks(book)
    taken: set[str] = set()
    for name, body in csv_files(report).items():
        rows = list(csv.reader(io.StringIO(body, newline="")))
        _write(book.add_worksheet(sheet_name(name.removesuffix(".csv"), taken)), rows, looks)
    book.close()
    return out.getvalue()


def _looks(book: Any) -> dict[str, Any]:
    return {
        "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}),
        "text": book.add_format({"text_wrap": True, "valign": "top"}),
        **{
            f"decimals {count}": book.add_format({"num_format": f"#,##0.{'0' * count}".rstrip("."), "valign": "top"})
            for count in range(4)
        },
        "day": book.add_format({"num_format": "yyyy-mm-dd", "valign": "top"}),
    }


def sheet_name(key: str, taken: set[str]) -> str:
    """A sheet's name: at most 31 letters, told apart from those taken.

    >>> sheet_name("about", set()), sheet_name("x" * 40, {"x" * 31})
    ('about', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxx~2')
    """
    plain = re.sub(r"[\[\]:*?/\\']", "_", key)
    name, number = plain[:LONGEST], 1
    while name.lower() in taken:
        number += 1
        ending = f"~{number}"
        name = plain[: LONGEST - len(ending)] + ending
    taken.add(name.lower())
    return name


def _write(sheet: Any, rows: list[list[str]], looks: dict[str, Any]) -> None:
    for place, heading in enumerate(rows[0]):
        sheet.write_string(0, place, heading, looks["head"])
        longest = max([len(heading) // 2, *(len(row[place]) for row in rows[1:])])
        sheet.set_column(place, place, min(max(longest + 2, 9), WIDEST))
    for line, row in enumerate(rows[1:], start=1):
        for place, cell in enumerate(row):
            _cell(sheet, (line, place), cell, looks)
    sheet.freeze_panes(1, 0)


def _cell(sheet: Any, at: tuple[int, int], cell: str, looks: dict[str, Any]) -> None:
    if NUMBER.fullmatch(cell):
        decimals = len(cell.partition(".")[2])
        sheet.write_number(*at, float(cell), looks[f"decimals {min(decimals, 3)}"])
        return
    day = day_of(cell)
    if day is not None:
        sheet.write_datetime(*at, day, looks["day"])
    elif cell:
        sheet.write_string(*at, cell, looks["text"])
