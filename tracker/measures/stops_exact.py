"""The best order of a few stops, by going through all sets of stops (Held and Karp, with openings)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tracker.measures.stops_run import Run

NEVER = 2**40  # later than any minute of a day
Int = npt.NDArray[np.int64]


def best_order(run: Run) -> tuple[int, ...] | None:
    """The order of all stops with the soonest return; None where none keeps the openings and the limit.

    For every set of stops and every last stop of it the soonest minute of leaving that stop is kept. To leave a stop
    sooner is never worse for what follows (a vehicle may wait), so the soonest is enough. Of orders that are equally
    good, the one is taken that leaves the later stops soonest, then the one with lower positions: the answer does not
    depend on chance. Needs about n² · 2ⁿ steps and n · 2ⁿ numbers; meant for up to 12 stops, possible to 16.
    """
    leave = _soonest(run)
    whole = (1 << run.stops) - 1
    back = leave[whole] + run.minutes[1:, 0]
    last = int(np.argmin(back))
    if back[last] > run.latest_back:
        return None
    return _walk_back(run, leave, whole, last)


def _soonest(run: Run) -> Int:
    """Soonest minute of leaving, by set of stops (bits) and last stop."""
    n = run.stops
    sets = np.arange(1 << n)
    sizes = np.array([int(one).bit_count() for one in sets])
    leave = np.full((1 << n, n), NEVER, dtype=np.int64)
    for stop in range(n):
        leave[1 << stop, stop] = _leave(run, stop, run.start + run.minutes[0, stop + 1 : stop + 2])[0]
    for size in range(2, n + 1):
        of_size = sets[sizes == size]
        for stop in range(n):
            mine = of_size[(of_size >> stop) & 1 == 1]
            before = mine ^ (1 << stop)
            leave[mine, stop] = _leave(run, stop, (leave[before] + run.minutes[1:, stop + 1]).min(axis=1))
    return leave


def _leave(run: Run, stop: int, reached: Int) -> Int:
    """When a stop is left that is reached at these minutes; NEVER where no opening is left."""
    stay = run.stays[stop]
    left = np.full(reached.shape, NEVER, dtype=np.int64)
    for opens, closes in reversed(run.windows[stop]):
        end = np.maximum(reached, opens) + stay
        left = np.where(end <= closes, end, left)
    return left


def _walk_back(run: Run, leave: Int, whole: int, last: int) -> tuple[int, ...]:
    order, here, left = [last], whole, last
    while here != 1 << left:
        before = here ^ (1 << left)
        reached = leave[before] + run.minutes[1:, left + 1]
        here, left = before, int(np.argmin(reached))
        order.append(left)
    return tuple(stop + 1 for stop in reversed(order))
