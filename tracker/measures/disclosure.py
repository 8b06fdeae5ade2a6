"""Disclosure control: small counts about people are hidden in what leaves the school and its officer.

A count from 1 to 9 is hidden; zero may be shown. More is hidden until no hidden count can be worked out from
totals: linear bounds are computed as a reader could, who also knows what the words of each hidden place say.
A programme may raise the number 10, never lower it.

Sources: threshold 10, a state health department's guideline on small numbers; complementary hiding checked by
linear bounds, the European handbook on statistical disclosure control; rounding, OECD Glossary of Statistical
Terms. No percentage below a base of 20 and three schools a group: common practice, no published source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.measures.disclosure_bounds import (
    THRESHOLD,
    Grid,
    Hidden,
    Place,
    Shown,
    TableSystem,
    Withheld,
    is_small,
    possible_range,
    with_margins,
)
from tracker.measures.figure import Figure

__all__ = [  # with the names that come from disclosure_bounds
    "MIN_BASE",
    "MIN_SCHOOLS",
    "THRESHOLD",
    "Hidden",
    "RowShown",
    "Shown",
    "TableShown",
    "Withheld",
    "differences_reveal",
    "filled_grid",
    "group_allowed",
    "hide_count",
    "hide_figure",
    "hide_part_of",
    "hide_share",
    "is_small",
    "part_reveals",
    "possible_range",
    "round_to_base",
    "school_allowed",
    "share_allowed",
    "table_shown",
    "with_margins",
    "withhold_row",
    "withhold_table",
]

MIN_BASE: Final = 20
MIN_SCHOOLS: Final = 3


@dataclass(frozen=True, slots=True)
class RowShown:
    """A row of counts with its total as it may be shown; None = not recorded."""

    values: tuple[Shown, ...]
    total: Shown


@dataclass(frozen=True, slots=True)
class TableShown:
    """A table of counts with its margins as it may be shown; None = not recorded."""

    cells: tuple[tuple[Shown, ...], ...]
    row_totals: tuple[Shown, ...]
    column_totals: tuple[Shown, ...]
    total: Shown


def hide_count(count: int | None, threshold: int = THRESHOLD) -> Shown:
    """A single count that stands in no sum."""
    return Withheld(Hidden.SMALL, threshold) if count is not None and is_small(count, threshold) else count


def hide_figure(figure: Figure, threshold: int = THRESHOLD, count: float | None = None) -> Figure | Withheld:
    """A figure as it may leave: hidden when its count about people, or an end of its interval, is small.

    Figures that are not about people pass unchanged. A figure that passes loses its parts by school and week:
    those are small counts themselves and leave only through ``withhold_table``.

    Args:
        count: for a rate, the count of people or supplies it is built on; None = the figure is the count.
    """
    if not figure.about_people:
        return figure
    ends = (figure.value, figure.low, figure.high) if count is None else (count,)
    if any(is_small(end, threshold) for end in ends if end is not None):
        return Withheld(Hidden.SMALL, threshold)
    return replace(figure, parts=())


def hide_share(figure: Figure, threshold: int = THRESHOLD) -> Figure | Withheld:
    """A share of people as it may leave; its ``used`` is the base that the share is of."""
    if not figure.about_people or figure.value is None:
        return figure
    if share_allowed(figure.used, round(figure.value * figure.used), threshold):
        return figure
    return Withheld(Hidden.BASE, threshold)


def share_allowed(base: int, part: int | None = None, threshold: int = THRESHOLD) -> bool:
    """Whether a percentage of ``base`` people may be shown.

    Not under a base of 20; and, where ``part`` is given, not when the part or the rest is small, nor at 0 % or
    100 %, which would say the same of everybody.

    >>> share_allowed(19), share_allowed(20), share_allowed(30, 27), share_allowed(30, 15)
    (False, True, False, True)
    """
    if base < MIN_BASE:
        return False
    return part is None or (0 < part < base and not part_reveals(part, base, threshold))


def part_reveals(part: int, whole: int, threshold: int = THRESHOLD) -> bool:
    """Whether "part of whole" gives a small count away: the part or the rest (27 of 30 reveals 3).

    >>> part_reveals(27, 30), part_reveals(30, 30)
    (True, False)
    """
    if not 0 <= part <= whole:
        raise ValueError("a part is between 0 and the whole")
    return is_small(part, threshold) or is_small(whole - part, threshold)


def hide_part_of(part: int, whole: int, threshold: int = THRESHOLD) -> RowShown:
    """Part and whole as they may be shown side by side: the row (part,) with its total.

    A small whole is hidden with its part; a part is hidden when it or the rest is small.
    """
    row = withhold_row([part, whole - part], whole, threshold)
    if isinstance(row.total, Withheld) and not is_small(whole, threshold):
        # Only the part stands beside the whole: hiding the part is enough, the rest is not printed.
        kind = Hidden.SMALL if is_small(part, threshold) else Hidden.COMPLEMENT
        return RowShown((Withheld(kind, threshold),), whole)
    return RowShown((row.values[0],), row.total)


def group_allowed(contributions: Sequence[float]) -> bool:
    """Whether a group of schools may be published: at least three schools brought something to its number."""
    return sum(number > 0 for number in contributions) >= MIN_SCHOOLS


def school_allowed(girls_enrolled: int | None, threshold: int = THRESHOLD) -> bool:
    """Whether a school may be shown by itself: not with few girls enrolled, and not when that is not known."""
    return girls_enrolled is not None and girls_enrolled > 0 and not is_small(girls_enrolled, threshold)


def round_to_base(count: int, base: int = 5) -> int:
    """Round a count to the nearest multiple, halves up; rounded parts need not add up to a rounded total.

    Source: conventional rounding, OECD Glossary of Statistical Terms.

    >>> [round_to_base(count) for count in (2, 3, 7, 8)]
    [0, 5, 5, 10]
    """
    return base * math.floor(count / base + 0.5)


def differences_reveal(
    old: Mapping[str, int | None], new: Mapping[str, int | None], threshold: int = THRESHOLD
) -> list[str]:
    """Places at which two published versions, held side by side, give a small count away.

    A place is returned when both versions show it and they differ by a small count, or when it is hidden (None)
    in one and shown in the other. Hide it in the new version.

    >>> differences_reveal({"a": 40, "b": 40, "c": None}, {"a": 43, "b": 60, "c": 12})
    ['a', 'c']
    """
    found = []
    for place in old.keys() & new.keys():
        before, after = old[place], new[place]
        if before is None or after is None:
            if before is not after:
                found.append(place)
        elif is_small(abs(after - before), threshold):
            found.append(place)
    return sorted(found)


def withhold_row(
    values: Sequence[int | None], total: int, threshold: int = THRESHOLD, *, told_apart: bool = True
) -> RowShown:
    """Hide small counts of a row, and a second place with them (another count, or else the total).

    See ``withhold_table``, of which this is the one-row case without column totals.

    Raises:
        ValueError: the counts do not add up to the total, one is negative, or the threshold is below 10.
    """
    grid = [[count or 0 for count in values] + [total]]
    if any(count < 0 for count in grid[0]) or sum(grid[0][:-1]) != total:
        raise ValueError("counts must be at least 0 and add up to their total")
    kinds = TableSystem(grid, threshold, told_apart, one_row=True).hide()
    shown = _shown(grid, kinds, threshold)[0]
    return RowShown(_keep_blank(values, shown), shown[-1])


def withhold_table(
    cells: Sequence[Sequence[int | None]], threshold: int = THRESHOLD, *, told_apart: bool = True
) -> TableShown:
    """Hide small counts of a table with margins, and others until none can be narrowed down.

    Small counts are hidden first. While the linear bounds of one are too narrow, the rectangle of places
    through it (margins included, never a zero) with the smallest sum that cures it is hidden too. Where no
    single rectangle does, every count above zero is hidden with one wording.

    Args:
        cells: rows of counts; None = not recorded, which adds nothing and stays None.
        told_apart: the reader can tell small places ("fewer than 10") from the others that are hidden with
            them, and bounds are computed with that knowledge. False: all have one wording.
    Returns:
        What may be shown. A hidden total over several counts never says that it is small itself.
    Raises:
        ValueError: rows of different length, a negative count, or a threshold below 10.
    """
    grid = filled_grid(cells)
    return table_shown(cells, TableSystem(grid, threshold, told_apart).hide(), threshold)


def filled_grid(cells: Sequence[Sequence[int | None]]) -> Grid:
    """The table with its margins, blanks adding nothing.

    Raises:
        ValueError: rows of different length, or a negative count.
    """
    grid = [[count or 0 for count in row] for row in cells]
    if len({len(row) for row in grid}) > 1 or any(count < 0 for row in grid for count in row):
        raise ValueError("rows must have one length and counts be at least 0")
    return with_margins(grid)


def table_shown(cells: Sequence[Sequence[int | None]], kinds: Mapping[Place, Hidden], threshold: int) -> TableShown:
    """The table as it may be shown, given which of its places (margins included) are hidden and in which words."""
    shown = _shown(filled_grid(cells), kinds, threshold)
    return TableShown(
        tuple(_keep_blank(row, line) for row, line in zip(cells, shown, strict=False)),
        tuple(line[-1] for line in shown[:-1]),
        tuple(shown[-1][:-1]),
        shown[-1][-1],
    )


def _keep_blank(row: Sequence[int | None], shown: Sequence[Shown]) -> tuple[Shown, ...]:
    return tuple(None if count is None else cell for count, cell in zip(row, shown, strict=False))


def _shown(grid: Grid, kinds: Mapping[Place, Hidden], threshold: int) -> list[list[Shown]]:
    return [
        [Withheld(kinds[r, c], threshold) if (r, c) in kinds else count for c, count in enumerate(row)]
        for r, row in enumerate(grid)
    ]
