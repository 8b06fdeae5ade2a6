"""What to order for the central store: an order-up-to level over review and lead time, in whole packs, within a
budget, and never more than is used before it goes off.

Level: the periodic-review form of operations texts (from memory): demand over review + lead time, because nothing
can be corrected earlier. Shortage: the loss functions of ``counts.CountLaw``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from tracker.measures.counts import CountLaw
from tracker.measures.stock_levels import fill_rate, level_for_cycle


class OrderReason(StrEnum):
    """Why a product is ordered as it is."""

    ENOUGH = "enough"
    TO_LEVEL = "to_level"
    MINIMUM_ORDER = "minimum_order"
    SHELF_LIFE = "shelf_life"
    BUDGET = "budget"
    DEMAND_NOT_KNOWN = "demand_not_known"


@dataclass(frozen=True, slots=True)
class Need:
    """What is known of a product.

    law: requests over review + lead time; None where demand has no finite estimate. minimum: pieces that are kept
    then. on_hand: pieces that will not go off before they are used. per_day: requests a calendar day.
    usable_days: shelf life less lead time; None where it does not go off.
    """

    law: CountLaw | None
    on_hand: int
    on_order: int
    pack_size: int
    min_packs: int
    pack_price_minor: int
    per_day: float = 0.0
    usable_days: int | None = None
    minimum: int = 0


@dataclass(frozen=True, slots=True)
class Advice:
    """What to order of a product. ``unmet_*`` and ``fill`` are None where demand is not known."""

    level: int
    packs: int
    cost_minor: int
    reason: OrderReason
    unmet_before: float | None
    unmet_after: float | None
    fill: float | None


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces of a lot; ``expires_on`` None does not go off."""

    pieces: int
    expires_on: date | None


def level(need: Need, service: float) -> int:
    """Pieces to have on hand and on order: what lasts with the chance ``service``; without a demand the minimum.

    >>> level(Need(CountLaw(15), 0, 0, 10, 1, 50), 0.95)
    22
    """
    return need.minimum if need.law is None else max(need.minimum, level_for_cycle(need.law, service))


def wanted_packs(need: Need, service: float) -> tuple[int, OrderReason]:
    """Whole packs up to the level, at least the minimum order, at most what is used before it goes off.

    Where even the minimum order would go off, nothing is ordered and the reason is the shelf life.

    >>> wanted_packs(Need(CountLaw(15), 8, 4, 10, 1, 50), 0.95)   # 22 − 12 = 10
    (1, <OrderReason.TO_LEVEL: 'to_level'>)
    """
    _check(need)
    short = level(need, service) - need.on_hand - need.on_order
    if short <= 0:
        return 0, OrderReason.DEMAND_NOT_KNOWN if need.law is None else OrderReason.ENOUGH
    asked = math.ceil(short / need.pack_size)
    packs = max(asked, need.min_packs)
    most = _before_it_goes_off(need)
    if most is not None and packs > most:
        return (most if most >= need.min_packs else 0), OrderReason.SHELF_LIFE
    if need.law is None:
        return packs, OrderReason.DEMAND_NOT_KNOWN
    return packs, OrderReason.MINIMUM_ORDER if packs > asked else OrderReason.TO_LEVEL


def _check(need: Need) -> None:
    if need.pack_size < 1 or need.min_packs < 1:
        raise ValueError("a pack and a smallest order hold at least one")
    if min(need.on_hand, need.on_order, need.pack_price_minor, need.minimum) < 0 or need.per_day < 0:
        raise ValueError("stock, orders, prices, minimum and demand are at least 0")


def _before_it_goes_off(need: Need) -> int | None:
    """Whole packs that are used within their shelf life, after all that stands and is on order before them."""
    if need.usable_days is None or need.law is None:
        return None
    use = need.per_day * max(need.usable_days, 0) - need.on_hand - need.on_order
    return max(0, math.floor(use / need.pack_size))


def advise(needs: Sequence[Need], service: float, budget_minor: int | None = None) -> list[Advice]:
    """What to order of each product, in the order of ``needs``; within a budget with the least expected shortage.

    The budget is shared exactly, by an integer program (HiGHS, in scipy) with one choice a line: none, or any
    number of packs from the smallest order to what is wanted.

    Raises:
        ValueError: a negative number, a pack without pieces, a negative budget, or a service outside 0 to 1.
    """
    if not 0 < service < 1 or (budget_minor is not None and budget_minor < 0):
        raise ValueError("the service lies between 0 and 1, and a budget is at least 0")
    wanted = [wanted_packs(need, service) for need in needs]
    packs = [number for number, _ in wanted]
    if budget_minor is not None:
        packs = _within(needs, packs, budget_minor)
    return [
        _advice(need, service, number, reason if number == most else OrderReason.BUDGET)
        for need, number, (most, reason) in zip(needs, packs, wanted, strict=True)
    ]


def _within(needs: Sequence[Need], most: Sequence[int], budget: int) -> list[int]:
    if sum(need.pack_price_minor * packs for need, packs in zip(needs, most, strict=True)) <= budget:
        return list(most)
    choices = [
        (at, *one) for at, (need, top) in enumerate(zip(needs, most, strict=True)) for one in _choices(need, top)
    ]
    return _chosen(choices, len(needs), budget)


def _choices(need: Need, top: int) -> list[tuple[int, int, float]]:
    """(packs, cost, expected unmet) of each choice. Without a demand a missing piece of the minimum is one unmet."""
    numbers = [0, *range(need.min_packs, top + 1)] if top else [0]
    return [(number, number * need.pack_price_minor, _unmet(need, number)) for number in numbers]


def _chosen(choices: list[tuple[int, int, int, float]], lines: int, budget: int) -> list[int]:
    """One choice of each line, with the least sum unmet that the budget pays."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    line, packs, cost, lost = (np.array(column) for column in zip(*choices, strict=True))
    each = csr_array((np.ones(len(line)), (line, np.arange(len(line)))), shape=(lines, len(line)))
    scale = max(budget, 1)
    rules = [LinearConstraint(each, 1, 1), LinearConstraint(cost[None, :] / scale, -np.inf, budget / scale)]
    found = milp(lost, integrality=np.ones(len(line), dtype="int64"), bounds=Bounds(0, 1), constraints=rules,
                 options={"mip_rel_gap": 0.0})  # fmt: skip
    if found.x is None:
        raise RuntimeError(f"the solver found no order: {found.message}")
    taken = np.flatnonzero(found.x > 0.5)
    if int(cost[taken].sum()) > budget:
        raise RuntimeError("the solver passed the budget")
    return [int(packs[at]) for at in taken]


def _unmet(need: Need, packs: int) -> float:
    stock = need.on_hand + need.on_order + packs * need.pack_size
    return need.law.short(stock) if need.law is not None else float(max(0, need.minimum - stock))


def _advice(need: Need, service: float, packs: int, reason: OrderReason) -> Advice:
    stock = need.on_hand + need.on_order
    known = need.law is not None
    return Advice(
        level(need, service),
        packs,
        packs * need.pack_price_minor,
        reason,
        _unmet(need, 0) if known else None,
        _unmet(need, packs) if known else None,
        fill_rate(need.law, stock + packs * need.pack_size) if need.law is not None else None,
    )


def goes_off(lots: Sequence[Lot], per_day: float, today: date) -> list[int]:
    """Pieces of each lot that go off before they are used, at the average use and first expiry first.

    A lot that has expired goes off whole; its last good day is the day it expires on.

    >>> goes_off([Lot(100, date(2030, 1, 10)), Lot(50, None)], 5.0, date(2030, 1, 1))   # 10 days use 50
    [50, 0]
    """
    if per_day < 0:
        raise ValueError("use is at least 0")
    order = sorted(range(len(lots)), key=lambda at: lots[at].expires_on or date.max)
    used, lost = 0.0, [0] * len(lots)
    for at in order:
        lot = lots[at]
        if lot.expires_on is None:
            continue
        days = max((lot.expires_on - today).days + 1, 0)
        able = max(0.0, per_day * days - used)
        lost[at] = math.ceil(max(0.0, lot.pieces - able) - 1e-9)
        used += lot.pieces - lost[at]
    return lost
