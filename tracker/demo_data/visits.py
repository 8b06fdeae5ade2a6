"""Visits, as they happened and as they were recorded; who still waited; and the water that went through the meter."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from tracker.demo_data.book import Dice, share_out
from tracker.demo_data.plan import LEAK, RETROFIT, SEED
from tracker.demo_data.repairs import Out
from tracker.demo_data.school_time import SchoolYear, Slot, at
from tracker.demo_data.units import (
    FIXED_ML,
    FLOOR_WASH_EVERY,
    FLOOR_WASH_ML,
    LONG_ML,
    POUR_ML,
    PRE_WASH_ML,
    SHORT_ML,
    TAP_ML,
    URINAL_ML,
    UnitPlan,
    true_ml,
)
from tracker.vocabulary import OTHER_TIMES, Group, UnitKind

# share of the pupils present who want to go in a break, and seconds per visit; common practice, no source
WANT = {
    "first": 0.12, "lunch": 0.2, "afternoon": 0.07, "m1": 0.12, "m2": 0.12, "n1": 0.12, "n2": 0.12,
}  # fmt: skip
HURRY = ("OL-03", "first", 0.19)  # the break that overflows: short, few cabins, everybody goes
SECONDS = {Group.GIRLS: 75, Group.BOYS: 62}
URINAL_SECONDS = 32
BY_URINAL = 0.6
TO_ACCESSIBLE = 0.04


@dataclass(slots=True)
class Happened:
    """What truly happened at a school: visits by unit, day and slot, long ones, who waited, who was present."""

    visits: dict[tuple[str, date, str], int] = field(default_factory=dict)
    long: dict[tuple[str, date], int] = field(default_factory=dict)
    present: dict[tuple[date, str, Group], int] = field(default_factory=dict)
    waiting: dict[tuple[date, str, Group], int] = field(default_factory=dict)
    water_ml: dict[date, int] = field(default_factory=dict)  # through the meter, by day

    def of_day(self, unit: str, day: date, slots: list[Slot]) -> int:
        """All visits of a unit on a day."""
        codes = [*(slot.code for slot in slots), OTHER_TIMES]
        return sum(self.visits.get((unit, day, code), 0) for code in codes)

    def add(self, unit: str, day: date, slot: str, visits: int) -> None:
        """Some more visits."""
        key = (unit, day, slot)
        self.visits[key] = self.visits.get(key, 0) + visits


@dataclass(frozen=True, slots=True)
class Scene:
    """One break: its units, how much of each could be used, the shares of pupils who came that day."""

    happened: Happened
    slot: Slot
    units: list[UnitPlan]
    weight: dict[str, float]
    coming: dict[Group, float]
    dice: Dice

    def add(self, unit: UnitPlan, visits: int) -> None:
        """Some more visits in this break."""
        self.happened.add(unit.code, self.slot.day, self.slot.code, visits)


def what_happened(year: SchoolYear, units: list[UnitPlan], outages: list[Out]) -> Happened:
    """Play the school year day by day."""
    happened = Happened()
    by_unit: dict[str, list[Out]] = {}
    for out in outages:
        by_unit.setdefault(out.unit, []).append(out)
    dice = Dice(SEED, year.plan.code, "visits")
    places = [unit for unit in units if unit.visited or unit.kind is UnitKind.TAP]
    weight = {unit.code: dice.share(0.75, 1.25) for unit in places}
    for day in year.days:
        here = [unit for unit in places if unit.stands(day)]
        coming = {Group.GIRLS: dice.share(0.88, 0.97), Group.BOYS: dice.share(0.87, 0.96)}
        for slot in [*year.by_day[day], _other(year, day)]:
            up = {unit.code: 1 - _out(by_unit.get(unit.code, ()), slot) for unit in here}
            usable = {code: weight[code] * up[code] for code in up}
            _play(Scene(happened, slot, here, usable, coming, dice), year)
        _long_visits(happened, year, day, here, dice)
    _weekends(happened, year, places, dice)
    _water(happened, year, units)
    return happened


def _other(year: SchoolYear, day: date) -> Slot:
    return Slot(day, OTHER_TIMES, at(day, 480), at(day, 840), "")


def _out(outages: tuple[Out, ...] | list[Out], slot: Slot) -> float:
    return min(1.0, max((out.covers(slot.start, slot.end) for out in outages), default=0.0))


def _play(scene: Scene, year: SchoolYear) -> None:
    plan, slot, dice = year.plan, scene.slot, scene.dice
    for group, enrolled in ((Group.GIRLS, plan.girls), (Group.BOYS, plan.boys)):
        shifts = 2 if plan.double_shift and slot.code != OTHER_TIMES else 1
        present = int(enrolled / shifts * scene.coming[group])
        want = dice.near(present * _wanted(plan.code, slot.code, plan.other_rate))
        waiting = sum(_serve(scene, kind, group, some) for kind, some in _kinds(scene, group, want))
        if enrolled and slot.code != OTHER_TIMES:
            scene.happened.present[slot.day, slot.code, group] = int(enrolled * scene.coming[group])
            scene.happened.waiting[slot.day, slot.code, group] = waiting
    taps = [unit for unit in scene.units if unit.kind is UnitKind.TAP]
    seen = scene.happened.visits
    gone = sum(seen.get((unit.code, slot.day, slot.code), 0) for unit in scene.units if unit.visited)
    washes = share_out(dice.near(gone * 0.8), [scene.weight[tap.code] for tap in taps])
    for tap, count in zip(taps, washes, strict=True):
        scene.add(tap, count)


def _kinds(scene: Scene, group: Group, want: int) -> list[tuple[UnitKind, int]]:
    """Those who want a cabin and those who want a urinal."""
    stalls = any(unit.kind is UnitKind.URINAL and scene.weight[unit.code] > 0 for unit in scene.units)
    standing = int(want * BY_URINAL) if group is Group.BOYS and stalls else 0
    return [(UnitKind.CABIN, want - standing), (UnitKind.URINAL, standing)]


def _wanted(school: str, slot: str, other: float) -> float:
    hurried, code, share = HURRY
    if (school, slot) == (hurried, code):
        return share
    return other if slot == OTHER_TIMES else WANT[slot]


def _serve(scene: Scene, kind: UnitKind, group: Group, want: int) -> int:
    """Serve those who came, as far as the break lasts; returns those left over at the bell."""
    units, weight, dice = scene.units, scene.weight, scene.dice
    own = [unit for unit in units if unit.kind is kind and unit.group is group]
    open_to = [unit for unit in units if unit.kind is kind is UnitKind.CABIN and unit.group is Group.EVERYONE]
    seconds = URINAL_SECONDS if kind is UnitKind.URINAL else SECONDS[group]
    room = sum(scene.slot.minutes * 60 / seconds for unit in own if weight[unit.code] > 0.3)
    served = want if scene.slot.code == OTHER_TIMES else min(want, int(room * dice.share(0.94, 1.02)))
    shared = int(served * TO_ACCESSIBLE + dice.share()) if any(weight[unit.code] > 0 for unit in open_to) else 0
    shared = min(shared, served)
    for some, visits in ((own, served - shared), (open_to, shared)):
        shares = share_out(visits, [weight[unit.code] * dice.share(0.85, 1.15) for unit in some])
        for unit, count in zip(some, shares, strict=True):
            scene.add(unit, count)
    return want - served


def _long_visits(happened: Happened, year: SchoolYear, day: date, units: list[UnitPlan], dice: Dice) -> None:
    for unit in units:
        if unit.fit in ("auto", "two_stage"):
            share = 0.27 if unit.group is Group.GIRLS else 0.19
            visits = happened.of_day(unit.code, day, year.by_day[day])
            happened.long[unit.code, day] = min(visits, dice.near(visits * share, 0.2))


def _weekends(happened: Happened, year: SchoolYear, units: list[UnitPlan], dice: Dice) -> None:
    """Boarders use the cabins on the days off as well; the counters of those days turn on."""
    if not year.plan.boarders:
        return
    for day in year.days:
        if day.weekday() != 4:
            continue
        for off in (day + timedelta(days=1), day + timedelta(days=2)):
            for unit in units:
                if unit.visited and unit.stands(off) and unit.group is not Group.STAFF:
                    happened.add(unit.code, off, OTHER_TIMES, dice.near(9, 0.4))
                    visits = happened.visits[unit.code, off, OTHER_TIMES]
                    if unit.fit == "auto":
                        happened.long[unit.code, off] = min(visits, dice.near(visits * 0.25, 0.3))


def _water(happened: Happened, year: SchoolYear, units: list[UnitPlan]) -> None:
    """What went through the meter, by day."""
    plan = year.plan
    if not plan.meter:
        return
    metered = [unit for unit in units if unit.visited or (unit.kind is UnitKind.TAP and plan.taps_counted)]
    truth = {unit.code: true_ml(plan, unit) for unit in metered}
    carried: dict[str, int] = {}
    dice = Dice(SEED, plan.code, "meter")
    for day in sorted({key[1] for key in happened.visits}):
        total = float(plan.meter.other_ml_day) * dice.share(0.8, 1.2)
        for unit in metered:
            visits = happened.of_day(unit.code, day, year.by_day.get(day, []))
            long = happened.long.get((unit.code, day), 0)
            total += _unit_ml(plan.code, unit, day, (visits, long), carried) * truth[unit.code]
        happened.water_ml[day] = int(total * dice.share(0.99, 1.01))
    school, first, last, leak = LEAK
    if plan.code == school:
        for number in range((last - first).days + 1):
            day = first + timedelta(days=number)
            happened.water_ml[day] = happened.water_ml.get(day, 0) + leak


def _unit_ml(school: str, unit: UnitPlan, day: date, counts: tuple[int, int], carried: dict[str, int]) -> float:
    visits, long = counts
    plain = {"fixed": FIXED_ML, "pour": POUR_ML, "urinal": URINAL_ML, "tap": TAP_ML}
    if unit.fit in plain:
        return visits * plain[unit.fit]
    flush = (visits - long) * SHORT_ML + long * LONG_ML
    if school == RETROFIT[0] and unit.group is Group.GIRLS and day >= RETROFIT[1]:
        flush = flush * RETROFIT[2] // 1000
    if unit.fit == "two_stage":
        return flush
    before = carried.get(unit.code, 0)
    carried[unit.code] = before + visits
    washes = carried[unit.code] // FLOOR_WASH_EVERY - before // FLOOR_WASH_EVERY
    return flush + visits * PRE_WASH_ML + washes * FLOOR_WASH_ML
