"""Limits from first principles: the normal, Student's and chi-squared points found by halving an interval."""

from __future__ import annotations

import math
from collections.abc import Callable

Z = 1.959964  # the 97.5 % point of the normal distribution, as docs/measures_parts/intervals.md states it


def halve(rising: Callable[[float], float], target: float, low: float, high: float) -> float:
    """Where a rising function reaches a target."""
    for _ in range(200):
        middle = (low + high) / 2
        if rising(middle) < target:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def student_below(x: float, freedom: int) -> float:
    """P(T ≤ x), x ≥ 0, of Student's t: a half and the area under the density, by Simpson's rule."""
    scale = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - 0.5 * math.log(freedom * math.pi)
    steps = 2000
    width = x / steps
    total = 0.0
    for number in range(steps + 1):
        weight = 1 if number in (0, steps) else 4 if number % 2 else 2
        at = number * width
        total += weight * math.exp(scale - (freedom + 1) / 2 * math.log1p(at * at / freedom))
    return 0.5 + total * width / 3


def student(freedom: int) -> float:
    """The 97.5 % point of Student's t; with 1 and 2 degrees of freedom by their closed forms (from memory)."""
    if freedom == 1:
        return math.tan(math.pi * 0.475)
    if freedom == 2:
        return 0.95 / math.sqrt(2 * 0.975 * 0.025)
    low, high = 0.0, 5.0
    for _ in range(60):
        middle = (low + high) / 2
        if student_below(middle, freedom) < 0.975:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def poisson_up_to(count: int, mean: float) -> float:
    """P(X ≤ count) of a Poisson count."""
    term, total = math.exp(-mean), 0.0
    for number in range(count + 1):
        if number:
            term *= mean / number
        total += term
    return total


def chi_squared(share: float, freedom: int) -> float:
    """The point of the chi-squared distribution with even freedom; P(χ² > x) is P(Poisson(x/2) ≤ freedom/2 − 1)."""
    return halve(lambda x: 1 - poisson_up_to(freedom // 2 - 1, x / 2), share, 0.0, 10.0 * freedom + 100)


def wilson(part: int, whole: int) -> tuple[float | None, float | None, float | None]:
    """Share with Wilson's limits."""
    if whole == 0:
        return None, None, None
    p, z2 = part / whole, Z * Z
    centre = (p + z2 / (2 * whole)) / (1 + z2 / whole)
    half = Z * math.sqrt(p * (1 - p) / whole + z2 / (4 * whole * whole)) / (1 + z2 / whole)
    low = 0.0 if part == 0 else max(0.0, centre - half)
    high = 1.0 if part == whole else min(1.0, centre + half)
    return p, low, high


def root(numbers: list[float]) -> float:
    """Square root of the sum of squares."""
    return math.sqrt(sum(number * number for number in numbers))
