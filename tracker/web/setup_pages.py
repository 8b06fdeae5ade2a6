"""The set-up pages of a programme and of a school: what is on record, with its days, and where to change it."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.records import setup_read, today
from tracker.records.settings import KEYS, all_settings
from tracker.reports import printing
from tracker.vocabulary import Role
from tracker.web import access, clock, words
from tracker.web.access import allow, load_programme, load_school
from tracker.web.accesslog import log_view
from tracker.web.database import db

bp = Blueprint("setup", __name__)

SCHOOLS = 50  # on a page


@bp.get("/setup")
@allow(Role.ADMINISTRATOR)
def home():
    """Lead to the only programme, or offer those the administrator has."""
    mine = access.programme_ids(Role.ADMINISTRATOR)
    if len(mine) == 1:
        return redirect(url_for(".programme", programme_id=mine[0]))
    return render_template("setup/programmes.html", programmes=today.programmes(db(), mine))


@bp.get("/setup/<int:programme_id>")
@allow(Role.ADMINISTRATOR)
def programme(programme_id: int):
    """A programme's schools, terms, closures, rounds, settings and targets."""
    found = load_programme(programme_id, to="setup")
    page = max(request.args.get("page", 1, type=int), 1)
    record = setup_read.programme_record(db(), found)
    schools, total = setup_read.schools_page(db(), found.id, None, first=(page - 1) * SCHOOLS, count=SCHOOLS)
    return render_template(
        "setup/programme.html",
        programme=found,
        record=record,
        schools=schools,
        page=page,
        pages=max(-(-total // SCHOOLS), 1),
        keys=KEYS,
        target_names=_target_names([*record.targets, *record.baselines]),
        target_value=words.target_value,
        setting_name=words.setting_name,
        setting_value=words.setting_value,
        money=printing.money,
        now_in_force=all_settings(db(), found.id, clock.today(found.zone)),
    )


def _target_names(targets) -> dict[str, str]:
    """What the figures of targets are called, by key."""
    if not targets:
        return {}
    from tracker.reports.figures import ALL as FIGURES  # brings pandas, which a programme without targets does without

    return {one.key: one.label for one in FIGURES}


@bp.get("/schools/<int:school_id>/setup")
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def school(school_id: int):
    """All that is set up of a school, what was before included."""
    found = load_school(school_id, to="setup")
    at = db().get_one(Programme, found.programme_id)
    log_view("school set-up", found.code)
    return render_template(
        "setup/school.html",
        school=found,
        programme=at,
        record=setup_read.school_record(db(), found),
        day_now=clock.today(at.zone),
        is_administrator=access.acting_role() == Role.ADMINISTRATOR.value,
    )
