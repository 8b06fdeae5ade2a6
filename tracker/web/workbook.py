"""The week sheet as a spreadsheet: a workbook to take away, a look at what it would change, then yes or no.

Nothing of a file is kept on the server. What was read travels in the page from the look to the yes and is checked
there anew; so nothing lies about half done, and a look that nobody ends leaves nothing behind.
"""

from __future__ import annotations

import io
import secrets
from datetime import date
from typing import NamedTuple

from flask import Blueprint, abort, flash, redirect, render_template, request, send_file, url_for
from sqlalchemy.exc import IntegrityError

from tracker.cautions import CAUTIONS
from tracker.intake import workbook_form as form
from tracker.intake import workbook_load as loading
from tracker.intake.workbook_in import Book, read_workbook
from tracker.intake.workbook_out import Out, workbook
from tracker.intake.workbook_safe import WorkbookError
from tracker.measures.calendar import week_of, weeks_covering
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.records import heads, people, sheets
from tracker.vocabulary import Role
from tracker.web.access import allow, load_programme, load_school, person_id
from tracker.web.clock import now, today
from tracker.web.database import db, let_go
from tracker.web.signing import signed

bp = Blueprint("workbook", __name__)

FOR = ("log", "officer")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
CHOOSE_FILE = "Choose the workbook that you filled in."
NO_SCHOOL = "This workbook is of no school of this programme. Open the page of its own programme."
CAUTION_LINES = {
    key: (f"{one.hazard} {one.harm}", *one.steps, one.defer, one.standing) for key, one in CAUTIONS.items()
}
NEWEST_TERMS = 6


class _Said(NamedTuple):
    """What was typed beside the file."""

    note: str
    reason: str
    key: str


@bp.get("/schools/<int:school_id>/workbook")
@allow(Role.COORDINATOR, Role.OFFICER)
def page(school_id: int):
    """Get a workbook, and load one."""
    return _page(load_school(school_id, to=FOR))


def _page(school: School, said: str = "", code: int = 200):
    programme, day = _programme(school), today(_programme(school).zone)
    this = week_of(day, programme.first_weekday)
    terms = [one for one in heads.terms(db(), programme.id) if one.first_day <= day]
    shown = {"this": this, "terms": terms[::-1][:NEWEST_TERMS], "school": school, "programme": programme}
    return render_template("coordinator/workbook.html", said=said, **shown), code


def _programme(school: School) -> Programme:
    return db().get_one(Programme, school.programme_id)


@bp.get("/schools/<int:school_id>/workbook/weeks/<week>.xlsx")
@allow(Role.COORDINATOR, Role.OFFICER)
def week_file(school_id: int, week: str):
    """A workbook of one week."""
    school = load_school(school_id, to=FOR)
    try:
        day = date.fromisoformat(week)
    except ValueError:
        abort(404)
    if day != week_of(day, _programme(school).first_weekday):
        abort(404)
    return _file(_made(school, [loading.page_for(db(), school.id, day)]), f"{school.code}-{week}.xlsx")


@bp.get("/schools/<int:school_id>/workbook/terms/<int:term_id>.xlsx")
@allow(Role.COORDINATOR, Role.OFFICER)
def term_file(school_id: int, term_id: int):
    """A workbook of a term: a page for each of its weeks that has begun."""
    school = load_school(school_id, to=FOR)
    programme = _programme(school)
    head = next((one for one in heads.terms(db(), programme.id) if one.id == term_id), None)
    if head is None or head.first_day > today(programme.zone):
        abort(404)
    last = min(head.last_day, today(programme.zone))
    weeks = weeks_covering(head.first_day, last, programme.first_weekday)[: form.MOST_WEEKS]
    pages = [loading.page_for(db(), school.id, week) for week in weeks]
    return _file(_made(school, pages), f"{school.code}-{head.code}.xlsx")


def _made(school: School, pages) -> bytes:
    return workbook(Out(_programme(school).code, school.code, school.name, pages, CAUTION_LINES))


def _file(data: bytes, name: str):
    return send_file(io.BytesIO(data), mimetype=XLSX, as_attachment=True, download_name=name)


# --- the look, and the yes ----------------------------------------------------------------------------------------


@bp.post("/schools/<int:school_id>/workbook")
@allow(Role.COORDINATOR, Role.OFFICER)
def look(school_id: int):
    """Read a workbook and show what it would change; nothing is written."""
    load_school(school_id, to=FOR)
    let_go()  # a file is read without a lock on the records
    try:
        book = _read()
        school = load_school(school_id, to=FOR)
        loading.check_owner(book, _programme(school).code, school.code)
    except WorkbookError as refused:
        return _page(load_school(school_id, to=FOR), str(refused), 400)
    return _looked(school, book)


@bp.route("/programmes/<int:programme_id>/workbook", methods=["GET", "POST"])
@allow(Role.OFFICER)
def of_programme(programme_id: int):
    """Load a workbook of any school of the officer: the workbook says which."""
    programme, said = load_programme(programme_id, to="officer"), ""
    if request.method == "POST":
        let_go()
        try:
            book = _read()
            programme = load_programme(programme_id, to="officer")
            found = people.school_by_code(db(), programme.id, book.school)
            if found is None or book.programme != programme.code:
                raise WorkbookError(NO_SCHOOL)
            return _looked(load_school(found.id, to="officer"), book)
        except WorkbookError as refused:
            programme, said = load_programme(programme_id, to="officer"), str(refused)
    return render_template(
        "coordinator/workbook.html", school=None, programme=programme, said=said
    ), 400 if said else 200


def _read() -> Book:
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        raise WorkbookError(CHOOSE_FILE)
    return read_workbook(sent.filename, sent.read())


def _looked(school: School, book: Book):
    """What would change; all that was sent in the session for the look is undone."""
    outcomes = loading.load(signed("a look"), book, _by(school, _Said("", "a look", secrets.token_urlsafe(18))))
    reason = any(sheets.published_covers(db(), school, one.page.week) for one in outcomes)
    return _shown(school, book, outcomes, reason)


def _by(school: School, said: _Said) -> loading.Loading:
    day = today(_programme(school).zone)
    return loading.Loading(school, now(), day, person_id(), said.key, said.note, said.reason)


def _shown(school: School, book: Book, outcomes, reason: bool, said: _Said | None = None):
    """The page between look and yes, or what is to be put right. What was sent for the look is undone first."""
    shown = {"name": school.name, "id": school.id}
    db().rollback()
    wrong = [(one, problem) for one in outcomes for problem in one.problems]
    page = render_template(
        "coordinator/workbook_look.html",
        school=shown,
        outcomes=outcomes,
        wrong=wrong,
        placed=any(problem.cell for _, problem in wrong),
        asked=[(one, question) for one in outcomes for question in one.questions],
        writes=[one for one in outcomes if one.state in (loading.NEW, loading.CHANGE)],
        title_of=form.sheet_title,
        packed=loading.packed(book),
        key=said.key if said else secrets.token_urlsafe(18),
        reason_needed=reason,
        typed=said,
    )
    return page, 400 if wrong else 200


def _carried(school: School) -> Book:
    """What the page carried; somebody else's is refused like what does not exist."""
    try:
        book = loading.unpacked(request.form.get("book", ""))
        loading.check_owner(book, _programme(school).code, school.code)
    except ValueError:
        abort(400)
    return book


@bp.post("/schools/<int:school_id>/workbook/load")
@allow(Role.COORDINATOR, Role.OFFICER)
def load(school_id: int):
    """Write all weeks of the workbook, or none. The same workbook again changes nothing."""
    try:
        return _load(load_school(school_id, to=FOR))
    except (IntegrityError, sheets.SheetError):  # somebody sent one of the weeks at the same moment: look again
        let_go()
        school = load_school(school_id, to=FOR)
        return _looked(school, _carried(school))


def _load(school: School):
    book = _carried(school)
    note, reason, key = (" ".join(request.form.get(name, "").split()) for name in ("note", "reason", "key"))
    said = _Said(note[:200], reason[:200], key[:40] or secrets.token_urlsafe(18))
    outcomes = loading.load(signed(said.reason), book, _by(school, said))
    if any(one.problems for one in outcomes):
        asked = any(problem.message == loading.REASON_MISSING for one in outcomes for problem in one.problems)
        return _shown(school, book, outcomes, asked, said)
    written = sum(bool(one.reference) for one in outcomes)
    address = url_for(".page", school_id=school.id)
    db().commit()
    weeks = "1 week was received." if written == 1 else f"{written} weeks were received."
    flash(weeks if written else "All of it is on record already. Nothing was changed.")
    return redirect(address)


@bp.post("/schools/<int:school_id>/workbook/reasons")
@allow(Role.COORDINATOR, Role.OFFICER)
def reasons(school_id: int):
    """The refused workbook with the sentences beside the cells."""
    school = load_school(school_id, to=FOR)
    book = _carried(school)
    outcomes = loading.load(signed("a look"), book, _by(school, _Said("", "a look", secrets.token_urlsafe(18))))
    db().rollback()
    school = load_school(school_id, to=FOR)
    pages = [loading.refused_page(db(), school.id, one) for one in outcomes]
    return _file(_made(school, pages), f"{school.code}-what-to-do.xlsx")
