"""A device's own counter made to run on: over the end of its digits, and over a restart from zero.

One row a period (hour, day, week) with two maxima, so that what is worked out is the same in whatever order readings
came. Between periods a fall from the top tenth of the range into the bottom tenth is a turn over the end; any
other fall is a restart, of which only what was counted since is known. (The tenth: common practice, no published
source; the same rule as for what a person reads.)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

TENTH = 10


class Period(NamedTuple):
    """Readings of one period: the highest, and the highest in the lowest tenth of the range (None: none there)."""

    highest: int
    after_turn: int | None


class Run(NamedTuple):
    """Where a counter stands: ``value`` as the dial would show it had it never restarted, ``raw`` as it shows."""

    value: int
    raw: int
    restarts: int = 0


def low_part(value: int, digits: int) -> int | None:
    """The value where it is in the lowest tenth of the range, else None.

    >>> low_part(12, 3), low_part(512, 3)
    (12, None)
    """
    return value if value < 10**digits // TENTH else None


def readings_of(period: Period, digits: int) -> tuple[int, ...]:
    """The readings of a period that count, in order: the last before a turn over the end, then the last.

    >>> readings_of(Period(998, 3), 3), readings_of(Period(412, 90), 3)
    ((998, 3), (412,))
    """
    size = 10**digits
    if period.after_turn is not None and period.highest >= size - size // TENTH:
        return period.highest, period.after_turn
    return (period.highest,)


def run_on(start: Run | None, periods: Iterable[Period], digits: int) -> Iterator[Run]:
    """How the counter stands after each period, from how it stood before the first (None: at its first reading).

    >>> [run.value for run in run_on(None, [Period(995, None), Period(999, 4), Period(10, 10)], 3)]
    [995, 4, 10]
    >>> [(run.value, run.restarts) for run in run_on(None, [Period(500, None), Period(7, 7), Period(9, 9)], 3)]
    [(500, 0), (507, 1), (509, 1)]
    """
    run = start
    for period in periods:
        for raw in readings_of(period, digits):
            run = Run(raw, raw) if run is None else _next(run, raw, 10**digits)
        if run is not None:
            yield run


def _next(run: Run, raw: int, size: int) -> Run:
    if raw >= run.raw:
        return Run((run.value + raw - run.raw) % size, raw, run.restarts)
    if run.raw >= size - size // TENTH and raw < size // TENTH:
        return Run((run.value + size - run.raw + raw) % size, raw, run.restarts)
    return Run((run.value + raw) % size, raw, run.restarts + 1)
