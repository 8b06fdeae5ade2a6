"""The end of a round: vehicles are unloaded and counted, and every piece is accounted for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.rounds import Round, RoundDay, RoundReturn, RoundStop
from tracker.models.school import School
from tracker.models.supplies import Vehicle
from tracker.records import ledger
from tracker.records.ledger import Move
from tracker.records.rounds import RoundError, days_of, lines_of, stops_of
from tracker.records.rounds_drive import check_out
from tracker.records.rounds_ledger import BACK, MISSING, OnBoard, aboard, lock_day, post, ref_of, vehicle_place, words
from tracker.vocabulary import HandWhy, MoveReason, PlaceKind, RoundState, StopState

GONE = {HandWhy.DAMAGED: MoveReason.DAMAGE, HandWhy.LOST: MoveReason.LOSS}
BACK_WHYS = (HandWhy.DAMAGED, HandWhy.LOST, HandWhy.MISCOUNT, HandWhy.OTHER)
DID_NOT_SET_OUT = "The vehicle did not set out."


@dataclass(frozen=True, slots=True)
class Counted:
    """What was counted off a vehicle: pieces and the reason of a difference by product_id, when, on which day."""

    pieces: Mapping[int, int]
    whys: Mapping[int, HandWhy | None]
    at: datetime
    day: date


# --- back and closed ----------------------------------------------------------------------------------------------


def bring_back(session: Session, made: Round, day: RoundDay, said: Counted) -> None:
    """Unload a vehicle: what was counted goes to the store, what differs to a difference with its name.

    Raises:
        RoundError: it is not out; stops are neither done nor not reached; a product without a count, or with one that
            differs from what should be there and no reason (with the figures). ``field`` is "p-…" of the product.
    """
    lock_day(session, day)
    if day.back_at is not None:
        return
    check_out(day)
    waiting = _to_do(session, made, day)
    if waiting:
        raise RoundError("round", f"Nothing is recorded yet for {', '.join(waiting)}. Record these stops first.")
    rows = aboard(session, day)
    for row in rows:
        _check_counted(row, said.pieces.get(row.product.id), said.whys.get(row.product.id))
    for row in rows:
        counted = said.pieces[row.product.id]
        why = said.whys.get(row.product.id) if counted != row.should_be else None
        kept = RoundReturn(round_day_id=day.id, product_id=row.product.id, loaded=row.loaded, handed=row.handed)
        kept.returned, kept.why = counted, why
        session.add(kept)
        _unload(session, made, day, row, said)
    day.back_at = said.at
    session.flush()


def _to_do(session: Session, made: Round, day: RoundDay) -> list[str]:
    query = (
        select(School.name)
        .join(RoundStop, RoundStop.school_id == School.id)
        .where(RoundStop.round_id == made.id, RoundStop.round_day_id == day.id, RoundStop.state == StopState.TO_DO)
    )
    return list(session.scalars(query.order_by(RoundStop.place_no)))


def _check_counted(row: OnBoard, counted: int | None, why: HandWhy | None) -> None:
    product, field = row.product, f"p-{row.product.id}"
    if counted is None or counted < 0:
        raise RoundError(field, f"Count what came back of {product.name}; write 0 where nothing did.")
    if counted != row.should_be and why is None:
        raise RoundError(
            f"why-{product.id}",
            f"{product.name}: {row.loaded} {words(product)} loaded, {row.handed} handed over, so {row.should_be} "
            f"should have come back; {counted} did. Count again, or choose why.",
        )


def _unload(session: Session, made: Round, day: RoundDay, row: OnBoard, said: Counted) -> None:
    vehicle = vehicle_place(session, session.get_one(Vehicle, day.vehicle_id))
    product, counted = row.product.id, said.pieces[row.product.id]
    missing, why = row.should_be - counted, said.whys.get(product)
    if missing:
        gone = why in GONE and missing > 0
        other = ledger.outside(session, made.programme_id, PlaceKind.LOSS if gone else PlaceKind.DIFFERENCE)
        start, end = (vehicle.id, other) if missing > 0 else (other, vehicle.id)
        reason = GONE[why] if gone and why is not None else MoveReason.COUNT_DIFFERENCE
        ref, note = ref_of(session, day, MISSING, product) + "-0", str(why.value if why else "")
        post(session, Move(ref, start, end, product, abs(missing), said.day, reason, note=note))
    if counted:
        ref = ref_of(session, day, BACK, product) + "-0"
        post(session, Move(ref, vehicle.id, made.store_id, product, counted, said.day, MoveReason.TRANSFER))


def _account(row: OnBoard) -> str:
    return (
        f"{row.loaded} {words(row.product)} of {row.product.name} loaded, {row.handed} handed over, {row.returned} "
        f"returned, {row.missing} named as a difference; {row.should_be} are not accounted for."
    )


def close(session: Session, made: Round, at: datetime) -> None:
    """Close a round whose vehicles are all back; stops of one that never set out were not reached.

    Raises:
        RoundError: a vehicle is still out, or the moves of one do not add up to zero (with the figures).
    """
    if made.state is RoundState.CLOSED:
        return
    for day in days_of(session, made):
        name = f"{session.get_one(Vehicle, day.vehicle_id).name} of {day.day:%d %B}"
        if day.set_out_at is not None and day.back_at is None:
            raise RoundError("round", f"{name} is still out. Say first what came back with it.")
        for row in aboard(session, day):
            if row.should_be:
                raise RoundError("round", f"{name}: {_account(row)}")
    out = {day.id for day in days_of(session, made) if day.set_out_at is None}
    for stop in stops_of(session, made):
        if stop.round_day_id in out and stop.state is StopState.TO_DO:
            stop.state, stop.reason, stop.at = StopState.NOT_REACHED, DID_NOT_SET_OUT, at
    made.state, made.closed_at = RoundState.CLOSED, at
    session.flush()


def cancel(session: Session, made: Round) -> None:
    """Take back a round that nobody has begun; the audit trail keeps what it was.

    Raises:
        RoundError: it is under way or closed.
    """
    if made.state is not RoundState.PLANNED:
        raise RoundError("round", "This round is under way. It ends by being closed.")
    stops = stops_of(session, made)
    for rows in lines_of(session, [stop.id for stop in stops]).values():
        for line, _ in rows:
            session.delete(line)
    session.flush()
    for stop in stops:
        session.delete(stop)
    session.flush()
    for day in days_of(session, made):
        session.delete(day)
    session.flush()
    session.delete(made)
    session.flush()
