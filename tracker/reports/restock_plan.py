"""Plan a restocking round from what is on record, and look at what else could be done. ``restock_report`` prints it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final, NoReturn

import pandas as pd

from tracker.measures.restock import (
    Aim,
    InfeasiblePlan,
    Limited,
    Limits,
    Plan,
    Shortfall,
    at_risk,
    plan,
    plans,
    worth,
)
from tracker.measures.restock_loss import unmet
from tracker.records import frames
from tracker.records.restock_inputs import Asked
from tracker.records.settings import setting
from tracker.records.stamp import stamp
from tracker.reports import restock_needs
from tracker.reports.memory import Memory
from tracker.reports.printing import amount, day, money, number
from tracker.reports.restock_needs import Needs

WEEK: Final = timedelta(days=7)
BUDGET_STEPS: Final = (100, 100_000)  # one coin and a thousand, in minor units
MEMORY: Final = Memory(8)


class NoPlanError(ValueError):
    """There is nothing to plan, or it cannot be; ``field`` is what was typed that has to change."""

    def __init__(self, field: str, sentence: str) -> None:
        self.field = field
        super().__init__(sentence)


@dataclass(frozen=True, slots=True)
class Later:
    """The same round a week later, until the same next round: requests unmet while waiting, and after it."""

    waiting: float
    after: float

    @property
    def unmet(self) -> float:
        """Requests unmet from the day of this round until the next."""
        return self.waiting + self.after


@dataclass(frozen=True, eq=False)
class RoundPlan:
    """A round planned: what was needed, the plan for the chosen aim, and what stands beside it.

    aims: the plan of every aim. more: from ``restock.worth`` for the fewest requests unmet. later: None where the next
    round comes within a week. risk: from ``restock.at_risk`` with ``threshold``.
    """

    needs: Needs
    limits: Limits
    plan: Plan
    aims: dict[Aim, Plan]
    more: pd.DataFrame
    later: Later | None
    risk: pd.DataFrame
    threshold: float
    currency: str
    programme: str

    def packs(self) -> dict[tuple[int, int], int]:
        """(school, product) → packs to bring, where any are."""
        lines = self.plan.lines[self.plan.lines["packs"] > 0]
        cells = zip(lines["school_id"], lines["product_id"], lines["packs"], strict=True)
        return {(int(school), int(product)): int(packs) for school, product, packs in cells}


def make(session: frames.Session, asked: Asked, limits: Limits, aim: Aim) -> RoundPlan:
    """Plan a round from what is on record by ``asked.today``; a constant number of queries.

    Raises:
        NoPlanError: nothing is known to plan from, or the minimums break a limit; it says what to change.
    """
    head = frames.programme(session, asked.programme_id)
    needs = _needs(session, asked)
    _check(needs, limits)
    service = setting(session, asked.programme_id, "service_permille", asked.today) / 1000
    try:
        aims = plans(needs.needs, needs.products, limits)
    except InfeasiblePlan as refused:
        _refuse(refused.shortfalls, needs, head.currency)
    threshold = 1 - service
    return RoundPlan(
        needs,
        limits,
        aims[aim],
        aims,
        worth(needs.needs, needs.products, limits, budget_steps=BUDGET_STEPS),
        _later(needs, limits, aim),
        at_risk(aims[aim], threshold),
        threshold,
        head.currency,
        head.name,
    )


def _needs(session: frames.Session, asked: Asked) -> Needs:
    """What the schools need; taken from memory while nothing is written. Who cannot be reached changes little in it."""
    all_reached = replace(asked, unreachable=frozenset())
    found = MEMORY.get(stamp(session), all_reached, lambda: restock_needs.read(session, all_reached))
    return restock_needs.moved(found, asked) if asked.unreachable else found


def _check(needs: Needs, limits: Limits) -> None:
    rows, asked = needs.needs, needs.asked
    if rows.empty:
        raise NoPlanError("on", "No school has a stock or a use of these products on record, so there is no plan.")
    if not (rows["days"] > 0).any():
        raise NoPlanError(
            "until",
            f"The calendar has no school day from {day(asked.on)} to {day(asked.last)}, so nothing will be asked for. "
            "Choose a later next round, or enter the term's days first.",
        )
    if not rows["finite"].any():
        raise NoPlanError("on", _no_demand(rows["per_day"]))
    if limits.litres is not None and needs.products["pack_litres"].isna().any():
        names = ", ".join(needs.products.loc[needs.products["pack_litres"].isna(), "name"])
        raise NoPlanError(
            "litres",
            f"How much room a pack takes is not recorded for: {names}. Enter it, or plan by packs.",
        )


def _no_demand(per_day: pd.Series[float]) -> str:
    if per_day.notna().any():
        return (
            "Everything was sold out in every week on record, so nobody can say how much would have been asked for. "
            "Bring as much as there is room for once, and plan again after two or three counted weeks."
        )
    return "No week with two counts is on record, so demand is not known. Plan again after two or three counted weeks."


FIELDS: Final = {
    Limited.STOCK: "products",
    Limited.ROOM: "products",
    Limited.BUDGET: "budget",
    Limited.LITRES: "litres",
    Limited.PACKS: "packs",
}


def _refuse(shortfalls: tuple[Shortfall, ...], needs: Needs, currency: str) -> NoReturn:
    names = dict(zip(needs.products["product_id"], needs.products["name"], strict=True))
    sentences = [_shortfall(one, names, needs.schools, currency) for one in shortfalls]
    raise NoPlanError(FIELDS[shortfalls[0].limited], " ".join(sentences))


def _shortfall(one: Shortfall, names: dict[object, str], schools: dict[int, tuple[str, str]], currency: str) -> str:
    """Which limit the minimums break, and by how much.

    >>> _shortfall(Shortfall(Limited.PACKS, 12, 10), {}, {}, "XTS")
    'What schools keep at the least takes 12 packs, and there is room for 10 packs: 2 packs too few.'
    """
    start = "What schools keep at the least takes"
    ends = (one.needed, one.available, one.missing)
    if one.limited is Limited.BUDGET:
        need, have, short = (money(round(end), currency) for end in ends)
        return f"{start} {need}, and the budget is {have}: {short} too little."
    if one.limited is Limited.LITRES:
        need, have, short = (f"{number(end, 1)} L" for end in ends)
        return f"{start} {need}, and there is room for {have}: {short} too little."
    need, have, short = (amount(end, "pieces" if one.limited is Limited.ROOM else "packs") for end in ends)
    if one.limited is Limited.STOCK:
        return f"{start} {need} of {names[one.product_id]}, and the store has {have}: {short} too few."
    if one.limited is Limited.ROOM:
        school = schools[int(str(one.school_id))][1]
        return f"{start} {need} of {names[one.product_id]} at {school}, which has room for {have}."
    return f"{start} {need}, and there is room for {have}: {short} too few."


def _later(needs: Needs, limits: Limits, aim: Aim) -> Later | None:
    asked = needs.asked
    if asked.on + WEEK >= asked.until:
        return None
    moved = restock_needs.moved(needs, replace(asked, on=asked.on + WEEK))
    waits = restock_needs.moved(needs, replace(asked, until=asked.on + WEEK, lead_days=0))
    try:
        then = plan(moved.needs, needs.products, limits, aim)
    except InfeasiblePlan:
        return None
    reached = waits.needs
    lost = unmet(*(reached[name].to_numpy(dtype="float64") for name in ("mean", "variance", "on_hand")))
    waiting = math.fsum(number for number in lost if not math.isnan(number))
    return Later(waiting, then.unmet_after)
