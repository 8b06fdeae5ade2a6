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
from enum import StrEnum
from typing import Final, TypeAlias

from tracker.measures.figure import Figure

THRESHOLD: Final = 10
MIN_BASE: Final = 20
MIN_SCHOOLS: Final = 3
SLACK: Final = 1e-6  # the solver's rounding

Place: TypeAlias = tuple[int, int]
Grid: TypeAlias = list[list[int]]


class Hidden(StrEnum):
    """Why a number is not shown."""

    SMALL = "fewer than {threshold}"
    COMPLEMENT = "withheld so that another count stays hidden"
    SOME_SMALL = "withheld so that small counts stay hidden"  # does not say which of several is small
    BASE = "too few for a percentage"


@dataclass(frozen=True, slots=True)
class Withheld:
    """Stands in the place of a number that is not shown."""

    kind: Hidden
    threshold: int = THRESHOLD

    @property
    def words(self) -> str:
        """What is printed in the place.

        >>> Withheld(Hidden.SMALL).words
        'fewer than 10'
        """
        return self.kind.value.format(threshold=self.threshold)


Shown: TypeAlias = int | Withheld | None


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


def is_small(count: float, threshold: int = THRESHOLD) -> bool:
    """Whether a count about people must be hidden: above zero and below the threshold.

    Raises:
        ValueError: the threshold is below 10.

    >>> is_small(9), is_small(0), is_small(10)
    (True, False, False)
    """
    if threshold < THRESHOLD:
        raise ValueError(f"the smallest count that may be shown can be raised, not lowered below {THRESHOLD}")
    return 0 < count < threshold


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
    kinds = _System(grid, threshold, told_apart, one_row=True).hide()
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
    grid = [[count or 0 for count in row] for row in cells]
    if len({len(row) for row in grid}) > 1 or any(count < 0 for row in grid for count in row):
        raise ValueError("rows must have one length and counts be at least 0")
    grid = with_margins(grid)
    shown = _shown(grid, _System(grid, threshold, told_apart).hide(), threshold)
    return TableShown(
        tuple(_keep_blank(row, line) for row, line in zip(cells, shown, strict=False)),
        tuple(line[-1] for line in shown[:-1]),
        tuple(shown[-1][:-1]),
        shown[-1][-1],
    )


def with_margins(cells: Sequence[Sequence[int]]) -> Grid:
    """The table with row totals as last column and column totals as last row.

    >>> with_margins([[1, 2], [3, 4]])
    [[1, 2, 3], [3, 4, 7], [4, 6, 10]]
    """
    rows = [[*row, sum(row)] for row in cells]
    return [*rows, [sum(column) for column in zip(*rows, strict=True)]]


def _keep_blank(row: Sequence[int | None], shown: Sequence[Shown]) -> tuple[Shown, ...]:
    return tuple(None if count is None else cell for count, cell in zip(row, shown, strict=False))


def _shown(grid: Grid, kinds: Mapping[Place, Hidden], threshold: int) -> list[list[Shown]]:
    return [
        [Withheld(kinds[r, c], threshold) if (r, c) in kinds else count for c, count in enumerate(row)]
        for r, row in enumerate(grid)
    ]


def possible_range(
    grid: Sequence[Sequence[int]],
    limits: Mapping[Place, tuple[float, float | None]],
    place: Place,
    *,
    one_row: bool = False,
) -> tuple[float, float]:
    """The least and greatest value a hidden place can have, given all shown ones: linear bounds.

    Args:
        grid: the true table, last column and last row its margins (``one_row``: one row with its total).
        limits: hidden places with what the reader knows of each (least, greatest; None = no limit).
        place: one of them.
    Returns:
        Least and greatest; the greatest may be infinite.
    """
    from scipy.optimize import linprog

    hidden = sorted(limits)
    rows, sides = [], []
    for line in _lines(len(grid), len(grid[0]), one_row):
        row = [float(line.get(cell, 0)) for cell in hidden]
        if any(row):
            rows.append(row)
            sides.append(-float(sum(sign * grid[r][c] for (r, c), sign in line.items() if (r, c) not in limits)))
    goal = [float(cell == place) for cell in hidden]
    ends = []
    for sign in (1.0, -1.0):
        found = linprog([sign * weight for weight in goal], A_eq=rows, b_eq=sides, bounds=[limits[h] for h in hidden])
        if found.status not in (0, 3):
            raise RuntimeError(f"linear bounds could not be found: {found.message}")
        ends.append(math.inf if found.fun is None else sign * found.fun)
    return ends[0], ends[1]


def _lines(height: int, width: int, one_row: bool) -> list[dict[Place, int]]:
    """Each sum of the table as places with signs that add up to zero."""
    lines = [{(r, c): -1 if c == width - 1 else 1 for c in range(width)} for r in range(height)]
    if not one_row:
        lines += [{(r, c): -1 if r == height - 1 else 1 for r in range(height)} for c in range(width)]
    return lines


class _System:
    """One table being hidden: which places are hidden, in which words, and what a reader can work out."""

    def __init__(self, grid: Grid, threshold: int, told_apart: bool, one_row: bool = False) -> None:
        self.grid, self.threshold, self.told_apart, self.one_row = grid, threshold, told_apart, one_row
        self.height, self.width = len(grid), len(grid[0])
        self.filled = [(r, c) for r in range(self.height) for c in range(self.width) if self.grid[r][c] > 0]
        self.small = [place for place in self.filled if is_small(self.value(place), threshold)]

    def value(self, place: Place) -> int:
        return self.grid[place[0]][place[1]]

    def hide(self) -> dict[Place, Hidden]:
        kinds = {place: self.kind(place) for place in self.small}
        while exposed := next((place for place in self.small if not self.safe(kinds, place)), None):
            cure = self.cure(kinds, exposed)
            if cure is None:
                return dict.fromkeys(self.filled, Hidden.SOME_SMALL)
            kinds = cure
        return kinds

    def cure(self, kinds: dict[Place, Hidden], exposed: Place) -> dict[Place, Hidden] | None:
        """The cheapest addition after which the place cannot be narrowed down; None where there is none."""
        additions = {places - set(kinds) for places in self.partners(exposed)}
        for added in sorted(additions, key=lambda places: (sum(map(self.value, places)), sorted(places))):
            wider = {**kinds, **{place: self.kind(place) for place in added}}
            if self.safe(wider, exposed):
                return wider
        return None

    def partners(self, place: Place) -> list[frozenset[Place]]:
        """Sets of filled places that may be hidden with this one: the rest of a rectangle, or one of its row."""
        r, c = place
        columns = [other for other in range(self.width) if other != c]
        if self.one_row:
            sets = [frozenset({(r, other)}) for other in columns]
        else:
            lines = [other for other in range(self.height) if other != r]
            sets = [frozenset({(r, k), (i, c), (i, k)}) for i in lines for k in columns]
        return [places for places in sets if all(map(self.value, places))]

    def is_margin(self, place: Place) -> bool:
        return place[1] == self.width - 1 or (not self.one_row and place[0] == self.height - 1)

    def kind(self, place: Place) -> Hidden:
        if not self.told_apart:
            return Hidden.SOME_SMALL
        small = is_small(self.value(place), self.threshold)
        # "fewer than 10" on a total of two counts would say that each is at most 8.
        return Hidden.SMALL if small and self.parts_under(place) == 1 else Hidden.COMPLEMENT

    def parts_under(self, place: Place) -> int:
        """Counts above zero that a place sums; 1 for a place inside the table."""
        if not self.is_margin(place):
            return 1
        in_row = not self.one_row and place[0] == self.height - 1
        in_column = place[1] == self.width - 1
        inside = [other for other in self.filled if not self.is_margin(other)]
        return sum((in_row or r == place[0]) and (in_column or c == place[1]) for r, c in inside)

    def limits(self, place: Place, kind: Hidden) -> tuple[float, float | None]:
        """What the words of a hidden place tell a reader who knows these rules."""
        if kind is Hidden.SOME_SMALL:
            return 0, None
        if kind is Hidden.SMALL:
            return 1, self.threshold - 1
        return (1 if self.is_margin(place) else self.threshold), None

    def safe(self, kinds: Mapping[Place, Hidden], place: Place) -> bool:
        """Whether a small count can still be anything from 1 to 9, or, hidden as a total, 10 or more."""
        known = {other: self.limits(other, kind) for other, kind in kinds.items()}
        low, high = possible_range(self.grid, known, place, one_row=self.one_row)
        if kinds[place] is Hidden.COMPLEMENT:
            return high >= self.threshold - SLACK
        return low <= 1 + SLACK and high >= self.threshold - 1 - SLACK
