"""What a reader can work out about the hidden places of a table with margins, and which to hide beside the small.

Linear bounds: each row and column adds up, and the words of a hidden place say how small or large it can be.
Source: the European handbook on statistical disclosure control.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeAlias, TypeVar

THRESHOLD: Final = 10
SLACK: Final = 1e-6  # the solver's rounding
NOTHING_FITS, UNLIMITED = 2, 3  # states of the solver

Place: TypeAlias = tuple[int, int]
Grid: TypeAlias = list[list[int]]
K = TypeVar("K")


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


def with_margins(cells: Sequence[Sequence[int]]) -> Grid:
    """The table with row totals as last column and column totals as last row.

    >>> with_margins([[1, 2], [3, 4]])
    [[1, 2, 3], [3, 4, 7], [4, 6, 10]]
    """
    rows = [[*row, sum(row)] for row in cells]
    return [*rows, [sum(column) for column in zip(*rows, strict=True)]]


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
    shown = {(r, c): count for r, row in enumerate(grid) for c, count in enumerate(row) if (r, c) not in limits}
    found = possible_values(_lines(len(grid), len(grid[0]), one_row), shown, limits, place)
    if found is None:
        raise RuntimeError("no numbers fit the table; the limits do not hold of its own")
    return found


def possible_values(
    sums: Sequence[Mapping[K, int]],
    shown: Mapping[K, float],
    limits: Mapping[K, tuple[float, float | None]],
    key: K,
) -> tuple[float, float] | None:
    """The least and greatest value of a hidden number, given sums that shown and hidden numbers stand in.

    Args:
        sums: numbers by their keys with signs (1 or -1) that add up to zero.
        shown, limits: every key of the sums stands in one of the two.
    Returns:
        Least and greatest, both perhaps infinite; None where no numbers fit.
    """
    from scipy.optimize import linprog

    hidden = list(limits)
    rows, sides = [], []
    for line in sums:
        row = [float(line.get(one, 0)) for one in hidden]
        if any(row):
            rows.append(row)
            sides.append(-math.fsum(sign * shown[one] for one, sign in line.items() if one not in limits))
    bounds = [limits[one] for one in hidden]
    ends = []
    for sign in (1.0, -1.0):
        goal = [sign * (one == key) for one in hidden]
        found = linprog(goal, A_eq=rows or None, b_eq=sides or None, bounds=bounds)
        if found.status == NOTHING_FITS:
            return None
        if found.status not in (0, UNLIMITED):
            raise RuntimeError(f"linear bounds could not be found: {found.message}")
        ends.append(sign * (-math.inf if found.status == UNLIMITED else float(found.fun or 0.0)))
    return ends[0], ends[1]


def _lines(height: int, width: int, one_row: bool) -> list[dict[Place, int]]:
    """Each sum of the table as places with signs that add up to zero."""
    lines = [{(r, c): -1 if c == width - 1 else 1 for c in range(width)} for r in range(height)]
    if not one_row:
        lines += [{(r, c): -1 if r == height - 1 else 1 for r in range(height)} for c in range(width)]
    return lines


@dataclass(frozen=True, slots=True)
class Earlier:
    """What an earlier published version adds to what a reader knows of the table.

    known: places whose number the reader has from there. kept: places that have to stay hidden. ranges: places
    that the two versions together must leave open at least from the first to the second number.
    """

    known: frozenset[Place] = frozenset()
    kept: frozenset[Place] = frozenset()
    ranges: Mapping[Place, tuple[float, float]] = field(default_factory=dict)


class TableSystem:
    """One table being hidden: which places are hidden, in which words, and what a reader can work out."""

    def __init__(
        self,
        grid: Grid,
        threshold: int,
        told_apart: bool,
        one_row: bool = False,
        earlier: Earlier | None = None,
    ) -> None:
        self.grid, self.threshold, self.told_apart, self.one_row = grid, threshold, told_apart, one_row
        self.height, self.width = len(grid), len(grid[0])
        self.earlier = earlier or Earlier()
        self.filled = [(r, c) for r in range(self.height) for c in range(self.width) if self.grid[r][c] > 0]
        self.small = [place for place in self.filled if is_small(self.value(place), threshold)]
        guarded = {*self.small, *self.earlier.ranges}
        self.guarded = [place for place in self.filled if place in guarded]

    def value(self, place: Place) -> int:
        """The true number at a place."""
        return self.grid[place[0]][place[1]]

    def first_hidden(self) -> dict[Place, Hidden]:
        """Places that are hidden in any case, with their words."""
        kept = [place for place in self.filled if place in self.earlier.kept]
        return {place: self.kind(place) for place in (*self.guarded, *kept)}

    def hide(self) -> dict[Place, Hidden]:
        """Hide what is small, then the cheapest rectangle for each place that can still be narrowed down."""
        kinds = self.first_hidden()
        while exposed := next((place for place in self.guarded if not self.safe(kinds, place)), None):
            cure = self.cure(kinds, exposed)
            if cure is None:
                return dict.fromkeys(self.filled, Hidden.SOME_SMALL)
            kinds = cure
        return kinds

    def hide_least(self, most: int) -> dict[Place, Hidden]:
        """Hide the places whose numbers have the smallest sum of all that keep every guarded place open.

        Sets of further places are tried from the cheapest on, until one will do or is no cheaper than what
        ``hide`` found. Where more than ``most`` places could be added, that is the result at once.
        """
        found, base = self.hide(), self.first_hidden()
        limit = sum(self.value(place) for place in found if place not in base)
        others = sorted((self.value(place), place) for place in self.filled if place not in base)
        for cost, added in by_cost(others if len(others) <= most else []):
            if cost >= limit:
                break
            kinds = {**base, **{place: self.kind(place) for place in added}}
            if self.none_alone(kinds) and all(self.safe(kinds, place) for place in self.guarded):
                return kinds
        return found

    def none_alone(self, kinds: Collection[Place]) -> bool:
        """Whether no row or column has a single hidden place, which could be worked out at once."""
        lines = _lines(self.height, self.width, self.one_row)
        return all(sum(place in line for place in kinds) != 1 for line in lines)

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
        """What the words of a hidden place, and an earlier version, tell a reader who knows these rules."""
        if place in self.earlier.known:
            return self.value(place), self.value(place)
        if kind is Hidden.SOME_SMALL:
            return 0, None
        if kind is Hidden.SMALL:
            return 1, self.threshold - 1
        return (1 if self.is_margin(place) else self.threshold), None

    def safe(self, kinds: Mapping[Place, Hidden], place: Place) -> bool:
        """Whether a small count can still be anything from 1 to 9, or, hidden as a total, 10 or more.

        A place that an earlier version must not open has to cover its range too.
        """
        known = {other: self.limits(other, kind) for other, kind in kinds.items()}
        low, high = possible_range(self.grid, known, place, one_row=self.one_row)
        least, most = self.earlier.ranges.get(place, (math.inf, -math.inf))
        if low > least + SLACK or high < most - SLACK:
            return False
        if not is_small(self.value(place), self.threshold):
            return True
        if kinds[place] is Hidden.COMPLEMENT:
            return high >= self.threshold - SLACK
        return low <= 1 + SLACK and high >= self.threshold - 1 - SLACK


def by_cost(items: Sequence[tuple[int, K]]) -> Iterator[tuple[int, tuple[K, ...]]]:
    """Every set of places with its sum, the smallest sums first; ``items`` in order of their numbers."""
    yield 0, ()
    heap: list[tuple[int, tuple[int, ...]]] = [(items[0][0], (0,))] if items else []
    while heap:
        cost, chosen = heapq.heappop(heap)
        yield cost, tuple(items[index][1] for index in chosen)
        following = chosen[-1] + 1
        if following < len(items):
            more = items[following][0]
            heapq.heappush(heap, (cost + more, (*chosen, following)))
            heapq.heappush(heap, (cost + more - items[following - 1][0], (*chosen[:-1], following)))
