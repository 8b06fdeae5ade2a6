"""A report as a tagged PDF, set from the same printed words as its page; charts are its own SVG with their words.

The engine needs nothing beyond its wheel. Fonts are our own files, so that a report looks the same everywhere and
names in Latin, Devanagari, Ethiopic and Arabic letters are embedded. The same report gives the same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, Final

from tracker import paths
from tracker.cautions import CAUTIONS
from tracker.reports import charts, targets
from tracker.reports.export import cell_parts, heading, headline_parts
from tracker.reports.printing import days
from tracker.reports.report import NO_BASELINE, Chart, Line, Report, Section, Table
from tracker.vocabulary import ReportKind

STANDARD: Final = "ua-1"  # PDF/UA-1: tagged, titled, with a language and alternative texts
PAPERS: Final = ("a4", "us-letter")
FONT: Final = "Noto Sans"
ROWS_BESIDE: Final = 9  # rows of small tables that stand beside a chart
LINE: Final = 120  # letters on a line of a table
LINE_BESIDE: Final = 56  # the same for a table beside a chart, or in a column of its own
WORDY: Final = 24


def pdf(report: Report, paper: str = "a4", standing: str = "", *, numbers: bool = True) -> bytes:
    """The report as PDF.

    Args:
        paper: "a4" or "us-letter".
        standing: what the report is ("draft", "version 2"), for the foot of each page.
        numbers: whether the numbers of the charts stand in tables at the end (a sheet of one page leaves them out).
    Raises:
        ValueError: another paper.
    """
    import typst

    if paper not in PAPERS:
        raise ValueError(f"the paper is one of {', '.join(PAPERS)}")
    folder = paths.typeset()
    made: bytes = typst.compile(
        str(folder / "report.typ"),
        root=str(folder),
        font_paths=[str(folder / "fonts")],
        ignore_system_fonts=True,
        format="pdf",
        sys_inputs={"data": json.dumps(document(report, paper, standing, numbers=numbers), ensure_ascii=False)},
        pdf_standards=[STANDARD],
        timestamp=int(report.cutoff_at.timestamp()),
    )
    return made


def document(report: Report, paper: str = "a4", standing: str = "", *, numbers: bool = True) -> dict[str, Any]:
    """All that the layout places, printed: nothing is worked out or rounded after this."""
    foot = [report.programme, report.term, *([standing] if standing else []), f"made with {report.code_version}"]
    return {
        "title": report.title,
        "programme": report.programme,
        "period": f"{report.term}, {days(report.first_day, report.last_day)}",
        "lang": "en",
        "paper": paper,
        "one-page": not numbers,
        "dense": not numbers or report.kind is ReportKind.IMPACT,
        "page_word": "Page",
        "footer": " · ".join(foot),
        "first": [{"title": title, "items": list(items)} for title, items in targets.lists(report)],
        "sections": [_section(section) for section in report.sections],
        "behind_title": "The numbers of the charts",
        "behind": [
            _table(chart.table, LINE_BESIDE)
            for section in report.sections
            for chart in section.charts
            if numbers and chart.table.rows
        ],
        "notes_title": "Notes",
        "notes": [*report.notes, f"Records known by {report.cutoff_at:%Y-%m-%d %H:%M} UTC."],
    }


def _section(section: Section) -> dict[str, Any]:
    narrow = _beside(section)
    return {
        "title": section.title,
        "intro": section.intro,
        "lines": [_line(line) for line in section.lines],
        "same": _of_the_others(section.lines),
        "charts": [_chart(chart) for chart in section.charts],
        "beside": [_table(table, LINE_BESIDE) for table in narrow],
        "tables": [_table(table) for table in section.tables if table not in narrow],
        "cautions": [_caution(key) for key in section.cautions],
    }


def _beside(section: Section) -> list[Table]:
    """Small tables that fit beside a section's only chart."""
    if len(section.charts) != 1:
        return []
    room, found = ROWS_BESIDE, []
    for table in section.tables:
        if 1 < len(table.columns) <= 3 and 0 < len(table.rows) <= room:
            found.append(table)
            room -= len(table.rows) + 2
    return found


def _of_the_others(lines: Sequence[Line]) -> str:
    """What some or all headlines of a section lack, said once for them."""
    said = []
    for lacking, what in (
        ([line for line in lines if line.target is None], "No target was set for"),
        ([line for line in lines if line.baseline == NO_BASELINE], "No baseline was measured for"),
    ):
        if lacking:
            said.append(f"{what} {'these' if len(lacking) == len(lines) else 'the other'} figures.")
    return " ".join(said)


def _line(line: Line) -> dict[str, Any]:
    digits, unit, ends, basis = headline_parts(line.figure)
    beside = [part for part in (ends, basis, line.figure.note) if part]
    against = []
    for when, figure in (("Last term", line.last_term), ("Same term last year", line.year_before)):
        if figure is not None:
            before = headline_parts(figure)
            percent = " %" if before[1] == "%" else ""
            against.append(f"{when}: {before[0]}{percent}, {', '.join(part for part in before[2:] if part)}.")
    if line.target is not None:
        against.append(targets.target_words(line))
    if line.baseline != NO_BASELINE:
        against.append(line.baseline)
    return {"label": line.label, "value": digits, "unit": unit, "beside": beside, "against": against}


def _table(table: Table, line: int = LINE) -> dict[str, Any]:
    """A table's words; it takes its natural width where that ``fits`` a line of so many letters, else it is shared."""
    rows = [
        [list(cell_parts(cell, column)) for cell, column in zip(row, table.columns, strict=True)] for row in table.rows
    ]
    columns = []
    natural = 0
    for place, column in enumerate(table.columns):
        head, cells = heading(column), [row[place] for row in rows]
        columns.append({"heading": head, "numeric": column.numeric, "room": _room(head, cells)})
        natural += max([len(head), *map(_longest, cells)]) + 2
    return {
        "title": table.title,
        "columns": columns,
        "rows": rows,
        "note": table.note,
        "empty": table.empty,
        "fits": natural <= line,
    }


def _longest(parts: list[str]) -> int:
    """Letters of a cell's longest line; what stands under it is smaller."""
    return max(len(parts[0]), *(round(0.9 * len(part)) for part in parts[1:]))


def _room(head: str, cells: list[list[str]]) -> int:
    """Letters that a column needs: no word is cut, and a line of up to ``WORDY`` letters is not broken."""
    words = [word for text in (head, *(part for cell in cells for part in cell)) for word in text.split(" ")]
    lines = [min(_longest(cell), WORDY) for cell in cells]
    return max([4, len(head) // 2, *map(len, words), *lines])


def _chart(chart: Chart) -> dict[str, Any]:
    svg = re.sub(r'font-family="[^"]*"', f'font-family="{FONT}"', charts.svg(chart))
    told = f"{chart.title}. {chart.description} The numbers stand in the table {chart.table.title}."
    return {
        "title": chart.title,
        "description": chart.description,
        "svg": svg,
        "alt": told,
    }


def _caution(key: str) -> dict[str, Any]:
    it = CAUTIONS[key]
    return {
        "signal": str(it.signal.value),
        "hazard": it.hazard,
        "harm": it.harm,
        "steps": list(it.steps),
        "defer": it.defer,
        "standing": it.standing,
    }
