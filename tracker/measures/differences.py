"""Two groups, or the same pupils twice: differences and ratios with their limits.

Sources: differences of proportions, R. G. Newcombe, Statistics in Medicine 17 (1998) 873-890 (independent,
method 10) and 2635-2650 (paired, method 10; from memory); recovery of limits from two intervals, the same idea;
rates, K. J. Rothman, worksheets as in the R package episheet; exact limits of a ratio of Poisson rates through
the binomial of the counts, given their sum (common practice, no published source); McNemar's test as in R.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tracker.measures.intervals import NOTHING, Interval, check_confidence, wilson


def _z(confidence: float) -> float:
    from scipy.special import ndtri

    check_confidence(confidence)
    return float(ndtri((1 + confidence) / 2))


def difference_of_estimates(first: Interval, second: Interval, correlation: float = 0.0) -> Interval:
    """First − second, with limits recovered from the limits of each ("square and add").

    low = d − √((a − a_low)² − 2r(a − a_low)(b_high − b) + (b_high − b)²), high alike with the other ends; r is
    the correlation of the two estimates, 0 for independent ones. Works for limits that are not symmetric.
    Without a value there is nothing; without limits of both there are none.

    Source: the form of Newcombe's method 10, with any two intervals in place of Wilson's.

    >>> difference_of_estimates(Interval(9.0, 6.0, 12.0), Interval(5.0, 1.0, 9.0))
    Interval(value=4.0, low=-1.0, high=9.0)
    """
    if first.value is None or second.value is None:
        return NOTHING
    value = first.value - second.value
    if first.low is None or first.high is None or second.low is None or second.high is None:
        return Interval(value, None, None)
    below = _joined(first.value - first.low, second.high - second.value, correlation)
    above = _joined(first.high - first.value, second.value - second.low, correlation)
    return Interval(value, value - below, value + above)


def _joined(a: float, b: float, correlation: float) -> float:
    return math.sqrt(max(0.0, a * a - 2 * correlation * a * b + b * b))


def newcombe_difference(first: int, first_n: int, second: int, second_n: int, confidence: float = 0.95) -> Interval:
    """Difference of two independent shares, first − second, with Newcombe's limits (method 10), −1 to 1.

    Not for before and after of the same pupils (``newcombe_paired``) and not for pupils of several schools,
    who are alike within a school. Nothing where a group is empty.

    Raises:
        ValueError: successes outside 0 to n.

    >>> value, low, high = newcombe_difference(56, 70, 48, 80)
    >>> round(value, 4), round(low, 4), round(high, 4)
    (0.2, 0.0524, 0.3339)
    """
    return difference_of_estimates(wilson(first, first_n, confidence), wilson(second, second_n, confidence))


@dataclass(frozen=True, slots=True)
class Pairs:
    """The same pupils asked twice, as four totals: yes or no before, yes or no after."""

    yes_yes: int
    yes_no: int
    no_yes: int
    no_no: int

    def __post_init__(self) -> None:
        if min(self.yes_yes, self.yes_no, self.no_yes, self.no_no) < 0:
            raise ValueError("the totals of pairs cannot be negative")

    @property
    def n(self) -> int:
        """Number of pairs."""
        return self.yes_yes + self.yes_no + self.no_yes + self.no_no


def newcombe_paired(pairs: Pairs, confidence: float = 0.95) -> Interval:
    """Share of yes after − before in the same pupils, with Newcombe's limits (paired, method 10).

    Wilson limits of both shares, joined with the correlation φ of the pairs: (ad − bc) ÷ √(product of the four
    margins), where ad > bc with ad − bc lowered by n/2, to no less than 0; φ = 0 where a margin is 0.
    No pair: nothing.

    >>> value, low, high = newcombe_paired(Pairs(36, 2, 12, 0))
    >>> round(value, 2), round(low, 4), round(high, 4)
    (0.2, 0.0569, 0.3404)
    """
    before = wilson(pairs.yes_yes + pairs.yes_no, pairs.n, confidence)
    after = wilson(pairs.yes_yes + pairs.no_yes, pairs.n, confidence)
    found = difference_of_estimates(after, before, _phi(pairs))
    if found.value is None:
        return NOTHING
    return found._replace(value=(pairs.no_yes - pairs.yes_no) / pairs.n)


def _phi(pairs: Pairs) -> float:
    a, b, c, d = pairs.yes_yes, pairs.yes_no, pairs.no_yes, pairs.no_no
    margins = (a + b) * (c + d) * (a + c) * (b + d)
    if margins == 0:
        return 0.0
    excess = float(a * d - b * c)
    if excess > 0:
        excess = max(excess - pairs.n / 2, 0.0)
    return excess / math.sqrt(margins)


def paired_difference(pairs: Pairs, confidence: float = 0.95) -> Interval:
    """Share of yes after − before with the simple (Wald) limits; too narrow for few pairs, so Newcombe's is shown.

    d = (c − b) ÷ n; se = √(b + c − (b − c)² ÷ n) ÷ n, where b changed to no and c to yes. No pair: nothing.
    """
    n, b, c = pairs.n, pairs.yes_no, pairs.no_yes
    z = _z(confidence)
    if n == 0:
        return NOTHING
    half = z * math.sqrt(max(0.0, b + c - (b - c) ** 2 / n)) / n
    return Interval((c - b) / n, (c - b) / n - half, (c - b) / n + half)


@dataclass(frozen=True, slots=True)
class McNemar:
    """A test of change in pairs. ``chi2`` and what hangs on it are None where no pupil changed (0 ÷ 0)."""

    discordant: int
    exact_p: float
    chi2: float | None
    chi2_p: float | None
    corrected: float | None
    corrected_p: float | None


def mcnemar(yes_no: int, no_yes: int) -> McNemar:
    """Did as many change one way as the other? McNemar's test on the pairs that changed.

    exact p = min(1, 2·P(Binomial(b + c, ½) ≤ min(b, c))); χ² = (b − c)² ÷ (b + c); corrected
    χ² = (|b − c| − 1)² ÷ (b + c), 0 where b = c; p of χ² with one degree of freedom. No change: exact p is 1,
    χ² is not defined. The exact p is the one to print.

    Raises:
        ValueError: a negative count.

    >>> round(mcnemar(12, 2).exact_p, 4), mcnemar(0, 0).exact_p, mcnemar(0, 0).chi2
    (0.0129, 1.0, None)
    """
    from scipy.special import bdtr, chdtrc

    if yes_no < 0 or no_yes < 0:
        raise ValueError("counts of pupils who changed cannot be negative")
    changed, apart = yes_no + no_yes, abs(yes_no - no_yes)
    if changed == 0:
        return McNemar(0, 1.0, None, None, None, None)
    exact = min(1.0, 2 * float(bdtr(min(yes_no, no_yes), changed, 0.5)))
    plain, corrected = apart**2 / changed, max(apart - 1, 0) ** 2 / changed
    return McNemar(changed, exact, plain, float(chdtrc(1, plain)), corrected, float(chdtrc(1, corrected)))


def _check_rates(*values: float) -> None:
    if min(values) < 0:
        raise ValueError("counts and exposures cannot be negative")


def rate_ratio(first: int, exposure: float, second: int, second_exposure: float, confidence: float = 0.95) -> Interval:
    """Ratio of two rates of events with limits on the log scale: exp(ln R ± z·√(1/a + 1/b)).

    A count of 0 has no such limits: use ``rate_ratio_exact``. Nothing without exposure, or where the second
    count is 0.

    >>> value, low, high = rate_ratio(41, 28010, 15, 19017)
    >>> round(value, 3), round(low, 2), round(high, 2)
    (1.856, 1.03, 3.35)
    """
    _check_rates(first, exposure, second, second_exposure)
    z = _z(confidence)
    if exposure == 0 or second_exposure == 0 or second == 0:
        return NOTHING
    ratio = first / exposure / (second / second_exposure)
    if first == 0:
        return Interval(0.0, None, None)
    factor = math.exp(z * math.sqrt(1 / first + 1 / second))
    return Interval(ratio, ratio / factor, ratio * factor)


def rate_ratio_exact(
    first: int, exposure: float, second: int, second_exposure: float, confidence: float = 0.95
) -> Interval:
    """Ratio of two rates with exact limits: those of the share p of the first among all events, p ÷ (1 − p) × B ÷ A.

    Clopper and Pearson limits of p. second = 0: no value and no high limit; first = 0: low limit 0. No event
    or no exposure: nothing.
    """
    from scipy.special import betaincinv

    _check_rates(first, exposure, second, second_exposure)
    check_confidence(confidence)
    if exposure == 0 or second_exposure == 0 or first + second == 0:
        return NOTHING
    tail, scale = (1 - confidence) / 2, second_exposure / exposure
    low = float(betaincinv(first, second + 1, tail)) if first else 0.0
    low_ratio = low / (1 - low) * scale
    if second == 0:
        return Interval(None, low_ratio, None)
    # 1 − p of the high limit, asked for directly: it may be far smaller than the spacing of numbers near 1.
    rest = float(betaincinv(second, first + 1, tail))
    return Interval(first / second * scale, low_ratio, (1 - rest) / rest * scale)


def rate_difference(
    first: int, exposure: float, second: int, second_exposure: float, confidence: float = 0.95
) -> Interval:
    """First rate − second rate, in events per unit of exposure, ± z·√(a/A² + b/B²).

    Two counts of 0 have a difference of 0 and no limits by this formula. Nothing without exposure.

    >>> round(rate_difference(41, 28010, 15, 19017).value * 100_000, 4)
    67.4995
    """
    _check_rates(first, exposure, second, second_exposure)
    z = _z(confidence)
    if exposure == 0 or second_exposure == 0:
        return NOTHING
    value = first / exposure - second / second_exposure
    if first + second == 0:
        return Interval(value, None, None)
    half = z * math.sqrt(first / exposure**2 + second / second_exposure**2)
    return Interval(value, value - half, value + half)
