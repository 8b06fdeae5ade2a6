"""The sections of the week sheet, in the order in which a school walks through its week."""

from __future__ import annotations

from tracker.intake import week_things, week_visits
from tracker.intake.week_layout import Cell, Kind, Row, RowCounts, Section, Table, day_choices, key
from tracker.intake.week_plan import SheetPlan, clock, long_day
from tracker.intake.week_row_kinds import day_row, heads_of
from tracker.vocabulary import (
    VISITED,
    Cause,
    DayMark,
    Sex,
    State,
    TopicKind,
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
ABOUT = (
    (TopicKind.MENSTRUAL.value, "menstrual health"),
    (TopicKind.HANDWASHING.value, "hand washing"),
    (TopicKind.TOILETS.value, "using and keeping toilets"),
    (TopicKind.OTHER.value, "something else"),
)
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
    days = tuple(d.day for d in plan.days)
    caption = "No school, half days, exams"
    hint = "Tick only days that were not like the timetable."
    table = Table("marks", caption, heads_of(plan.days), marks, days, hint, folded=True)
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
        "Read on",
        ("Day", "Time"),
        (read,),
        hint="Change these only if you read them at another time.",
        stacked=True,
        folded=True,
    )
    return Section("days", "The days", (table, when))


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
    return Section("units", "Working or not", tuple(tables))


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
    hint = "Say it of each, also where nothing changed."
    return Table("still", "Out of service from before", heads, tuple(made), hint=hint, stacked=True)


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
        "out",
        "Went out of service this week",
        heads,
        tuple(made),
        hint=hint,
        stacked=True,
        more="another outage",
        folded=True,
        caution="electrical",
    )


def sessions_section(plan: SheetPlan, rows: RowCounts) -> Section:
    """Lessons held."""
    made = []
    for number in range(1, rows.sessions + 1):
        said = f"Session {number}"
        cells = (
            Cell(key("session", number, "day"), f"{said}: day", Kind.CHOICE, choices=day_choices(plan), wide=True),
            Cell(key("session", number, "topic"), f"{said}: topic", Kind.TEXT, length=80),
            Cell(key("session", number, "kind"), f"{said}: what it was about", Kind.CHOICE, choices=ABOUT),
            Cell(key("session", number, "minutes"), f"{said}: minutes", Kind.COUNT, measure="minutes"),
            Cell(key("session", number, "girls"), f"{said}: girls there", Kind.COUNT, measure="pupils"),
            Cell(key("session", number, "boys"), f"{said}: boys there", Kind.COUNT, measure="pupils"),
            Cell(key("session", number, "ref"), f"{said}: reference", Kind.HIDDEN, length=40),
        )
        made.append(Row(said, cells))
    heads = ("Day", "Topic", "What it was about", "Minutes", "Girls", "Boys")
    hint = "How many girls and boys were there; never who they were."
    table = Table(
        "sessions",
        "Lessons held this week",
        heads,
        tuple(made),
        hint=hint,
        stacked=True,
        more="another session",
        folded=True,
    )
    return Section("sessions", "Lessons", (table,) if plan.days else ())


BUILDERS = (
    days_section,
    week_visits.visits_section,
    week_things.meters_section,
    week_things.supplies_section,
    week_things.disposal_section,
    units_section,
    sessions_section,
)
