"""Stock of schools from one count to another, with what was moved between them."""

from __future__ import annotations

from typing import Any

import pandas as pd
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session, aliased

from tracker.models.school import School
from tracker.models.supplies import Lot, Product, StockCount, StockMove, StockPlace
from tracker.records.frames.base import DAY, Scope, read, schools_in, words
from tracker.vocabulary import PlaceKind

AT_SCHOOL = (PlaceKind.MACHINE, PlaceKind.CUPBOARD)
COUNTED = {
    "place_id": "int64",
    "product_id": "int64",
    "school": "str",
    "place": "str",
    "kind": "str",
    "product": "str",
    "first_day": DAY,
    "last_day": DAY,
}
ENDS = {"place_id": "int64", "product_id": "int64", "day": DAY, "quantity": "float64"}
MOVED = {"place_id": "int64", "product_id": "int64", "rows": "float64", "pieces": "float64", "lost": "float64"}
KEY = ["place_id", "product_id"]


def stock_spans(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``stock_spans``: each place and product of the schools that was counted, in four queries.

    From the last count before the scope, else the first count in it, to the last count in it (a count is of the end
    of its day). received, issued, lost: pieces moved after the first count up to the last; a move that only settles
    a count is none of them. NaN: there was no second count, or no move was written down in between.
    """
    spans = _spans(scope)
    counted = read(session, COUNTED, _named(spans))
    ends = read(session, ENDS, _ends(spans))
    inward, outward = (read(session, MOVED, _moved(spans, side)) for side in ("to", "from"))
    rows = counted.merge(_at(ends, "first_day", "opening"), on=[*KEY, "first_day"], how="left")
    rows = rows.merge(_at(ends, "last_day", "closing"), on=[*KEY, "last_day"], how="left")
    rows = rows.merge(inward.rename(columns={"pieces": "received"}).drop(columns="lost"), on=KEY, how="left")
    rows = rows.merge(outward.rename(columns={"pieces": "issued"}), on=KEY, how="left", suffixes=("_in", "_out"))
    moves = ["received", "issued", "lost"]
    known = rows["rows_in"].notna() | rows["rows_out"].notna()
    for name in moves:  # one by one: a column beside a frame is set against its column names, and that of all places
        rows[name] = rows[name].where(rows[name].notna() | ~known, 0.0)
    again = rows["last_day"] > rows["first_day"]
    rows["closing"] = rows["closing"].where(again)
    return rows[["school", "place", "kind", "product", "first_day", "last_day", "opening", *moves, "closing"]]


def _at(ends: pd.DataFrame, day: str, name: str) -> pd.DataFrame:
    return ends.rename(columns={"day": day, "quantity": name})


def _spans(scope: Scope) -> Any:
    """Place and product with the first and the last day of the span."""
    before = case((StockCount.day < scope.first_day, StockCount.day))
    inside = case((StockCount.day >= scope.first_day, StockCount.day))
    return (
        select(
            StockCount.place_id,
            StockCount.product_id,
            func.coalesce(func.max(before), func.min(inside)).label("first_day"),
            func.max(inside).label("last_day"),
        )
        .join(StockPlace, StockPlace.id == StockCount.place_id)
        .where(
            StockPlace.school_id.in_(schools_in(scope)),
            StockPlace.kind.in_(AT_SCHOOL),
            StockCount.day <= scope.last_day,
        )
        .group_by(StockCount.place_id, StockCount.product_id)
        .having(func.max(inside).is_not(None))
        .subquery()
    )


def _named(spans: Any) -> Any:
    names = (School.code, StockPlace.code, words(StockPlace.kind), Product.code)
    return (
        select(spans.c.place_id, spans.c.product_id, *names, spans.c.first_day, spans.c.last_day)
        .join(StockPlace, StockPlace.id == spans.c.place_id)
        .join(School, School.id == StockPlace.school_id)
        .join(Product, Product.id == spans.c.product_id)
        .order_by(School.code, StockPlace.code, Product.code)
    )


def _ends(spans: Any) -> Any:
    row = StockCount
    same = (spans.c.place_id == row.place_id) & (spans.c.product_id == row.product_id)
    query = select(row.place_id, row.product_id, row.day, row.quantity).join(spans, same)
    return query.where((row.day == spans.c.first_day) | (row.day == spans.c.last_day))


def _moved(spans: Any, side: str) -> Any:
    """Moves into ("to") or out of ("from") each place in its span; those to or from a count's difference are none."""
    row, other = StockMove, aliased(StockPlace)
    mine, theirs = (row.to_place_id, row.from_place_id) if side == "to" else (row.from_place_id, row.to_place_id)
    lost = case((other.kind == PlaceKind.LOSS, row.quantity), else_=0)
    pieces = row.quantity - lost if side == "from" else row.quantity
    return (
        select(spans.c.place_id, spans.c.product_id, func.count(row.id), func.sum(pieces), func.sum(lost))
        .join(row, mine == spans.c.place_id)
        .join(Lot, (Lot.id == row.lot_id) & (Lot.product_id == spans.c.product_id))
        .join(other, other.id == theirs)
        .where(
            row.day > spans.c.first_day,
            row.day <= spans.c.last_day,
            other.kind != PlaceKind.DIFFERENCE,
        )
        .group_by(spans.c.place_id, spans.c.product_id)
    )
