"""Fair shares: as many days for everybody, or the lowest share first.

``equal_run_out`` and ``max_min`` share out a quantity that can be cut anywhere; both raise a common level until the
quantity is used up, and those who have reached their most step aside (progressive filling). ``even_packs`` does it
with the limits of a round and rounds to whole packs; ``lowest_first`` goes pack by pack.

Source: fair-share allocation (lecture note on equal run-out); S. Keshav, An Engineering Approach to Computer
Networking, Addison-Wesley 1997, pp. 215-217 (max-min fair shares).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tracker.measures.restock_lines import Round, Wholes
from tracker.measures.restock_loss import Numbers

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Shares:
    """A quantity shared out: shares, and the level (days, or share a weight) that all reach who could be raised."""

    level: float
    shares: Numbers


@dataclass(frozen=True, slots=True)
class Filling:
    """Lines that are raised together: at level t a line takes rate · t − have, at least ``least``, at most ``most``."""

    rate: Numbers
    have: Numbers
    least: Numbers
    most: Numbers

    def at(self, level: float) -> Numbers:
        """What each line takes at a level."""
        raised = self.rate * level if math.isfinite(level) else np.where(self.rate > 0, np.inf, 0.0)
        return np.minimum(np.maximum(raised - self.have, self.least), self.most)

    def level_for(self, amount: float, weight: Numbers) -> float:
        """The highest level at which Σ weight · taken does not exceed the amount; inf where it never does.

        The sum bends only where a line begins to take more than its least and where it reaches its most.
        """
        moves = (self.rate > 0) & (weight > 0) & (self.most > self.least)
        rate, have, least, most, heavy = (x[moves] for x in (self.rate, self.have, self.least, self.most, weight))
        if float(weight @ self.most) <= amount or not len(rate):
            return math.inf
        level = np.r_[(have + least) / rate, (have + most) / rate]
        order = np.argsort(level, kind="stable")
        slope = np.cumsum(np.r_[rate * heavy, -rate * heavy][order])
        level = level[order]
        total = float(weight @ self.least) + np.r_[0.0, np.cumsum(slope[:-1] * np.diff(level))]
        last = int(np.searchsorted(total, amount, side="right")) - 1
        if last < 0:
            return float(level[0])
        if last == len(level) - 1:
            return math.inf
        return float(level[last] + (amount - total[last]) / slope[last]) if slope[last] > 0 else float(level[last + 1])


def equal_run_out(amount: float, on_hand: Sequence[float], per_day: Sequence[float]) -> Shares:
    """Share out an amount so that everybody's supplies last equally many days.

    Who has more days already gets nothing; who uses nothing gets nothing.

    Args:
        amount: pieces, at least 0. on_hand: pieces. per_day: pieces used a day. Both of one length.
    Returns:
        The common run-out day (inf where nobody uses anything) and pieces for each.
    Raises:
        ValueError: a number is negative.

    >>> found = equal_run_out(500, [50, 100, 75], [10, 50, 15])
    >>> round(found.level, 4), found.shares.round(4).tolist()
    (9.6667, [46.6667, 383.3333, 70.0])
    """
    have, rate = np.asarray(on_hand, dtype="float64"), np.asarray(per_day, dtype="float64")
    return _shared(amount, rate, have, np.full(len(rate), np.inf))


def max_min(capacity: float, demands: Sequence[float], weights: Sequence[float] | None = None) -> Shares:
    """Max-min fair shares: nobody gets more than asked, and the rest gets equal shares of what is left, by weight.

    Returns:
        Share for a weight of 1 (inf where everybody gets all that was asked) and each share.
    Raises:
        ValueError: a number is negative.

    >>> max_min(10, [2, 2.6, 4, 5]).shares.round(9).tolist()
    [2.0, 2.6, 2.7, 2.7]
    >>> max_min(16, [4, 2, 10, 4], [2.5, 4, 0.5, 1]).shares.round(9).tolist()
    [4.0, 2.0, 6.0, 4.0]
    """
    asked = np.asarray(demands, dtype="float64")
    rate = np.ones(len(asked)) if weights is None else np.asarray(weights, dtype="float64")
    return _shared(capacity, rate, np.zeros(len(asked)), asked)


def _shared(amount: float, rate: Numbers, have: Numbers, most: Numbers) -> Shares:
    if amount < 0 or (rate < 0).any() or (have < 0).any() or (most < 0).any():
        raise ValueError("amounts, stocks, uses and weights cannot be negative")
    ceiling = np.where(rate > 0, np.minimum(most, 2 * amount + 1), 0.0)  # nobody can get more than the amount
    filling = Filling(rate, have, np.zeros(len(rate)), ceiling)
    level = filling.level_for(amount, np.ones(len(rate)))
    return Shares(level, filling.at(level))


def whole_by_remainder(shares: Numbers, total: int) -> Wholes:
    """Whole numbers with the given sum: each share cut, the largest remainders one more, ties to the first.

    Raises:
        ValueError: the total is not between the sum of the cut shares and that of the shares rounded up.

    >>> whole_by_remainder(np.array([46.6667, 383.3333, 70.0]), 500).tolist()
    [47, 383, 70]
    """
    cut = np.floor(shares + 1e-9)
    rest = total - int(cut.sum())
    if not 0 <= rest <= int((shares - cut > 1e-9).sum()):
        raise ValueError("the total does not belong to these shares")
    more = np.argsort(-np.round(shares - cut, 9), kind="stable")[:rest]
    cut[more] += 1
    return cut.astype("int64")


def even_packs(made: Round, per_day: Numbers) -> Wholes:
    """Packs for a common run-out day: as late as store, budget and vehicle allow, in whole packs.

    A line that a limit holds back keeps the day it has reached; the others go on. Whole packs by largest remainder
    within each product; less than a pack of each product may be left of a shared limit.
    """
    rate = np.where(made.known & np.isfinite(per_day), per_day, 0.0) / made.size
    have = np.where(made.known, made.stock, 0.0) / made.size
    least, most = made.least.astype("float64"), made.most.astype("float64")
    open_lines = made.most > made.least
    taken = least.copy()
    weights, caps = _all_limits(made)
    while open_lines.any():
        filling = Filling(rate, have, np.where(open_lines, least, taken), np.where(open_lines, most, taken))
        levels = [filling.level_for(cap, weight) for weight, cap in zip(weights, caps, strict=True)]
        first = min(levels)
        taken = filling.at(first)
        if math.isinf(first):
            break
        for weight in (w for w, level in zip(weights, levels, strict=True) if level <= first + 1e-12):
            open_lines &= weight == 0
    return _whole_packs(made, taken)


def _all_limits(made: Round) -> tuple[list[Numbers], list[float]]:
    """Weight of a pack of each line in each limit, the store's of each product first, and the limits."""
    store = [np.where(made.product == row, 1.0, 0.0) for row in range(len(made.products))]
    shared = [row[made.product].astype("float64") for row in made.costs]
    return store + shared, [*map(float, made.store), *map(float, made.limits)]


def _whole_packs(made: Round, taken: Numbers) -> Wholes:
    packs = np.zeros(len(taken), dtype="int64")
    for row in range(len(made.products)):
        mine = made.product == row
        packs[mine] = whole_by_remainder(taken[mine], math.floor(float(taken[mine].sum()) + 1e-7))
    return packs


def lowest_first(made: Round, line: npt.NDArray[np.intp], level: Numbers, start: Wholes) -> Wholes:
    """Pack by pack to the line whose level is lowest, until nothing fits; ties by product and school.

    A product of which a pack no longer fits gets no more; the others go on. The lowest level reached is the highest
    that whole packs allow, because every pack before it had to be given.

    Args:
        line: the line of each pack that may be added, a line's packs in order. level: what the line stands at without
            that pack. start: packs given already.
    """
    packs = start.copy()
    store = (made.store - made.by_product(start)).tolist()
    left = (made.limits - made.costs @ made.by_product(start)).tolist()
    costs = made.costs.T.tolist()
    owner, closed = made.product.tolist(), set[int]()
    order = np.lexsort((np.arange(len(line)), np.round(level, 12)))
    for row in line[order].tolist():
        product = owner[row]
        if product in closed:
            continue
        if store[product] < 1 or any(cost > rest for cost, rest in zip(costs[product], left, strict=True)):
            closed.add(product)
            continue
        store[product] -= 1
        left = [rest - cost for cost, rest in zip(costs[product], left, strict=True)]
        packs[row] += 1
    return packs
