"""Requests as a whole number: a Poisson count, or a negative binomial one where requests come in clusters.

Loss functions as in L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory, 2nd ed., Wiley 2019;
negative binomial by its mean and variance: p = mean ÷ variance, r = mean · p ÷ (1 − p).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CountLaw:
    """The distribution of a count of requests.

    mean: requests expected. variance: None, or not above the mean, is a Poisson count; above it, a negative
    binomial one.

    Raises:
        ValueError: mean or variance is negative or not a finite number.

    >>> round(CountLaw(15).at_most(22), 6), round(CountLaw(15, 30).at_most(25), 6)
    (0.967256, 0.959655)
    """

    mean: float
    variance: float | None = None

    def __post_init__(self) -> None:
        for number in (self.mean, self.variance or 0.0):
            if not 0 <= number < math.inf:
                raise ValueError(f"mean and variance must be finite and at least 0, got {number}")

    @property
    def clustered(self) -> bool:
        """Whether the count varies more than a Poisson count of the same mean."""
        return self.variance is not None and self.variance > self.mean > 0

    @property
    def p(self) -> float:
        """Mean ÷ variance; 1 for a Poisson count."""
        return self.mean / self.variance if self.clustered and self.variance else 1.0

    @property
    def r(self) -> float:
        """Size of the negative binomial count; endless for a Poisson count."""
        return self.mean * self.p / (1 - self.p) if self.clustered else math.inf

    def times(self, days: float) -> CountLaw:
        """The count over ``days`` independent periods like this one.

        >>> CountLaw(2.0, 3.0).times(10)
        CountLaw(mean=20.0, variance=30.0)
        """
        if days < 0:
            raise ValueError("a number of days is at least 0")
        return CountLaw(self.mean * days, None if self.variance is None else self.variance * days)

    def at_most(self, count: int) -> float:
        """P(requests ≤ count)."""
        from scipy.special import betainc, pdtr

        if count < 0:
            return 0.0
        return float(betainc(self.r, count + 1, self.p) if self.clustered else pdtr(count, self.mean))

    def above(self, count: int) -> float:
        """P(requests > count), exact also where it is tiny."""
        from scipy.special import betaincc, pdtrc

        if count < 0:
            return 1.0
        return float(betaincc(self.r, count + 1, self.p) if self.clustered else pdtrc(count, self.mean))

    def smallest(self, chance: float) -> int:
        """The smallest whole number with P(requests ≤ it) ≥ ``chance``.

        Raises:
            ValueError: the chance is not between 0 and 1 (ends excluded).

        >>> CountLaw(15).smallest(0.95), CountLaw(15, 30).smallest(0.95), CountLaw(0).smallest(0.95)
        (22, 25, 0)
        """
        if not 0 < chance < 1:
            raise ValueError(f"a chance must lie between 0 and 1, got {chance}")
        return first_whole(lambda count: self.at_most(count) >= chance)

    def short(self, stock: int) -> float:
        """Requests expected to go unmet from a stock: E[(X − stock)⁺].

        m·P(X′ ≥ stock) − stock·P(X > stock), with X′ of the same law (Poisson) or of size r + 1.

        >>> round(CountLaw(15).short(18), 10)
        0.5176095283
        """
        if stock < 0:
            raise ValueError("a stock is at least 0")
        return max(0.0, self.mean * self._shifted_above(stock - 1) - stock * self.above(stock))

    def over(self, stock: int) -> float:
        """Stock expected to be left: E[(stock − X)⁺] = stock − mean + E[(X − stock)⁺]."""
        return max(0.0, stock - self.mean + self.short(stock))

    def _shifted_above(self, count: int) -> float:
        from scipy.special import betaincc

        if not self.clustered or count < 0:
            return self.above(count)
        return float(betaincc(self.r + 1, count + 1, self.p))


def first_whole(holds: Callable[[int], bool]) -> int:
    """The first whole number from 0 on for which a rule holds that never stops holding once it does.

    >>> first_whole(lambda count: count * count > 50)
    8
    """
    if holds(0):
        return 0
    low, high = 0, 1
    while not holds(high):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
