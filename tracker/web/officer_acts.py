"""What an officer enters by hand: dangers and outages that were phoned in, ends, jobs for the engineer."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from flask import flash, redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.records import dangers, faults, jobs
from tracker.records import today as needs
from tracker.vocabulary import Cause, Danger, Role, Source, VisitPurpose
from tracker.web.access import allow, load_outage, load_school, load_unit, load_unit_job
from tracker.web.clock import now, today
from tracker.web.database import db
from tracker.web.filters import minutes
from tracker.web.forms.fields import instant, options, show_errors
from tracker.web.forms.officer import (
    CAUSE_LABELS,
    EndForm,
    JobForm,
    OutageForm,
    PhonedDangerForm,
    ReopenForm,
    WithdrawForm,
)
from tracker.web.officer_today import bp
from tracker.web.signing import signed

BLOCK = "block"
ONE_MINUTE = "It began and ended in the same minute. It is kept as one minute out of service."
FUTURE = "This time has not come yet. Look at the day and the time."


def _zone(school) -> str:
    return db().get_one(Programme, school.programme_id).zone


def _back_to_today(school):
    return redirect(url_for(".today", programme_id=school.programme_id))


@bp.get("/schools/<int:school_id>/officer")
@allow(Role.OFFICER)
def school(school_id: int):
    """One school for the officer: who to call, its units, what is open, its acts."""
    found = load_school(school_id, to="officer")
    day = today(_zone(found))
    return render_template(
        "officer/school.html",
        school=found,
        units=jobs.units_of(db(), found.id, day),
        outages=faults.open_of_school(db(), found.id),
        contacts=needs.contacts(db(), found.programme_id).get(found.id, ()),
        place=jobs.places(db(), found.programme_id).get(found.id),
        zone=_zone(found),
    )


# --- danger -------------------------------------------------------------------------------------------------------


def _where(form, found_units) -> None:
    blocks = {block.id: block for _, block in found_units}
    form.where.choices = options(
        [(f"{BLOCK}-{block.id}", f"The whole block: {block.name}") for block in blocks.values()]
    )
    form.where.choices += options([(f"unit-{unit.id}", f"{unit.name} ({unit.code})") for unit, _ in found_units])


@bp.route("/schools/<int:school_id>/phoned-danger", methods=["GET", "POST"])
@allow(Role.OFFICER)
def danger(school_id: int):
    """A danger that was phoned in closes its units at once."""
    found = load_school(school_id, to="officer")
    there = dangers.units_at(db(), found.id, now())
    form = PhonedDangerForm()
    _where(form, there)
    if form.validate_on_submit():
        kind, _, number = form.where.data.partition("-")
        closed = [u for u, block in there if (block.id if kind == BLOCK else u.id) == int(number)]
        said = dangers.Said(
            Danger(form.what.data), now(), form.said_by.data, source=Source.OFFICER, note=form.note.data or ""
        )
        dangers.report(signed(), found, closed, said)
        db().commit()
        flash(f"Out of service at once: {', '.join(unit.name for unit in closed)}.")
        return _back_to_today(found)
    code = 400 if request.method == "POST" else 200
    return render_template("officer/danger.html", school=found, form=form), code


# --- outages ------------------------------------------------------------------------------------------------------


@bp.route("/schools/<int:school_id>/phoned-outage", methods=["GET", "POST"])
@allow(Role.OFFICER)
def outage(school_id: int):
    """An outage that was phoned in, still open or already over."""
    found = load_school(school_id, to="officer")
    zone = _zone(found)
    units = [line.unit for line in jobs.units_of(db(), found.id, today(zone))]
    form = OutageForm() if request.method == "POST" else OutageForm(start_day=today(zone))
    form.units.choices = options([(unit.id, f"{unit.name} ({unit.code})") for unit in units])
    if form.validate_on_submit() and _record(found, units, form, zone):
        db().commit()
        named = ", ".join(unit.name for unit in units if unit.id in form.units.data)
        still = "" if form.end_day.data else " It stands on the page of today while it is open."
        flash(f"Recorded: {named}, {CAUSE_LABELS[Cause(form.cause.data)].lower()}.{still}")
        return redirect(url_for(".school", school_id=found.id))
    code = 400 if request.method == "POST" else 200
    return render_template("officer/outage.html", school=found, form=form), code


def _record(found, units, form, zone: str) -> bool:
    start = instant(form.start_day.data, form.start_time.minutes, zone)
    end = instant(form.end_day.data, form.end_time.minutes, zone) if form.end_day.data else None
    if start > now() or (end is not None and end > now()):
        show_errors(form, "start_day" if start > now() else "end_day", FUTURE)
        return False
    said = faults.OutageSaid(Cause(form.cause.data), start, form.said_by.data, end, note=form.note.data)
    try:
        faults.record(signed(), found, [unit for unit in units if unit.id in form.units.data], said)
    except faults.OutageError as wrong:
        show_errors(form, wrong.field, str(wrong))
        return False
    return True


@bp.route("/outages/<int:outage_id>/end", methods=["GET", "POST"])
@allow(Role.OFFICER)
def end_outage(outage_id: int):
    """Say when a unit could be used again; after a danger with the name and day of the competent person's check."""
    open_one, unit, found = load_outage(outage_id, to="officer")
    zone, dangerous = _zone(found), open_one.cause is Cause.DANGER
    kind = ReopenForm if dangerous else EndForm
    local = now().astimezone(ZoneInfo(zone))
    start = {"end_day": local.date(), "end_time": minutes(local.hour * 60 + local.minute)}
    form = kind() if request.method == "POST" else kind(data=start)
    if open_one.end_at is not None:
        flash("This outage has already ended.")
        return redirect(url_for(".school", school_id=found.id))
    if request.method == "POST" and [form.validate(), _end(open_one, form, zone)] == [True, True]:
        db().commit()
        flash(f"{unit.name} is on record as working again.")
        return _back_to_today(found)
    code = 400 if request.method == "POST" else 200
    page = {"dangerous": dangerous, "together": faults.with_event(db(), open_one), "zone": zone}
    return render_template("officer/end.html", outage=open_one, unit=unit, school=found, form=form, **page), code


def _end(open_one, form, zone: str) -> bool:
    """End it, or show all that is wrong at once."""
    if form.end_day.errors or form.end_time.errors:
        return False
    at = instant(form.end_day.data, form.end_time.minutes, zone)
    checked_on = form.data.get("checked_on")
    ended = faults.Ended(at, form.data.get("checked_by") or "", checked_on)
    both = faults.with_event(db(), open_one) if form.event_too.data else [open_one]
    wrong = {one.field: str(one) for one in faults.end_problems(both, ended)}
    if at > now():
        wrong["end_day"] = FUTURE
    if checked_on is not None and checked_on > form.end_day.data:
        wrong["checked_on"] = "The check must come before the unit is used again."
    for field, message in wrong.items():
        if not form[field].errors:
            show_errors(form, field, message)
    if form.errors:
        return False
    if faults.end(signed(), both, ended):
        flash(ONE_MINUTE)
    return True


# --- jobs ---------------------------------------------------------------------------------------------------------


@bp.route("/units/<int:unit_id>/job", methods=["GET", "POST"])
@allow(Role.OFFICER)
def ask_engineer(unit_id: int):
    """Make a job for the engineer; asked twice it stays one job."""
    unit, found = load_unit(unit_id, to="officer")
    form = JobForm()
    if form.validate_on_submit():
        purpose = VisitPurpose(form.purpose.data)
        visit, new = jobs.ask(signed(), found, unit, purpose, today(_zone(found)))
        db().commit()
        flash(
            f"The engineer's list now has {unit.name}, {found.name}."
            if new
            else f"This was already asked on {visit.asked_on:%d %B %Y}. It stays one job."
        )
        return _back_to_today(found)
    code = 400 if request.method == "POST" else 200
    return render_template("officer/job.html", unit=unit, school=found, form=form), code


@bp.route("/asked/<int:visit_id>/withdraw", methods=["GET", "POST"])
@allow(Role.OFFICER)
def withdraw(visit_id: int):
    """Take a job off the engineer's list before it is done, with the reason."""
    visit, unit, found = load_unit_job(visit_id, to="officer")
    form = WithdrawForm()
    if visit.done_at is not None:
        flash(f"The engineer has done this job at {unit.name}. It stays on record.")
        return _back_to_today(found)
    if form.validate_on_submit():
        jobs.withdraw(signed(form.reason.data), visit, form.reason.data)
        db().commit()
        flash(f"Withdrawn: {unit.name}, {found.name}. The reason is on record.")
        return _back_to_today(found)
    code = 400 if request.method == "POST" else 200
    return render_template("officer/withdraw.html", visit=visit, unit=unit, school=found, form=form), code
