"""The officer plans a restocking round: asks on one page, and reads the plan under it. Planning changes nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from flask import render_template, request, url_for

from tracker import __version__
from tracker.intake.restock_ask import AIM_CODES, FIRST_AIM, Ask, Choices, Typed, choices_of, read_ask
from tracker.measures.restock_terms import AIM_WORDS
from tracker.models.programme import Programme
from tracker.records import restock_inputs
from tracker.reports import build
from tracker.reports.report import Report
from tracker.vocabulary import Role
from tracker.web import access, clock
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.officer_today import bp
from tracker.web.reports import answer_file, printers

MANY = ("out", "products")
ONE = ("on", "until", "lead", "budget", "vehicle", "litres", "packs", "aim")
# what a person reads beside each aim: its name
AIMS = (
    ("fewest", "Fewest expected requests unmet"),
    ("equal", "Equal run-out"),
    ("lowest", "Highest lowest share of requests met"),
)


@dataclass(frozen=True, slots=True)
class Planned:
    """What the page shows: what was typed, what is wrong with it, and the report; None where there is no plan."""

    typed: Typed
    choices: Choices
    errors: dict[str, str]
    ask: Ask | None = None
    report: Report | None = None


@bp.get("/programmes/<int:programme_id>/restock", endpoint="restock")
@allow(Role.OFFICER)
def restock_page(programme_id: int):
    """What is asked for, and the plan. Without an address of its own: the next two planned rounds, no limits."""
    programme = access.load_programme(programme_id, to="officer")
    planned = _planned(programme)
    rows = sum(len(table.rows) for table in planned.report.tables()) if planned.report else 0
    log_view("restocking plan", rows=rows)
    return render_template(
        "officer/restock.html",
        programme=programme,
        planned=planned,
        typed=planned.typed,
        aims=_aims(),
        vehicles=[(one.code, _vehicle_words(one)) for one in planned.choices.vehicles],
        links=_links(programme.id, planned.typed),
        **printers(programme.zone),
    )


@bp.get("/programmes/<int:programme_id>/restock/files/<name>", endpoint="restock_file")
@allow(Role.OFFICER)
def restock_file(programme_id: int, name: str):
    """A file of the plan that the address asks for; the page again where it asks for something that cannot be."""
    programme = access.load_programme(programme_id, to="officer")
    planned = _planned(programme)
    if planned.report is None:
        return restock_page(programme_id)
    return answer_file(planned.report, name, None)


def _planned(programme: Programme) -> Planned:
    choices = _choices(programme)
    typed = _typed(programme, choices)
    if not typed.on and not request.args:
        return Planned(typed, choices, {})
    reading = read_ask(typed, choices)
    if reading.ask is None:
        return Planned(typed, choices, reading.errors)
    return _made(Planned(typed, choices, {}, reading.ask), reading.ask)


def _made(planned: Planned, ask: Ask) -> Planned:
    from tracker.reports import restock_plan, restock_report  # they bring pandas, which other pages do without

    try:
        made = restock_plan.make(db(), ask.asked, ask.limits, ask.aim)
    except restock_plan.NoPlanError as refused:
        return replace(planned, errors={refused.field: str(refused)})
    known_at = build.known_by(db(), clock.now())
    return replace(planned, report=restock_report.lay_out(made, known_at, __version__))


def _choices(programme: Programme) -> Choices:
    today = clock.today(programme.zone)
    return choices_of(db(), programme.id, today, access.area_ids(Role.OFFICER, programme.id))


def _typed(programme: Programme, choices: Choices) -> Typed:
    """What was typed; the next two planned rounds where nothing was."""
    if request.args:
        return typed_of_address()
    rounds = restock_inputs.rounds_from(db(), programme.id, choices.today)[:2]
    if len(rounds) < 2:
        return Typed(on=rounds[0].isoformat() if rounds else "")
    return Typed(on=rounds[0].isoformat(), until=rounds[1].isoformat())


def typed_of_address() -> Typed:
    """What the address asks for."""
    one = {name: request.args.get(name, "").strip() for name in ONE}
    one["aim"] = one["aim"] or FIRST_AIM
    return Typed(**one, **{name: tuple(request.args.getlist(name)) for name in MANY})


def _aims() -> list[tuple[str, str, str]]:
    return [(code, name, AIM_WORDS[AIM_CODES[code]]) for code, name in AIMS]


def _vehicle_words(vehicle: restock_inputs.VehicleHead) -> str:
    """A vehicle's name with the room in it."""
    room = [f"{vehicle.room_ml / 1000:.0f} L"] if vehicle.room_ml else []
    room += [f"{vehicle.room_packs} packs"] if vehicle.room_packs else []
    return f"{vehicle.name}, {', '.join(room)}" if room else f"{vehicle.name}, room not limited"


def _links(programme_id: int, typed: Typed) -> dict[str, Any]:
    """Addresses of the plan's files, and of the page that makes it a round; they name all that was asked for."""
    query = {name: value for name in (*ONE, *MANY) if (value := getattr(typed, name))}
    return {
        "file": lambda name: url_for(".restock_file", programme_id=programme_id, name=name, **query),
        "round": url_for(".new_round", programme_id=programme_id, **query),
    }
