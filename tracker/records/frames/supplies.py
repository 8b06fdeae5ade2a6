"""Menstrual supplies: machines' weeks, cupboards, what is on hand, and how it is given."""

from __future__ import annotations

from typing import Any

import pandas as pd
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from tracker.models.school import School, SchoolDay
from tracker.models.supplies import GivenHow, Lot, MachineDay, Product, StockCount, StockMove, StockPlace
from tracker.models.units import Unit
from tracker.records.asked import AnyQuery
from tracker.records.frames.base import DAY, Scope, day_in, read, schools_in, week_in, words
from tracker.vocabulary import MoveReason, PlaceKind

MACHINE_WEEKS = {
    "unit_id": "int64",
    "school_id": "int64",
    "school": "str",
    "week": DAY,
    "product": "str",
    "left": "float64",
    "refilled": "float64",
    "sold_out_days": "float64",
    "school_days": "float64",
    "asked_days": "float64",
}
MACHINES = {"unit_id": "int64", "school_id": "int64", "school": "str", "from_day": DAY, "until_day": DAY}
COUNTS = {"unit_id": "int64", "product": "str", "week": DAY, "day": DAY, "left": "float64"}
MOVES = {"unit_id": "int64", "product": "str", "week": DAY, "pieces": "float64", "put_in": "float64"}
ASKED = {"unit_id": "int64", "week": DAY, "asked_days": "float64", "sold_out_days": "float64"}
CUPBOARDS = {"school_id": "int64", "product": "str", "day": DAY, "left": "float64"}
ON_HAND = {
    "place_id": "int64",
    "school_id": "int64",
    "kind": "str",
    "product": "str",
    "pack_size": "int64",
    "day": DAY,
    "counted": "float64",
}
NET = {"place_id": "int64", "product": "str", "pieces": "float64"}
HANDED_OUT = {"school_id": "int64", "school": "str", "week": DAY, "pieces": "float64"}
GIVEN_HOW = {"school_id": "int64", "unit_id": "float64", "way": "str", "price_minor": "int64", "from_day": DAY}
PUT_IN = (MoveReason.REFILL, MoveReason.DELIVERY)
NOT_STOCKED = (MoveReason.GIVEN_OUT, MoveReason.COUNT_DIFFERENCE)
KEY = ["unit_id", "product", "week"]


def machine_weeks(session: Session, scope: Scope, occasions: pd.DataFrame) -> pd.DataFrame:
    """Frame ``machine_weeks``: every machine, week and product, in four queries.

    A machine has a row for every week of ``occasions`` in which it stood, so that a week nobody wrote down lowers
    completeness. left: the week's last count. refilled: pieces put in, less what was taken back or lost; a refill
    of 0 is a row of the ledger, and a week without such a row is NaN, also where something was lost.
    sold_out_days and asked_days: school days with an answer.
    """
    machines = _machines(session, scope)
    counts = _counts(session, scope).drop_duplicates(KEY, keep="last")
    moves = _moves(session, scope)
    known = pd.concat([counts[KEY[:2]], moves[KEY[:2]]]).drop_duplicates()
    grid = machines.merge(occasions[["school_id", "week", "school_days"]], on="school_id")
    end = grid["week"] + pd.Timedelta(days=6)
    stood = (grid["from_day"] <= end) & (grid["until_day"].isna() | (grid["until_day"] >= grid["week"]))
    grid = grid[stood].merge(known, on="unit_id", how="left")
    grid["product"] = grid["product"].fillna("")
    rows = grid.merge(counts[[*KEY, "left"]], on=KEY, how="left").merge(moves, on=KEY, how="left")
    rows = rows.merge(_asked(session, scope), on=["unit_id", "week"], how="left")
    rows["refilled"] = rows["pieces"].where(rows["put_in"] > 0)
    return rows[list(MACHINE_WEEKS)].astype(MACHINE_WEEKS).sort_values(KEY, ignore_index=True)


def _machines(session: Session, scope: Scope) -> pd.DataFrame:
    query = select(Unit.id, Unit.school_id, School.code, Unit.from_day, Unit.until_day)
    query = query.join(StockPlace, StockPlace.unit_id == Unit.id).join(School, School.id == Unit.school_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), StockPlace.kind == PlaceKind.MACHINE)
    return read(session, MACHINES, query.order_by(Unit.id))


def _at_machines(query: AnyQuery, place_id: Any, scope: Scope) -> AnyQuery:
    query = query.join(StockPlace, StockPlace.id == place_id)
    return query.where(StockPlace.school_id.in_(schools_in(scope)), StockPlace.kind == PlaceKind.MACHINE)


def _counts(session: Session, scope: Scope) -> pd.DataFrame:
    row = StockCount
    query = select(StockPlace.unit_id, Product.code, row.week, row.day, row.quantity)
    query = _at_machines(query.join(Product, Product.id == row.product_id), row.place_id, scope)
    query = query.where(Product.menstrual, week_in(row.week, scope))
    return read(session, COUNTS, query.order_by(StockPlace.unit_id, Product.code, row.day))


def _moves(session: Session, scope: Scope) -> pd.DataFrame:
    """Pieces in less pieces out of each machine, product and week, without what was given out or counted off; and
    how often something, or by name nothing, was put in."""
    row, inward = StockMove, StockMove.to_place_id == StockPlace.id
    pieces = func.sum(case((inward, row.quantity), else_=-row.quantity))
    put_in = func.sum(case((inward & row.reason.in_(PUT_IN), 1), else_=0))
    query = (
        select(StockPlace.unit_id, Product.code, row.week, pieces, put_in)
        .select_from(row)
        .join(StockPlace, inward | (row.from_place_id == StockPlace.id))
        .join(Lot, Lot.id == row.lot_id)
        .join(Product, Product.id == Lot.product_id)
        .where(
            StockPlace.school_id.in_(schools_in(scope)),
            StockPlace.kind == PlaceKind.MACHINE,
            Product.menstrual,
            row.reason.not_in(NOT_STOCKED),
            week_in(row.week, scope),
        )
        .group_by(StockPlace.unit_id, Product.code, row.week)
    )
    return read(session, MOVES, query)


def _asked(session: Session, scope: Scope) -> pd.DataFrame:
    """Per machine and week the school days on which "ran out?" was answered, and those with a yes."""
    answers = (
        select(
            MachineDay.unit_id,
            Unit.school_id,
            MachineDay.day,
            func.max(case((MachineDay.ran_out, 1), else_=0)).label("out"),
        )
        .join(Unit, Unit.id == MachineDay.unit_id)
        .where(Unit.school_id.in_(schools_in(scope)), day_in(MachineDay.day, scope))
        .group_by(MachineDay.unit_id, Unit.school_id, MachineDay.day)
        .subquery()
    )
    # Two shifts have two rows of one school day: count days, not rows.
    asked = func.count(answers.c.day.distinct())
    sold_out = func.count(case((answers.c.out == 1, answers.c.day)).distinct())
    query = (
        select(answers.c.unit_id, SchoolDay.week, asked, sold_out)
        .join(SchoolDay, (SchoolDay.school_id == answers.c.school_id) & (SchoolDay.day == answers.c.day))
        .group_by(answers.c.unit_id, SchoolDay.week)
    )
    return read(session, ASKED, query)


def cupboards(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``cupboards``: counts of menstrual supplies in school cupboards."""
    row = StockCount
    query = select(StockPlace.school_id, Product.code, row.day, row.quantity)
    query = query.join(StockPlace, StockPlace.id == row.place_id).join(Product, Product.id == row.product_id)
    query = query.where(
        StockPlace.school_id.in_(schools_in(scope)),
        StockPlace.kind == PlaceKind.CUPBOARD,
        Product.menstrual,
        day_in(row.day, scope),
    )
    return read(session, CUPBOARDS, query.order_by(StockPlace.school_id, Product.code, row.day))


def on_hand(session: Session, scope: Scope) -> pd.DataFrame:
    """Menstrual supplies in machines and cupboards on the scope's last day, in two queries.

    The last count of each place and product, with what moved in and out on the days after it (a count is made at
    the end of its day). A place that was never counted has no row, and so no stock on record.
    Columns: place_id, school_id, kind, product, pack_size, day (of the count), counted, on_hand (pieces).
    """
    latest = _latest_counts(scope)
    query = (
        select(
            StockPlace.id,
            StockPlace.school_id,
            words(StockPlace.kind),
            Product.code,
            Product.pack_size,
            StockCount.day,
            StockCount.quantity,
        )
        .join(
            latest,
            (latest.c.place_id == StockCount.place_id)
            & (latest.c.product_id == StockCount.product_id)
            & (latest.c.day == StockCount.day),
        )
        .join(StockPlace, StockPlace.id == StockCount.place_id)
        .join(Product, Product.id == StockCount.product_id)
        .order_by(StockPlace.school_id, StockPlace.id, Product.code)
    )
    counted = read(session, ON_HAND, query)
    moved = _moved_since(session, scope, latest)
    rows = counted.merge(moved, on=["place_id", "product"], how="left")
    return counted.assign(on_hand=rows["counted"] + rows["pieces"].fillna(0.0))


def _latest_counts(scope: Scope) -> Any:
    return (
        select(StockCount.place_id, StockCount.product_id, func.max(StockCount.day).label("day"))
        .join(StockPlace, StockPlace.id == StockCount.place_id)
        .join(Product, Product.id == StockCount.product_id)
        .where(
            StockPlace.school_id.in_(schools_in(scope)),
            StockPlace.kind.in_([PlaceKind.MACHINE, PlaceKind.CUPBOARD]),
            Product.menstrual,
            StockCount.day <= scope.last_day,
        )
        .group_by(StockCount.place_id, StockCount.product_id)
        .subquery()
    )


def _moved_since(session: Session, scope: Scope, latest: Any) -> pd.DataFrame:
    row = StockMove
    inward, outward = row.to_place_id == latest.c.place_id, row.from_place_id == latest.c.place_id
    pieces = func.sum(case((inward, row.quantity), else_=-row.quantity))
    query = (
        select(latest.c.place_id, Product.code, pieces)
        .select_from(row)
        .join(Lot, Lot.id == row.lot_id)
        .join(latest, (inward | outward) & (latest.c.product_id == Lot.product_id))
        .join(Product, Product.id == Lot.product_id)
        .where(row.day > latest.c.day, row.day <= scope.last_day)
        .group_by(latest.c.place_id, Product.code)
    )
    return read(session, NET, query)


def given_how(session: Session, scope: Scope) -> pd.DataFrame:
    """How napkins were given from each place by the scope's last day: school_id, unit_id (NaN: cupboard), way,
    price_minor, from_day; the latest row of a place comes last."""
    query = select(
        StockPlace.school_id, StockPlace.unit_id, words(GivenHow.way), GivenHow.price_minor, GivenHow.from_day
    ).join(StockPlace, StockPlace.id == GivenHow.place_id)
    query = query.where(StockPlace.school_id.in_(schools_in(scope)), GivenHow.from_day <= scope.last_day)
    return read(session, GIVEN_HOW, query.order_by(StockPlace.id, GivenHow.from_day))


def handed_out(session: Session, scope: Scope) -> pd.DataFrame:
    """Menstrual supplies given out by hand from school cupboards, summed by school and week: columns school_id,
    school, week, pieces. A week without a row was not written down."""
    row = StockMove
    query = (
        select(StockPlace.school_id, School.code, row.week, func.sum(row.quantity))
        .select_from(row)
        .join(StockPlace, StockPlace.id == row.from_place_id)
        .join(School, School.id == StockPlace.school_id)
        .join(Lot, Lot.id == row.lot_id)
        .join(Product, Product.id == Lot.product_id)
        .where(
            StockPlace.school_id.in_(schools_in(scope)),
            StockPlace.kind == PlaceKind.CUPBOARD,
            Product.menstrual,
            row.reason == MoveReason.GIVEN_OUT,
            day_in(row.day, scope),
        )
        .group_by(StockPlace.school_id, School.code, row.week)
        .order_by(School.code, row.week)
    )
    return read(session, HANDED_OUT, query)
