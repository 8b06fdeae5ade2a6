"""The officer's pages of what makes reports believable: trials, grants' shares of schools, checks by another person."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from flask import abort, flash, redirect, render_template, request, url_for
from flask_login import current_user

from tracker.intake.setup_check import OF_CHECKS, OF_GRANTS, OF_TRIALS, on_record
from tracker.intake.setup_evidence import UnitListError, read_units
from tracker.intake.spot_draw import Wanted, draw_term
from tracker.models.evidence import FundingGrant, GrantShare, SpotCheck
from tracker.models.programme import Programme, Term
from tracker.models.school import School
from tracker.records import evidence, heads, people
from tracker.records.history import SetupError
from tracker.vocabulary import Better, FittingKind, Measure, Role, SpotFigure, TrialSide
from tracker.web import clock
from tracker.web.access import allow, area_ids, load_programme, load_school
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.forms.evidence import AnswerForm, DrawForm, EndShareForm, GrantForm, ShareForm, TrialForm
from tracker.web.forms.fields import options, show_errors
from tracker.web.officer_today import bp
from tracker.web.setup_changes import saved
from tracker.web.signing import signed

LATE = "It has started already. It is kept, and reports say that it was not declared before it started."
WHERE_TO_COUNT = {
    SpotFigure.VISITS: "Add up the tallies of the week from the school's paper.",
    SpotFigure.BURNS: "Count the burns of the week from the log at the incinerator.",
    SpotFigure.LEFT: "Add up the napkins left that the week's stock list has for all machines and cupboards.",
    SpotFigure.SOLD_OUT: "Count the days of the week on which a machine was sold out, each machine for itself.",
    SpotFigure.LESSONS: "Add up the minutes of the week's lessons from the lesson book.",
}


def _whole(programme_id: int) -> Programme:
    """The programme, for an officer of all of it; what concerns every area is not decided in one."""
    programme = load_programme(programme_id)
    if area_ids(Role.OFFICER, programme.id) is not None:
        abort(404)
    return programme


def _keeps(save, form, programme: Programme, files: tuple[str, ...]) -> bool:
    """Save under the folder's own rules; False with the sentence at its field."""
    programme_id = programme.id
    return saved(save, form, lambda: on_record(db(), db().get_one(Programme, programme_id), names=files))


def _code() -> int:
    return 400 if request.method == "POST" else 200


@bp.get("/programmes/<int:programme_id>/evidence", endpoint="evidence")
@allow(Role.OFFICER)
def evidence_page(programme_id: int):
    """Trials, grants with their shares, and the way to each term's checks."""
    programme = load_programme(programme_id)
    day = clock.today(programme.zone)
    return render_template(
        "officer/evidence.html",
        programme=programme,
        whole=area_ids(Role.OFFICER, programme.id) is None,
        trials=evidence.trials_of(db(), programme.id, ZoneInfo(programme.zone)),
        grants=evidence.grants_of(db(), programme.id),
        terms=[term for term in reversed(heads.terms(db(), programme.id)) if term.first_day <= day],
        day_now=day,
    )


# --- trials -------------------------------------------------------------------------------------------------------


@bp.route("/programmes/<int:programme_id>/trials/add", methods=["GET", "POST"])
@allow(Role.OFFICER)
def add_trial(programme_id: int):
    """Declare a trial."""
    programme = _whole(programme_id)
    form = TrialForm()
    if form.validate_on_submit() and (sides := _sides(form, programme)) is not None:
        values = _trial_values(form)
        if _keeps(lambda: evidence.declare_trial(signed(), programme, values, sides), form, programme, OF_TRIALS):
            late = form.from_day.data <= clock.today(load_programme(programme_id).zone)
            db().commit()
            flash(f"Trial {form.code.data} is declared. {LATE if late else 'It cannot be changed any more.'}")
            return redirect(url_for(".evidence", programme_id=programme_id))
        programme = load_programme(programme_id)
    return render_template("officer/trial.html", programme=programme, form=form), _code()


def _trial_values(form: TrialForm) -> dict[str, object]:
    names = ("code", "question", "from_day", "until_day")
    values = {name: form[name].data for name in names} | {"at_least_thousandths": form.thousandths}
    values |= {"fitting": FittingKind(form.fitting.data), "measure": Measure(form.measure.data)}
    values |= {"better": Better(form.better.data)}
    return values | {"declared_at": clock.now(), "declared_by": current_user.name}


def _sides(form: TrialForm, programme: Programme) -> dict[TrialSide, list[int]] | None:
    """Ids of the units by side; None with the sentence at its field where a list cannot be read."""
    known = evidence.unit_ids(db(), programme.id)
    found: dict[TrialSide, list[int]] = {}
    for side, name in ((TrialSide.FITTED, "units"), (TrialSide.COMPARISON, "comparison_units")):
        try:
            found[side] = read_units(form[name].data or "", known)
        except UnitListError as wrong:
            show_errors(form, name, str(wrong))
    return found if len(found) == len(TrialSide) else None


# --- grants -------------------------------------------------------------------------------------------------------


@bp.route("/programmes/<int:programme_id>/grants/add", methods=["GET", "POST"])
@allow(Role.OFFICER)
def add_grant(programme_id: int):
    """Add a grant."""
    programme = _whole(programme_id)
    form = GrantForm()
    if form.validate_on_submit():
        values = {name: form[name].data for name in ("code", "funder", "from_day", "until_day")}
        if _keeps(lambda: evidence.add_grant(signed(), programme, values), form, programme, OF_GRANTS):
            db().commit()
            flash(f"Grant {form.code.data} is on record. Now add its shares of schools.")
            return redirect(url_for(".evidence", programme_id=programme_id))
        programme = load_programme(programme_id)
    return render_template("officer/evidence_form.html", **_page(programme, form, "Add a grant")), _code()


def _page(programme: Programme, form, title: str, about: str = "") -> dict[str, object]:
    return {"programme": programme, "form": form, "title": title, "about": about}


def _load_grant(grant_id: int) -> tuple[FundingGrant, Programme]:
    grant = db().get(FundingGrant, grant_id)
    if grant is None:
        abort(404)
    return grant, _whole(grant.programme_id)


@bp.route("/grants/<int:grant_id>/share", methods=["GET", "POST"])
@allow(Role.OFFICER)
def add_share(grant_id: int):
    """Give a grant a share of a school."""
    grant, programme = _load_grant(grant_id)
    form = ShareForm()
    form.school_id.choices = options([(one.id, one.name) for one in people.schools_of(db(), programme.id)])
    if form.validate_on_submit():
        values = {"permille": form.share.permille, "from_day": form.from_day.data, "until_day": form.until_day.data}

        def save():
            evidence.add_share(signed(form.reason.data), grant, form.school_id.data, values, reason=form.reason.data)

        if _keeps(save, form, programme, OF_GRANTS):
            db().commit()
            flash("The share is on record.")
            return redirect(url_for(".evidence", programme_id=programme.id))
        grant, programme = _load_grant(grant_id)
    about = f"Grant {grant.code}, {grant.funder}. All shares of a school together may be 100 % at most on every day."
    return render_template("officer/evidence_form.html", **_page(programme, form, "Share of a school", about)), _code()


@bp.route("/grant-shares/<int:share_id>/end", methods=["GET", "POST"])
@allow(Role.OFFICER)
def end_share(share_id: int):
    """Write a share's last day."""
    share = db().get(GrantShare, share_id)
    if share is None:
        abort(404)
    grant, programme = _load_grant(share.grant_id)
    school, form = db().get_one(School, share.school_id), EndShareForm()
    if form.validate_on_submit():

        def save():
            evidence.end_share(signed(form.reason.data), share, form.last_day.data, reason=form.reason.data)

        if _keeps(save, form, programme, OF_GRANTS):
            db().commit()
            flash("The share's last day is on record.")
            return redirect(url_for(".evidence", programme_id=programme.id))
        grant, programme = _load_grant(share.grant_id)
    about = f"{school.name}: {share.permille / 10:g} % for grant {grant.code}, {grant.funder}."
    return render_template("officer/evidence_form.html", **_page(programme, form, "End a share", about)), _code()


# --- checks by another person -------------------------------------------------------------------------------------


def _term(programme: Programme, code: str) -> Term:
    term = next((one for one in heads.terms(db(), programme.id) if one.code == code or str(one.id) == code), None)
    if term is None or term.first_day > clock.today(programme.zone):
        abort(404)
    return db().get_one(Term, term.id)


def _checks_page(programme: Programme, term: Term, form: DrawForm):
    areas = area_ids(Role.OFFICER, programme.id)
    draws = evidence.draws_of(db(), term.id, areas)
    log_view("spot checks", rows=sum(len(draw.checks) for draw in draws))
    return render_template(
        "officer/spot_checks.html",
        programme=programme,
        term=term,
        form=form,
        draws=draws,
        whole=areas is None,
        again=bool(draws),
    ), _code()


@bp.get("/programmes/<int:programme_id>/terms/<term>/spot-checks")
@allow(Role.OFFICER)
def spot_checks(programme_id: int, term: str):
    """What was drawn for a term and what was found; the draw itself is a button."""
    programme = load_programme(programme_id)
    return _checks_page(programme, _term(programme, term), DrawForm(formdata=None))


@bp.post("/programmes/<int:programme_id>/terms/<term>/spot-checks/draw")
@allow(Role.OFFICER)
def draw_checks(programme_id: int, term: str):
    """Draw figures of a term by chance. What was drawn stays; drawing again needs a reason and shows both."""
    programme = _whole(programme_id)
    chosen, form = _term(programme, term), DrawForm()
    if form.validate_on_submit():
        reason = form.reason.data
        wanted = Wanted(form.schools.data, form.figures_each.data, current_user.name, clock.now(), reason)
        try:
            number = draw_term(signed(reason), programme, chosen, wanted)
        except SetupError as wrong:
            db().rollback()
            show_errors(form, wrong.field, str(wrong))
            programme = load_programme(programme_id)
            return _checks_page(programme, _term(programme, term), form)
        db().commit()
        flash(f"{number} figures are drawn. They stay as they are.")
        return redirect(url_for(".spot_checks", programme_id=programme_id, term=term))
    return _checks_page(programme, chosen, form)


@bp.route("/spot-checks/<int:check_id>", methods=["GET", "POST"])
@allow(Role.OFFICER)
def answer_check(check_id: int):
    """What another person found, typed on the spot or afterwards."""
    check, school, programme = _load_check(check_id)
    known = evidence.answer_of(db(), check)
    form = _answer_form(known, programme)
    if form.validate_on_submit() and not _too_late(form, programme):
        names = ("found", "checked_by", "checker_role", "checked_on", "note")
        values, reason = {name: form[name].data for name in names}, form.reason.data
        if _keeps(lambda: evidence.answer(signed(reason), check, values, reason=reason), form, programme, OF_CHECKS):
            term = db().get_one(Term, evidence.draw_of(db(), check).term_id)
            db().commit()
            flash(f"Recorded for {school.name}: reported {check.reported}, found {values['found']}.")
            return redirect(url_for(".spot_checks", programme_id=programme.id, term=term.code))
        check, school, programme = _load_check(check_id)
    term = db().get_one(Term, evidence.draw_of(db(), check).term_id)
    return render_template(
        "officer/spot_answer.html",
        check=check,
        school=school,
        programme=programme,
        term=term,
        form=form,
        answered=known is not None,
        where=WHERE_TO_COUNT[check.figure],
    ), _code()


def _load_check(check_id: int) -> tuple[SpotCheck, School, Programme]:
    check = db().get(SpotCheck, check_id)
    if check is None:
        abort(404)
    school = load_school(check.school_id, to="officer")
    return check, school, db().get_one(Programme, school.programme_id)


def _answer_form(known, programme: Programme) -> AnswerForm:
    if request.method == "POST":
        return AnswerForm()
    names = ("found", "checked_by", "checker_role", "checked_on", "note")
    begin = {} if known is None else {name: getattr(known, name) for name in names}
    return AnswerForm(formdata=None, data={"checked_on": clock.today(programme.zone)} | begin)


def _too_late(form: AnswerForm, programme: Programme) -> bool:
    if form.checked_on.data <= clock.today(programme.zone):
        return False
    show_errors(form, "checked_on", "This day has not come yet. Write the day of the check.")
    return True
