"""Units with a fitting beside units without it, the same units before and after, or both.

A comparison describes a difference. Whether it says more depends on how it was set up; ``tracker.measures.trials`` says
how strong it is, and why.

Sources: ratio of totals over clusters by linearization, T. Lumley, "A survey analysis example" (vignette of the R
survey package), for one ratio; for differences of ratios the same residuals, added (from memory); bootstrap of whole
schools (``clusters``); exact limits of a ratio of rates (``differences``). Frames as in DEVELOPERS.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tracker.measures.clusters import bootstrap_sums
from tracker.measures.differences import Pairs, newcombe_difference, newcombe_paired, rate_ratio_exact
from tracker.measures.figure import Figure
from tracker.measures.intervals import NOTHING, Interval, poisson_rate, ratio_of_totals
from tracker.vocabulary import Basis, Measure

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

BOOTSTRAP_FROM = 30  # schools in every arm; below it the bootstrap was too narrow in a simulation (docs)
SEED = 20
SIGNS = {"fitted": 1, "plain": -1, "fitted_before": -1, "plain_before": 1}
BEFORE_SIGNS = {"fitted_before": 1, "plain_before": -1}


class Design(StrEnum):
    """How units are compared."""

    BETWEEN = "units with the fitting beside units without it"
    BEFORE_AFTER = "the same units before and after"
    BOTH = "before and after, beside units without the fitting"


@dataclass(frozen=True, slots=True)
class Ratio:
    """Which columns a measure divides, and the unit of the result."""

    top: str
    bottom: str
    scale: float
    unit: str


RATIOS = {
    Measure.LITRES_PER_VISIT: Ratio("ml", "visits", 1 / 1000, "L per visit"),
    Measure.AVAILABILITY: Ratio("up_min", "scheduled_min", 1.0, "share"),
    Measure.OUTAGES_PER_1000_VISITS: Ratio("outages", "visits", 1000.0, "outages per 1,000 visits"),
    Measure.COST_PER_VISIT: Ratio("cost_minor", "visits", 1.0, "minor units of {currency} per visit"),
}


@dataclass(frozen=True, slots=True)
class Arm:
    """One side of a comparison: its value with 95 % limits, and what it rests on.

    used, expected: unit weeks with both totals recorded, and all. first, last: first day of its first and last
    week used; None without any. top, bottom: the totals divided.
    """

    value: Interval
    schools: int
    units: int
    used: int
    expected: int
    top: float
    bottom: float
    first: date | None
    last: date | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Arms, their difference and, for outages, the ratio of the rates.

    fitted, plain: with and without the fitting (before and after: after and before). fitted_before, plain_before:
    the arms before; only where units are compared with themselves and with others. difference: fitted − plain, or
    the difference of the two changes. ratio: of the rates, exact; only for outages between arms.
    baseline: fitted − plain before the change; only where both are known. units, plain_units: the units compared.
    """

    measure: Measure
    design: Design
    unit: str
    fitted: Arm
    plain: Arm
    fitted_before: Arm | None
    plain_before: Arm | None
    difference: Interval
    ratio: Interval
    baseline: Interval
    units: frozenset[int]
    plain_units: frozenset[int]
    basis: Basis


def label_weeks(rows: pd.DataFrame, fittings: pd.DataFrame, kind: str, change: date | None = None) -> pd.DataFrame:
    """Say of every unit week whether the fitting was in force, and whether it lies before or after the change.

    A week in which the fitting came or went is left out, for it is neither. Weeks are seven days.

    Args:
        rows: unit_id, week, and what is compared.
        fittings: unit_id, kind, from_day, until_day (the last day; NaT: still there).
        kind: the kind of fitting asked about.
        change: the day that divides before from after for units without the fitting; the first day on which any
        of the units got it when it is not given.
    Returns:
        ``rows`` with fitted (the fitting was in force all week), ever (the unit had it in at least one week) and
        after (fitted units: fitted; others: the week begins on or after ``change``).
    """
    ours = fittings[(fittings["kind"] == kind) & fittings["unit_id"].isin(rows["unit_id"])]
    pairs = rows.reset_index(drop=True).assign(row=range(len(rows)))
    last = pairs["week"] + pd.Timedelta(days=6)
    joined = pairs[["row", "unit_id", "week"]].assign(last=last).merge(ours, on="unit_id")
    open_end = joined["until_day"].isna()
    whole = (joined["from_day"] <= joined["week"]) & (open_end | (joined["until_day"] >= joined["last"]))
    touched = (joined["from_day"] <= joined["last"]) & (open_end | (joined["until_day"] >= joined["week"]))
    fitted = pairs["row"].isin(joined.loc[whole, "row"])
    part = pairs["row"].isin(joined.loc[touched & ~whole, "row"]) & ~fitted
    kept = pairs.assign(fitted=fitted)[~part]
    ever = kept["unit_id"].isin(kept.loc[kept["fitted"], "unit_id"])
    began = pd.Timestamp(change) if change is not None else ours["from_day"].min()
    after = kept["fitted"].where(ever, kept["week"] >= began) if len(ours) or change is not None else kept["fitted"]
    return kept.assign(ever=ever, after=after.astype(bool)).drop(columns="row").reset_index(drop=True)


def possible_design(rows: pd.DataFrame) -> Design | None:
    """The fullest design that the labelled weeks allow; None where there is nothing to compare."""
    cells = {(bool(ever), bool(after)) for ever, after in zip(rows["ever"], rows["after"], strict=True)}
    if cells == {(True, True), (True, False), (False, True), (False, False)}:
        return Design.BOTH
    if {(True, True), (False, True)} <= cells:
        return Design.BETWEEN
    return Design.BEFORE_AFTER if {(True, True), (True, False)} <= cells else None


def compare(rows: pd.DataFrame, measure: Measure, design: Design, basis: Basis, seed: int = SEED) -> Comparison:
    """Compare unit weeks with the fitting and without it.

    Between units: weeks after the change only. Before and after: only units with weeks on both sides. Both: the
    change of the fitted units less the change of the others, units with weeks on both sides.

    Limits of a difference: with ``BOOTSTRAP_FROM`` schools or more in every arm, the 2.5 and 97.5 % points of a
    bootstrap of whole schools. With fewer, by linearization: e adds up, for one school, its ±(y − R·x) ÷ Σx of every
    arm; v = n ÷ (n − 1) · Σe² over the n schools that are in the same arms, √Σv with t, degrees of freedom by
    Welch and Satterthwaite. Where schools share some arms and not others: one v with n of the smallest arm, and
    n − 1. Fewer than two schools in an arm, or no spread at all: no limits. Arms: t limits of a ratio of school
    totals; outages: exact limits of a rate.

    Args:
        rows: from ``label_weeks``: school_id, unit_id, week, ever, after, and the two columns of the measure:
        ml and visits; up_min and scheduled_min (of observed days); outages (faults begun) and visits; cost_minor and
        visits. Weeks with a blank in either are left out. Costs are kept by school: give school weeks, with the
        school's number as unit_id, and column currency.
        basis: of the weakest of the figures that went into ``rows``.
    Raises:
        ValueError: a total is negative, or costs of more than one currency are given (column currency).
    """
    _check(rows, measure)
    rule = RATIOS[measure]
    cells = _cells(rows, rule, design)
    used = {name: cell.dropna(subset=[rule.top, rule.bottom]) for name, cell in cells.items()}
    arms = {name: _arm(used[name], len(cells[name]), measure) for name in cells}
    both = design is Design.BOTH
    before = {name: used[name] for name in BEFORE_SIGNS if name in used}
    return Comparison(
        measure=measure,
        design=design,
        unit=rule.unit.format(currency=_currency(rows) if "currency" in rows.columns else ""),
        fitted=arms["fitted"],
        plain=arms["plain"],
        fitted_before=arms.get("fitted_before"),
        plain_before=arms.get("plain_before"),
        difference=_difference(used, rule, SIGNS, seed),
        ratio=NOTHING if both else _rates(measure, arms["fitted"], arms["plain"]),
        baseline=_difference(before, rule, BEFORE_SIGNS, seed) if both else NOTHING,
        units=frozenset(used["fitted"]["unit_id"].tolist()),
        plain_units=frozenset() if design is Design.BEFORE_AFTER else frozenset(used["plain"]["unit_id"].tolist()),
        basis=basis,
    )


def _check(rows: pd.DataFrame, measure: Measure) -> None:
    rule = RATIOS[measure]
    if (rows[[rule.top, rule.bottom]] < 0).any(axis=None):
        raise ValueError(f"{rule.top} and {rule.bottom} cannot be negative")
    if measure is Measure.COST_PER_VISIT:
        _currency(rows)


def _currency(rows: pd.DataFrame) -> str:
    found = rows["currency"].unique().tolist()
    if len(found) != 1 or rows["currency"].isna().any():
        raise ValueError("costs of different currencies, or of none, cannot be compared; convert them before")
    return str(found[0])


def _cells(rows: pd.DataFrame, rule: Ratio, design: Design) -> dict[str, pd.DataFrame]:
    ever, after = rows["ever"].astype(bool), rows["after"].astype(bool)
    if design is Design.BETWEEN:
        return {"fitted": rows[ever & after], "plain": rows[~ever & after]}
    known = rows.dropna(subset=[rule.top, rule.bottom])
    sides = known.groupby("unit_id")["after"].nunique()
    whole = rows["unit_id"].isin(sides.index[sides == 2])  # both sides known
    mine = {"fitted": rows[whole & ever & after], "plain": rows[whole & ever & ~after]}
    if design is Design.BEFORE_AFTER:
        return mine
    return {
        "fitted": mine["fitted"],
        "plain": rows[whole & ~ever & after],
        "fitted_before": mine["plain"],
        "plain_before": rows[whole & ~ever & ~after],
    }


def _arm(rows: pd.DataFrame, expected: int, measure: Measure) -> Arm:
    rule = RATIOS[measure]
    sums = _school_sums(rows, rule)
    top, bottom = math.fsum(sums[rule.top].tolist()), math.fsum(sums[rule.bottom].tolist())
    if measure is Measure.OUTAGES_PER_1000_VISITS:
        value = poisson_rate(round(top), bottom)
    else:
        value = ratio_of_totals(sums[rule.top].tolist(), sums[rule.bottom].tolist())
    weeks = rows["week"]
    return Arm(
        value=_clipped(value, rule, measure),
        schools=len(sums),
        units=int(rows["unit_id"].nunique()),
        used=len(rows),
        expected=expected,
        top=top,
        bottom=bottom,
        first=weeks.min().date() if len(rows) else None,
        last=weeks.max().date() if len(rows) else None,
    )


def _clipped(found: Interval, rule: Ratio, measure: Measure) -> Interval:
    """In the unit of the measure; no less than 0 (costs may be), a share no more than 1."""
    ends = [None if end is None else end * rule.scale for end in found]
    least = -math.inf if measure is Measure.COST_PER_VISIT else 0.0
    most = 1.0 if measure is Measure.AVAILABILITY else math.inf
    return Interval(*(None if end is None else min(max(end, least), most) for end in ends))


def _school_sums(rows: pd.DataFrame, rule: Ratio) -> pd.DataFrame:
    return rows.groupby("school_id")[[rule.top, rule.bottom]].sum().astype("float64")


def _rates(measure: Measure, fitted: Arm, plain: Arm) -> Interval:
    if measure is not Measure.OUTAGES_PER_1000_VISITS:
        return NOTHING
    return rate_ratio_exact(round(fitted.top), fitted.bottom, round(plain.top), plain.bottom)


def _difference(used: Mapping[str, pd.DataFrame], rule: Ratio, signs: Mapping[str, int], seed: int) -> Interval:
    """Σ ±R over the arms, with limits over whole schools."""
    names = [name for name in signs if name in used]
    sums = [_school_sums(used[name], rule) for name in names]
    sign = np.array([signs[name] for name in names], dtype=float)
    schools = sorted({school for table in sums for school in table.index})
    wide = [table.reindex(schools, fill_value=0.0).to_numpy() for table in sums]
    tops, bases = (np.column_stack([table[:, side] for table in wide]) for side in (0, 1))
    smallest = min(len(table) for table in sums)
    if smallest < BOOTSTRAP_FROM:
        return _linearized(tops, bases, sign * rule.scale, smallest)

    def statistic(totals: Floats) -> Floats:
        top, base = totals[:, : len(names)], totals[:, len(names) :]
        found = (sign * rule.scale * top / np.where(base > 0, base, np.nan)).sum(axis=1)
        return np.asarray(found, dtype=np.float64)

    return bootstrap_sums(np.hstack([tops, bases]), statistic, seed)


def _linearized(tops: Floats, bases: Floats, sign: Floats, smallest: int) -> Interval:
    from scipy.special import stdtrit

    totals = bases.sum(axis=0)
    if not (totals > 0).all():
        return NOTHING
    ratios = tops.sum(axis=0) / totals
    value = float((sign * ratios).sum())
    squares = (((tops - ratios * bases) / totals) @ sign) ** 2
    parts = [(math.fsum(squares[rows].tolist()), n) for rows, n in _alike(bases > 0, smallest)]
    spread = [n / (n - 1) * square for square, n in parts if n > 1]
    if smallest < 2 or sum(spread) == 0:
        return Interval(value, None, None)
    freedom = sum(spread) ** 2 / sum(v**2 / (n - 1) for v, (_, n) in zip(spread, parts, strict=True))
    half = float(stdtrit(freedom, 0.975)) * math.sqrt(sum(spread))
    return Interval(value, value - half, value + half)


def _alike(present: Bools, smallest: int) -> list[tuple[Bools, int]]:
    """Schools by the arms that they are in, with their number; all together where such sets of arms overlap."""
    patterns = [pattern for pattern in np.unique(present, axis=0) if pattern.any()]
    if (np.sum(patterns, axis=0) > 1).any():
        return [(np.ones(len(present), dtype=bool), smallest)]
    found = [(present == pattern).all(axis=1) for pattern in patterns]
    return [(rows, int(rows.sum())) for rows in found]


def arm_figure(arm: Arm, comparison: Comparison) -> Figure:
    """An arm as a figure; used and expected: unit weeks."""
    return _figure(arm.value, comparison, arm.used, arm.expected)


def difference_figure(comparison: Comparison) -> Figure:
    """The difference as a figure, in the unit of the measure; used and expected: unit weeks of all arms."""
    arms = [comparison.fitted, comparison.plain, comparison.fitted_before, comparison.plain_before]
    sizes = [(arm.used, arm.expected) for arm in arms if arm is not None]
    return _figure(comparison.difference, comparison, sum(n for n, _ in sizes), sum(n for _, n in sizes))


def _figure(found: Interval, comparison: Comparison, used: int, expected: int) -> Figure:
    whole = found.low is not None and found.high is not None
    return Figure(
        value=found.value,
        unit=comparison.unit,
        basis=comparison.basis,
        low=found.low if whole else None,
        high=found.high if whole else None,
        used=used,
        expected=expected,
        records="unit weeks",
    )


def units_without_outage(rows: pd.DataFrame, design: Design) -> Interval:
    """Share of units without an outage: with the fitting − without it, by Newcombe's limits.

    Between: independent units; before and after: the same units, paired. It takes units as independent, which
    units of one school are not quite, and needs periods of one length; the rate of outages needs neither.

    Args:
        rows: from ``label_weeks`` with outages; weeks with a blank are left out.
    Raises:
        ValueError: the design is neither of the two.
    """
    known = rows.dropna(subset=["outages"])
    if design is Design.BETWEEN:
        clear = known[known["after"]].groupby(["ever", "unit_id"])["outages"].sum().eq(0)
        sides = [clear[clear.index.get_level_values("ever") == ever] for ever in (True, False)]
        return newcombe_difference(int(sides[0].sum()), len(sides[0]), int(sides[1].sum()), len(sides[1]))
    if design is not Design.BEFORE_AFTER:
        raise ValueError("shares of units are compared between units, or before and after")
    clear = known[known["ever"]].groupby(["unit_id", "after"])["outages"].sum().eq(0)
    pairs = clear.unstack("after").reindex(columns=[False, True]).dropna().astype(bool)
    before, later = pairs[False], pairs[True]
    counts = (before & later, before & ~later, ~before & later, ~before & ~later)
    return newcombe_paired(Pairs(*(int(one.sum()) for one in counts)))
