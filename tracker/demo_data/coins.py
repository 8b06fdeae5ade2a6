"""Coin boxes of machines that count and sell: emptied about once a month by two of the staff. From dice of its own."""

from __future__ import annotations

from datetime import datetime

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import SEED, MachinePlan, SchoolPlan
from tracker.vocabulary import GivenWay, Quantity

STAFF = ("T. Orvane", "L. Messik", "P. Adunor", "R. Kelvossi")
NOT_READ = 0.08  # of the emptyings: nobody read the counter
SHORT = 0.2  # of the emptyings: a coin jammed, or a napkin came out free


def write_coins(book: Book, plan: SchoolPlan) -> None:
    """The emptyings of a school's machines, from the readings that its sheets hold."""
    for machine in plan.machines:
        if machine.counter and machine.way is GivenWay.SOLD:
            _empty(book, plan, machine)


def _empty(book: Book, plan: SchoolPlan, machine: MachinePlan) -> None:
    dice = Dice(SEED, plan.code, machine.code, "coins")
    seen: dict[str, tuple[datetime, int]] = {}  # the last reading of each month
    for row in book.rows["readings"]:
        at, value = row["at_local_time"], row["value"]
        mine = (row["school"], row["unit"], row["quantity"]) == (plan.code, machine.code, Quantity.VENDS)
        if mine and isinstance(at, datetime) and isinstance(value, int):
            seen[f"{at:%y%m}"] = (at, value)
    before: int | None = None
    for month, (at, value) in seen.items():
        coins = 0 if before is None else value - before
        missing = dice.whole(1, 3) if dice.chance(SHORT) else 0
        read = not dice.chance(NOT_READ)
        first, second = dice.pick(STAFF[:2]), dice.pick(STAFF[2:])
        row = {"ref": f"CE-{plan.code}-{machine.code}-{month}", "school": plan.code, "unit": machine.code}
        row |= {"day": at.date(), "counter_value": value if read else None}
        row |= {"cash_minor": max(coins - missing, 0) * machine.price, "first_name": first, "second_name": second}
        book.add("coin_emptyings", _note(row, missing))
        before = value


def _note(row: dict[str, Cell], missing: int) -> dict[str, Cell]:
    return row | {"note": "A coin was bent and could not be counted." if missing == 3 else None}
