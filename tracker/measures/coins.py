"""What a machine's counter says was paid, beside what was found in its coin box.

Purpose: between two emptyings, vends by the counter × the price in force against the cash that two people counted.
A gap is shown with its size; jams, free vends, slips and theft are told apart only if somebody says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise

from tracker.measures.dials import use_between
from tracker.measures.figure import Figure
from tracker.vocabulary import Basis

DAY = timedelta(days=1)
PRICE_CHANGED = (
    "the price changed between two emptyings: the vends are shared by days, the limits take all at one price"
)


class CoinState(StrEnum):
    """How the cash of a period stands to its counter."""

    AGREES = "agrees"
    LESS = "less than the counter says"
    MORE = "more than the counter says"
    NOT_RECORDED = "not recorded"


@dataclass(frozen=True, slots=True)
class Emptying:
    """A coin box emptied on a day: the vend counter's digits (None: nobody read it) and the cash found."""

    day: date
    counter: int | None
    cash_minor: int


@dataclass(frozen=True, slots=True)
class Price:
    """The price of one from a day on, in minor units; 0 where it is free."""

    from_day: date
    minor: int


@dataclass(frozen=True, slots=True)
class CoinPeriod:
    """From the day after one emptying to the next: vends, what they should have brought (with limits), the cash."""

    from_day: date
    until_day: date
    vends: int | None
    expected_minor: float | None
    low_minor: int | None
    high_minor: int | None
    cash_minor: int
    state: CoinState

    @property
    def gap_minor(self) -> float | None:
        """Cash less what was expected; None where the counter is blank."""
        return None if self.expected_minor is None else self.cash_minor - self.expected_minor


def coin_periods(emptyings: Sequence[Emptying], prices: Sequence[Price], digits: int) -> list[CoinPeriod]:
    """Periods of one machine between its emptyings, oldest first; the first emptying only opens the first period.

    expected = vends × price. Where the price changed within a period the vends are shared by the days that each
    price held; low and high take all vends at the lowest and the highest price. A blank counter at either end, or no
    price on record, makes the period "not recorded": it is not zero. Cash within the limits agrees.

    Args:
        emptyings: of one machine and one installed counter, any order; two of one day stand as they were given.
        prices: of the machine, any order; the latest at or before a day holds on it.
        digits: of the counter, for its roll-over.
    Raises:
        ValueError: a reading does not fit on the counter.
    Source: arithmetic of a vending cash control (counter difference × price); common practice, no published source.

    >>> boxes = [Emptying(date(2026, 1, 5), 100, 0), Emptying(date(2026, 2, 2), 160, 290)]
    >>> period, = coin_periods(boxes, [Price(date(2025, 9, 1), 5)], digits=5)
    >>> period.vends, period.expected_minor, period.gap_minor, period.state.value
    (60, 300.0, -10.0, 'less than the counter says')
    """
    rows = sorted(emptyings, key=lambda one: one.day)
    known = sorted(prices, key=lambda one: one.from_day)
    return [_period(before, now, known, digits) for before, now in pairwise(rows)]


def _period(before: Emptying, now: Emptying, prices: Sequence[Price], digits: int) -> CoinPeriod:
    first = min(before.day + DAY, now.day)
    days = _days_at(prices, first, now.day)
    if before.counter is None or now.counter is None or not days:
        vends = None
        if before.counter is not None and now.counter is not None:
            vends = use_between(before.counter, now.counter, digits)
        return CoinPeriod(first, now.day, vends, None, None, None, now.cash_minor, CoinState.NOT_RECORDED)
    vends = use_between(before.counter, now.counter, digits)
    expected = vends * sum(minor * count for minor, count in days.items()) / sum(days.values())
    low, high = vends * min(days), vends * max(days)
    state = CoinState.AGREES
    if now.cash_minor < low:
        state = CoinState.LESS
    elif now.cash_minor > high:
        state = CoinState.MORE
    return CoinPeriod(first, now.day, vends, expected, low, high, now.cash_minor, state)


def _days_at(prices: Sequence[Price], first: date, last: date) -> dict[int, int]:
    """Days of a span by the price that held; empty where a day has none on record."""
    found: dict[int, int] = {}
    day = first
    while day <= last:
        held = [price.minor for price in prices if price.from_day <= day]
        if not held:
            return {}
        found[held[-1]] = found.get(held[-1], 0) + 1
        day += DAY
    return found


def banked_gap(periods: Sequence[CoinPeriod], currency: str) -> Figure:
    """Cash less what the counters say, summed over periods, in "minor units of" the currency.

    ``used`` counts periods with a counter at both ends, ``expected`` all; None where none has. Counted where every
    period had one price; modelled, with limits, where a price changed within one.

    >>> boxes = [Emptying(date(2026, 1, 5), 100, 0), Emptying(date(2026, 2, 2), 160, 290)]
    >>> gap = banked_gap(coin_periods(boxes, [Price(date(2025, 9, 1), 5)], digits=5), "XTS")
    >>> gap.value, gap.unit, gap.basis.value, gap.used, gap.expected
    (-10.0, 'minor units of XTS', 'counted', 1, 1)
    """
    unit, records = f"minor units of {currency}", "periods between emptyings"
    known = [one for one in periods if one.expected_minor is not None]
    if not known:
        return Figure(None, unit, Basis.COUNTED, expected=len(periods), records=records)
    value = sum(one.gap_minor or 0.0 for one in known)
    low = sum(one.cash_minor - (one.high_minor or 0) for one in known)
    high = sum(one.cash_minor - (one.low_minor or 0) for one in known)
    ranged = low < high
    return Figure(
        value,
        unit,
        Basis.MODELLED if ranged else Basis.COUNTED,
        low=low if ranged else None,
        high=high if ranged else None,
        used=len(known),
        expected=len(periods),
        records=records,
        note=PRICE_CHANGED if ranged else "",
    )
