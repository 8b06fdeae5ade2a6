"""Visits, each unit in its own way of counting, and who still waited at the bell."""

from __future__ import annotations

from tracker.intake.week_layout import Cell, Kind, Row, RowCounts, Section, Table, key
from tracker.intake.week_plan import PlanDay, PlanUnit, SheetPlan, day_name, long_day
from tracker.intake.week_row_kinds import counter_dials, dial_cell, heads_of, last_read
from tracker.vocabulary import ALL_DAY, OTHER_TIMES, CountWay, Quantity, Sex

SEX_LABELS = {Sex.GIRLS: "Girls", Sex.BOYS: "Boys"}


def _counters(plan: SheetPlan) -> list[Table]:
    """Both counters of a unit in one row, as they stand side by side on the wall."""
    found = [(u, counter_dials(u)) for u in plan.units if u.way is CountWay.COUNTER and counter_dials(u)]
    if not found:
        return []
    read = {dial.last_day for _, dials in found for dial in dials if dial.last_day}
    rows = tuple(
        Row(u.code, tuple(dial_cell(u, dial) for dial in dials), last_read(dials) if len(read) > 1 else "")
        for u, dials in found
    )
    heads = ("Visits", "Long visits") if any(len(dials) > 1 for _, dials in found) else ("Visits",)
    hint = "Copy all digits."
    if len(read) == 1:
        hint += f" Below: the last, of {long_day(min(read))}."
    return [Table("counters", "Visit counters", heads, rows, hint=hint, head="Unit")]


def _drawn(plan: SheetPlan) -> list[Table]:
    units = [u for u in plan.units if u.way is CountWay.DRAWN]
    if not units or not plan.drawn:
        return []
    heads = tuple(f"{day_name(day)}, {plan.break_name(slot)}" for day, slot in plan.drawn)
    rows = tuple(
        Row(u.code, tuple(_visit_cell(plan, u, index) for index in range(len(plan.drawn))), u.name) for u in units
    )
    days = tuple(day for day, _ in plan.drawn)
    hint = "One stroke for each visit, only in these breaks. They were drawn at random."
    return [Table("drawn", "Visits in the drawn breaks", heads, rows, days, hint, zeros=True, head="Unit")]


def _closed(plan: SheetPlan, day: object) -> bool:
    return any(item.day == day and item.closed for item in plan.days)


def _visit_cell(plan: SheetPlan, unit: PlanUnit, index: int) -> Cell:
    day, slot = plan.drawn[index]
    return Cell(
        key("visits", unit.code, day, slot),
        f"{unit.name}, visits, {plan.break_name(slot)}, {long_day(day)}",
        Kind.SHUT if _closed(plan, day) else Kind.COUNT,
        day,
        slot,
        unit.code,
        "visits",
    )


def _waiting(plan: SheetPlan) -> list[Table]:
    rows = []
    for day, slot in plan.drawn:
        shut = _closed(plan, day)
        for sex in Sex:
            cells = tuple(
                Cell(
                    key(what, day, slot, sex.value),
                    f"{SEX_LABELS[sex]} {label}, {plan.break_name(slot)}, {long_day(day)}",
                    Kind.SHUT if shut else Kind.COUNT,
                    day,
                    slot,
                    measure="pupils",
                )
                for what, label in (("waiting", "still waiting at the bell"), ("present", "present that day"))
            )
            rows.append(Row(SEX_LABELS[sex], cells, f"{day_name(day)}, {plan.break_name(slot)}"))
    if not rows:
        return []
    heads = ("Still waiting", "Present that day")
    hint = "Pupils in the queue when the bell ends the break, not those inside."
    return [Table("bell", "At the bell of the drawn breaks", heads, tuple(rows), hint=hint, head="Break")]


def _grid(plan: SheetPlan, unit: PlanUnit) -> Table:
    slots = [item.code for item in plan.breaks] + [OTHER_TIMES]
    rows = []
    for slot in slots:
        name = "Other times" if slot == OTHER_TIMES else plan.break_name(slot)
        cells = tuple(_grid_cell(unit, item, slot, name) for item in plan.days)
        rows.append(Row(name, cells))
    return Table(
        f"grid-{unit.code}",
        f"{unit.code} {unit.name}",
        heads_of(plan.days),
        tuple(rows),
        tuple(d.day for d in plan.days),
        zeros=True,
    )


def _grid_cell(unit: PlanUnit, item: PlanDay, slot: str, name: str) -> Cell:
    asked = not item.closed and (slot == OTHER_TIMES or slot in item.slots)
    return Cell(
        key("visits", unit.code, item.day, slot),
        f"{unit.name}, visits, {name}, {long_day(item.day)}",
        Kind.COUNT if asked else Kind.SHUT,
        item.day,
        slot,
        unit.code,
        "visits",
    )


def _totals(plan: SheetPlan) -> list[Table]:
    rows = [
        Row(
            u.code,
            (
                Cell(
                    key("visits", u.code, "week"),
                    f"{u.name}, visits of the whole week",
                    Kind.COUNT,
                    slot=ALL_DAY,
                    unit=u.code,
                    measure="visits",
                    last=plan.last.get(key("visits", u.code, "week"), ""),
                ),
            ),
            u.name,
        )
        for u in plan.units
        if u.way is CountWay.WEEK_TOTAL
    ]
    hint = "Each time somebody went in, also the same person again."
    return (
        [Table("totals", "Visits of the whole week", ("Visits",), tuple(rows), hint=hint, head="Unit")] if rows else []
    )


def _long(plan: SheetPlan) -> list[Table]:
    rows = []
    for unit in plan.units:
        if not unit.two_stage or any(dial.quantity is Quantity.LONG_VISITS for dial in unit.dials):
            continue
        cells = (
            Cell(
                key("seen", unit.code),
                f"{unit.name}, visits looked at this week",
                Kind.COUNT,
                unit=unit.code,
                measure="visits",
            ),
            Cell(
                key("long", unit.code),
                f"{unit.name}, of them long flushes",
                Kind.COUNT,
                unit=unit.code,
                measure="visits",
            ),
        )
        rows.append(Row(unit.code, cells, unit.name))
    hint = "Of some visits of the week, how many gave the long flush. Never write down whose visit it was."
    return [Table("long", "Long flushes", ("Looked at", "Long"), tuple(rows), hint=hint, head="Unit")] if rows else []


def visits_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Visits, each unit in its own way of counting, and who still waited at the bell."""
    grids = [_grid(plan, u) for u in plan.units if u.way is CountWay.GRID]
    tables = [*_counters(plan), *_drawn(plan), *_waiting(plan), *grids, *_totals(plan), *_long(plan)]
    hint = "Leave a cell empty if nobody counted. Write 0 only if somebody looked and there was none."
    return Section("visits", "Visits", tuple(tables), hint)
