"""A vehicle-day in the ledger: its place, the references of its moves, and what is on board.

A vehicle is a place of the ledger. What is loaded goes from the store to it, what is handed over from it to the school,
what comes back from it to the store; what is missing goes to a named difference. So a vehicle that is back is empty.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from tracker.models.rounds import Round, RoundDay
from tracker.models.supplies import Lot, Product, StockMove, StockPlace, Vehicle
from tracker.records import ledger
from tracker.records.ledger import Move
from tracker.records.rounds import RoundError
from tracker.vocabulary import PlaceKind

LOAD, HAND, BACK, MISSING = "load", "hand", "back", "missing"
KEY_LENGTH = 12  # of a round's key, which is drawn at random


@dataclass(frozen=True, slots=True)
class OnBoard:
    """A product on a vehicle-day: pieces loaded, handed over, returned, and missing under a name (below 0: found)."""

    product: Product
    loaded: int
    handed: int
    returned: int
    missing: int

    @property
    def should_be(self) -> int:
        """Pieces that should still be on the vehicle."""
        return self.loaded - self.handed - self.returned - self.missing


def vehicle_place(session: Session, vehicle: Vehicle) -> StockPlace:
    """The vehicle as a place of the ledger; made where it has none."""
    code = f"vehicle-{vehicle.code}"
    query = select(StockPlace).where(StockPlace.programme_id == vehicle.programme_id, StockPlace.code == code)
    found = session.scalar(query)
    if found is None:
        found = StockPlace(
            programme_id=vehicle.programme_id, code=code, name=vehicle.name, kind=PlaceKind.VEHICLE, capacity=None
        )
        session.add(found)
        session.flush()  # its id is needed
    return found


def school_place(session: Session, school_id: int) -> StockPlace | None:
    """Where a school keeps supplies: its cupboard, else a machine; None where nothing is on record."""
    query = select(StockPlace).where(StockPlace.school_id == school_id).order_by(StockPlace.code)
    places = list(session.scalars(query.where(StockPlace.kind.in_((PlaceKind.CUPBOARD, PlaceKind.MACHINE)))))
    return min(places, key=lambda one: one.kind is not PlaceKind.CUPBOARD, default=None)


def lock_day(session: Session, day: RoundDay) -> None:
    """Take a vehicle-day for this transaction: what two people say of it at once is written one after the other."""
    session.flush()
    session.refresh(day, with_for_update=True)


def ref_of(session: Session, day: RoundDay, what: str, *more: int) -> str:
    """The reference of a move of a vehicle-day: the same act has the same one, on every installation another."""
    key = session.get_one(Round, day.round_id).key[:KEY_LENGTH]
    return "-".join(str(part) for part in ("round", key, day.id, what, *more))


def moves_of(session: Session, day: RoundDay, what: str, *more: int) -> list[StockMove]:
    """Moves of a vehicle-day whose reference begins so, oldest first."""
    start = ref_of(session, day, what, *more) + "-"
    query = select(StockMove).where(StockMove.ref.startswith(start, autoescape=True))
    return list(session.scalars(query.order_by(StockMove.id)))


def words(product: Product) -> str:
    """What pieces of a product are called, in the plural."""
    return product.unit_name or "pieces"


def aboard(session: Session, day: RoundDay) -> list[OnBoard]:
    """What was loaded on a vehicle-day and what became of it, from the ledger's moves, by product name."""
    back_in = case((StockPlace.kind == PlaceKind.VEHICLE, -StockMove.quantity), else_=StockMove.quantity)
    signs = {LOAD: StockMove.quantity, HAND: StockMove.quantity, BACK: StockMove.quantity, MISSING: back_in}
    starts = {what: ref_of(session, day, what) + "-" for what in signs}
    totals = [
        func.coalesce(func.sum(case((StockMove.ref.startswith(starts[what], autoescape=True), sign), else_=0)), 0)
        for what, sign in signs.items()
    ]
    query = (
        select(Lot.product_id, *totals)
        .join(StockMove, StockMove.lot_id == Lot.id)
        .join(StockPlace, StockPlace.id == StockMove.to_place_id)
        .where(StockMove.ref.startswith(ref_of(session, day, ""), autoescape=True))
        .group_by(Lot.product_id)
    )
    rows = {product_id: [int(one) for one in pieces] for product_id, *pieces in session.execute(query)}
    products = session.scalars(select(Product).where(Product.id.in_(rows)).order_by(Product.name))
    return [OnBoard(product, *rows[product.id]) for product in products]


def post(session: Session, move: Move) -> None:
    """Make a move; what the ledger refuses is refused here.

    Raises:
        RoundError: with the ledger's sentence.
    """
    try:
        ledger.post(session, move)
    except ledger.LedgerError as wrong:
        raise RoundError("round", str(wrong)) from wrong
