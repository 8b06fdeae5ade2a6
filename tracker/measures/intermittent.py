"""Demand that comes only now and then: its class, and Croston's forecast with the Syntetos–Boylan correction.

Sources: cut-offs 1.32 and 0.49, A. A. Syntetos and J. E. Boylan, International Journal of Forecasting 21 (2005)
303-314, as quoted by the R package m5; Croston's recursion, textbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

INTERVAL_CUT: Final = 1.32
SIZE_CUT: Final = 0.49
ALPHA: Final = 0.1  # common practice, no published source


class DemandClass(StrEnum):
    """How a demand comes."""

    SMOOTH = "smooth"
    INTERMITTENT = "intermittent"
    ERRATIC = "erratic"
    LUMPY = "lumpy"
    NONE = "no demand"


@dataclass(frozen=True, slots=True)
class Pattern:
    """Periods per demand and (deviation ÷ mean)² of the demands above zero; None where there is no demand."""

    interval: float | None
    size_cv2: float | None
    kind: DemandClass


def demand_class(interval: float, size_cv2: float) -> DemandClass:
    """Class from periods per demand and squared variation of sizes; a value at a cut belongs to the upper class.

    >>> demand_class(1.32, 0.48).value, demand_class(1.31, 0.49).value
    ('intermittent', 'erratic')
    """
    if interval >= INTERVAL_CUT:
        return DemandClass.LUMPY if size_cv2 >= SIZE_CUT else DemandClass.INTERMITTENT
    return DemandClass.ERRATIC if size_cv2 >= SIZE_CUT else DemandClass.SMOOTH


def demand_pattern(series: Sequence[float]) -> Pattern:
    """Pattern of a series of periods, variation with divisor n.

    A period that was sold out or not recorded is no period without demand: leave it out, or the series lies.

    Raises:
        ValueError: a negative or missing number.

    >>> demand_pattern([5, 0, 0, 3, 0, 4, 0, 0, 0, 6, 0, 2])
    Pattern(interval=2.4, size_cv2=0.125, kind=<DemandClass.INTERMITTENT: 'intermittent'>)
    """
    _check(series)
    sizes = [size for size in series if size > 0]
    if not sizes:
        return Pattern(None, None, DemandClass.NONE)
    mean = math.fsum(sizes) / len(sizes)
    cv2 = math.fsum((size - mean) ** 2 for size in sizes) / len(sizes) / mean**2
    interval = len(series) / len(sizes)
    return Pattern(interval, cv2, demand_class(interval, cv2))


@dataclass(frozen=True, slots=True)
class Croston:
    """Smoothed size and interval of demands with the forecast per period, plain and corrected (SBA).

    Without any demand the forecasts are 0 and ``size`` and ``interval`` None: say that nothing was asked for.
    """

    size: float | None
    interval: float | None
    forecast: float
    corrected: float


def croston(series: Sequence[float], alpha: float = ALPHA) -> Croston:
    """Croston's forecast per period and the same × (1 − α ÷ 2), which takes out most of its bias.

    On each demand: size += α(y − size), interval += α(periods since the last − interval). They start at the first
    demand and its period number.

    Raises:
        ValueError: a negative or missing number, or α outside 0 to 1.

    >>> found = croston([0, 0, 10, 0, 0, 20, 0, 0, 0, 15])
    >>> round(found.size, 10), round(found.interval, 10), round(found.corrected, 10)
    (11.4, 3.1, 3.4935483871)
    """
    _check(series)
    if not 0 < alpha <= 1:
        raise ValueError(f"alpha must be above 0 and at most 1, got {alpha}")
    demands = [(period, float(size)) for period, size in enumerate(series, start=1) if size > 0]
    if not demands:
        return Croston(None, None, 0.0, 0.0)
    last, size = demands[0]
    interval = float(last)
    for period, found in demands[1:]:
        size += alpha * (found - size)
        interval += alpha * (period - last - interval)
        last = period
    return Croston(size, interval, size / interval, (1 - alpha / 2) * size / interval)


def _check(series: Sequence[float]) -> None:
    if not all(0 <= number < math.inf for number in series):
        raise ValueError("every period needs a number of 0 or more; leave out periods sold out or not recorded")
