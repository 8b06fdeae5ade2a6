"""Gamma times per visit in a burst: counts of renewals, and the integral over the moment the queue is empty.

With F the distribution of one visit and S_j the end of a cabin's j-th visit, P(a cabin has ended at least j) =
P(S_j ≤ t) = P(gamma of shape j·k), and the counts of c cabins are convolved. All this is exact to rounding.

The last pupil enters at τ, the end of visit n − c over all cabins. Everyone is done by T when τ ≤ T, the cabin
that ended at τ ends once more by T, and each other cabin, busy at τ with its visit j + 1, ends it by T:

    P = c ∫₀ᵀ Σ f_j(t)·F(T − t)·[G(t)^(c − 1)]_(n − c − j) dt,    G_j(t) = P(S_j ≤ t < S_(j+1) ≤ T)

integrated by Gauss and Legendre's rule on panels that grow finer where the density is steep (error below 1e-8 in
tests against the exact phases of Erlang times).

Source: derived, no outside source.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
POINTS = 8  # of the rule on one panel
SHORTEST = 1e-9  # minutes in which nobody is done; shorter times run out of floating point
TINY = 1e-17


def ended_at_least(most: int, minutes: Floats, mean: float, shape: float) -> Floats:
    """P(a cabin has ended at least j visits by each time), j = 0 to ``most``; a row for each time."""
    from scipy.special import gammainc

    j = np.arange(1, most + 1)
    some = np.asarray(gammainc(j * shape, minutes[:, None] * shape / mean), dtype=np.float64)
    return np.hstack([np.ones((len(minutes), 1)), some])


def most_visits(minutes: float, mean: float, shape: float) -> int:
    """More visits than a cabin can have ended by then, but for a probability below 1e-17."""
    from scipy.special import gammainc

    most = math.ceil(minutes / mean) + 4
    while gammainc(most * shape, minutes * shape / mean) > TINY:
        most = math.ceil(most * 1.25)
    return most


def visits_ended(size: int, cabins: int, minutes: Floats, mean: float, shape: float) -> Floats:
    """P(exactly k visits have ended over all cabins), k = 0 to size − 1, for each time, while pupils wait."""
    most = most_visits(float(minutes.max()), mean, shape)
    at_least = ended_at_least(most, minutes, mean, shape)
    counts = at_least[:, :-1] - at_least[:, 1:]
    length = _length(cabins * most + 1)
    spectrum = np.fft.rfft(counts, length, axis=1) ** cabins
    found = np.fft.irfft(spectrum, length, axis=1)[:, :size]
    return np.pad(np.maximum(found, 0.0), ((0, 0), (0, max(0, size - length))))


def _length(least: int) -> int:
    return 1 << max(1, least - 1).bit_length()


@lru_cache(maxsize=1)
def unit_rule() -> tuple[Floats, Floats, Floats]:
    """Points and weights on (0, 1), and the matrix that integrates from 0 up to each point."""
    x, w = np.polynomial.legendre.leggauss(POINTS)
    points = (x + 1) / 2
    powers = np.vander(points, POINTS, increasing=True)
    upto = points[:, None] ** np.arange(1, POINTS + 1) / np.arange(1, POINTS + 1)
    return points, w / 2, upto @ np.linalg.inv(powers)


def panel_edges(minutes: float, mean: float, shape: float) -> Floats:
    """Ends of the panels: even where the density waves, halved towards both ends where its powers are broken."""
    count = max(6, math.ceil(2 * minutes / mean * math.sqrt(shape)))
    even = np.linspace(0.0, minutes, count + 1)
    near = even[1] * 0.5 ** np.arange(1, 14)
    return np.unique(np.concatenate([even, near, minutes - near]))


class _Moments:
    """Everything at the points t: densities of S_j, G_j, and the chance that a cabin is busy still at T."""

    def __init__(self, minutes: float, mean: float, shape: float) -> None:
        edges = panel_edges(minutes, mean, shape)
        points, weights, upto = unit_rule()
        widths = np.diff(edges)
        self.times: Floats = (edges[:-1, None] + widths[:, None] * points).ravel()
        self.weights: Floats = (widths[:, None] * weights).ravel()
        most = most_visits(minutes, mean, shape)
        at_least = ended_at_least(most + 1, self.times, mean, shape)
        self.density = _densities(most, self.times, mean, shape)
        rest = ended_at_least(1, minutes - self.times, mean, shape)[:, 1]
        self.ends: Floats = rest  # P(a visit that begins at t ends by T)
        never = _running(self.density * (1 - rest)[:, None], widths, weights, upto)
        first_never = 1 - ended_at_least(1, np.array([minutes]), mean, shape)[0, 1]
        self.busy: Floats = np.hstack([np.full((len(rest), 1), first_never), never])
        self.over: Floats = np.maximum(at_least[:, :-1] - at_least[:, 1:] - self.busy, 0.0)
        self.most = most


def _densities(most: int, times: Floats, mean: float, shape: float) -> Floats:
    """Density of S_j at each time, j = 1 to ``most``."""
    from scipy.special import gammaln

    power = np.arange(1, most + 1) * shape
    rate = shape / mean
    log = (power - 1) * np.log(times)[:, None] + power * math.log(rate) - gammaln(power) - (times * rate)[:, None]
    return np.exp(log)


def _running(values: Floats, widths: Floats, weights: Floats, upto: Floats) -> Floats:
    """∫ from 0 to each point, column by column."""
    panels = values.reshape(len(widths), POINTS, -1)
    whole = np.einsum("q,pqj->pj", weights, panels) * widths[:, None]
    before = np.vstack([np.zeros((1, whole.shape[1])), np.cumsum(whole, axis=0)[:-1]])
    inside = np.einsum("rq,pqj->prj", upto, panels) * widths[:, None, None]
    found: Floats = (before[:, None, :] + inside).reshape(values.shape)
    return found


@lru_cache(maxsize=8)
def _moments(minutes: float, mean: float, shape: float) -> _Moments:
    return _Moments(minutes, mean, shape)


def all_done(size: int, cabins: int, minutes: float, mean: float, shape: float) -> Floats:
    """P(everyone is done by then) for c + q pupils, q = 0 to size − 1; q = 0 is left 0 (it has no queue)."""
    if minutes < SHORTEST:
        return np.zeros(size)
    at = _moments(minutes, mean, shape)
    length = _length(cabins * at.most + 1)
    others = np.fft.rfft(at.over, length, axis=1) ** (cabins - 1)
    last = np.fft.rfft(_from_one(at.density * at.ends[:, None]), length, axis=1)
    total = np.fft.irfft(cabins * (at.weights @ (others * last)), length)[:size]
    return np.pad(total, (0, max(0, size - length)))


def _from_one(values: Floats) -> Floats:
    return np.hstack([np.zeros((len(values), 1)), values])


def still_inside(queue: int, cabins: int, minutes: float, mean: float, shape: float) -> Floats:
    """P(the queue is empty and u cabins are busy still), u = 0 to c, for c + queue pupils, queue at least 1.

    The sums over u are taken at the roots of unity of a polynomial in u, and turned back.
    """
    if minutes < SHORTEST:
        return np.zeros(cabins + 1)
    at = _moments(minutes, mean, shape)
    length = _length(cabins * at.most + 1)
    if queue >= length:
        return np.zeros(cabins + 1)
    over, busy, last = (np.fft.fft(rows, length, axis=1) for rows in (at.over, at.busy, _from_one(at.density)))
    at_queue = np.exp(2j * math.pi * queue * np.arange(length) / length) / length
    values = np.empty(cabins + 1, dtype=complex)
    for root in range(cabins + 1):
        z = np.exp(-2j * math.pi * root / (cabins + 1))
        tagged = last * (at.ends + z * (1 - at.ends))[:, None]
        values[root] = cabins * (at.weights @ ((over + z * busy) ** (cabins - 1) * tagged)) @ at_queue
    found: Floats = np.real(np.fft.ifft(values))
    return found
