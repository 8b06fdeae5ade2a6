"""The lines of a restocking round: what is asked for is checked, laid out by product and school, and given its bounds.

A line is a product at a school. Its packs lie between the minimum and what fits and is worth carrying.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.restock_checks import check_needs, check_products
from tracker.measures.restock_loss import Numbers, first_count, unmet
from tracker.measures.restock_terms import InfeasiblePlan, Limited, Limits, Shortfall

Wholes = npt.NDArray[np.int64]
TABLE_MOST: Final = 4_000_000  # packs looked at one by one; more would not fit into the memory promised
ML: Final = 1000
LEAST_GAIN: Final = 1e-9  # requests; below it rounding of the losses decides


@dataclass(frozen=True, slots=True)
class Round:
    """A round laid out: one row a line, sorted by product and school; one row a product.

    lines: the columns of ``needs``, and ``place`` (row in ``needs``). products: sorted by product. product: row of the
    line's product. stock: whole pieces on hand, NaN where nothing can be said of the line. size: pieces of a pack.
    least, most: packs. fits: packs that the room takes (inf = no limit). worth: packs worth
    carrying with endless room. known: demand and stock known, reachable.
    costs: a row a shared limit, a column a product: what a pack takes of it, whole numbers. limits: of each row.
    limit_names: of each row.
    """

    lines: pd.DataFrame
    products: pd.DataFrame
    product: npt.NDArray[np.intp]
    stock: Numbers
    size: Numbers
    least: Wholes
    most: Wholes
    fits: Numbers
    worth: Numbers
    known: npt.NDArray[np.bool_]
    costs: Wholes
    limits: Wholes
    limit_names: tuple[Limited, ...]

    @property
    def mean(self) -> Numbers:
        """Requests expected, by line."""
        return self.lines["mean"].to_numpy(dtype="float64")

    @property
    def variance(self) -> Numbers:
        """Variance of the requests, by line."""
        return self.lines["variance"].to_numpy(dtype="float64")

    @property
    def store(self) -> Wholes:
        """Packs in the store, by product."""
        return self.products["store_packs"].to_numpy(dtype="int64")

    def by_product(self, packs: Wholes) -> Wholes:
        """Packs of each product in all."""
        return np.bincount(self.product, weights=packs, minlength=len(self.products)).astype("int64")

    def unmet(self, packs: Wholes) -> Numbers:
        """Requests expected to go unmet with these packs, by line; NaN where demand or stock is not known."""
        return unmet(self.mean, self.variance, self.stock + self.size * packs)


def prepare(needs: pd.DataFrame, products: pd.DataFrame, limits: Limits, enough_below: float) -> Round:
    """Check and lay out a round.

    Raises:
        ValueError: a column is missing or a value makes no sense; the sentence says which and what to do.
        InfeasiblePlan: the minimums break a limit.
    """
    goods = check_products(products, limits).sort_values("product_id").reset_index(drop=True)
    lines = check_needs(needs, goods).assign(place=np.arange(len(needs)))
    lines = lines.sort_values(["product_id", "school_id"], kind="stable").reset_index(drop=True)
    product = pd.Index(goods["product_id"]).get_indexer(pd.Index(lines["product_id"]))
    size = goods["pack_size"].to_numpy(dtype="float64")[product]
    reachable = lines["reachable"].to_numpy(dtype=bool)
    known = reachable & lines[["mean", "on_hand"]].notna().all(axis=1).to_numpy(dtype=bool)
    stock = np.floor(lines["on_hand"].to_numpy(dtype="float64"))
    least = np.where(reachable, np.ceil(lines["minimum"].to_numpy(dtype="float64") / size), 0).astype("int64")
    fits = np.where(reachable, np.floor(lines["room"].fillna(np.inf).to_numpy() / size), 0.0)
    worth = _packs_worth(lines, stock, size, max(enough_below, LEAST_GAIN))
    most = np.maximum(least, np.where(known, np.minimum(fits, worth), 0)).astype("int64")
    costs, caps, names = _shared_limits(goods, limits)
    made = Round(lines, goods, product, stock, size, least, most, fits, worth, known, costs, caps, names)
    _check_minimums(made)
    return made


def _packs_worth(lines: pd.DataFrame, stock: Numbers, size: Numbers, enough_below: float) -> Numbers:
    """Packs after which another one meets less than ``enough_below`` requests."""
    mean, variance = (lines[name].to_numpy(dtype="float64") for name in ("mean", "variance"))

    def too_little(rows: npt.NDArray[np.intp], packs: Numbers) -> npt.NDArray[np.bool_]:
        before = stock[rows] + size[rows] * packs
        gain = unmet(mean[rows], variance[rows], before) - unmet(mean[rows], variance[rows], before + size[rows])
        return gain < enough_below

    return np.nan_to_num(first_count(too_little, np.isnan(mean) | np.isnan(stock)), nan=0.0)


def _shared_limits(goods: pd.DataFrame, limits: Limits) -> tuple[Wholes, Wholes, tuple[Limited, ...]]:
    """What a pack takes of each shared limit, in whole minor units, millilitres and packs."""
    rows: list[tuple[Limited, Numbers, float]] = []
    if limits.budget_minor is not None:
        rows.append((Limited.BUDGET, goods["pack_cost_minor"].to_numpy(dtype="float64"), limits.budget_minor))
    if limits.litres is not None:
        rows.append((Limited.LITRES, goods["pack_litres"].to_numpy(dtype="float64") * ML, limits.litres * ML))
    if limits.packs is not None:
        rows.append((Limited.PACKS, np.ones(len(goods)), limits.packs))
    costs = np.array([np.ceil(row - 1e-6) for _, row, _ in rows], dtype="int64").reshape(len(rows), len(goods))
    caps = np.array([np.floor(cap + 1e-6) for _, _, cap in rows], dtype="int64")
    return costs, caps, tuple(name for name, _, _ in rows)


def _check_minimums(made: Round) -> None:
    found = [
        Shortfall(
            Limited.ROOM, int(made.least[row] * made.size[row]), float(made.lines["room"].iloc[row]), *_who(made, row)
        )
        for row in np.flatnonzero(made.least > made.fits)
    ]
    totals = made.by_product(made.least)
    found += [
        Shortfall(Limited.STOCK, int(totals[row]), int(made.store[row]), made.products["product_id"].iloc[row])
        for row in np.flatnonzero(totals > made.store)
    ]
    used = made.costs @ totals
    for row in np.flatnonzero(used > made.limits):
        name = made.limit_names[row]
        unit = ML if name is Limited.LITRES else 1
        found.append(Shortfall(name, used[row] / unit, made.limits[row] / unit))
    if found:
        raise InfeasiblePlan(found)


def _who(made: Round, row: np.integer) -> tuple[object, object]:
    line = made.lines.iloc[int(row)]
    return line["product_id"], line["school_id"]


@dataclass(frozen=True, slots=True)
class Steps:
    """Packs that may be brought beyond the least, one row a pack: line, packs before it, requests it is to meet.

    By line in order, and within a line from the first pack on; no more of a line than the store can still give.
    """

    line: npt.NDArray[np.intp]
    number: Wholes
    gain: Numbers


def steps(made: Round) -> Steps:
    """Every pack beyond the least with the requests that it is expected to meet.

    Raises:
        ValueError: there are more packs to look at than memory allows.
    """
    left = (made.store - made.by_product(made.least))[made.product]
    count = np.where(made.known, np.minimum(made.most - made.least, left), 0)
    if count.sum() > TABLE_MOST:
        raise ValueError("There are too many packs to plan one by one. Plan with larger packs or with fewer schools.")
    ends = np.cumsum(count)
    line = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(line)) - np.repeat(ends - count, count) + made.least[line]
    before = made.stock[line] + made.size[line] * number
    mean, variance = made.mean[line], made.variance[line]
    with_it = unmet(mean, variance, before + made.size[line])
    first = np.r_[True, line[1:] != line[:-1]][: len(line)]
    without = np.r_[0.0, with_it[:-1]][: len(line)]
    without[first] = unmet(mean[first], variance[first], before[first])
    return Steps(line, number, without - with_it)


def gains_by_product(made: Round, every: Steps) -> list[tuple[npt.NDArray[np.intp], Numbers]]:
    """For each product the lines of its packs and their gains, largest first, no more than the store can still give.

    A tie goes to the school with the smaller number. Because gains of a line never rise, the first k packs are the best
    k packs of the product.
    """
    left = made.store - made.by_product(made.least)
    owner = made.product[every.line]
    found = []
    for row, most in enumerate(left):
        mine = np.flatnonzero(owner == row)
        order = mine[np.argsort(-np.round(every.gain[mine], 12), kind="stable")][:most]
        found.append((every.line[order], every.gain[order]))
    return found
