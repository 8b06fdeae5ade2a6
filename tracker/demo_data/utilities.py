"""Tanks, rain and recovered water, cleaning by the clock, energy, incinerators' plates and ash, and one more
part of the inspection. From dice of their own, so that nothing else of the demo falls otherwise.
"""

from __future__ import annotations

from datetime import date, timedelta

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import INSTALLED, RETROFIT, SEED, SET_UP, TERMS, SchoolPlan
from tracker.demo_data.school_time import SchoolYear, week_of
from tracker.demo_data.units import POUR_ML, URINAL_ML, UnitPlan, true_ml
from tracker.demo_data.visits import Happened
from tracker.vocabulary import (
    CountWay,
    EnergySource,
    Every,
    Group,
    LitresBasis,
    PowerPart,
    Quantity,
    Route,
    Source,
    UnitKind,
)

BLANK = 0.04
RAIN_SCHOOL, RAIN_TANK, RAIN_TANK_ML = "OL-03", "K2", 5_000_000
RINSE_ML, WASH_DOWN_ML = 5_000, 30_000
HOSE = (date(2026, 2, 9), date(2026, 2, 27), 500_000)  # drawn on school days and written down by nobody
RECOVERED_FROM = date(2026, 4, 20)  # water of the washing points is led to the tank
LOW_WATER_SCHOOL, LOW_WATER_DAY = "OL-07", date(2026, 5, 13)
LEVER_SCHOOL = "OL-06"  # the staff cabin has a lever beside its automatic flush
SUN_SCHOOL, ENERGY_METER = "OL-10", "E1"
LIGHT_W, LIGHT_S, TREATMENT_WH, TREATMENT_EVERY, VACUUM_WH, BURN_WH = 14, 150, 9.0, 10, 1.6, 1450.0
STEP_WH = 100  # of the energy meter's dial
# pads and grams of one burn, burns a day; made up, and not those of any machine
PLATES: dict[str, tuple[int | None, int | None, int | None]] = {
    "OL-01": (40, 800, 3), "OL-02": (40, 800, 3), "OL-06": (60, None, 2), "OL-07": (None, 1000, 2),
    "OL-10": (60, 1000, 3), "OL-12": (60, 1000, None),
}  # fmt: skip
WEIGHED = ("OL-01", "OL-10")  # schools where the ash is weighed
ASKED: dict[str, float] = {  # share of yes; a question without an answer is not asked again
    "mh_bin": 0.75, "mh_disposal": 0.9, "mh_wash_private": 0.6, "mh_wash_water": 0.85, "mh_wash_soap": 0.7,
    "mh_education": 0.8, "mh_materials": 0.95, "mh_emergency": 0.65,
}  # fmt: skip


def write_set_up(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    """What tanks hold and serve, what is cleaned by the clock, what takes energy, what plates say."""
    dice = Dice(SEED, plan.code, "tanks")
    size = {"tiny": 2, "primary": 5, "secondary": 10}[plan.level] * 1_000_000
    tank: dict[str, Cell] = {"school": plan.code, "unit": "K1", "from_day": SET_UP}
    if not dice.chance(0.1):
        book.add("tanks", {**tank, "capacity_ml": size, "inflow_known": False})
    if plan.code == RAIN_SCHOOL:
        _rain_tank(book, plan)
    if plan.code == SUN_SCHOOL:
        _energy(book, plan, units)
    if plan.code == LEVER_SCHOOL:
        row: dict[str, Cell] = {"school": plan.code, "unit": "S1", "from_day": SET_UP, "flush_ml": 6000}
        row |= {"share_permille": 300, "share_low_permille": 100, "share_high_permille": 600, "share_seen": False}
        book.add("hand_flushes", {**row, "instead": True, "litres_basis": LitresBasis.CLAIM, "u_permille": None})
    if plan.code in PLATES:
        pads, grams, burns = PLATES[plan.code]
        plate: dict[str, Cell] = {"school": plan.code, "unit": "I1", "from_day": SET_UP, "burn_pads": pads}
        book.add("incinerator_ratings", {**plate, "burn_g": grams, "burns_a_day": burns})


def _unit(book: Book, plan: SchoolPlan, code: str, name: str, kind: UnitKind) -> None:
    row: dict[str, Cell] = {"school": plan.code, "unit": code, "from_day": SET_UP}
    more: dict[str, Cell] = {"block": "Y", "name": name, "kind": kind, "accessible": False}
    book.add("units", {**row, **more, "preferred_source": Source.TALLY})
    book.add("unit_ways", {**row, "way": CountWay.NONE})


def _rain_tank(book: Book, plan: SchoolPlan) -> None:
    """A tank that rain and tankers fill, for the boys' block; its cabins are rinsed every school day."""
    _unit(book, plan, RAIN_TANK, "Rain tank of the boys' block", UnitKind.TANK)
    tank: dict[str, Cell] = {"school": plan.code, "unit": RAIN_TANK, "from_day": SET_UP}
    book.add("tanks", {**tank, "capacity_ml": RAIN_TANK_ML, "inflow_known": True})
    for unit in ("B1", "B2", "U1"):
        row: dict[str, Cell] = {"school": plan.code, "unit": unit, "from_day": SET_UP}
        book.add("tank_scopes", {**row, "tank": RAIN_TANK, "whole": True})
    for unit in ("B1", "B2"):
        row = {"school": plan.code, "unit": unit, "from_day": SET_UP, "litres_basis": LitresBasis.MEASURED}
        plans = (("morning rinse", RINSE_ML, Every.SCHOOL_DAY), ("wash-down", WASH_DOWN_ML, Every.WEEK))
        for cycle, litres, every in plans:
            book.add(
                "cleaning_plans", {**row, "cycle": cycle, "cycle_ml": litres, "times": 1, "every": every}
            )  # fmt: skip


def _energy(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    """A meter of the cabins' energy and what each part takes."""
    _unit(book, plan, ENERGY_METER, "Energy meter of the cabins", UnitKind.METER)
    dial: dict[str, Cell] = {"school": plan.code, "unit": ENERGY_METER, "quantity": Quantity.ENERGY}
    dial |= {"from_local_time": INSTALLED, "digits": 6, "step_ml": STEP_WH, "u_permille": 10, "first_value": 215}
    book.add("dials", dial)
    for unit in _powered(units):
        row: dict[str, Cell] = {"school": plan.code, "unit": unit.code, "from_day": unit.from_day}
        book.add("meter_scopes", {**row, "meter": ENERGY_METER, "whole": True, "until_day": unit.until_day})
        for part, numbers in _parts(plan, unit):
            first = RETROFIT[1] if part is PowerPart.PUMP else unit.from_day
            row |= {"part": part, "from_day": first, "every_visits": 1, "u_permille": 50}
            book.add("power_uses", {**row, **numbers})


def _powered(units: list[UnitPlan]) -> list[UnitPlan]:
    kinds = (UnitKind.CABIN, UnitKind.INCINERATOR)
    return [unit for unit in units if unit.kind in kinds and (unit.way is CountWay.COUNTER or unit.code == "I1")]


def _parts(plan: SchoolPlan, unit: UnitPlan) -> list[tuple[PowerPart, dict[str, Cell]]]:
    if unit.kind is UnitKind.INCINERATOR:
        return [(PowerPart.BURN, {"wh_thousandths": round(BURN_WH * 1000)})]
    floor: dict[str, Cell] = {"wh_thousandths": round(TREATMENT_WH * 1000), "every_visits": TREATMENT_EVERY}
    parts: list[tuple[PowerPart, dict[str, Cell]]] = [
        (PowerPart.LIGHT_FAN, {"watts": LIGHT_W, "visit_seconds": LIGHT_S}),
        (PowerPart.TREATMENT, floor),
    ]
    if plan.code == RETROFIT[0] and unit.group is Group.GIRLS:
        parts.append((PowerPart.PUMP, {"wh_thousandths": round(VACUUM_WH * 1000)}))
    return parts


def write_year(book: Book, year: SchoolYear, units: list[UnitPlan], happened: Happened) -> None:
    """What was read, brought, weighed and found over the year."""
    plan = year.plan
    if plan.code == LOW_WATER_SCHOOL:
        _brought(book, plan, "K1", (LOW_WATER_DAY, "tanker", 2_000_000))
    if plan.code == RAIN_SCHOOL:
        _rain_year(book, year, units, happened)
    if plan.code == SUN_SCHOOL:
        _energy_year(book, year, units, happened)
    if plan.code in WEIGHED:
        _outputs(book, year)
    _inspected(book, plan)


def _brought(book: Book, plan: SchoolPlan, tank: str, what: tuple[date, str, int]) -> None:
    day, origin, volume = what
    ref = f"WD-{plan.code}-{tank}-{day:%y%m%d}-{origin[:2]}"
    row: dict[str, Cell] = {"ref": ref, "school": plan.code, "tank": tank, "day": day, "origin": origin}
    book.add("water_deliveries", {**row, "volume_ml": volume})


def _rain_year(book: Book, year: SchoolYear, units: list[UnitPlan], happened: Happened) -> None:
    """The rain tank day by day: what falls, what a tanker brings when it runs low, what is drawn."""
    plan, dice, level = year.plan, Dice(SEED, year.plan.code, "rain tank"), RAIN_TANK_ML * 0.8
    served = [unit for unit in units if unit.code in ("B1", "B2", "U1")]
    for day in year.days:
        came: list[tuple[date, str, int]] = []
        if dice.chance(0.07):
            came.append((day, "rain", dice.whole(4, 20) * 100_000))
        if day >= RECOVERED_FROM and day.weekday() == 0:
            came.append((day, "recovered", dice.whole(2, 4) * 50_000))
        if level < RAIN_TANK_ML * 0.3:
            came.append((day, "tanker", 3_000_000))
        for what in came:
            kept = int(min(what[2], RAIN_TANK_ML - level) // 10_000 * 10_000)  # what runs over is not written down
            if kept > 0:
                _brought(book, plan, RAIN_TANK, (day, what[1], kept))
                level += kept
        level = max(0.0, level - _drawn(year, served, happened, day))
        sheet = year.sheet_of(day)
        if sheet and day == sheet.last_day and not dice.chance(BLANK):
            row: dict[str, Cell] = {"school": plan.code, "unit": RAIN_TANK, "day": day, "source": Source.TALLY}
            book.add("levels", {**row, "quarters": int(4 * level / RAIN_TANK_ML + 0.5)})


def _drawn(year: SchoolYear, served: list[UnitPlan], happened: Happened, day: date) -> float:
    visits = {unit.code: happened.of_day(unit.code, day, year.by_day[day]) for unit in served}
    litres = sum(
        visits[unit.code] * true_ml(year.plan, unit) * (URINAL_ML if unit.kind is UnitKind.URINAL else POUR_ML)
        for unit in served
    )
    first, last, hose = HOSE
    cleaned = 2 * (RINSE_ML + (WASH_DOWN_ML if _ends_week(year, day) else 0))
    return litres + cleaned + (hose if first <= day <= last else 0)


def _ends_week(year: SchoolYear, day: date) -> bool:
    return day == max(one for one in year.days if week_of(one) == week_of(day))


def _energy_year(book: Book, year: SchoolYear, units: list[UnitPlan], happened: Happened) -> None:
    """The energy meter's dial week by week, and what the sun gave."""
    plan, dice, through = year.plan, Dice(SEED, year.plan.code, "energy"), 0.0
    burns = {row["first_day"]: int(str(row["burns"])) for row in book.rows["burns"] if row["school"] == plan.code}
    for week in sorted({week_of(day) for day in year.days}):
        used = _used_wh(year, units, happened, week) + BURN_WH * burns.get(week, 2)
        used *= dice.share(0.98, 1.02)
        sun = used * dice.share(0.25, 0.5)
        through += used - sun
        sheet, no_reading, no_sun = year.sheets.get(week), dice.chance(BLANK), dice.chance(BLANK)
        if sheet is None:
            continue
        if not no_reading:
            row: dict[str, Cell] = {"school": plan.code, "unit": ENERGY_METER, "quantity": Quantity.ENERGY}
            row |= {"source": Source.TALLY, "at_local_time": sheet.read_at(), "value": 215 + int(through / STEP_WH)}
            book.add("readings", row)
        if not no_sun:
            given: dict[str, Cell] = {"school": plan.code, "meter": ENERGY_METER, "week": week}
            book.add(
                "energy_given",
                {**given, "origin": EnergySource.SOLAR, "energy_wh": int(sun / 10) * 10, "u_permille": 30},
            )


def _used_wh(year: SchoolYear, units: list[UnitPlan], happened: Happened, week: date) -> float:
    days = [week + timedelta(days=number) for number in range(7)]
    held = [day for day in days if day in year.by_day]
    wh = 0.0
    for unit in _powered(units):
        if unit.kind is UnitKind.INCINERATOR:
            continue
        for day in held:
            visits = happened.of_day(unit.code, day, year.by_day[day])
            vacuum = VACUUM_WH if unit.group is Group.GIRLS and day >= RETROFIT[1] else 0.0
            wh += visits * (LIGHT_W * LIGHT_S / 3600 + TREATMENT_WH / TREATMENT_EVERY + vacuum)
    return wh


def _outputs(book: Book, year: SchoolYear) -> None:
    """Ash weighed each week, and at the school with the meter the energy of the burns."""
    plan, dice = year.plan, Dice(SEED, year.plan.code, "ash")
    for row in [row for row in book.rows["burns"] if row["school"] == plan.code]:
        burns, blank = int(str(row["burns"])), dice.chance(0.1)
        ash, energy = round(burns * dice.share(18, 34)), round(burns * dice.share(0.97, 1.03) * BURN_WH / 10) * 10
        if not blank:
            place: dict[str, Cell] = {"school": plan.code, "unit": "I1", "week": row["first_day"], "ash_g": ash}
            book.add("burn_outputs", {**place, "energy_wh": energy if plan.code == SUN_SCHOOL else None})


def _inspected(book: Book, plan: SchoolPlan) -> None:
    """Menstrual-health questions of each term's inspection, asked on its day; some stay without an answer."""
    dice = Dice(SEED, plan.code, "menstrual items")
    mine = [row for row in book.rows["inspections"] if row["school"] == plan.code]
    for term in TERMS:
        seen_on = next((row["seen_on"] for row in mine if row["term"] == term.code), None)
        for question, share in ASKED.items():
            answer, blank = "yes" if dice.chance(share) else "no", dice.chance(0.07)
            if question == "mh_disposal" and plan.route is Route.BURN:
                answer = "yes"
            if seen_on is not None and not blank:
                row: dict[str, Cell] = {"school": plan.code, "term": term.code, "question": question}
                book.add("inspections", {**row, "answer": answer, "seen_on": seen_on})
