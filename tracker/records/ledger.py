"""The ledger: what stands where, and moves that people make. Balances are always the sum of the moves.

A move that a person makes is refused where it would leave less than nothing, with the figures. What a week sheet or a
folder says is written through ``ledger_settle.reported`` instead. Every function takes the session first and never
commits; a session that posts is one of ``db.writing``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple, TypeAlias

from sqlalchemy import Select, SQLColumnExpression, and_, case, func, not_, or_, select
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.ledger import StockBalance
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.supplies import Lot, Product, StockCount, StockMove, StockPlace
from tracker.records import ledger_settle
from tracker.records.ledger_replay import Shelf, first_to_leave
from tracker.records.ledger_settle import check, outside, rebuild, reported, unknown_lot
from tracker.vocabulary import INNER_PLACES, MoveReason, PlaceKind, WorkedOut

__all__ = [
    "BalanceRow",
    "LedgerError",
    "Move",
    "balances",
    "check",
    "outside",
    "place_words",
    "post",
    "rebuild",
    "reported",
    "take",
    "unknown_lot",
]

LotPieces = tuple[int, int]
BalanceQuery: TypeAlias = "Select[int, str, PlaceKind, int | None, int, str, int, str, date | None, int]"


class LedgerError(ValueError):
    """A move that cannot be made; ``field`` is the part of the move that the sentence is about."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Move:
    """A move that a person makes.

    ``ref``: the same ref makes the move once. ``lot_id``: None takes the first expiry first. ``shortfall_note``: with
    it pieces that are not on record come in first from "count difference", with this as the reason.
    """

    ref: str
    from_place_id: int
    to_place_id: int
    product_id: int
    quantity: int
    day: date
    reason: MoveReason
    lot_id: int | None = None
    note: str = ""
    shortfall_note: str = ""


class BalanceRow(NamedTuple):
    """Pieces of a lot at a place. ``expires_on`` None: it does not expire, or nobody knows."""

    place_id: int
    place: str
    kind: PlaceKind
    school_id: int | None
    product_id: int
    product: str
    lot_id: int
    lot: str
    expires_on: date | None
    quantity: int


# --- reading ------------------------------------------------------------------------------------------------------


def balances(
    session: Session, programme_id: int, day: date | None = None, place_ids: Sequence[int] | None = None
) -> list[BalanceRow]:
    """What stands at stores, cupboards, machines and vehicles, by lot; lots of which nothing is left are left out.

    ``day``: at the end of that day, summed from the moves; None: now, from the balances. Order: place, product, expiry.
    """
    amount, query = _now() if day is None else _at(day)
    query = query.where(StockPlace.programme_id == programme_id, StockPlace.kind.in_(INNER_PLACES))
    if place_ids is not None:
        query = query.where(StockPlace.id.in_(place_ids))
    if day is None:
        query = query.where(amount != 0)
    rows = [BalanceRow(*row) for row in session.execute(query)]
    rows = [row._replace(quantity=int(row.quantity)) for row in rows if row.quantity]
    return sorted(rows, key=lambda row: (row.place, row.product, row.expires_on or date.max, row.lot))


def _columns(
    amount: SQLColumnExpression[int],
) -> Select[int, str, PlaceKind, int | None, int, str, int, str, date | None, int]:
    return select(
        StockPlace.id,
        StockPlace.code,
        StockPlace.kind,
        StockPlace.school_id,
        Product.id,
        Product.code,
        Lot.id,
        Lot.code,
        Lot.expires_on,
        amount,
    )


def _now() -> tuple[SQLColumnExpression[int], BalanceQuery]:
    amount = StockBalance.quantity
    query = _columns(amount).join(StockBalance, StockBalance.place_id == StockPlace.id)
    query = query.join(Lot, Lot.id == StockBalance.lot_id).join(Product, Product.id == Lot.product_id)
    return amount, query


def _at(
    day: date,
) -> tuple[SQLColumnExpression[int], BalanceQuery]:
    inward = StockMove.to_place_id == StockPlace.id
    amount = func.sum(case((inward, StockMove.quantity), else_=-StockMove.quantity))
    query = _columns(amount).join(StockMove, or_(inward, StockMove.from_place_id == StockPlace.id))
    query = query.join(Lot, Lot.id == StockMove.lot_id).join(Product, Product.id == Lot.product_id)
    query = query.where(StockMove.day <= day)
    return amount, query.group_by(StockPlace.id, Product.id, Lot.id)


def take(session: Session, place_id: int, product_id: int, quantity: int, day: date) -> list[LotPieces]:
    """Lots and pieces for a quantity that is to leave a place: first expiry first, nothing that has expired by then.

    Fewer pieces than asked where the place has no more; nothing is moved.
    """
    return _allot(_lots(session, place_id, product_id), quantity, day, expired_too=False)


def _lots(session: Session, place_id: int, product_id: int) -> dict[int, tuple[int, date | None]]:
    query = (
        select(Lot.id, StockBalance.quantity, Lot.expires_on)
        .join(StockBalance, StockBalance.lot_id == Lot.id)
        .where(StockBalance.place_id == place_id, Lot.product_id == product_id, StockBalance.quantity > 0)
    )
    return {lot: (pieces, until) for lot, pieces, until in session.execute(query)}


def _allot(lots: dict[int, tuple[int, date | None]], quantity: int, day: date, *, expired_too: bool) -> list[LotPieces]:
    shelf = Shelf(0, {lot: until for lot, (_, until) in lots.items()}, machine=False)
    taken, rest = [], quantity
    for lot in first_to_leave(list(lots), shelf, day):
        pieces, until = lots[lot]
        if until is not None and until < day and not expired_too:
            continue
        if rest and pieces:
            taken.append((lot, min(rest, pieces)))
            rest -= taken[-1][1]
    return taken


def place_words(session: Session, place: StockPlace) -> str:
    """A place as a sentence names it.

    "The cupboard of Hill School", "Machine 1 of Hill School", "Central store".
    """
    if place.school_id is None:
        return place.name
    school = session.get_one(School, place.school_id).name
    return f"The cupboard of {school}" if place.kind is PlaceKind.CUPBOARD else f"{place.name} of {school}"


# --- posting ------------------------------------------------------------------------------------------------------


def post(session: Session, move: Move) -> list[StockMove]:
    """Make a move, split by lots where the lot is not named; a ref that was posted before gives the same rows again.

    Raises:
        LedgerError: the place has fewer pieces (with the figures), on that day or later; a ref was used for another
            move; the two places are one, or of another programme; the quantity is not above zero.
    """
    start, end = (session.get(StockPlace, one) for one in (move.from_place_id, move.to_place_id))
    product = session.get(Product, move.product_id)
    if start is None or end is None or product is None or start.programme_id != end.programme_id:
        raise LedgerError("to_place", "This place is not on record. Choose another one.")
    _check(move, start, end, product)
    places = ledger_settle.lock(session, {start.id, end.id})
    before = _posted(session, start.programme_id, move)
    if before:
        return before
    later = _later(session, list(places), move)
    if not later:
        return _write(session, move, start, product)
    with session.begin_nested():  # a refusal takes back what was written to find out
        return _write_before(session, move, start, product, places)


def _check(move: Move, start: StockPlace, end: StockPlace, product: Product) -> None:
    if start.id == end.id:
        raise LedgerError("to_place", "Both places are the same. Choose where the pieces went.")
    if move.quantity <= 0:
        raise LedgerError("quantity", "Write how many pieces moved, at least 1.")
    if product.programme_id != start.programme_id:
        raise LedgerError("product", "This product is not on record. Choose another one.")


def _posted(session: Session, programme_id: int, move: Move) -> list[StockMove]:
    """The rows of a ref that was posted before."""
    same = or_(StockMove.ref == move.ref, StockMove.ref.startswith(f"{move.ref}/", autoescape=True))
    query = select(StockMove).where(StockMove.programme_id == programme_id, same).order_by(StockMove.id)
    rows = [row for row in session.scalars(query) if row.ref != f"{move.ref}/d"]
    if not rows:
        return []
    product = session.get_one(Lot, rows[0].lot_id).product_id
    known = (rows[0].from_place_id, rows[0].to_place_id, product, sum(row.quantity for row in rows), rows[0].day)
    if known != (move.from_place_id, move.to_place_id, move.product_id, move.quantity, move.day):
        raise LedgerError("ref", "This form was already sent with other figures. Open it again and look at the place.")
    return rows


def _later(session: Session, place_ids: list[int], move: Move) -> bool:
    """Whether anything of the product was counted, moved later, or worked out for the day at the move's places.

    Then the days must be replayed; otherwise what counts is what is there now.
    """
    counted = select(StockCount.id).where(
        StockCount.place_id.in_(place_ids), StockCount.product_id == move.product_id, StockCount.day >= move.day
    )
    if session.scalar(counted.limit(1)) is not None:
        return True
    for side in (StockMove.from_place_id, StockMove.to_place_id):
        moved = select(StockMove.id).join(Lot, Lot.id == StockMove.lot_id)
        after = or_(StockMove.day > move.day, and_(StockMove.day == move.day, StockMove.worked_out.is_not(None)))
        moved = moved.where(side.in_(place_ids), Lot.product_id == move.product_id, after)
        if session.scalar(moved.limit(1)) is not None:
            return True
    return False


def _write(session: Session, move: Move, start: StockPlace, product: Product) -> list[StockMove]:
    """Write a move after which nothing else happened: what counts is what is there now."""
    if start.kind not in INNER_PLACES:
        return _rows(session, move, start, [(move.lot_id or unknown_lot(session, product.id), move.quantity)])
    held = _lots(session, start.id, product.id)
    if move.lot_id is not None:
        held = {lot: pieces for lot, pieces in held.items() if lot == move.lot_id}
    lots = _allot(held, move.quantity, move.day, expired_too=True)
    short = move.quantity - sum(pieces for _, pieces in lots)
    if short and not move.shortfall_note:
        raise _too_few(session, move, start, product, move.quantity - short)
    if short:
        lots = _with_difference(session, move, start, lots, short)
    return _rows(session, move, start, lots)


def _with_difference(
    session: Session, move: Move, start: StockPlace, lots: list[LotPieces], short: int
) -> list[LotPieces]:
    """Bring in first, from "count difference", what is not on record, with the reason that was given."""
    lot = move.lot_id or unknown_lot(session, move.product_id)
    difference = session.get_one(StockPlace, outside(session, start.programme_id, PlaceKind.DIFFERENCE))
    found = Move(
        ref=f"{move.ref}/d",
        from_place_id=difference.id,
        to_place_id=start.id,
        product_id=move.product_id,
        quantity=short,
        day=move.day,
        reason=MoveReason.COUNT_DIFFERENCE,
        note=move.shortfall_note,
    )
    _insert(session, found, start, found.ref, (lot, short))
    session.flush()  # the balance must hold it before it leaves
    merged = dict(lots)
    merged[lot] = merged.get(lot, 0) + short
    return list(merged.items())


def _rows(session: Session, move: Move, start: StockPlace, lots: list[LotPieces]) -> list[StockMove]:
    rows = []
    for number, lot in enumerate(lots, start=1):
        ref = move.ref if number == 1 else f"{move.ref}/{number}"
        rows.append(_insert(session, move, start, ref, lot))
    session.flush()  # whoever posts next in this transaction must meet the new balance
    return rows


def _insert(session: Session, move: Move, start: StockPlace, ref: str, lot: LotPieces) -> StockMove:
    first_weekday = session.get_one(Programme, start.programme_id).first_weekday
    row = StockMove(
        programme_id=start.programme_id,
        ref=ref,
        from_place_id=move.from_place_id,
        to_place_id=move.to_place_id,
        lot_id=lot[0],
        quantity=lot[1],
        day=move.day,
        week=week_of(move.day, first_weekday),
        reason=move.reason,
        note=move.note,
    )
    session.add(row)
    return row


def _write_before(
    session: Session, move: Move, start: StockPlace, product: Product, places: dict[int, StockPlace]
) -> list[StockMove]:
    """Write a move before things that are on record already, and refuse it where they would not add up any more."""
    short_before = _shortfalls(session, start, product)
    with reported(session, start.programme_id, places, product.id):
        lots = [(move.lot_id or unknown_lot(session, product.id), move.quantity)]
        if start.kind in INNER_PLACES:
            held = _lots_then(session, start, product, move.day)
            there = _allot(
                {lot: pieces for lot, pieces in held.items() if move.lot_id in (None, lot)},
                move.quantity,
                move.day,
                expired_too=True,
            )
            short = move.quantity - sum(pieces for _, pieces in there)
            if short and not move.shortfall_note:
                raise _too_few(session, move, start, product, move.quantity - short)
            lots = _with_difference(session, move, start, there, short) if short else there
        rows = _rows(session, move, start, lots)
    more = _shortfalls(session, start, product) - short_before
    if more > 0 and not move.shortfall_note:
        raise _too_few(session, move, start, product, max(move.quantity - more, 0), later=True)
    return rows


def _lots_then(session: Session, place: StockPlace, product: Product, day: date) -> dict[int, tuple[int, date | None]]:
    """Lots at the end of a day, before that day's count was settled."""
    inward = StockMove.to_place_id == place.id
    pieces = func.sum(case((inward, StockMove.quantity), else_=-StockMove.quantity))
    settled = and_(
        StockMove.day == day,
        StockMove.worked_out.in_((WorkedOut.COUNT, WorkedOut.OPENING, WorkedOut.GIVEN_OUT)),
        StockMove.worked_out.is_not(None),
    )
    query = (
        select(Lot.id, pieces, Lot.expires_on)
        .join(StockMove, StockMove.lot_id == Lot.id)
        .where(or_(inward, StockMove.from_place_id == place.id), Lot.product_id == product.id)
        .where(StockMove.day <= day, or_(StockMove.worked_out.is_(None), not_(settled)))
        .group_by(Lot.id, Lot.expires_on)
    )
    return {lot: (int(held), until) for lot, held, until in session.execute(query) if held > 0}


def _shortfalls(session: Session, place: StockPlace, product: Product) -> int:
    query = select(func.coalesce(func.sum(StockMove.quantity), 0)).join(Lot, Lot.id == StockMove.lot_id)
    query = query.where(StockMove.to_place_id == place.id, Lot.product_id == product.id)
    return int(session.scalar(query.where(StockMove.worked_out == WorkedOut.SHORTFALL)) or 0)


def _too_few(
    session: Session, move: Move, start: StockPlace, product: Product, held: int, *, later: bool = False
) -> LedgerError:
    lot = session.get_one(Lot, move.lot_id).code if move.lot_id is not None else ""
    of_lot = f" of lot {lot}" if lot else ""
    place = place_words(session, start)
    if later:
        there = f"With what left {place} later, {held} pieces of {product.name}{of_lot} could leave it on that day"
    else:
        there = f"{place} has {held} pieces of {product.name}{of_lot}"
    ask = "Count the place first, or record the difference with a reason."
    return LedgerError("quantity", f"{there[0].upper()}{there[1:]}; {move.quantity} cannot leave it. {ask}")
