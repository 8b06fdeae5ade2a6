"""Words of a restocking plan: what it aims at, what limits it, why a school gets no more, and what cannot be met."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

ENOUGH_BELOW: Final = 0.01  # requests; common practice, no published source: a pack that meets fewer stays in the store


class Aim(StrEnum):
    """What a plan is made for."""

    FEWEST_UNMET = "fewest expected requests unmet"
    EQUAL_RUN_OUT = "equal run-out"
    LOWEST_SHARE = "highest lowest share served"


AIM_WORDS: Final = {
    Aim.FEWEST_UNMET: "Each pack goes where it is expected to meet the most requests.",
    Aim.EQUAL_RUN_OUT: "Every school's supplies should last equally many school days.",
    Aim.LOWEST_SHARE: "The school with the lowest share of its requests met comes first.",
}


class Reason(StrEnum):
    """Why a line of a plan gets what it gets and no more."""

    CANNOT_BE_REACHED = "cannot be reached this time"
    STOCK_NOT_RECORDED = "stock not recorded"
    DEMAND_NOT_KNOWN = "demand not known"
    ROOM = "limited by room at the school"
    NOTHING_NEEDED = "nothing needed"
    ENOUGH = "enough with this delivery"
    STOCK = "limited by stock"
    VEHICLE = "limited by vehicle"
    BUDGET = "limited by budget"
    AS_COMPARED = "as the comparison brings"


class Method(StrEnum):
    """How the packs were found."""

    MARGINAL = "marginal gain, exact"
    PRICES = "marginal gain at the prices of the limits, exact"
    INTEGER = "integer programme by HiGHS, exact"
    STOPPED = "integer programme by HiGHS, stopped early: the gap says how far it may be from the best"
    RUN_OUT = "common run-out day, whole packs by largest remainder"
    LOWEST = "lowest share first, pack by pack"
    FLAT = "the same packs to each school"
    HABIT = "the packs of the last round, cut to the limits"


class Limited(StrEnum):
    """What can be too small for the minimums."""

    ROOM = "room"
    STOCK = "stock"
    BUDGET = "budget"
    LITRES = "litres"
    PACKS = "packs"


@dataclass(frozen=True, slots=True)
class Limits:
    """What all products of a round share; None = no limit.

    budget_minor: minor units of the programme's currency. litres, packs: room in the vehicle.

    Raises:
        ValueError: a limit is below 0.
    """

    budget_minor: int | None = None
    litres: float | None = None
    packs: int | None = None

    def __post_init__(self) -> None:
        for name, limit in (("budget", self.budget_minor), ("litres", self.litres), ("packs", self.packs)):
            if limit is not None and not 0 <= limit < float("inf"):
                raise ValueError(f"The limit on {name} is {limit}. Enter 0 or more, or leave it empty for no limit.")


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A limit that the minimums break: what they need of it, what there is, for whom.

    Units of ``needed`` and ``available``: packs (stock, packs), pieces (room), minor units (budget), litres.
    """

    limited: Limited
    needed: float
    available: float
    product_id: object = None
    school_id: object = None

    @property
    def missing(self) -> float:
        """By how much the limit is too small."""
        return self.needed - self.available

    def __str__(self) -> str:
        need, have, short = (_number(x) for x in (self.needed, self.available, self.missing))
        return {
            Limited.STOCK: f"The minimums need {need} packs of {self.product_id} and the store has {have}: "
            f"{short} too few.",
            Limited.ROOM: f"The minimum of {self.product_id} for school {self.school_id} is {need} pieces in whole "
            f"packs and there is room for {have}: {short} too many.",
            Limited.BUDGET: f"The minimums cost {need} and the budget is {have}, in minor units: {short} too little.",
            Limited.LITRES: f"The minimums take {need} litres and the vehicle holds {have}: {short} too little.",
            Limited.PACKS: f"The minimums are {need} packs and the vehicle holds {have}: {short} too many.",
        }[self.limited]


class InfeasiblePlan(ValueError):  # noqa: N818 - a plan, in the words of the trade
    """The minimums cannot be met; ``shortfalls`` names every limit that they break."""

    def __init__(self, shortfalls: Sequence[Shortfall]) -> None:
        self.shortfalls = tuple(shortfalls)
        super().__init__(" ".join(str(one) for one in self.shortfalls))


def _number(amount: float) -> str:
    return f"{round(amount, 3):,.10g}"
