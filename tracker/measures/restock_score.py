"""What a plan is expected to do: unmet requests before and after, why a line gets no more, and what the plan takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.restock_lines import Round, Wholes
from tracker.measures.restock_loss import Numbers, above, smallest
from tracker.measures.restock_terms import Aim, Limited, Method, Reason

LINES: Final = [
    "school_id",
    "product_id",
    "packs",
    "pieces",
    "mean",
    "on_hand",
    "low",
    "high",
    "unmet_before",
    "unmet_after",
    "run_out_before",
    "run_out_after",
    "served_before",
    "served_after",
    "cover_days_before",
    "cover_days_after",
    "reason",
    "best_packs",
    "run_out_best",
]


@dataclass(frozen=True, slots=True)
class Used:
    """What a plan takes: packs, minor units of money and litres; None where a price or a size is not recorded."""

    packs: int
    cost_minor: int | None
    litres: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan and what is expected of it.

    aim: None for a plan made without one, for comparison. lines: a row a line, in the order of the needs. pool: a row a
    product: product_id, store_packs, used_packs, left_packs, cost_minor, litres. unmet_before, unmet_after: requests,
    over lines with known demand and stock. bound: no plan within these limits leaves fewer unmet (NaN where it was not
    asked for). gap: unmet_after − bound. method: how the packs were found, in words.
    """

    aim: Aim | None
    lines: pd.DataFrame
    pool: pd.DataFrame
    unmet_before: float
    unmet_after: float
    bound: float
    gap: float
    method: Method
    used: Used


def daily(made: Round) -> Numbers:
    """Requests a school day, by line; from the mean and the days where it is not given."""
    per_day = made.lines["per_day"].to_numpy(dtype="float64")
    days = made.lines["days"].to_numpy(dtype="float64")
    return np.where(np.isnan(per_day), made.mean / np.where(days > 0, days, np.nan), per_day)


def scored(made: Round, packs: Wholes, aim: Aim | None, method: Method, bound: float = float("nan")) -> Plan:
    """A plan with these packs: what it leaves unmet, why each line gets no more, what it takes."""
    lines = _lines(made, packs)
    before, after = float(lines["unmet_before"].sum()), float(lines["unmet_after"].sum())
    bound = bound if np.isnan(bound) else min(bound, after)
    used, pool = _taken(made, packs)
    return Plan(aim, lines, pool, before, after, bound, after - bound, method, used)


def _lines(made: Round, packs: Wholes) -> pd.DataFrame:
    mean, variance, per_day = made.mean, made.variance, daily(made)
    stock = np.floor(made.lines["on_hand"].to_numpy(dtype="float64"))
    lines = made.lines[["school_id", "product_id", "mean", "on_hand", "place"]].copy()
    lines["packs"], lines["pieces"] = packs, packs * made.size.astype("int64")
    lines["low"], lines["high"] = smallest(mean, variance, 0.025), smallest(mean, variance, 0.975)
    for when, brought in (("before", np.zeros_like(packs)), ("after", packs)):
        there = stock + made.size * brought
        lines[f"unmet_{when}"] = made.unmet(brought)
        lines[f"run_out_{when}"] = above(mean, variance, there)
        with np.errstate(divide="ignore", invalid="ignore"):
            lines[f"served_{when}"] = np.where(mean > 0, 1 - lines[f"unmet_{when}"] / mean, np.nan)
            lines[f"cover_days_{when}"] = np.where(per_day > 0, there / per_day, np.nan)
    lines["reason"] = pd.array(reasons(made, packs), dtype="str")
    lines["best_packs"] = made.most
    lines["run_out_best"] = above(mean, variance, stock + made.size * made.most)
    return lines.sort_values("place")[LINES].reset_index(drop=True)


def reasons(made: Round, packs: Wholes) -> list[str]:
    """Why each line gets no more, in words."""
    totals = made.by_product(packs)
    blocked = _blocked(made, totals)
    reachable = made.lines["reachable"].to_numpy(dtype=bool)
    cases: list[tuple[npt.NDArray[np.bool_], Reason]] = [
        (~reachable, Reason.CANNOT_BE_REACHED),
        (np.isnan(made.stock), Reason.STOCK_NOT_RECORDED),
        (np.isnan(made.mean), Reason.DEMAND_NOT_KNOWN),
        ((packs >= made.most) & _short_of_room(made), Reason.ROOM),
        ((packs >= made.most) & (packs > 0), Reason.ENOUGH),
        (packs >= made.most, Reason.NOTHING_NEEDED),
    ]
    cases += [(blocked[reason][made.product], reason) for reason in (Reason.STOCK, Reason.VEHICLE, Reason.BUDGET)]
    words = [reason.value for _, reason in cases]
    found = np.select([where for where, _ in cases], words, default=Reason.AS_COMPARED.value)
    return [str(reason) for reason in found]


def _short_of_room(made: Round) -> npt.NDArray[np.bool_]:
    return made.known & (made.fits < made.worth)


def _blocked(made: Round, totals: Wholes) -> dict[Reason, npt.NDArray[np.bool_]]:
    """By product, whether one more pack would break the store, the vehicle or the budget."""
    left = made.limits - made.costs @ totals
    none = np.zeros(len(totals), dtype=bool)
    found = {Reason.STOCK: totals >= made.store, Reason.VEHICLE: none, Reason.BUDGET: none}
    for name, cost, rest in zip(made.limit_names, made.costs, left, strict=True):
        reason = Reason.BUDGET if name is Limited.BUDGET else Reason.VEHICLE
        found[reason] = found[reason] | (cost > rest)
    return found


def _taken(made: Round, packs: Wholes) -> tuple[Used, pd.DataFrame]:
    pool = made.products[["product_id"]].copy()
    totals = made.by_product(packs)
    pool["store_packs"], pool["used_packs"], pool["left_packs"] = made.store, totals, made.store - totals
    for column in ("cost_minor", "litres"):
        pool[column] = np.where(totals > 0, made.products[f"pack_{column}"] * totals, 0.0)
    money, litres = (float(pool[column].sum(skipna=False)) for column in ("cost_minor", "litres"))
    used = Used(int(totals.sum()), None if np.isnan(money) else round(money), None if np.isnan(litres) else litres)
    return used, pool
