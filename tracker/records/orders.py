"""Orders to suppliers: made, sent, received by lot in one or several deliveries, closed. What came is in the ledger.

Every function takes the session first and never commits; a session that receives is one of ``db.writing``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeAlias

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.orders import OrderLine, OrderReceipt, SupplierOrder, SupplierTerms
from tracker.models.programme import Programme
from tracker.models.supplies import Lot, Product, StockPlace
from tracker.records import ledger
from tracker.vocabulary import MoveReason, OrderState, PlaceKind

Terms: TypeAlias = SupplierTerms
MOST_PACKS = 1_000_000
OPEN = (OrderState.SENT, OrderState.PART_RECEIVED)


class OrderError(ValueError):
    """An order or a receipt that cannot be; ``field`` is what the sentence is about."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """What is to be ordered: packs by product_id. ``key``: the same key makes the order once."""

    key: str
    store_id: int
    supplier: str
    packs: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Came:
    """Pieces of a lot that came. ``expires_on`` None: it does not go off. ``why``: needed for more than was ordered."""

    key: str
    product_id: int
    pieces: int
    lot: str
    expires_on: date | None
    day: date
    why: str = ""


def terms(session: Session, programme_id: int, day: date) -> dict[int, SupplierTerms]:
    """The terms in force on a day, by product_id; products without any are absent."""
    query = select(SupplierTerms).join(Product, Product.id == SupplierTerms.product_id)
    query = query.where(Product.programme_id == programme_id, SupplierTerms.from_day <= day)
    return {row.product_id: row for row in session.scalars(query.order_by(SupplierTerms.from_day))}


def on_order(session: Session, programme_id: int) -> dict[int, int]:
    """Pieces that were ordered and have not come yet, by product_id, of orders that are sent and not closed."""
    query = select(OrderLine).join(SupplierOrder, SupplierOrder.id == OrderLine.order_id)
    lines = list(
        session.scalars(query.where(SupplierOrder.programme_id == programme_id, SupplierOrder.state.in_(OPEN)))
    )
    got = received(session, [line.id for line in lines])
    found: dict[int, int] = {}
    for line in lines:
        waiting = max(line.packs * line.pack_size - got.get(line.id, 0), 0)
        found[line.product_id] = found.get(line.product_id, 0) + waiting
    return {product: pieces for product, pieces in found.items() if pieces}


def received(session: Session, line_ids: list[int]) -> dict[int, int]:
    """Pieces that came of each order line; lines of which nothing came are absent."""
    query = select(OrderReceipt.line_id, func.sum(OrderReceipt.pieces)).where(OrderReceipt.line_id.in_(line_ids))
    return {line: int(pieces) for line, pieces in session.execute(query.group_by(OrderReceipt.line_id))}


def shelf_days(session: Session, programme_id: int) -> dict[int, int]:
    """Days that a product keeps, by product_id; products that do not go off are absent."""
    query = select(Product.id, Product.shelf_life_days).where(Product.programme_id == programme_id)
    return {key: days for key, days in session.execute(query) if days is not None}


def listing(session: Session, programme_id: int) -> list[SupplierOrder]:
    """Orders of a programme, newest first."""
    query = select(SupplierOrder).where(SupplierOrder.programme_id == programme_id)
    return list(session.scalars(query.order_by(SupplierOrder.made_on.desc(), SupplierOrder.id.desc())))


def lines_of(session: Session, order_ids: Sequence[int]) -> list[tuple[OrderLine, Product, int]]:
    """Lines of orders with their product and the pieces that came, by product code."""
    query = select(OrderLine, Product).join(Product, Product.id == OrderLine.product_id)
    rows = session.execute(query.where(OrderLine.order_id.in_(order_ids)).order_by(Product.code)).all()
    got = received(session, [line.id for line, _ in rows])
    return [(line, product, got.get(line.id, 0)) for line, product in rows]


def receipts_of(session: Session, order_id: int) -> list[tuple[OrderReceipt, Lot, str]]:
    """What came of an order: receipt, lot and product name, in order of days."""
    query = select(OrderReceipt, Lot, Product.name).join(Lot, Lot.id == OrderReceipt.lot_id)
    query = query.join(Product, Product.id == Lot.product_id).join(OrderLine, OrderLine.id == OrderReceipt.line_id)
    query = query.where(OrderLine.order_id == order_id).order_by(OrderReceipt.day, OrderReceipt.id)
    return [(row, lot, name) for row, lot, name in session.execute(query)]


# --- making and sending -------------------------------------------------------------------------------------------


def create(session: Session, programme: Programme, plan: OrderPlan, today: date) -> SupplierOrder:
    """Make a draft; a key that was sent before gives the order it made. Products of 0 packs are left out.

    Raises:
        OrderError: nothing to order, a store or product that is not the programme's, a product without terms with
            this supplier, or fewer packs than the terms ask for.
    """
    session.scalar(select(Programme.id).where(Programme.id == programme.id).with_for_update())  # one code, one key
    before = session.scalar(
        select(SupplierOrder).where(SupplierOrder.programme_id == programme.id, SupplierOrder.key == plan.key)
    )
    if before is not None:
        return before
    store = session.get(StockPlace, plan.store_id)
    if store is None or store.programme_id != programme.id or store.kind is not PlaceKind.STORE:
        raise OrderError("store", "This store is not on record. Choose another one.")
    lines = _lines(session, programme, plan, today)
    made = SupplierOrder(
        programme_id=programme.id,
        code=_free_code(session, programme.id, today),
        key=plan.key,
        store_id=store.id,
        supplier=plan.supplier,
        state=OrderState.DRAFT,
        made_on=today,
    )
    session.add(made)
    session.flush()  # its id is needed
    for line in lines:
        line.order_id = made.id
    session.add_all(lines)
    session.flush()
    return made


def _lines(session: Session, programme: Programme, plan: OrderPlan, today: date) -> list[OrderLine]:
    known, lines = terms(session, programme.id, today), []
    for product_id, packs in plan.packs.items():
        product = session.get(Product, product_id)
        if product is None or product.programme_id != programme.id:
            raise OrderError("product", "A product of this order is not on record. Open the page again.")
        field = f"packs-{product_id}"
        if not 0 <= packs <= MOST_PACKS:
            raise OrderError(field, f"Write a whole number of packs from 0 to {MOST_PACKS}.")
        if packs == 0:
            continue
        on = known.get(product_id)
        if on is None or on.supplier != plan.supplier:
            raise OrderError(field, f"No terms with {plan.supplier} are on record for {product.name}.")
        if packs < on.min_packs:
            said = f"{plan.supplier} sends at least {on.min_packs} packs of {product.name}."
            raise OrderError(field, f"{said} Order that many, or none.")
        line = OrderLine(product_id=product_id, packs=packs, pack_size=product.pack_size)
        line.pack_price_minor, line.lead_days = on.pack_price_minor, on.lead_days
        lines.append(line)
    if not lines:
        raise OrderError("packs", "The order has no packs. Write how many packs of at least one product.")
    return lines


def _free_code(session: Session, programme_id: int, day: date) -> str:
    stem = f"P{day:%Y%m%d}-"
    query = select(SupplierOrder.code).where(
        SupplierOrder.programme_id == programme_id, SupplierOrder.code.startswith(stem, autoescape=True)
    )
    taken = [int(code.removeprefix(stem)) for code in session.scalars(query)]
    return f"{stem}{max(taken, default=0) + 1}"


def lock(session: Session, order_id: int) -> SupplierOrder:
    """The order as it is now, kept from others until the transaction ends."""
    query = select(SupplierOrder).where(SupplierOrder.id == order_id).with_for_update()
    return session.execute(query, execution_options={"populate_existing": True}).scalar_one()


def send(session: Session, order_id: int, today: date) -> SupplierOrder:
    """Mark a draft as sent: from now on it counts as on order. It is due when its slowest line is.

    Raises:
        OrderError: it is not a draft any more.
    """
    order = lock(session, order_id)
    if order.state is not OrderState.DRAFT:
        raise OrderError("state", f"This order is not a draft any more, it is {order.state.value}.")
    slowest = session.scalar(select(func.max(OrderLine.lead_days)).where(OrderLine.order_id == order.id)) or 0
    order.state, order.sent_on, order.due_on = OrderState.SENT, today, today + timedelta(days=slowest)
    return order


def close(session: Session, order_id: int, why: str) -> SupplierOrder:
    """Close an order: what has not come will not come, and no longer counts as on order.

    Raises:
        OrderError: without a reason, or there is nothing left to close.
    """
    order = lock(session, order_id)
    if order.state in (OrderState.RECEIVED, OrderState.CLOSED):
        raise OrderError("state", f"This order is {order.state.value} already.")
    if not why.strip():
        raise OrderError("why", "Write why the rest of this order will not come.")
    order.state, order.note = OrderState.CLOSED, why.strip()
    return order


# --- receiving ----------------------------------------------------------------------------------------------------


def receive(session: Session, order_id: int, came: Came, today: date) -> OrderReceipt:
    """Record pieces of a lot that came, and move them from the supplier to the store. The same key is once.

    Raises:
        OrderError: the order is not under way, the product is not in it, the day has not come or is before it was
            sent, the lot has expired or is on record with another expiry, or more came than was ordered and
            nobody says why.
        LedgerError: the ledger refuses the move.
    """
    order = lock(session, order_id)
    line = session.scalar(
        select(OrderLine).where(OrderLine.order_id == order.id, OrderLine.product_id == came.product_id)
    )
    if line is None:
        raise OrderError("product", "This product is not in the order. Choose one that was ordered.")
    before = session.scalar(select(OrderReceipt).where(OrderReceipt.line_id == line.id, OrderReceipt.key == came.key))
    if before is not None:
        return _same(session, before, came)
    _check_receipt(session, order, line, came, today)
    lot = _lot(session, came)
    move = ledger.Move(
        ref=f"o-{came.key}"[:50],
        from_place_id=ledger.outside(session, order.programme_id, PlaceKind.SUPPLIER),
        to_place_id=order.store_id,
        product_id=came.product_id,
        quantity=came.pieces,
        day=came.day,
        reason=MoveReason.RECEIPT,
        lot_id=lot.id,
        note=f"Order {order.code}",
    )
    ledger.post(session, move)
    row = OrderReceipt(
        line_id=line.id, key=came.key, lot_id=lot.id, day=came.day, pieces=came.pieces, note=came.why.strip()
    )
    session.add(row)
    session.flush()
    _set_state(session, order)
    return row


def _same(session: Session, row: OrderReceipt, came: Came) -> OrderReceipt:
    lot = session.get_one(Lot, row.lot_id)
    if (row.pieces, row.day, lot.code) != (came.pieces, came.day, came.lot.strip()):
        raise OrderError("key", "This form was already sent with other figures. Open the order again and look at it.")
    return row


def _check_receipt(session: Session, order: SupplierOrder, line: OrderLine, came: Came, today: date) -> None:
    if order.state is OrderState.DRAFT or order.sent_on is None:
        raise OrderError("state", "This order was not sent yet. Mark it as sent first.")
    if order.state is OrderState.CLOSED:
        raise OrderError("state", "This order is closed. Make a new order for what came.")
    if came.pieces < 1:
        raise OrderError("pieces", "Write how many pieces came, at least 1.")
    if not order.sent_on <= came.day <= today:
        raise OrderError("day", "Write a day from the day the order was sent to today.")
    if not came.lot.strip():
        raise OrderError("lot", "Write the lot as it stands on the box.")
    product = session.get_one(Product, came.product_id)
    if came.expires_on is None and product.shelf_life_days is not None:
        raise OrderError("expires_on", f"{product.name} goes off. Write the expiry date that stands on the box.")
    if came.expires_on is not None and came.expires_on < today:
        raise OrderError(
            "expires_on", "This lot has expired. Do not put it in the store; give it back to the supplier."
        )
    ordered = line.packs * line.pack_size
    sum_now = received(session, [line.id]).get(line.id, 0) + came.pieces
    if sum_now > ordered and not came.why.strip():
        said = f"With this, {sum_now} pieces came and {ordered} were ordered."
        raise OrderError("why", f"{said} Look at the number again, or write why more came.")


def _lot(session: Session, came: Came) -> Lot:
    session.scalar(select(Product.id).where(Product.id == came.product_id).with_for_update())  # one lot of a code
    code = came.lot.strip()
    found = session.scalar(select(Lot).where(Lot.product_id == came.product_id, Lot.code == code))
    if found is None:
        found = Lot(product_id=came.product_id, code=code, expires_on=came.expires_on)
        session.add(found)
        session.flush()  # its id is needed
    elif found.expires_on != came.expires_on:
        until = f"expiring on {found.expires_on:%d %b %Y}" if found.expires_on else "without an expiry date"
        raise OrderError("expires_on", f"Lot {code} is on record {until}. Look at the box again.")
    return found


def _set_state(session: Session, order: SupplierOrder) -> None:
    lines = list(session.scalars(select(OrderLine).where(OrderLine.order_id == order.id)))
    got = received(session, [line.id for line in lines])
    whole = all(got.get(line.id, 0) >= line.packs * line.pack_size for line in lines)
    order.state = OrderState.RECEIVED if whole else OrderState.PART_RECEIVED
