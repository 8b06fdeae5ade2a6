"""Requests forecast for the school days until the round after next, and how good such forecasts have been.

Rate = Σ used ÷ Σ school days; months without school days drop out by themselves, and a mean of monthly rates or a
calendar average would mislead. Sources: MASE, R. J. Hyndman and A. B. Koehler, International Journal of
Forecasting 22 (2006), as quoted by the packages its worked examples come from; the rest textbook.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

import pandas as pd

from tracker.measures.counts import CountLaw
from tracker.measures.intermittent import DemandClass, croston, demand_pattern
from tracker.measures.intervals import check_confidence

FORECAST_COLUMNS: Final = ["school_id", "days_ahead", "value", "low", "high", "flag"]
SOME_WEEKS: Final = 4  # weeks to learn from before the first forecast on held-out weeks (own choice)


class ForecastFlag(StrEnum):
    """What has to be said with a forecast."""

    NONE = ""
    NO_REQUEST = "nothing was asked for so far"
    NOT_KNOWN = "demand not known"


@dataclass(frozen=True, slots=True)
class Forecast:
    """Requests expected and the interval that should hold what comes (a prediction interval), in napkins.

    Its ends are whole numbers: P(requests < low) and P(requests > high) are each at most half the rest.
    """

    value: float | None
    low: int | None
    high: int | None
    flag: ForecastFlag = ForecastFlag.NONE


def school_day_rate(used: Sequence[float], days: Sequence[float]) -> float | None:
    """Requests per school day: Σ used ÷ Σ school days; None without a school day.

    >>> round(school_day_rate([400, 190, 0, 441], [20, 10, 0, 21]), 7)
    20.2156863
    """
    if len(used) != len(days) or any(number < 0 for number in (*used, *days)):
        raise ValueError("as many numbers used as school days are needed, each at least 0")
    total = math.fsum(days)
    return math.fsum(used) / total if total else None


def dispersion(used: Sequence[float], days: Sequence[float]) -> float:
    """Variance ÷ mean of requests: Pearson's Σ(x − m)² ÷ m ÷ (n − 1) over periods with days, no less than 1."""
    rate = school_day_rate(used, days)
    rows = [(x, rate * d) for x, d in zip(used, days, strict=True) if rate and d > 0]
    if len(rows) < 2:
        return 1.0
    return max(1.0, math.fsum((x - mean) ** 2 / mean for x, mean in rows) / (len(rows) - 1))


def forecast(
    per_day: float, days_ahead: float, se: float = 0.0, ratio: float = 1.0, confidence: float = 0.95
) -> Forecast:
    """Requests of the school days ahead, with a prediction interval.

    value m = per_day × days; variance = ratio × m + (se × days)²: the chance of the coming requests and the doubt
    about the rate. Poisson where the variance is m, else negative binomial of that mean and variance.

    Args:
        per_day, se, ratio: rate, its standard error, variance ÷ mean; as from ``demand.school_demand``.
    Raises:
        ValueError: a negative number, or a confidence that is no share.

    >>> forecast(1.5, 10)
    Forecast(value=15.0, low=8, high=23, flag=<ForecastFlag.NONE: ''>)
    """
    check_confidence(confidence)
    if min(per_day, days_ahead, se, ratio) < 0:
        raise ValueError("rate, days, standard error and ratio must be at least 0")
    mean = per_day * days_ahead
    if per_day == 0:
        return Forecast(0.0, 0, 0, ForecastFlag.NO_REQUEST)
    law = CountLaw(mean, max(1.0, ratio) * mean + (se * days_ahead) ** 2)
    return Forecast(mean, law.smallest((1 - confidence) / 2), law.smallest((1 + confidence) / 2))


def forecast_from_use(
    used: Sequence[float], days: Sequence[float], days_ahead: float, confidence: float = 0.95
) -> Forecast:
    """Forecast straight from periods of use that never ran out: rate, its error and the spread from them.

    A spread above Poisson's is itself estimated, so its variance is taken (t ÷ z)² times, n − 1 degrees of freedom.
    With nothing used in D school days the value is 0, flagged, and the high end is exact: the smallest y with
    (a ÷ (D + a))^(y + 1) at most half the rest, a days ahead. No school day: demand not known.
    """
    check_confidence(confidence)
    rate = school_day_rate(used, days)
    if rate is None:
        return Forecast(None, None, None, ForecastFlag.NOT_KNOWN)
    seen = math.fsum(days)
    if rate == 0:
        return Forecast(0.0, 0, _most_after_nothing(seen, days_ahead, confidence), ForecastFlag.NO_REQUEST)
    ratio = dispersion(used, days)
    if ratio > 1:
        ratio *= _doubt(sum(d > 0 for d in days), confidence)
    return forecast(rate, days_ahead, math.sqrt(ratio * rate / seen), ratio, confidence)


def _doubt(periods: int, confidence: float) -> float:
    from scipy.special import ndtri, stdtrit

    chance = (1 + confidence) / 2
    return float(stdtrit(periods - 1, chance) / ndtri(chance)) ** 2


def _most_after_nothing(seen: float, ahead: float, confidence: float) -> int:
    if ahead == 0:
        return 0
    return max(0, math.ceil(math.log((1 - confidence) / 2) / math.log(ahead / (seen + ahead))) - 1)


def forecast_schools(
    demand: pd.DataFrame, coming: Mapping[int, Sequence[date]], round_after: date, confidence: float = 0.95
) -> pd.DataFrame:
    """Requests at each school on its school days before the round after the next one.

    Args:
        demand: from ``demand.school_demand``: ``school_id``, ``per_day`` (NaN = not known), ``se``, ``ratio``.
        coming: per school the school days ahead, in order, at least until the day before ``round_after``.
    Returns:
        ``school_id``, ``days_ahead``, ``value``, ``low``, ``high`` (napkins), ``flag`` (``ForecastFlag``).
    """
    rows = []
    for school, per_day, se, ratio in zip(
        demand["school_id"], demand["per_day"], demand["se"], demand["ratio"], strict=True
    ):
        days = sum(day < round_after for day in coming.get(int(school), ()))
        found = Forecast(None, None, None, ForecastFlag.NOT_KNOWN)
        if not math.isnan(per_day):
            found = forecast(per_day, days, 0.0 if math.isnan(se) else se, ratio, confidence)
        rows.append((school, days, found.value, found.low, found.high, found.flag.value))
    frame = pd.DataFrame(rows, columns=FORECAST_COLUMNS)
    numbers = dict.fromkeys(["value", "low", "high"], "float64")
    return frame.astype({**numbers, "school_id": "int64", "days_ahead": "int64", "flag": "str"})


def period_forecast(series: Sequence[float]) -> float:
    """Requests of one more period like these: their mean, or where demand is intermittent or lumpy Croston's
    forecast corrected by Syntetos and Boylan. 0 without any demand or period.

    >>> period_forecast([4, 6, 5]), round(period_forecast([0, 0, 10, 0, 0, 20, 0, 0, 0, 15]), 4)
    (5.0, 3.4935)
    """
    kind = demand_pattern(series).kind
    if kind is DemandClass.NONE:
        return 0.0
    if kind in (DemandClass.INTERMITTENT, DemandClass.LUMPY):
        return croston(series).corrected
    return math.fsum(series) / len(series)


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Errors e = actual − forecast, in the unit of the data: mean, mean size, root mean square; Σ|e| ÷ Σ actual.

    ``share`` is None where nothing was asked for.
    """

    bias: float
    size: float
    root: float
    share: float | None


def accuracy(actual: Sequence[float], expected: Sequence[float]) -> Accuracy:
    """How far forecasts were off.

    Raises:
        ValueError: no period, or as many forecasts as periods are not given.

    >>> accuracy([10, 0, 20, 30], [12, 3, 18, 24]).bias
    0.75
    """
    errors = _errors(actual, expected)
    n, total = len(errors), math.fsum(actual)
    absolute = math.fsum(abs(error) for error in errors)
    root = math.sqrt(math.fsum(error**2 for error in errors) / n)
    return Accuracy(math.fsum(errors) / n, absolute / n, root, absolute / total if total else None)


def _errors(actual: Sequence[float], expected: Sequence[float]) -> list[float]:
    if not actual or len(actual) != len(expected):
        raise ValueError("as many forecasts as periods are needed, and at least one")
    return [y - f for y, f in zip(actual, expected, strict=True)]


def scaled_error(
    actual: Sequence[float], expected: Sequence[float], training: Sequence[float], season: int = 1
) -> float | None:
    """MASE: mean |error| ÷ mean |y(t) − y(t − season)| of the training periods; below 1 beats "as last time".

    None where the training periods are all alike or too few: the scale is then 0. The training periods must not
    be the ones forecast; some packages scale by those, and their numbers cannot be compared.

    >>> round(scaled_error([3, -0.5, 2, 7, 2], [2.5, 0, 2, 8, 1.25], [5, 0.5, 4, 6, 3, 5, 2]), 7)
    0.1833333
    """
    if season < 1:
        raise ValueError("a season has at least one period")
    errors = _errors(actual, expected)
    steps = [abs(now - then) for then, now in zip(training, training[season:], strict=False)]
    scale = math.fsum(steps) / len(steps) if steps else 0.0
    return math.fsum(abs(error) for error in errors) / len(errors) / scale if scale else None


@dataclass(frozen=True, slots=True)
class HeldOut:
    """Forecasts of held-out weeks, each made from the weeks before it only.

    ours, naive: MASE of the rate × school days and of "as many as last week"; None where it is not defined.
    """

    weeks: int
    ours: float | None
    naive: float | None

    @property
    def better(self) -> bool | None:
        """Whether ours was nearer than the naive forecast; None where that cannot be said."""
        return None if self.ours is None or self.naive is None else self.ours < self.naive


def held_out(used: Sequence[float], days: Sequence[float], weeks: int) -> HeldOut:
    """Forecast each of the last ``weeks`` from what came before it, and compare with the naive forecast.

    Weeks without a school day are left out; weeks that ran out have to be left out by the caller. Scale: the weeks
    before the first one held out. Fewer than four of those: nothing is forecast.
    """
    rows = [(x, d) for x, d in zip(used, days, strict=True) if d > 0]
    start = len(rows) - weeks
    if weeks < 1 or start < SOME_WEEKS:
        return HeldOut(0, None, None)
    ours = [(school_day_rate(*zip(*rows[:at], strict=True)) or 0.0) * rows[at][1] for at in range(start, len(rows))]
    naive = [rows[at - 1][0] for at in range(start, len(rows))]
    actual, training = [x for x, _ in rows[start:]], [x for x, _ in rows[:start]]
    return HeldOut(weeks, scaled_error(actual, ours, training), scaled_error(actual, naive, training))
