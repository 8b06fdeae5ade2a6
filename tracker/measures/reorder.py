"""Reordering menstrual supplies: how long the stock lasts, the level to fill up to, the packs to bring.

Requests of a school day are taken as a Poisson count. The aim is "expected requests unmet", never "girls
supplied": girls also bring their own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from enum import StrEnum
from typing import Final

import pandas as pd

NEED_COLUMNS: Final = [
    "school_id",
    "on_hand",
    "per_day",
    "cover_weeks",
    "restock_by",
    "level",
    "packs",
    "run_out_probability",
    "reason",
]
SERVICE: Final = 0.95  # common practice, no published source: 19 of 20 intervals without an unmet request


class RestockReason(StrEnum):
    """Why a school stands where it stands in the restocking list."""

    SOLD_OUT = "sold_out"
    BEFORE_NEXT_ROUND = "before_next_round"
    BEFORE_ROUND_AFTER = "before_round_after"
    ENOUGH = "enough"
    DEMAND_NOT_KNOWN = "demand_not_known"
    STOCK_NOT_RECORDED = "stock_not_recorded"


def months_of_stock(on_hand: float, per_month: float | None) -> float | None:
    """Stock on hand ÷ average monthly consumption; None where nothing was used (undefined, not endless).

    Source: The Logistics Handbook (USAID | DELIVER PROJECT), section 3.2.

    >>> months_of_stock(300, 120)
    2.5
    """
    return on_hand / per_month if per_month else None


def weeks_of_cover(on_hand: float, per_day: float | None, school_days_per_week: float) -> float | None:
    """School weeks that the stock lasts at the average demand; None without a demand above zero.

    >>> weeks_of_cover(90, 6.0, 5)
    3.0
    """
    if not per_day or not school_days_per_week:
        return None
    return on_hand / (per_day * school_days_per_week)


def order_up_to(mean_per_day: float, days_ahead: int, service: float = SERVICE) -> int:
    """The smallest stock S with P(requests ≤ S) ≥ service over the school days ahead, requests Poisson.

    ``days_ahead`` are the school days until the round after the next one (review period + lead time, both:
    with the lead time alone the level is too low). Where daily demand and lead time vary with known
    deviations, the normal form S = d(R+L) + z·√((R+L)·s_d² + d²·s_L²) is usual; small counts need this one.

    Raises:
        ValueError: negative mean or days, or service outside 0 to 1 (ends excluded).

    >>> order_up_to(1.5, 10, 0.95)
    22
    """
    import numpy as np
    from scipy.special import pdtr

    if mean_per_day < 0 or days_ahead < 0 or not 0 < service < 1:
        raise ValueError("mean and days must be at least 0 and service between 0 and 1")
    mean = mean_per_day * days_ahead
    top = int(mean + 12 * math.sqrt(mean)) + 40
    return int(np.searchsorted(pdtr(np.arange(top), mean), service))


def runs_out_probability(on_hand: float, per_day: float, school_days: int) -> float:
    """P(requests > on hand) within the school days, requests Poisson: somebody would find nothing.

    >>> round(runs_out_probability(22, 1.5, 10), 6)
    0.032744
    """
    from scipy.special import pdtrc

    if on_hand < 0 or per_day < 0 or school_days < 0:
        raise ValueError("stock, demand and days must be at least 0")
    return float(pdtrc(math.floor(on_hand), per_day * school_days))


def bring(level: int, on_hand: float, pack_size: int) -> int:
    """Whole packs that lift the stock to at least the level; never negative.

    >>> bring(level=130, on_hand=40, pack_size=8)
    12
    """
    if pack_size < 1:
        raise ValueError("a pack holds at least one piece")
    return max(0, math.ceil((level - on_hand) / pack_size))


def restock_by(on_hand: float, per_day: float, coming: Sequence[date], service: float = SERVICE) -> date | None:
    """The last coming school day through which the stock lasts with at least the service probability.

    ``coming`` are the school days ahead in order. The first of them where the stock does not last even one
    day; None where it lasts through all of them.

    >>> days = [date(2030, 1, d) for d in (7, 8, 9)]
    >>> restock_by(8, 3.0, days)   # P(X <= 8) is 0.996 for one day, 0.847 for two
    datetime.date(2030, 1, 7)
    """
    for index, _ in enumerate(coming):
        if runs_out_probability(on_hand, per_day, index + 1) > 1 - service:
            return coming[max(0, index - 1)]
    return None


def restock_needs(
    stock: pd.DataFrame,
    coming: Mapping[int, Sequence[date]],
    next_round: date,
    round_after: date,
    service: float = SERVICE,
) -> pd.DataFrame:
    """What each school has, needs and should be brought on the next round.

    Args:
        stock: one row a school: ``school_id``, ``on_hand`` (pieces in machines and cupboard, NaN = not
            recorded), ``per_day`` (pieces per school day of the whole school, NaN = not known),
            ``pack_size``, ``days_per_week`` (school days).
        coming: per school the school days ahead, in order, at least until the day before ``round_after``.
    Returns:
        One row a school in the order of ``stock``: ``cover_weeks``, ``restock_by`` (NaT = lasts through the
        days given, or not known), ``level`` (for the school days before ``round_after``), ``packs``,
        ``run_out_probability`` before ``next_round``, ``reason`` (a code of ``RestockReason``).
        NaN where stock or demand is not recorded.
    Raises:
        ValueError: the round after is not later than the next round.
    """
    if round_after <= next_round:
        raise ValueError("the round after must be later than the next round")
    rows = [
        _need(row, coming.get(int(row["school_id"]), ()), next_round, round_after, service)
        for row in stock.to_dict("records")
    ]
    frame = pd.DataFrame(rows, columns=NEED_COLUMNS)
    floats = ["on_hand", "per_day", "cover_weeks", "level", "packs", "run_out_probability"]
    types = {**dict.fromkeys(floats, "float64"), "school_id": "int64", "reason": "str"}
    frame["restock_by"] = pd.to_datetime(frame["restock_by"])
    return frame.astype(types)


def _need(
    row: Mapping[object, float],
    coming: Sequence[date],
    next_round: date,
    round_after: date,
    service: float,
) -> dict[str, object]:
    on_hand, per_day = float(row["on_hand"]), float(row["per_day"])
    found: dict[str, object] = {"school_id": row["school_id"], "on_hand": on_hand, "per_day": per_day}
    if math.isnan(on_hand):
        return {**found, "reason": RestockReason.STOCK_NOT_RECORDED.value}
    if math.isnan(per_day):
        reason = RestockReason.DEMAND_NOT_KNOWN if on_hand > 0 else RestockReason.SOLD_OUT
        return {**found, "reason": reason.value}
    level = order_up_to(per_day, sum(day < round_after for day in coming), service)
    risk = runs_out_probability(on_hand, per_day, sum(day < next_round for day in coming))
    return {
        **found,
        "cover_weeks": weeks_of_cover(on_hand, per_day, float(row["days_per_week"])),
        "restock_by": restock_by(on_hand, per_day, coming, service),
        "level": level,
        "packs": bring(level, on_hand, int(row["pack_size"])),
        "run_out_probability": risk,
        "reason": _reason(on_hand, level, risk, service).value,
    }


def _reason(on_hand: float, level: int, risk: float, service: float) -> RestockReason:
    if on_hand <= 0 < level:
        return RestockReason.SOLD_OUT
    if risk > 1 - service:
        return RestockReason.BEFORE_NEXT_ROUND
    return RestockReason.BEFORE_ROUND_AFTER if on_hand < level else RestockReason.ENOUGH
