"""Levels to fill a stock up to: by months of stock, by a normal or a counted demand, by cost.

The service is said in one of two ways that must not be mixed up: the share of restocking intervals in which
nothing runs out (cycle service), and the share of requests met (fill rate), which needs far less stock.

Sources: The Logistics Handbook (USAID | DELIVER PROJECT), sections 3.2, 4.5, 4.6; order-up-to with review and
lead time, exercises of periodic review; newsvendor and loss functions, Snyder and Shen, Fundamentals of Supply
Chain Theory, 2nd ed., 2019.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from tracker.measures.counts import CountLaw, first_whole


class Ordering(StrEnum):
    """How the handbook's storekeeper decides when to order."""

    FORCED = "forced"  # at every review everything is filled up to the maximum
    CONTINUOUS = "continuous"  # whenever a stock falls to its minimum
    STANDARD = "standard"  # at a review, what has fallen to its minimum


@dataclass(frozen=True, slots=True)
class MonthLevels:
    """Minimum and maximum in months of stock."""

    minimum: float
    maximum: float


def month_levels(lead: float, safety: float, review: float, ordering: Ordering) -> MonthLevels:
    """Minimum and maximum from lead time, safety stock and review period, all in months.

    Minimum = lead + safety, and + review where one orders only at reviews what has fallen to its minimum;
    maximum = minimum + review.

    Raises:
        ValueError: a negative number, or a safety stock below half the review period.
    Source: from memory, after The Logistics Handbook, section 4.6.

    >>> month_levels(1, 1, 2, Ordering.STANDARD)
    MonthLevels(minimum=4, maximum=6)
    """
    if min(lead, safety, review) < 0 or safety < review / 2:
        raise ValueError("months cannot be negative, and the safety stock is at least half the review period")
    minimum = lead + safety + (review if ordering is Ordering.STANDARD else 0)
    return MonthLevels(minimum, minimum + review)


def monthly_consumption(given_out: float, months: float, days_out: float, days_per_month: float = 30.5) -> float | None:
    """Average monthly consumption corrected for stock-out days: given out ÷ (months − days out ÷ days per month).

    None where no time in stock is left. A month of school days has fewer days than 30.5: give them.

    Source: a management textbook on medicines (from memory, unconfirmed).

    >>> round(monthly_consumption(270, 3, 15), 6)
    107.647059
    """
    if min(given_out, months, days_out) < 0 or days_per_month <= 0:
        raise ValueError("consumption and time cannot be negative")
    left = months - days_out / days_per_month
    return given_out / left if left > 0 else None


def forced_order(maximum: float, per_month: float, on_hand: float, on_order: float = 0.0) -> float:
    """What to order at a review under forced ordering: maximum × monthly use − on hand − on order, never below 0.

    >>> forced_order(5, 120, 210), forced_order(5, 120, 700)
    (390.0, 0.0)
    """
    if min(maximum, per_month, on_hand, on_order) < 0:
        raise ValueError("months, use and stock cannot be negative")
    return max(0.0, maximum * per_month - on_hand - on_order)


def standard_order(levels: MonthLevels, per_month: float, on_hand: float, on_order: float = 0.0) -> float:
    """What to order at a review when one orders only what has fallen to its minimum (at it: order).

    >>> levels = MonthLevels(4, 6)
    >>> standard_order(levels, 100, 400), standard_order(levels, 100, 401)
    (200.0, 0.0)
    """
    if on_hand > levels.minimum * per_month:
        return 0.0
    return forced_order(levels.maximum, per_month, on_hand, on_order)


@dataclass(frozen=True, slots=True)
class NormalLevel:
    """A level with the deviation of demand over the protected time and the safety stock in it (pieces)."""

    level: float
    deviation: float
    safety: float


def order_up_to_normal(
    mean: float, deviation: float, review: float, lead: float, service: float, *, lead_deviation: float = 0.0
) -> NormalLevel:
    """Level for review period and lead time together, demand normal: d(R+L) + z·√((R+L)·s_d² + d²·s_L²).

    With the lead time alone under the root the level is too low: what is ordered at the next review arrives only
    a lead time later, and until then this order must last. Small counts need ``level_for_cycle`` instead.

    Args:
        mean, deviation: of the requests of one day. review, lead: days. lead_deviation: of the lead time, days.
        service: share of intervals in which nothing may run out, 0 to 1 (ends excluded).
    Raises:
        ValueError: a negative number or a service that is no share.

    >>> round(order_up_to_normal(60, 2, 10, 5, 0.975, lead_deviation=0.5).level, 6)
    960.727263
    """
    from scipy.special import ndtri

    if min(mean, deviation, review, lead, lead_deviation) < 0 or not 0 < service < 1:
        raise ValueError("demand and days must be at least 0 and service between 0 and 1")
    days = review + lead
    spread = math.sqrt(days * deviation**2 + mean**2 * lead_deviation**2)
    safety = float(ndtri(service)) * spread
    return NormalLevel(mean * days + safety, spread, safety)


def order_quantity(level: float, position: float) -> float:
    """What lifts the stock on hand and on order to the level; never below 0."""
    return max(0.0, level - position)


def level_for_cycle(law: CountLaw, service: float) -> int:
    """The smallest stock with P(requests ≤ stock) ≥ service over the protected time of ``law``.

    >>> level_for_cycle(CountLaw(4), 0.95), level_for_cycle(CountLaw(4, 12), 0.95)
    (8, 11)
    """
    return law.smallest(service)


def level_for_fill(law: CountLaw, fill: float) -> int:
    """The smallest stock that meets at least the share ``fill`` of the requests expected; 0 without demand.

    >>> level_for_fill(CountLaw(15), 0.95), level_for_fill(CountLaw(15, 30), 0.95)
    (18, 20)
    """
    if not 0 < fill < 1:
        raise ValueError(f"a fill rate must lie between 0 and 1, got {fill}")
    if law.mean == 0:
        return 0
    return first_whole(lambda stock: law.short(stock) <= (1 - fill) * law.mean)


def fill_rate(law: CountLaw, stock: int) -> float | None:
    """Share of requests met from a stock: 1 − E[unmet] ÷ E[requests]; None (undefined) without demand.

    >>> round(fill_rate(CountLaw(15), 22), 6)
    0.994918
    """
    return 1 - law.short(stock) / law.mean if law.mean > 0 else None


def normal_loss(z: float) -> float:
    """Standard normal loss E[(Z − z)⁺] = φ(z) − z·(1 − Φ(z)).

    >>> round(normal_loss(1.3), 9)
    0.045527962
    """
    from scipy.special import ndtr

    return math.exp(-z * z / 2) / math.sqrt(2 * math.pi) - z * float(ndtr(-z))


@dataclass(frozen=True, slots=True)
class BestLevel:
    """The cheapest stock for one interval and its expected cost, in the money unit of the two costs."""

    level: float
    cost: float


def cheapest_normal(left_cost: float, short_cost: float, mean: float, deviation: float) -> BestLevel:
    """The cheapest stock for one interval, demand normal: Φ(z) = short ÷ (short + left).

    Args:
        left_cost: cost of one left over. short_cost: cost of one request unmet.

    >>> round(cheapest_normal(2, 18, 120, 10).level, 9)
    132.815515655
    """
    from scipy.special import ndtri

    _check_costs(left_cost, short_cost)
    z = float(ndtri(short_cost / (short_cost + left_cost)))
    density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return BestLevel(mean + z * deviation, (left_cost + short_cost) * deviation * density)


def cheapest_count(left_cost: float, short_cost: float, law: CountLaw) -> BestLevel:
    """The cheapest stock for one interval, demand a count: the first with P(X ≤ stock) ≥ short ÷ (short + left).

    >>> cheapest_count(0.18, 0.70, CountLaw(50)).level
    56
    """
    _check_costs(left_cost, short_cost)
    level = law.smallest(short_cost / (short_cost + left_cost))
    return BestLevel(level, cost_of_level(left_cost, short_cost, law, level))


def cost_of_level(left_cost: float, short_cost: float, law: CountLaw, level: int) -> float:
    """Expected cost of an interval that starts with ``level`` in stock."""
    return left_cost * law.over(level) + short_cost * law.short(level)


def _check_costs(left_cost: float, short_cost: float) -> None:
    if left_cost <= 0 or short_cost <= 0:
        raise ValueError("the costs of one left and of one short must be above 0")
