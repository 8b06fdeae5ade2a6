"""What can be done with a week sheet: keep, fill, check, send, choose between two versions."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, session, url_for
from sqlalchemy.exc import IntegrityError

from tracker.intake import week_sheet as sheet_rules
from tracker.intake import week_totals
from tracker.intake.week_layout import RowCounts
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.records import audit, sheets
from tracker.web import week_view
from tracker.web.access import acting_role, load_school, person_id
from tracker.web.clock import now, today
from tracker.web.database import db, let_go
from tracker.web.week_view import PREFIX, WeekView

REASON_MISSING = "A published report covers this week. Write in a few words why the figures change."
NOT_BEGUN = "This week has not begun yet. Keep it as a draft and send it when the week is over."
OLD_FORM = "This sheet was begun on a form that is no longer in use. Look at each figure, then check and send again."
CHOOSE = "Choose yours or theirs for this figure."


def _zone(school: School) -> str:
    return db().get_one(Programme, school.programme_id).zone


def act_as(school: School) -> None:
    """Sign the audit rows of this request."""
    db().info["actor"] = audit.Actor(person_id(), acting_role(), school.programme_id)
    db().info["now"] = now()


def sheet_page(view: WeekView, problems=(), code: int = 200):
    """The sheet with all that was typed, and what is wrong at its cell and on top."""
    wrong: dict[str, list[str]] = {}
    for one in problems:
        wrong.setdefault(one.cell, []).append(one.message)
    errors = [(_place(one.cell), f"{view.cell_label(one.cell)}: {one.message}") for one in problems]
    page = render_template(
        "coordinator/sheet.html",
        view=view,
        school=view.school,
        wrong=wrong,
        errors=errors,
        unfolded=view.unfolded(wrong),
    )
    return page, code


def _place(cell: str) -> str:
    return "reason" if cell == "reason" else f"{PREFIX}{cell}" if cell else "main"


def _draft(view: WeekView, _rest: str):
    """Keep what is typed, right or wrong; it is not sent."""
    sheets.save_draft(
        db(), person_id(), view.school.id, view.week, cells=_filled(view), base=max(view.base, 0), at=now()
    )
    db().commit()
    flash("Draft kept on the server. Not sent yet.")
    return redirect(url_for(".week_sheet", school_id=view.school.id, week=view.week.isoformat()))


def _filled(view: WeekView) -> dict[str, str]:
    return {name: text for name, text in view.cells.items() if text}


def _back(view: WeekView, _rest: str):
    return sheet_page(view)


def _fill(view: WeekView, rest: str, text: str):
    table, _, column = rest.rpartition(":")
    if column.isdecimal():
        view.cells = sheet_rules.fill_column(view.layout, view.cells, table, int(column[:2]), text)
    return sheet_page(view)


def _zeros(view: WeekView, rest: str):
    return _fill(view, rest, "0")


def _rest_worked(view: WeekView, rest: str):
    return _fill(view, rest, "working")


def _more(view: WeekView, rest: str):
    rows = view.layout.rows
    view.rows = RowCounts(rows.outages + (rest == "out"), rows.sessions + (rest == "sessions"))
    return sheet_page(view)


def _problems(view: WeekView, checked) -> list:
    """Refusals of the checker, and what only the page knows: a reason after publication, a week to come."""
    found = list(checked.refusals)
    if not view.form_known:
        found.append(sheet_rules.CellProblem("", OLD_FORM, ""))
    if view.week > today(_zone(view.school)):
        found.append(sheet_rules.CellProblem("", NOT_BEGUN, ""))
    if view.reason_needed and not view.reason:
        found.append(sheet_rules.CellProblem("reason", REASON_MISSING, ""))
    return found


def _check(view: WeekView, _rest: str = ""):
    """The short check before sending; with a refusal, the sheet again."""
    checked = sheet_rules.check(view.context, view.layout, view.cells, view.kept, now())
    problems = _problems(view, checked)
    if problems:
        return sheet_page(view, problems, 400)
    if view.base != (view.sheet.version if view.sheet else 0):
        return _conflict(view, "Somebody sent this week after you opened it.")
    return render_template(
        "coordinator/check.html",
        view=view,
        school=view.school,
        questions=_questions(view, checked.questions),
        paper=_paper(view, {one.cell for one in checked.questions}),
        totals=sheet_rules.totals(view.layout, checked),
        blanks=sheet_rules.blanks(view.layout, view.cells),
        closed_days=sheet_rules.closed_days(view.layout),
    )


def _paper(view: WeekView, asked: set[str]) -> dict[str, Any]:
    """What the check page asks of the paper's totals, and at which table each of them is to be looked at again."""
    found = week_totals.parts(view.layout.tables())
    typed = week_totals.typed_totals(view.cells)
    return {
        "control": week_totals.CONTROL,
        "ask": view.from_paper and bool(found) and week_totals.CONTROL not in typed,
        "parts": [one for one in found if week_totals.CONTROL in asked and one.key not in typed],
        "at": {one.key: one for one in found},
    }


def _questions(view: WeekView, asked) -> list[dict[str, str]]:
    """Each cell once, with all that is asked about it, and last week's count where no sentence names it."""
    shown = view.layout.by_key()
    found: dict[str, dict[str, Any]] = {}
    for q in asked:
        one = found.setdefault(q.cell, {"cell": q.cell, "label": view.cell_label(q.cell), "value": q.value, "said": []})
        one["said"].append(q.message)
    for name, one in found.items():
        one["message"] = " ".join(one.pop("said"))
        counted = name in shown and shown[name].kind == "count" and "Last week:" not in one["message"]
        one["last"] = shown[name].last if counted else ""
    return list(found.values())


def _send(view: WeekView, _rest: str):
    """Send once, however often the form arrives; of two who send at the same moment one is told."""
    try:
        return _send_once(view)
    except IntegrityError:  # the other writer was first: look again from where it left things
        let_go()
        school = load_school(view.school.id, to="log")
        act_as(school)
        return _send_once(week_view.typed(school, view.week, request.form))


class NotFitError(ValueError):
    """What was typed cannot be sent as it stands; ``problems`` say why, cell by cell."""

    def __init__(self, problems: list):
        super().__init__()
        self.problems = problems


def _send_once(view: WeekView):
    try:
        sent = deliver(view)
    except NotFitError as refused:
        return sheet_page(view, refused.problems, 400)
    except (sheets.StaleError, sheets.KeyReusedError) as refused:
        db().rollback()
        return _conflict(week_view.typed(view.school, view.week, request.form), str(refused))
    except sheets.ReasonNeededError:  # published while the check page was open
        db().rollback()
        again = week_view.typed(view.school, view.week, request.form)
        return sheet_page(again, [sheet_rules.CellProblem("reason", REASON_MISSING, "")], 400)
    remember(view, sent)
    return redirect(url_for(".school_log", school_id=view.school.id))


def deliver(view: WeekView) -> sheets.Sent:
    """Write the sheet once and commit; the very form that was received before gets the same answer.

    Raises:
        NotFitError, and what ``sheets.send`` raises: nothing was written.
    """
    checked = sheet_rules.check(view.context, view.layout, view.cells, view.kept, now())
    sent = _again(view, checked)
    if sent is None:
        problems = _problems(view, checked)
        if problems:
            raise NotFitError(problems)
        sent = sheets.send(db(), _sending(view, checked))
    sheets.drop_draft(db(), person_id(), view.school.id, view.week)
    db().commit()
    return sent


def remember(view: WeekView, sent: sheets.Sent) -> None:
    """Say on the next page of this browser that the sheet was received."""
    session["received"] = {
        "school": view.school.id,
        "week": view.week.isoformat(),
        "reference": sent.reference,
        "at": sent.at.isoformat(),
        "key": view.key,
    }


def _again(view: WeekView, checked) -> sheets.Sent | None:
    """The answer already given to this very form, so that a resend is never refused for what it did itself."""
    try:
        return sheets.answered_before(db(), view.key, sheets.sending_hash(_sending(view, checked)))
    except sheets.KeyReusedError:
        return None


def _sending(view: WeekView, checked) -> sheets.Sending:
    payload = checked.facts.payload()
    notes = {name: text for name, text in view.notes.items() if name not in _noted_in_rows(checked)}
    if notes:
        payload["confirmed"] = notes
    confirmed = tuple(
        sheets.Confirmed(q.cell, q.message, view.cells.get(f"note:{q.cell}", "").strip()) for q in checked.questions
    )
    return sheets.Sending(
        school=view.school,
        week=view.week,
        payload=payload,
        rows=checked.values,
        at=now(),
        person_id=person_id(),
        key=view.key,
        base_version=view.base,
        confirmed=confirmed,
        reason=view.reason if view.reason_needed else "",
        from_paper=view.from_paper,
    )


def _noted_in_rows(checked) -> set[str]:
    """Keys of notes that stand in the note column of their own row already."""
    origin = checked.facts.origin
    return {
        f"note:{cell}"
        for (table, row, column), cell in origin.items()
        if column == "note" and table in {"usage_counts", "readings"} and checked.facts.rows[table][row]["note"]
    }


def _conflict(view: WeekView, said: str, yours: dict[str, str] | None = None, opened: int | None = None):
    """Yours, theirs and what stood there when you opened it, for every cell that differs; nothing is overwritten."""
    base = view.base if opened is None else opened
    current = view.sheet.version if view.sheet else 0
    view.cells = view.cells if yours is None else yours
    old = _cells_of(view, base)
    shown = week_view.differences(view, old, _cells_of(view, current))
    unchosen = [(f"d.{d.cell}", f"{d.label}: {CHOOSE}") for d in shown if yours is not None and not d.choose]
    view.base, view.key = current, week_view.new_key()
    page = render_template(
        "coordinator/conflict.html",
        view=view,
        school=view.school,
        said=said,
        opened=base,
        differences=shown,
        differing={d.cell for d in shown},
        errors=unchosen,
    )
    return page, 409


def _cells_of(view: WeekView, number: int) -> dict[str, str]:
    """Cells of a version; those of a sheet that was not yet sent are empty."""
    version = sheets.find_version(db(), view.sheet, number) if view.sheet is not None and number > 0 else None
    if version is None:
        return dict(view.layout.defaults())
    return week_view.version_cells(view.plan, sheets.payload_of(version))[0]


def _merge(view: WeekView, _rest: str):
    """Go on with the chosen figures; where nobody chose, ask again with nothing lost."""
    asked = request.form.getlist("differs")
    if any(f"{PREFIX}{name}" not in request.form for name in asked):
        yours = view.cells | {name: request.form.get(f"y.{name}", "") for name in asked}
        opened = request.form.get("opened", "")
        return _conflict(
            view, "Some figures still wait for your choice.", yours, int(opened) if opened.isdecimal() else 0
        )
    return _check(view)


ACTS = {
    "draft": _draft,
    "check": _check,
    "send": _send,
    "back": _back,
    "zeros": _zeros,
    "rest": _rest_worked,
    "more": _more,
    "merge": _merge,
}


def act(name: str, view: WeekView, rest: str):
    """Do what the pressed button says; anything else is the check before sending."""
    return ACTS.get(name, _check)(view, rest)
