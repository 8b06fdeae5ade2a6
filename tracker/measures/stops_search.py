"""A good order of many stops: put in one by one where they cost least, then exchanged until nothing gets better."""

from __future__ import annotations

from collections.abc import Iterator

from tracker.measures.stops_run import Run, back_from

PASSES = 30
MOVED_TOGETHER = (1, 2, 3)

Order = tuple[int, ...]


def good_order(run: Run, known: Order = ()) -> Order | None:
    """An order of all stops that keeps openings and limit, improved until no exchange helps; None: none was found.

    Stops go in by the openings that close first, each at the place where the vehicle is back soonest; then parts are
    turned round (2-opt) and one to three stops are moved elsewhere (or-opt) while that brings the vehicle back sooner.
    A ``known`` order is improved too; the better of both is the answer.
    """
    firsts = [order for order in (_built(run), known) if order and _back(run, order) <= run.latest_back]
    found = [improved(run, order) for order in firsts]
    return min(found, key=lambda order: _back(run, order), default=None)


def _back(run: Run, order: Order) -> int:
    back = back_from(run, run.start, 0, order)
    return run.latest_back + 1 if back is None else back


def _built(run: Run) -> Order | None:
    found: Order = ()
    for stop in _by_closing(run):
        placed = cheapest_place(run, found, stop)
        if placed is None:
            return None
        found = placed
    return found


def _by_closing(run: Run) -> list[int]:
    """Stops whose last opening closes first come first, then the far ones."""

    def key(stop: int) -> tuple[int, int, int]:
        last = max((closes for _, closes in run.windows[stop - 1]), default=0)
        return last, -int(run.minutes[0, stop]), stop

    return sorted(range(1, run.stops + 1), key=key)


def cheapest_place(run: Run, order: Order, stop: int) -> Order | None:
    """The order with one stop more, put where the vehicle is back soonest; None where it fits nowhere."""
    best: tuple[int, int] | None = None
    clock, here = run.start, 0
    for at in range(len(order) + 1):
        back = back_from(run, clock, here, (stop, *order[at:]))
        if back is not None and (best is None or back < best[0]):
            best = back, at
        if at < len(order):
            begin = run.begin(order[at], clock + run.ways[here][order[at]])
            if begin is None:
                break
            clock, here = begin + run.stays[order[at] - 1], order[at]
    return None if best is None else (*order[: best[1]], stop, *order[best[1] :])


def improved(run: Run, order: Order) -> Order:
    """The order after exchanges, the first that helps at once, until none does (or ``PASSES`` are over)."""
    now = back_from(run, run.start, 0, order)
    if now is None:
        raise ValueError("only an order that keeps openings and limit can be improved")
    best, back = order, now
    for _ in range(PASSES):
        before = back
        for tried in _exchanges(best):
            found = back_from(run, run.start, 0, tried)
            if found is not None and found < back:
                best, back = tried, found
        if back == before:
            break
    return best


def _exchanges(order: Order) -> Iterator[Order]:
    size = len(order)
    for first in range(size - 1):
        for last in range(first + 2, size + 1):
            yield order[:first] + order[first:last][::-1] + order[last:]
    for many in MOVED_TOGETHER:
        for first in range(size - many + 1):
            moved, rest = order[first : first + many], order[:first] + order[first + many :]
            for at in range(len(rest) + 1):
                if at != first:
                    yield rest[:at] + moved + rest[at:]
                    yield rest[:at] + moved[::-1] + rest[at:]
