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
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from tracker.measures.intervals import check_confidence

if TYPE_CHECKING:
    from tracker.measures.censored_core import Array, CensoredWeeks, Index, Mask

# 2 × gain in log-likelihood above which clustering is taken as shown: 5 % level of the mixture of a point at 0 and
# chi-square with one degree of freedom, as the ratio lies on the edge of what it can be (from memory).
CLUSTER_GAIN: Final = 2.705543
MIN_WEEKS: Final = 5  # weeks that did not run out, below which clustering is not looked for (own choice)


class DemandFlag(StrEnum):
    """What has to be said with a demand."""

    NONE = ""
    ALL_SOLD_OUT = "sold out in every week; at least this much was wanted"
    NO_REQUEST = "nothing was asked for"
    NOT_RECORDED = "not recorded"


class Law(StrEnum):
    """How requests are taken to vary."""

    POISSON = "poisson"
    CLUSTERED = "clustered"  # negative binomial
    CHOSEN = "chosen"  # negative binomial where it fits clearly better, else Poisson


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

    The rule: negative binomial when at least five weeks did not run out, they vary more than a Poisson count, and
    twice the gain in log-likelihood is above 2.7055.

    >>> round(fit_demand([Week(4, 1, False), Week(2, 1, False), Week(5, 1, True)]).per_day, 4)
    4.0409
    """
    return _fit_one(weeks, Law.CHOSEN, confidence)


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
    return _fit_one(weeks, Law.POISSON, confidence)


def fit_negative_binomial(weeks: Sequence[Week], confidence: float = 0.95) -> Demand:
    """λ and φ that make the weeks most likely, requests negative binomial with variance φ × mean.

    se of λ from the curvature of the log-likelihood in (ln λ, ln(φ − 1)), limits λ·exp(±z·se ÷ λ). Where the
    weeks vary no more than a Poisson count, φ goes to 1 and the result is that of ``fit_poisson``.
    """
    return _fit_one(weeks, Law.CLUSTERED, confidence)


def _fit_one(weeks: Sequence[Week], law: Law, confidence: float) -> Demand:
    import numpy as np

    given = np.array([week.given_out for week in weeks], dtype=float)
    days = np.array([week.days for week in weeks], dtype=float)
    sold_out = np.array([week.sold_out for week in weeks], dtype=float)
    return fit_groups(given, days, sold_out, np.zeros(len(weeks), dtype=np.intp), 1, law=law, confidence=confidence)[0]


def fit_groups(
    given_out: Array,
    days: Array,
    sold_out: Array,
    group: Index,
    groups: int,
    *,
    law: Law = Law.CHOSEN,
    confidence: float = 0.95,
) -> list[Demand]:
    """The demand of many groups of weeks at once, each by itself; ``group`` is the number of each week's group.

    Raises:
        ValueError: a week without days, a negative number, or a confidence that is no share.
    """
    import numpy as np

    from tracker.measures.censored_core import CensoredWeeks

    check_confidence(confidence)
    if not ((given_out >= 0) & (days > 0) & np.isfinite(given_out) & np.isfinite(days)).all():
        raise ValueError("a week gives out 0 or more on more than 0 school days")
    weeks = CensoredWeeks.of(given_out, days, sold_out, group, groups)
    given, all_days, count, out = weeks.totals()
    inside = (given > 0) & (count > out)
    found = [
        _settled(given[k], all_days[k], int(count[k]), int(out[k]), confidence) if not inside[k] else None
        for k in range(groups)
    ]
    fitted = iter(_peaks(weeks.only(inside), law, confidence))
    return [next(fitted) if one is None else one for one in found]


def _settled(given: float, days: float, weeks: int, sold_out: int, confidence: float) -> Demand:
    """The cases without a peak inside: nothing recorded, every week sold out, nothing asked for."""
    from scipy.special import gammaincinv

    if weeks == 0:
        return Demand(None, 0.0, flag=DemandFlag.NOT_RECORDED)
    if given > 0:
        return Demand(None, given / days, weeks=weeks, sold_out=sold_out, flag=DemandFlag.ALL_SOLD_OUT)
    high = float(gammaincinv(1, (1 + confidence) / 2)) / days
    return Demand(0.0, 0.0, None, 0.0, high, 1.0, 0.0, weeks, sold_out, DemandFlag.NO_REQUEST)


def _peaks(weeks: CensoredWeeks, law: Law, confidence: float) -> list[Demand]:
    """Demand of groups that have a peak inside."""
    import numpy as np
    from scipy.special import ndtri

    given, days, count, out = weeks.totals()
    rate = weeks.poisson_peak(given / days)
    best = weeks.poisson(rate)
    loss = float(ndtri((1 + confidence) / 2)) ** 2 / 2
    se = 1 / np.sqrt(weeks.slopes(rate)[1])
    low, high = weeks.ratio_limit(rate, loss, up=False), weeks.ratio_limit(rate, loss, up=True)
    ratio = np.ones_like(rate)
    columns = np.stack([rate, given / days, se, low, high, ratio, best])
    wide = _worth_a_look(weeks, rate, law)
    if wide.any():
        columns[:, wide] = _wider(weeks.only(wide), columns[:, wide], law, confidence)
    rows = zip(columns.T.tolist(), count.tolist(), out.tolist(), strict=True)
    return [_demand(row, int(weeks_used), int(sold_out)) for row, weeks_used, sold_out in rows]


def _demand(row: Sequence[float], weeks: int, sold_out: int) -> Demand:
    rate, at_least, se, low, high, ratio, best = row
    return Demand(rate, at_least, _or_none(se), _or_none(low), _or_none(high), ratio, best, weeks, sold_out)


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def _worth_a_look(weeks: CensoredWeeks, rate: Array, law: Law) -> Mask:
    import numpy as np

    if law is not Law.CHOSEN:
        return np.full(weeks.groups, law is Law.CLUSTERED)
    enough = weeks.by_seen(np.ones_like(weeks.x)) >= MIN_WEEKS
    return np.asarray(enough & (weeks.spread(rate) > 1))


def _wider(weeks: CensoredWeeks, plain: Array, law: Law, confidence: float) -> Array:
    """The negative binomial fit of each group, or its Poisson fit where the rule says so; columns as given."""
    import numpy as np
    from scipy.special import ndtri

    spread = np.nan_to_num(weeks.spread(plain[0]), nan=1.0)
    at, best, se = weeks.clustered_peak(np.stack([np.log(plain[0]), np.log(np.maximum(spread - 1, 0.05))]))
    rate, half = np.exp(at[0]), float(ndtri((1 + confidence) / 2)) * se
    found = np.stack([rate, plain[1], rate * se, rate * np.exp(-half), rate * np.exp(half), 1 + np.exp(at[1]), best])
    needed = CLUSTER_GAIN if law is Law.CHOSEN else 2e-6
    return np.where(2 * (best - plain[6]) > needed, found, plain)


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
