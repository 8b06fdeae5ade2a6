"""Outages, what was seen, and the engineer's visits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import (
    ENGINEER,
    ENGINEER_AREA,
    INSTALLED,
    LOW_WATER,
    NOW,
    RETROFIT,
    SEED,
    SchoolPlan,
)
from tracker.demo_data.school_time import SchoolYear, at
from tracker.demo_data.units import UnitPlan
from tracker.vocabulary import Cause, Danger, Source, State, UnitKind, VisitPurpose

LOOKED_AT = (UnitKind.CABIN, UnitKind.URINAL, UnitKind.TAP, UnitKind.MACHINE, UnitKind.INCINERATOR)
REPAIRED = (Cause.BROKEN, Cause.BLOCKED, Cause.NO_POWER, Cause.UNKNOWN, Cause.DANGER)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
# cause, weight, shortest and longest time out in school hours
CAUSES = (
    (Cause.BROKEN, 30, 20, 110), (Cause.BLOCKED, 24, 4, 52), (Cause.DIRTY, 16, 1, 4), (Cause.LOCKED, 12, 1, 7),
    (Cause.NO_POWER, 7, 2, 9), (Cause.PLANNED, 6, 2, 5), (Cause.UNKNOWN, 5, 4, 30),
)  # fmt: skip
FOUND = {
    Cause.BROKEN: ("Valve seat worn", "Door latch bent", "Sensor loose", "Flush valve stuck open"),
    Cause.BLOCKED: ("Paper and cloth in the drain", "Roots in the drain pipe", "Trap full of sand"),
    Cause.NO_POWER: ("Breaker had tripped", "Battery empty"),
    Cause.UNKNOWN: ("Nothing found at the unit", "Loose plug"),
    Cause.DANGER: ("Cable worn through at the door frame",),
}
DONE = {
    Cause.BROKEN: ("Part replaced and tried out", "Adjusted and tried out"),
    Cause.BLOCKED: ("Drain cleared and rinsed",),
    Cause.NO_POWER: ("Supply restored by a licensed electrician",),
    Cause.UNKNOWN: ("Cleaned and watched for a day",),
    Cause.DANGER: ("Supply switched off, cable replaced by a licensed electrician",),
}
PARTS = {Cause.BROKEN: ("Valve seat", "Latch", "Sensor"), Cause.DANGER: ("Cable, 4 m",)}


@dataclass(frozen=True, slots=True)
class Out:
    """A unit that could not be used. ``recorded``: False where nobody wrote it down."""

    unit: str
    cause: Cause
    start: datetime
    end: datetime | None
    source: Source = Source.TALLY
    event: str | None = None
    said_by: str | None = None
    danger: Danger | None = None
    checked_by: str | None = None
    note: str | None = None
    recorded: bool = True

    def covers(self, start: datetime, end: datetime) -> float:
        """Share of an interval in which the unit was out."""
        last = min(self.end or NOW, end)
        both = (last - max(self.start, start)).total_seconds()
        return max(0.0, both) / (end - start).total_seconds()


def _moment(year: int, month: int, day: int, hour: int, minute: int = 0) -> datetime:
    return at(date(year, month, day), hour * 60 + minute)


OFFICER = Source.OFFICER
PLANNED_OUTAGES: dict[str, tuple[Out, ...]] = {
    "OL-01": (
        Out("B2", Cause.BLOCKED, _moment(2026, 7, 3, 9, 40), _moment(2026, 7, 6, 11, 15), said_by="Coordinator"),
        Out("G3", Cause.BROKEN, _moment(2026, 7, 13, 10, 5), None, OFFICER, said_by="Coordinator, by phone"),
    ),
    "OL-04": (
        Out("M2", Cause.EMPTY, _moment(2026, 2, 19, 10), _moment(2026, 2, 23, 8, 30), said_by="Coordinator"),
    ),
    "OL-06": (
        Out(
            "G2", Cause.DANGER, _moment(2026, 3, 17, 10, 10), _moment(2026, 3, 19, 14, 30), said_by="Coordinator",
            danger=Danger.WIRES, checked_by="Odwen Tarsk, licensed electrician",
            note="Bare wires at the door frame, cabin closed at once.",
        ),
    ),
    "OL-07": tuple(
        Out(unit, Cause.LOW_WATER, LOW_WATER[1], LOW_WATER[2], event=LOW_WATER[3], said_by="Coordinator")
        for unit in ("G1", "G2", "G3", "B1", "B2", "A1")
    ),
    "OL-08": (Out("B2", Cause.BROKEN, _moment(2026, 7, 14, 9), None, OFFICER, said_by="Coordinator, by phone"),),
    "OL-10": (
        Out("G2", Cause.BROKEN, _moment(2026, 2, 17, 9, 30), _moment(2026, 2, 20, 14)),
        # The same minutes twice: the engineer's own record of planned work lies inside the outage above.
        Out("G2", Cause.PLANNED, _moment(2026, 2, 19, 9), _moment(2026, 2, 20, 13), Source.ENGINEER,
            said_by="Neri Ashvold", note="Taken apart to measure for the vacuum fitting."),
        Out("G3", Cause.BROKEN, _moment(2026, 7, 6, 11, 20), None, said_by="Coordinator"),
    ),
    "OL-11": (Out("A1", Cause.BLOCKED, _moment(2026, 7, 9, 9, 30), None, said_by="Coordinator"),),
    "OL-12": (
        Out("B1", Cause.DANGER, _moment(2026, 7, 15, 8, 40), None, OFFICER, said_by="Head teacher, by phone",
            danger=Danger.FLOOD, note="Water runs out under the door."),
    ),
}  # fmt: skip


def outages_of(year: SchoolYear, units: list[UnitPlan]) -> list[Out]:
    """What was out at a school: written-in troubles, and chance."""
    planned = list(PLANNED_OUTAGES.get(year.plan.code, ()))
    found = [*planned]
    if year.plan.code == RETROFIT[0]:
        start = at(RETROFIT[1], 540)
        found += [
            Out(f"G{n}", Cause.PLANNED, start, start + 7 * HOUR, Source.ENGINEER, said_by="Neri Ashvold",
                note="Vacuum fitting put in.") for n in range(1, 5)
        ]  # fmt: skip
    for unit in units:
        if unit.kind in LOOKED_AT:
            found += _by_chance(year, unit, [out for out in found if out.unit == unit.code])
    return sorted((_written(year, out) for out in found), key=lambda out: (out.start, out.unit))


def _by_chance(year: SchoolYear, unit: UnitPlan, taken: list[Out]) -> list[Out]:
    dice = Dice(SEED, year.plan.code, unit.code, "outages")
    rate = {UnitKind.CABIN: 0.019, UnitKind.URINAL: 0.01, UnitKind.TAP: 0.008}.get(unit.kind, 0.006)
    found: list[Out] = []
    for day in year.days:
        hit, minute, cause, hours = dice.chance(rate), dice.whole(495, 760), _cause(dice), dice.share()
        if not hit or not unit.stands(day):
            continue
        start = at(day, minute)
        end = _back(year, start, cause[2] + hours * hours * (cause[3] - cause[2]))
        clear = all(end < out.start - DAY or (out.end or NOW) + DAY < start for out in [*taken, *found])
        if clear and end < NOW - DAY and unit.stands(end.date()):
            found.append(Out(unit.code, cause[0], start, end))
    return found


def _cause(dice: Dice) -> tuple[Cause, int, int, int]:
    ticket = dice.share(0, sum(weight for _, weight, _, _ in CAUSES))
    for one in CAUSES:
        ticket -= one[1]
        if ticket < 0:
            return one
    return CAUSES[-1]


def _back(year: SchoolYear, start: datetime, hours: float) -> datetime:
    """When a unit came back: on a day of the week within working hours."""
    minutes = int(hours * 12) * 5
    end = start + timedelta(minutes=minutes)
    if end.hour >= 15 or end.hour < 8 or end.weekday() > 4:
        end = at(end.date() + DAY, 495 + minutes % 180)
        while end.weekday() > 4:
            end += DAY
    return end


def _written(year: SchoolYear, out: Out) -> Out:
    """Who wrote it down: the week's sheet; else the officer, by phone, when it lasted; else nobody."""
    if out.source is not Source.TALLY or year.sheet_of(out.start.date()):
        return out
    lasting = (out.end or NOW) - out.start > DAY
    return replace(out, source=OFFICER, said_by="Caretaker, by phone", recorded=lasting)


def write_repairs(book: Book, year: SchoolYear, units: list[UnitPlan], outages: list[Out]) -> None:
    """Outages, jobs and visits of the engineer, and what was seen."""
    refs: dict[str, int] = {}
    for out in outages:
        if out.recorded:
            stem = f"{year.plan.code}-{out.unit}-{out.start:%y%m%d}"
            refs[stem] = refs.get(stem, 0) + 1
            _write_outage(book, year.plan, out, stem if refs[stem] == 1 else f"{stem}-{refs[stem]}")
    _routine_visits(book, year, units)
    if year.plan.meter:
        _meter_visits(book, year)
    _sightings(book, year, units, outages)


def _write_outage(book: Book, plan: SchoolPlan, out: Out, ref: str) -> None:
    row: dict[str, Cell] = {"ref": ref, "school": plan.code, "unit": out.unit, "source": out.source}
    row |= {"cause": out.cause, "start_local_time": out.start, "end_local_time": out.end, "event": out.event}
    row |= {"said_by": out.said_by, "danger": out.danger, "note": out.note, "checked_by": out.checked_by}
    row["checked_on"] = out.end.date() if out.checked_by and out.end else None
    book.add("outages", row)
    long = (out.end or NOW) - out.start > 20 * HOUR
    if out.cause in REPAIRED and long:
        _write_repair(book, plan, out, ref)


def _write_repair(book: Book, plan: SchoolPlan, out: Out, ref: str) -> None:
    dice = Dice(SEED, ref, "repair")
    done = out.end is not None
    parts = dice.pick(PARTS[out.cause]) if out.cause in PARTS and dice.chance(0.7) else None
    row: dict[str, Cell] = {"ref": f"J-{ref}", "school": plan.code, "unit": out.unit, "outage": ref}
    row |= {"purpose": VisitPurpose.REPAIR, "asked_on": out.start.date(), "done_local_time": out.end}
    row |= {
        "found": dice.pick(FOUND[out.cause]) if done else None,
        "done": dice.pick(DONE[out.cause]) if done else None,
    }
    row |= {"parts": parts if done else None, "back_in_service": done}
    row["email"] = ENGINEER if plan.area == ENGINEER_AREA else None
    book.add("service_visits", row)


def _routine_visits(book: Book, year: SchoolYear, units: list[UnitPlan]) -> None:
    """A service visit to every cabin each 90 days or so; one school was left out once; the next one is asked for."""
    plan = year.plan
    dice = Dice(SEED, plan.code, "service")
    base: dict[str, Cell] = {"school": plan.code, "email": ENGINEER if plan.area == ENGINEER_AREA else None}
    day = INSTALLED.date() + timedelta(days=dice.whole(50, 75))
    number = 0
    while day < NOW.date():
        number += 1
        held = next((one for one in year.days if one >= day), None)
        skipped = plan.code == "OL-08" and number == 2
        for minute, unit in enumerate(unit for unit in units if unit.kind is UnitKind.CABIN and held):
            if held and not skipped and unit.stands(held):
                visit: dict[str, Cell] = {"ref": f"S-{plan.code}-{unit.code}-{number}", "unit": unit.code}
                visit |= {"purpose": VisitPurpose.SERVICE, "asked_on": held - timedelta(days=7)}
                visit |= {
                    "done_local_time": at(held, 540 + 25 * minute),
                    "found": "Worn seals" if dice.chance(0.2) else None,
                }
                visit |= {"done": "Cleaned, adjusted and tried out", "back_in_service": True}
                book.add("service_visits", {**base, **visit})
        day += timedelta(days=dice.whole(80, 98))
    if day < NOW.date() + timedelta(days=40):
        ask: dict[str, Cell] = {"ref": f"S-{plan.code}-G1-{number + 1}", "unit": "G1", "asked_on": date(2026, 7, 10)}
        book.add("service_visits", {**base, **ask, "purpose": VisitPurpose.SERVICE, "back_in_service": False})


def _meter_visits(book: Book, year: SchoolYear) -> None:
    plan = year.plan
    for moment in year.meter_checks():
        row: dict[str, Cell] = {"ref": f"M-{plan.code}-{moment:%y%m%d}", "school": plan.code, "unit": "W1"}
        row |= {"purpose": VisitPurpose.METER, "asked_on": moment.date(), "done_local_time": moment}
        row["email"] = ENGINEER if plan.area == ENGINEER_AREA else None
        book.add("service_visits", {**row, "done": "Meter read", "back_in_service": True})


def _sightings(book: Book, year: SchoolYear, units: list[UnitPlan], outages: list[Out]) -> None:
    """Somebody looks about every second school day, with gaps."""
    code = year.plan.code
    by_unit: dict[str, list[Out]] = {}
    for out in outages:
        by_unit.setdefault(out.unit, []).append(out)
    dice = Dice(SEED, code, "seen")
    for sheet in year.sheets.values():
        first = dice.whole(0, 1)
        for number, day in enumerate(sheet.days):
            missed = dice.chance(0.1)
            if number % 2 != first or missed:
                continue
            for unit in units:
                if unit.kind in LOOKED_AT and unit.stands(day) and not dice.chance(0.04):
                    state = _state(day, by_unit.get(unit.code, []), dice)
                    row: dict[str, Cell] = {"school": code, "unit": unit.code, "day": day, "state": state}
                    book.add("sightings", {**row, "source": Source.TALLY})


def _state(day: date, outages: list[Out], dice: Dice) -> State:
    partly = dice.chance(0.03)
    if any(out.covers(at(day, 600), at(day, 605)) > 0 for out in outages if out.cause is not Cause.EMPTY):
        return State.OUT
    return State.PARTLY if partly else State.WORKING
