"""How long a burst lasts and a pupil waits, and how many cabins would be enough.

Waits and clearing times are of pupils who all stay until they are served, also beyond the bell.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from tracker.measures import burst_gamma
from tracker.measures.burst import (
    SLACK,
    Floats,
    VisitTime,
    all_done,
    all_entered,
    check_burst,
    collected,
    visit_within,
    visits_ended,
)

Until = Literal["done", "entered"]
TAIL = 1e-10


@dataclass(frozen=True, slots=True)
class Wait:
    """Minutes in the queue of a pupil picked at random: mean, and the time that 95 % do not exceed."""

    mean_min: float
    p95_min: float


@dataclass(frozen=True, slots=True)
class ClearTime:
    """Minutes until the last has left: mean, standard deviation, and the time kept in 95 % of breaks."""

    mean_min: float
    sd_min: float
    p95_min: float


@dataclass(frozen=True, slots=True)
class CabinsNeeded:
    """The smallest number of cabins that is enough, or None: no number is. ``share`` is what it achieves, or
    the most that any number of cabins can achieve."""

    cabins: int | None
    share: float


def share_waiting_at_most(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    """P(a pupil picked at random waits no longer than this) = expected pupils entered by then ÷ n. Exact.

    Raises:
        ValueError: no pupil, or no cabin.
    """
    _check_some(pupils, cabins)
    return 1 - _waiting_then(pupils, cabins, minutes, time) / pupils


def _check_some(pupils: int, cabins: int) -> None:
    if pupils < 1 or cabins < 1:
        raise ValueError(f"a wait needs at least one pupil and one cabin, got {pupils} and {cabins}")


@lru_cache(maxsize=4096)
def wait(pupils: int, cabins: int, time: VisitTime) -> Wait:
    """Mean and 95th percentile of the wait in the queue.

    Exponential: mean m(n − c)(n − c + 1) ÷ 2nc. Fixed: pupil i waits ⌊(i − 1) ÷ c⌋ visits. Other shapes: the
    mean is the integral of the share still waiting. The percentile is exact for every shape, found by halving.

    Raises:
        ValueError: no pupil, or no cabin.

    >>> round(wait(30, 4, VisitTime(1.5)).mean_min, 7)
    4.3875
    """
    _check_some(pupils, cabins)
    queue, mean = max(0, pupils - cabins), time.mean_min
    if time.shape == math.inf:
        waits = np.sort(np.arange(pupils) // cabins * mean)
        return Wait(float(waits.mean()), float(waits[math.ceil(0.95 * pupils - SLACK) - 1]))
    p95 = _first_time(lambda t: share_waiting_at_most(pupils, cabins, t, time), 0.95, mean)
    if time.shape == 1:
        return Wait(mean * queue * (queue + 1) / (2 * pupils * cabins), p95)
    total, _ = _moments(lambda t: _waiting_then(pupils, cabins, t, time), _horizon(pupils, cabins, time))
    return Wait(total / pupils, p95)


def _waiting_then(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    """Pupils expected to wait still; for one number of pupils and many times (no table is kept)."""
    queue = pupils - cabins
    if queue <= 0:
        return 0.0
    ended = visits_ended(queue, cabins, minutes, time)
    return float((queue - np.arange(queue)) @ ended)


def _first_time(reached: Callable[[float], float], share: float, step: float) -> float:
    """First time at which a growing share is reached, to a billionth of the time."""
    from scipy.optimize import brentq

    if reached(0.0) >= share:
        return 0.0
    high = step
    while reached(high) < share:
        high *= 2
    return float(brentq(lambda t: reached(t) - share, 0.0, high, xtol=1e-9 * high))


def _horizon(pupils: int, cabins: int, time: VisitTime) -> float:
    """A time by which everybody is done but for a probability of 1e-10."""
    high = time.mean_min * (pupils / cabins + 1)
    while _done_then(pupils, cabins, high, time) < 1 - TAIL:
        high *= 1.4
    return high


def _moments(left: Callable[[float], float], horizon: float, panels: int = 12) -> tuple[float, float]:
    """∫ left dt and ∫ 2t·left dt from 0 to the horizon: the first two moments of a time left behind."""
    points, weights, _ = burst_gamma.unit_rule()
    edges = np.linspace(0.0, horizon, panels + 1)
    times = (edges[:-1, None] + horizon / panels * points).ravel()
    each = np.tile(horizon / panels * weights, panels)
    values = np.array([left(float(t)) for t in times])
    return float(each @ values), float(each @ (2 * times * values))


def _done_then(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    if pupils <= cabins:
        return visit_within(minutes, time) ** pupils
    if time.shape == 1:
        return float(collected(pupils - cabins, cabins, cabins * minutes / time.mean_min)[cabins])
    size = pupils - cabins + 1
    found: Floats = burst_gamma.all_done(size, cabins, minutes, time.mean_min, time.shape)
    return float(found[size - 1])


@lru_cache(maxsize=1024)
def clear_time(pupils: int, cabins: int, time: VisitTime) -> ClearTime:
    """Time until the last of n pupils has left c cabins; 0 for nobody.

    Exponential: mean m((n − c)/c + H_c), variance m²((n − c)/c² + Σ 1/k², k to c), with n for c where n < c.
    Fixed: ⌈n ÷ c⌉ visits. Other shapes: moments are integrals of the probability not to be done (relative error
    below 1e-5). The 95 % time is the root of P(all done) = 0.95.

    Raises:
        ValueError: pupils without a cabin.

    >>> found = clear_time(30, 4, VisitTime(1.5))
    >>> found.mean_min, round(found.sd_min, 7)
    (12.875, 2.6190409)
    """
    if pupils == 0:
        return ClearTime(0.0, 0.0, 0.0)
    _check_some(pupils, cabins)
    mean = time.mean_min
    if time.shape == math.inf:
        clear = -(-pupils // cabins) * mean
        return ClearTime(clear, 0.0, clear)
    p95 = _first_time(lambda t: _done_then(pupils, cabins, t, time), 0.95, mean)
    if time.shape == 1:
        busy = min(pupils, cabins)
        first = (pupils - busy) / busy + math.fsum(1 / k for k in range(1, busy + 1))
        second = (pupils - busy) / busy**2 + math.fsum(1 / k**2 for k in range(1, busy + 1))
        return ClearTime(mean * first, mean * math.sqrt(second), p95)
    one, two = _moments(lambda t: 1 - _done_then(pupils, cabins, t, time), _horizon(pupils, cabins, time))
    return ClearTime(one, math.sqrt(max(0.0, two - one * one)), p95)


@lru_cache(maxsize=4096)
def cabins_needed(
    pupils: int, minutes: float, time: VisitTime, share: float = 0.95, until: Until = "done"
) -> CabinsNeeded:
    """The fewest cabins with which everyone is done (or has entered) by the bell in this share of breaks.

    With a cabin for each pupil nobody waits, and more cabins change nothing; if that is not enough, no number
    is, for some visits last longer than the break. ⌈n·m ÷ T⌉ cabins, by the mean alone, are far too few.

    Raises:
        ValueError: a negative number, or a share outside 0 to 1.

    >>> cabins_needed(30, 15, VisitTime(1.5)).cabins
    6
    >>> cabins_needed(10, 5, VisitTime(1.0)).cabins is None
    True
    """
    check_burst(pupils, 0, minutes)
    if not 0 < share <= 1:
        raise ValueError(f"the share of breaks must be above 0 and at most 1, got {share}")
    if pupils == 0:
        return CabinsNeeded(0, 1.0)
    chance = all_done if until == "done" else all_entered
    best = visit_within(minutes, time) ** pupils if until == "done" else 1.0
    if best < share:
        return CabinsNeeded(None, best)
    low, high = 0, 1
    while high < pupils and chance(pupils, high, minutes, time) < share:
        low, high = high, min(pupils, 2 * high)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(pupils, middle, minutes, time) >= share else (middle, high)
    return CabinsNeeded(high, chance(pupils, high, minutes, time))
