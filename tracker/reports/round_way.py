"""The way of a round: schools divided over vehicle-days, and what comes of the order in which they stand."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from tracker.measures import stops, stops_split
from tracker.measures.travel import Spot, Travel, travel
from tracker.records import rounds_roads
from tracker.records.frames import Session
from tracker.records.rounds import Division, Place, PlannedDay, RoundError, RoundPlan
from tracker.records.rounds_goods import Goods, goods
from tracker.records.rounds_roads import Openings, Where
from tracker.vocabulary import LeftOut

LEFT_OUT_WORDS: Final = {
    LeftOut.CLOSED: "has no school on the days of this round, so nobody receives goods",
    LeftOut.TOO_FAR: "cannot be served within its opening hours and the vehicle's hours, even alone",
    LeftOut.TOO_LARGE: "asks for more than any vehicle of this round holds",
    LeftOut.NO_ROOM: "has no room left on the vehicles that could come",
    LeftOut.NO_STOPS: "would be one stop too many for the vehicles that could come",
    LeftOut.NO_HOURS: "would take the vehicles beyond their hours or come outside its opening hours",
    LeftOut.BY_HAND: "was taken out by hand",
}


@dataclass(frozen=True, slots=True)
class Divided:
    """A division with the minutes of driving and their bound, and how many legs are a first guess."""

    division: Division
    travel_min: int
    travel_bound: int
    guessed: int


@dataclass(frozen=True, slots=True)
class StopWay:
    """A stop as it comes: minute of arrival, whether the hand-over falls in an opening, the openings of that day."""

    arrive_min: int
    inside: bool
    openings: Openings


@dataclass(frozen=True, slots=True)
class DayWay:
    """A vehicle-day in the order in which its stops stand, by school_id, beside the best order.

    back_min: minute of return; over_min: minutes beyond the hours of the vehicle. best_back: return in the best order
    that keeps openings and hours (None: there is none); bound: no order is back sooner; exact: that order is proved.
    ml, packs: the load. guessed: legs that are a first guess.
    """

    stops: dict[int, StopWay]
    back_min: int
    travel_min: int
    over_min: int
    best_back: int | None
    bound: int | None
    exact: bool
    ml: int
    packs: int
    guessed: int


@dataclass(frozen=True, slots=True)
class Roads:
    """Minutes between the store (0) and schools, in the order of ``schools``."""

    schools: tuple[int, ...]
    travel: Travel

    def part(self, schools: Sequence[int]) -> npt.NDArray[np.int64]:
        """Minutes of some schools, in this order, after the store."""
        places = [0, *(self.schools.index(school) + 1 for school in schools)]
        return self.travel.minutes[np.ix_(places, places)]

    def guessed(self, schools: Sequence[int]) -> int:
        """How many legs of a way from the store through these schools and back are a first guess."""
        places = [0, *(self.schools.index(school) + 1 for school in schools), 0]
        return sum(bool(self.travel.guessed[one, other]) for one, other in pairwise(places))


def roads(session: Session, programme_id: int, store_id: int, schools: Collection[int]) -> Roads:
    """Minutes of driving between a store and schools; four queries.

    Raises:
        RoundError: nobody said where the store stands, or a way is neither written nor to be guessed; it says which.
    """
    site = rounds_roads.site_of(session, store_id)
    if site is None:
        raise RoundError("roads", "Say first in which area the store stands, on the page of driving minutes.")
    where = rounds_roads.schools_where(session, schools)
    ordered = tuple(sorted(where))
    spots = [_spot(site), *(_spot(where[school]) for school in ordered)]
    found = travel(spots, rounds_roads.minutes_written(session, programme_id))
    if found.missing:
        names = {area.id: area.name for area in rounds_roads.areas(session, programme_id)}
        ways = "; ".join(_way(names[one], names[other]) for one, other in found.missing)
        raise RoundError("roads", f"Write first how long the way takes, on the page of driving minutes: {ways}.")
    return Roads(ordered, found)


def _spot(where: Where) -> Spot:
    return Spot(where.area_id, where.latitude, where.longitude)


def _way(one: str, other: str) -> str:
    return f"within {one}" if one == other else f"from {one} to {other}"


def divide(session: Session, programme_id: int, plan: RoundPlan) -> Divided:
    """Divide the schools of a plan over its vehicle-days.

    Raises:
        RoundError: the minutes of driving are not known.
    """
    ways = roads(session, programme_id, plan.store_id, plan.schools)
    bring = goods(session, programme_id)
    loads = {school: _load(bring, plan, school) for school in ways.schools}
    calls = [
        stops_split.Call(plan.stay_min, loads[school], float(plan.needs.get(school, 0))) for school in ways.schools
    ]
    openings = rounds_roads.openings(session, ways.schools, {one.day for one in plan.days})
    days = [_vehicle_day(one, bring, openings[one.day], ways.schools) for one in plan.days]
    found = stops_split.split(ways.travel.minutes, calls, days)
    places = {}
    for at, one in enumerate(found.days):
        for number, (stop, arrive) in enumerate(zip(one.order, one.arrive, strict=True), start=1):
            places[ways.schools[stop - 1]] = Place(at, number, arrive)
    left = {ways.schools[stop - 1]: why for stop, why in found.left_out.items()}
    guessed = sum(ways.guessed([ways.schools[stop - 1] for stop in one.order]) for one in found.days)
    return Divided(Division(places, left), found.travel_min, found.travel_bound, guessed)


def _load(bring: Goods, plan: RoundPlan, school: int) -> tuple[int, int]:
    lines = [(line.product_id, line.pieces) for line in plan.lines if line.school_id == school]
    return bring.load(lines)


def _vehicle_day(
    one: PlannedDay, bring: Goods, openings: dict[int, Openings], schools: Sequence[int]
) -> stops_split.VehicleDay:
    windows = {at: openings[school] for at, school in enumerate(schools, start=1) if school in openings}
    room = bring.room.get(one.vehicle_id, (None, None))
    return stops_split.VehicleDay(one.starts_min, one.limit_min, windows, one.most_stops, room)


def day_way(session: Session, programme_id: int, plan: RoundPlan, day: PlannedDay, schools: Sequence[int]) -> DayWay:
    """What comes of driving schools in this order on a vehicle-day, and how much sooner the best order is back.

    Raises:
        RoundError: the minutes of driving are not known.
    """
    ways = roads(session, programme_id, plan.store_id, schools)
    openings = rounds_roads.openings(session, schools, [day.day])[day.day]
    windows = [openings.get(school, ()) for school in schools]
    minutes, stays = ways.part(schools), [plan.stay_min] * len(schools)
    arrive, inside, back = stops.as_given(minutes, stays, windows, start=day.starts_min)
    best = stops.order(minutes, stays, windows, start=day.starts_min, limit_min=day.limit_min)
    bring = goods(session, programme_id)
    loads = [_load(bring, plan, school) for school in schools]
    return DayWay(
        stops={
            school: StopWay(at, fits, window)
            for school, at, fits, window in zip(schools, arrive, inside, windows, strict=True)
        },
        back_min=back,
        travel_min=stops.travel_of(minutes, range(1, len(schools) + 1)),
        over_min=max(0, back - day.starts_min - day.limit_min),
        best_back=None if best is None else best.back,
        bound=None if best is None else best.bound,
        exact=best is not None and best.exact,
        ml=sum(ml for ml, _ in loads),
        packs=sum(packs for _, packs in loads),
        guessed=ways.guessed(schools),
    )


def best_order(
    session: Session, programme_id: int, plan: RoundPlan, day: PlannedDay, schools: Sequence[int]
) -> list[tuple[int, int]]:
    """Schools of a vehicle-day in the best order found, each with its minute of arrival.

    Raises:
        RoundError: the minutes of driving are not known, or no order keeps openings and hours.
    """
    ways = roads(session, programme_id, plan.store_id, schools)
    openings = rounds_roads.openings(session, schools, [day.day])[day.day]
    windows = [openings.get(school, ()) for school in schools]
    stays = [plan.stay_min] * len(schools)
    best = stops.order(ways.part(schools), stays, windows, start=day.starts_min, limit_min=day.limit_min)
    if best is None:
        raise RoundError("order", "No order keeps the opening hours and the vehicle's hours. Take a school out of it.")
    return [(schools[stop - 1], at) for stop, at in zip(best.order, best.arrive, strict=True)]
