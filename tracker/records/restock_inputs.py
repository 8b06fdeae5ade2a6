"""What a person chooses from when planning a round: vehicles, schools, days that are planned. Plain values."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.school import School
from tracker.models.supplies import PlannedRound, Product, Vehicle


@dataclass(frozen=True, slots=True)
class Asked:
    """What a round is planned for.

    today: the last day whose records are known. on: the day of the round. until: the day of the next round.
    lead_days: days from the next round until its supplies can be used. unreachable: ids of schools that cannot be
    reached. products: codes, empty is all. schools: ids, None is all of the programme.
    """

    programme_id: int
    today: date
    on: date
    until: date
    lead_days: int = 0
    unreachable: frozenset[int] = frozenset()
    products: tuple[str, ...] = ()
    schools: tuple[int, ...] | None = None

    @property
    def last(self) -> date:
        """The last day that what is brought must last through."""
        return self.until + timedelta(days=self.lead_days - 1)


@dataclass(frozen=True, slots=True)
class VehicleHead:
    """A vehicle and the room in it; None is not limited."""

    code: str
    name: str
    room_ml: int | None
    room_packs: int | None


@dataclass(frozen=True, slots=True)
class ProductHead:
    """A product by its code."""

    code: str
    name: str


def vehicles(session: Session, programme_id: int) -> tuple[VehicleHead, ...]:
    """Vehicles of a programme by name."""
    query = select(Vehicle.code, Vehicle.name, Vehicle.room_ml, Vehicle.room_packs)
    rows = session.execute(query.where(Vehicle.programme_id == programme_id).order_by(Vehicle.name))
    return tuple(VehicleHead(*row) for row in rows)


def products(session: Session, programme_id: int) -> tuple[ProductHead, ...]:
    """Products of a programme by code."""
    query = select(Product.code, Product.name).where(Product.programme_id == programme_id).order_by(Product.code)
    return tuple(ProductHead(*row) for row in session.execute(query))


def schools(
    session: Session, programme_id: int, day: date, area_ids: Collection[int] | None = None
) -> tuple[tuple[int, str, str], ...]:
    """Id, code and name of the schools that are in the programme on a day, by code; ``area_ids`` None is all."""
    query = select(School.id, School.code, School.name).where(
        School.programme_id == programme_id,
        School.from_day <= day,
        School.until_day.is_(None) | (School.until_day >= day),
    )
    if area_ids is not None:
        query = query.where(School.area_id.in_(area_ids))
    return tuple((row.id, row.code, row.name) for row in session.execute(query.order_by(School.code)))


def rounds_from(session: Session, programme_id: int, day: date) -> tuple[date, ...]:
    """Days of the planned rounds on a day and after it, in order."""
    query = select(PlannedRound.day).where(PlannedRound.programme_id == programme_id, PlannedRound.day >= day)
    return tuple(session.scalars(query.order_by(PlannedRound.day)))
