"""Counts behind sold-out weeks: what was asked for, where a machine could only give what it had.

A week in which a machine ran out says "at least so many were wanted" (right-censored); such weeks are kept,
never dropped and never read as if nothing more had been wanted.

Likelihood: a week of d school days that never ran out and gave x brings P(X = x), one that ran out brings
P(X ≥ x), with X a Poisson count of mean λ·d, or a negative binomial one of the same mean and variance φ·λ·d (the
same φ for every week, so that days add up to weeks). λ is napkins asked for per machine and school day.
Source: likelihood of right-censored counts (textbook; worked values derived by hand).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from tracker.measures.intervals import check_confidence

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

# 2 × gain in log-likelihood above which clustering is taken as shown: 5 % level of the mixture of a point at 0 and
# chi-square with one degree of freedom, as the ratio lies on the edge of what it can be (from memory).
CLUSTER_GAIN: Final = 2.705543
TINY: Final = 1e-280
MIN_WEEKS: Final = 5  # weeks that did not run out, below which clustering is not looked for (own choice)


class DemandFlag(StrEnum):
    """What has to be said with a demand."""

    NONE = ""
    ALL_SOLD_OUT = "sold out in every week; at least this much was wanted"
    NO_REQUEST = "nothing was asked for"
    NOT_RECORDED = "not recorded"


@dataclass(frozen=True, slots=True)
class Week:
    """A machine's week: napkins given out, school days, and whether it ran out before the end of it."""

    given_out: float
    days: float
    sold_out: bool

    def __post_init__(self) -> None:
        if not (0 <= self.given_out < math.inf and 0 < self.days < math.inf):
            raise ValueError("a week gives out 0 or more on more than 0 school days")


@dataclass(frozen=True, slots=True)
class Demand:
    """Napkins asked for per school day.

    per_day: None where there is no finite estimate. at_least: Σ given out ÷ Σ days, a lower bound in every case.
    se: standard error of per_day. low, high: limits. ratio: variance ÷ mean of the requests (1 = Poisson).
    log_likelihood: at the estimate. weeks, sold_out: weeks used, and of them those that ran out.
    """

    per_day: float | None
    at_least: float
    se: float | None = None
    low: float | None = None
    high: float | None = None
    ratio: float = 1.0
    log_likelihood: float | None = None
    weeks: int = 0
    sold_out: int = 0
    flag: DemandFlag = DemandFlag.NONE


def fit_demand(weeks: Sequence[Week], confidence: float = 0.95) -> Demand:
    """The demand by the Poisson likelihood, or by the negative binomial one where it fits clearly better.

    The rule: negative binomial when at least five weeks did not run out and twice the gain in log-likelihood is
    above 2.7055.

    >>> round(fit_demand([Week(4, 1, False), Week(2, 1, False), Week(5, 1, True)]).per_day, 4)
    4.0409
    """
    plain = fit_poisson(weeks, confidence)
    if plain.per_day is None or plain.log_likelihood is None or plain.weeks - plain.sold_out < MIN_WEEKS:
        return plain
    if _spread(weeks, plain.per_day) <= 1:
        return plain
    wide = fit_negative_binomial(weeks, confidence)
    if wide.log_likelihood is None or 2 * (wide.log_likelihood - plain.log_likelihood) <= CLUSTER_GAIN:
        return plain
    return wide


def _spread(weeks: Sequence[Week], per_day: float) -> float:
    """Pearson's variance ÷ mean over the weeks that did not run out."""
    rows = [(week.given_out, per_day * week.days) for week in weeks if not week.sold_out]
    return sum((given - mean) ** 2 / mean for given, mean in rows) / (len(rows) - 1)


def fit_poisson(weeks: Sequence[Week], confidence: float = 0.95) -> Demand:
    """λ that makes the weeks most likely, requests Poisson; se from the observed information.

    Limits are those of the likelihood ratio (λ where twice the loss is χ²); with nothing asked for, the exact
    high limit of a count of 0. Every week sold out: no finite estimate, flagged, with what was given out as the
    lower bound. A week that ran out with nothing to give says nothing and is left out.

    >>> days = [Week(x, 1, False) for x in (3, 2, 4, 1, 3, 2)] + [Week(5, 1, True)] * 4
    >>> found = fit_poisson(days)
    >>> round(found.per_day, 7), round(found.se, 5), round(found.log_likelihood, 7)
    (3.9306691, 0.68605, -15.3128645)
    """
    check_confidence(confidence)
    data = _Data.of(weeks)
    settled = data.settled(confidence)
    if settled is not None:
        return settled
    per_day = data.poisson_peak()
    best = data.poisson(per_day)
    low, high = data.ratio_limits(per_day, confidence)
    return replace(
        data.plain(),
        per_day=per_day,
        se=1 / math.sqrt(data.information(per_day)),
        low=low,
        high=high,
        log_likelihood=best,
    )


def fit_negative_binomial(weeks: Sequence[Week], confidence: float = 0.95) -> Demand:
    """λ and φ that make the weeks most likely, requests negative binomial with variance φ × mean.

    se of λ from the curvature of the log-likelihood in (ln λ, ln(φ − 1)), limits λ·exp(±z·se ÷ λ). Where the
    weeks vary no more than a Poisson count, φ goes to 1 and the result is that of ``fit_poisson``.
    """
    import numpy as np
    from scipy.optimize import minimize
    from scipy.special import ndtri

    plain = fit_poisson(weeks, confidence)
    if plain.per_day is None or plain.per_day == 0:
        return plain
    data = _Data.of(weeks)
    start = np.array([math.log(plain.per_day), math.log(max(_start_ratio(weeks, plain.per_day) - 1, 0.05))])

    def loss(at: Array) -> float:
        return -data.clustered(at)

    found = minimize(loss, start, method="Nelder-Mead", tol=1e-9)
    if -found.fun <= (plain.log_likelihood or 0.0) + 1e-9:
        return plain
    spread = _curvature_se(data.clustered, [float(x) for x in found.x])
    per_day, z = math.exp(found.x[0]), float(ndtri((1 + confidence) / 2))
    return replace(
        plain,
        per_day=per_day,
        se=None if spread is None else per_day * spread,
        low=None if spread is None else per_day * math.exp(-z * spread),
        high=None if spread is None else per_day * math.exp(z * spread),
        ratio=1 + math.exp(found.x[1]),
        log_likelihood=float(-found.fun),
    )


def _start_ratio(weeks: Sequence[Week], per_day: float) -> float:
    open_weeks = sum(not week.sold_out for week in weeks)
    return _spread(weeks, per_day) if open_weeks > 1 else 1.0


def _curvature_se(function: Callable[[Sequence[float]], float], at: Sequence[float]) -> float | None:
    """Standard error of the first of two parameters, from central second differences; None where it is not curved."""
    step = 1e-4

    def value(i: int, j: int) -> float:
        return function([at[0] + i * step, at[1] + j * step])

    first = (value(1, 0) - 2 * value(0, 0) + value(-1, 0)) / step**2
    second = (value(0, 1) - 2 * value(0, 0) + value(0, -1)) / step**2
    mixed = (value(1, 1) - value(1, -1) - value(-1, 1) + value(-1, -1)) / (4 * step**2)
    determinant = first * second - mixed**2
    return math.sqrt(-second / determinant) if determinant > 0 and second < 0 else None


@dataclass(frozen=True, slots=True)
class _Data:
    """Weeks as arrays: those that did not run out (x of days d) and those that did (at least c of days e)."""

    x: Array
    d: Array
    c: Array
    e: Array

    @classmethod
    def of(cls, weeks: Sequence[Week]) -> _Data:
        import numpy as np

        telling = [week for week in weeks if not week.sold_out or week.given_out > 0]
        parts = []
        for sold_out in (False, True):
            rows = [week for week in telling if week.sold_out is sold_out]
            parts += [np.array([week.given_out for week in rows]), np.array([week.days for week in rows])]
        return cls(*(part.astype(float) for part in parts))

    def plain(self) -> Demand:
        days = float(self.d.sum() + self.e.sum())
        given = float(self.x.sum() + self.c.sum())
        weeks = len(self.x) + len(self.c)
        return Demand(None, given / days if days else 0.0, weeks=weeks, sold_out=len(self.c))

    def settled(self, confidence: float) -> Demand | None:
        """The cases without a peak inside: nothing recorded, every week sold out, nothing asked for."""
        from scipy.special import gammaincinv

        found = self.plain()
        if found.weeks == 0:
            return replace(found, flag=DemandFlag.NOT_RECORDED)
        if len(self.x) == 0:
            return replace(found, flag=DemandFlag.ALL_SOLD_OUT)
        if found.at_least == 0:
            high = float(gammaincinv(1, (1 + confidence) / 2)) / float(self.d.sum())
            flag = DemandFlag.NO_REQUEST
            return replace(found, per_day=0.0, low=0.0, high=high, log_likelihood=0.0, flag=flag)
        return None

    def poisson(self, per_day: float) -> float:
        from scipy.special import gammaln, xlogy

        mean = per_day * self.d
        seen = float((xlogy(self.x, mean) - mean - gammaln(self.x + 1)).sum())
        return seen + float(log_at_least(self.c, per_day * self.e).sum())

    def hazard(self, per_day: float) -> Array:
        """P(X = c − 1) ÷ P(X ≥ c) of the weeks that ran out: the slope of ln P(X ≥ c) in the mean."""
        import numpy as np
        from scipy.special import gammaln

        least = per_day * self.e
        density = (self.c - 1) * np.log(least) - least - gammaln(self.c)
        return np.asarray(np.exp(density - log_at_least(self.c, least)), dtype=np.float64)

    def score(self, per_day: float) -> float:
        return float(self.x.sum() / per_day - self.d.sum() + (self.e * self.hazard(per_day)).sum())

    def information(self, per_day: float) -> float:
        hazard = self.hazard(per_day)
        bend = hazard * ((self.c - 1) / (per_day * self.e) - 1 - hazard)
        return float(self.x.sum() / per_day**2 - (self.e**2 * bend).sum())

    def poisson_peak(self) -> float:
        """The only root of the score: the log-likelihood is concave, and Σ given ÷ Σ days lies below the peak."""
        from scipy.optimize import brentq

        low = self.plain().at_least
        if len(self.c) == 0:
            return low
        high = 2 * low
        while self.score(high) > 0:
            high *= 2
        return float(brentq(self.score, low * (1 - 1e-12), high, xtol=1e-13, rtol=1e-13))

    def ratio_limits(self, peak: float, confidence: float) -> tuple[float, float]:
        from scipy.optimize import brentq
        from scipy.special import ndtri

        floor = self.poisson(peak) - float(ndtri((1 + confidence) / 2)) ** 2 / 2

        def gap(per_day: float) -> float:
            return self.poisson(per_day) - floor

        low, high = peak / 2, peak * 2
        while gap(low) > 0:
            low /= 2
        while gap(high) > 0:
            high *= 2
        return float(brentq(gap, low, peak)), float(brentq(gap, peak, high))

    def clustered(self, at: Sequence[float] | Array) -> float:
        """Log-likelihood of the negative binomial at (ln λ, ln(φ − 1)); size r = λ·days ÷ (φ − 1), p = 1 ÷ φ."""
        import numpy as np
        from scipy.special import betaincc, gammaln

        if abs(at[1]) > 30 or abs(at[0]) > 30:  # the search has gone astray
            return -1e300
        per_day, excess = math.exp(at[0]), math.exp(at[1])
        p, r, size = 1 / (1 + excess), per_day * self.d / excess, per_day * self.e / excess
        x = self.x
        seen = gammaln(x + r) - gammaln(r) - gammaln(x + 1) + r * math.log(p) + x * math.log(excess / (1 + excess))
        return float(seen.sum() + np.log(np.maximum(betaincc(size, self.c, p), TINY)).sum())


def log_at_least(least: Array, mean: Array) -> Array:
    """ln P(X ≥ least) of Poisson counts, also for parts of napkins and where the chance is tiny."""
    import numpy as np
    from scipy.special import gammainc, gammaln

    # P(X ≥ c) = m^c·e^(−m) ÷ Γ(c + 1) · (1 + m/(c + 1) + …): with c far above m the sum is 1 ÷ (1 − m/(c + 1)).
    far = least * np.log(mean) - mean - gammaln(least + 1) - np.log1p(-np.minimum(mean / (least + 1), 0.5))
    near = gammainc(least, mean)
    return np.asarray(np.where(near > TINY, np.log(np.maximum(near, TINY)), far), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class NormalDemand:
    """Mean and deviation of one period's requests, taken as normal; None where there is no finite estimate."""

    mean: float | None
    deviation: float | None
    flag: DemandFlag = DemandFlag.NONE


def fit_normal(given_out: Sequence[float], sold_out: Sequence[float]) -> NormalDemand:
    """Mean and deviation of periods of one length, requests taken as normal: for large numbers only.

    Args:
        given_out: periods that did not run out. sold_out: what the periods that ran out gave (at least so much).
    Returns:
        No estimate where every period ran out, or with fewer than two different numbers.
    Source: censored normal regression without regressors ("tobit"; textbook).

    >>> found = fit_normal([42, 55, 48, 60, 51, 39], [60] * 4)
    >>> round(found.mean, 4), round(found.deviation, 4)
    (56.7628, 11.58)
    """
    import numpy as np
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    seen, least = np.asarray(given_out, dtype=float), np.asarray(sold_out, dtype=float)
    if len(seen) == 0:
        return NormalDemand(None, None, DemandFlag.ALL_SOLD_OUT if len(least) else DemandFlag.NOT_RECORDED)
    if np.ptp(seen) == 0:
        return NormalDemand(None, None, DemandFlag.NOT_RECORDED)

    def loss(at: Array) -> float:
        mean, deviation = at[0], math.exp(at[1])
        inside = ((seen - mean) / deviation) ** 2 / 2 + at[1]
        return float(inside.sum() - log_ndtr((mean - least) / deviation).sum())

    start = np.array([seen.mean(), math.log(seen.std())])
    found = minimize(loss, start, method="Nelder-Mead", tol=1e-9)
    return NormalDemand(float(found.x[0]), math.exp(found.x[1]))
