"""Restocking rounds: made from a plan, divided over vehicle-days, changed by hand until a vehicle sets out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.db import Base
from tracker.models.programme import Programme
from tracker.models.rounds import Round, RoundDay, RoundLine, RoundStop
from tracker.models.school import School
from tracker.models.supplies import Product, StockPlace, Vehicle
from tracker.vocabulary import LeftOut, PlaceKind, RoundState

STAY_MIN = 20  # minutes at a school; common practice, no published source
Row = TypeVar("Row", bound=Base)


class RoundError(ValueError):
    """Something about a round that cannot be; the message says what to do, ``field`` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """Pieces of a product that a school is to get."""

    school_id: int
    product_id: int
    pieces: int


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """A vehicle on a day: local minute of leaving, minutes it has, most stops (None: not limited)."""

    vehicle_id: int
    day: date
    starts_min: int
    limit_min: int
    most_stops: int | None = None


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """What a round is made from.

    key: what the form sent, so that sending twice makes one round. needs: thousandths of expected requests that would
    go unmet without the stop, by school_id; the schools of more need go in first.
    """

    key: str
    store_id: int
    day: date
    next_day: date
    aim: str
    days: tuple[PlannedDay, ...]
    lines: tuple[PlannedLine, ...]
    budget_minor: int | None = None
    stay_min: int = STAY_MIN
    needs: Mapping[int, int] = field(default_factory=dict)
    note: str = ""

    @property
    def schools(self) -> tuple[int, ...]:
        """Schools that get something, in steady order."""
        return tuple(sorted({line.school_id for line in self.lines if line.pieces}))


@dataclass(frozen=True, slots=True)
class Place:
    """A school's place in a round: which vehicle-day (from 0), which stop of it (from 1), planned minute of arrival."""

    day: int
    number: int
    arrive_min: int


@dataclass(frozen=True, slots=True)
class Division:
    """Where each school of a round goes, or why it is left out, by school_id."""

    places: Mapping[int, Place]
    left_out: Mapping[int, LeftOut]


# --- making -------------------------------------------------------------------------------------------------------


def create(session: Session, programme: Programme, plan: RoundPlan, division: Division, today: date) -> Round:
    """Make a planned round; a key that was sent before gives the round it made.

    Raises:
        RoundError: a day in the past or not before the next round, nothing to bring, a store, vehicle, school or
            product that is not the programme's, or pieces, budget or hours that cannot be.
    """
    session.scalar(select(Programme.id).where(Programme.id == programme.id).with_for_update())  # one code, one key
    before = session.scalar(select(Round).where(Round.programme_id == programme.id, Round.key == plan.key))
    if before is not None:
        return before
    _check(session, programme, plan, today)
    _check_days(session, programme.id, plan.days, today)
    made = Round(
        programme_id=programme.id,
        code=_free_code(session, programme.id, plan.day),
        key=plan.key,
        store_id=plan.store_id,
        day=plan.day,
        next_day=plan.next_day,
        aim=plan.aim,
        budget_minor=plan.budget_minor,
        stay_min=plan.stay_min,
        state=RoundState.PLANNED,
        note=plan.note,
    )
    session.add(made)
    session.flush()  # its id is needed
    for school_id in plan.schools:
        need = plan.needs.get(school_id, 0)
        session.add(RoundStop(round_id=made.id, school_id=school_id, left_out=LeftOut.BY_HAND, need_thousandths=need))
    session.flush()
    stops = {stop.school_id: stop.id for stop in stops_of(session, made)}
    for line in plan.lines:
        if line.pieces:
            session.add(RoundLine(stop_id=stops[line.school_id], product_id=line.product_id, planned=line.pieces))
    set_days(session, made, plan.days, division, today)
    return made


def _check(session: Session, programme: Programme, plan: RoundPlan, today: date) -> None:
    if plan.day < today:
        raise RoundError("day", f"{plan.day:%d %B %Y} is over. Choose today or a later day.")
    if plan.next_day <= plan.day:
        raise RoundError("next_day", "The next round must come after this one. Choose a later day.")
    if any(line.pieces < 0 for line in plan.lines):
        raise RoundError("lines", "Pieces cannot be fewer than 0.")
    if not plan.schools:
        raise RoundError("lines", "The plan brings nothing to any school, so there is no round to make.")
    if len({(line.school_id, line.product_id) for line in plan.lines}) < len(plan.lines):
        raise RoundError("lines", "A product stands twice for the same school. Put it in one line.")
    if plan.budget_minor is not None and plan.budget_minor < 0:
        raise RoundError("budget", "A budget cannot be below 0.")
    if not 0 <= plan.stay_min <= 480:
        raise RoundError("stay_min", "Write the minutes at a school, from 0 to 480.")
    if _ids(session, StockPlace, programme.id, {plan.store_id}, StockPlace.kind == PlaceKind.STORE):
        raise RoundError("store", "This store is not on record. Choose another one.")
    if _ids(session, School, programme.id, {line.school_id for line in plan.lines}):
        raise RoundError("lines", "A school of the plan is not on record any more. Make the plan again.")
    if _ids(session, Product, programme.id, {line.product_id for line in plan.lines}):
        raise RoundError("lines", "A product of the plan is not on record any more. Make the plan again.")


def _ids(session: Session, model: type[Row], programme_id: int, wanted: Collection[int], *also: object) -> set[int]:
    """Which of the wanted ids are not rows of the programme."""
    table = model.__table__
    query = select(table.c.id).where(table.c.programme_id == programme_id, table.c.id.in_(wanted), *also)  # type: ignore[arg-type]
    return set(wanted) - set(session.scalars(query))


def _free_code(session: Session, programme_id: int, day: date) -> str:
    start = f"R{day:%Y%m%d}"
    query = select(func.count()).select_from(Round)
    taken = session.scalar(query.where(Round.programme_id == programme_id, Round.code.startswith(start))) or 0
    return f"{start}-{taken + 1}"


# --- dividing -----------------------------------------------------------------------------------------------------


def set_days(
    session: Session, made: Round, days: Sequence[PlannedDay], division: Division, today: date
) -> list[RoundDay]:
    """Give a planned round its vehicle-days and put its stops on them; what stood there before is replaced.

    Raises:
        RoundError: the round is under way or closed; a vehicle twice on a day; a day in the past; hours that cannot be.
    """
    if made.state is not RoundState.PLANNED:
        raise RoundError("days", "This round is under way. Its vehicles and days stay as they are.")
    _check_days(session, made.programme_id, days, today)
    stops = stops_of(session, made)
    for stop in stops:
        stop.round_day_id, stop.left_out = None, stop.left_out or LeftOut.BY_HAND
    session.flush()
    for row in days_of(session, made):
        session.delete(row)
    session.flush()
    rows = [
        RoundDay(
            round_id=made.id,
            vehicle_id=one.vehicle_id,
            day=one.day,
            starts_min=one.starts_min,
            limit_min=one.limit_min,
            most_stops=one.most_stops,
        )
        for one in days
    ]
    session.add_all(rows)
    session.flush()  # their ids are needed
    for stop in stops:
        place = division.places.get(stop.school_id)
        if place is None:
            _leave_out(stop, division.left_out.get(stop.school_id, LeftOut.BY_HAND))
        else:
            put(stop, rows[place.day], place.number, place.arrive_min)
    session.flush()
    return rows


def _check_days(session: Session, programme_id: int, days: Sequence[PlannedDay], today: date) -> None:
    if _ids(session, Vehicle, programme_id, {one.vehicle_id for one in days}):
        raise RoundError("vehicle", "This vehicle is not on record. Choose another one.")
    if len({(one.vehicle_id, one.day) for one in days}) < len(days):
        raise RoundError("vehicle", "A vehicle can go once a day. Choose another vehicle or another day.")
    for one in days:
        if one.day < today:
            raise RoundError("day", f"{one.day:%d %B %Y} is over. Choose today or a later day.")
        if not 0 <= one.starts_min < 1440:
            raise RoundError("starts", "Write the time of leaving, for example 07:30.")
        if not 1 <= one.limit_min <= 1440:
            raise RoundError("hours", "Write the hours that the vehicle has, from 1 minute to 24 hours.")
        if one.most_stops is not None and one.most_stops < 1:
            raise RoundError("most_stops", "Write how many stops are possible, at least 1, or leave it blank.")


def put(stop: RoundStop, day: RoundDay, number: int, arrive_min: int | None) -> None:
    """Put a stop on a vehicle-day."""
    stop.round_day_id, stop.left_out, stop.place_no, stop.arrive_min = day.id, None, number, arrive_min


def _leave_out(stop: RoundStop, why: LeftOut) -> None:
    stop.round_day_id, stop.left_out, stop.place_no, stop.arrive_min = None, why, 0, None


def rearrange(
    session: Session,
    made: Round,
    order: Mapping[int, Sequence[int]],
    arrivals: Mapping[int, int | None],
) -> None:
    """Put stops in the order that a person chose.

    Args:
        order: stop ids in order, by round_day_id; a stop of a vehicle-day named here that is in none is left out.
            arrivals: planned minute by stop id.
    Raises:
        RoundError: a vehicle-day has set out; a stop or vehicle-day is not of this round, or stands twice.
    """
    days = {day.id: day for day in days_of(session, made)}
    stops = {stop.id: stop for stop in stops_of(session, made)}
    named = [stop_id for ids in order.values() for stop_id in ids]
    if set(order) - set(days) or set(named) - set(stops) or len(set(named)) < len(named):
        raise RoundError("order", "The stops have changed meanwhile. Open the round again.")
    out = {day_id for day_id, day in days.items() if day.set_out_at is not None}
    touched = set(order) | {stops[one].round_day_id for one in named}
    if out & touched:
        raise RoundError("order", "This vehicle has set out. Its stops stay as they are.")
    for stop in stops.values():
        if stop.round_day_id in order and stop.id not in named:
            _leave_out(stop, LeftOut.BY_HAND)
    for day_id, ids in order.items():
        for number, stop_id in enumerate(ids, start=1):
            put(stops[stop_id], days[day_id], number, arrivals.get(stop_id))
    session.flush()


# --- reading ------------------------------------------------------------------------------------------------------


def days_of(session: Session, made: Round) -> list[RoundDay]:
    """Vehicle-days of a round, by day and vehicle."""
    query = select(RoundDay).where(RoundDay.round_id == made.id)
    return list(session.scalars(query.order_by(RoundDay.day, RoundDay.vehicle_id, RoundDay.id)))


def stops_of(session: Session, made: Round) -> list[RoundStop]:
    """Stops of a round: by vehicle-day and place; those left out too."""
    query = select(RoundStop).where(RoundStop.round_id == made.id)
    return list(session.scalars(query.order_by(RoundStop.round_day_id, RoundStop.place_no, RoundStop.id)))


def lines_of(session: Session, stops: Collection[int]) -> dict[int, list[tuple[RoundLine, Product]]]:
    """Lines of stops with their product, by stop id and product name; one query."""
    query = select(RoundLine, Product).join(Product, Product.id == RoundLine.product_id)
    found: dict[int, list[tuple[RoundLine, Product]]] = defaultdict(list)
    for line, product in session.execute(query.where(RoundLine.stop_id.in_(stops)).order_by(Product.name)):
        found[line.stop_id].append((line, product))
    return found


def plan_of(session: Session, made: Round, days: Sequence[PlannedDay] | None = None) -> RoundPlan:
    """A round as the plan it could be made from again: with its own vehicle-days, or with others."""
    stops = stops_of(session, made)
    school_of = {stop.id: stop.school_id for stop in stops}
    lines = lines_of(session, school_of)
    own = tuple(
        PlannedDay(row.vehicle_id, row.day, row.starts_min, row.limit_min, row.most_stops)
        for row in days_of(session, made)
    )
    return RoundPlan(
        key=made.key,
        store_id=made.store_id,
        day=made.day,
        next_day=made.next_day,
        aim=made.aim,
        days=own if days is None else tuple(days),
        lines=tuple(
            PlannedLine(school_of[stop_id], line.product_id, line.planned)
            for stop_id, rows in lines.items()
            for line, _ in rows
        ),
        budget_minor=made.budget_minor,
        stay_min=made.stay_min,
        needs={stop.school_id: stop.need_thousandths for stop in stops},
        note=made.note,
    )
