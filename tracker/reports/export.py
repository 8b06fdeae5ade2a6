"""A report as plain text for a terminal and as JSON of the whole, in the digits that pages print; CSV stands apart."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final

from tracker.measures.figure import Figure
from tracker.reports import targets
from tracker.reports.export_csv import csv_files, file_name, unit_name, zipped
from tracker.reports.printing import NOT_RECORDED, bare, day, days, number, plain, print_figure, unit_words
from tracker.reports.report import Cell, Chart, Column, Line, Report, Section, Table

__all__ = ["canonical", "content", "csv_files", "file_name", "json_text", "text", "zipped"]
LINE_WIDTH: Final = 100


# --- text ---------------------------------------------------------------------------------------------------------


def text(report: Report) -> str:
    """The report for a terminal: headlines with what stands beside them, then the tables."""
    out = [report.title, "=" * len(report.title), report.programme]
    out += [f"{report.term}, {days(report.first_day, report.last_day)}", ""]
    for title, sentences in targets.lists(report):
        out += [title, *(f"    {sentence}" for sentence in sentences), ""]
    for section in report.sections:
        out += [section.title, "-" * len(section.title)]
        if section.intro:
            out += [*textwrap.wrap(section.intro, LINE_WIDTH), ""]
        for line in section.lines:
            out += [f"{line.label}: {print_figure(line.figure).sentence}", *_beside(line)]
        out.append("")
        for table in _tables(section):
            out += [*_text_table(table), ""]
    out += [line for note in report.notes for line in textwrap.wrap(note, LINE_WIDTH)]
    out.append(f"Records known by {report.cutoff_at:%Y-%m-%d %H:%M} UTC; version {report.code_version}.")
    return "\n".join(out).rstrip() + "\n"


def _tables(section: Section) -> Iterator[Table]:
    yield from section.tables
    for chart in section.charts:
        yield chart.table


def _beside(line: Line) -> Iterator[str]:
    if line.figure.note:
        yield f"    {line.figure.note}"
    if line.last_term is not None:
        yield f"    Last term: {print_figure(line.last_term).sentence}"
    if line.year_before is not None:
        yield f"    Same term last year: {print_figure(line.year_before).sentence}"
    yield f"    {targets.target_words(line)}"


def _text_table(table: Table) -> list[str]:
    if not table.rows:
        return [table.title, table.empty]
    heads = [heading(column) for column in table.columns]
    body = [[words(cell, column) for cell, column in zip(row, table.columns, strict=True)] for row in table.rows]
    widths = [max(len(row[place]) for row in [heads, *body]) for place in range(len(heads))]
    lines = [table.title, _text_row(heads, widths, table.columns), "  ".join("-" * width for width in widths)]
    lines += [_text_row(row, widths, table.columns) for row in body]
    return lines + (textwrap.wrap(table.note, LINE_WIDTH) if table.note else [])


def _text_row(cells: Sequence[str], widths: Sequence[int], columns: Sequence[Column]) -> str:
    placed = zip(cells, widths, columns, strict=True)
    return "  ".join(
        cell.rjust(width) if column.numeric else cell.ljust(width) for cell, width, column in placed
    ).rstrip()


def heading(column: Column) -> str:
    """A column's heading with its unit."""
    unit = "%" if column.unit == "share" else unit_words(column.unit)
    return f"{column.heading} ({unit})" if unit and unit not in column.heading.lower() else column.heading


def words(cell: Cell, column: Column) -> str:
    """A table cell as people read it: digits, a range where there is one, a day, words, or "not recorded"."""
    if isinstance(cell, Figure):
        ends = f" ({bare(cell.low, cell.unit)} to {bare(cell.high, cell.unit)})" if cell.low is not None else ""
        return f"{_value_words(cell, column)}{ends if cell.recorded else ''}"
    if cell is None:
        return NOT_RECORDED
    if isinstance(cell, date):
        return day(cell)
    return cell if isinstance(cell, str) else bare(float(cell), column.unit)


def cell_parts(cell: Cell, column: Column) -> tuple[str, str, str]:
    """A cell as pages set it: what stands large, the range under it, and how it came about.

    >>> from tracker.vocabulary import Basis
    >>> figure = Figure(0.9, "share", Basis.SAMPLED, low=0.8, high=0.95, used=10, expected=12)
    >>> cell_parts(figure, Column("a", "A", "share"))
    ('90.0 %', '80.0 % to 95.0 %', 'sampled, 10 of 12')
    """
    if not isinstance(cell, Figure):
        return words(cell, column), "", ""
    ends = "" if cell.low is None else f"{bare(cell.low, cell.unit)} to {bare(cell.high, cell.unit)}"
    complete = f", {number(cell.used)} of {number(cell.expected)}" if cell.expected else ""
    return _value_words(cell, column), ends, cell.basis.value + complete


def headline_parts(figure: Figure) -> tuple[str, str, str, str]:
    """A headline as pages set it: digits, their unit, the range, and how it came about with its records.

    >>> from tracker.vocabulary import Basis
    >>> headline_parts(Figure(8352.0, "visits", Basis.SAMPLED, low=6797.0, high=9906.0, used=60, expected=72))[1:]
    ('visits', '6\u202f797 to 9\u202f906', 'sampled, 60 of 72 school-weeks')
    """
    shown = print_figure(figure)
    digits = bare(figure.value, figure.unit) if figure.recorded else shown.value
    _, ends, _ = cell_parts(figure, Column("", "", figure.unit))
    beside = f"{shown.basis}, {shown.completeness}" if shown.completeness else shown.basis
    return digits, shown.value.removeprefix(digits).strip(), ends, beside


def _value_words(figure: Figure, column: Column) -> str:
    """Digits under a column that names the unit; with the unit where the column has none."""
    if column.unit and figure.recorded:
        return bare(figure.value, figure.unit)
    return print_figure(figure).value


# --- JSON ---------------------------------------------------------------------------------------------------------


def content(report: Report) -> dict[str, Any]:
    """The whole report as plain values; parts by school and week stay inside the programme and are not in it."""
    return {
        "kind": report.kind.value,
        "title": report.title,
        "programme": report.programme,
        "scope": report.scope,
        "term": report.term,
        "first_day": report.first_day.isoformat(),
        "last_day": report.last_day.isoformat(),
        "term_last_day": report.term_last_day.isoformat(),
        "cutoff_at": report.cutoff_at.isoformat(),
        "code_version": report.code_version,
        "targets": [{"title": title, "sentences": list(found)} for title, found in targets.lists(report)],
        "sections": [_section(section) for section in report.sections],
        "notes": list(report.notes),
    }


def json_text(report: Report) -> str:
    """The report as canonical JSON: sorted keys, two spaces, one line feed at the end."""
    return canonical(content(report))


def canonical(value: Any) -> str:
    """JSON that is the same text for the same content."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, indent=2, allow_nan=False) + "\n"


def figure_content(figure: Figure) -> dict[str, Any]:
    """A figure with all that must stand beside it, in printed digits."""
    return {
        "value": _digits(figure.value, figure.unit),
        "low": _digits(figure.low, figure.unit),
        "high": _digits(figure.high, figure.unit),
        "unit": unit_name(figure.unit),
        "basis": figure.basis.value,
        "used": figure.used,
        "expected": figure.expected,
        "records": figure.records,
        "note": figure.note,
        "withheld": figure.withheld,
        "printed": print_figure(figure).sentence,
    }


def _digits(value: float | None, unit: str) -> int | float | None:
    shown = plain(value, unit)
    if not shown:
        return None
    return float(shown) if "." in shown else int(shown)


def _section(section: Section) -> dict[str, Any]:
    return {
        "key": section.key,
        "title": section.title,
        "intro": section.intro,
        "lines": [_line(line) for line in section.lines],
        "tables": [_table(table) for table in section.tables],
        "charts": [_chart(chart) for chart in section.charts],
        "cautions": list(section.cautions),
    }


def _line(line: Line) -> dict[str, Any]:
    unit = line.figure.unit
    before = {} if line.year_before is None else {"year_before": figure_content(line.year_before)}
    return before | {
        "key": line.key,
        "label": line.label,
        "figure": figure_content(line.figure),
        "last_term": None if line.last_term is None else figure_content(line.last_term),
        "target": _digits(line.target, unit),
        "target_side": targets.side_of(line),
        "target_verdict": targets.verdict(line),
        "target_words": targets.verdict_words(line),
        "target_set_at": None if line.target_set_at is None else line.target_set_at.isoformat(),
        "baseline": line.baseline,
    }


def _table(table: Table) -> dict[str, Any]:
    return {
        "key": table.key,
        "title": table.title,
        "columns": [{"key": c.key, "heading": c.heading, "unit": unit_words(c.unit)} for c in table.columns],
        "rows": [[_cell(cell, col) for cell, col in zip(row, table.columns, strict=True)] for row in table.rows],
        "note": table.note,
        "empty": table.empty,
    }


def _cell(cell: Cell, column: Column) -> Any:
    if isinstance(cell, Figure):
        return figure_content(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, int | float):
        return _digits(float(cell), column.unit)
    return cell


def _chart(chart: Chart) -> dict[str, Any]:
    described = {"key": chart.key, "title": chart.title, "description": chart.description}
    return described | {"table": _table(chart.table)}
