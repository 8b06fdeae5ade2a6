"""Pages of a workbook through the same checker and the same sending as the form, week after week, all or nothing.

Weeks are sent one after another in the caller's session, so that each is checked beside those before it (a counter
that runs on, stock that was put in). The caller rolls back after a look, and commits only what has no problem.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from tracker.intake import week_sheet, workbook_form
from tracker.intake.week_cells import clean, compare, facts_to_cells
from tracker.intake.week_layout import Kind, Layout, RowCounts, layout
from tracker.intake.week_plan import SheetPlan
from tracker.intake.week_sheet import CellProblem, Checked
from tracker.intake.week_source import plan_for
from tracker.intake.workbook_form import NEW_ONE, WAITING
from tracker.intake.workbook_in import Book, ReadWeek, typed_cells
from tracker.intake.workbook_out import WeekPage
from tracker.intake.workbook_safe import WorkbookError
from tracker.measures.calendar import week_of
from tracker.records import sheets
from tracker.records.context import SchoolContext

NEW, CHANGE, SAME, EMPTY = "new", "change", "same", "empty"
OTHER_SCHOOL = "This workbook is of another school or programme. Load it on that school's page."
OTHER_CELLS = f"The sheet of this week asks for other cells now. {NEW_ONE}"
SENT_SINCE = f"Somebody sent this week after this workbook was made. {NEW_ONE}"
NOT_BEGUN = "This week has not begun yet. Leave this page empty until it is over."
NO_WEEK = f"This is not the first day of a week of the programme. {NEW_ONE}"
REASON_MISSING = "A published report covers this week. Write in a few words why the figures change."


@dataclass(frozen=True, slots=True)
class Standing:
    """A week as it is on record, and what its sheet asks."""

    context: SchoolContext
    plan: SheetPlan
    version: int
    rows: RowCounts
    cells: Mapping[str, str]
    kept: Mapping[str, list[dict[str, str]]]


@dataclass(frozen=True, slots=True)
class Loading:
    """Who loads, when, and what was said: ``notes`` by (week, cell) and ``note`` for all other questions."""

    school: Any
    at: datetime
    today: date
    person_id: int
    key: str
    note: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class WeekOutcome:
    """What a page does: its state, what is wrong or asked with the address of each, and how many cells differ."""

    page: ReadWeek
    state: str
    problems: tuple[CellProblem, ...] = ()
    questions: tuple[CellProblem, ...] = ()
    changed: int = 0
    labels: Mapping[str, str] = field(default_factory=dict)
    reference: str = ""

    def address(self, problem: CellProblem) -> str:
        """Where a problem stands on its page; "" for the whole page."""
        return self.page.places.get(problem.cell, "")

    def label(self, problem: CellProblem) -> str:
        """What the cell is."""
        return self.labels.get(problem.cell, "")


def standing(session: Session, school_id: int, week: date) -> Standing:
    """A week as it is on record, read once."""
    context, plan = plan_for(session, school_id, week)
    sheet = sheets.find_sheet(session, school_id, week)
    payload = sheets.find_payload(session, school_id, week) if sheet is not None else {}
    usual = workbook_form.WORKBOOK_ROWS
    rows = RowCounts(
        max(len(payload.get("outages", [])), usual.outages),
        max(len(payload.get("awareness_sessions", [])), usual.sessions),
    )
    cells, kept = facts_to_cells(layout(plan, rows), payload)
    return Standing(context, plan, sheet.version if sheet else 0, rows, cells, kept)


def page_for(session: Session, school_id: int, week: date) -> WeekPage:
    """A week's page for a new workbook, with what is on record."""
    now = standing(session, school_id, week)
    return WeekPage(week, layout(now.plan, now.rows), now.version, now.cells if now.version else {})


def refused_page(session: Session, school_id: int, outcome: WeekOutcome) -> WeekPage:
    """The page as it was sent, with the sentences at its cells."""
    page, now = outcome.page, standing(session, school_id, outcome.page.week)
    wrong: dict[str, list[str]] = {}
    for one in outcome.problems:
        wrong.setdefault(one.cell, []).append(one.message)
    rows = RowCounts(page.outages, page.sessions)
    return WeekPage(page.week, layout(now.plan, rows), page.base, _texts(page, wrong), wrong)


def _texts(page: ReadWeek, wrong: Mapping[str, object]) -> dict[str, str]:
    return {key: text for key, text in page.cells.items() if text != workbook_form.NO_SCHOOL or key in wrong}


def check_owner(book: Book, programme: str, school: str) -> None:
    """Refuse a workbook of somebody else.

    Raises:
        WorkbookError: it is of another school or programme.
    """
    if (book.programme, book.school) != (programme, school):
        raise WorkbookError(OTHER_SCHOOL)


def load(session: Session, book: Book, by: Loading) -> list[WeekOutcome]:
    """Check and send every page in the session, in the order of weeks; the caller commits or rolls back.

    Returns:
        one outcome a page. Where any has problems, roll back: weeks without problems were sent in the session.
    """
    return [_load_week(session, page, by) for page in book.weeks]


def _load_week(session: Session, page: ReadWeek, by: Loading) -> WeekOutcome:
    if "" in page.wrong:
        return WeekOutcome(page, NEW, (CellProblem("", page.wrong[""], ""),))
    now = standing(session, by.school.id, page.week)
    if page.week != week_of(page.week, now.context.first_weekday):
        return WeekOutcome(page, NEW, (CellProblem("", NO_WEEK, ""),))
    made_for = layout(now.plan, RowCounts(page.outages, page.sessions))
    if _asked(page) != set(workbook_form.stable_keys(made_for)):
        return WeekOutcome(page, NEW, (CellProblem("", OTHER_CELLS, ""),))
    typed, wrong = typed_cells(page, made_for, now.cells)
    if not wrong and not _anything(typed, made_for):
        return WeekOutcome(page, EMPTY)
    cells = _merged(page, now, typed, made_for)
    differing = compare(now.cells, cells)
    if now.version and not differing and not wrong:
        return WeekOutcome(page, SAME)
    return _judged(session, page, by, (now, cells, wrong, len(differing)))


def _asked(page: ReadWeek) -> set[str]:
    return {key for key in page.places if not key.startswith((*WAITING, "noteat:", "notesaid:"))}


def _anything(typed: Mapping[str, str], made_for: Layout) -> bool:
    defaults = made_for.defaults()
    return any(clean(text) and text != defaults.get(key, "") for key, text in typed.items())


def _merged(page: ReadWeek, now: Standing, typed: Mapping[str, str], made_for: Layout) -> dict[str, str]:
    """What the page says, and what no page can say: hidden cells, older outages, and notes on unchanged figures."""
    known = made_for.by_key()
    kept = {
        key: text
        for key, text in now.cells.items()
        if (key not in known or known[key].kind is Kind.HIDDEN or key.startswith(WAITING)) and key not in page.places
    }
    cells = kept | {key: clean(text) for key, text in typed.items() if clean(text)}
    return {
        key: text
        for key, text in cells.items()
        if not key.startswith("note:") or key in typed or cells.get(key[5:], "") == now.cells.get(key[5:], "")
    }


def _judged(
    session: Session, page: ReadWeek, by: Loading, what: tuple[Standing, dict[str, str], list[CellProblem], int]
) -> WeekOutcome:
    now, cells, wrong, differing = what
    sheet = week_sheet.sheet_of(now.plan, cells, RowCounts(page.outages, page.sessions))
    checked = week_sheet.check(now.context, sheet, cells, now.kept, by.at)
    placed = {one.cell for one in wrong}
    refused = [*wrong, *(one for one in checked.refusals if one.cell not in placed)]
    refused += _of_the_week(session, page, by, now)
    outcome = WeekOutcome(
        page,
        CHANGE if now.version else NEW,
        tuple(refused),
        tuple(checked.questions),
        differing,
        {key: cell.label for key, cell in sheet.by_key().items()},
    )
    if refused:
        return outcome
    if by.note:
        cells = cells | {f"note:{q.cell}": by.note for q in checked.questions if not cells.get(f"note:{q.cell}")}
        checked = week_sheet.check(now.context, sheet, cells, now.kept, by.at)
    sent = sheets.send(session, _sending(page, by, cells, checked))
    return replace(outcome, reference=sent.reference)


def _of_the_week(session: Session, page: ReadWeek, by: Loading, now: Standing) -> list[CellProblem]:
    said = []
    if page.base != now.version:
        said.append(SENT_SINCE)
    if page.week > by.today:
        said.append(NOT_BEGUN)
    if not by.reason and sheets.published_covers(session, by.school, page.week):
        said.append(REASON_MISSING)
    return [CellProblem("", one, "") for one in said]


def _sending(page: ReadWeek, by: Loading, cells: Mapping[str, str], checked: Checked) -> sheets.Sending:
    """The week as the form sends it. A note in the row's own column is not said a second time beside the sheet."""
    payload = checked.facts.payload()
    in_rows = {
        f"note:{cell}"
        for (table, row, column), cell in checked.facts.origin.items()
        if column == "note" and table in {"usage_counts", "readings"} and checked.facts.rows[table][row]["note"]
    }
    notes = {key: text for key, text in cells.items() if key.startswith("note:") and text and key not in in_rows}
    if notes:
        payload["confirmed"] = notes
    confirmed = tuple(sheets.Confirmed(q.cell, q.message, cells.get(f"note:{q.cell}", "")) for q in checked.questions)
    return sheets.Sending(
        school=by.school,
        week=page.week,
        payload=payload,
        rows=checked.values,
        at=by.at,
        person_id=by.person_id,
        key=f"{by.key}-{page.week}",
        base_version=page.base,
        confirmed=confirmed,
        reason=by.reason,
    )


# --- from the look to the yes -------------------------------------------------------------------------------------


def packed(book: Book) -> str:
    """What was read, as text that a page carries from the look to the yes."""
    weeks = [
        {
            "week": page.week.isoformat(),
            "counts": [page.base, page.outages, page.sessions],
            "cells": page.cells,
            "places": page.places,
            "wrong": page.wrong,
        }
        for page in book.weeks
    ]
    about = {"programme": book.programme, "school": book.school, "weeks": weeks}
    return json.dumps(about, ensure_ascii=False, separators=(",", ":"))


def unpacked(text: str) -> Book:
    """The book that a page carried. It is checked as anew, so nothing in it is trusted.

    Raises:
        ValueError: it is not what ``packed`` makes.
    """
    try:
        about = json.loads(text)
        pages = [_unpacked_week(one) for one in about["weeks"][: workbook_form.MOST_WEEKS]]
        return Book(str(about["programme"]), str(about["school"]), tuple(sorted(pages, key=lambda one: one.week)))
    except (KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError("not a workbook's cells") from error


def _unpacked_week(one: Mapping[str, Any]) -> ReadWeek:
    cells, places, wrong = (
        {str(key)[:120]: str(text)[:400] for key, text in one[name].items()} for name in ("cells", "places", "wrong")
    )
    base, outages, sessions = (min(max(int(number), 0), 99_999) for number in one["counts"])
    most = workbook_form.MOST_WEEKS
    return ReadWeek(
        date.fromisoformat(one["week"]), base, min(outages, most), min(sessions, most), cells, places, wrong
    )
