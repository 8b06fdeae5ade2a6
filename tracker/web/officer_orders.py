"""The officer's orders to suppliers: what to order now, orders with what is outstanding, one order and its receipts."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from typing import Any

from flask import abort, flash, redirect, render_template, request, url_for

from tracker.intake.restock_ask import minor_units
from tracker.models.orders import SupplierOrder
from tracker.models.programme import Programme
from tracker.models.supplies import StockPlace
from tracker.records import orders, rounds_roads
from tracker.records.ledger import LedgerError
from tracker.records.orders import Came, OrderError, OrderPlan
from tracker.reports import printing
from tracker.vocabulary import OrderState, Role
from tracker.web import access, clock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.forms.fields import options, show_errors
from tracker.web.forms.orders import CloseForm, ReceiptForm
from tracker.web.officer_today import bp
from tracker.web.signing import signed

WHOLE = "Write a whole number of packs, 0 for none."
HEADS = ("Expected requests", "Level (pieces)", "On hand (pieces)", "On order (pieces)", "Months of stock",
         "Fill rate", "Advised", "Packs to order")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Budget:
    """What was typed as a budget, in minor units; None is not limited. ``wrong``: what to write instead."""

    typed: str
    minor: int | None = None
    wrong: str = ""


def load_order(order_id: int) -> tuple[SupplierOrder, Programme]:
    """An order of a programme that the officer may work on; 404 otherwise, also for an officer of some areas only."""
    order = db().get(SupplierOrder, order_id)
    if order is None:
        abort(404)
    programme = access.load_programme(order.programme_id, to="officer")
    return order, _whole(programme)


def _whole(programme: Programme) -> Programme:
    """The store serves the whole programme, so its orders are not for an officer of some areas only."""
    if access.area_ids(Role.OFFICER, programme.id) is not None:
        abort(404)
    return programme


@bp.route("/programmes/<int:programme_id>/orders", methods=["GET", "POST"])
@allow(Role.OFFICER)
def orders_page(programme_id: int):
    """What to order now, with the form to make the orders, and the orders that were made."""
    programme = _whole(access.load_programme(programme_id, to="officer"))
    errors: dict[str, str] = {}
    if request.method == "POST":
        made = _make(programme, errors)
        if made:
            flash("Kept as draft: " + ", ".join(made) + ". Look at each one, then mark it as sent.")
            return redirect(url_for(".orders_page", programme_id=programme.id))
    budget = _budget(programme.currency)
    return _home(programme, errors, budget), 400 if errors or budget.wrong else 200


def _budget(currency: str) -> Budget:
    """The budget of the address, which the form of the packs keeps."""
    typed = request.args.get("budget", "")
    try:
        return Budget(typed, minor_units(typed, currency))
    except ValueError as wrong:
        return Budget(typed, wrong=str(wrong))


def _make(programme: Programme, errors: dict[str, str]) -> list[str]:
    """One draft for each supplier from the packs that were typed; none where anything is wrong."""
    today, session = clock.today(programme.zone), signed()
    by_supplier: dict[str, dict[int, int]] = {}
    for product_id, terms in orders.terms(session, programme.id, today).items():
        text = request.form.get(f"packs-{product_id}", "").strip() or "0"
        if not (text.isascii() and text.isdigit() and len(text) <= 7):
            errors[f"packs-{product_id}"] = WHOLE
        elif int(text):
            by_supplier.setdefault(terms.supplier, {})[product_id] = int(text)
    if errors:
        return []
    try:
        plans = [_plan(programme, at, *one) for at, one in enumerate(sorted(by_supplier.items()))]
        if not plans:
            raise OrderError("packs", "The order has no packs. Write how many packs of at least one product.")
        made = [orders.create(session, programme, plan, today).code for plan in plans]
    except OrderError as wrong:
        db().rollback()
        errors[wrong.field] = str(wrong)
        return []
    db().commit()
    return made


def _plan(programme: Programme, at: int, supplier: str, packs: dict[int, int]) -> OrderPlan:
    stores = rounds_roads.stores(db(), programme.id)
    if not stores:
        raise OrderError("store", "No store is on record. Add one to the set-up first.")
    key = "".join(letter for letter in request.form.get("key", "") if letter.isalnum())[:32]
    return OrderPlan(f"{key or secrets.token_hex(16)}-{at}", stores[0].id, supplier, packs)


def _home(programme: Programme, errors: dict[str, str], budget: Budget):
    from tracker.reports import order_advice  # it brings pandas, which other pages do without

    today = clock.today(programme.zone)
    advice = order_advice.read(db(), programme.id, today, budget.minor)
    rows = orders.listing(db(), programme.id)
    log_view("orders to suppliers", rows=len(rows) + len(advice))
    return render_template(
        "officer/orders.html",
        programme=programme,
        advice=advice,
        rows=rows,
        heads=HEADS,
        budget=budget,
        cost=sum(one.advice.cost_minor for one in advice),
        ends=min((one.known_until for one in advice if one.known_until), default=None),
        errors=[("budget", budget.wrong)] * bool(budget.wrong) + list(errors.items()),
        wrong=errors,
        typed=request.form,
        key=request.form.get("key") or secrets.token_hex(16),
        day_now=today,
        open_states=orders.OPEN,
        waiting=_waiting(rows),
        **_printers(programme.currency),
    )


def _printers(currency: str) -> dict[str, Any]:
    return {
        "money": lambda minor: printing.money(minor, currency),
        "number": printing.number,
        "amount": printing.amount,
        "pieces": _pieces,
        "bare": printing.bare,
    }


def _waiting(rows: list[SupplierOrder]) -> dict[int, list[str]]:
    """What is outstanding of each order under way."""
    found: dict[int, list[str]] = {}
    for line, product, came in orders.lines_of(db(), [row.id for row in rows if row.state in orders.OPEN]):
        rest = line.packs * line.pack_size - came
        if rest > 0:
            found.setdefault(line.order_id, []).append(f"{_pieces(rest, product.unit_name)} of {product.name}")
    return found


def _pieces(number: float, unit_name: str | None) -> str:
    """Pieces by the product's word for them. That word is on record in the plural only: one is a piece."""
    return printing.amount(number, "pieces" if printing.number(number) == "1" or not unit_name else unit_name)


@bp.get("/orders/<int:order_id>")
@allow(Role.OFFICER)
def order_page(order_id: int):
    """One order, to print, with what came of it."""
    return _order(*load_order(order_id))


def _order(order: SupplierOrder, programme: Programme, receipt: Any = None, close: Any = None):
    lines = orders.lines_of(db(), [order.id])
    today = clock.today(programme.zone)
    receipt = receipt or ReceiptForm(formdata=None, day=today)
    receipt.product.choices = options([(product.id, product.name) for _, product, _ in lines])
    log_view("order", rows=len(lines))
    return render_template(
        "officer/order.html",
        order=order,
        programme=programme,
        store=db().get_one(StockPlace, order.store_id).name,
        lines=lines,
        receipts=orders.receipts_of(db(), order.id),
        receipt=receipt,
        close=close or CloseForm(formdata=None),
        day_now=today,
        draft=order.state is OrderState.DRAFT,
        under_way=order.state in orders.OPEN,
        may_receive=order.state in (*orders.OPEN, OrderState.RECEIVED),
        **_printers(programme.currency),
        total=sum(line.packs * line.pack_price_minor for line, _, _ in lines),
    )


@bp.post("/orders/<int:order_id>/send")
@allow(Role.OFFICER)
def order_send(order_id: int):
    """Mark a draft as sent."""
    order, programme = load_order(order_id)
    try:
        orders.send(signed(), order.id, clock.today(programme.zone))
    except OrderError as wrong:
        db().rollback()
        flash(str(wrong))
    else:
        db().commit()
        flash("Kept: the order is sent and counts as on order.")
    return redirect(url_for(".order_page", order_id=order_id))


@bp.post("/orders/<int:order_id>/receive")
@allow(Role.OFFICER)
def order_receive(order_id: int):
    """Record what came."""
    order, programme = load_order(order_id)
    form = ReceiptForm()
    form.product.choices = options([(product.id, product.name) for _, product, _ in orders.lines_of(db(), [order.id])])
    if not form.validate_on_submit():
        return _order(order, programme, receipt=form), 400
    came = Came(form.ref, int(form.product.data), form.pieces.data, form.lot.data, form.expires_on.data,
                form.day.data, form.why.data or "")  # fmt: skip
    try:
        orders.receive(signed(came.why), order.id, came, clock.today(programme.zone))
    except (OrderError, LedgerError) as wrong:
        db().rollback()
        show_errors(form, wrong.field if wrong.field in form else "pieces", str(wrong))
        return _order(*load_order(order_id), receipt=form), 400
    db().commit()
    flash(f"Kept: {printing.amount(came.pieces, 'pieces')} came to the store.")
    return redirect(url_for(".order_page", order_id=order_id))


@bp.post("/orders/<int:order_id>/close")
@allow(Role.OFFICER)
def order_close(order_id: int):
    """Close an order whose rest will not come."""
    order, programme = load_order(order_id)
    form = CloseForm()
    if not form.validate_on_submit():
        return _order(order, programme, close=form), 400
    try:
        orders.close(signed(form.why.data), order.id, form.why.data)
    except OrderError as wrong:
        db().rollback()
        show_errors(form, "why", str(wrong))
        return _order(*load_order(order_id), close=form), 400
    db().commit()
    flash("Kept: the order is closed.")
    return redirect(url_for(".order_page", order_id=order_id))
