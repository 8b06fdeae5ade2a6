"""Statistics that several measures share: exact and score limits, ratios, sampled totals, uncertainties.

Sources: Wilson limits, R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872; exact Poisson limits,
Garwood 1936 (from memory); limits of the mean time between failures, NIST/SEMATECH e-Handbook of Statistical
Methods, 8.4.5.1; ratio of cluster totals, T. Lumley, "A survey analysis example" (vignette of the R survey
package); stratified sampling without replacement, W. G. Cochran, Sampling Techniques, ch. 5 (from memory);
quadrature, JCGM 100:2008 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Interval(NamedTuple):
    """An estimate with its limits; None where there is none."""

    value: float | None
    low: float | None
    high: float | None


class Stratum(NamedTuple):
    """Values seen in one stratum, and how many there were to see."""

    values: Sequence[float]
    population: int


class StratifiedTotal(NamedTuple):
    """An estimated total with its interval, and what each stratum adds to it."""

    interval: Interval
    totals: tuple[float, ...]


NOTHING = Interval(None, None, None)


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that is not a share between 0 and 1, such as 95.

    Raises:
        ValueError: it is not.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")


def wilson(successes: int, n: int, confidence: float = 0.95) -> Interval:
    """Share of successes with Wilson's score limits, both 0 to 1; nothing where n is 0.

    Raises:
        ValueError: successes outside 0 to n.

    >>> share, low, high = wilson(81, 263)
    >>> round(low, 7), round(high, 7)
    (0.2552885, 0.3662096)
    """
    from scipy.special import ndtri

    check_confidence(confidence)
    if not 0 <= successes <= n:
        raise ValueError(f"successes must be 0 to n, got {successes} of {n}")
    if n == 0:
        return NOTHING
    z = float(ndtri((1 + confidence) / 2))
    share = successes / n
    scale = 1 + z * z / n
    centre = (share + z * z / (2 * n)) / scale
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / scale
    low = 0.0 if successes == 0 else max(0.0, centre - half)
    high = 1.0 if successes == n else min(1.0, centre + half)
    return Interval(share, low, high)


def poisson_limits(count: int, confidence: float = 0.95) -> Interval:
    """A count with exact (Garwood) limits of its mean; the low limit of 0 is 0.

    Raises:
        ValueError: the count is negative.

    >>> round(poisson_limits(0).high, 6)
    3.688879
    """
    from scipy.special import gammaincinv

    check_confidence(confidence)
    if count < 0:
        raise ValueError(f"a count cannot be negative, got {count}")
    tail = (1 - confidence) / 2
    low = float(gammaincinv(count, tail)) if count else 0.0
    return Interval(float(count), low, float(gammaincinv(count + 1, 1 - tail)))


def poisson_rate(count: int, exposure: float, confidence: float = 0.95) -> Interval:
    """Events per unit of exposure with exact limits; nothing where there is no exposure.

    Raises:
        ValueError: count or exposure is negative.
    """
    if exposure < 0:
        raise ValueError(f"exposure cannot be negative, got {exposure}")
    limits = poisson_limits(count, confidence)
    if exposure == 0 or limits.low is None or limits.high is None:
        return NOTHING
    return Interval(count / exposure, limits.low / exposure, limits.high / exposure)


def ratio_of_totals(
    y: Sequence[float], x: Sequence[float], population: int | None = None, confidence: float = 0.95
) -> Interval:
    """Ratio Σy ÷ Σx over clusters (schools), with t limits of n − 1 degrees of freedom.

    se = √((1 − f) · n ÷ (n − 1) · Σ(yᵢ − R·xᵢ)²) ÷ Σx, with f = n ÷ population, 0 when it is not given. A
    single cluster has no limits; Σx = 0 has no ratio.

    Raises:
        ValueError: different lengths, or more clusters than the population.
    """
    from scipy.special import stdtrit

    check_confidence(confidence)
    n = len(y)
    if n != len(x):
        raise ValueError(f"a ratio needs as many y as x, got {n} and {len(x)}")
    if population is not None and population < n:
        raise ValueError(f"there are more clusters ({n}) than the population has ({population})")
    total = math.fsum(x)
    if total == 0:
        return NOTHING
    ratio = math.fsum(y) / total
    if n == 1:
        return Interval(ratio, None, None)
    squares = math.fsum((a - ratio * b) ** 2 for a, b in zip(y, x, strict=True))
    left = 1 - n / population if population is not None else 1.0
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * math.sqrt(left * n / (n - 1) * squares) / abs(total)
    return Interval(ratio, ratio - half, ratio + half)


def stratified_total(
    samples: Iterable[Stratum | tuple[Sequence[float], int]], confidence: float = 0.95
) -> StratifiedTotal:
    """Total of a population seen in part: each stratum a simple random sample without replacement.

    total = Σ M·ȳ; variance = Σ M²·(1 − n/M)·s²/n, with s² of divisor n − 1. A stratum of one value takes the
    s² pooled over the others: Σ(n − 1)s² ÷ Σ(n − 1). Limits by t with Σ(n − 1) degrees of freedom; without
    any, no limits (unless everything was seen, when they are the total itself). The low limit is no lower
    than the sum of the values seen.

    Raises:
        ValueError: a stratum without a value, or with more values than its population.

    >>> stratified_total([([10, 14], 10), ([9, 9, 9], 3)]).totals
    (120.0, 27.0)
    """
    from scipy.special import stdtrit

    check_confidence(confidence)
    strata = [Stratum(*sample) for sample in samples]
    for stratum in strata:
        if not 0 < len(stratum.values) <= stratum.population:
            raise ValueError(f"a stratum of {stratum.population} cannot have {len(stratum.values)} values seen")
    if not strata:
        return StratifiedTotal(NOTHING, ())
    totals = tuple(s.population * (math.fsum(s.values) / len(s.values)) for s in strata)
    value = math.fsum(totals)
    if all(len(s.values) == s.population for s in strata):
        return StratifiedTotal(Interval(value, value, value), totals)
    freedom = sum(len(s.values) - 1 for s in strata)
    if freedom == 0:
        return StratifiedTotal(Interval(value, None, None), totals)
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * math.sqrt(_total_variance(strata, freedom))
    seen = math.fsum(number for s in strata for number in s.values)
    return StratifiedTotal(Interval(value, min(value, max(value - half, seen)), value + half), totals)


def _total_variance(strata: Sequence[Stratum], freedom: int) -> float:
    squares = [_squares(s.values) for s in strata]
    pooled = math.fsum(squares) / freedom
    parts = []
    for stratum, square in zip(strata, squares, strict=True):
        n, size = len(stratum.values), stratum.population
        spread = square / (n - 1) if n > 1 else pooled
        parts.append(size * size * (1 - n / size) * spread / n)
    return math.fsum(parts)


def _squares(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values)


def sum_u(uncertainties: Iterable[float]) -> float:
    """Standard uncertainty of a sum or difference of independent quantities: √Σu².

    >>> round(sum_u([2, 1, 1.5]), 7)
    2.6925824
    """
    return math.hypot(*uncertainties)


def product_u(first: float, first_u: float, second: float, second_u: float) -> float:
    """Standard uncertainty of a product of two independent quantities: √((b·u_a)² + (a·u_b)²).

    The same as adding relative uncertainties in quadrature, and also right when a quantity is 0.

    >>> round(product_u(500, 25, 6, 0.18), 4)
    174.9286
    """
    return math.hypot(second * first_u, first * second_u)


def quotient_u(top: float, top_u: float, bottom: float, bottom_u: float) -> float | None:
    """Standard uncertainty of top ÷ bottom, independent: √(u_t² + (t ÷ b · u_b)²) ÷ |b|; None where bottom is 0.

    >>> round(quotient_u(120, 6, 40, 1), 6)
    0.167705
    """
    if bottom == 0:
        return None
    return math.hypot(top_u, top / bottom * bottom_u) / abs(bottom)


def mean_time_between(time: float, failures: int, confidence: float = 0.95) -> Interval:
    """Mean time between failures T ÷ r with exact limits, in the unit of ``time`` (time-ended observation).

    2T ÷ χ²(1 − a/2; 2r + 2) to 2T ÷ χ²(a/2; 2r). No failure: no value and no high limit; the low limit is
    then one-sided, T ÷ (−ln a). No time: nothing.

    Raises:
        ValueError: time or failures is negative.

    >>> value, low, high = mean_time_between(800, 2, confidence=0.90)
    >>> value, round(low, 3), round(high, 3)
    (400.0, 127.069, 2251.229)
    """
    check_confidence(confidence)
    if time < 0 or failures < 0:
        raise ValueError(f"time and failures cannot be negative, got {time} and {failures}")
    if time == 0:
        return NOTHING
    if failures == 0:
        return Interval(None, time / -math.log(1 - confidence), None)
    limits = poisson_limits(failures, confidence)
    if limits.low is None or limits.high is None:
        raise AssertionError("a count always has limits")
    return Interval(time / failures, time / limits.high, time / limits.low)
