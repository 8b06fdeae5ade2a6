"""One vehicle-day as numbers, and what comes of driving its stops in a given order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Windows = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Driven:
    """Minutes after midnight of a run that kept every opening and the limit."""

    arrive: tuple[int, ...]
    begin: tuple[int, ...]
    leave: tuple[int, ...]
    back: int


@dataclass(frozen=True, slots=True)
class Run:
    """Driving minutes (row 0 the store), stays and openings of the stops, when the vehicle leaves and must be back."""

    minutes: npt.NDArray[np.int64]
    ways: tuple[tuple[int, ...], ...]  # the same minutes, quicker to look up one by one
    stays: tuple[int, ...]
    windows: tuple[Windows, ...]
    start: int
    latest_back: int

    @classmethod
    def made(
        cls, minutes: npt.ArrayLike, stays: Sequence[int], windows: Sequence[Windows], *, start: int, limit_min: int
    ) -> Run:
        """Check the numbers of a vehicle-day and put its openings in order.

        Raises:
            ValueError: shapes do not fit, minutes or stays are negative, or an opening closes before it opens.
        """
        table = np.asarray(minutes, dtype=np.int64)
        if table.shape != (len(stays) + 1, len(stays) + 1) or len(windows) != len(stays):
            raise ValueError("minutes must be a square of store and stops, with stays and openings for each stop")
        if (table < 0).any() or any(stay < 0 for stay in stays):
            raise ValueError("minutes of driving and staying cannot be negative")
        if any(closes < opens for each in windows for opens, closes in each):
            raise ValueError("an opening cannot close before it opens")
        ordered = tuple(tuple(sorted(each)) for each in windows)
        ways = tuple(tuple(row) for row in table.tolist())
        return cls(table, ways, tuple(int(stay) for stay in stays), ordered, start, start + limit_min)

    @property
    def stops(self) -> int:
        """How many stops there are."""
        return len(self.stays)

    def begin(self, stop: int, reached: int) -> int | None:
        """When the hand-over can begin at a stop that is reached at a minute; None: not on this day any more."""
        stay = self.stays[stop - 1]
        for opens, closes in self.windows[stop - 1]:
            begin = max(opens, reached)
            if begin + stay <= closes:
                return begin
        return None


def drive(run: Run, stops: Sequence[int]) -> Driven | None:
    """Drive the stops in this order; None where an opening or the limit is missed.

    >>> run = Run.made([[0, 10], [10, 0]], [5], [((500, 720),)], start=480, limit_min=60)
    >>> drive(run, [1])
    Driven(arrive=(490,), begin=(500,), leave=(505,), back=515)
    """
    clock, here = run.start, 0
    arrive, begins, leave = [], [], []
    for stop in stops:
        reached = clock + run.ways[here][stop]
        begin = run.begin(stop, reached)
        if begin is None:
            return None
        clock, here = begin + run.stays[stop - 1], stop
        arrive.append(reached)
        begins.append(begin)
        leave.append(clock)
    back = clock + run.ways[here][0] if stops else run.start
    return None if back > run.latest_back else Driven(tuple(arrive), tuple(begins), tuple(leave), back)


def back_from(run: Run, clock: int, here: int, stops: Sequence[int]) -> int | None:
    """The minute of return from a place that is left at a minute, over these stops; None where something is missed.

    >>> run = Run.made([[0, 10], [10, 0]], [5], [((500, 720),)], start=480, limit_min=60)
    >>> back_from(run, 480, 0, [1]), back_from(run, 720, 0, [1])
    (515, None)
    """
    ways, stays = run.ways, run.stays
    for stop in stops:
        begin = run.begin(stop, clock + ways[here][stop])
        if begin is None:
            return None
        clock, here = begin + stays[stop - 1], stop
        if clock > run.latest_back:
            return None
    back = clock + ways[here][0]
    return None if back > run.latest_back else back


def forwards(run: Run, stops: tuple[int, ...]) -> tuple[int, ...]:
    """Of an order and the same the other way round, where both are back at the same minute, the one of lower stops.

    >>> run = Run.made([[0, 10, 40], [10, 0, 20], [40, 20, 0]], [5, 5], [((0, 900),)] * 2, start=0, limit_min=900)
    >>> forwards(run, (2, 1))
    (1, 2)
    """
    one, other = drive(run, stops), drive(run, stops[::-1])
    both = one is not None and other is not None and one.back == other.back
    return min(stops, stops[::-1]) if both else stops
