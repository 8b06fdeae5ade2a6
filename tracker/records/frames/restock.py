"""Stock of every product at schools and in the central store, for planning a round. A constant number of queries."""

from __future__ import annotations

from datetime import date

import pandas as pd
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from tracker.models.supplies import Lot, Product, StockCount, StockMove, StockPlace, StockRule
from tracker.models.units import Unit
from tracker.records.frames.base import DAY, Scope, day_in, read, schools_in, words
from tracker.vocabulary import MoveReason, PlaceKind

AT_SCHOOL = (PlaceKind.MACHINE, PlaceKind.CUPBOARD)
NOT_STOCKED = (MoveReason.GIVEN_OUT, MoveReason.COUNT_DIFFERENCE)

PRODUCTS = {
    "product_id": "int64",
    "product": "str",
    "name": "str",
    "unit_name": "str",
    "menstrual": "bool",
    "pack_size": "int64",
    "unit_cost_minor": "int64",
    "pack_ml": "float64",
}
PLACES = {"place_id": "int64", "school_id": "int64", "unit_id": "float64", "kind": "str", "capacity": "float64"}
PLACE_COUNTS = {"place_id": "int64", "product_id": "int64", "day": DAY, "left": "float64"}
PLACE_MOVES = {
    "place_id": "int64",
    "product_id": "int64",
    "day": DAY,
    "pieces": "float64",
    "given": "float64",
    "net": "float64",
}
STORE_LOTS = {"product_id": "int64", "lot": "str", "expires_on": DAY, "pieces": "float64"}
STOCK_RULES = {"school_id": "int64", "product_id": "int64", "from_day": DAY, "minimum": "int64", "room": "float64"}


def products(session: Session, programme_id: int) -> pd.DataFrame:
    """Frame ``products``: what the programme gives out or uses up, by code; ``pack_ml`` NaN = not recorded."""
    row = Product
    query = select(
        row.id, row.code, row.name, row.unit_name, row.menstrual, row.pack_size, row.unit_cost_minor, row.pack_ml
    )
    return read(session, PRODUCTS, query.where(row.programme_id == programme_id).order_by(row.code))


def stock_places(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``stock_places``: machines and cupboards of the scope's schools; not those of units taken away before
    the scope's last day. ``capacity`` NaN = not limited on record."""
    row = StockPlace
    query = select(row.id, row.school_id, row.unit_id, words(row.kind), row.capacity)
    query = query.join(Unit, Unit.id == row.unit_id, isouter=True).where(
        row.school_id.in_(schools_in(scope)),
        row.kind.in_(AT_SCHOOL),
        Unit.until_day.is_(None) | (Unit.until_day >= scope.last_day),
    )
    return read(session, PLACES, query.order_by(row.id))


def place_counts(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``place_counts``: every count of every product at machines and cupboards in the scope."""
    row = StockCount
    query = select(row.place_id, row.product_id, row.day, row.quantity)
    query = query.join(StockPlace, StockPlace.id == row.place_id)
    query = query.where(
        StockPlace.school_id.in_(schools_in(scope)), StockPlace.kind.in_(AT_SCHOOL), day_in(row.day, scope)
    )
    return read(session, PLACE_COUNTS, query.order_by(row.place_id, row.product_id, row.day))


def place_moves(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``place_moves``: by place, product and day the pieces in less the pieces out, without what was given out
    or counted off (``pieces``), what was given out by name (``given``), and in less out of all moves (``net``)."""
    row, inward = StockMove, StockMove.to_place_id == StockPlace.id
    signed = case((inward, row.quantity), else_=-row.quantity)
    pieces = func.sum(case((row.reason.in_(NOT_STOCKED), 0), else_=signed))
    given = func.sum(case((~inward & (row.reason == MoveReason.GIVEN_OUT), row.quantity), else_=0))
    query = (
        select(StockPlace.id, Lot.product_id, row.day, pieces, given, func.sum(signed))
        .select_from(row)
        .join(StockPlace, inward | (row.from_place_id == StockPlace.id))
        .join(Lot, Lot.id == row.lot_id)
        .where(StockPlace.school_id.in_(schools_in(scope)), StockPlace.kind.in_(AT_SCHOOL), day_in(row.day, scope))
        .group_by(StockPlace.id, Lot.product_id, row.day)
        .order_by(StockPlace.id, Lot.product_id, row.day)
    )
    return read(session, PLACE_MOVES, query)


def store_lots(session: Session, programme_id: int, day: date) -> pd.DataFrame:
    """Frame ``store_lots``: what the central stores hold of each lot at the end of a day, the sum of their moves.

    ``expires_on`` NaT = does not go off, or not recorded. Lots of which nothing is left are not listed.
    """
    row, inward = StockMove, StockMove.to_place_id == StockPlace.id
    pieces = func.sum(case((inward, row.quantity), else_=-row.quantity))
    query = (
        select(Lot.product_id, Lot.code, Lot.expires_on, pieces)
        .select_from(row)
        .join(StockPlace, inward | (row.from_place_id == StockPlace.id))
        .join(Lot, Lot.id == row.lot_id)
        .where(StockPlace.programme_id == programme_id, StockPlace.kind == PlaceKind.STORE, row.day <= day)
        .group_by(Lot.product_id, Lot.code, Lot.expires_on)
        .having(pieces > 0)
        .order_by(Lot.product_id, Lot.expires_on, Lot.code)
    )
    return read(session, STORE_LOTS, query)


def stock_rules(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``stock_rules``: what each school keeps of a product at the least and has room for, the rule in force on
    the scope's last day."""
    row = StockRule
    query = select(row.school_id, row.product_id, row.from_day, row.minimum, row.room)
    query = query.where(row.school_id.in_(schools_in(scope)), row.from_day <= scope.last_day)
    rules = read(session, STOCK_RULES, query.order_by(row.school_id, row.product_id, row.from_day))
    return rules.drop_duplicates(["school_id", "product_id"], keep="last", ignore_index=True)
