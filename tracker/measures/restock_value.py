"""What a little more would bring, who stays at risk whatever is done, and plans to compare with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.restock_lines import ML, Round, Steps, Wholes, prepare, steps
from tracker.measures.restock_loss import Numbers
from tracker.measures.restock_plan import chosen
from tracker.measures.restock_score import Plan, scored
from tracker.measures.restock_terms import ENOUGH_BELOW, Aim, Limited, Limits, Method

WORTH: Final = ["limited", "product_id", "more", "drop", "gap"]
BUDGET_STEPS: Final = (1, 1000)  # minor units


def worth(
    needs: pd.DataFrame,
    products: pd.DataFrame,
    limits: Limits,
    aim: Aim = Aim.FEWEST_UNMET,
    budget_steps: Sequence[int] = BUDGET_STEPS,
) -> pd.DataFrame:
    """What one more of each thing in short supply would bring: the plan is made again with it.

    Returns:
        ``limited`` (stock, budget, litres, packs), ``product_id`` (blank but for stock), ``more`` (1 pack, the steps of
        the budget in minor units, 1 litre), ``drop`` (expected requests unmet fall by), ``gap`` (how far both plans
        together may be from the best; 0 where both are exact). Limits that are not set have no row. With a fair aim the
        drop may be below 0: more to share can go to a school that needs it less.
    Raises:
        ValueError, InfeasiblePlan: as ``plan``.
    """
    made = prepare(needs, products, limits, ENOUGH_BELOW)
    every = steps(replace(made, products=made.products.assign(store_packs=made.store + 1)))
    now, gap = _left_unmet(made, every, aim)
    rows = []
    for limited, product, more, wider in [*_more_stock(made), *_wider(made, budget_steps)]:
        then, other = _left_unmet(wider, every, aim)
        rows.append((str(limited), product, more, now - then, gap + other))
    return pd.DataFrame(rows, columns=WORTH)


def _left_unmet(made: Round, every: Steps, aim: Aim) -> tuple[float, float]:
    """Requests left unmet by an aim, and how far its totals may be from the best."""
    packs, best = chosen(made, every, aim)
    return float(np.nansum(made.unmet(packs))), best.bound - best.gain if aim is Aim.FEWEST_UNMET else 0.0


def _more_stock(made: Round) -> list[tuple[Limited, object, int, Round]]:
    found: list[tuple[Limited, object, int, Round]] = []
    for row, product in enumerate(made.products["product_id"]):
        store = made.store + (np.arange(len(made.store)) == row)
        found.append((Limited.STOCK, product, 1, replace(made, products=made.products.assign(store_packs=store))))
    return found


def _wider(made: Round, budget_steps: Sequence[int]) -> list[tuple[Limited, object, int, Round]]:
    found: list[tuple[Limited, object, int, Round]] = []
    for row, name in enumerate(made.limit_names):
        unit = ML if name is Limited.LITRES else 1
        for more in budget_steps if name is Limited.BUDGET else (1,):
            limits = made.limits + more * unit * (np.arange(len(made.limits)) == row)
            found.append((name, None, more, replace(made, limits=limits)))
    return found


def at_risk(made: Plan, threshold: float) -> pd.DataFrame:
    """Lines that stay at risk whatever is done in this round.

    With endless stock, money and vehicle room a line would get ``best_packs``: what its room takes and what is worth
    carrying; a school that cannot be reached gets nothing. Lines whose chance of running out is then still above the
    threshold are listed, highest first. Where demand or stock is not known nothing can be said, and the line is not
    listed.

    Raises:
        ValueError: the threshold is not between 0 and 1.
    """
    if not 0 <= threshold <= 1:
        raise ValueError("The chance of running out must lie between 0 and 1.")
    lines = made.lines[made.lines["run_out_best"] > threshold]
    return lines.sort_values(["run_out_best", "product_id", "school_id"], ascending=[False, True, True])


def flat(needs: pd.DataFrame, products: pd.DataFrame, limits: Limits) -> Plan:
    """The same packs of a product to each school that can be reached, to compare with.

    As many as the store has for each, and no more than the schools need on average (rounded up); where budget or
    vehicle do not suffice, all products are cut in the same proportion. What does not fit into a school's room is not
    brought. Minimums are left aside.
    """
    made = _free(needs, products, limits)
    takes = made.lines["reachable"].to_numpy(dtype=bool).astype("int64")
    asked = made.by_product(made.most) / np.maximum(1, made.by_product(made.known.astype("int64")))
    each = np.minimum(made.store // np.maximum(1, made.by_product(takes)), np.ceil(asked).astype("int64"))

    def cut(share: float) -> Wholes:
        return _within_room(made, np.floor(each * share + 1e-9)[made.product] * takes)

    return scored(made, _largest(made, cut), None, Method.FLAT)


def habit(last_packs: pd.DataFrame, needs: pd.DataFrame, products: pd.DataFrame, limits: Limits) -> Plan:
    """What the last round brought, cut to the store, the limits and each school's room, to compare with.

    Where the store has too few of a product, or budget or vehicle do not suffice, all schools are cut in the same
    proportion, in whole packs. Minimums are left aside.

    Args:
        last_packs: ``school_id``, ``product_id``, ``packs`` (whole). A line that is not listed got nothing.
    """
    made = _free(needs, products, limits)
    last = last_packs.groupby(["school_id", "product_id"])["packs"].sum()
    wanted = last.reindex(pd.MultiIndex.from_frame(made.lines[["school_id", "product_id"]]))
    brought = np.where(made.lines["reachable"].to_numpy(dtype=bool), wanted.fillna(0).to_numpy(dtype="float64"), 0.0)
    brought = _within_room(made, brought).astype("float64")
    totals = made.by_product(brought.astype("int64"))
    scale = np.minimum(1.0, made.store / np.maximum(totals, 1))[made.product]

    def cut(share: float) -> Wholes:
        return np.floor(brought * scale * share + 1e-9).astype("int64")

    return scored(made, _largest(made, cut), None, Method.HABIT)


def _free(needs: pd.DataFrame, products: pd.DataFrame, limits: Limits) -> Round:
    return prepare(needs.assign(minimum=0), products, limits, ENOUGH_BELOW)


def _within_room(made: Round, packs: Numbers) -> Wholes:
    return np.asarray(np.minimum(packs, made.fits), dtype="int64")


def _largest(made: Round, cut: Callable[[float], Wholes]) -> Wholes:
    """The largest share of a comparison's packs that keeps the shared limits, to a thousandth."""
    low, high = 0, 1000
    while low < high:
        middle = (low + high + 1) // 2
        fits = bool((made.costs @ made.by_product(cut(middle / 1000)) <= made.limits).all())
        low, high = (middle, high) if fits else (low, middle - 1)
    return cut(low / 1000)
