"""The officer's pages about money: which fitting pays back, and what keeping the units open costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import abort, render_template, request, url_for

from tracker import __version__
from tracker.records import heads
from tracker.reports import build
from tracker.vocabulary import FittingKind, Role
from tracker.web import access
from tracker.web.access import allow
from tracker.web.accesslog import log_view
from tracker.web.clock import now
from tracker.web.database import db
from tracker.web.officer_today import bp
from tracker.web.reports import answer_file, printers, term_or_404

MOST = 10**10
WRONG = "Enter a whole number of the currency's smallest unit, {least} or more, or leave the field empty."


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed, and what is wrong with it, by field."""

    typed: dict[str, str]
    errors: dict[str, str]
    numbers: dict[str, int]


def _asked(kinds: list[FittingKind]) -> Asked:
    typed = {name: request.args.get(name, "").strip() for name in ("water", *(kind.value for kind in kinds))}
    errors, numbers = {}, {}
    for name, text in typed.items():
        least = 1 if name == "water" else 0
        if not text:
            continue
        if text.isdecimal() and len(text) <= len(str(MOST)) and least <= int(text) <= MOST:
            numbers[name] = int(text)
        else:
            errors[name] = WRONG.format(least=least)
    return Asked(typed, errors, numbers)


def _pays_back(programme_id: int, term: heads.TermHead) -> tuple[Any, Asked, list[FittingKind]]:
    from tracker.reports import pays_back as made

    known = build.known_by(db(), now())
    kinds = made.fittings_in_use(db(), programme_id, term, known)
    asked = _asked(kinds)
    extra = {kind: asked.numbers[kind.value] for kind in kinds if kind.value in asked.numbers}
    prices = made.Prices(asked.numbers.get("water"), extra)
    return made.build(db(), programme_id, term, known, version=__version__, prices=prices), asked, kinds


def _begun_or_404(programme_id: int, named: str) -> heads.TermHead:
    term = term_or_404(programme_id, named)
    return next((one for one in build.begun(db(), programme_id, now()) if one.id == term.id), None) or abort(404)


@bp.get("/programmes/<int:programme_id>/terms/<term>/pays-back", endpoint="pays_back")
@allow(Role.OFFICER)
def pays_back(programme_id: int, term: str):
    """Which fitting pays back, with the prices that the address names."""
    from tracker.reports.rows import FITTING_WORDS

    programme = access.load_programme(programme_id, to="officer")
    chosen = _begun_or_404(programme.id, term)
    report, asked, kinds = _pays_back(programme.id, chosen)
    fields = [("water", "Price of 1,000 litres of water")]
    fields += [(kind.value, f"Extra cost of a unit: {FITTING_WORDS[kind]}") for kind in kinds]
    return _show("officer.pays_back", report, programme, chosen, asked=asked, fields=fields)


@bp.get("/programmes/<int:programme_id>/terms/<term>/pays-back/files/<name>", endpoint="pays_back_file")
@allow(Role.OFFICER)
def pays_back_file(programme_id: int, term: str, name: str):
    """A file of it."""
    programme = access.load_programme(programme_id, to="officer")
    return answer_file(_pays_back(programme.id, _begun_or_404(programme.id, term))[0], name, None)


@bp.get("/programmes/<int:programme_id>/terms/<term>/open-costs", endpoint="open_costs")
@allow(Role.OFFICER)
def open_costs(programme_id: int, term: str):
    """What keeping the units open costs."""
    programme = access.load_programme(programme_id, to="officer")
    chosen = _begun_or_404(programme.id, term)
    return _show("officer.open_costs", _open_costs(programme.id, chosen), programme, chosen)


@bp.get("/programmes/<int:programme_id>/terms/<term>/open-costs/files/<name>", endpoint="open_costs_file")
@allow(Role.OFFICER)
def open_costs_file(programme_id: int, term: str, name: str):
    """A file of it."""
    programme = access.load_programme(programme_id, to="officer")
    return answer_file(_open_costs(programme.id, _begun_or_404(programme.id, term)), name, None)


def _open_costs(programme_id: int, term: heads.TermHead) -> Any:
    from tracker.reports import open_costs as made

    return made.build(db(), programme_id, term, build.known_by(db(), now()), __version__)


def _show(endpoint: str, report: Any, programme: Any, term: heads.TermHead, **given: Any) -> str:
    log_view(report.kind.value, rows=sum(len(table.rows) for table in report.tables()))
    query = {name: value for name, value in request.args.items() if name not in ("programme_id", "term", "name")}
    links = {
        "term": lambda other: url_for(endpoint, programme_id=programme.id, term=other.code),
        "file": lambda name: url_for(f"{endpoint}_file", programme_id=programme.id, term=term.code, name=name, **query),
        "parts": None,
        "chosen": term.code,
    }
    terms = build.begun(db(), programme.id, now())
    page = {"report": report, "programme": programme, "term": term, "terms": terms, "links": links}
    return render_template("officer/money.html", **page, **given, **printers(programme.zone))
