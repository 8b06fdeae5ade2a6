"""What the ledger works out from what was reported about one product at one place: plain numbers, no SQL.

The days are played in order; within a day what came in comes first, then what left, then the count (which is made
at the end of its day). Where more left than was there, the rest is a shortfall; where nobody named the lot, the first
to expire is taken to have left; a count that differs is settled. The answer depends on the facts and their days only,
never on the order in which they arrived.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from tracker.vocabulary import WorkedOut

Line = tuple[date, int, WorkedOut]  # day, lot, why
FAR = date.max


@dataclass(slots=True)
class StockDay:
    """What was reported for a day: pieces in and out by lot, and what was counted (None: nobody counted).

    ``found`` and ``missed``: of what came and left, what somebody wrote as a difference of a count.
    ``vends``: what the machine's counter moved on since the last count, None where that is not known.
    """

    came: dict[int, int] = field(default_factory=dict)
    left: dict[int, int] = field(default_factory=dict)
    given_out: int = 0  # of what left, what was said to have been given out
    found: int = 0
    missed: int = 0
    counted: int | None = None
    vends: int | None = None


@dataclass(frozen=True, slots=True)
class Shelf:
    """What is asked about: the lot "unknown" of the product, when the others expire, and whether it is a machine."""

    unknown: int
    expires: Mapping[int, date | None]
    machine: bool


def first_to_leave(lots: Sequence[int], shelf: Shelf, day: date) -> list[int]:
    """Lots in the order in which they are taken to leave: first expiry first, then without one, expired ones last.

    >>> shelf = Shelf(9, {1: date(2026, 3, 1), 2: date(2026, 2, 1), 3: date(2025, 1, 1), 9: None}, False)
    >>> first_to_leave([1, 2, 3, 9], shelf, date(2026, 1, 1))
    [2, 1, 9, 3]
    """

    def order(lot: int) -> tuple[bool, date, int]:
        until = shelf.expires.get(lot)
        return (until is not None and until < day, until or FAR, lot)

    return sorted(lots, key=order)


class _Play:
    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        self.held: dict[int, int] = defaultdict(int)
        self.lines: dict[Line, int] = defaultdict(int)
        self.given_out = 0
        self.begun = False

    def day(self, day: date, said: StockDay) -> None:
        for lot, pieces in said.came.items():
            self.held[lot] += pieces
        for lot in sorted(said.left, key=lambda one: (one == self.shelf.unknown, one)):  # named lots first
            self._leave(day, lot, said.left[lot])
        self.given_out += said.given_out
        if said.counted is not None:
            self._count(day, said.counted, said.vends)
            self.given_out = 0
        self.begun = True

    def _leave(self, day: date, lot: int, pieces: int) -> None:
        rest = pieces - self._take(lot, pieces)
        unknown = self.shelf.unknown
        others = first_to_leave(list(self.held), self.shelf, day) if lot == unknown else [unknown]
        for other in others if rest else ():
            taken = self._take(other, rest)
            if taken:
                self.lines[day, other, WorkedOut.LOT] -= taken
                self.lines[day, lot, WorkedOut.LOT] += taken
                rest -= taken
        if rest:
            self.lines[day, lot, WorkedOut.SHORTFALL] += rest

    def _take(self, lot: int, pieces: int) -> int:
        taken = min(self.held.get(lot, 0), pieces)
        if taken:
            self.held[lot] -= taken
        return taken

    def _count(self, day: date, counted: int, vends: int | None) -> None:
        there = sum(self.held.values())
        if self.shelf.machine and not self.given_out:
            given = max(there - counted, 0) if vends is None else vends
            self._on(day, given - there, WorkedOut.COUNT)  # the counter gave more than was on record
            self._off(day, given, WorkedOut.GIVEN_OUT)
            there = max(there - given, 0)
        self._off(day, there - counted, WorkedOut.COUNT)
        self._on(day, counted - there, WorkedOut.COUNT if self.begun else WorkedOut.OPENING)

    def _on(self, day: date, pieces: int, why: WorkedOut) -> None:
        if pieces > 0:
            self.lines[day, self.shelf.unknown, why] += pieces
            self.held[self.shelf.unknown] += pieces

    def _off(self, day: date, pieces: int, why: WorkedOut) -> None:
        if pieces <= 0:
            return
        for lot in first_to_leave(list(self.held), self.shelf, day):
            taken = self._take(lot, pieces)
            if taken:
                self.lines[day, lot, why] -= taken
                pieces -= taken


def replay(days: Mapping[date, StockDay], shelf: Shelf) -> dict[Line, int]:
    """Pieces by day, lot and reason that make the reported facts add up: above zero they come in, below they go out.

    >>> shelf = Shelf(9, {9: None}, machine=False)
    >>> first, second = date(2026, 2, 2), date(2026, 2, 6)
    >>> replay({first: StockDay(came={9: 40}), second: StockDay(left={9: 60}, counted=5)}, shelf)
    {(datetime.date(2026, 2, 6), 9, <WorkedOut.SHORTFALL: 'shortfall'>): 20, \
(datetime.date(2026, 2, 6), 9, <WorkedOut.COUNT: 'count'>): 5}
    """
    play = _Play(shelf)
    for day in sorted(days):
        play.day(day, days[day])
    return {line: pieces for line, pieces in play.lines.items() if pieces}
