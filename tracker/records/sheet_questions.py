"""What a school's week sheet asks about beyond its units: places and products, two-stage flushes, last counts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import Select, func, or_, select
from sqlalchemy.orm import Session

from tracker.models.school import School
from tracker.models.supplies import Lot as StockLot
from tracker.models.supplies import Product, StockCount, StockMove, StockPlace
from tracker.models.units import Fitting, Unit
from tracker.vocabulary import FittingKind, PlaceKind

AT_SCHOOL = (PlaceKind.MACHINE, PlaceKind.CUPBOARD)


@dataclass(frozen=True, slots=True)
class Stocked:
    """A product that a place of the school holds or may hold, and the last count before the week."""

    place: str
    place_name: str
    kind: PlaceKind
    unit: str
    product: str
    product_name: str
    last_left: int | None


def two_stage_units(session: Session, school_id: int, first: date, last: date) -> frozenset[str]:
    """Codes of units that had a two-stage flush on any day of the span."""
    query = (
        select(Unit.code)
        .join(Fitting, Fitting.unit_id == Unit.id)
        .where(
            Unit.school_id == school_id,
            Fitting.kind == FittingKind.FLUSH_TWO_STAGE,
            Fitting.from_day <= last,
            or_(Fitting.until_day.is_(None), Fitting.until_day >= first),
        )
    )
    return frozenset(session.scalars(query))


@dataclass(frozen=True, slots=True)
class Ends:
    """Where supplies come from before they reach a school, and where they go when they are handed out ("": none)."""

    source: str
    given_out: str


def supply_ends(session: Session, school_id: int) -> Ends:
    """The programme's store (else its supplier), and its place for what is given out; one query."""
    rows = session.execute(
        select(StockPlace.kind, StockPlace.code)
        .join(School, School.programme_id == StockPlace.programme_id)
        .where(
            School.id == school_id,
            StockPlace.kind.in_((PlaceKind.STORE, PlaceKind.SUPPLIER, PlaceKind.GIVEN_OUT)),
            or_(StockPlace.school_id.is_(None), StockPlace.school_id == school_id),
        )
        .order_by(StockPlace.code)
    ).all()
    by_kind: dict[PlaceKind, str] = {}
    for kind, code in rows:
        by_kind.setdefault(kind, code)
    source = by_kind.get(PlaceKind.STORE) or by_kind.get(PlaceKind.SUPPLIER) or ""
    return Ends(source, by_kind.get(PlaceKind.GIVEN_OUT, ""))


def stocked(session: Session, school_id: int, week: date) -> list[Stocked]:
    """Places of the school with the products to ask about, machines first; four queries.

    A place is asked about every product that was ever brought to it or counted there; a place where nothing was
    yet, about every menstrual product of the programme.
    """
    places = session.execute(
        select(StockPlace, Unit.code)
        .outerjoin(Unit, Unit.id == StockPlace.unit_id)
        .where(StockPlace.school_id == school_id, StockPlace.kind.in_(AT_SCHOOL))
        .order_by(StockPlace.kind.desc(), StockPlace.code)
    ).all()
    products = session.scalars(
        select(Product)
        .join(School, School.programme_id == Product.programme_id)
        .where(School.id == school_id)
        .order_by(Product.code)
    ).all()
    seen = _seen(session, [place.id for place, _ in places])
    counted = _last_counts(session, [place.id for place, _ in places], week)
    found = []
    for place, unit in places:
        here = [p for p in products if (place.id, p.id) in seen] or [p for p in products if p.menstrual]
        for product in here:
            last = counted.get((place.id, product.id))
            found.append(Stocked(place.code, place.name, place.kind, unit or "", product.code, product.name, last))
    return found


def _seen(session: Session, place_ids: list[int]) -> set[tuple[int, int]]:
    moved: Select[int, int] = (
        select(StockMove.to_place_id, StockLot.product_id)
        .join(StockLot, StockLot.id == StockMove.lot_id)
        .where(StockMove.to_place_id.in_(place_ids))
    )
    counted = select(StockCount.place_id, StockCount.product_id).where(StockCount.place_id.in_(place_ids))
    return {(place, product) for place, product in session.execute(moved.union(counted))}


def _last_counts(session: Session, place_ids: list[int], week: date) -> dict[tuple[int, int], int]:
    latest = (
        select(StockCount.place_id, StockCount.product_id, func.max(StockCount.day).label("day"))
        .where(StockCount.place_id.in_(place_ids), StockCount.day < week)
        .group_by(StockCount.place_id, StockCount.product_id)
        .subquery()
    )
    rows = session.execute(
        select(StockCount.place_id, StockCount.product_id, StockCount.quantity).join(
            latest,
            (latest.c.place_id == StockCount.place_id)
            & (latest.c.product_id == StockCount.product_id)
            & (latest.c.day == StockCount.day),
        )
    )
    return {(place, product): quantity for place, product, quantity in rows}
