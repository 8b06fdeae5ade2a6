"""Pupils of one school are alike: design effects, totals of clusters, and the bootstrap that draws whole schools.

Sources: design effect, L. Kish 1965 (as restated in a worked example); intraclass correlation by analysis of
variance (common practice, no published source read); totals of clusters, T. Lumley, "A survey analysis example"
(vignette of the R survey package); percentile bootstrap of whole clusters (from memory). The ratio of two totals
over clusters, and so also a mean over all pupils, is ``intervals.ratio_of_totals``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from tracker.measures.intervals import NOTHING, Interval, check_confidence

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats: TypeAlias = npt.NDArray[np.float64]

T = TypeVar("T")
DRAWS = 2000


@dataclass(frozen=True, slots=True)
class Alike:
    """How alike the members of a cluster are; ``rho`` None where it cannot be known.

    between, within: mean squares. size: the mean size of a cluster that the formula uses.
    """

    between: float | None
    within: float | None
    size: float | None
    rho: float | None


def intraclass(groups: Sequence[Sequence[float]]) -> Alike:
    """Intraclass correlation by one-way analysis of variance: (B − W) ÷ (B + (m − 1)·W).

    For clusters of unlike size m = (N − Σmᵢ² ÷ N) ÷ (k − 1). ρ may be negative and is reported so; use 0 in a
    design effect. Not known with fewer than two clusters, when no cluster has two members, or when nothing varies.

    >>> found = intraclass([(4, 5, 6), (7, 8, 9), (1, 2, 3), (6, 6, 9)])
    >>> found.between, found.within, found.rho
    (21.0, 1.5, 0.8125)
    """
    filled = [group for group in groups if len(group)]
    k, n = len(filled), sum(len(group) for group in filled)
    if k < 2 or n == k:
        return Alike(None, None, None, None)
    means = [math.fsum(group) / len(group) for group in filled]
    overall = math.fsum(value for group in filled for value in group) / n
    between = math.fsum(len(g) * (mean - overall) ** 2 for g, mean in zip(filled, means, strict=True)) / (k - 1)
    inside = math.fsum((value - mean) ** 2 for g, mean in zip(filled, means, strict=True) for value in g)
    within = inside / (n - k)
    size = (n - sum(len(group) ** 2 for group in filled) / n) / (k - 1)
    spread = between + (size - 1) * within
    return Alike(between, within, size, (between - within) / spread if spread > 0 else None)


def design_effect(size: float, rho: float, weight_cv: float = 0.0, strata: float = 1.0) -> float:
    """How many times the variance grows: (1 + (m − 1)·ρ)·(1 + CV²)·strata; a negative ρ counts as 0.

    Clusters of unlike size vary more than their mean size says.

    Raises:
        ValueError: a size below 1, ρ above 1, a negative CV, or a factor of strata that is not above 0.

    >>> round(design_effect(12, 0.03, 0.25, 0.95), 8)
    1.34246875
    """
    if size < 1 or rho > 1 or weight_cv < 0 or strata <= 0:
        raise ValueError("a design effect needs a size of 1 or more, rho up to 1, CV 0 or more and strata above 0")
    return (1 + (size - 1) * max(rho, 0.0)) * (1 + weight_cv**2) * strata


def effective_size(n: float, effect: float) -> float:
    """Independent observations that tell as much as ``n`` clustered ones: n ÷ design effect.

    Raises:
        ValueError: the effect is not above 0.
    """
    if effect <= 0:
        raise ValueError(f"a design effect must be above 0, got {effect}")
    return n / effect


def cluster_total(
    totals: Sequence[float], population: int, weight: float | None = None, confidence: float = 0.95
) -> Interval:
    """Total of a population of clusters from a simple random sample of whole clusters, with t limits.

    w·Σy, se = w·√((1 − n/N)·n·s²) with s² of divisor n − 1; w = N ÷ n unless ``weight`` is given. One cluster
    has no limits, unless it is the whole population; none has nothing.

    Raises:
        ValueError: more clusters than the population.
    """
    from scipy.special import stdtrit

    check_confidence(confidence)
    n = len(totals)
    if n > population:
        raise ValueError(f"there are more clusters ({n}) than the population has ({population})")
    if n == 0:
        return NOTHING
    scale = population / n if weight is None else weight
    value = scale * math.fsum(totals)
    if n == population:
        return Interval(value, value, value)
    if n == 1:
        return Interval(value, None, None)
    mean = math.fsum(totals) / n
    spread = math.fsum((total - mean) ** 2 for total in totals) / (n - 1)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * scale * math.sqrt((1 - n / population) * n * spread)
    return Interval(value, value - half, value + half)


def bootstrap_clusters(
    clusters: Sequence[T],
    statistic: Callable[[Sequence[T]], float | None],
    seed: int | np.random.Generator,
    *,
    draws: int = DRAWS,
    confidence: float = 0.95,
) -> Interval:
    """Any statistic of whole clusters (schools), with percentile limits of a bootstrap that draws clusters.

    Each draw takes as many clusters as there are, with replacement, and everything inside each; rows are never
    drawn one by one. Draws for which the statistic is None are left out; when they are more than half, or with
    fewer than two clusters, there are no limits. With few schools (under about ten) such limits are too narrow:
    prefer a formula with t where there is one.

    Args:
        clusters: one element a school, whatever the statistic takes.
        seed: a whole number, or a numpy Generator; the same one gives the same limits.

    >>> bootstrap_clusters([3.0], sum, seed=1)
    Interval(value=3.0, low=None, high=None)
    """
    import numpy as np

    random = _generator(seed, draws, confidence)
    value = statistic(clusters) if len(clusters) else None
    if value is None or len(clusters) < 2:
        return Interval(value, None, None)
    picks = random.integers(0, len(clusters), size=(draws, len(clusters)))
    found = [statistic([clusters[pick] for pick in row]) for row in picks]
    return _percentiles(value, np.array([x for x in found if x is not None], dtype=float), draws, confidence)


def bootstrap_sums(
    columns: Floats,
    statistic: Callable[[Floats], Floats],
    seed: int | np.random.Generator,
    *,
    draws: int = DRAWS,
    confidence: float = 0.95,
) -> Interval:
    """A statistic of sums over clusters with the limits of ``bootstrap_clusters``, all draws at once.

    The draws are the same; how often each cluster is drawn is counted, not written out.

    Args:
        columns: one row a cluster, a column for each amount that is summed.
        statistic: from the sums of each draw (a row a draw) their values, NaN where there is none.

    >>> import numpy as np
    >>> bootstrap_sums(np.array([[3.0]]), lambda sums: sums[:, 0], seed=1)
    Interval(value=3.0, low=None, high=None)
    """
    import numpy as np

    random = _generator(seed, draws, confidence)
    n = len(columns)
    value = float(statistic(columns.sum(axis=0, keepdims=True))[0]) if n else math.nan
    if math.isnan(value) or n < 2:
        return Interval(None if math.isnan(value) else value, None, None)
    picks = random.integers(0, n, size=(draws, n)) + np.arange(draws)[:, None] * n
    times = np.bincount(picks.ravel(), minlength=draws * n).reshape(draws, n)
    found = statistic(times @ columns)
    return _percentiles(value, found[~np.isnan(found)], draws, confidence)


def bootstrap_ratio(
    y: Sequence[float],
    x: Sequence[float],
    seed: int | np.random.Generator,
    *,
    draws: int = DRAWS,
    confidence: float = 0.95,
) -> Interval:
    """Σy ÷ Σx over clusters with percentile limits of a bootstrap that draws whole clusters, all at once.

    The same as ``bootstrap_clusters`` with that statistic, by counting how often each cluster is drawn.

    Raises:
        ValueError: different lengths.
    """
    import numpy as np

    random = _generator(seed, draws, confidence)
    tops, bases = np.asarray(y, dtype=float), np.asarray(x, dtype=float)
    n = len(tops)
    if n != len(bases):
        raise ValueError(f"a ratio needs as many y as x, got {n} and {len(bases)}")
    total = float(bases.sum())
    if total == 0:
        return NOTHING
    value = float(tops.sum()) / total
    if n < 2:
        return Interval(value, None, None)
    times = random.multinomial(n, np.full(n, 1 / n), size=draws)
    below = times @ bases
    return _percentiles(value, (times @ tops)[below != 0] / below[below != 0], draws, confidence)


def _generator(seed: int | np.random.Generator, draws: int, confidence: float) -> np.random.Generator:
    import numpy as np

    check_confidence(confidence)
    if draws < 100:
        raise ValueError(f"a bootstrap needs at least 100 draws, got {draws}")
    return np.random.default_rng(seed)


def _percentiles(value: float, found: np.typing.NDArray[np.float64], draws: int, confidence: float) -> Interval:
    import numpy as np

    if len(found) <= draws / 2:
        return Interval(value, None, None)
    low, high = np.quantile(found, [(1 - confidence) / 2, (1 + confidence) / 2])
    return Interval(value, float(low), float(high))
