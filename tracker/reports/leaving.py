"""What leaves the programme passes here: small counts about people are replaced by words, with what gives them away.

The whole document is looked at in one: all headlines and tables, this term's and last term's, and, where a version was
published before, both versions side by side.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from tracker.measures.disclosure import MIN_BASE, Hidden, Withheld
from tracker.measures.disclosure_document import NOTHING_BEFORE, Former, hide_numbers, numbers_reveal
from tracker.measures.figure import Figure
from tracker.reports.people_numbers import (
    FEWER,
    LAST,
    NOW,
    PEOPLE_RECORDS,
    YEAR,
    PeopleNumbers,
    Place,
    cell_places,
    former_of,
    line_place,
    read,
)
from tracker.reports.report import Cell, Line, Report, Section, Table

SENTENCES_GONE: Final = "The sentences are withheld so that small counts stay hidden."


def protected(report: Report, threshold: int, old: Mapping[str, Any] | None = None) -> Report:
    """A report as it may leave; the one before stays with it (``unwithheld``), and no page or file prints that.

    Args:
        report: with all its numbers. threshold: the smallest count about people that may be shown.
        old: the stored content of the version that it replaces, as ``export.content`` gave it.
    """
    whole = report.unwithheld or report
    numbers = read(whole, threshold)
    former = NOTHING_BEFORE if old is None else former_of(old, numbers)
    hidden = _hidden(numbers, threshold, former)
    if not hidden:
        return replace(whole, unwithheld=whole)
    sections = tuple(_Words(hidden, numbers.by_figure).section(section) for section in whole.sections)
    return replace(whole, sections=sections, unwithheld=whole)


def _hidden(numbers: PeopleNumbers, threshold: int, former: Former) -> dict[Place, Withheld]:
    """Places whose number is hidden, with their words."""
    known = (numbers.numbers, numbers.sums, numbers.blocks)
    kinds = hide_numbers(*known, threshold=threshold, former=former, times=numbers.cost)
    found: dict[Place, Hidden] = dict.fromkeys(numbers.thin, Hidden.BASE)
    for (place, _), kind in kinds.items():
        found[place] = kind
    for share, part, whole in numbers.quotients():
        if numbers.numbers[whole, "value"] < MIN_BASE:
            found[share] = Hidden.BASE
        elif part in found or whole in found:
            found.setdefault(share, Hidden.SOME_SMALL)
    return {place: Withheld(kind, threshold) for place, kind in found.items()}


@dataclass(frozen=True, slots=True)
class _Words:
    """Puts words in the place of hidden numbers."""

    hidden: Mapping[Place, Withheld]
    by_figure: Mapping[Figure, Place]

    def section(self, section: Section) -> Section:
        found = self._numbers_of(section)
        same = found.lines == section.lines and found.tables == section.tables
        return section if same else replace(found, tables=tuple(map(_without_numbers, found.tables)))

    def _numbers_of(self, section: Section) -> Section:
        lines = tuple(self._line(line) for line in section.lines)
        tables = [self._table(table) for table in section.tables]
        charts = []
        for chart in section.charts:
            table = self._table(chart.table)
            if table == chart.table:
                charts.append(chart)
            else:
                tables.append(table)  # a drawing would show the number that its table hides
        return replace(section, lines=lines, tables=tuple(tables), charts=tuple(charts))

    def _line(self, line: Line) -> Line:
        now, last, year = (line_place(line.key, when) for when in (NOW, LAST, YEAR))
        before = line.last_term and self._figure(line.last_term, last)
        then = line.year_before and self._figure(line.year_before, year)
        return replace(line, figure=self._figure(line.figure, now), last_term=before, year_before=then)

    def _table(self, table: Table) -> Table:
        rows: list[list[Cell]] = [list(row) for row in table.rows]
        for row, column, place in cell_places(table):
            rows[row][column] = self._cell(rows[row][column], place)
        found = tuple(tuple(row) for row in rows)
        return table if found == table.rows else replace(table, rows=found)

    def _cell(self, cell: Cell, place: Place) -> Cell:
        if isinstance(cell, Figure):
            return self._figure(cell, self.by_figure.get(cell, place))
        if place not in self.hidden or not isinstance(cell, int | float):
            return cell
        return self.hidden[place].words

    def _figure(self, figure: Figure, place: Place) -> Figure:
        if place not in self.hidden or figure.value is None or not figure.about_people:
            return figure
        gone = replace(figure, value=None, low=None, high=None, parts=(), note="", withheld=self.hidden[place].words)
        return replace(gone, used=0, expected=0) if figure.records in PEOPLE_RECORDS else gone


def _without_numbers(table: Table) -> Table:
    """A list of sentences without those that carry a number, where numbers beside them are hidden."""
    if len(table.columns) > 1:
        return table
    rows = tuple(row for row in table.rows if not (isinstance(row[0], str) and re.search("[0-9]", row[0])))
    return table if rows == table.rows else replace(table, rows=rows, empty=SENTENCES_GONE)


def given_away(report: Report, threshold: int, old: Mapping[str, Any] | None) -> list[Place]:
    """Places of a report that give a small count away, by themselves or beside the version before.

    A second look: what stands in the report is set against the numbers before anything was hidden.
    """
    numbers = read(report.unwithheld or report, threshold)
    said = dict(_words_in(report))
    shown = read(report, threshold).numbers
    gone = [number for number in numbers.numbers if number not in shown]
    kinds = {number: said.get(number[0], Hidden.SOME_SMALL) for number in gone}
    former = NOTHING_BEFORE if old is None else former_of(old, numbers)
    found = numbers_reveal(numbers.numbers, numbers.sums, kinds, threshold=threshold, former=former, times=numbers.cost)
    return sorted({number[0] for number in found})


def _words_in(report: Report) -> Iterator[tuple[Place, Hidden]]:
    """Places of a report that say "fewer than 10", or that they are hidden beside such a place."""
    cells: list[tuple[Place, Cell]] = [(line_place(line.key, NOW), line.figure) for line in report.lines()]
    cells += [(line_place(line.key, LAST), line.last_term) for line in report.lines()]
    cells += [(line_place(line.key, YEAR), line.year_before) for line in report.lines()]
    for table in report.tables():
        cells += [(place, table.rows[row][column]) for row, column, place in cell_places(table)]
    for place, cell in cells:
        words = cell.withheld if isinstance(cell, Figure) else cell
        if isinstance(words, str) and FEWER.fullmatch(words):
            yield place, Hidden.SMALL
        elif words == Hidden.COMPLEMENT.value:
            yield place, Hidden.COMPLEMENT
