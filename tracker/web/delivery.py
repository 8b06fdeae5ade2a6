"""Deliveries on the phone of whoever drives: an officer or an engineer of the programme. Quantities, nothing more."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.models.rounds import Round, RoundStop
from tracker.records import jobs, rounds_drive, rounds_read, rounds_roads
from tracker.records.rounds import RoundError
from tracker.records.rounds_drive import Handed, Missed
from tracker.vocabulary import HandWhy, Role, StopState
from tracker.web import access, clock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db, let_go
from tracker.web.filters import minutes
from tracker.web.forms import rounds as forms
from tracker.web.forms.rounds import LONG_NAME, LONG_REASON, Typed
from tracker.web.signing import signed

bp = Blueprint("delivery", __name__)

DRIVERS = (Role.OFFICER, Role.ENGINEER)
USES = ("officer", "serve")
BLANK = "write how many were handed over; 0 where nothing was."
STOP_WHYS = (HandWhy.NO_PLACE, HandWhy.NOT_WANTED, HandWhy.MORE_ASKED, HandWhy.SHORT, HandWhy.DAMAGED, HandWhy.LOST,
             HandWhy.MISCOUNT, HandWhy.OTHER)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Trip:
    """A vehicle-day that the person may drive, with its round and programme."""

    programme: Programme
    view: rounds_read.RoundView
    day: rounds_read.DayView


def _areas(programme_id: int) -> set[int] | None:
    """Areas that the person reaches in a programme as officer or engineer; None is all of it."""
    found: set[int] = set()
    for role in DRIVERS:
        if programme_id in access.programme_ids(role):
            mine = access.area_ids(role, programme_id)
            if mine is None:
                return None
            found |= mine
    return found


def _reaches(view: rounds_read.RoundView, day: rounds_read.DayView) -> bool:
    """Whether all stops of a vehicle-day lie in the person's areas."""
    areas = _areas(view.round.programme_id)
    return areas is None or all(stop.school.area_id in areas for stop in day.stops)


def _trip(round_id: int, day_id: int) -> Trip:
    made = db().get(Round, round_id)
    if made is None:
        abort(404)
    programme = access.load_programme(made.programme_id, to=USES)
    view = rounds_read.view(db(), made)
    day = next((day for day in view.days if day.row.id == day_id), None)
    if day is None or not _reaches(view, day):
        abort(404)
    return Trip(programme, view, day)


def _stop(stop_id: int) -> tuple[Trip, rounds_read.StopView]:
    row = db().get(RoundStop, stop_id)
    if row is None or row.round_day_id is None:
        abort(404)
    trip = _trip(row.round_id, row.round_day_id)
    return trip, next(stop for stop in trip.day.stops if stop.row.id == stop_id)


@bp.get("/deliveries", endpoint="home")
@allow(*DRIVERS)
def home():
    """Vehicles that are under way or will set out, the next first."""
    ids = {one for role in DRIVERS for one in access.programme_ids(role)}
    trips = []
    for made in rounds_read.under_way(db(), ids):
        view = rounds_read.view(db(), made)
        waiting = [day for day in view.days if day.row.back_at is None and day.stops]
        trips += [(view, day) for day in waiting if _reaches(view, day)]
    trips.sort(key=lambda trip: (trip[1].row.set_out_at is None, trip[1].row.day))
    log_view("deliveries", rows=len(trips))
    return render_template("delivery/home.html", trips=trips)


@bp.get("/deliveries/<int:round_id>/<int:day_id>", endpoint="day")
@allow(*DRIVERS)
def day_page(round_id: int, day_id: int):
    """The stops of a vehicle-day in order."""
    trip = _trip(round_id, day_id)
    log_view("delivery stops", rows=len(trip.day.stops))
    places = jobs.places(db(), trip.programme.id)
    return render_template("delivery/day.html", trip=trip, places=places)


@bp.route("/deliveries/stops/<int:stop_id>", methods=["GET", "POST"], endpoint="stop")
@allow(*DRIVERS)
def stop_page(stop_id: int):
    """One stop: what is planned, what was really handed over, or why nothing could be."""
    trip, stop = _stop(stop_id)
    typed = forms.typed_from(request.form) if request.method == "POST" else _as_recorded(stop)
    if request.method == "POST":
        if _record(trip, stop, typed):
            db().commit()
            flash(f"{stop.school.name} is recorded.")
            return redirect(url_for(".day", round_id=trip.view.round.id, day_id=trip.day.row.id))
        let_go()
        trip, stop = _stop(stop_id)
    return render_template(
        "delivery/stop.html",
        trip=trip,
        stop=stop,
        typed=typed,
        errors=list(typed.errors.items()),
        whys=[("", "as planned"), *((one.value, one.value.capitalize()) for one in STOP_WHYS)],
        place=jobs.places(db(), trip.programme.id).get(stop.school.id),
        warning=_not_open(trip, stop),
        other_goods=any(not product.menstrual for _, product in stop.lines),
    ), 400 if typed.errors else 200


def _not_open(trip: Trip, stop: rounds_read.StopView) -> str:
    """That nobody receives goods at the school now, and when somebody does; "" while it is open."""
    local = clock.now().astimezone(ZoneInfo(trip.programme.zone))
    hours = rounds_roads.openings(db(), [stop.school.id], [local.date()])[local.date()].get(stop.school.id)
    if not hours:
        return "There is no school here today. Ask whether somebody can receive the goods."
    minute = local.hour * 60 + local.minute
    if any(opens <= minute < closes for opens, closes in hours):
        return ""
    open_words = " and ".join(f"{minutes(opens)} to {minutes(closes)}" for opens, closes in hours)
    return f"Goods are received here from {open_words}. Ask whether somebody can receive them now."


def _as_recorded(stop: rounds_read.StopView) -> Typed:
    values = {"received_by": stop.row.received_by, "reason": stop.row.reason}
    for line, product in stop.lines:
        values[f"p-{product.id}"] = "" if line.handed is None else str(line.handed)
        values[f"why-{product.id}"] = "" if line.why is None else line.why.value
    values["what"] = "missed" if stop.row.state is StopState.NOT_REACHED else "handed"
    return Typed(values)


def _as_planned(stop: rounds_read.StopView, typed: Typed) -> None:
    """Fill in what was planned, where the person says that all of it was handed over and wrote nothing else."""
    for line, product in stop.lines:
        name, planned = f"p-{product.id}", str(line.planned)
        if typed.get(name, planned) not in ("", planned):
            typed.wrong(name, "You wrote another number. Record these numbers, or clear it.")
        else:
            typed.values[name], typed.values[f"why-{product.id}"] = planned, ""


def _record(trip: Trip, stop: rounds_read.StopView, typed: Typed) -> bool:
    at, person = clock.now(), access.person_id()
    try:
        if typed.get("what") == "missed":
            reason = typed.get("reason")
            if len(reason) > LONG_REASON:
                typed.wrong("reason", f"Write at most {LONG_REASON} characters.")
                return False
            rounds_drive.not_reached(signed(), trip.day.row, stop.row, Missed(reason, at, person))
            return True
        if typed.get("as") == "planned":
            _as_planned(stop, typed)
        pieces, whys = forms.read_pieces(typed, {product.id: product.name for _, product in stop.lines}, BLANK)
        received = typed.get("received_by")
        if len(received) > LONG_NAME:
            typed.wrong("received_by", f"Write at most {LONG_NAME} characters.")
        if typed.errors:
            return False
        said = Handed(pieces, whys, received, at, clock.today(trip.programme.zone), person)
        rounds_drive.hand_over(signed(), trip.day.row, stop.row, said)
    except RoundError as refused:
        typed.wrong(refused.field, str(refused))
        return False
    return True
