"""A round under way: a vehicle is loaded by lot, and what is handed over at each stop is recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.rounds import Round, RoundDay, RoundStop
from tracker.models.school import School
from tracker.models.supplies import Lot, Product, StockMove, StockPlace, Vehicle
from tracker.records import ledger
from tracker.records.ledger import Move
from tracker.records.rounds import RoundError, lines_of, stops_of
from tracker.records.rounds_ledger import (
    HAND,
    LOAD,
    OnBoard,
    aboard,
    lock_day,
    moves_of,
    post,
    ref_of,
    school_place,
    vehicle_place,
    words,
)
from tracker.vocabulary import HandWhy, MoveReason, RoundState, StopState


@dataclass(frozen=True, slots=True)
class Handed:
    """What is said of a stop: pieces and reason by product_id, who received it, when, on which day, who says so."""

    pieces: Mapping[int, int]
    whys: Mapping[int, HandWhy | None]
    received_by: str
    at: datetime
    day: date
    person_id: int


# --- loading ------------------------------------------------------------------------------------------------------


def set_out(session: Session, made: Round, day: RoundDay, at: datetime, today: date) -> None:
    """Load a vehicle, first expiry first, and let it go; once, however often it is asked.

    A lot that expires before the next round stays in the store, as in the plan.

    Raises:
        RoundError: the round is closed, nothing is to be brought, the vehicle is still out, or the store has too few
            pieces that keep until the next round (with the figures).
    """
    lock_day(session, day)
    if day.set_out_at is not None:
        return
    if made.state is RoundState.CLOSED:
        raise RoundError("round", "This round is closed.")
    stops = [stop for stop in stops_of(session, made) if stop.round_day_id == day.id]
    wanted = _wanted(session, stops)
    if not wanted:
        raise RoundError("round", "No stop of this vehicle asks for anything. Put schools on it first.")
    vehicle = session.get_one(Vehicle, day.vehicle_id, with_for_update=True)
    _check_free(session, vehicle)
    place = vehicle_place(session, vehicle)
    store = session.get_one(StockPlace, made.store_id)
    for product, pieces in wanted:
        lots = ledger.take(session, store.id, product.id, pieces, max(today, made.next_day))
        there = sum(number for _, number in lots)
        if there < pieces:
            raise RoundError(
                "round",
                f"{store.name} has {there} {words(product)} of {product.name} that keep until the next round; this "
                f"vehicle needs {pieces}. Take schools out of the round, or count the store.",
            )
        for lot_id, number in lots:
            ref = ref_of(session, day, LOAD, product.id, lot_id)
            post(session, Move(ref, store.id, place.id, product.id, number, today, MoveReason.TRANSFER, lot_id))
    day.set_out_at, made.state = at, RoundState.UNDER_WAY
    session.flush()


def _wanted(session: Session, stops: Sequence[RoundStop]) -> list[tuple[Product, int]]:
    """Products and pieces planned for stops, by product name."""
    totals: dict[int, tuple[Product, int]] = {}
    for rows in lines_of(session, [stop.id for stop in stops]).values():
        for line, product in rows:
            totals[product.id] = product, totals.get(product.id, (product, 0))[1] + line.planned
    return sorted((row for row in totals.values() if row[1]), key=lambda row: row[0].name)


def _check_free(session: Session, vehicle: Vehicle) -> None:
    out = select(RoundDay).where(
        RoundDay.vehicle_id == vehicle.id, RoundDay.set_out_at.is_not(None), RoundDay.back_at.is_(None)
    )
    other = session.scalar(out.limit(1))
    if other is not None:
        code = session.get_one(Round, other.round_id).code
        raise RoundError("round", f"{vehicle.name} is still out with round {code}. Say first what came back with it.")


# --- at a stop ----------------------------------------------------------------------------------------------------


def hand_over(session: Session, day: RoundDay, stop: RoundStop, said: Handed) -> None:
    """Record what was really handed over at a stop; said again, the last word counts, and nothing is moved twice.

    Raises:
        RoundError: the vehicle has not set out or is back; a product without a number, with one below 0, with another
            than planned and no reason, or with more than is on the vehicle (with the figures); nobody named who
            received it; the school has no cupboard or machine on record. ``field`` is "p-…" of the product.
    """
    lock_day(session, day)
    check_out(day)
    lines = lines_of(session, [stop.id]).get(stop.id, [])
    for line, product in lines:
        pieces = said.pieces.get(product.id)
        if pieces is None or pieces < 0:
            raise RoundError(f"p-{product.id}", "Write how many were handed over; 0 where nothing was.")
        if pieces != line.planned and said.whys.get(product.id) is None:
            raise RoundError(f"why-{product.id}", f"{line.planned} were planned. Choose why it was {pieces}.")
    if not said.received_by:
        raise RoundError("received_by", "Write who received it: a name, or the office, for example the head teacher.")
    place = school_place(session, stop.school_id)
    if place is None and any(said.pieces.values()):
        name = session.get_one(School, stop.school_id).name
        raise RoundError("received_by", f"{name} has no cupboard or machine on record. Add one in its set-up first.")
    if place is not None:
        _move_to_school(session, day, stop, said, place)
    with session.no_autoflush:  # figure and reason hold together only when both are written
        for line, product in lines:
            line.handed = said.pieces[product.id]
            line.why = said.whys.get(product.id) if line.handed != line.planned else None
    stop.state, stop.reason, stop.received_by = StopState.DONE, "", said.received_by
    stop.at, stop.person_id = said.at, said.person_id
    session.flush()


def check_out(day: RoundDay) -> None:
    """Refuse what is said of a vehicle that is not out.

    Raises:
        RoundError: it has not set out, or it is back.
    """
    if day.set_out_at is None:
        raise RoundError("round", "This vehicle has not set out yet. The officer sets it under way.")
    if day.back_at is not None:
        raise RoundError("round", "This vehicle is back and was counted. What was handed over stays as it is.")


def _move_to_school(session: Session, day: RoundDay, stop: RoundStop, said: Handed, place: StockPlace) -> None:
    """Set the moves of a stop to what was said; those that say it already stay."""
    vehicle = vehicle_place(session, session.get_one(Vehicle, day.vehicle_id))
    before = _handed(session, day, stop)
    changed = [product for product, pieces in said.pieces.items() if before.get(product, 0) != pieces]
    if not changed:
        return
    on_board = {row.product.id: row for row in aboard(session, day)}
    for product in changed:
        row = on_board.get(product)
        free = (row.should_be if row is not None else 0) + before.get(product, 0)
        if said.pieces[product] > free:
            raise RoundError(f"p-{product}", _too_many(row, free, said.pieces[product]))
    with ledger.reported(session, vehicle.programme_id, {vehicle.id, place.id}):
        for product in changed:
            for move in moves_of(session, day, HAND, stop.id, product):
                session.delete(move)
            session.flush()
            if said.pieces[product]:
                ref = ref_of(session, day, HAND, stop.id, product) + "-0"
                post(
                    session,
                    Move(ref, vehicle.id, place.id, product, said.pieces[product], said.day, MoveReason.DELIVERY),
                )


def _too_many(row: OnBoard | None, free: int, asked: int) -> str:
    if row is None:
        return f"The vehicle was not loaded with this; {asked} cannot be handed over."
    return (
        f"The vehicle was loaded with {row.loaded} {words(row.product)} of {row.product.name}, and {free} are not "
        f"handed over elsewhere; {asked} cannot be handed over here. Look at the number."
    )


def _handed(session: Session, day: RoundDay, stop: RoundStop) -> dict[int, int]:
    """Pieces that the ledger holds as handed over at a stop, by product_id."""
    start = ref_of(session, day, HAND, stop.id) + "-"
    query = (
        select(Lot.product_id, func.sum(StockMove.quantity))
        .join(Lot, Lot.id == StockMove.lot_id)
        .where(StockMove.ref.startswith(start, autoescape=True))
        .group_by(Lot.product_id)
    )
    return {product: int(pieces) for product, pieces in session.execute(query)}


@dataclass(frozen=True, slots=True)
class Missed:
    """Why nothing could be handed over at a stop, when, and who says so."""

    reason: str
    at: datetime
    person_id: int


def not_reached(session: Session, day: RoundDay, stop: RoundStop, said: Missed) -> None:
    """A stop where nothing could be handed over, and why; what was recorded as handed over is taken back.

    Raises:
        RoundError: no reason, or the vehicle is not out.
    """
    lock_day(session, day)
    check_out(day)
    if not said.reason:
        raise RoundError("reason", "Write why nothing could be handed over, for example: gate locked, nobody there.")
    place = school_place(session, stop.school_id)
    if place is not None and _handed(session, day, stop):
        vehicle = vehicle_place(session, session.get_one(Vehicle, day.vehicle_id))
        with ledger.reported(session, vehicle.programme_id, {vehicle.id, place.id}):
            for move in moves_of(session, day, HAND, stop.id):
                session.delete(move)
            session.flush()
    with session.no_autoflush:
        for line, _ in lines_of(session, [stop.id]).get(stop.id, []):
            line.handed, line.why = None, None
    stop.state, stop.reason, stop.received_by = StopState.NOT_REACHED, said.reason, ""
    stop.at, stop.person_id = said.at, said.person_id
    session.flush()
