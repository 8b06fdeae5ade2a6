"""Sections about things that are read or counted once a week: meters, tanks, supplies, burns."""

from __future__ import annotations

from tracker.intake.week_layout import Cell, Kind, Row, RowCounts, Section, Table, key
from tracker.intake.week_plan import PlanStock, SheetPlan
from tracker.intake.week_row_kinds import READING_LABELS, day_row, dial_row, heads_of
from tracker.vocabulary import CountWay, PlaceKind, Quantity, UnitKind

RAN_OUT = (("yes", "yes"), ("no", "no"))
QUARTERS = (("0", "empty"), ("1", "¼"), ("2", "½"), ("3", "¾"), ("4", "full"))


def meters_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Meters, and the level of tanks."""
    skip = {Quantity.VISITS, Quantity.LONG_VISITS, Quantity.VENDS}
    dials = [
        dial_row(u, d, f"{u.code} {READING_LABELS[d.quantity]}")
        for u in plan.units
        for d in u.dials
        if d.quantity not in skip
        or (d.quantity in {Quantity.VISITS, Quantity.LONG_VISITS} and u.way is not CountWay.COUNTER)
    ]
    tables = []
    if dials:
        hint = "Copy all digits, without the point."
        tables.append(Table("meters", "Meters", ("Reading",), tuple(dials), hint=hint, head="Meter"))
    levels = _levels(plan, UnitKind.TANK, "water level")
    if levels:
        tables.append(Table("tanks", "Tanks", ("Level",), levels, head="Tank"))
    return Section("meters", "Meters and tanks", tuple(tables))


def _levels(plan: SheetPlan, kind: UnitKind, what: str) -> tuple[Row, ...]:
    return tuple(
        Row(
            u.code,
            (
                Cell(
                    key("level", u.code),
                    f"{u.name}, {what}",
                    Kind.CHOICE,
                    unit=u.code,
                    choices=QUARTERS,
                    last=plan.last.get(key("level", u.code), ""),
                ),
            ),
            u.name,
        )
        for u in plan.units
        if u.kind is kind
    )


def supplies_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Napkins in machines and the cupboard, and whether a machine ran out."""
    tables = []
    machines = [_stock_row(s, "put", "put in this week") for s in plan.stocks if s.kind is PlaceKind.MACHINE]
    if machines:
        heads = ("Left in it", "Put in")
        tables.append(Table("machines", "Napkin machines", heads, tuple(machines), head="Machine"))
    cupboard = [_stock_row(s, "got", "received this week") for s in plan.stocks if s.kind is PlaceKind.CUPBOARD]
    if cupboard:
        outlet = any(stock.outlet for stock in plan.stocks)
        heads = ("Left", "Received", "Handed out") if outlet else ("Left", "Received")
        tables.append(Table("cupboard", "Cupboard", heads, tuple(cupboard), head="Supply"))
    vends = [
        dial_row(u, d, f"{u.code} vend counter") for u in plan.units for d in u.dials if d.quantity is Quantity.VENDS
    ]
    if vends:
        hint = "Copy all digits, without the point."
        tables.append(Table("vends", "Vend counters", ("Reading",), tuple(vends), hint=hint, head="Machine"))
    asked = tuple(
        day_row(plan, u.code, ("ranout", u.code), Kind.CHOICE, choices=RAN_OUT, unit=u.code)
        for u in plan.units
        if u.kind is UnitKind.MACHINE
    )
    if asked:
        days = tuple(d.day for d in plan.days)
        tables.append(Table("ranout", "Did it run out?", heads_of(plan.days), asked, days, head="Machine"))
    return Section("supplies", "Supplies", tuple(tables), "Count pieces, not packs.")


def _stock_row(stock: PlanStock, move: str, said: str) -> Row:
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
    cells += [
        Cell(key(f"was-{what}", stock.place, stock.product), f"{where}: as recorded", Kind.HIDDEN, length=160)
        for what, _ in asked[1:]
    ]
    last = "" if stock.last_left is None else f"last count {stock.last_left}"
    if stock.unit:
        return Row(where, tuple(cells), f"{stock.product_name}; {last}" if last else stock.product_name)
    return Row(stock.product_name, tuple(cells), last)


def disposal_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """Burns started and the level of the used-supply bin. Nobody counts used supplies."""
    units = [u for u in plan.units if u.kind is UnitKind.INCINERATOR]
    if not units:
        return Section("disposal", "Disposal", ())
    burns = tuple(
        Row(
            u.code,
            (
                Cell(
                    key("burns", u.code),
                    f"{u.name}, burns started this week",
                    Kind.COUNT,
                    unit=u.code,
                    measure="burns",
                    last=plan.last.get(key("burns", u.code), ""),
                ),
            ),
            u.name,
        )
        for u in units
    )
    bins = _levels(plan, UnitKind.INCINERATOR, "level of the used-supply bin")
    return Section(
        "disposal",
        "Used supplies",
        (
            Table("burns", "Burns started this week", ("Burns",), burns, head="Incinerator"),
            Table("bins", "Used-supply bin", ("Level",), bins, head="Beside"),
        ),
        "Nobody counts, weighs or looks at used supplies.",
        "incinerator",
    )
