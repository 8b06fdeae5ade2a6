"""The coordinator's door: what came of last week, the week sheet, the paper sheet, and "report now"."""

from __future__ import annotations

from datetime import date, datetime

from flask import Blueprint, abort, current_app, flash, redirect, render_template, request, session, url_for
from flask_login import current_user

from tracker.intake import week_paper
from tracker.intake import week_sheet as sheet_rules
from tracker.measures.calendar import week_of
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.records import dangers, sheet_outcomes, sheets
from tracker.vocabulary import Danger, Role, Source
from tracker.web import log_view, week_acts, week_phone, week_view
from tracker.web import week_paper as paper_way
from tracker.web.access import acting_role, allow, load_school, person_id, school_ids
from tracker.web.clock import now, today
from tracker.web.database import db
from tracker.web.forms.danger import DangerForm

bp = Blueprint("coordinator", __name__)

WHOLE_BLOCK = "block:"
CAUTION_OF = {
    Danger.SMOKE: ("smoke", "incinerator"),
    Danger.WIRES: ("live_parts",),
    Danger.LOCKED_IN: ("locked_in",),
    Danger.FLOOD: ("flood", "electrical"),
    Danger.OTHER: ("other_danger",),
}
SOURCE_OF = {Role.COORDINATOR: Source.TALLY, Role.OFFICER: Source.OFFICER, Role.ENGINEER: Source.ENGINEER}


def _week(school: School, text: str) -> date:
    """The week of the address: the first day of one of the programme's weeks; 404 for anything else."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        abort(404)
    if day != week_of(day, _programme(school).first_weekday):
        abort(404)
    return day


def _programme(school: School) -> Programme:
    return db().get_one(Programme, school.programme_id)


@bp.get("/log")
@allow(Role.COORDINATOR)
def home():
    """The person's schools; with only one, its page."""
    ids = school_ids()
    if len(ids) == 1:
        return redirect(url_for(".school_log", school_id=ids[0]))
    return render_template("coordinator/home.html", schools=log_view.schools(ids))


@bp.get("/schools/<int:school_id>/log")
@allow(Role.COORDINATOR)
def school_log(school_id: int):
    """First what came of last week's sheet, then this week's."""
    school = load_school(school_id, to="log")
    programme = _programme(school)
    shown = log_view.log_of(school, programme, today(programme.zone), now())
    return render_template(
        "coordinator/log.html",
        school=school,
        zone=programme.zone,
        received=_received(school),
        report_url=_report_url(school),
        **shown,
    )


def _received(school: School) -> dict[str, object] | None:
    """What was just sent from this browser, shown once."""
    said = session.pop("received", None)
    if not said or said.get("school") != school.id:
        return None
    return {
        "week": date.fromisoformat(said["week"]),
        "reference": said["reference"],
        "at": datetime.fromisoformat(said["at"]),
        "key": said.get("key", ""),
    }


def _report_url(school: School) -> str:
    if "reports.school_term" not in current_app.view_functions:
        return ""
    term = sheet_outcomes.latest_term(db(), school.programme_id, today(_programme(school).zone))
    return url_for("reports.school_term", school_id=school.id, term=term.code) if term is not None else ""


# --- the week sheet -----------------------------------------------------------------------------------------------


@bp.route("/schools/<int:school_id>/weeks/<week>", methods=["GET", "POST"])
@allow(Role.COORDINATOR)
def week_sheet(school_id: int, week: str):
    """Show the sheet, keep it as a draft, check it, or send it: two pages for a whole week."""
    school = load_school(school_id, to="log")
    first_day = _week(school, week)
    if request.method == "GET":
        return week_acts.sheet_page(week_view.opened(school, first_day))
    week_acts.act_as(school)
    view = week_view.typed(school, first_day, request.form)
    name, _, rest = request.form.get("act", "check").partition(":")
    return week_acts.act(name, view, rest)


@bp.post("/schools/<int:school_id>/weeks/<week>/send")
@allow(Role.COORDINATOR)
def send_week(school_id: int, week: str):
    """Take a sheet that a phone had kept; the answer is JSON for the page's script."""
    school = load_school(school_id, to="log")
    first_day = _week(school, week)
    week_acts.act_as(school)
    return week_phone.receive(week_view.typed(school, first_day, request.form), _programme(school).zone)


@bp.post("/schools/<int:school_id>/weeks/<week>/queries/<int:number>")
@allow(Role.COORDINATOR)
def answer_query(school_id: int, week: str, number: int):
    """Answer a question; question and answer both stay."""
    school = load_school(school_id, to="log")
    first_day = _week(school, week)
    sheet = sheets.find_sheet(db(), school.id, first_day)
    query = sheets.find_query(db(), sheet.id, number) if sheet is not None else None
    if query is None:
        abort(404)
    week_acts.act_as(school)
    try:
        sheets.answer(db(), query, request.form.get("answer", ""), at=now(), person_id=person_id())
    except sheets.SheetError as refused:
        view = week_view.opened(school, first_day)
        problem = sheet_rules.CellProblem("", str(refused), "")
        return week_acts.sheet_page(view, [problem], 400)
    db().commit()
    flash("Answer received.")
    return redirect(url_for(".week_sheet", school_id=school.id, week=week) + f"#query-{number}")


@bp.get("/schools/<int:school_id>/weeks/<week>/tally")
@allow(Role.COORDINATOR)
def tally(school_id: int, week: str):
    """The same sheet on paper, in the same order."""
    school = load_school(school_id, to="log")
    first_day = _week(school, week)
    view = week_view.opened(school, first_day)
    address = url_for(".week_sheet", school_id=school.id, week=first_day.isoformat(), _external=True)
    return render_template(
        "coordinator/tally.html",
        view=view,
        school=school,
        phone=_programme(school).phone,
        pages=week_paper.pages(view.layout),
        totals=week_paper.total_boxes(view.layout),
        square=paper_way.square(address),
    )


@bp.get("/log/paper")
@allow(Role.COORDINATOR)
def by_code():
    """Open the week whose code stands on a paper sheet."""
    code = paper_way.plain_code(request.args.get("code", ""))
    found = paper_way.found(db(), school_ids(), code) if code else None
    if found is not None:
        school, week = found
        return redirect(url_for(".week_sheet", school_id=school.id, week=week.isoformat()))
    errors = [("code", paper_way.UNKNOWN)] if code else []
    return render_template("coordinator/paper_code.html", code=code, errors=errors), 400 if errors else 200


# --- danger -------------------------------------------------------------------------------------------------------


@bp.route("/schools/<int:school_id>/report-now", methods=["GET", "POST"])
@allow(Role.COORDINATOR, Role.OFFICER, Role.ENGINEER)
def report_now(school_id: int):
    """Any day, two taps: close the unit at once, show the caution and whom to phone."""
    school = load_school(school_id, to="warn")
    programme = _programme(school)
    units = dangers.units_at(db(), school.id, today(programme.zone))
    form = DangerForm()
    form.offer(_places(units))
    if request.method == "POST" and form.validate_on_submit():
        week_acts.act_as(school)
        chosen = [unit for unit, block in units if form.where.data in (f"unit:{unit.id}", f"{WHOLE_BLOCK}{block.id}")]
        said = dangers.Said(
            Danger(form.what.data), now(), current_user.name, SOURCE_OF[Role(acting_role())], form.note.data or ""
        )
        dangers.report(db(), school, chosen, said)
        db().commit()
        return redirect(url_for(".reported", school_id=school.id, what=said.danger.name))
    code = 400 if form.errors else 200
    page = render_template(
        "coordinator/report_now.html",
        school=school,
        form=form,
        errors=[(f"{field}-0", sentence) for field, sentences in form.errors.items() for sentence in sentences],
        phone=programme.phone,
        cautions=("locked_in", "live_parts"),
    )
    return page, code


def _places(units) -> list[tuple[str, str]]:
    """Each unit, and after a block's units the whole block."""
    choices: list[tuple[str, str]] = []
    blocks = list(dict.fromkeys(block for _, block in units))
    for block in blocks:
        inside = [unit for unit, its in units if its is block]
        choices += [(f"unit:{unit.id}", f"{unit.code} {unit.name}") for unit in inside]
        choices.append((f"{WHOLE_BLOCK}{block.id}", f"The whole block: {block.name}"))
    return choices


@bp.get("/schools/<int:school_id>/report-now/done")
@allow(Role.COORDINATOR, Role.OFFICER, Role.ENGINEER)
def reported(school_id: int):
    """What is closed now, whom to phone, and the caution."""
    school = load_school(school_id, to="warn")
    programme = _programme(school)
    what = next((one for one in Danger if one.name == request.args.get("what")), Danger.OTHER)
    coordinates = school.id in school_ids()
    return render_template(
        "coordinator/reported.html",
        school=school,
        zone=programme.zone,
        phone=programme.phone,
        units=dangers.open_dangers(db(), school_id=school.id),
        cautions=CAUTION_OF[what],
        locked_in=what is Danger.LOCKED_IN,
        log_url=url_for(".school_log", school_id=school.id) if coordinates else "",
    )
