"""Numbers about people as a document prints them: where they stand, and which sums a reader can see in them.

Sums are read off the numbers themselves, so that a table that somebody adds is seen without being declared: a column
that adds up to a number elsewhere, a number that is the sum of the others beside it, a headline that is two others
together, one count that stands in two places. A coincidence is then taken for a sum and may hide one number more.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import combinations
from typing import Any, Final, TypeAlias

from tracker.measures.disclosure import THRESHOLD, Hidden, share_allowed
from tracker.measures.disclosure_document import Former, Limits
from tracker.measures.figure import Figure
from tracker.reports.printing import plain
from tracker.reports.report import Cell, Column, Report, Table

Place: TypeAlias = str
Number: TypeAlias = tuple[Place, str]  # a place and which of its numbers

PEOPLE_UNITS: Final = ("pupils", "attendances", "girls", "boys", "napkins")
PEOPLE_RECORDS: Final = ("pupils", "girls", "boys")
ENDS: Final = ("value", "low", "high")
NOW, LAST, YEAR = "now", "last", "year"
UNPRINTED: Final = "not printed"
SHARE_STEP: Final = 0.0005  # half a tenth of a percent
FEWER: Final = re.compile("fewer than ([0-9]+)")
# A whole and one of its parts: the other part is not printed, and follows from the two.
WHOLE_AND_PART: Final = {"need|Given out, by machines and by hand|figure": "given_out|now"}


@dataclass(slots=True)
class PeopleNumbers:
    """Numbers of a document with what connects them; ``thin`` are percentages that may not be shown at all."""

    numbers: dict[Number, float] = field(default_factory=dict)
    units: dict[Place, str] = field(default_factory=dict)
    shares: dict[Place, float] = field(default_factory=dict)
    thin: set[Place] = field(default_factory=set)
    sums: list[dict[Number, int]] = field(default_factory=list)
    by_figure: dict[Figure, Place] = field(default_factory=dict)
    times: dict[Place, int] = field(default_factory=dict)

    @property
    def places(self) -> set[Place]:
        """Where a number stands."""
        return {place for place, _ in self.numbers}

    @property
    def blocks(self) -> list[frozenset[Number]]:
        """The numbers of each place, which are shown or hidden together."""
        by_place: dict[Place, set[Number]] = {}
        for number in self.numbers:
            by_place.setdefault(number[0], set()).add(number)
        return [frozenset(block) for block in by_place.values() if len(block) > 1]

    @property
    def cost(self) -> dict[Number, int]:
        """How often each number stands in the document."""
        return {number: self.times.get(number[0], 1) for number in self.numbers}

    def add(self, place: Place, cell: Cell, column: Column | None, threshold: int) -> bool:
        """Take a cell in where it is a number about people."""
        if isinstance(cell, Figure) and cell.about_people and cell.value is not None:
            self._figure(place, cell, threshold)
        elif column is not None and isinstance(cell, int | float) and column.unit in PEOPLE_UNITS:
            self.numbers[place, "value"], self.units[place] = float(cell), column.unit
        else:
            return False
        return True

    def _figure(self, place: Place, figure: Figure, threshold: int) -> None:
        if figure.unit.startswith("share"):
            self._share(place, figure, threshold)
            return
        self.units[place] = figure.unit
        for end, digits in zip(ENDS, digits_of(figure), strict=True):
            if digits is not None and digits >= 0:
                self.numbers[place, end] = digits
        if figure.records in PEOPLE_RECORDS:
            self.numbers |= {(place, name): float(getattr(figure, name)) for name in ("used", "expected")}

    def _share(self, place: Place, figure: Figure, threshold: int) -> None:
        base, value = figure.used, figure.value or 0.0
        part = round(value * base)
        of_people = figure.records in PEOPLE_RECORDS  # else its records are not what it is a share of
        if of_people and not share_allowed(base, part, threshold):
            self.thin.add(place)
            return
        self.shares[place] = value
        if of_people:
            ends = {"part": part, "rest": base - part, "base": base}
            self.numbers |= {(place, name): float(number) for name, number in ends.items()}
            self.sums.append({(place, "part"): 1, (place, "rest"): 1, (place, "base"): -1})

    def quotients(self) -> Iterator[tuple[Place, Place, Place]]:
        """(share, part, whole): percentages that are one number of the document in another."""
        known = {place: number for (place, end), number in self.numbers.items() if end == "value" and number > 0}
        values = {place: number for place, number in known.items() if place in self.units}
        for share, value in self.shares.items():
            for part, whole in combinations(values, 2):
                for a, b in ((part, whole), (whole, part)):
                    if self.units[a] == self.units[b] and may_be(values[a], values[b], value):
                        yield share, a, b


def may_be(part: float, whole: float, share: float) -> bool:
    """Whether a share is part ÷ whole, both printed in whole numbers and the share to a tenth of a percent.

    >>> may_be(3, 43, 0.069), may_be(3, 43, 0.09)
    (True, False)
    """
    least, most = (part - 0.5) / (whole + 0.5), (part + 0.5) / max(whole - 0.5, 0.5)
    return least - SHARE_STEP <= share <= most + SHARE_STEP


def digits_of(figure: Figure) -> tuple[float | None, ...]:
    """Value and ends of a figure as they are printed."""
    printed = (plain(end, figure.unit) for end in (figure.value, figure.low, figure.high))
    return tuple(float(digits) if digits else None for digits in printed)


def line_place(key: str, when: str) -> Place:
    """The place of a headline."""
    return f"{key}|{when}"


def cell_places(table: Table) -> Iterator[tuple[int, int, Place]]:
    """(row, column, place) of every cell; a row is named by its first cell, or by its number."""
    names = row_names([row[0] for row in table.rows])
    for at, name in enumerate(names):
        for column, head in enumerate(table.columns):
            yield at, column, f"{table.key}|{name}|{head.key}"


def row_names(firsts: Sequence[Any]) -> list[str]:
    """Names of rows; where two are alike, or a row has none, its number is added."""
    named = [one.isoformat() if isinstance(one, date) else one if isinstance(one, str) else "" for one in firsts]
    return [name if name and named.count(name) == 1 else f"{name} {at}" for at, name in enumerate(named)]


def read(report: Report, threshold: int) -> PeopleNumbers:
    """Numbers about people of a report, with the sums that they stand in."""
    found = PeopleNumbers()
    for line in report.lines():
        for when, figure in ((NOW, line.figure), (LAST, line.last_term), (YEAR, line.year_before)):
            place = line_place(line.key, when)
            if figure is not None and found.add(place, figure, None, threshold):
                found.by_figure.setdefault(figure, place)
    columns: list[list[Place]] = []
    for table in report.tables():
        columns += _read_table(found, table, threshold)
    found.sums += [*_sums(found, columns), *_differences(found)]
    return found


def _read_table(found: PeopleNumbers, table: Table, threshold: int) -> list[list[Place]]:
    """Places of a table's numbers in groups that may add up: its columns and its rows."""
    groups: dict[tuple[str, int, str], list[Place]] = {}
    for row, column, place in cell_places(table):
        cell = table.rows[row][column]
        if isinstance(cell, Figure) and cell in found.by_figure:
            headline = found.by_figure[cell]
            found.times[headline] = found.times.get(headline, 1) + 1
            continue  # a headline once more
        if found.add(place, cell, table.columns[column], threshold) and place in found.units:
            for key in (("column", column), ("row", row)):
                groups.setdefault((*key, found.units[place]), []).append(place)
    return [places for (kind, _, _), places in groups.items() if kind == "column" or len(places) > 2]


def _sums(found: PeopleNumbers, groups: Sequence[Sequence[Place]]) -> Iterator[dict[Number, int]]:
    for end in ENDS:
        values = {place: number for (place, of), number in found.numbers.items() if of == end and place in found.units}
        for places in groups:
            if all(place in values for place in places):
                yield from _of_group(found, values, places, end)
    values = {place: number for (place, of), number in found.numbers.items() if of == "value" and place in found.units}
    yield from _of_headlines(found, values)
    yield from _alike(found, values, groups)


def _of_group(
    found: PeopleNumbers, values: Mapping[Place, float], places: Sequence[Place], end: str
) -> Iterator[dict[Number, int]]:
    total, unit = sum(values[place] for place in places), found.units[places[0]]
    parts = {(place, end): 1 for place in places}
    for other, value in values.items():
        if other not in places and found.units[other] == unit and value == total > 0 and not other.endswith(LAST):
            yield {**parts, (other, end): -1}
    for place in places:
        if len(places) > 2 and total - values[place] == values[place] > 0:
            yield {**parts, (place, end): -1}


def _of_headlines(found: PeopleNumbers, values: Mapping[Place, float]) -> Iterator[dict[Number, int]]:
    """Headlines that are two others together."""
    headlines = [place for place in values if place.count("|") == 1]
    for when in (NOW, LAST):
        mine = [place for place in headlines if place.endswith(when)]
        for whole in mine:
            for a, b in combinations([place for place in mine if place != whole], 2):
                same = found.units[a] == found.units[b] == found.units[whole]
                if same and values[a] + values[b] == values[whole] and values[a] > 0 and values[b] > 0:
                    yield {(a, "value"): 1, (b, "value"): 1, (whole, "value"): -1}


def _alike(
    found: PeopleNumbers, values: Mapping[Place, float], groups: Sequence[Sequence[Place]]
) -> Iterator[dict[Number, int]]:
    """The same count in two tables; what adds up from one number alone is seen as its column already."""
    # a number below zero is no count and has no value here
    tables = {place: place.split("|")[0] for places in groups for place in places if place in values}
    for a, b in combinations(tables, 2):
        if tables[a] != tables[b] and values[a] == values[b] > 0 and found.units[a] == found.units[b]:
            yield {(a, "value"): 1, (b, "value"): -1}


def _differences(found: PeopleNumbers) -> Iterator[dict[Number, int]]:
    """The part that is not printed, where a whole and its other part are."""
    for whole, part in WHOLE_AND_PART.items():
        ends = (whole, "value"), (part, "value")
        if all(end in found.numbers for end in ends):
            rest = found.numbers[ends[0]] - found.numbers[ends[1]]
            if rest >= 0:
                key = (f"{UNPRINTED}|{whole}", "value")
                found.numbers[key], found.times[key[0]] = rest, 0
                yield {ends[1]: 1, key: 1, ends[0]: -1}


# --- the version before -------------------------------------------------------------------------------------------


def former_of(content: Mapping[str, Any], known: PeopleNumbers) -> Former:
    """What an earlier version printed in the places of this one.

    Args:
        content: what ``export.content`` gave for it, as it was stored.
    """
    shown: dict[Number, float] = {}
    hidden: dict[Number, Limits] = {}
    cells = [(place, cell) for place, cell in _old_cells(content) if place in known.places]
    said = (FEWER.fullmatch(withheld_words(cell)) for _, cell in cells)
    fewest = max((int(few[1]) for few in said if few), default=THRESHOLD)
    for place, cell in cells:
        wanted = [number for number in known.numbers if number[0] == place]
        words = withheld_words(cell)
        if words == Hidden.BASE.value:
            continue  # says nothing about the number itself
        for number in wanted:
            digits = _old_digits(cell, number[1])
            if words:
                hidden[number] = _limits(words, fewest) if number[1] == "value" else (0, None)
            elif digits is not None:
                shown[number] = digits
    _add_differences(shown, known)
    return Former(shown, hidden)


def _add_differences(shown: dict[Number, float], known: PeopleNumbers) -> None:
    for whole, part in WHOLE_AND_PART.items():
        key = (f"{UNPRINTED}|{whole}", "value")
        if key in known.numbers and (whole, "value") in shown and (part, "value") in shown:
            shown[key] = shown[whole, "value"] - shown[part, "value"]


def _old_cells(content: Mapping[str, Any]) -> Iterator[tuple[Place, Any]]:
    for section in content.get("sections", []):
        for line in section["lines"]:
            yield line_place(line["key"], NOW), line["figure"]
            if line["last_term"] is not None:
                yield line_place(line["key"], LAST), line["last_term"]
            if line.get("year_before") is not None:
                yield line_place(line["key"], YEAR), line["year_before"]
        for table in [*section["tables"], *(chart["table"] for chart in section["charts"])]:
            names = row_names([row[0] for row in table["rows"]])
            for name, row in zip(names, table["rows"], strict=True):
                for cell, column in zip(row, table["columns"], strict=True):
                    yield f"{table['key']}|{name}|{column['key']}", cell


def withheld_words(cell: Any) -> str:
    """The words that stand in the place of a number; "" where a number stands, or nothing was recorded."""
    words = cell.get("withheld", "") if isinstance(cell, Mapping) else cell if isinstance(cell, str) else ""
    plain_words = {str(kind.value) for kind in Hidden if "{" not in kind.value}
    return words if words in plain_words or FEWER.fullmatch(words) else ""


def _limits(words: str, fewest: int) -> Limits:
    few = FEWER.fullmatch(words)
    if few:
        return 1, int(few[1]) - 1
    return (fewest, None) if words == Hidden.COMPLEMENT.value else (0, None)


def _old_digits(cell: Any, of: str) -> float | None:
    if not isinstance(cell, Mapping):
        return float(cell) if of == "value" and isinstance(cell, int | float) else None
    if of in (*ENDS, "used", "expected"):
        return None if cell.get(of) is None else float(cell[of])
    if cell.get("value") is None:
        return None
    part = round(cell["value"] * cell["used"])
    return float({"part": part, "rest": cell["used"] - part, "base": cell["used"]}[of])
