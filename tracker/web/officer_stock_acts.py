"""What an officer does with stock: move, count, write off, take a loan back, say why it differs, empty a coin box."""

from __future__ import annotations

from datetime import date

from flask import abort, flash, redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.models.supplies import StockPlace
from tracker.records import ledger, ledger_acts, ledger_pages
from tracker.records.ledger import LedgerError, Move
from tracker.vocabulary import MoveReason, PlaceKind, Role, UnitKind, Why
from tracker.web import clock
from tracker.web.access import allow, area_ids, load_place, load_unit, person_id
from tracker.web.database import db
from tracker.web.forms.fields import options, show_errors
from tracker.web.forms.stock import BoxForm, CountForm, ExplainForm, MoveForm, ReturnForm, WriteOffForm
from tracker.web.officer_today import bp
from tracker.web.signing import signed

TO_CHOOSE = ("", "choose")  # nothing is moved, counted or written off because it stood first in a list
FUTURE = "This day has not come yet."
CHANGED = "This difference has changed or was explained meanwhile. Look at the list again."


def _zone(place: StockPlace) -> str:
    return db().get_one(Programme, place.programme_id).zone


def _today(place: StockPlace) -> date:
    return clock.today(_zone(place))


def _back(place: StockPlace):
    return redirect(url_for(".stock_place", place_id=place.id))


def _page(template_words: dict[str, str], place: StockPlace, form, **more):
    code = 400 if request.method == "POST" else 200
    crumb = {"label": ledger.place_words(db(), place), "to": url_for(".stock_place", place_id=place.id)}
    return render_template("officer/stock_form.html", form=form, crumb=crumb, **template_words, **more), code


def _kept(form, place: StockPlace, save) -> bool:
    """Save and commit; False with the sentence at its field, and nothing kept."""
    if form.day.data > _today(place):
        show_errors(form, "day", FUTURE)
        return False
    try:
        save()
    except LedgerError as wrong:
        db().rollback()
        show_errors(form, wrong.field, str(wrong))
        return False
    db().commit()
    return True


def _held(place: StockPlace) -> list[ledger_pages.Held]:
    lines = [ledger_pages.PlaceLine(place, None)]
    ledger_pages.fill(db(), place.programme_id, lines, _today(place))
    return lines[0].held


# --- moving -------------------------------------------------------------------------------------------------------


def _reason(start: StockPlace, end: StockPlace, *, loan: bool) -> MoveReason:
    if loan:
        return MoveReason.LOAN
    if end.kind is PlaceKind.MACHINE:
        return MoveReason.REFILL
    if end.kind is PlaceKind.CUPBOARD and start.kind in (PlaceKind.STORE, PlaceKind.VEHICLE):
        return MoveReason.DELIVERY
    return MoveReason.TRANSFER


@bp.route("/places/<int:place_id>/stock/move", methods=["GET", "POST"])
@allow(Role.OFFICER)
def stock_move(place_id: int):
    """Move pieces from this place to another one; more than is on record only with a reason."""
    place, _ = load_place(place_id)
    others = ledger_pages.places(db(), place.programme_id, area_ids(Role.OFFICER, place.programme_id))
    ends = {line.place.id: line.place for line in others if line.place.id != place.id}
    form = MoveForm() if request.method == "POST" else MoveForm(day=_today(place))
    form.product.choices = options([TO_CHOOSE, *ledger_pages.product_names(db(), place.programme_id).items()])
    form.to_place.choices = options([TO_CHOOSE, *((one.id, ledger.place_words(db(), one)) for one in ends.values())])
    words = {
        "title": "Move pieces",
        "intro": "The lot that expires first is taken to have left, unless it has expired.",
        "button": "Keep this move",
    }
    if not form.validate_on_submit():
        return _page(words, place, form)
    end = ends[int(form.to_place.data)]
    move = Move(
        ref=form.ref,
        from_place_id=place.id,
        to_place_id=end.id,
        product_id=int(form.product.data),
        quantity=form.quantity.data,
        day=form.day.data,
        reason=_reason(place, end, loan=form.loan.data),
        note=form.note.data or "",
        shortfall_note=form.difference.data or "",
    )
    if not _kept(form, place, lambda: ledger.post(signed(form.difference.data or ""), move)):
        return _page(words, place, form)
    flash(f"Kept: {move.quantity} pieces to {ledger.place_words(db(), end)}.")
    return _back(place)


@bp.route("/places/<int:place_id>/stock/count", methods=["GET", "POST"])
@allow(Role.OFFICER)
def stock_count(place_id: int):
    """Record a count; what differs from the record becomes a move that says so."""
    place, _ = load_place(place_id)
    form = CountForm() if request.method == "POST" else CountForm(day=_today(place))
    form.product.choices = options([TO_CHOOSE, *ledger_pages.product_names(db(), place.programme_id).items()])
    words = {
        "title": "Count",
        "intro": "A count is made at the end of a day. What differs from the record is listed until somebody says why.",
        "button": "Keep this count",
    }
    if not form.validate_on_submit():
        return _page(words, place, form)

    def save() -> None:
        ledger_acts.count(signed(), place, int(form.product.data), form.day.data, form.quantity.data)

    if not _kept(form, place, save):
        return _page(words, place, form)
    flash(f"Kept: {form.quantity.data} pieces counted.")
    return _back(place)


@bp.route("/places/<int:place_id>/stock/write-off", methods=["GET", "POST"])
@allow(Role.OFFICER)
def stock_write_off(place_id: int):
    """Write off pieces of a lot: expired, damaged or lost."""
    place, _ = load_place(place_id)
    rows = ledger.balances(db(), place.programme_id, place_ids=[place.id])
    form = WriteOffForm() if request.method == "POST" else WriteOffForm(day=_today(place))
    names = ledger_pages.product_names(db(), place.programme_id)
    form.lot.choices = options([TO_CHOOSE, *((row.lot_id, _lot_words(row, names)) for row in rows)])
    words = {"title": "Write off", "intro": "", "button": "Write these pieces off"}
    if not rows:
        flash("Nothing is on record here, so nothing can be written off.")
        return _back(place)
    if not form.validate_on_submit():
        return _page(words, place, form)
    row = next(row for row in rows if row.lot_id == int(form.lot.data))
    session = signed()
    move = Move(
        ref=form.ref,
        from_place_id=place.id,
        to_place_id=ledger.outside(session, place.programme_id, PlaceKind.LOSS),
        product_id=row.product_id,
        quantity=form.quantity.data,
        day=form.day.data,
        reason=MoveReason(form.why.data),
        lot_id=row.lot_id,
        note=form.note.data or "",
    )
    if not _kept(form, place, lambda: ledger.post(session, move)):
        return _page(words, place, form)
    flash(f"Written off: {move.quantity} pieces.")
    return _back(place)


def _lot_words(row: ledger.BalanceRow, names: dict[int, str]) -> str:
    until = f", expires on {row.expires_on:%d %B %Y}" if row.expires_on else ""
    return f"{names[row.product_id]}, lot {row.lot}{until}: {row.quantity} pieces"


# --- loans and differences ----------------------------------------------------------------------------------------


@bp.route("/places/<int:place_id>/stock/return/<int:lender_id>/<int:product_id>", methods=["GET", "POST"])
@allow(Role.OFFICER)
def stock_return(place_id: int, lender_id: int, product_id: int):
    """A loan comes back from this place to the one that lent it."""
    place, _ = load_place(place_id)
    mine = [
        one
        for one in ledger_pages.loans(db(), place.programme_id)
        if (one.borrower.id, one.lender.id, one.product_id) == (place.id, lender_id, product_id)
    ]
    if not mine:
        abort(404)
    loan = mine[0]
    form = ReturnForm() if request.method == "POST" else ReturnForm(day=_today(place), quantity=loan.pieces)
    intro = f"{loan.borrower_school} has {loan.pieces} {loan.unit_name} of {loan.product} from {loan.lender_school}."
    words = {"title": "A loan comes back", "intro": intro, "button": "Keep this return"}
    if not form.validate_on_submit():
        return _page(words, place, form)
    if form.quantity.data > loan.pieces:
        show_errors(form, "quantity", f"{loan.pieces} are still owed. Move what is more without a loan.")
        return _page(words, place, form)
    move = Move(
        ref=form.ref,
        from_place_id=place.id,
        to_place_id=lender_id,
        product_id=product_id,
        quantity=form.quantity.data,
        day=form.day.data,
        reason=MoveReason.LOAN_RETURNED,
    )
    if not _kept(form, place, lambda: ledger.post(signed(), move)):
        return _page(words, place, form)
    flash(f"Kept: {move.quantity} came back to {loan.lender_school}.")
    return _back(place)


@bp.route("/places/<int:place_id>/stock/difference/<int:product_id>/<on>", methods=["GET", "POST"])
@allow(Role.OFFICER)
def explain_difference(place_id: int, product_id: int, on: str):
    """Say why what was counted, or what left, differs from the record."""
    place, _ = load_place(place_id)
    try:
        day = date.fromisoformat(on)
    except ValueError:
        abort(404)
    line = ledger_pages.difference(db(), place, product_id, day)
    if line is None:
        flash(CHANGED)
        return _back(place)
    form = ExplainForm()
    if form.validate_on_submit():
        why, note = Why(form.why.data), form.note.data or ""
        said = ledger_acts.Explained(place.id, product_id, day, line.pieces, why, note, person_id(), clock.now())
        ledger_acts.explain(signed(note), said)
        db().commit()
        flash("Kept. The difference is no longer on the list.")
        return redirect(url_for(".stock_differences", programme_id=place.programme_id))
    return _page({"title": "Why does it differ", "intro": "", "button": "Keep this"}, place, form, line=line)


# --- coins --------------------------------------------------------------------------------------------------------


@bp.route("/units/<int:unit_id>/coins", methods=["GET", "POST"])
@allow(Role.OFFICER)
def empty_coins(unit_id: int):
    """Record a coin box that two people emptied and counted."""
    unit, school = load_unit(unit_id, to="officer")
    if unit.kind is not UnitKind.MACHINE:
        abort(404)
    zone = db().get_one(Programme, school.programme_id).zone
    form = BoxForm() if request.method == "POST" else BoxForm(day=clock.today(zone))
    back = url_for(".stock_machines", programme_id=school.programme_id)
    if form.validate_on_submit() and _boxed(form, unit, school, zone):
        flash(f"Kept: the coin box of {unit.name}, {school.name}.")
        return redirect(back)
    code = 400 if request.method == "POST" else 200
    words = {"title": f"Coin box of {unit.name}, {school.name}", "button": "Keep this"}
    intro = "Two people empty and count the box together. Write what the vend counter shows at that moment."
    page = render_template(
        "officer/stock_form.html", form=form, crumb={"label": "Machines", "to": back}, intro=intro, **words
    )
    return page, code


def _boxed(form, unit, school, zone: str) -> bool:
    if form.day.data > clock.today(zone):
        show_errors(form, "day", FUTURE)
        return False
    box = ledger_acts.Box(
        form.ref,
        form.day.data,
        form.counter_value.data,
        form.cash_minor.data,
        form.first_name.data,
        form.second_name.data,
        form.note.data or "",
    )
    try:
        ledger_acts.empty_box(signed(), unit, school.programme_id, box)
    except LedgerError as wrong:
        show_errors(form, wrong.field, str(wrong))
        return False
    db().commit()
    return True
