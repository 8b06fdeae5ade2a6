"""The report object: one frozen shape that pages, charts, CSV, JSON and the command line all print.

A report is sections; a section holds headline lines (a figure beside last term's and its target), tables whose
cells are figures, numbers, days or words, and charts made from plain rows. Nothing here knows HTML or a database.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from tracker.measures.figure import Figure
from tracker.vocabulary import ReportKind, WorkPaper

if TYPE_CHECKING:
    from tracker.reports.made_of import MadeOf

NO_BASELINE = "No baseline was measured."
Cell = Figure | str | int | float | date | None  # None prints "not recorded"


@dataclass(frozen=True, slots=True)
class Line:
    """A headline: the figure, the same figure last term and in the same term last year, its target.

    ``key`` is stable across versions. ``year_before`` is there only where the records reach so far back.
    """

    key: str
    label: str
    figure: Figure
    last_term: Figure | None = None
    target: float | None = None
    target_set_at: date | None = None
    baseline: str = NO_BASELINE
    year_before: Figure | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A table's column: its heading, its unit ("" for words), and whether its numbers are set to the right."""

    key: str
    heading: str
    unit: str = ""
    numeric: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells under columns, with a title and a whole-sentence note. ``rows`` may carry link targets."""

    key: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    empty: str = "There is nothing to show for this period."


@dataclass(frozen=True, slots=True)
class Chart:
    """What a chart shows, as plain rows; ``kind`` names a drawing in reports/charts.py. ``table`` has its numbers."""

    key: str
    kind: str
    title: str  # the finding, as a sentence
    description: str
    rows: tuple[dict[str, Any], ...]
    table: Table


@dataclass(frozen=True, slots=True)
class Section:
    """One idea of a report."""

    key: str
    title: str
    intro: str = ""
    lines: tuple[Line, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[Chart, ...] = ()
    cautions: tuple[str, ...] = ()  # keys of tracker/cautions.py


@dataclass(frozen=True, slots=True)
class Report:
    """One report, whole. ``cutoff_at``: records known by then are in it.

    ``unwithheld`` stays inside the program: a next version is made from it. No page, file or stored content has it.
    ``made_of`` gives the sums behind a headline that is no sum itself, for those who may open it.
    """

    kind: ReportKind | WorkPaper
    title: str
    programme: str
    scope: str  # a school's code, or "" for the programme
    term: str
    first_day: date
    last_day: date  # of the term, or the day of the report where the term is still running
    term_last_day: date
    cutoff_at: datetime
    code_version: str
    sections: tuple[Section, ...]
    notes: tuple[str, ...] = ()
    unwithheld: Report | None = field(default=None, compare=False, repr=False)  # before small counts were hidden
    made_of: Callable[[str], MadeOf | None] | None = field(default=None, compare=False, repr=False)

    def lines(self) -> Iterator[Line]:
        """All headline lines, in reading order."""
        for section in self.sections:
            yield from section.lines

    def tables(self) -> Iterator[Table]:
        """All tables, those beside charts included, in reading order."""
        for section in self.sections:
            yield from section.tables
            for chart in section.charts:
                yield chart.table

    def line(self, key: str) -> Line:
        """The headline of that key.

        Raises:
            KeyError: there is none.
        """
        for line in self.lines():
            if line.key == key:
                return line
        raise KeyError(key)
