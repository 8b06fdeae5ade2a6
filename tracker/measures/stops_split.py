"""Which vehicle goes to which schools on which day, within hours, stops and room; which schools do not fit, and why.

A good division, not a proved one: schools go in by need, each where it costs the fewest minutes; then schools change
vehicle-days while that brings the vehicles back sooner; then schools that were left out take the place of one that has
less need than they have together. The order within each vehicle-day is then found by ``stops.order``. Beside the
minutes of driving stands what no division could go below.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tracker.measures.stops import Ordered, order
from tracker.measures.stops_bound import rounds_bound
from tracker.measures.stops_run import Run, Windows, back_from
from tracker.measures.stops_search import Order, cheapest_place
from tracker.vocabulary import LeftOut

PASSES = 8


@dataclass(frozen=True, slots=True)
class Call:
    """A school to come to: minutes there, its load in each unit of room (volume, packs), its need (more goes first)."""

    stay_min: int
    load: tuple[int, ...]
    need: float


@dataclass(frozen=True, slots=True)
class VehicleDay:
    """A vehicle on a day: when it leaves, the hours it has, openings by school, and its limits.

    ``room``: in each unit of the loads; None in it, or no room at all: not limited.
    """

    start: int
    limit_min: int
    windows: Mapping[int, Windows]
    most_stops: int | None = None
    room: tuple[int | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Split:
    """The division. ``days``: for each vehicle-day the schools in order with their minutes; positions from 1.

    left_out: school → why. travel_min: all driving together; travel_bound: no rounds to these schools drive less.
    """

    days: tuple[Ordered, ...]
    left_out: dict[int, LeftOut]
    travel_min: int
    travel_bound: int


class _Plan:
    """The schools of each vehicle-day while the division is made."""

    def __init__(self, minutes: npt.ArrayLike, calls: Sequence[Call], days: Sequence[VehicleDay]) -> None:
        self.calls, self.days = calls, days
        stays = [call.stay_min for call in calls]
        schools = range(1, len(calls) + 1)
        self.runs = [
            Run.made(minutes, stays, [day.windows.get(one, ()) for one in schools], start=day.start,
                     limit_min=day.limit_min)
            for day in days
        ]  # fmt: skip
        self.orders: list[Order] = [() for _ in days]

    def need_key(self, school: int) -> tuple[float, int, int]:
        """Most need first; of equal need the farther one, then the earlier one."""
        far = int(self.runs[0].minutes[0, school]) if self.runs else 0
        return -self.calls[school - 1].need, -far, school

    def has_room(self, day: int, order: Order) -> bool:
        """Whether the vehicle holds the loads of such schools."""
        for unit, room in enumerate(self.days[day].room):
            if room is not None and sum(self.calls[school - 1].load[unit] for school in order) > room:
                return False
        return True

    def within(self, day: int, order: Order) -> bool:
        """Whether room and stops of a vehicle-day hold such schools."""
        most = self.days[day].most_stops
        return (most is None or len(order) <= most) and self.has_room(day, order)

    def back(self, day: int, order: Order) -> int | None:
        """Minutes from leaving to return; None where hours are not kept. A vehicle without schools stays."""
        if not order:
            return 0
        run = self.runs[day]
        back = back_from(run, run.start, 0, order)
        return None if back is None else back - run.start

    def placed(self, day: int, order: Order, school: int) -> tuple[int, Order] | None:
        """The order with one school more and its minutes; None where it does not fit."""
        if not self.within(day, (*order, school)):
            return None
        found = cheapest_place(self.runs[day], order, school)
        minutes = None if found is None else self.back(day, found)
        return None if found is None or minutes is None else (minutes, found)

    def put(self, school: int, days: Sequence[int] | None = None) -> bool:
        """Put a school where it adds the fewest minutes; False where it fits nowhere."""
        best: tuple[int, int, Order] | None = None
        for day in range(len(self.days)) if days is None else days:
            placed = self.placed(day, self.orders[day], school)
            if placed is not None:
                more = placed[0] - (self.back(day, self.orders[day]) or 0)
                if best is None or more < best[0]:
                    best = more, day, placed[1]
        if best is not None:
            self.orders[best[1]] = best[2]
        return best is not None

    def fits_alone(self, day: int, school: int) -> bool:
        """Whether a school could be served on a vehicle-day if nothing else were."""
        return self.within(day, (school,)) and self.back(day, (school,)) is not None

    def day_of(self, school: int) -> int:
        return next(day for day, order in enumerate(self.orders) if school in order)


def split(minutes: npt.ArrayLike, calls: Sequence[Call], days: Sequence[VehicleDay]) -> Split:
    """Divide schools over vehicle-days.

    Args:
        minutes: whole minutes of driving; row and column 0 are the store, 1 and up the schools of ``calls``.
        calls: what each school asks for. A school is visited once; its load is not divided.
        days: the vehicle-days; ``windows`` by the school's position (from 1), none: closed that day.
    Returns:
        A school is in one vehicle-day or in ``left_out``. Without vehicle-days all are left out as closed.
    Raises:
        ValueError: as ``stops.order``.

    >>> table = [[0, 10, 10], [10, 0, 5], [10, 5, 0]]
    >>> both = {1: ((480, 720),), 2: ((480, 720),)}
    >>> found = split(table, [Call(10, (30,), 2.0), Call(10, (30,), 1.0)], [VehicleDay(480, 240, both, room=(40,))])
    >>> found.days[0].order, found.left_out[2].value, found.travel_min
    ((1,), 'no room left', 20)
    """
    plan = _Plan(minutes, calls, days)
    schools = sorted(range(1, len(calls) + 1), key=plan.need_key)
    alone = {school: _alone(plan, school) for school in schools}
    waiting = [school for school in schools if alone[school] is None and not plan.put(school)]
    for _ in range(PASSES):
        before = [list(order) for order in plan.orders]
        _change_days(plan)
        waiting = _trade(plan, _fill(plan, waiting))
        if before == [list(order) for order in plan.orders]:
            break
    left = {school: why for school, why in alone.items() if why is not None}
    left |= {school: _why(plan, school) for school in waiting}
    return _finished(plan, minutes, dict(sorted(left.items())))


def _alone(plan: _Plan, school: int) -> LeftOut | None:
    """Why a school fits on no vehicle-day even alone; None where it does on one."""
    open_days = [day for day, one in enumerate(plan.days) if one.windows.get(school)]
    if not open_days:
        return LeftOut.CLOSED
    large = [day for day in open_days if plan.has_room(day, (school,))]
    if not large:
        return LeftOut.TOO_LARGE
    return None if any(plan.back(day, (school,)) is not None for day in large) else LeftOut.TOO_FAR


def _change_days(plan: _Plan) -> None:
    """Move schools to another vehicle-day while both together are back sooner."""
    for school in sorted((one for stops in plan.orders for one in stops), key=plan.need_key):
        mine = plan.day_of(school)
        rest = tuple(one for one in plan.orders[mine] if one != school)
        now, without = plan.back(mine, plan.orders[mine]) or 0, plan.back(mine, rest)
        if without is None:  # shorter ways may miss an opening only where the triangle rule is broken
            continue
        best: tuple[int, int, Order] | None = None
        for day in range(len(plan.days)):
            placed = plan.placed(day, plan.orders[day], school) if day != mine else None
            if placed is not None:
                saved = now - without - (placed[0] - (plan.back(day, plan.orders[day]) or 0))
                if saved > 0 and (best is None or saved > best[0]):
                    best = saved, day, placed[1]
        if best is not None:
            plan.orders[mine], plan.orders[best[1]] = rest, best[2]


def _fill(plan: _Plan, waiting: Sequence[int]) -> list[int]:
    """Try again to place schools that wait, also in the place of others; gives back those that still wait."""
    queue, still = sorted(waiting, key=plan.need_key), []
    while queue:
        school = queue.pop(0)
        if plan.put(school):
            continue
        other = _take_place(plan, school)
        if other is None:
            still.append(school)
        elif not plan.put(other):
            queue.append(other)
    return still


def _take_place(plan: _Plan, school: int) -> int | None:
    """Put a school in the place of one of less need, and say of which; None where it fits in none of them."""
    need = plan.calls[school - 1].need
    others = sorted((one for stops in plan.orders for one in stops), key=plan.need_key, reverse=True)
    for other in others:
        if plan.calls[other - 1].need >= need:
            return None
        day = plan.day_of(other)
        rest = tuple(one for one in plan.orders[day] if one != other)
        placed = plan.placed(day, rest, school) if plan.back(day, rest) is not None else None
        if placed is not None:
            plan.orders[day] = placed[1]
            return other
    return None


def _trade(plan: _Plan, waiting: Sequence[int]) -> list[int]:
    """Take one school out where schools that wait fit in its place and together have more need (or are more)."""
    still = sorted(waiting, key=plan.need_key)
    for school in sorted((one for stops in plan.orders for one in stops), key=plan.need_key, reverse=True):
        kept, day = list(plan.orders), plan.day_of(school)
        rest = tuple(one for one in plan.orders[day] if one != school)
        if plan.back(day, rest) is None:
            continue
        plan.orders[day] = rest
        came = [one for one in still if plan.put(one)]
        gained = sum(plan.calls[one - 1].need for one in came), len(came)
        if came and gained > (plan.calls[school - 1].need, 1):
            still = sorted([one for one in still if one not in came] + [school], key=plan.need_key)
        else:
            plan.orders = kept
    return still


def _why(plan: _Plan, school: int) -> LeftOut:
    """What is wanting for a school that would fit alone: room before stops before hours, on its days."""
    fit = [day for day in range(len(plan.days)) if plan.fits_alone(day, school)]
    free = [day for day in fit if plan.has_room(day, (*plan.orders[day], school))]
    if not free:
        return LeftOut.NO_ROOM
    few = [day for day in free if (most := plan.days[day].most_stops) is None or len(plan.orders[day]) < most]
    return LeftOut.NO_HOURS if few else LeftOut.NO_STOPS


def _finished(plan: _Plan, minutes: npt.ArrayLike, left: dict[int, LeftOut]) -> Split:
    table = np.asarray(minutes, dtype=np.int64)
    done = []
    for day, stops in zip(plan.days, plan.orders, strict=True):
        places = [0, *stops]
        found = order(
            table[np.ix_(places, places)],
            [plan.calls[school - 1].stay_min for school in stops],
            [day.windows.get(school, ()) for school in stops],
            start=day.start,
            limit_min=day.limit_min,
            known=range(1, len(stops) + 1),
        )
        if found is None:  # the known order keeps everything
            raise RuntimeError("an order that was driven before is not found again")
        done.append(replace(found, order=tuple(stops[one - 1] for one in found.order)))
    served = sorted(school for one in done for school in one.order)
    places = [0, *served]
    travel = sum(one.travel_min for one in done)
    bound = rounds_bound(table[np.ix_(places, places)]) if served else 0
    return Split(tuple(done), left, travel, min(bound, travel))
