"""Blocks, units and fittings of the demo's schools."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from tracker.demo_data.book import Book, Cell, Dice
from tracker.demo_data.plan import (
    CABIN_ADDED,
    INSTALLED,
    METER_EXCHANGE,
    RETROFIT,
    SEED,
    SET_UP,
    URINAL_GONE,
    SchoolPlan,
)
from tracker.vocabulary import CountWay, FittingKind, Group, LitresBasis, Quantity, Source, UnitKind

LONG_AFTER_S = 180  # a two-stage flush gives its long flush after three minutes; common practice
SHORT_ML, LONG_ML = 1500, 4000
PRE_WASH_ML, FLOOR_WASH_ML, FLOOR_WASH_EVERY = 300, 6000, 10
POUR_ML, FIXED_ML, URINAL_ML, TAP_ML = 2000, 4500, 800, 500


@dataclass(frozen=True, slots=True)
class UnitPlan:
    """One unit: where it stands, whom it is for, how it is counted, what is fitted."""

    code: str
    name: str
    kind: UnitKind
    block: str
    group: Group
    way: CountWay
    fit: str  # auto, two_stage, fixed, pour, urinal, tap or nothing
    accessible: bool = False
    from_day: date = SET_UP
    until_day: date | None = None

    @property
    def visited(self) -> bool:
        """Whether pupils relieve themselves here."""
        return self.kind in (UnitKind.CABIN, UnitKind.URINAL)

    def stands(self, day: date) -> bool:
        """Whether it stood there on a day."""
        return self.from_day <= day and (self.until_day is None or day <= self.until_day)


WAYS = {"auto": CountWay.COUNTER, "drawn": CountWay.DRAWN, "pour": CountWay.DRAWN, "grid": CountWay.GRID}
FITS = {"auto": "auto", "drawn": "fixed", "pour": "pour", "grid": "two_stage"}
BLOCKS = {
    "G": ("Girls' block", Group.GIRLS),
    "B": ("Boys' block", Group.BOYS),
    "E": ("Accessible cabin by the office", Group.EVERYONE),
    "S": ("Staff cabin", Group.STAFF),
    "Y": ("Yard", Group.EVERYONE),
}


def units_of(plan: SchoolPlan) -> list[UnitPlan]:
    """All units of a school."""
    cabin, way, fit = UnitKind.CABIN, WAYS[plan.style], FITS[plan.style]
    units = []
    for letter, count, group in (("G", plan.cabins[0], Group.GIRLS), ("B", plan.cabins[1], Group.BOYS)):
        for n in range(1, count + 1):
            wide = n == 1 and not plan.one_accessible and plan.level != "tiny"
            word = "Girls'" if letter == "G" else "Boys'"
            units.append(UnitPlan(f"{letter}{n}", f"{word} cabin {n}", cabin, letter, group, way, fit, wide))
    everyone = CountWay.WEEK_TOTAL if plan.level == "tiny" else way
    units.append(UnitPlan("A1", "Accessible cabin", cabin, "E", Group.EVERYONE, everyone, fit, True))
    if plan.level == "secondary":
        units.append(UnitPlan("S1", "Staff cabin", cabin, "S", Group.STAFF, CountWay.NONE, "fixed"))
    for n in range(1, plan.urinals + 1):
        units.append(UnitPlan(f"U{n}", f"Urinal {n}", UnitKind.URINAL, "B", Group.BOYS, way, "urinal"))
    return [_dated(plan, unit) for unit in units] + _extra(plan) + _others(plan)


def _dated(plan: SchoolPlan, unit: UnitPlan) -> UnitPlan:
    school, code, last = URINAL_GONE
    if (plan.code, unit.code) != (school, code):
        return unit
    return UnitPlan(unit.code, unit.name, unit.kind, unit.block, unit.group, unit.way, unit.fit, until_day=last)


def _extra(plan: SchoolPlan) -> list[UnitPlan]:
    school, code, first = CABIN_ADDED
    if plan.code != school:
        return []
    way, fit = WAYS[plan.style], FITS[plan.style]
    return [UnitPlan(code, "Girls' cabin 4", UnitKind.CABIN, "G", Group.GIRLS, way, fit, from_day=first)]


def _others(plan: SchoolPlan) -> list[UnitPlan]:
    girls, yard = Group.GIRLS, Group.EVERYONE
    tap_way = CountWay.COUNTER if plan.taps_counted else CountWay.NONE
    units = [
        UnitPlan(f"T{n}", f"Handwash tap {n}", UnitKind.TAP, "Y", yard, tap_way, "tap") for n in range(1, plan.taps + 1)
    ]
    for n, machine in enumerate(plan.machines, start=1):
        units.append(UnitPlan(machine.code, f"Napkin machine {n}", UnitKind.MACHINE, "G", girls, CountWay.NONE, ""))
    if plan.route == "burn":
        units.append(UnitPlan("I1", "Incinerator", UnitKind.INCINERATOR, "G", girls, CountWay.NONE, ""))
    units.append(UnitPlan("K1", "Roof tank", UnitKind.TANK, "Y", yard, CountWay.NONE, ""))
    if plan.meter:
        units.append(UnitPlan("W1", "Water meter", UnitKind.METER, "Y", yard, CountWay.NONE, ""))
    return units


def write_units(book: Book, plan: SchoolPlan, units: list[UnitPlan]) -> None:
    """Blocks, units, ways, fittings and what the meter serves."""
    for code in dict.fromkeys(unit.block for unit in units):
        name, group = BLOCKS[code]
        book.add("blocks", {"school": plan.code, "block": code, "name": name})
        book.add("block_groups", {"school": plan.code, "block": code, "from_day": SET_UP, "group": group})
    for unit in units:
        row: dict[str, Cell] = {"school": plan.code, "unit": unit.code, "from_day": unit.from_day}
        book.add(
            "units",
            {**row, "block": unit.block, "name": unit.name, "kind": unit.kind, "accessible": unit.accessible}
            | {"until_day": unit.until_day, "preferred_source": Source.TALLY},
        )
        book.add("unit_ways", {**row, "way": unit.way})
        for fitting in _fittings(plan, unit):
            book.add("fittings", {**row, **fitting})
        if plan.meter and (unit.visited or (unit.kind is UnitKind.TAP and plan.taps_counted)):
            scope: dict[str, Cell] = {"meter": "W1", "whole": plan.meter.whole, "until_day": unit.until_day}
            if unit.way is not CountWay.NONE:
                book.add("meter_scopes", {**row, **scope})


def _fittings(plan: SchoolPlan, unit: UnitPlan) -> list[dict[str, Cell]]:
    basis = LitresBasis.CLAIM if plan.claim else LitresBasis.MEASURED
    known: dict[str, Cell] = {"litres_basis": basis, "u_permille": None if plan.claim else 30}
    known["until_day"] = unit.until_day
    two: dict[str, Cell] = {
        "kind": FittingKind.FLUSH_TWO_STAGE, "visit_ml": SHORT_ML, "long_visit_ml": LONG_ML,
        "long_after_s": LONG_AFTER_S,
    }  # fmt: skip
    floor: dict[str, Cell] = {
        "kind": FittingKind.FLOOR_WASH, "visit_ml": FLOOR_WASH_ML, "every_visits": FLOOR_WASH_EVERY,
    }  # fmt: skip
    sets: dict[str, list[dict[str, Cell]]] = {
        "auto": [two, {"kind": FittingKind.PRE_WASH, "visit_ml": PRE_WASH_ML}, floor],
        "two_stage": [two],
        "fixed": [{"kind": FittingKind.FLUSH_FIXED, "visit_ml": FIXED_ML}],
        "pour": [{"kind": FittingKind.FLUSH_POUR, "visit_ml": POUR_ML}],
        "urinal": [{"kind": FittingKind.FLUSH_FIXED, "visit_ml": URINAL_ML}],
        "tap": [{"kind": FittingKind.TAP, "visit_ml": TAP_ML}],
    }
    fitted = [{**one, **known} for one in sets.get(unit.fit, [])]
    school, first, factor = RETROFIT
    if plan.code == school and unit.kind is UnitKind.CABIN and unit.group is Group.GIRLS:
        vacuum: dict[str, Cell] = {"kind": FittingKind.VACUUM, "visit_ml": 0, "factor_permille": factor}
        fitted.append({**vacuum, "litres_basis": LitresBasis.MEASURED, "u_permille": 20, "from_day": first})
    return fitted


def true_ml(plan: SchoolPlan, unit: UnitPlan) -> float:
    """How much a fitting really gives, relative to what is written: claims are a little low."""
    dice = Dice(SEED, plan.code, unit.code, "litres")
    return 1 + (dice.share(0.0, 0.06) if plan.claim else dice.share(-0.015, 0.015))


def counter_quantities(plan: SchoolPlan, unit: UnitPlan) -> list[Quantity]:
    """The counters that a unit has."""
    if unit.kind is UnitKind.MACHINE:
        counts = any(machine.code == unit.code and machine.counter for machine in plan.machines)
        return [Quantity.VENDS] if counts else []
    if unit.way is not CountWay.COUNTER:
        return []
    return [Quantity.VISITS, Quantity.LONG_VISITS] if unit.fit == "auto" else [Quantity.VISITS]


def first_value(plan: SchoolPlan, unit: UnitPlan, quantity: Quantity) -> int:
    """What a counter showed when it was put in."""
    dice = Dice(SEED, plan.code, unit.code, "first", quantity)
    return dice.whole(3, 40) if quantity is Quantity.LONG_VISITS else dice.whole(41, 160)


def installed(unit: UnitPlan) -> datetime:
    """When a unit's counters were put in."""
    return INSTALLED if unit.from_day == SET_UP else datetime.combine(unit.from_day, INSTALLED.time().replace(hour=7))


def exchanged(plan: SchoolPlan) -> bool:
    """Whether the school's meter was exchanged."""
    return plan.code == METER_EXCHANGE[0]
