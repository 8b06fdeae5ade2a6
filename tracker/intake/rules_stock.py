"""Rules about supplies and people present: what fits into a place, who can have been there."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from tracker.intake.rulebook import Finding, Rule, View, spoken
from tracker.intake.rules_counts import SEXES
from tracker.measures.calendar import week_of
from tracker.records.context import pupils
from tracker.vocabulary import MoveReason, PlaceKind

ASKED = (MoveReason.REFILL, MoveReason.DELIVERY, MoveReason.GIVEN_OUT)  # the week sheet asks for these


def two_places(view: View) -> Iterator[Finding]:
    """A move goes from one place to another."""
    for table, row in view.rows("stock_moves"):
        if row.values.get("from_place") is not None and row.values.get("from_place") == row.values.get("to_place"):
            yield Finding(table, row, "to_place", "Both places are the same. Write where the pieces went.")


def zero_asked(view: View) -> Iterator[Finding]:
    """A move of 0 pieces is an answer to a question of the week sheet; other moves happened or did not."""
    for table, row in view.rows("stock_moves"):
        reason = row.values.get("reason")
        if row.values.get("quantity") == 0 and reason is not None and reason not in ASKED:
            message = f"Nothing moves by {reason.value} of 0 pieces. Write how many pieces, or leave the row out."
            yield Finding(table, row, "quantity", message)


def over_capacity(view: View) -> Iterator[Finding]:
    """More pieces than a place holds are asked about."""
    for table, row in view.rows("stock_counts"):
        place, quantity = view.context.places.get(row.values.get("place") or ""), row.values.get("quantity")
        if place is not None and place.capacity is not None and quantity is not None and quantity > place.capacity:
            message = f"{place.code} holds {place.capacity} pieces. Correct the count, or confirm that it is right."
            yield Finding(table, row, "quantity", message)


def brought_already(view: View) -> Iterator[Finding]:
    """A delivery in a week in which a round brought the same product to the same place is asked about."""
    for table, row in view.rows("stock_moves"):
        values, week = row.values, _week(view, row.values.get("day"))
        origin = view.context.places.get(values.get("from_place") or "")
        by_vehicle = origin is not None and origin.kind is PlaceKind.VEHICLE
        if values.get("reason") is not MoveReason.DELIVERY or by_vehicle or not values.get("quantity") or week is None:
            continue
        here = [
            (one.day, pieces)
            for one, pieces in sorted(view.context.brought.items())
            if (one.place, one.product) == (values.get("to_place"), values.get("product"))
            and _week(view, one.day) == week
        ]
        if here:
            total, day = sum(pieces for _, pieces in here), spoken(here[0][0])
            message = (
                f"The round of {day} brought {total} pieces here, and that is on record already. "
                "Leave out what it brought, or confirm that this came besides."
            )
            yield Finding(table, row, "quantity", message)


def _week(view: View, day: date | None) -> date | None:
    return None if day is None else week_of(day, view.context.first_weekday)


def more_than_enrolled(view: View) -> Iterator[Finding]:
    """More pupils present or waiting than enrolled are asked about."""
    days = {**view.context.sessions}
    days |= {row.values["ref"]: row.values["day"] for _, row in view.rows("awareness_sessions") if _whole(row.values)}
    for table, row in view.rows("attendance"):
        values, day = row.values, days.get(row.values.get("session") or "")
        if day is None or values.get("present") is None or values.get("sex") is None:
            continue
        enrolled = pupils(view.context, day, values["sex"], values.get("grade"))
        if values["present"] > enrolled:
            yield Finding(table, row, "present", _more(values["present"], enrolled, str(values["sex"].value)))
    for table, row in view.rows("bell_counts"):
        group, on = row.values.get("group"), row.values.get("day")
        if group not in SEXES or on is None:
            continue
        enrolled = pupils(view.context, on, SEXES[group])
        for column in ("waiting", "present"):
            if (row.values.get(column) or 0) > enrolled:
                yield Finding(table, row, column, _more(row.values[column], enrolled, str(group.value)))


def _whole(values: object) -> bool:
    return isinstance(values, dict) and isinstance(values.get("day"), date) and bool(values.get("ref"))


def _more(present: int, enrolled: int, group: str) -> str:
    return f"{present} is more than the {enrolled} {group} enrolled. Correct the count, or confirm that it is right."


RULES = (
    Rule("two_places", ("stock_moves",), "A move goes from one place to another.", two_places),
    Rule("zero_asked", ("stock_moves",), "0 only as a refill, a delivery or what was given out.", zero_asked),
    Rule("brought_already", ("stock_moves",), "A delivery beside a round's.", brought_already, soft=True),
    Rule("over_capacity", ("stock_counts",), "More pieces than the place holds.", over_capacity, soft=True),
    Rule(
        "more_than_enrolled",
        ("attendance", "bell_counts"),
        "More pupils than are enrolled.",
        more_than_enrolled,
        soft=True,
    ),
)
