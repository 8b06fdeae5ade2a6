"""Rounds as pages show them: lists and one whole round, in a constant number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from tracker.models.programme import Area
from tracker.models.rounds import Round, RoundDay, RoundLine, RoundReturn, RoundStop
from tracker.models.school import School
from tracker.models.supplies import Lot, Product, StockPlace, Vehicle
from tracker.records.rounds import PlannedDay, lines_of
from tracker.records.rounds_ledger import LOAD, moves_of
from tracker.vocabulary import RoundState, StopState

__all__ = ["DayView", "Product", "RoundRow", "RoundView", "StopView", "rows", "under_way", "view"]


@dataclass(frozen=True, slots=True)
class RoundRow:
    """A round in a list: its days, how many schools it has on vehicles, and of how many something is recorded."""

    round: Round
    days: int
    stops: int
    recorded: int
    left_out: int


@dataclass(frozen=True, slots=True)
class StopView:
    """A stop with its school, area and lines."""

    row: RoundStop
    school: School
    area: str
    lines: list[tuple[RoundLine, Product]]


@dataclass(frozen=True, slots=True)
class DayView:
    """A vehicle-day with its vehicle, its stops in order, and what came back."""

    row: RoundDay
    vehicle: Vehicle
    stops: list[StopView]
    returns: list[tuple[RoundReturn, Product]]

    def planned(self) -> PlannedDay:
        """The vehicle-day as it was planned."""
        row = self.row
        return PlannedDay(row.vehicle_id, row.day, row.starts_min, row.limit_min, row.most_stops)

    def wanted(self) -> list[tuple[Product, int]]:
        """Products and pieces planned on this vehicle-day, by product name."""
        found: dict[int, tuple[Product, int]] = {}
        for stop in self.stops:
            for line, product in stop.lines:
                found[product.id] = product, found.get(product.id, (product, 0))[1] + line.planned
        return sorted((row for row in found.values() if row[1]), key=lambda row: row[0].name)

    def loaded_lots(self, session: Session) -> list[tuple[Product, str, date | None, int]]:
        """What was loaded by lot: product, lot, its expiry, pieces; by product name and expiry."""
        found = []
        for move in moves_of(session, self.row, LOAD):
            lot = session.get_one(Lot, move.lot_id)
            found.append((session.get_one(Product, lot.product_id), lot.code, lot.expires_on, move.quantity))
        return sorted(found, key=lambda row: (row[0].name, row[2] or date.max, row[1]))

    @property
    def to_do(self) -> int:
        """Stops of which nothing is recorded."""
        return sum(stop.row.state is StopState.TO_DO for stop in self.stops)


@dataclass(frozen=True, slots=True)
class RoundView:
    """A whole round: its store, vehicle-days in order, and the schools that are left out."""

    round: Round
    store: StockPlace
    days: list[DayView]
    left: list[StopView]

    def area_ids(self) -> set[int]:
        """Areas of its schools, of those left out too."""
        return {stop.school.area_id for stop in (*self.left, *(stop for day in self.days for stop in day.stops))}

    def stop(self, stop_id: int) -> tuple[DayView, StopView] | None:
        """A stop of a vehicle-day by its id."""
        for day in self.days:
            for stop in day.stops:
                if stop.row.id == stop_id:
                    return day, stop
        return None


def rows(session: Session, programme_id: int, area_ids: Collection[int] | None = None) -> list[RoundRow]:
    """Rounds of a programme, newest first; of somebody with areas only those that stay within them. Three queries."""
    placed, recorded = RoundStop.round_day_id.is_not(None), RoundStop.state != StopState.TO_DO
    counted = (
        select(
            RoundStop.round_id,
            func.sum(case((placed, 1), else_=0)),
            func.sum(case((placed & recorded, 1), else_=0)),
            func.sum(case((placed, 0), else_=1)),
            func.sum(case((School.area_id.in_(area_ids or ()), 0), else_=1)),
        )
        .join(Round, Round.id == RoundStop.round_id)
        .join(School, School.id == RoundStop.school_id)
        .where(Round.programme_id == programme_id)
        .group_by(RoundStop.round_id)
    )
    stops = {key: [int(one) for one in numbers] for key, *numbers in session.execute(counted)}
    per_day = select(RoundDay.round_id, func.count()).group_by(RoundDay.round_id)
    days = {round_id: number for round_id, number in session.execute(per_day)}  # noqa: C416 - rows, not pairs
    query = select(Round).where(Round.programme_id == programme_id).order_by(Round.day.desc(), Round.id.desc())
    found = []
    for row in session.scalars(query):
        on, done, left, outside = stops.get(row.id, [0, 0, 0, 0])
        if area_ids is None or not outside:
            found.append(RoundRow(row, days.get(row.id, 0), on, done, left))
    return found


def view(session: Session, made: Round) -> RoundView:
    """A whole round; seven queries."""
    query = (
        select(RoundStop, School, Area.name)
        .join(School, School.id == RoundStop.school_id)
        .join(Area, Area.id == School.area_id)
        .where(RoundStop.round_id == made.id)
        .order_by(RoundStop.place_no, School.name)
    )
    stops = [(stop, school, area) for stop, school, area in session.execute(query)]
    lines = lines_of(session, [stop.id for stop, _, _ in stops])
    by_day: dict[int | None, list[StopView]] = defaultdict(list)
    for stop, school, area in stops:
        by_day[stop.round_day_id].append(StopView(stop, school, area, lines.get(stop.id, [])))
    days = (
        select(RoundDay, Vehicle)
        .join(Vehicle, Vehicle.id == RoundDay.vehicle_id)
        .where(RoundDay.round_id == made.id)
        .order_by(RoundDay.day, Vehicle.name, RoundDay.id)
    )
    found = [(row, vehicle) for row, vehicle in session.execute(days)]
    returns = _returns(session, [row.id for row, _ in found])
    return RoundView(
        made,
        session.get_one(StockPlace, made.store_id),
        [DayView(row, vehicle, by_day.get(row.id, []), returns.get(row.id, [])) for row, vehicle in found],
        by_day.get(None, []),
    )


def _returns(session: Session, day_ids: Collection[int]) -> dict[int, list[tuple[RoundReturn, Product]]]:
    query = select(RoundReturn, Product).join(Product, Product.id == RoundReturn.product_id)
    found: dict[int, list[tuple[RoundReturn, Product]]] = defaultdict(list)
    for row, product in session.execute(query.where(RoundReturn.round_day_id.in_(day_ids)).order_by(Product.name)):
        found[row.round_day_id].append((row, product))
    return found


def under_way(session: Session, programme_ids: Collection[int]) -> list[Round]:
    """Rounds that are planned or under way in some programmes, the next first."""
    query = select(Round).where(Round.programme_id.in_(programme_ids), Round.state != RoundState.CLOSED)
    return list(session.scalars(query.order_by(Round.day, Round.id)))
