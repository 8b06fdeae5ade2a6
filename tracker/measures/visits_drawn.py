"""Tallies of drawn breaks: their sample by unit and week, and the limits of what they are scaled up to."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import pandas as pd

from tracker.measures.columns import text
from tracker.measures.intervals import StratifiedTotal, stratified_total
from tracker.vocabulary import Basis

DRAWN_BREAKS = 2  # breaks that the app draws per week for a short sheet
Z95 = 1.959964

Key = tuple[int, date]


class Cell(NamedTuple):
    """The visits of one unit and week, counted in one way."""

    visits: float
    var: float
    basis: Basis
    cells: int
    cells_expected: int


def cells_of(tallies: pd.DataFrame, schools: Mapping[int, int], breaks: Mapping[Key, int]) -> dict[Key, Cell]:
    """Visits of the units and weeks that have drawn breaks, scaled up to the week's break occasions."""
    sample = sample_of(tallies)
    pooled = _pooled(sample)
    found = {}
    for (unit, week), drawn in sample.items():
        occasions = max(breaks.get((schools.get(unit, -1), week), 0), len(drawn))
        mean = math.fsum(drawn.values()) / len(drawn)
        spread = _squares(drawn) / (len(drawn) - 1) if len(drawn) > 1 else pooled.get(unit, mean)
        var = occasions**2 * (1 - len(drawn) / occasions) * spread / len(drawn)
        due = max(len(drawn), min(DRAWN_BREAKS, occasions))
        found[unit, week] = Cell(mean * occasions, var, Basis.SAMPLED, len(drawn), due)
    return found


def _pooled(sample: Mapping[Key, Mapping[Any, float]]) -> dict[int, float]:
    squares: dict[int, float] = {}
    freedom: dict[int, int] = {}
    for (unit, _), drawn in sample.items():
        squares[unit] = squares.get(unit, 0.0) + _squares(drawn)
        freedom[unit] = freedom.get(unit, 0) + len(drawn) - 1
    return {unit: squares[unit] / count for unit, count in freedom.items() if count}


def _squares(drawn: Mapping[Any, float]) -> float:
    mean = math.fsum(drawn.values()) / len(drawn)
    return math.fsum((visits - mean) ** 2 for visits in drawn.values())


def sample_of(tallies: pd.DataFrame) -> dict[Key, dict[Any, float]]:
    """Unit and week → drawn break (day, slot) → visits tallied."""
    found: dict[Key, dict[Any, float]] = {}
    known = tallies["visits"].notna().to_numpy()
    units, visits = (tallies[name].to_numpy()[known].tolist() for name in ("unit_id", "visits"))
    weeks, days = (tallies[name].to_numpy("datetime64[D]")[known].tolist() for name in ("week", "day"))
    slots = text(tallies["slot"])[known].tolist()
    for unit, week, day, slot, number in zip(units, weeks, days, slots, visits, strict=True):
        found.setdefault((unit, week), {})[day, slot] = float(number)
    return found


class Spread(NamedTuple):
    """A school's spread between drawn breaks, pooled over weeks: mean square and degrees of freedom."""

    square: float
    freedom: int


def spreads_of(
    drawn: Iterable[tuple[int, int, date]], sample: Mapping[Key, Any], breaks: Mapping[Key, int]
) -> dict[int, Spread]:
    """Per school the spread within its weeks, pooled; schools without two breaks in any week are absent."""
    found = {}
    for school, strata in _strata(drawn, sample, breaks).items():
        freedom = sum(len(totals) - 1 for totals, _ in strata)
        if freedom:
            square = math.fsum(_squares(dict(enumerate(totals))) for totals, _ in strata) / freedom
            found[school] = Spread(square, freedom)
    return found


def limits_of(
    drawn: Iterable[tuple[int, int, date]],
    sample: Mapping[Key, Any],
    breaks: Mapping[Key, int],
    spreads: Mapping[int, Spread] | None = None,
) -> list[tuple[float, float]]:
    """Per school the distances of its 95 % limits. ``drawn``: school, unit and week of each unit-week.

    ``spreads``: for the limits of single weeks, whose own two breaks say little of how breaks differ.
    """
    known = spreads or {}
    return [
        _pooled_limits(strata, known[school]) if school in known else _limits(strata)
        for school, strata in _strata(drawn, sample, breaks).items()
    ]


def _pooled_limits(strata: Sequence[tuple[list[float], int]], spread: Spread) -> tuple[float, float]:
    """Distances of the limits by a spread from elsewhere; no lower than what was seen."""
    from scipy.special import stdtrit

    variance = math.fsum(size**2 * (1 - len(totals) / size) * spread.square / len(totals) for totals, size in strata)
    half = float(stdtrit(spread.freedom, 0.975)) * math.sqrt(variance)
    unseen = math.fsum(size * math.fsum(totals) / len(totals) - math.fsum(totals) for totals, size in strata)
    return min(half, unseen), half


def _strata(
    drawn: Iterable[tuple[int, int, date]], sample: Mapping[Key, Any], breaks: Mapping[Key, int]
) -> dict[int, list[tuple[list[float], int]]]:
    """School → per week the totals over units of each drawn break, and the break occasions of the week."""
    cells: dict[Key, list[Any]] = {}
    for school, unit, week in drawn:
        cells.setdefault((school, week), []).append(sample[unit, week])
    strata: dict[int, list[tuple[list[float], int]]] = {}
    for (school, week), tallied in cells.items():
        occasions = sorted({occasion for unit in tallied for occasion in unit})
        means = [math.fsum(unit.values()) / len(unit) for unit in tallied]
        totals = [
            math.fsum(unit.get(occasion, mean) for unit, mean in zip(tallied, means, strict=True))
            for occasion in occasions
        ]
        strata.setdefault(school, []).append((totals, max(breaks.get((school, week), 0), len(totals))))
    return strata


def _limits(strata: Sequence[tuple[list[float], int]]) -> tuple[float, float]:
    """Distances of a school's 95 % limits, below and above; as Poisson counts where no week has two breaks."""
    result: StratifiedTotal = stratified_total(strata)
    value, low, high = result.interval
    if value is not None and low is not None and high is not None:
        return value - low, high - value
    half = Z95 * math.sqrt(math.fsum(_poisson_variance(totals, size) for totals, size in strata))
    unseen = math.fsum(result.totals) - math.fsum(seen for totals, _ in strata for seen in totals)
    return min(half, unseen), half


def _poisson_variance(totals: Sequence[float], size: int) -> float:
    n = len(totals)
    return size**2 * (1 - n / size) * (math.fsum(totals) / n) / n
