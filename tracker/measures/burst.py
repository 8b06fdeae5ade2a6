"""The bell rings and all come at once: n pupils, c usable cabins, first come first served.

Times per visit are independent and of one mean; how they spread is a gamma distribution of a given shape:
1 is exponential (the heavy end), infinity is a fixed time (the light end), whole shapes are Erlang's. Nobody
gives up and nobody comes later: the worst case of a break.

While pupils still wait, every cabin is a renewal process of its own. So the number that have entered by time t
is c plus the sum of c independent renewal counts, at most n: exact for every shape. When the queue is empty the
rest of the story is exact for exponential times (each cabin's last visit begins anew at every instant, so the
visits still to end are collected like c coupons) and an integral for other shapes (module ``burst_gamma``).

Source: derived from the renewal property, checked by matrix exponentials of the phases and by simulation; no
outside source. D. R. Cox, Renewal Theory, for counts of renewals (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tracker.measures import burst_gamma

Floats = npt.NDArray[np.float64]
SLACK = 1e-9  # a fixed time that fits k times into the break but for rounding does fit
STEP = 64  # tables are made for up to a multiple of so many pupils, so that they are found again
MOST_SHAPE = 100.0


@dataclass(frozen=True, slots=True)
class VisitTime:
    """Time per visit: its mean in minutes and the shape of its spread (1 exponential, infinity fixed).

    Raises:
        ValueError: a mean that is not above 0, or a shape below 1 or between 100 and infinity.
    """

    mean_min: float
    shape: float = 1.0

    def __post_init__(self) -> None:
        if not (self.mean_min > 0 and math.isfinite(self.mean_min)):
            raise ValueError(f"the mean time per visit must be above 0 minutes, got {self.mean_min}")
        if not (1 <= self.shape <= MOST_SHAPE or self.shape == math.inf):
            raise ValueError(f"the shape must be 1 to {MOST_SHAPE:.0f}, or infinity for a fixed time, got {self.shape}")


@dataclass(frozen=True, slots=True)
class BurstTable:
    """What a break of one length with c cabins does to 0, 1, 2, … pupils (arrays by that number).

    all_entered, all_done: probability that everyone has entered, has finished, by the bell.
    waiting: pupils expected to stand in the queue still when the bell rings.
    """

    all_entered: Floats
    all_done: Floats
    waiting: Floats


def check_burst(pupils: int, cabins: int, minutes: float) -> None:
    """Refuse negative numbers of pupils and cabins, and a length that is negative or not finite.

    Raises:
        ValueError: it is one of these.
    """
    if pupils < 0 or cabins < 0:
        raise ValueError(f"pupils and cabins cannot be negative, got {pupils} and {cabins}")
    if not (minutes >= 0 and math.isfinite(minutes)):
        raise ValueError(f"a break lasts 0 minutes or more, got {minutes}")


def burst_table(most: int, cabins: int, minutes: float, time: VisitTime) -> BurstTable:
    """Probabilities for every number of pupils from 0 to at least ``most``; worked out once and kept.

    Without a cabin nobody enters. Nobody to serve is served.

    Raises:
        ValueError: negative numbers.

    >>> float(round(burst_table(30, 4, 15, VisitTime(1.5)).all_done[30], 7))
    0.8057663
    """
    check_burst(most, cabins, minutes)
    return _table(-(-(most + 1) // STEP) * STEP, cabins, float(minutes), time)


@lru_cache(maxsize=4096)
def _table(size: int, cabins: int, minutes: float, time: VisitTime) -> BurstTable:
    pupils = np.arange(size)
    if cabins == 0:
        none = (pupils == 0).astype(float)
        return _kept(none, none.copy(), pupils.astype(float))
    visits = visits_ended(size, cabins, minutes, time)
    below = np.concatenate([[0.0], np.cumsum(visits)])  # below[k] = P(fewer than k visits have ended)
    queue = np.maximum(pupils - cabins, 0)
    entered = np.clip(1 - below[queue], 0.0, 1.0)
    waiting = np.cumsum(below)[queue]
    done = np.minimum(_all_done(size, cabins, minutes, time), entered)
    return _kept(entered, done, waiting)


def _kept(entered: Floats, done: Floats, waiting: Floats) -> BurstTable:
    for array in (entered, done, waiting):
        array.setflags(write=False)
    return BurstTable(entered, done, waiting)


def visits_ended(size: int, cabins: int, minutes: float, time: VisitTime) -> Floats:
    """P(exactly k visits have ended by then), k = 0 to size − 1, while pupils still wait at every cabin."""
    if time.shape == math.inf:
        ended = np.zeros(size)
        count = cabins * whole_visits(minutes, time)
        if count < size:
            ended[count] = 1.0
        return ended
    if time.shape == 1:
        return _poisson(size, cabins * minutes / time.mean_min)
    rows = burst_gamma.visits_ended(size, cabins, np.array([minutes]), time.mean_min, time.shape)
    return rows.reshape(-1)


def whole_visits(minutes: float, time: VisitTime) -> int:
    """Visits of a fixed time that fit one after another into the break.

    >>> whole_visits(0.3, VisitTime(0.1, math.inf))  # 0.3 ÷ 0.1 is a little below 3 in binary
    3
    """
    return math.floor(minutes / time.mean_min + SLACK)


def _poisson(size: int, mean: float) -> Floats:
    from scipy.special import gammaln, xlogy

    k = np.arange(size)
    return np.asarray(np.exp(xlogy(k, mean) - mean - gammaln(k + 1)), dtype=np.float64)


def visit_within(minutes: float, time: VisitTime) -> float:
    """P(one visit lasts no longer than this)."""
    from scipy.special import gammainc

    if time.shape == math.inf:
        return float(minutes >= time.mean_min * (1 - SLACK))
    return float(gammainc(time.shape, time.shape * minutes / time.mean_min))


def _all_done(size: int, cabins: int, minutes: float, time: VisitTime) -> Floats:
    pupils = np.arange(size)
    done = visit_within(minutes, time) ** np.minimum(pupils, cabins)  # everyone has a cabin at once
    if size <= cabins + 1:
        return done
    late = pupils[cabins + 1 :]
    if time.shape == math.inf:
        done[late] = -(-late // cabins) <= whole_visits(minutes, time)
    elif time.shape == 1:
        done[late] = _collected(size, cabins, cabins * minutes / time.mean_min)[late]
    else:
        ended = burst_gamma.all_done(size - cabins, cabins, minutes, time.mean_min, time.shape)
        done[late] = np.clip(ended[late - cabins], 0.0, 1.0)
    return done


def _collected(size: int, cabins: int, mean: float) -> Floats:
    """P(all done) for exponential times and n of at least c: after n − c visits, c more to collect.

    Σ over e of P(Poisson(cT/m) = n − c + e) × P(e draws hold all c coupons), e from c on; the Poisson tail that
    is left out is below 1e-15.
    """
    reach = size + _reach(mean)
    ended = _poisson(reach, mean)
    whole = _coupons(cabins, reach)[:, cabins]
    found = np.zeros(size)
    for queue in range(size - cabins):
        found[cabins + queue] = ended[queue:] @ whole[: reach - queue]
    return np.clip(found, 0.0, 1.0)


def _reach(mean: float) -> int:
    """Counts that a Poisson number of this mean does not exceed (below 1e-15), by steps to be found again."""
    return -(-math.ceil(mean + 12 * math.sqrt(mean) + 40) // STEP) * STEP


@lru_cache(maxsize=64)
def _coupons(kinds: int, draws: int) -> Floats:
    """P(e draws hold j of the kinds), a row for each e below ``draws``."""
    held = np.zeros((draws, kinds + 1))
    held[0, 0] = 1.0
    known = np.arange(kinds + 1) / kinds
    for draw in range(1, draws):
        held[draw] = held[draw - 1] * known
        held[draw, 1:] += held[draw - 1, :-1] * (1 - known[:-1])
    held.setflags(write=False)
    return held


def all_entered(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    """P(everyone has entered a cabin by the bell). Exact.

    >>> round(all_entered(30, 4, 15, VisitTime(1.5)), 7)
    0.9924336
    """
    return float(burst_table(pupils, cabins, minutes, time).all_entered[pupils])


def all_done(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    """P(everyone has left again by the bell). Exact, but for shapes between 1 and infinity an integral.

    >>> all_done(30, 4, 12, VisitTime(1.5, float("inf")))
    1.0
    """
    return float(burst_table(pupils, cabins, minutes, time).all_done[pupils])


def still_waiting(pupils: int, cabins: int, minutes: float, time: VisitTime) -> float:
    """Pupils expected to stand in the queue still when the bell rings. Exact."""
    return float(burst_table(pupils, cabins, minutes, time).waiting[pupils])


def entered(pupils: int, cabins: int, minutes: float, time: VisitTime) -> Floats:
    """P(exactly j pupils have entered by the bell), j = 0 to n. Exact."""
    check_burst(pupils, cabins, minutes)
    found = np.zeros(pupils + 1)
    if cabins == 0 or pupils <= cabins:
        found[min(cabins, pupils)] = 1.0
        return found
    ended = visits_ended(pupils - cabins, cabins, minutes, time)
    found[cabins:pupils] = ended
    found[pupils] = max(0.0, 1 - ended.sum())
    return found


def finished(pupils: int, cabins: int, minutes: float, time: VisitTime) -> Floats:
    """P(exactly j pupils were served, that is have left again, by the bell), j = 0 to n.

    Exact for exponential and fixed times and where everyone has a cabin at once; else an integral.

    >>> served = finished(30, 4, 15, VisitTime(1.5))
    >>> round(float(served @ range(31)), 7)
    29.6976018
    """
    from scipy.special import binom

    check_burst(pupils, cabins, minutes)
    j = np.arange(pupils + 1)
    if cabins == 0:
        return np.asarray(j == 0, dtype=np.float64)
    if time.shape == math.inf:
        return np.asarray(j == min(pupils, cabins * whole_visits(minutes, time)), dtype=np.float64)
    if pupils <= cabins:
        p = visit_within(minutes, time)
        chance: Floats = binom(pupils, j) * p**j * (1 - p) ** (pupils - j)
        return chance
    return _finished_with_queue(pupils, cabins, minutes, time)


def _finished_with_queue(pupils: int, cabins: int, minutes: float, time: VisitTime) -> Floats:
    queue = pupils - cabins
    found = np.zeros(pupils + 1)
    found[:queue] = visits_ended(queue, cabins, minutes, time)
    if time.shape == 1:
        found[queue:] = collected(queue, cabins, cabins * minutes / time.mean_min)
    else:
        left = burst_gamma.still_inside(queue, cabins, minutes, time.mean_min, time.shape)
        found[queue:] = np.clip(left[::-1], 0.0, 1.0)
    return found


def collected(queue: int, cabins: int, mean: float) -> Floats:
    """P(the queue is empty and j of the last c visits have ended), j = 0 to c, for exponential times.

    ``mean`` is cT/m, the visits that would end while pupils still wait.
    """
    reach = _reach(mean)
    after = _poisson(queue + reach, mean)[queue:]
    return np.asarray(after @ _coupons(cabins, reach), dtype=np.float64)
