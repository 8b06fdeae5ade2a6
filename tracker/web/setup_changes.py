"""Changing what is set up: one route for a school's acts, one for a programme's."""

from __future__ import annotations

from flask import abort, flash, redirect, render_template, request, url_for
from sqlalchemy.exc import IntegrityError

from tracker.intake.setup_check import check_change, on_record, sentences
from tracker.models.programme import Programme
from tracker.records import history, setup_read
from tracker.vocabulary import Role
from tracker.web import clock, setup_acts, setup_programme_acts, setup_water_acts, words
from tracker.web.access import allow, load_programme, load_school
from tracker.web.database import db
from tracker.web.forms.fields import show_errors
from tracker.web.setup_pages import bp
from tracker.web.signing import signed

FIELDS = {  # the form's name of a column of the exchange format
    **dict.fromkeys(("school", "area", "term", "block", "unit", "break", "agreement"), ("code",)),
    "visit_ml": ("litres",),
    "flush_ml": ("litres",),
    "long_visit_ml": ("long_litres",),
    "long_after_s": ("threshold_s",),
    "every_visits": ("every_n",),
    "factor_permille": ("factor",),
    "u_permille": ("uncertainty",),
    **dict.fromkeys(("capacity_ml", "cycle_ml"), ("litres",)),
    "cycle": ("name",),
    "share_permille": ("share",),
    "visit_seconds": ("seconds",),
    "wh_thousandths": ("watt_hours",),
    "burn_pads": ("pads",),
    "burn_g": ("grams",),
    "group": ("grp",),
    "grade": ("new_grade", "grade"),
    "age_years": ("age",),
    "from_local_time": ("day",),
    "from_day": ("from_day", "last_day"),
    "until_day": ("until_day", "last_day"),
    "latitude_deg": ("latitude",),
    "longitude_deg": ("longitude",),
    "target_thousandths": ("value",),
    **dict.fromkeys(("trial", "grant"), ("code",)),
    "at_least_thousandths": ("at_least",),
    "permille": ("share",),
}
SCHOOL_ACTS = setup_acts.ACTS | setup_water_acts.ACTS
CLASH = "This does not go together with what is on record. Look at the codes and the days."


@bp.route("/schools/<int:school_id>/setup/<act>", methods=["GET", "POST"])
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def change(school_id: int, act: str):
    """One change of a school; ``?row=`` names the row that is changed."""
    school = load_school(school_id, to="setup")
    chosen = SCHOOL_ACTS.get(act)
    if chosen is None:
        abort(404)
    row = _row(chosen, school)
    zone = db().get_one(Programme, school.programme_id).zone
    record = setup_read.school_record(db(), school)
    form = _form(chosen, row, record, zone)
    about = _about(row) or _named(form)
    if form.validate_on_submit():
        todo = setup_acts.Change(signed(_reason(form)), school, form, row, zone)
        at = db().get_one(Programme, school.programme_id)
        if saved(lambda: chosen.save(todo), form, lambda: on_record(db(), at, school_id)):
            db().commit()
            flash(_recorded(chosen.title, about, school.name))
            return redirect(url_for(".school", school_id=school_id))
        school = load_school(school_id, to="setup")
        row = _row(chosen, school)
    page = {"title": chosen.title, "form": form, "caution": chosen.caution, "about": _about(row)}
    back = (school.name, url_for(".school", school_id=school_id))
    return render_template("setup/change.html", back=back, **page), 400 if request.method == "POST" else 200


def _row(chosen, school):
    if chosen.of is None:
        return None
    row = history.find(db(), chosen.of, request.args.get("row", 0, type=int), school)
    if row is None or (chosen.kinds and row.kind not in chosen.kinds):
        abort(404)
    return row


def _about(row) -> str:
    """What the changed row is called, for the page's heading."""
    return next((words.word(getattr(row, name)) for name in ("name", "buyer", "kind") if getattr(row, name, None)), "")


def _form(chosen, row, record, zone):
    if request.method == "POST":
        form = chosen.form()
    else:
        begin = setup_acts.start_day(chosen.form(formdata=None), clock.today(zone))
        if chosen.start is not None:
            begin |= dict(chosen.start(row, record))
        form = chosen.form(formdata=None, data=begin)
    if chosen.offer is not None:
        chosen.offer(form, record)
    return form


def _reason(form) -> str:
    return form.reason.data if "reason" in form else ""


def _recorded(title: str, about: str, where: str) -> str:
    """What was recorded, in one sentence."""
    what = f"{title}: {about}" if about else title
    return f"Recorded for {where}: {what}. What was before stays on record."


def _named(form) -> str:
    """What a form adds is called, as typed."""
    said = next((form[name].data for name in ("name", "buyer", "serial", "code") if name in form), "")
    return said or ""


def saved(save, form, rows) -> bool:
    """Run a saver; False with the sentence at its field where the change is refused, and nothing half saved.

    Whatever the saver wrote is held against the rules for a folder's lines (``rows``: the set-up on record).
    """
    try:
        before = rows()
        save()
        refused = sentences(check_change(before, rows()))
    except history.SetupError as wrong:
        db().rollback()
        show_errors(form, wrong.field, str(wrong))
        return False
    except IntegrityError:
        db().rollback()
        show_errors(form, "", CLASH)
        return False
    if refused:
        db().rollback()
        for column, message in refused:
            show_errors(form, next((name for name in FIELDS.get(column, (column,)) if name in form), ""), message)
        return False
    return True


@bp.route("/setup/<int:programme_id>/<act>", methods=["GET", "POST"])
@allow(Role.ADMINISTRATOR)
def change_programme(programme_id: int, act: str):
    """One change of a programme."""
    programme = load_programme(programme_id, to="setup")
    chosen = setup_programme_acts.ACTS.get(act)
    if chosen is None:
        abort(404)
    day = clock.today(programme.zone)
    form = _form(chosen, None, setup_read.programme_record(db(), programme), programme.zone)
    if form.validate_on_submit():
        todo = setup_programme_acts.Change(signed(_reason(form)), programme, form, day)
        if saved(lambda: chosen.save(todo), form, lambda: on_record(db(), programme)):
            db().commit()
            flash(_recorded(chosen.title, _named(form), programme.name))
            return redirect(url_for(".programme", programme_id=programme_id))
        programme = load_programme(programme_id, to="setup")
    page = {"title": chosen.title, "form": form, "caution": "", "about": ""}
    back = (programme.name, url_for(".programme", programme_id=programme_id))
    return render_template("setup/change.html", back=back, **page), 400 if request.method == "POST" else 200
