"""Keeping the ledger whole: what was reported is written inside ``reported``, which settles it before it ends.

Balances are kept by triggers (tracker/migrations/ledger_triggers.py) and guarded by a check. A report of what really
happened (a week sheet, a folder) is never refused for the ledger's sake: ``reported`` locks the places, lets their
balances pass below zero, and settles them by moves that the ledger works out (``ledger_replay``): a shortfall comes
in from "count difference". Whoever writes moves in any other way meets the check at once.

Locks: places in the order of their ids, before anything is written (PostgreSQL); SQLite has one writer at a time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, and_, case, delete, func, insert, or_, select, text, update
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.ledger import StockBalance
from tracker.models.programme import Programme
from tracker.models.supplies import Lot, Product, StockCount, StockMove, StockPlace
from tracker.records import ledger_vends
from tracker.records.ledger_replay import Line, Shelf, StockDay, replay
from tracker.vocabulary import INNER_PLACES, MoveReason, PlaceKind, WorkedOut

UNKNOWN_LOT = "unknown"
OPEN = "ledger_open"
NO_SYNC = {"synchronize_session": False}
OUTSIDE_NAMES = {
    PlaceKind.SUPPLIER: "Supplier",
    PlaceKind.GIVEN_OUT: "Given out",
    PlaceKind.LOSS: "Lost or spoilt",
    PlaceKind.DIFFERENCE: "Count difference",
}
SAID = {
    WorkedOut.SHORTFALL: (MoveReason.COUNT_DIFFERENCE, "More left than was on record."),
    WorkedOut.COUNT: (MoveReason.COUNT_DIFFERENCE, "The count differs from the record."),
    WorkedOut.OPENING: (MoveReason.COUNT_DIFFERENCE, "First count."),
    WorkedOut.GIVEN_OUT: (MoveReason.GIVEN_OUT, "What was put in less what is left."),
    WorkedOut.LOT: (MoveReason.LOT_ASSUMED, "Nobody named the lot: first to expire."),
}
Pair = tuple[int, int]  # place, product


@dataclass(frozen=True, slots=True)
class Unequal:
    """A balance that is not the sum of its moves, or stands below zero."""

    place: str
    product: str
    lot: str
    balance: int
    moves: int


def outside(session: Session, programme_id: int, kind: PlaceKind) -> int:
    """The id of a programme's outside place of a kind; made where the programme has none."""
    query = select(StockPlace.id).where(StockPlace.programme_id == programme_id, StockPlace.kind == kind)
    found = session.scalar(query.order_by(StockPlace.id).limit(1))
    if found is not None:
        return found
    session.scalar(select(Programme.id).where(Programme.id == programme_id).with_for_update(key_share=True))
    found = session.scalar(query.order_by(StockPlace.id).limit(1))
    if found is not None:
        return found
    place = StockPlace(programme_id=programme_id, code=f"={kind.value}", name=OUTSIDE_NAMES[kind], kind=kind)
    session.add(place)
    session.flush()  # its id is needed
    return place.id


def unknown_lot(session: Session, product_id: int) -> int:
    """The id of a product's lot "unknown"; made where the product has none."""
    query = select(Lot.id).where(Lot.product_id == product_id, Lot.code == UNKNOWN_LOT)
    found = session.scalar(query)
    if found is not None:
        return found
    session.scalar(select(Product.id).where(Product.id == product_id).with_for_update(key_share=True))
    found = session.scalar(query)
    if found is not None:
        return found
    lot = Lot(product_id=product_id, code=UNKNOWN_LOT)
    session.add(lot)
    session.flush()  # its id is needed
    return lot.id


def lock(session: Session, place_ids: Collection[int]) -> dict[int, StockPlace]:
    """Inner places among these, locked in the order of their ids, by id.

    The lock lets others name the place in a foreign key, and nobody else lock it.
    """
    query = select(StockPlace).where(StockPlace.id.in_(place_ids), StockPlace.kind.in_(INNER_PLACES))
    rows = session.scalars(query.order_by(StockPlace.id).with_for_update(key_share=True)).all()
    return {place.id: place for place in rows}


def inner_places(session: Session, programme_id: int) -> list[int]:
    """Ids of the places whose balances are kept."""
    query = select(StockPlace.id).where(StockPlace.programme_id == programme_id, StockPlace.kind.in_(INNER_PLACES))
    return list(session.scalars(query.order_by(StockPlace.id)))


@contextmanager
def reported(
    session: Session, programme_id: int, place_ids: Collection[int], product_id: int | None = None
) -> Iterator[None]:
    """What really happened is written inside: never refused for the ledger's sake, settled at the end.

    ``place_ids``: every place that the moves and counts name, old and new; ``product_id``: where all of them are of
    one product. Inside another one nothing is done, so the outer one must name the places. Where an error leaves it,
    the caller rolls back.
    """
    session.flush()
    if session.info.get(OPEN) or not place_ids:
        yield
        return
    places = lock(session, place_ids)
    _let_pass(session, list(places), settling=True)
    session.info[OPEN] = True
    try:
        yield
        session.flush()
        settle(session, programme_id, places, product_id)
    finally:
        session.info.pop(OPEN, None)


def _let_pass(session: Session, place_ids: list[int], *, settling: bool) -> None:
    places = update(StockPlace).where(StockPlace.id.in_(place_ids)).values(settling=settling)
    session.execute(places, execution_options=NO_SYNC)
    if not settling:
        guarded = update(StockBalance).where(StockBalance.place_id.in_(place_ids), ~StockBalance.guarded)
        session.execute(guarded.values(guarded=True), execution_options=NO_SYNC)


def settle(session: Session, programme_id: int, places: Mapping[int, StockPlace], product_id: int | None = None) -> int:
    """Work the ledger's own moves of locked places out anew and write what changed; gives how many rows changed."""
    if not places:
        return 0
    session.flush()
    made = _worked_out(session, places, product_id)
    if made:
        outside(session, programme_id, PlaceKind.DIFFERENCE)
    kept = _on_record(session, places, product_id)
    programme = session.get_one(Programme, programme_id)
    gone = [row_id for key, (row_id, pieces) in kept.items() if made.get(key) != pieces]
    new = {key: pieces for key, pieces in made.items() if key not in kept or kept[key][1] != pieces}
    _let_pass(session, list(places), settling=True)
    if gone:
        session.execute(delete(StockMove).where(StockMove.id.in_(gone)), execution_options=NO_SYNC)
    if new:
        session.execute(insert(StockMove), _rows(session, programme, new))
    _let_pass(session, list(places), settling=False)
    session.expire_all()
    return len(gone) + len(new)


Made = tuple[int, Line]  # place, (day, lot, why)


def _worked_out(session: Session, places: Mapping[int, StockPlace], product_id: int | None) -> dict[Made, int]:
    made: dict[Made, int] = {}
    told = stories(session, places, product_id)
    ledger_vends.add(session, places, told)
    products = {product for _, product in told}
    expires: dict[int, dict[int, date | None]] = defaultdict(dict)
    lots = select(Lot.id, Lot.product_id, Lot.expires_on).where(Lot.product_id.in_(products))
    for lot, product, until in session.execute(lots):
        expires[product][lot] = until
    unknown = {product: unknown_lot(session, product) for product in sorted(products)}
    for (place, product), days in told.items():
        shelf = Shelf(unknown[product], expires[product], places[place].kind is PlaceKind.MACHINE)
        made |= {(place, line): pieces for line, pieces in replay(days, shelf).items()}
    return made


def stories(
    session: Session, places: Mapping[int, StockPlace], product_id: int | None = None
) -> dict[Pair, dict[date, StockDay]]:
    """What was reported of each place and product, by day."""
    found: dict[Pair, dict[date, StockDay]] = defaultdict(lambda: defaultdict(StockDay))
    one_product = Lot.product_id == product_id if product_id is not None else Lot.product_id.is_not(None)
    given = func.sum(case((StockMove.reason == MoveReason.GIVEN_OUT, StockMove.quantity), else_=0))
    differed = func.sum(case((StockMove.reason == MoveReason.COUNT_DIFFERENCE, StockMove.quantity), else_=0))
    for side in (StockMove.to_place_id, StockMove.from_place_id):
        query = (
            select(side, Lot.product_id, StockMove.lot_id, StockMove.day, func.sum(StockMove.quantity), given, differed)
            .join(Lot, Lot.id == StockMove.lot_id)
            .where(side.in_(places), StockMove.worked_out.is_(None), StockMove.quantity > 0, one_product)
            .group_by(side, Lot.product_id, StockMove.lot_id, StockMove.day)
        )
        for place, product, lot, day, pieces, given_out, difference in session.execute(query):
            said = found[place, product][day]
            if side is StockMove.to_place_id:
                said.came[lot] = int(pieces)
                said.found += int(difference)
            else:
                said.left[lot] = int(pieces)
                said.given_out += int(given_out)
                said.missed += int(difference)
    counts = select(StockCount.place_id, StockCount.product_id, StockCount.day, StockCount.quantity)
    counts = counts.where(StockCount.place_id.in_(places))
    if product_id is not None:
        counts = counts.where(StockCount.product_id == product_id)
    for place, product, day, counted in session.execute(counts):
        found[place, product][day].counted = counted
    return found


def _on_record(
    session: Session, places: Mapping[int, StockPlace], product_id: int | None
) -> dict[Made, tuple[int, int]]:
    """The ledger's own moves on record: row and signed pieces."""
    move = StockMove
    side = or_(move.to_place_id.in_(places), move.from_place_id.in_(places))
    query = select(move.id, move.from_place_id, move.to_place_id, move.lot_id, move.day, move.quantity, move.worked_out)
    query = query.where(side, move.worked_out.is_not(None))
    if product_id is not None:
        query = query.where(move.lot_id.in_(select(Lot.id).where(Lot.product_id == product_id)))
    found: dict[Made, tuple[int, int]] = {}
    for row_id, start, end, lot, day, pieces, why in session.execute(query):
        if why is not None:
            place, signed = (end, pieces) if end in places else (start, -pieces)
            found[place, (day, lot, why)] = (row_id, signed)
    return found


def _rows(session: Session, programme: Programme, new: Mapping[Made, int]) -> list[dict[str, Any]]:
    difference = outside(session, programme.id, PlaceKind.DIFFERENCE)
    given_out = outside(session, programme.id, PlaceKind.GIVEN_OUT)
    rows = []
    for (place, (day, lot, why)), pieces in new.items():
        reason, note = SAID[why]
        other = given_out if why is WorkedOut.GIVEN_OUT else difference
        start, end = (other, place) if pieces > 0 else (place, other)
        rows.append(
            {
                "programme_id": programme.id,
                "ref": f"={place}.{lot}.{day:%y%m%d}.{why.value}",
                "sheet_id": None,
                "from_place_id": start,
                "to_place_id": end,
                "lot_id": lot,
                "quantity": abs(pieces),
                "day": day,
                "week": week_of(day, programme.first_weekday),
                "reason": reason,
                "note": note,
                "worked_out": why,
            }
        )
    return rows


# --- looking whether it is whole ----------------------------------------------------------------------------------


def _sums() -> Any:
    legs = select(StockMove.to_place_id.label("place_id"), StockMove.lot_id, StockMove.quantity.label("pieces"))
    out = select(StockMove.from_place_id, StockMove.lot_id, -StockMove.quantity)
    both = legs.union_all(out).subquery()
    return (
        select(both.c.place_id, both.c.lot_id, func.sum(both.c.pieces).label("pieces"))
        .group_by(both.c.place_id, both.c.lot_id)
        .subquery()
    )


def check(session: Session) -> list[Unequal]:
    """Balances that are not the sum of their moves, that are missing, below zero, or left unguarded; every programme.

    Nobody may write meanwhile: on PostgreSQL the two sides are read in one statement.
    """
    sums, balance = _sums(), StockBalance
    pieces = func.coalesce(sums.c.pieces, 0)
    query = (
        select(StockPlace.code, Product.code, Lot.code, func.coalesce(balance.quantity, 0), pieces)
        .select_from(StockPlace)
        .join(Lot, text("1 = 1"))
        .join(Product, Product.id == Lot.product_id)
        .outerjoin(balance, and_(balance.place_id == StockPlace.id, balance.lot_id == Lot.id))
        .outerjoin(sums, and_(sums.c.place_id == StockPlace.id, sums.c.lot_id == Lot.id))
        .where(
            Product.programme_id == StockPlace.programme_id,
            StockPlace.kind.in_(INNER_PLACES),
            _wrong(func.coalesce(balance.quantity, 0), pieces),
        )
        .order_by(StockPlace.code, Product.code, Lot.code)
    )
    return [Unequal(*row) for row in session.execute(query)]


def _wrong(balance: Any, pieces: Any) -> ColumnElement[bool]:
    return or_(balance != pieces, balance < 0, StockBalance.guarded.is_(False))


def rebuild(session: Session) -> int:
    """Make every balance anew from the moves and settle every place; gives how many of the ledger's moves changed."""
    changed = 0
    for programme in session.scalars(select(Programme).order_by(Programme.id)).all():
        places = lock(session, inner_places(session, programme.id))
        _let_pass(session, list(places), settling=True)
        session.execute(delete(StockBalance).where(StockBalance.place_id.in_(places)), execution_options=NO_SYNC)
        sums = _sums()
        made = select(sums.c.place_id, sums.c.lot_id, sums.c.pieces).where(sums.c.place_id.in_(places))
        rows = [{"place_id": p, "lot_id": lot, "quantity": q, "guarded": False} for p, lot, q in session.execute(made)]
        if rows:
            session.execute(insert(StockBalance), rows)
        changed += settle(session, programme.id, places)
    return changed
