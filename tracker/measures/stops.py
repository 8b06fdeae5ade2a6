"""The order of the stops of one vehicle on one day: which school after which, so that it is back soonest.

A round sets out from the store, comes once to each school inside the hours in which the school receives goods, and
returns. What is made least is the minute of return: driving, staying and waiting at a closed door together. Up to
``MOST_EXACT`` stops the order is the best one (``stops_exact``); above, a good one with a proven bound
(``stops_search``, ``stops_bound``), and the gap is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from tracker.measures.stops_bound import back_bound
from tracker.measures.stops_exact import best_order
from tracker.measures.stops_run import Run, Windows, drive, forwards
from tracker.measures.stops_search import good_order

MOST_EXACT: Final = 12


@dataclass(frozen=True, slots=True)
class Ordered:
    """Stops in order, with the minutes after midnight at which each is reached, served and left.

    order: positions of the stops (1 is the first stop of the matrix; 0 is the store).
    arrive, begin, leave: for each stop of ``order``; ``begin`` is later than ``arrive`` where the vehicle waits.
    back: the minute of return. travel_min: minutes of driving. bound: no order can be back before this minute.
    exact: the order was proved the best; then ``bound`` equals ``back``.
    """

    order: tuple[int, ...]
    arrive: tuple[int, ...]
    begin: tuple[int, ...]
    leave: tuple[int, ...]
    back: int
    travel_min: int
    bound: int
    exact: bool

    @property
    def gap_min(self) -> int:
        """Minutes by which the order may be later than the best one; 0 where it is proved the best."""
        return self.back - self.bound


def order(
    minutes: npt.ArrayLike,
    stays: Sequence[int],
    windows: Sequence[Windows],
    *,
    start: int,
    limit_min: int,
    most_exact: int = MOST_EXACT,
    known: Sequence[int] = (),
) -> Ordered | None:
    """The order of stops that is back at the store soonest.

    The vehicle leaves at ``start`` and drives on as soon as it can. A hand-over begins inside an opening and is
    finished before it closes; a vehicle that comes too early waits. The driving minutes are taken as they are (they
    need not be the same both ways, nor keep the triangle rule).

    Args:
        minutes: whole minutes of driving, (n + 1) × (n + 1); row and column 0 are the store.
        stays: minutes at each of the n stops.
        windows: for each stop, its openings (opens, closes) in minutes after midnight; none: closed that day.
        start: minute after midnight at which the vehicle leaves. limit_min: it must be back so many minutes later.
        most_exact: up to so many stops the best order is proved.
        known: an order of all stops that keeps everything, where one is known; the answer is no worse.
    Returns:
        None where no order keeps the openings and the limit (above ``most_exact``: where none was found).
        An order without stops is back at ``start``.
    Raises:
        ValueError: shapes do not fit, or minutes or stays are negative.
    Source:
        M. Held and R. M. Karp, "A dynamic programming approach to sequencing problems", Journal of the Society for
        Industrial and Applied Mathematics 10 (1962) 196-210 (from memory).

    >>> found = order([[0, 10, 40], [10, 0, 20], [40, 20, 0]], [5, 5], [((480, 720),), ((480, 720),)],
    ...               start=480, limit_min=480)
    >>> found.order, found.arrive, found.back, found.exact
    ((1, 2), (490, 515), 560, True)
    """
    run = Run.made(minutes, stays, windows, start=start, limit_min=limit_min)
    if not run.stops:
        return Ordered((), (), (), (), start, 0, start, True)
    exact = run.stops <= most_exact
    found = best_order(run) if exact else good_order(run, tuple(known))
    if found is None:
        return None
    found = forwards(run, found)
    driven = drive(run, found)
    if driven is None:
        return None
    bound = driven.back if exact else min(driven.back, back_bound(run))
    travel = travel_of(run.minutes, found)
    return Ordered(found, driven.arrive, driven.begin, driven.leave, driven.back, travel, bound, exact)


def as_given(
    minutes: npt.ArrayLike, stays: Sequence[int], windows: Sequence[Windows], *, start: int
) -> tuple[tuple[int, ...], tuple[bool, ...], int]:
    """What comes of driving the stops in the order in which they are given, whether or not the hours are kept.

    For an order that a person chose: it is shown, not refused. A stop whose openings are over for that day (or that
    is closed) is served at once and marked.

    Returns:
        The minute of arrival at each stop, whether the hand-over falls inside an opening, and the minute of return.

    >>> as_given([[0, 10], [10, 0]], [5], [((600, 720),)], start=480)
    ((490,), (True,), 615)
    >>> as_given([[0, 10], [10, 0]], [5], [()], start=480)
    ((490,), (False,), 505)
    """
    run = Run.made(minutes, stays, windows, start=start, limit_min=0)
    clock, here = start, 0
    arrive, inside = [], []
    for stop in range(1, run.stops + 1):
        reached = clock + int(run.minutes[here, stop])
        begin = run.begin(stop, reached)
        arrive.append(reached)
        inside.append(begin is not None)
        clock, here = (reached if begin is None else begin) + run.stays[stop - 1], stop
    return tuple(arrive), tuple(inside), clock + int(run.minutes[here, 0]) if run.stops else start


def travel_of(minutes: npt.ArrayLike, stops: Sequence[int]) -> int:
    """Minutes of driving from the store through the stops and back.

    >>> travel_of([[0, 10, 40], [10, 0, 20], [40, 20, 0]], [1, 2])
    70
    """
    table = np.asarray(minutes)
    legs = [0, *stops, 0]
    return int(table[legs[:-1], legs[1:]].sum())
