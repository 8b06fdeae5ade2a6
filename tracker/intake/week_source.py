"""From the records of a school to the plan of its week sheet; the number of queries does not depend on weeks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy.orm import Session

from tracker.intake.week_cells import facts_to_cells, plain
from tracker.intake.week_layout import layout
from tracker.intake.week_plan import (
    PlanBreak,
    PlanDay,
    PlanDial,
    PlanOutage,
    PlanStock,
    PlanUnit,
    SheetPlan,
)
from tracker.records import context as known
from tracker.records import sheet_questions, sheets
from tracker.records.context import DialInfo, SchoolContext, UnitInfo
from tracker.vocabulary import Cause, CountWay, Group, PlaceKind, Quantity, Source

LAST_DAY = timedelta(days=6)
WEEK = timedelta(days=7)
NO_SCHOOL = "no school"


def plan_for(session: Session, school_id: int, week: date) -> tuple[SchoolContext, SheetPlan]:
    """What the rules must know, and what the sheet asks, for one school and week."""
    context = known.school_context(session, school_id, week, week + LAST_DAY)
    asked = Asked(session, context)
    plan = plan_of(context, asked)
    before = sheets.find_payload(session, school_id, week - WEEK)
    return context, replace(plan, last=last_figures(plan, before)) if before else plan


class Asked:
    """What the plan needs beyond the context, read once."""

    def __init__(self, session: Session, context: SchoolContext) -> None:
        week, school_id = context.span.first, context.school_id
        self.two_stage = sheet_questions.two_stage_units(session, school_id, week, context.span.last)
        self.ends = sheet_questions.supply_ends(session, school_id)
        self.stocked = sheet_questions.stocked(session, school_id, week)
        self.outages = sheets.older_outages(session, school_id, before=_end(context), sheet_id=context.sheet_id)


def _end(context: SchoolContext) -> datetime:
    return datetime.combine(context.span.last + timedelta(days=1), time(0), tzinfo=context.zone).astimezone(UTC)


def plan_of(context: SchoolContext, asked: Asked) -> SheetPlan:
    """The plan from what was read; nothing is asked of the database here."""
    week = context.span.first
    return SheetPlan(
        school=context.code,
        week=week,
        code=sheets.sheet_code(context.programme, context.code, week),
        days=_days(context),
        breaks=_breaks(context),
        drawn=_drawn(context),
        units=tuple(_units(context, asked.two_stage)),
        stocks=tuple(_stocks(asked)),
        outages=tuple(_outage(context, outage) for outage in asked.outages),
    )


def _days(context: SchoolContext) -> tuple[PlanDay, ...]:
    """Days on which the school has hours, closed or not."""
    held = known.held(context)
    slots: dict[date, list[str]] = {}
    for occasion in known.occasions(context, held):
        slots.setdefault(occasion.day, []).append(occasion.slot)
    open_days = {one.day for one in held}
    found = []
    for number in range(7):
        day = context.span.first + timedelta(days=number)
        closes = [rule.closes_min for rule in context.calendar.hours if _rules(rule, day)]
        if closes:
            closed = "" if day in open_days else NO_SCHOOL
            found.append(PlanDay(day, max(closes), tuple(slots.get(day, ())), closed))
    return tuple(found)


def _rules(rule: Any, day: date) -> bool:
    return bool(
        rule.weekday == day.weekday() and rule.from_day <= day and (rule.until_day is None or day <= rule.until_day)
    )


def _breaks(context: SchoolContext) -> tuple[PlanBreak, ...]:
    found: dict[str, PlanBreak] = {}
    for number in range(7):
        day = context.span.first + timedelta(days=number)
        for rule in context.calendar.breaks:
            if _rules(rule, day):
                found.setdefault(rule.code, PlanBreak(rule.code, rule.name, rule.start_min))
    return tuple(sorted(found.values(), key=lambda one: (one.start_min, one.code)))


def _drawn(context: SchoolContext) -> tuple[tuple[date, str], ...]:
    order = {one.code: number for number, one in enumerate(_breaks(context))}
    return tuple(sorted(context.drawn, key=lambda pair: (pair[0], order.get(pair[1], len(order)), pair[1])))


def _units(context: SchoolContext, two_stage: frozenset[str]) -> Iterable[PlanUnit]:
    first, last = context.span.first, context.span.last
    for unit in sorted(context.units.values(), key=lambda one: (one.block, one.kind.value, one.code)):
        if unit.from_day > last or (unit.until_day is not None and unit.until_day < first):
            continue
        yield PlanUnit(
            unit.code,
            unit.name,
            unit.kind,
            known.group_of(unit, last) or Group.EVERYONE,
            unit.block,
            known.way_of(unit, last) or CountWay.NONE,
            unit.code in two_stage,
            unit.accessible,
            tuple(_dials(context, unit)),
        )


def _dials(context: SchoolContext, unit: UnitInfo) -> Iterable[PlanDial]:
    start = datetime.combine(context.span.first, time(0), tzinfo=context.zone)
    end = _end(context)
    for quantity in Quantity:
        there = [
            dial
            for dial in unit.dials
            if dial.quantity is quantity and dial.from_at < end and (dial.until_at is None or dial.until_at >= end)
        ]
        if there:
            yield _dial(context, unit, there[-1], start)


def _dial(context: SchoolContext, unit: UnitInfo, dial: DialInfo, start: datetime) -> PlanDial:
    readings = context.readings.get((unit.code, dial.quantity, Source.TALLY), ())
    before = [one for one in readings if dial.from_at <= one.at < start]
    at, value = (before[-1].at, before[-1].value) if before else (dial.from_at, dial.first_value)
    return PlanDial(dial.quantity, dial.digits, value, at.astimezone(context.zone).date())


def _stocks(asked: Asked) -> Iterable[PlanStock]:
    cupboards = [one.place for one in asked.stocked if one.kind is PlaceKind.CUPBOARD]
    for one in asked.stocked:
        source = (
            (cupboards[0] if cupboards else asked.ends.source) if one.kind is PlaceKind.MACHINE else asked.ends.source
        )
        if source:
            yield PlanStock(
                one.place,
                one.place_name,
                one.kind,
                one.unit,
                one.product,
                one.product_name,
                source,
                one.last_left,
                asked.ends.given_out if one.kind is PlaceKind.CUPBOARD else "",
            )


def _outage(context: SchoolContext, outage: sheets.OlderOutage) -> PlanOutage:
    local = outage.start_at.astimezone(context.zone).replace(tzinfo=None)
    danger = outage.cause is Cause.DANGER
    return PlanOutage(outage.ref, outage.unit, outage.cause.value, local, outage.source.value, danger)


def last_figures(plan: SheetPlan, payload: Mapping[str, Any]) -> dict[str, str]:
    """Last week's figures under this week's cell keys, and each unit's visits of that week under ``total:unit``."""
    before = replace(
        plan,
        week=plan.week - WEEK,
        days=tuple(replace(item, day=item.day - WEEK, closed="") for item in plan.days),
        drawn=(),
        outages=(),
    )
    cells, _ = facts_to_cells(layout(before), payload)
    found = {name: plain(text) for name, text in cells.items() if not name.startswith(("read:", "note:"))}
    totals: dict[str, int] = {}
    for row in payload.get("usage_counts", []):
        if row["visits"].isdecimal():
            totals[row["unit"]] = totals.get(row["unit"], 0) + int(row["visits"])
    found.update({f"total:{unit}": str(total) for unit, total in totals.items()})
    return found
