"""Pupils who come one by one at an even rate, as in lesson time or when classes are let out in turn.

Never for a break that begins with a bell: there all come at once (module ``burst``).

Source: A. K. Erlang's formulas B and C (from memory), checked against the outputs of two published packages.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Steady:
    """A queue in balance: share of pupils who wait, mean wait in the unit of the mean time, mean queue length."""

    share_waiting: float
    mean_wait: float
    mean_queue: float


def _check(load: float, cabins: int) -> None:
    if not (load >= 0 and math.isfinite(load)) or cabins < 1:
        raise ValueError(f"the load must be 0 or more and there must be a cabin, got {load} and {cabins}")


def share_turned_away(load: float, cabins: int) -> float:
    """Erlang B: share of pupils who find every cabin taken and go away again. B(k) = aB(k−1) ÷ (k + aB(k−1)).

    Args:
        load: arrivals per unit of time × mean time per visit.

    >>> round(share_turned_away(25, 30), 10)
    0.0526031722
    """
    _check(load, cabins)
    share = 1.0
    for cabin in range(1, cabins + 1):
        share = load * share / (cabin + load * share)
    return share


def steady_queue(load: float, cabins: int, mean: float) -> Steady | None:
    """Erlang C: the queue of pupils who wait, exponential times; None where the load is as much as the cabins.

    C = B ÷ (1 − (a/c)(1 − B)); mean wait C·m ÷ (c − a); queue C·a ÷ (c − a). With a load of c or more the queue
    grows for as long as pupils come: there is no balance to describe.

    >>> steady_queue(3, 3, 1.0) is None
    True
    >>> round(steady_queue(2, 3, 1.0).share_waiting, 7)
    0.4444444
    """
    _check(load, cabins)
    if load >= cabins:
        return None
    lost = share_turned_away(load, cabins)
    waiting = lost / (1 - load / cabins * (1 - lost))
    return Steady(waiting, waiting * mean / (cabins - load), waiting * load / (cabins - load))


def share_served_within(load: float, cabins: int, mean: float, limit: float) -> float | None:
    """Share of pupils who wait no longer than ``limit``: 1 − C·exp(−(c − a)·t ÷ m); None where there is no balance."""
    queue = steady_queue(load, cabins, mean)
    if queue is None:
        return None
    return 1 - queue.share_waiting * math.exp(-(cabins - load) * limit / mean)


def load_for(cabins: int, share: float) -> float:
    """The load at which this share is turned away (Erlang B turned round).

    Raises:
        ValueError: a share that is not between 0 and 1.

    >>> round(load_for(1, 0.05), 4)
    0.0526
    """
    from scipy.optimize import brentq

    if not 0 < share < 1:
        raise ValueError(f"the share must lie between 0 and 1, got {share}")
    high = float(cabins)
    while share_turned_away(high, cabins) < share:
        high *= 2
    return float(brentq(lambda load: share_turned_away(load, cabins) - share, 0.0, high, xtol=1e-12))
