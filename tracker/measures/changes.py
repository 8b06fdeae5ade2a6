"""Before and after: schools where something changed beside schools where it did not.

A difference in differences describes; it is an effect only if both kinds of school would have gone the same way
without the change, and that cannot be seen in the records.

Sources: worked example, D. Card and A. B. Krueger, American Economic Review 84(4) 1994, 772-793, table 3;
degrees of freedom after B. L. Welch and F. E. Satterthwaite (from memory); segmented regression of an interrupted
series (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from tracker.measures.intervals import NOTHING, Interval, check_confidence

CANNOT_SHOW: Final = (
    "This describes what changed. It does not show that the change was the cause: the schools may differ in other "
    "ways, something else may have changed at the same time, and a poor term is often followed by a better one."
)


class BeforeAfter(NamedTuple):
    """One school's figure before and after."""

    before: float
    after: float


class Trend(NamedTuple):
    """A straight line, its step at the change and the change of its slope (per step of time)."""

    level: float
    slope: float
    step: float
    slope_change: float


def difference_of_changes(
    changed: float, changed_se: float, comparison: float, comparison_se: float, confidence: float = 0.95
) -> Interval:
    """Two changes with published standard errors: their difference with normal limits; se = √(se₁² + se₂²).

    Raises:
        ValueError: a standard error is negative.

    >>> round(difference_of_changes(0.47, 0.48, -2.28, 1.25).value, 2)
    2.75
    """
    from scipy.special import ndtri

    check_confidence(confidence)
    if changed_se < 0 or comparison_se < 0:
        raise ValueError("a standard error cannot be negative")
    value = changed - comparison
    half = float(ndtri((1 + confidence) / 2)) * math.hypot(changed_se, comparison_se)
    return Interval(value, value - half, value + half)


def difference_in_differences(
    changed: Sequence[BeforeAfter | tuple[float, float]],
    comparison: Sequence[BeforeAfter | tuple[float, float]],
    confidence: float = 0.95,
) -> Interval:
    """Mean change of the schools with the change − mean change of the comparison schools, clustered by school.

    Each school is one change d = after − before, so whatever is lasting about a school drops out and its two
    values need not be independent. se = √(s₁² ÷ n₁ + s₂² ÷ n₂), divisor n − 1; t with Welch's degrees of
    freedom. Fewer than two schools on a side, or changes that are
    all alike: no limits; none on a side: nothing. Print with ``CANNOT_SHOW``.

    >>> difference_in_differences([(10, 15), (12, 16), (11, 17)], [(8, 9), (9, 10), (10, 11)]).value
    4.0
    """
    from scipy.special import stdtrit

    check_confidence(confidence)
    ours, theirs = ([after - before for before, after in rows] for rows in (changed, comparison))
    if not ours or not theirs:
        return NOTHING
    value = math.fsum(ours) / len(ours) - math.fsum(theirs) / len(theirs)
    if len(ours) < 2 or len(theirs) < 2:
        return Interval(value, None, None)
    first, second = _mean_variance(ours), _mean_variance(theirs)
    if first + second == 0:
        return Interval(value, None, None)
    freedom = (first + second) ** 2 / (first**2 / (len(ours) - 1) + second**2 / (len(theirs) - 1))
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * math.sqrt(first + second)
    return Interval(value, value - half, value + half)


def _mean_variance(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1) / len(values)


def interrupted_series(values: Sequence[float], before: int) -> Trend | None:
    """Line through a series that was interrupted after its first ``before`` values, by least squares.

    y = level + slope·t + step·post + slope_change·(t − before)·post, t = 1, 2, …; post from t = before + 1 on.
    No limits are given: weeks that follow each other are alike, and a term has too few of them to say how alike.
    None with fewer than two values on a side.

    Raises:
        ValueError: a value is not a finite number.

    >>> [round(x, 6) + 0.0 for x in interrupted_series([1.0, 2.0, 3.0, 7.0, 8.0, 9.0], before=3)]
    [0.0, 1.0, 3.0, 0.0]
    """
    import numpy as np

    y = np.asarray(values, dtype=float)
    if not np.isfinite(y).all():
        raise ValueError("every value of a series must be a finite number")
    if before < 2 or len(y) - before < 2:
        return None
    t = np.arange(1, len(y) + 1, dtype=float)
    post = (t > before).astype(float)
    shape = np.column_stack([np.ones_like(t), t, post, (t - before) * post])
    return Trend(*(float(x) for x in np.linalg.lstsq(shape, y, rcond=None)[0]))
