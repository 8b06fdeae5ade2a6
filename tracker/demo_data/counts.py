"""What the week sheets say about use: visits, counters, meters, tanks, and who waited at the bell."""

from __future__ import annotations

from datetime import date, datetime

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import INSTALLED, METER_EXCHANGE, SEED, SchoolPlan
from tracker.demo_data.school_time import SchoolYear, at, read_minute, week_of
from tracker.demo_data.units import UnitPlan, counter_quantities, first_value, installed
from tracker.demo_data.visits import Happened
from tracker.vocabulary import ALL_DAY, OTHER_TIMES, CountWay, Group, Quantity, Source

COUNTER_DIGITS = 6
OPENS_MIN = 480
BLANK = 0.025  # share of cells left blank
GUESTS = ("OL-09", "G1", date(2026, 6, 15), 67, "Games with guests from other schools in this break.")
MEETING = ("OL-09", date(2026, 3, 9), 141, "A meeting of the parents on Saturday used the cabin.")


def write_counts(book: Book, year: SchoolYear, units: list[UnitPlan], happened: Happened) -> None:
    """Everything that is counted or read at a school."""
    dice = Dice(SEED, year.plan.code, "counts")
    for unit in units:
        for quantity in counter_quantities(year.plan, unit):
            if quantity is not Quantity.VENDS:
                _counter(book, year, unit, quantity, happened=happened, dice=dice)
        if unit.way is CountWay.DRAWN:
            _drawn(book, year, unit, happened, dice)
        if unit.way is CountWay.GRID:
            _grid(book, year, unit, happened, dice)
        if unit.way is CountWay.WEEK_TOTAL:
            _week_total(book, year, unit, happened)
    _meter(book, year, happened, dice)
    _bells(book, year, happened, dice)
    _tank(book, year, dice)


def _counter(
    book: Book, year: SchoolYear, unit: UnitPlan, quantity: Quantity, *, happened: Happened, dice: Dice
) -> None:
    """A counter's dial and its reading at the end of each week."""
    place: dict[str, Cell] = {"school": year.plan.code, "unit": unit.code, "quantity": quantity}
    first = first_value(year.plan, unit, quantity)
    steps = _steps(year, unit, quantity, happened)
    last = at(unit.until_day, 930) if unit.until_day else None
    book.add(
        "dials",
        {**place, "from_local_time": installed(unit), "until_local_time": last, "digits": COUNTER_DIGITS}
        | {"step_ml": 1, "u_permille": 0, "first_value": first}
        | {"last_value": first + sum(steps.values()) if last else None},
    )
    for sheet in year.sheets.values():
        blank = dice.chance(BLANK)
        if unit.stands(sheet.last_day) and not blank:
            value = first + sum(count for day, count in steps.items() if day <= sheet.last_day)
            row = {**place, "source": Source.TALLY, "at_local_time": sheet.read_at(), "value": value}
            book.add("readings", row)


def _steps(year: SchoolYear, unit: UnitPlan, quantity: Quantity, happened: Happened) -> dict[date, int]:
    if quantity is Quantity.LONG_VISITS:
        return {day: count for (code, day), count in sorted(happened.long.items()) if code == unit.code}
    days: dict[date, int] = {}
    for (code, day, _), count in sorted(happened.visits.items()):
        if code == unit.code:
            days[day] = days.get(day, 0) + count
    return days


def _drawn(book: Book, year: SchoolYear, unit: UnitPlan, happened: Happened, dice: Dice) -> None:
    guests_pending = True
    for slot in year.slots:
        if (slot.day, slot.code) not in year.drawn or not year.sheet_of(slot.day) or dice.chance(BLANK):
            continue
        visits, note = happened.visits.get((unit.code, slot.day, slot.code), 0), None
        if (year.plan.code, unit.code) == GUESTS[:2] and guests_pending and week_of(slot.day) == GUESTS[2]:
            visits, note, guests_pending = visits + GUESTS[3], GUESTS[4], False
        _usage(book, year.plan, unit, slot.day, visits, days=1, slot=slot.code, how=CountWay.DRAWN, note=note)


def _grid(book: Book, year: SchoolYear, unit: UnitPlan, happened: Happened, dice: Dice) -> None:
    for day in year.days:
        if not year.sheet_of(day) or not unit.stands(day):
            continue
        for code in [*(slot.code for slot in year.by_day[day]), OTHER_TIMES]:
            if not dice.chance(0.008):
                visits = happened.visits.get((unit.code, day, code), 0)
                _usage(book, year.plan, unit, day, visits, days=1, slot=code, how=CountWay.GRID)
    if unit.fit == "two_stage":
        _looked_at(book, year, unit, happened, dice)


def _looked_at(book: Book, year: SchoolYear, unit: UnitPlan, happened: Happened, dice: Dice) -> None:
    """Some visits of the week were looked at: how many gave the long flush."""
    for sheet in year.sheets.values():
        visits = sum(happened.of_day(unit.code, day, year.by_day[day]) for day in sheet.days)
        long = sum(happened.long.get((unit.code, day), 0) for day in sheet.days)
        seen = min(visits, dice.whole(20, 30))
        if seen and not dice.chance(0.1):
            row: dict[str, Cell] = {"school": year.plan.code, "unit": unit.code, "week": sheet.week}
            looked = min(seen, dice.near(seen * long / visits, 0.25))
            book.add("long_weeks", {**row, "source": Source.TALLY, "seen_visits": seen, "long_visits": looked})


def _week_total(book: Book, year: SchoolYear, unit: UnitPlan, happened: Happened) -> None:
    school, week, more, said = MEETING
    for sheet in year.sheets.values():
        visits = sum(happened.of_day(unit.code, day, year.by_day[day]) for day in sheet.days)
        note = None
        if (year.plan.code, sheet.week) == (school, week):
            visits, note = visits + more, said
        _usage(book, year.plan, unit, sheet.week, visits, days=7, slot=ALL_DAY, how=CountWay.WEEK_TOTAL, note=note)


def _usage(
    book: Book, plan: SchoolPlan, unit: UnitPlan, day: date, visits: int, *, days: int, slot: str, how: CountWay,
    note: str | None = None,
) -> None:  # fmt: skip
    row: dict[str, Cell] = {"school": plan.code, "unit": unit.code, "first_day": day, "days": days, "slot": slot}
    book.add("usage_counts", {**row, "source": Source.TALLY, "how": how, "visits": visits, "note": note})


def _meter(book: Book, year: SchoolYear, happened: Happened, dice: Dice) -> None:
    """The meter's dials and readings; one meter is exchanged, one dial rolls over."""
    meter = year.plan.meter
    if meter is None:
        return
    place: dict[str, Cell] = {"school": year.plan.code, "unit": "W1", "quantity": Quantity.WATER}
    dial: dict[str, Cell] = {"digits": meter.digits, "step_ml": meter.step_ml, "u_permille": 20}
    first: dict[str, Cell] = {**place, **dial, "from_local_time": INSTALLED, "first_value": meter.first_value}
    school, out, back, new_first = METER_EXCHANGE
    if year.plan.code == school:
        last = meter.first_value + _through(happened, out) // meter.step_ml
        book.add("dials", {**first, "until_local_time": out, "last_value": last})
        book.add("dials", {**place, **dial, "from_local_time": back, "first_value": new_first})
    else:
        book.add("dials", first)
    for moment, source in _read_moments(year, dice):
        steps = meter.first_value + _through(happened, moment) // meter.step_ml
        if year.plan.code == school and moment > back:
            steps = new_first + (_through(happened, moment) - _through(happened, out)) // meter.step_ml
        row = {**place, "source": source, "at_local_time": moment, "value": steps % 10**meter.digits}
        book.add("readings", row)


def _read_moments(year: SchoolYear, dice: Dice) -> list[tuple[datetime, Source]]:
    weekly = [(sheet.read_at(), Source.TALLY) for sheet in year.sheets.values() if not dice.chance(BLANK)]
    checks = [(moment, Source.ENGINEER) for moment in year.meter_checks()]
    return sorted([*weekly, *checks])


def _through(happened: Happened, moment: datetime) -> int:
    """Millilitres through the meter up to a moment: the days before, and of the day what its hours have seen."""
    day, minute = moment.date(), moment.hour * 60 + moment.minute
    begins, ends = OPENS_MIN, read_minute(day)
    seen = min(max(minute - begins, 0), ends - begins)
    before = sum(ml for past, ml in happened.water_ml.items() if past < day)
    return before + happened.water_ml.get(day, 0) * seen // (ends - begins)


def _bells(book: Book, year: SchoolYear, happened: Happened, dice: Dice) -> None:
    plan = year.plan
    for slot in year.slots:
        if (slot.day, slot.code) not in year.drawn or not year.sheet_of(slot.day):
            continue
        for group, enrolled in ((Group.GIRLS, plan.girls), (Group.BOYS, plan.boys)):
            no_waiting, no_present = dice.chance(0.05), dice.chance(0.06)
            if not enrolled or (no_waiting and no_present):
                continue
            key = (slot.day, slot.code, group)
            row: dict[str, Cell] = {"school": plan.code, "day": slot.day, "break": slot.code, "group": group}
            waiting, present = happened.waiting[key], happened.present[key]
            row |= {"waiting": None if no_waiting else waiting, "present": None if no_present else present}
            book.add("bell_counts", row)


def _tank(book: Book, year: SchoolYear, dice: Dice) -> None:
    """The roof tank's level each week, and water brought to it."""
    plan = year.plan
    for sheet in year.sheets.values():
        quarters = 4 - int(dice.share() * dice.share() * 3.6)
        if (plan.code, sheet.week) == ("OL-07", date(2026, 5, 11)):
            quarters = 0
        if not dice.chance(0.04):
            row: dict[str, Cell] = {"school": plan.code, "unit": "K1", "day": sheet.last_day}
            book.add("levels", {**row, "source": Source.TALLY, "quarters": quarters})
    deliveries = {"OL-07": ((date(2026, 5, 18), "tanker", 8_000_000),)}.get(plan.code, ())
    rain = [(day, "rain", dice.whole(6, 28) * 100_000) for day in year.days[11::47]] if plan.style == "pour" else []
    for day, origin, volume in [*deliveries, *rain]:
        ref = f"WD-{plan.code}-{day:%y%m%d}"
        book.add(
            "water_deliveries",
            {"ref": ref, "school": plan.code, "tank": "K1", "day": day, "origin": origin, "volume_ml": volume},
        )
