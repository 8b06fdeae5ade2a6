"""Sections about things that are read or counted once a week: meters, tanks, supplies, burns."""

from __future__ import annotations

from tracker.intake.week_layout import Cell, Kind, Row, RowCounts, Section, Table, key
from tracker.intake.week_plan import PlanDial, PlanStock, PlanUnit, SheetPlan
from tracker.intake.week_row_kinds import READING_LABELS, counter_dials, day_row, dial_cell, dial_row, heads_of
from tracker.vocabulary import CountWay, PlaceKind, Quantity, UnitKind

RAN_OUT = (("yes", "yes"), ("no", "no"))
QUARTERS = (("0", "empty"), ("1", "¼"), ("2", "½"), ("3", "¾"), ("4", "full"))


def meters_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Meters, and the level of tanks."""
    dials = [
        dial_row(u, d, f"{u.code} {READING_LABELS[d.quantity]}") for u in plan.units for d in u.dials if _is_meter(u, d)
    ]
    tanks = [Row(u.code, (_level(plan, u, "water level"),), u.name) for u in plan.units if u.kind is UnitKind.TANK]
    if not (dials or tanks):
        return Section("meters", "Meters and tanks", ())
    caption = "Meters and tanks" if dials and tanks else "Meters" if dials else "Tanks"
    hint = "Copy all digits, without the point." if dials else ""
    heads = ("Reading or level",) if dials and tanks else ("Reading",) if dials else ("Level",)
    table = Table("meters", caption, heads, (*dials, *tanks), hint=hint, head="Meter or tank" if tanks else "Meter")
    return Section("meters", caption, (table,))


def _is_meter(unit: PlanUnit, dial: PlanDial) -> bool:
    """Whether a dial is asked here: not a machine's, and not a counter that stands among the visits."""
    if dial.quantity is Quantity.VENDS:
        return False
    return unit.way is not CountWay.COUNTER or dial not in counter_dials(unit)


def _level(plan: SheetPlan, unit: PlanUnit, what: str) -> Cell:
    name = key("level", unit.code)
    last = plan.last.get(name, "")
    return Cell(name, f"{unit.name}, {what}", Kind.CHOICE, unit=unit.code, choices=QUARTERS, last=last)


def supplies_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Napkins in machines and the cupboard, and whether a machine ran out."""
    tables = _machines(plan)
    cupboard = [_stock_row(s, "got", "received this week") for s in plan.stocks if s.kind is PlaceKind.CUPBOARD]
    if cupboard:
        outlet = any(stock.outlet for stock in plan.stocks)
        heads = ("Left", "Received", "Handed out") if outlet else ("Left", "Received")
        tables.append(Table("cupboard", "Cupboard", heads, tuple(cupboard), head="Supply"))
    asked = tuple(
        day_row(plan, u.code, ("ranout", u.code), Kind.CHOICE, choices=RAN_OUT, unit=u.code)
        for u in plan.units
        if u.kind is UnitKind.MACHINE
    )
    if asked:
        days = tuple(d.day for d in plan.days)
        hint = "Yes if it was sold out at any time that day; empty if nobody looked."
        tables.append(Table("ranout", "Did it run out?", heads_of(plan.days), asked, days, hint, head="Machine"))
    return Section("supplies", "Supplies", tuple(tables), "Count pieces, not packs.")


def _machines(plan: SheetPlan) -> list[Table]:
    """What is left in each machine, what was put in, and its vend counter in the machine's first row."""
    dials = {u.code: (u, d) for u in plan.units for d in u.dials if d.quantity is Quantity.VENDS}
    rows, shown = [], set()
    for stock in plan.stocks:
        if stock.kind is PlaceKind.MACHINE:
            counter = () if stock.unit in shown or stock.unit not in dials else (dial_cell(*dials[stock.unit]),)
            rows.append(_stock_row(stock, "put", "put in this week", counter))
            shown.add(stock.unit)
    heads = ("Left in it", "Put in", "Counter") if shown & set(dials) else ("Left in it", "Put in")
    tables = [Table("machines", "Napkin machines", heads, tuple(rows), head="Machine")] if rows else []
    alone = tuple(dial_row(u, d, f"{u.code} vend counter") for code, (u, d) in dials.items() if code not in shown)
    if alone:
        tables.append(Table("vends", "Vend counters", ("Reading",), alone, head="Machine"))
    return tables


def _stock_row(stock: PlanStock, move: str, said: str, counter: tuple[Cell, ...] = ()) -> Row:
    where = stock.unit or stock.name
    asked = [("left", "left"), (move, said)] + ([("gave", "handed out this week")] if stock.outlet else [])
    cells = [
        Cell(
            key(what, stock.place, stock.product),
            f"{where}, {stock.product_name} {words}",
            Kind.COUNT,
            unit=stock.unit,
            measure="pieces",
            last="" if what != "left" or stock.last_left is None else str(stock.last_left),
        )
        for what, words in asked
    ]
    cells += counter
    cells += [
        Cell(key(f"was-{what}", stock.place, stock.product), f"{where}, as recorded", Kind.HIDDEN, length=160)
        for what, _ in asked[1:]
    ]
    return Row(where, tuple(cells), stock.product_name) if stock.unit else Row(stock.product_name, tuple(cells))


def disposal_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Burns started and the level of the used-supply bin. Nobody counts used supplies."""
    units = [u for u in plan.units if u.kind is UnitKind.INCINERATOR]
    if not units:
        return Section("disposal", "Disposal", ())
    rows = tuple(Row(u.code, (_burns(plan, u), _level(plan, u, "level of the used-supply bin")), u.name) for u in units)
    heads = ("Burns started", "Level of the bin")
    table = Table("burns", "Used supplies", heads, rows, head="Incinerator", caution="incinerator")
    return Section("disposal", "Used supplies", (table,), "Nobody counts, weighs or looks at used supplies.")


def _burns(plan: SheetPlan, unit: PlanUnit) -> Cell:
    name = key("burns", unit.code)
    last = plan.last.get(name, "")
    label = f"{unit.name}, burns started this week"
    return Cell(name, label, Kind.COUNT, unit=unit.code, measure="burns", last=last)
