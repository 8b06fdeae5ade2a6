"""The plan of a restocking round: whole packs for each school under the store, the budget, the vehicle and the room.

Expected requests unmet, E[(X − stock)⁺], fall by less with each further pack (the loss is convex). So where products
share nothing, the largest gains are the best plan; where they share a budget or a vehicle, ``restock_exact`` chooses
how many packs of each product. Girls also bring their own: a request unmet is not a girl without.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.restock_even import even_packs, lowest_first
from tracker.measures.restock_exact import Market, Totals, best_totals
from tracker.measures.restock_lines import Round, Steps, Wholes, gains_by_product, prepare, steps
from tracker.measures.restock_loss import Numbers
from tracker.measures.restock_score import Plan, daily, scored
from tracker.measures.restock_terms import ENOUGH_BELOW, Aim, Limits, Method

FAIR: Final = {Aim.EQUAL_RUN_OUT: Method.RUN_OUT, Aim.LOWEST_SHARE: Method.LOWEST}


def plan(
    needs: pd.DataFrame,
    products: pd.DataFrame,
    limits: Limits,
    aim: Aim = Aim.FEWEST_UNMET,
    enough_below: float = ENOUGH_BELOW,
) -> Plan:
    """The packs to bring to each school.

    Args:
        needs: one row a school and product: ``school_id``, ``product_id``; ``mean``, ``variance`` of the requests
            expected until the round after (NaN mean = demand not known, NaN variance = a Poisson count); ``per_day``
            requests a school day; ``on_hand`` pieces (NaN = not recorded); ``room`` pieces that still fit (NaN = no
            limit); ``minimum`` pieces to bring at least; ``reachable``; ``days`` school days covered.
        products: one row a product: ``product_id``, ``pack_size`` pieces, ``pack_cost_minor``, ``pack_litres``,
            ``store_packs`` whole packs in the store.
        limits: shared by all products. aim: what the plan is made for.
        enough_below: requests; a pack that is expected to meet fewer stays in the store (at least 1e-9).
    Returns:
        The plan. Where demand or stock is not known only the minimum goes, and the figures of the line are NaN. A
        school that cannot be reached gets nothing, not even its minimum. Without rows, an empty plan.
    Raises:
        ValueError: a column is missing or a value makes no sense.
        InfeasiblePlan: the minimums break a limit; it names each and by how much.

    >>> needs = pd.DataFrame({"school_id": [1, 2, 3], "product_id": "N", "mean": [2.0, 4.0, 6.0], "variance": np.nan,
    ...     "per_day": [0.2, 0.4, 0.6], "on_hand": 0.0, "room": np.nan, "minimum": 0, "reachable": True, "days": 10})
    >>> goods = pd.DataFrame({"product_id": ["N"], "pack_size": 1, "pack_cost_minor": 5, "pack_litres": 0.1,
    ...     "store_packs": 8})
    >>> plan(needs, goods, Limits()).lines["packs"].tolist()
    [1, 3, 4]
    """
    made = prepare(needs, products, limits, enough_below)
    every = steps(made)
    return _of_aim(made, every, aim, *fewest_unmet(made, every))


def plans(
    needs: pd.DataFrame, products: pd.DataFrame, limits: Limits, enough_below: float = ENOUGH_BELOW
) -> dict[Aim, Plan]:
    """The plan of every aim, as ``plan`` makes each; what they share is worked out once.

    Args, Raises: as ``plan``.
    """
    made = prepare(needs, products, limits, enough_below)
    every = steps(made)
    fewest = fewest_unmet(made, every)
    return {aim: _of_aim(made, every, aim, *fewest) for aim in Aim}


def _of_aim(made: Round, every: Steps, aim: Aim, fewest: Wholes, best: Totals) -> Plan:
    packs = _fair(made, every, aim) if aim in FAIR else fewest
    with_least = float(np.nansum(made.unmet(made.least)))
    return scored(made, packs, aim, FAIR.get(aim, best.method), max(0.0, with_least - best.bound))


def chosen(made: Round, every: Steps, aim: Aim) -> tuple[Wholes, Totals]:
    """Packs of each line by an aim, and the best totals of products, whose bound no aim beats."""
    fewest, best = fewest_unmet(made, every)
    return (_fair(made, every, aim) if aim in FAIR else fewest), best


def fewest_unmet(made: Round, every: Steps) -> tuple[Wholes, Totals]:
    """Packs of each line that leave the fewest requests unmet, and the totals of products that they add up to."""
    ranked = gains_by_product(made, every)
    room = made.limits - made.costs @ made.by_product(made.least)
    best = best_totals(Market([gain for _, gain in ranked], made.costs, room))
    packs = made.least.copy()
    for (line, _), count in zip(ranked, best.packs, strict=True):
        packs += np.bincount(line[:count], minlength=len(packs))
    return packs, best


def _fair(made: Round, every: Steps, aim: Aim) -> Wholes:
    if aim is Aim.LOWEST_SHARE:
        return lowest_first(made, every.line, _share_before(made, every), made.least)
    per_day = daily(made)
    start = even_packs(made, per_day)
    more = every.number >= start[every.line]
    line, use = every.line[more], per_day[every.line[more]]
    before = made.stock[line] + made.size[line] * every.number[more]
    days = np.where(use > 0, before / np.where(use > 0, use, 1.0), np.inf)
    return lowest_first(made, line, days, start)


def _share_before(made: Round, every: Steps) -> Numbers:
    """Share of a line's requests that is met without each of its packs."""
    at_least = made.unmet(made.least)
    through = np.cumsum(every.gain)
    first = np.r_[True, every.line[1:] != every.line[:-1]][: len(every.line)]
    start = np.maximum.accumulate(np.where(first, np.arange(len(first)), 0))
    gained = through - every.gain - (through[start] - every.gain[start])
    return np.asarray(1 - (at_least[every.line] - gained) / made.mean[every.line], dtype="float64")
