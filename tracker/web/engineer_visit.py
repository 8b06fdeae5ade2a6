"""A visit: one page, one POST that writes what was done, what it does now, and what the dials show."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from flask import flash, redirect, render_template, request, url_for
from flask_login import current_user

from tracker.intake.reading import check_reading
from tracker.models.programme import Programme
from tracker.records import faults, jobs
from tracker.vocabulary import Cause, Danger, Quantity, Role, Source, State, UnitKind
from tracker.web.access import allow, load_school, load_unit, load_unit_job, person_id
from tracker.web.clock import now, today
from tracker.web.database import db
from tracker.web.engineer_jobs import bp
from tracker.web.filters import minutes
from tracker.web.forms.engineer import DIAL, Ask, ServiceForm, dials_in, visit_form
from tracker.web.forms.fields import instant, options, show_errors
from tracker.web.signing import signed

DIAL_LABELS = {
    Quantity.WATER: "Water meter",
    Quantity.VISITS: "Visit counter",
    Quantity.LONG_VISITS: "Counter of long visits",
    Quantity.VENDS: "Vend counter",
    Quantity.ENERGY: "Energy meter",
}
DANGER_CAUTION = {
    Danger.SMOKE: "smoke",
    Danger.WIRES: "live_parts",
    Danger.LOCKED_IN: "locked_in",
    Danger.FLOOD: "flood",
}
POWERED = (UnitKind.CABIN, UnitKind.URINAL, UnitKind.MACHINE, UnitKind.INCINERATOR)  # they flush, vend or fan
MINUTE = timedelta(minutes=1)
FUTURE = "This time has not come yet. Look at the day and the time."
DONE = {State.WORKING: "working", State.PARTLY: "partly working", State.OUT: "out of service"}


def _zone(school) -> str:
    return db().get_one(Programme, school.programme_id).zone


@bp.route("/jobs/<int:visit_id>", methods=["GET", "POST"])
@allow(Role.ENGINEER)
def job(visit_id: int):
    """A job that was asked."""
    found = load_unit_job(visit_id, to="serve")
    if found.visit.done_at is not None:
        flash("This job is done.")
        return redirect(url_for(".unit", unit_id=found.unit.id))
    return _visit(found.unit, found.school, found.visit)


@bp.route("/jobs/units/<int:unit_id>", methods=["GET", "POST"])
@allow(Role.ENGINEER)
def unit(unit_id: int):
    """A unit that nobody asked for: found out of service, or looked at on the way."""
    found, at_school = load_unit(unit_id, to="serve")
    return _visit(found, at_school, jobs.open_job(db(), found.id))


def _visit(found, at_school, visit):
    zone, outages = _zone(at_school), faults.open_of_unit(db(), found.id)
    dials = jobs.dials_of(db(), found.id, now())
    danger = next((outage for outage in outages if outage.cause is Cause.DANGER), None)
    others = {one.unit_id for outage in outages for one in faults.with_event(db(), outage)} - {found.id}
    ask = Ask(
        dials=tuple((dial.quantity.value, DIAL_LABELS[dial.quantity]) for dial in dials),
        cause=not outages,
        danger=danger is not None,
        others=len(others),
    )
    local = now().astimezone(ZoneInfo(zone))
    here = {"at_day": local.date(), "at_time": minutes(local.hour * 60 + local.minute)}
    form = visit_form(ask)(data=here)
    if request.method == "POST" and _sent(form, found, at_school, visit, dials):
        db().commit()
        flash(f"Received. {found.name}, {at_school.name}: {DONE[State(form.state.data)]}.")
        if any(one.end_at is not None and one.end_at - one.start_at == MINUTE for one in outages):
            flash("It began and ended in the same minute. It is kept as one minute out of service.")
        return redirect(url_for(".jobs"))
    page = render_template(
        "engineer/visit.html",
        unit=found,
        school=at_school,
        visit=visit,
        outages=outages,
        form=form,
        zone=zone,
        place=jobs.places(db(), at_school.programme_id).get(at_school.id),
        before=jobs.findings(db(), [found.id]).get(found.id, []),
        cautions_here=_cautions(found, outages, danger),
    )
    return page, 400 if request.method == "POST" else 200


def _cautions(found, outages, danger) -> list[str]:
    """At most two, the gravest first: the danger itself, then the incinerator or the electrical parts."""
    keys = [DANGER_CAUTION.get(danger.danger, "other_danger")] if danger is not None else []
    if found.kind is UnitKind.INCINERATOR:
        keys.append("incinerator")
    if any(found.kind in POWERED or outage.cause is Cause.NO_POWER for outage in outages):
        keys.append("electrical")
    return keys[:2]


def _sent(form, found, at_school, visit, dials) -> bool:
    """Write what was sent, or show all that is wrong with it at once."""
    fine = form.validate()
    at = _at(form, _zone(at_school))
    if at is None:
        return False
    local = at.astimezone(ZoneInfo(_zone(at_school))).replace(tzinfo=None)
    read = _read(form, found, at_school, dials, local)
    if not fine or read is None:
        return False
    return _finish(form, found, at_school, visit, (at, local, read))


def _at(form, zone: str) -> datetime | None:
    """When the engineer was there: now, unless the form says another minute; None with the sentence at the field."""
    if form.at_day.errors or form.at_time.errors:
        return None
    here = now()
    local = here.astimezone(ZoneInfo(zone))
    clock = form.at_time.minutes
    clock = local.hour * 60 + local.minute if clock is None else clock
    said = instant(form.at_day.data or local.date(), clock, zone)
    if said > here:
        show_errors(form, "at_day", FUTURE)
        return None
    return here if here - said < MINUTE else said


def _finish(form, found, at_school, visit, there) -> bool:
    session = signed()
    at, local, read = there
    for dial, value, week in read:
        jobs.read_dial(db(), dial, value, at, day=local.date(), week=week)
    extra = form.data
    said = jobs.Said(
        at=at,
        day=local.date(),
        person_id=person_id(),
        person=current_user.name,
        found=form.found.data,
        done=form.done.data,
        parts=form.parts.data,
        state=State(form.state.data),
        cause=Cause(extra["cause"]) if extra.get("cause") else None,
        checked_by=extra.get("checked_by") or "",
        checked_on=extra.get("checked_on"),
        event_too=bool(extra.get("event_too")),
    )
    try:
        jobs.finish(session, at_school, found, said, visit)
    except jobs.JobError as wrong:
        session.rollback()
        show_errors(form, "at_day" if wrong.field == "end_day" else wrong.field, str(wrong))
        return False
    return True


def _read(form, found, at_school, dials, local: datetime) -> list | None:
    """What was read of each dial, with its week; None with the sentence at every field where one is refused."""
    typed = dials_in(form)
    read, refused = [], False
    for dial in dials:
        text = typed.get(dial.quantity.value, "")
        if not text or form[DIAL + dial.quantity.value].errors:
            continue
        what = (found.code, dial.quantity, Source.ENGINEER)
        value, week, wrong = check_reading(db(), at_school.id, what, local, text)
        if value is None:
            show_errors(form, DIAL + dial.quantity.value, wrong)
            refused = True
        read.append((dial, value, week))
    return None if refused else read


@bp.post("/jobs/units/<int:unit_id>/seen")
@allow(Role.ENGINEER)
def seen(unit_id: int):
    """The second of two taps: the engineer saw the unit working."""
    found, at_school = load_unit(unit_id, to="serve")
    if faults.open_of_unit(db(), found.id):
        flash(f"{found.name} is on record as out of service. Say what became of it.")
        return redirect(url_for(".unit", unit_id=found.id))
    jobs.seen(signed(), found, today(_zone(at_school)), State.WORKING)
    db().commit()
    flash(f"Seen working: {found.name}.")
    return redirect(url_for(".school", school_id=at_school.id))


@bp.get("/jobs/schools/<int:school_id>")
@allow(Role.ENGINEER)
def school(school_id: int):
    """The units of a school: seen working in two taps, or a page each; and the service visit to several."""
    return _school_page(load_school(school_id, to="serve"), None)


def _school_page(found, form):
    zone = _zone(found)
    lines = jobs.units_of(db(), found.id, today(zone))
    form = form or ServiceForm(formdata=None)
    form.units.choices = options(_working(lines))
    page = render_template(
        "engineer/school.html",
        school=found,
        lines=lines,
        form=form,
        burner=any(line.unit.kind is UnitKind.INCINERATOR for line in lines),
        place=jobs.places(db(), found.programme_id).get(found.id),
    )
    return page, 400 if form.errors else 200


def _working(lines) -> list[tuple[int, str]]:
    return [(line.unit.id, f"{line.unit.name} ({line.unit.code}), {line.block}") for line in lines if not line.out]


@bp.post("/jobs/schools/<int:school_id>/service")
@allow(Role.ENGINEER)
def service(school_id: int):
    """One service visit to several units that were all seen working."""
    found = load_school(school_id, to="serve")
    zone = _zone(found)
    lines = jobs.units_of(db(), found.id, today(zone))
    form = ServiceForm()
    form.units.choices = options(_working(lines))
    if not form.validate_on_submit():
        return _school_page(found, form)
    chosen = [line.unit for line in lines if line.unit.id in form.units.data]
    said = jobs.Said(
        now(),
        today(zone),
        person_id(),
        current_user.name,
        form.found.data,
        form.done.data,
        form.parts.data,
        State.WORKING,
    )
    jobs.service_school(signed(), found, chosen, said)
    db().commit()
    flash(f"Received. Serviced and seen working: {len(chosen)} of {len(lines)} units of {found.name}.")
    return redirect(url_for(".jobs"))
