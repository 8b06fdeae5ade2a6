"""Rules about readings: the dial was there, it has so many digits, and it does not run backwards."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

from tracker.intake.rulebook import FactRow, Finding, Rule, View, cells, spoken
from tracker.records.context import DialInfo, DialKey, UnitInfo
from tracker.vocabulary import Quantity

TENTH = 10  # a roll-over is believed from the top tenth of the dial's range into the bottom tenth


class Read(NamedTuple):
    """A reading on record (row None) or a new one."""

    at: datetime
    value: int
    row: FactRow | None


def dial_at(unit: UnitInfo, quantity: Quantity, at: datetime) -> DialInfo | None:
    """The dial that showed a quantity at an instant; at the moment of an exchange the new one."""
    there = [
        dial
        for dial in unit.dials
        if dial.quantity is quantity and dial.from_at <= at and (dial.until_at is None or at <= dial.until_at)
    ]
    return there[-1] if there else None


def dial_there(view: View) -> Iterator[Finding]:
    """The unit had a dial for the quantity at the time of the reading."""
    for table, row, unit in view.at_units("readings"):
        quantity, local = row.values.get("quantity"), row.values.get("at_local_time")
        if quantity is None or local is None or dial_at(unit, quantity, view.instant(local)) is not None:
            continue
        dials = [dial for dial in unit.dials if dial.quantity is quantity]
        if not dials:
            message = f"Unit {unit.code} has no dial for {quantity.value}. Correct the unit or what was read."
            yield Finding(table, row, "quantity", message)
            continue
        since = dials[0].from_at.astimezone(view.context.zone)
        message = f"No dial was there at that time; the first came on {spoken(since.date())} at {since:%H:%M}."
        yield Finding(table, row, "at_local_time", message + " Correct the time, or record the dial first.")


def dial_digits(view: View) -> Iterator[Finding]:
    """The reading fits on the dial."""
    for table, row, unit in view.at_units("readings"):
        quantity, local, value = (row.values.get(name) for name in ("quantity", "at_local_time", "value"))
        dial = None if quantity is None or local is None else dial_at(unit, quantity, view.instant(local))
        if dial is not None and value is not None and value >= 10**dial.digits:
            message = (
                f"This dial has {dial.digits} digits. Write what it shows, without digits behind a mark or in red."
            )
            yield Finding(table, row, "value", message)


def not_backwards(view: View) -> Iterator[Finding]:
    """A dial turns one way; a lower reading is believed only near the end of its range."""
    new = _new_readings(view)
    first_by_dial: dict[tuple[str, Quantity], datetime] = {}
    every = {key: _merged(view, key, rows) for key, rows in new.items()}
    for (code, quantity, _), rows in every.items():
        first_by_dial[code, quantity] = min(rows[0].at, first_by_dial.get((code, quantity), rows[0].at))
    for (code, quantity, source), readings in view.context.readings.items():
        if readings and (code, quantity) in first_by_dial and (code, quantity, source) not in every:
            first_by_dial[code, quantity] = min(first_by_dial[code, quantity], readings[0].at)
    for (code, quantity, _), rows in every.items():
        unit = view.context.units[code]
        start = _start(unit, quantity, rows[0])
        if start is not None and first_by_dial[code, quantity] == rows[0].at:
            yield from _compare(view, unit, quantity, (start, rows[0]))
        for before, after in pairwise(rows):
            yield from _compare(view, unit, quantity, (before, after))


def _new_readings(view: View) -> dict[DialKey, list[Read]]:
    found: dict[DialKey, list[Read]] = {}
    for _, row, unit in view.at_units("readings"):
        given = cells(row, "quantity", "source", "at_local_time", "value")
        if given is None:
            continue
        quantity, source, local, value = given
        found.setdefault((unit.code, quantity, source), []).append(Read(view.instant(local), value, row))
    return found


def _merged(view: View, key: DialKey, new: list[Read]) -> list[Read]:
    times = {one.at for one in new}
    on_record = [Read(one.at, one.value, None) for one in view.context.readings.get(key, ()) if one.at not in times]
    return sorted([*on_record, *new], key=lambda one: one.at)


def _start(unit: UnitInfo, quantity: Quantity, first: Read) -> Read | None:
    dial = dial_at(unit, quantity, first.at)
    return None if dial is None else Read(dial.from_at, dial.first_value, None)


def _compare(view: View, unit: UnitInfo, quantity: Quantity, pair: tuple[Read, Read]) -> Iterator[Finding]:
    before, after = pair
    dial = dial_at(unit, quantity, after.at)
    row = after.row or before.row
    if row is None or dial is None or dial is not dial_at(unit, quantity, before.at) or after.value >= before.value:
        return
    size = 10**dial.digits
    if before.value >= size - size // TENTH and after.value < size // TENTH:
        return
    when = spoken((before if after.row else after).at.astimezone(view.context.zone).date())
    low, high = (f"{one.value:0{dial.digits}d}" for one in (after, before))
    said = (
        f"{low} is lower than {high}, the reading before"
        if after.row
        else f"{high} is higher than {low}, the next reading"
    )
    message = (
        f"{said}, of {when}. Look at the dial again and write all its digits. "
        "If the dial was exchanged, have the new one recorded first."
    )
    yield Finding("readings", row, "value", message)


RULES = (
    Rule("dial_there", ("readings",), "The unit had a dial for the quantity at that time.", dial_there),
    Rule("dial_digits", ("readings",), "The reading fits on the dial's digits.", dial_digits),
    Rule(
        "not_backwards",
        ("readings",),
        "A lower reading than the one before only from the dial's top tenth into its bottom tenth.",
        not_backwards,
    ),
)
