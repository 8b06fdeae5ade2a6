"""Requests unmet from many stocks at once: the count law of ``counts.py`` over whole columns.

Poisson where the variance is not above the mean (or not given, NaN), else negative binomial by mean and variance.
Source: L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed., Wiley 2019.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt

Numbers = npt.NDArray[np.float64]
CHUNK: Final = 1 << 18  # stocks at a time, so that what is worked on stays a few MiB


def unmet(mean: Numbers, variance: Numbers, stock: Numbers) -> Numbers:
    """Requests expected to go unmet, E[(X − stock)⁺]; columns of one length, stocks whole and at least 0.

    NaN where the mean or the stock is NaN; empty columns give an empty one.

    >>> unmet(np.array([15.0, 23.0, 0.0]), np.array([15.0, 64.0, 0.0]), np.array([18.0, 14.0, 0.0])).round(8).tolist()
    [0.51760953, 9.32645998, 0.0]
    """
    return _in_chunks(_unmet, mean, variance, stock)


def above(mean: Numbers, variance: Numbers, stock: Numbers) -> Numbers:
    """P(requests > stock): the chance that somebody finds nothing. NaN where mean or stock is NaN.

    >>> above(np.array([15.0, 15.0]), np.array([np.nan, 30.0]), np.array([22.0, 25.0])).round(6).tolist()
    [0.032744, 0.040345]
    """
    return _in_chunks(_above, mean, variance, stock)


def smallest(mean: Numbers, variance: Numbers, chance: float) -> Numbers:
    """The smallest whole number with P(requests ≤ it) ≥ chance, for each row; NaN where the mean is NaN.

    >>> smallest(np.array([15.0, 15.0, 0.0]), np.array([15.0, 30.0, 0.0]), 0.95).tolist()
    [22.0, 25.0, 0.0]
    """
    return first_count(lambda rows, count: above(mean[rows], variance[rows], count) <= 1 - chance, np.isnan(mean))


def first_count(
    holds: Callable[[npt.NDArray[np.intp], Numbers], npt.NDArray[np.bool_]], blank: npt.NDArray[np.bool_]
) -> Numbers:
    """For each row the first whole number from 0 for which a rule holds that never stops holding; NaN where blank.

    ``holds`` is asked for some rows and a number for each.
    """
    rows = np.flatnonzero(~blank)
    low, high = np.full(len(blank), -1.0), np.zeros(len(blank))
    todo = rows[~holds(rows, high[rows])]
    while len(todo):
        low[todo], high[todo] = high[todo], high[todo] * 2 + 1
        todo = todo[~holds(todo, high[todo])]
    todo = rows[high[rows] - low[rows] > 1]
    while len(todo):
        middle = np.floor((low[todo] + high[todo]) / 2)
        held = holds(todo, middle)
        high[todo], low[todo] = np.where(held, middle, high[todo]), np.where(held, low[todo], middle)
        todo = todo[high[todo] - low[todo] > 1]
    return np.where(blank, np.nan, high)


def _in_chunks(
    law: Callable[[Numbers, Numbers, Numbers], Numbers], mean: Numbers, variance: Numbers, stock: Numbers
) -> Numbers:
    parts = [slice(start, start + CHUNK) for start in range(0, len(mean), CHUNK)]
    return np.concatenate([np.zeros(0), *(law(mean[part], variance[part], stock[part]) for part in parts)])


def _above(mean: Numbers, variance: Numbers, stock: Numbers, shift: float = 0.0) -> Numbers:
    """P(X > stock); with a shift, of the clustered law of size r + shift."""
    from scipy.special import betaincc, pdtrc

    clustered = variance > mean * (1 + 1e-9)  # closer to the mean the size of the negative binomial has no digits left
    clustered &= mean > 0
    found = np.where(stock < 0, 1.0, np.where(np.isnan(mean) | np.isnan(stock), np.nan, 0.0))
    asked = (stock >= 0) & (mean > 0)
    plain, rows = asked & ~clustered, asked & clustered
    found[plain] = pdtrc(stock[plain], mean[plain])
    p = mean[rows] / variance[rows]
    found[rows] = betaincc(mean[rows] * p / (1 - p) + shift, stock[rows] + 1, p)
    return found


def _unmet(mean: Numbers, variance: Numbers, stock: Numbers) -> Numbers:
    met_by_none = mean * _above(mean, variance, stock - 1, shift=1.0) - stock * _above(mean, variance, stock)
    return np.maximum(met_by_none, 0.0)
