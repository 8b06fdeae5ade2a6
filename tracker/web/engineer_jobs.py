"""My jobs: danger first, then what is out of service by need, then what was asked, then visits that are due."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from flask import Blueprint, render_template, request, url_for

from tracker.models.outages import ServiceVisit
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.units import Unit
from tracker.records import faults, jobs, today
from tracker.vocabulary import Role
from tracker.web import access, clock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db

bp = Blueprint("engineer", __name__)

CARDS = 20


@dataclass(slots=True)
class Card:
    """One job: where, what, since when, what was found there before, and where to write what was done."""

    kind: str  # danger, out, asked, due
    school: School
    units: tuple[Unit, ...]
    what: str
    address: str
    zone: str
    at: datetime | None = None
    day: date | None = None
    why: tuple[str, ...] = ()
    asked: ServiceVisit | None = None
    place: jobs.Place | None = None
    before: list[ServiceVisit] = field(default_factory=list)


@bp.get("/jobs", endpoint="jobs")
@allow(Role.ENGINEER)
def jobs_page():
    """The engineer's jobs in all their programmes, by need, paged."""
    page = max(request.args.get("page", 1, type=int), 1)
    cards: list[Card] = []
    for programme in today.programmes(db(), access.programme_ids(Role.ENGINEER)):
        access.load_programme(programme.id, to="serve")
        cards += _cards(programme)
    order = ("danger", "out", "asked", "due")
    cards.sort(key=lambda card: order.index(card.kind))  # stable: by need within each
    shown = cards[(page - 1) * CARDS : page * CARDS]
    before = jobs.findings(db(), [unit.id for card in shown for unit in card.units])
    for card in shown:
        card.before = [visit for unit in card.units for visit in before.get(unit.id, [])][: jobs.FINDINGS]
    log_view("jobs", rows=len(shown))
    pages = max(-(-len(cards) // CARDS), 1)
    return render_template("engineer/jobs.html", cards=shown, total=len(cards), page=page, pages=pages)


bp.add_url_rule("/jobs", endpoint="home", view_func=jobs_page)


def _cards(programme: Programme) -> list[Card]:
    areas = access.area_ids(Role.ENGINEER, programme.id)
    at, day = clock.now(), clock.today(programme.zone)
    places = jobs.places(db(), programme.id)
    cards = _dangers(programme, areas)
    cards += [_out(fault, programme, at) for fault in faults.open_faults(db(), programme.id, at, day, areas)]
    taken = {unit.id for card in cards for unit in card.units}
    cards += [
        _asked(job, programme) for job in today.jobs_waiting(db(), programme.id, areas) if job.unit.id not in taken
    ]
    cards += [_due(due, programme) for due in jobs.service_due(db(), programme.id, day, areas)]
    for card in cards:
        card.place = places.get(card.school.id)
    return cards


def _dangers(programme: Programme, areas: set[int] | None) -> list[Card]:
    cards = []
    for one in today.dangers(db(), programme.id, areas):
        first = one.dangers[0]
        card = Card(
            "danger",
            first.school,
            tuple(danger.unit for danger in one.dangers),
            first.outage.danger.value if first.outage.danger else "danger",
            url_for(".unit", unit_id=first.unit.id),
            programme.zone,
            at=first.outage.start_at,
        )
        card.why = (first.outage.note,) if first.outage.note else ()
        cards.append(card)
    return cards


def _out(fault: faults.Fault, programme: Programme, at: datetime) -> Card:
    address = url_for(".job", visit_id=fault.job.id) if fault.job else url_for(".unit", unit_id=fault.units[0].id)
    card = Card("out", fault.school, fault.units, fault.cause.value, address, programme.zone, at=fault.since)
    why = ["No accessible cabin is left at this school."] if fault.only_accessible else []
    if fault.is_late(at):
        why.append(f"The promise of {fault.promise_hours} hours has passed.")
    card.why, card.asked = tuple(why), fault.job
    return card


def _asked(job: today.WaitingJob, programme: Programme) -> Card:
    address = url_for(".job", visit_id=job.visit.id)
    card = Card("asked", job.school, (job.unit,), job.visit.purpose.value, address, programme.zone)
    card.day = job.visit.asked_on
    return card


def _due(due: jobs.Due, programme: Programme) -> Card:
    address = url_for(".school", school_id=due.school.id)
    card = Card("due", due.school, (), "service visit", address, programme.zone, day=due.last)
    card.why = (f"Agreed: a service visit at least every {due.every_days} days.",)
    return card
