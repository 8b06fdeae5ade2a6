"""The sections of the week sheet, in the order in which a school walks through its week."""

from __future__ import annotations

from tracker.intake import week_things
from tracker.intake.week_layout import Cell, Kind, Row, RowCounts, Section, Table, day_choices, key
from tracker.intake.week_plan import PlanDay, PlanUnit, SheetPlan, clock, day_name, long_day
from tracker.intake.week_row_kinds import READING_LABELS, day_row, dial_row, heads_of
from tracker.vocabulary import (
    ALL_DAY,
    OTHER_TIMES,
    VISITED,
    Cause,
    CountWay,
    DayMark,
    Quantity,
    Sex,
    State,
    UnitKind,
)

# wide spaces: a narrow closed list shows the sign alone, the open one the words
STATES = (
    (State.WORKING.value, "✓\u2003\u2003\u2003working"),
    (State.PARTLY.value, "~\u2003\u2003\u2003partly working"),
    (State.OUT.value, "✕\u2003\u2003\u2003out of service"),
)
STILL = (("still", "still out of service"), ("back", "back in service"))
CAUSES = tuple((c.value, c.value) for c in Cause if c not in {Cause.DANGER, Cause.PLANNED})
MARK_LABELS = {
    DayMark.LOST: "No school",
    DayMark.HALF: "Half day",
    DayMark.EXAM: "Exams",
    DayMark.OUT_OF_HOURS: "Used out of hours",
}
SEX_LABELS = {Sex.GIRLS: "Girls", Sex.BOYS: "Boys"}


def days_section(plan: SheetPlan, _rows: RowCounts) -> Section:
    """What sort of days they were, and when the dials were read."""
    marks = tuple(day_row(plan, MARK_LABELS[mark], ("mark", mark.value), Kind.TICK) for mark in DayMark)
    table = Table("marks", "Days that were not ordinary", heads_of(plan.days), marks, tuple(d.day for d in plan.days))
    held = plan.read_day()
    if held is None:
        return Section("days", "The week", ())
    read = Row(
        "Read on",
        (
            Cell(
                "read:day",
                "Day on which dials were read and supplies counted",
                Kind.CHOICE,
                choices=day_choices(plan),
                default=held.day.isoformat(),
            ),
            Cell(
                "read:time",
                "Time of reading",
                Kind.CLOCK,
                default=clock(held.closes_min),
                measure="24-hour clock",
                length=5,
            ),
        ),
    )
    when = Table(
        "read",
        "When dials were read and supplies counted",
        ("Day", "Time"),
        (read,),
        hint="Change these only if you read them at another time.",
        stacked=True,
    )
    return Section("days", "The days", (table, when), "Tick only what was not an ordinary school day.")


def _counters(plan: SheetPlan) -> list[Table]:
    units = [u for u in plan.units if u.way is CountWay.COUNTER]
    rows = [
        dial_row(u, dial, f"{u.code} {READING_LABELS[dial.quantity]}")
        for u in units
        for dial in u.dials
        if dial.quantity in {Quantity.VISITS, Quantity.LONG_VISITS}
    ]
    if not rows:
        return []
    hint = "Copy all digits, without the point."
    return [Table("counters", "Visit counters", ("Reading",), tuple(rows), hint=hint, head="Unit")]


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
        f"{unit.name}, visits in the {plan.break_name(slot)} of {long_day(day)}",
        Kind.SHUT if _closed(plan, day) else Kind.COUNT,
        day,
        slot,
        unit.code,
        "visits",
    )


def _waiting(plan: SheetPlan) -> list[Table]:
    tables = []
    for day, slot in plan.drawn:
        shut = _closed(plan, day)
        rows = []
        for sex in Sex:
            cells = tuple(
                Cell(
                    key(what, day, slot, sex.value),
                    f"{SEX_LABELS[sex]} {label}, {plan.break_name(slot)} of {long_day(day)}",
                    Kind.SHUT if shut else Kind.COUNT,
                    day,
                    slot,
                    measure="pupils",
                )
                for what, label in (("waiting", "still waiting at the bell"), ("present", "present that day"))
            )
            rows.append(Row(SEX_LABELS[sex], cells))
        caption = f"{long_day(day)}, {plan.break_name(slot)}: at the bell"
        heads = ("Still waiting", "Present that day")
        tables.append(Table(f"bell-{day}-{slot}", caption, heads, tuple(rows), (day, day)))
    return tables


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
    return [Table("totals", "Visits of the whole week", ("Visits",), tuple(rows), head="Unit")] if rows else []


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


def units_section(plan: SheetPlan, rows: RowCounts) -> Section:
    """What somebody saw of each unit, what came back, and what went out of service."""
    seen = tuple(
        day_row(plan, u.code, ("state", u.code), Kind.CHOICE, choices=STATES, unit=u.code)
        for u in plan.units
        if u.kind in (*VISITED, UnitKind.MACHINE, UnitKind.INCINERATOR)
    )
    tables = []
    if seen:
        hint = "✓ working, ~ partly working, ✕ out of service. Leave a day empty if nobody looked."
        days = tuple(d.day for d in plan.days)
        tables.append(Table("states", "What was seen", heads_of(plan.days), seen, days, hint, head="Unit"))
    if plan.outages:
        tables.append(_still(plan))
    if plan.units:
        tables.append(_new_outages(plan, rows.outages))
    return Section("units", "Working or not", tuple(tables), caution="electrical")


def _still(plan: SheetPlan) -> Table:
    made = []
    for outage in plan.outages:
        label = f"{outage.unit}: {outage.cause}"
        hint = f"out of service since {long_day(outage.start.date())} {outage.start:%H:%M}"
        name = outage.ref
        if outage.danger:
            hint += ". The officer puts it back in service when a competent person has checked it."
            made.append(Row(label, (), hint))
            continue
        cells = (
            Cell(key("still", name), f"{label}, now", Kind.CHOICE, unit=outage.unit, choices=STILL, wide=True),
            Cell(key("backday", name), f"{label}, back on", Kind.CHOICE, unit=outage.unit, choices=day_choices(plan)),
            Cell(key("backtime", name), f"{label}, back at", Kind.CLOCK, unit=outage.unit, length=5),
        )
        made.append(Row(label, cells, hint))
    heads = ("Now", "Back on", "At")
    return Table("still", "Out of service from before", heads, tuple(made), stacked=True)


def _new_outages(plan: SheetPlan, count: int) -> Table:
    units = tuple((u.code, f"{u.code} {u.name}") for u in plan.units)
    days = day_choices(plan)
    made = []
    for number in range(1, count + 1):
        said = f"Outage {number}"
        cells = (
            Cell(key("out", number, "unit"), f"{said}: unit", Kind.CHOICE, choices=units, wide=True),
            Cell(key("out", number, "cause"), f"{said}: cause", Kind.CHOICE, choices=CAUSES, wide=True),
            Cell(key("out", number, "day"), f"{said}: out since", Kind.CHOICE, choices=days),
            Cell(key("out", number, "time"), f"{said}: since what time", Kind.CLOCK, length=5),
            Cell(key("out", number, "endday"), f"{said}: back on", Kind.CHOICE, choices=days),
            Cell(key("out", number, "endtime"), f"{said}: back at", Kind.CLOCK, length=5),
            Cell(key("out", number, "note"), f"{said}: what was seen", Kind.TEXT, length=200),
            *(Cell(key("out", number, p), f"{said}: {p}", Kind.HIDDEN, length=80) for p in ("event", "said", "ref")),
        )
        made.append(Row(said, cells))
    heads = ("Unit", "Cause", "Out since", "Time", "Back on", "Time", "What was seen (no pupil's name)")
    hint = "Leave “Back on” empty while it is still out of service."
    return Table(
        "out", "Went out of service this week", heads, tuple(made), hint=hint, stacked=True, more="another outage"
    )


def sessions_section(plan: SheetPlan, rows: RowCounts) -> Section:
    """Lessons held."""
    made = []
    for number in range(1, rows.sessions + 1):
        said = f"Session {number}"
        cells = (
            Cell(key("session", number, "day"), f"{said}: day", Kind.CHOICE, choices=day_choices(plan), wide=True),
            Cell(key("session", number, "topic"), f"{said}: topic", Kind.TEXT, length=80),
            Cell(key("session", number, "minutes"), f"{said}: minutes", Kind.COUNT, measure="minutes"),
            Cell(key("session", number, "girls"), f"{said}: girls there", Kind.COUNT, measure="pupils"),
            Cell(key("session", number, "boys"), f"{said}: boys there", Kind.COUNT, measure="pupils"),
            Cell(key("session", number, "ref"), f"{said}: reference", Kind.HIDDEN, length=40),
        )
        made.append(Row(said, cells))
    heads = ("Day", "Topic", "Minutes", "Girls", "Boys")
    table = Table("sessions", "Sessions held", heads, tuple(made), stacked=True, more="another session")
    return Section("sessions", "Lessons", (table,) if plan.days else ())


BUILDERS = (
    days_section,
    visits_section,
    week_things.meters_section,
    week_things.supplies_section,
    week_things.disposal_section,
    units_section,
    sessions_section,
)
