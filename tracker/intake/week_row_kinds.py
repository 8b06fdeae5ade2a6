"""Rows that several sections use: one cell a day, and a dial."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from tracker.intake.week_layout import Cell, Kind, Row, key
from tracker.intake.week_plan import PlanDay, PlanDial, PlanUnit, SheetPlan, day_name, long_day
from tracker.vocabulary import Quantity

READING_LABELS = {
    Quantity.WATER: "water meter",
    Quantity.VISITS: "visit counter",
    Quantity.LONG_VISITS: "long-visit counter",
    Quantity.VENDS: "vend counter",
    Quantity.ENERGY: "energy meter",
}


def day_row(plan: SheetPlan, label: str, name: tuple[str, ...], kind: Kind, **more: Any) -> Row:
    """A row with one cell a day; a day without school has nothing to fill in."""
    cells = []
    for item in plan.days:
        shut = bool(item.closed) and kind is not Kind.TICK
        cells.append(
            Cell(
                key(*name, item.day),
                f"{label}, {long_day(item.day)}",
                Kind.SHUT if shut else kind,
                item.day,
                **more,
            )
        )
    return Row(label, tuple(cells))


def heads_of(days: Iterable[PlanDay]) -> tuple[str, ...]:
    """Days as heads of columns."""
    return tuple(day_name(item.day) for item in days)


def dial_row(unit: PlanUnit, dial: PlanDial, label: str) -> Row:
    """A dial to copy, in a row of its own."""
    return Row(label, (dial_cell(unit, dial),), last_read((dial,)) or "no earlier reading")


def last_read(dials: Sequence[PlanDial]) -> str:
    """When dials of a row were read last; "" where they never were."""
    days = [dial.last_day for dial in dials if dial.last_day and dial.last_value is not None]
    return f"read {long_day(max(days))}" if days else ""


def counter_dials(unit: PlanUnit) -> tuple[PlanDial, ...]:
    """A unit's counter of visits, and of long visits beside it; none where visits are not counted."""
    by_kind = {dial.quantity: dial for dial in unit.dials}
    if Quantity.VISITS not in by_kind:
        return ()
    return tuple(by_kind[kind] for kind in (Quantity.VISITS, Quantity.LONG_VISITS) if kind in by_kind)


def _dial_label(unit: PlanUnit, dial: PlanDial) -> str:
    """Short, for it stands before sentences; a meter is not named twice."""
    what = "counter" if dial.quantity is Quantity.VISITS else READING_LABELS[dial.quantity]
    return unit.name if what in unit.name.casefold() else f"{unit.name}, {what}"


def dial_cell(unit: PlanUnit, dial: PlanDial) -> Cell:
    """A dial to copy, with what it showed last."""
    last = "" if dial.last_value is None else f"{dial.last_value:0{dial.digits}d}"
    return Cell(
        key("reading", unit.code, dial.quantity.value),
        _dial_label(unit, dial),
        Kind.DIGITS,
        unit=unit.code,
        slot=dial.quantity.value,
        last=last,
        digits=dial.digits,
        length=dial.digits + 3,
    )
