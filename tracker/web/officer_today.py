"""One page that answers "what needs me today", by need, each line leading to the act."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for

from tracker.models.programme import Programme
from tracker.records import faults, heads, looks, settings, today
from tracker.reports import printing
from tracker.vocabulary import Role
from tracker.web import access, clock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db

bp = Blueprint("officer", __name__)

FIRST_LINES = 6  # of each need on the page of all needs
LINES = 25  # on a page of one need
DUE = "sheet_due_days"
LOOK = "look_every_school_days"
TITLES = {
    "danger": "Danger",
    "late": "Out of service past the promise",
    "supplies": "Runs out before the next round",
    "silent": "Not reported yet",
    "sheets": "Sheets to read",
    "looks": "Nobody looked in time",
    "jobs": "Asked of the engineer, not visited yet",
    "papers": "Papers of disposal routes",
}


@dataclass(frozen=True, slots=True)
class Need:
    """One section of the page: its lines (some of ``total``) and what it says when nothing is there."""

    key: str
    title: str
    lines: list[Any]
    total: int
    calm: str
    intro: str = ""
    more: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """Whose needs are looked at, and when."""

    programme: Programme
    areas: set[int] | None
    at: datetime
    day: date
    first: int
    count: int


@bp.get("/programmes")
@allow(Role.OFFICER)
def home():
    """Lead to the only programme, or offer those the officer has."""
    mine = access.programme_ids(Role.OFFICER)
    if len(mine) == 1:
        return redirect(url_for(".today", programme_id=mine[0]))
    return render_template("officer/programmes.html", programmes=today.programmes(db(), mine))


@bp.get("/programmes/reports", endpoint="reports")
@allow(Role.OFFICER)
def reports_of():
    """Lead to the reports of the only programme, or offer those of each."""
    mine = access.programme_ids(Role.OFFICER)
    if len(mine) == 1:
        return redirect(url_for("reports.programme", programme_id=mine[0]))
    return render_template("officer/programmes.html", programmes=today.programmes(db(), mine), reports=True)


@bp.get("/programmes/<int:programme_id>/today", endpoint="today")
@allow(Role.OFFICER)
def today_page(programme_id: int):
    """All needs, the first lines of each; or one need (``?need=``), paged."""
    programme = access.load_programme(programme_id, to="officer")
    chosen, page = request.args.get("need", ""), max(request.args.get("page", 1, type=int), 1)
    if chosen and chosen not in NEEDS:
        abort(404)
    first, count = ((page - 1) * LINES, LINES) if chosen else (0, FIRST_LINES)
    day = clock.today(programme.zone)
    look = Look(programme, access.area_ids(Role.OFFICER, programme.id), clock.now(), day, first, count)
    needs = [NEEDS[key](look) for key in ([chosen] if chosen else NEEDS)]
    log_view("today", rows=sum(len(need.lines) for need in needs))
    return render_template(
        "officer/today.html", programme=programme, needs=needs, look=look, chosen=chosen, page=page, pages=_pages(needs)
    )


def _pages(needs: list[Need]) -> int:
    return max(-(-needs[0].total // LINES), 1)


def _cut(look: Look, key: str, lines: list[Any], calm: str, intro: str = "") -> Need:
    return Need(key, TITLES[key], lines[look.first : look.first + look.count], len(lines), calm, intro)


def _dangers(look: Look) -> Need:
    lines = today.dangers(db(), look.programme.id, look.areas)
    return _cut(look, "danger", lines, "No danger is open.")


def _late(look: Look) -> Need:
    every = faults.open_faults(db(), look.programme.id, look.at, look.day, look.areas)
    late = [fault for fault in every if fault.is_late(look.at)]
    within = len(every) - len(late)
    intro = f"Open outages still within their promise: {within}." if within else ""
    return _cut(look, "late", late, "No outage is past its promise.", intro)


def _supplies(look: Look) -> Need:
    from tracker.reports.restock_today import runs_out  # brings pandas, which other pages do without

    found = runs_out(db(), look.programme.id, look.at, look.areas)
    if len(found.rounds) < 2:
        calm = "No two restocking rounds are planned ahead. Plan them in the set-up, then this list says who runs out."
        return _cut(look, "supplies", [], calm)
    calm = "By the records, every school's stock lasts until the next round."
    intro = f"The next round is on {printing.day(found.rounds[0])}."
    if found.not_recorded:
        intro += f" Schools whose stock is not recorded: {found.not_recorded}."
    return replace(_cut(look, "supplies", found.at_risk, calm, intro), more=_restocking_list(look))


def _restocking_list(look: Look) -> str:
    """The address of the restocking list in the report of the term that was last begun; "" before the first term."""
    begun = [term for term in heads.terms(db(), look.programme.id) if term.first_day <= look.day]
    if not begun:
        return ""
    return url_for(
        "reports.programme_term", programme_id=look.programme.id, term=begun[-1].code, _anchor="part-supplies"
    )


def _silent(look: Look) -> Need:
    due_days = settings.setting(db(), look.programme.id, DUE, look.day)
    lines = today.silent_schools(db(), look.programme.id, look.day, due_days, look.areas)
    return _cut(look, "silent", lines, "Every school has sent the weeks that are due.")


def _sheets(look: Look) -> Need:
    found = today.sheets_waiting(db(), look.programme.id, look.areas, first=look.first, count=look.count)
    asked = today.asked_back(db(), look.programme.id, look.areas)
    intro = f"Sheets that wait for an answer of their school: {asked}." if asked else ""
    return Need("sheets", TITLES["sheets"], found.rows, found.total, "No sheet waits for you.", intro)


def _looks(look: Look) -> Need:
    every = settings.setting(db(), look.programme.id, LOOK, look.day)
    lines = looks.overdue_looks(db(), look.programme.id, look.day, every, look.areas)
    calm = f"In the weeks that are reported, every unit was looked at at least every {every} school days."
    intro = f"More than {every} school days without a look, in the weeks that are reported." if lines else ""
    return _cut(look, "looks", lines, calm, intro)


def _jobs(look: Look) -> Need:
    lines = today.jobs_waiting(db(), look.programme.id, look.areas)
    return _cut(look, "jobs", lines, "No job waits for its visit.")


def _papers(look: Look) -> Need:
    lines = today.papers_ending(db(), look.programme.id, look.day, look.areas)
    calm = f"No permit or operator's certificate ends within {today.PAPERS_DAYS} days."
    return _cut(look, "papers", lines, calm)


NEEDS = {
    "danger": _dangers,
    "late": _late,
    "supplies": _supplies,
    "silent": _silent,
    "sheets": _sheets,
    "looks": _looks,
    "jobs": _jobs,
    "papers": _papers,
}
