"""What the officer does with a round: divide it again, order its stops, let vehicles go, count them back, close it."""

from __future__ import annotations

from flask import flash, redirect, render_template, request, url_for

from tracker.records import rounds, rounds_close, rounds_drive, rounds_ledger
from tracker.records.rounds import RoundError
from tracker.records.rounds_close import BACK_WHYS, Counted
from tracker.vocabulary import Role
from tracker.web import clock
from tracker.web.access import allow
from tracker.web.database import db, let_go
from tracker.web.forms import rounds as forms
from tracker.web.forms.rounds import Typed
from tracker.web.officer_round import (
    Own,
    at_field,
    days_typed,
    load_round,
    load_round_day,
    show_round,
    summary,
)
from tracker.web.officer_today import bp
from tracker.web.signing import signed

BLANK = "count what came back; write 0 where nothing did."


def _to(own: Own):
    return redirect(url_for(".round", round_id=own.round.id))


def _again(round_id: int, days: Typed | None = None, order: Typed | None = None):
    """The page of the round with what was refused; nothing of it is kept."""
    let_go()
    own = load_round(round_id)
    return show_round(own, days or days_typed(own), order or Typed(), 400)


@bp.post("/programmes/rounds/<int:round_id>/days", endpoint="round_days")
@allow(Role.OFFICER)
def change_days(round_id: int):
    """Give a planned round other vehicles and days, and divide its schools over them again."""
    from tracker.reports import round_way

    own = load_round(round_id)
    typed = forms.typed_from(request.form)
    days, stay = forms.read_days(typed), forms.read_stay(typed)
    if typed.errors:
        return _again(round_id, days=typed)
    try:
        session = signed()
        own.round.stay_min = stay
        division = round_way.divide(db(), own.programme.id, rounds.plan_of(db(), own.round, days)).division
        rounds.set_days(session, own.round, days, division, clock.today(own.programme.zone))
    except RoundError as refused:
        at_field(typed, refused)
        return _again(round_id, days=typed)
    db().commit()
    flash("Divided again over the vehicles and days.")
    return _to(own)


@bp.post("/programmes/rounds/<int:round_id>/order", endpoint="round_order")
@allow(Role.OFFICER)
def change_order(round_id: int):
    """Put stops in the order that the officer wrote, on the vehicles that the officer chose, or leave them out."""
    own = load_round(round_id)
    typed = forms.typed_from(request.form)
    waiting = [day for day in own.view.days if day.row.set_out_at is None]
    stops = [stop.row.id for day in waiting for stop in day.stops] + [stop.row.id for stop in own.view.left]
    order = forms.read_order(typed, stops, [day.row.id for day in waiting])
    if typed.errors:
        return _again(round_id, order=typed)
    try:
        rounds.rearrange(signed(), own.round, order, _arrivals(own, order))
    except RoundError as refused:
        typed.wrong(refused.field, str(refused))
        return _again(round_id, order=typed)
    db().commit()
    flash("The stops stand in this order now.")
    return _to(own)


def _arrivals(own: Own, order: dict[int, list[int]]) -> dict[int, int | None]:
    """Planned minutes of arrival in an order, by stop; none where the minutes of driving are not known."""
    from tracker.reports import round_way

    plan = rounds.plan_of(db(), own.round)
    school_of = {stop.id: stop.school_id for stop in rounds.stops_of(db(), own.round)}
    found: dict[int, int | None] = {}
    for day in own.view.days:
        ids = order.get(day.row.id, [])
        schools = [school_of[stop] for stop in ids if stop in school_of]
        try:
            way = round_way.day_way(db(), own.programme.id, plan, day.planned(), schools)
        except RoundError:
            continue
        found |= {stop: way.stops[school_of[stop]].arrive_min for stop in ids if stop in school_of}
    return found


@bp.post("/programmes/rounds/days/<int:day_id>/best", endpoint="best_order")
@allow(Role.OFFICER)
def best_order(day_id: int):
    """Put the stops of a vehicle-day in the best order."""
    from tracker.reports import round_way

    own, day = load_round_day(day_id)
    stop_of = {stop.school.id: stop.row.id for stop in day.stops}
    try:
        plan = rounds.plan_of(db(), own.round)
        best = round_way.best_order(db(), own.programme.id, plan, day.planned(), list(stop_of))
        arrivals = {stop_of[school]: at for school, at in best}
        rounds.rearrange(signed(), own.round, {day_id: [stop_of[school] for school, _ in best]}, arrivals)
    except RoundError as refused:
        return _again(own.round.id, order=Typed(errors={refused.field: str(refused)}))
    db().commit()
    flash("The stops stand in the best order found.")
    return _to(own)


@bp.post("/programmes/rounds/days/<int:day_id>/set-out", endpoint="set_out")
@allow(Role.OFFICER)
def set_out(day_id: int):
    """Load a vehicle and let it go."""
    own, day = load_round_day(day_id)
    try:
        rounds_drive.set_out(signed(), own.round, day.row, clock.now(), clock.today(own.programme.zone))
    except RoundError as refused:
        return _again(own.round.id, order=Typed(errors={refused.field: str(refused)}))
    db().commit()
    flash(f"{day.vehicle.name} is loaded and under way. Its stops stand on the page of deliveries.")
    return _to(own)


@bp.route("/programmes/rounds/days/<int:day_id>/back", methods=["GET", "POST"], endpoint="round_back")
@allow(Role.OFFICER)
def come_back(day_id: int):
    """Count what came back with a vehicle; a difference gets its name."""
    own, day = load_round_day(day_id)
    aboard = rounds_ledger.aboard(db(), day.row)
    typed = forms.typed_from(request.form)
    if request.method == "POST":
        pieces, whys = forms.read_pieces(typed, {row.product.id: row.product.name for row in aboard}, BLANK)
        if not typed.errors and _unload(own, day, typed, Counted(pieces, whys, clock.now(), _today(own))):
            db().commit()
            flash(f"{day.vehicle.name} is back and counted.")
            return _to(own)
        let_go()
        own, day = load_round_day(day_id)
        aboard = rounds_ledger.aboard(db(), day.row)
    return render_template(
        "officer/round_back.html",
        programme=own.programme,
        view=own.view,
        day=day,
        aboard=aboard,
        typed=typed,
        errors=summary(typed),
        whys=[("", "nothing differs"), *((one.value, one.value.capitalize()) for one in BACK_WHYS)],
    ), 400 if typed.errors else 200


def _today(own: Own):
    return clock.today(own.programme.zone)


def _unload(own: Own, day, typed: Typed, said: Counted) -> bool:
    try:
        rounds_close.bring_back(signed(), own.round, day.row, said)
    except RoundError as refused:
        typed.wrong(refused.field, str(refused))
        return False
    return True


@bp.post("/programmes/rounds/<int:round_id>/close", endpoint="close_round")
@allow(Role.OFFICER)
def close(round_id: int):
    """Close a round whose vehicles are back."""
    own = load_round(round_id)
    try:
        rounds_close.close(signed(), own.round, clock.now())
    except RoundError as refused:
        return _again(round_id, order=Typed(errors={refused.field: str(refused)}))
    db().commit()
    flash(f"Round {own.round.code} is closed. Everything that was loaded is accounted for.")
    return _to(own)


@bp.post("/programmes/rounds/<int:round_id>/cancel", endpoint="cancel_round")
@allow(Role.OFFICER)
def cancel(round_id: int):
    """Take back a round that nobody has begun."""
    own = load_round(round_id)
    try:
        rounds_close.cancel(signed(), own.round)
    except RoundError as refused:
        return _again(round_id, order=Typed(errors={refused.field: str(refused)}))
    db().commit()
    flash("The round is taken back. Nothing was moved.")
    return redirect(url_for(".rounds", programme_id=own.programme.id))
