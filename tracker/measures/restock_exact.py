"""How many packs of each product: exact where products share a budget or a vehicle.

What a pack takes of a shared limit depends on its product, never on the school. So the best plan gives each product's
packs to the largest gains (sorted, they fall), and only the number of packs of each product is left to choose: a
concave gain for each product, a few shared limits, whole numbers.

1. Prices of the limits (Lagrange multipliers) by cutting planes: every set of prices gives a bound that no plan beats.
2. A plan close to it by rounding and filling up. The distance between both is the first gap.
3. A number of packs that loses more than this gap at these prices cannot be in a better plan and is left out. The
   rest, usually a few hundred packs, goes to HiGHS as an integer programme.

Source: M. L. Fisher, The Lagrangian relaxation method for solving integer programming problems, Management Science 27
(1981), from memory; J. E. Kelley's cutting planes (1960), from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from tracker.measures.restock_loss import Numbers
from tracker.measures.restock_terms import Method

Wholes = npt.NDArray[np.int64]
CUTS: Final = 200
SECONDS: Final = 3.0
CLOSE: Final = 1e-9  # requests; below it two plans are the same


@dataclass(frozen=True, slots=True)
class Totals:
    """Packs of each product, what they gain, and what no choice of packs can exceed (requests expected to be met)."""

    packs: Wholes
    gain: float
    bound: float
    method: Method


@dataclass(frozen=True, slots=True)
class Market:
    """gains: by product, largest first. costs: a row a shared limit, a column a product. limits: of each row."""

    gains: Sequence[Numbers]
    costs: Wholes
    limits: Wholes

    @property
    def sizes(self) -> Wholes:
        """How many packs of each product there are."""
        return np.array([len(one) for one in self.gains], dtype="int64")

    def fits(self, packs: Wholes) -> bool:
        """Whether these packs keep every shared limit."""
        return bool((self.costs @ packs <= self.limits).all())

    def gain(self, packs: Wholes) -> float:
        """Requests that these packs are expected to meet."""
        return math.fsum(float(one[:count].sum()) for one, count in zip(self.gains, packs, strict=True))


def best_totals(market: Market, seconds: float = SECONDS) -> Totals:
    """The packs of each product that meet the most requests.

    Args:
        market: gains may be empty. seconds: after which HiGHS stops; the gap then says what is not proven.
    """
    market = _cut(market)
    sizes = market.sizes
    if market.fits(sizes):
        return _proven(market, sizes, Method.MARGINAL)
    rows = ~(market.costs @ sizes <= market.limits)
    market = _plain(Market(market.gains, market.costs[rows], market.limits[rows]))
    if (market.costs[:, sizes > 0] == 1).all():
        return _proven(market, _merged(market), Method.MARGINAL)
    return _coupled(market, seconds)


def _proven(market: Market, packs: Wholes, method: Method) -> Totals:
    gain = market.gain(packs)
    return Totals(packs, gain, gain, method)


def _cut(market: Market) -> Market:
    """Without packs that exceed a limit even if nothing else is brought."""
    most = [
        min((int(cap // cost) for cost, cap in zip(column, market.limits, strict=True) if cost), default=len(gains))
        for gains, column in zip(market.gains, market.costs.T, strict=True)
    ]
    return Market([gains[:top] for gains, top in zip(market.gains, most, strict=True)], market.costs, market.limits)


def _plain(market: Market) -> Market:
    """Each limit in the largest unit that measures all its packs: 7,500 at 250 a pack is 30 at 1 a pack."""
    units = np.gcd.reduce(market.costs[:, market.sizes > 0], axis=1)
    return Market(market.gains, market.costs // units[:, None], market.limits // units)


def _merged(market: Market) -> Wholes:
    """The largest gains of all products together, where a pack of each takes the same."""
    owner = np.repeat(np.arange(len(market.gains)), market.sizes)
    order = np.argsort(-np.round(np.concatenate(market.gains), 12), kind="stable")[: int(market.limits.min())]
    return np.bincount(owner[order], minlength=len(market.gains)).astype("int64")


def _coupled(market: Market, seconds: float) -> Totals:
    prices, bound, mixed = _prices(market)
    start = _filled(market, np.minimum(np.floor(mixed + 1e-9).astype("int64"), market.sizes))
    gain = market.gain(start)
    if bound - gain <= CLOSE:
        return Totals(start, gain, max(bound, gain), Method.PRICES)
    first, last = _windows(market, prices, bound - gain + CLOSE)
    if (first == last).all():
        return Totals(start, gain, gain, Method.PRICES)
    return _integer(market, (first, last), Totals(start, gain, bound, Method.STOPPED), seconds)


def _at_prices(market: Market, prices: Numbers) -> tuple[float, Wholes, Numbers]:
    """The bound at these prices, the packs that are worth their price, and what they leave of the limits."""
    each = prices @ market.costs
    worth = [int(np.searchsorted(-gains, -price, side="left")) for gains, price in zip(market.gains, each, strict=True)]
    packs = np.array(worth, dtype="int64")
    left = (market.limits - market.costs @ packs).astype("float64")
    return market.gain(packs) + float(prices @ left), packs, left


def _prices(market: Market) -> tuple[Numbers, float, Numbers]:
    """Prices with the smallest bound, that bound, and the mix of packs that the prices balance."""
    from scipy.optimize import linprog

    rows = len(market.limits)
    scale = market.costs.max(axis=1).astype("float64")
    highest = max((float(one[0]) for one in market.gains if len(one)), default=0.0)
    bounds = [(0.0, highest * unit) for unit in _dearest(market, scale)] + [(None, None)]
    point, best, chosen = np.zeros(rows), (math.inf, np.zeros(rows)), np.zeros(len(market.gains))
    cuts: list[Numbers] = []
    rest: list[float] = []
    seen: list[Wholes] = []
    for _ in range(CUTS):
        value, packs, left = _at_prices(market, point / scale)
        if value < best[0]:
            best = (value, point / scale)
        cuts.append(np.r_[left / scale, -1.0])
        rest.append(float(left / scale @ point) - value)
        seen.append(packs)
        found = linprog(np.r_[np.zeros(rows), 1.0], A_ub=np.array(cuts), b_ub=rest, bounds=bounds, method="highs-ds")
        if found.x is None or found.fun is None:
            break
        chosen = -found.ineqlin.marginals @ np.array(seen)
        if best[0] - found.fun <= 1e-9 * max(1.0, best[0]):
            break
        point = found.x[:rows]
    return best[1], best[0], chosen


def _dearest(market: Market, scale: Numbers) -> Numbers:
    """Per limit, how many times its scale the cheapest pack goes into it: above this price nothing would be bought."""
    counted = np.where((market.costs > 0) & (market.sizes > 0), market.costs, np.iinfo("int64").max)
    return np.asarray(scale / np.minimum(counted.min(axis=1), scale), dtype="float64")


def _filled(market: Market, packs: Wholes) -> Wholes:
    """These packs, cut until they fit, then filled up by the largest gain that still fits."""
    packs = packs.copy()
    while not market.fits(packs):
        last = [gains[count - 1] if count else math.inf for gains, count in zip(market.gains, packs, strict=True)]
        packs[int(np.argmin(last))] -= 1
    while True:
        left = market.limits - market.costs @ packs
        room = (packs < market.sizes) & (market.costs <= left[:, None]).all(axis=0)
        if not room.any():
            return packs
        gains = [one[count] if free else -1.0 for one, count, free in zip(market.gains, packs, room, strict=True)]
        packs[int(np.argmax(gains))] += 1


def _windows(market: Market, prices: Numbers, gap: float) -> tuple[Wholes, Wholes]:
    """Per product the fewest and the most packs that a plan better than the one in hand can have."""
    ends = []
    for gains, price in zip(market.gains, prices @ market.costs, strict=True):
        value = np.r_[0.0, np.cumsum(gains)] - price * np.arange(len(gains) + 1)
        inside = np.flatnonzero(value.max() - value <= gap)
        ends.append((inside[0], inside[-1]))
    first, last = np.array(ends, dtype="int64").T
    return first, last


def _integer(market: Market, window: tuple[Wholes, Wholes], start: Totals, seconds: float) -> Totals:
    """HiGHS on the packs inside the windows: whole totals, and each pack's gain counted up to its total."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    first, last = window
    width, products = last - first, len(first)
    packs = int(width.sum())
    inside = np.concatenate([g[a:b] for g, a, b in zip(market.gains, first, last, strict=True)])
    row = np.r_[np.repeat(np.arange(products), width), np.arange(products)]
    sums = csr_array((np.r_[np.ones(packs), -np.ones(products)], (row, np.arange(packs + products))))
    scale = market.costs.max(axis=1)
    shared = csr_array(np.hstack([np.zeros((len(scale), packs)), market.costs / scale[:, None]]))
    caps = (market.limits - market.costs @ first) / scale
    found = milp(
        -np.r_[inside, np.zeros(products)],
        integrality=np.r_[np.zeros(packs), np.ones(products)],
        bounds=Bounds(0, np.r_[np.ones(packs), width]),
        constraints=[LinearConstraint(sums, 0, 0), LinearConstraint(shared, -np.inf, caps)],
        options={"mip_rel_gap": 0, "time_limit": seconds},
    )
    if found.x is None or found.mip_dual_bound is None:
        return start
    better = _filled(market, first + np.round(found.x[packs:]).astype("int64"))
    chosen, gain = max(((start.packs, start.gain), (better, market.gain(better))), key=lambda one: one[1])
    limit = max(gain, min(start.bound, market.gain(first) - float(found.mip_dual_bound)))
    method = Method.INTEGER if found.status == 0 and limit - gain <= 1e-5 else Method.STOPPED
    return Totals(chosen, gain, limit, method)
