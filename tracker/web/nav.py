"""The doors of a person: which links stand on top of each page."""

from __future__ import annotations

from flask import Flask, current_app, g, request, url_for
from flask_login import current_user

from tracker.vocabulary import Role
from tracker.web import words
from tracker.web.clock import now

DELIVERIES, REPORTS, ROUNDS, STOCK = "Deliveries", "Reports", "Rounds", "Stock"
DOORS: tuple[tuple[Role, str, str], ...] = (
    (Role.COORDINATOR, "My school", "coordinator.home"),
    (Role.OFFICER, "Today", "officer.home"),
    (Role.OFFICER, REPORTS, "officer.reports"),
    (Role.OFFICER, ROUNDS, "officer.rounds_home"),
    (Role.OFFICER, STOCK, "officer.stock_home"),
    (Role.ENGINEER, "My jobs", "engineer.home"),
    (Role.ENGINEER, DELIVERIES, "delivery.home"),
    (Role.FUNDER, REPORTS, "funder.home"),
    (Role.ADMINISTRATOR, "Set-up", "setup.home"),
    (Role.ADMINISTRATOR, "People", "people.home"),
)
SEVERAL_SCHOOLS = "My schools"
# a part of an officer's address, and the door that the page stands behind
BEHIND = {
    **dict.fromkeys(("pays-back", "open-costs"), REPORTS),
    **dict.fromkeys(("restock", "roads", "rounds"), ROUNDS),
    **dict.fromkeys(("coins", "orders", "stock"), STOCK),
}
PUBLISHED = "Published reports"  # for somebody who also has the officer's reports


def doors() -> list[tuple[str, str]]:
    """(label, address) of each door the logged-in person has, in steady order."""
    if g.get("bare") or not current_user.is_authenticated:
        return []
    held = {grant.role for grant in current_user.grants}
    return [
        (_label(role, label, held), url_for(endpoint))
        for role, label, endpoint in DOORS
        if role in held and endpoint in current_app.view_functions
    ]


def _label(role: Role, label: str, held: set[Role]) -> str:
    """The door's name as this person knows it."""
    if role is Role.COORDINATOR:
        schools = {grant.school_id for grant in current_user.grants if grant.role is role}
        return SEVERAL_SCHOOLS if len(schools) > 1 else label
    return PUBLISHED if role is Role.FUNDER and Role.OFFICER in held else label


def landing() -> str:
    """The address that somebody with one role wants first; "" where the person must choose."""
    held = {grant.role for grant in current_user.grants}
    mine = doors()
    return mine[0][1] if mine and len(held) == 1 and Role.ADMINISTRATOR not in held else ""


def _here(mine: list[tuple[str, str]]) -> str:
    """The address of the one door the page stands behind; "" for none."""
    known = dict(mine)
    for label in _doors_of_page():
        if label in known:
            return known[label]
    return max((address for _, address in mine if request.path.startswith(address)), key=len, default="")


def _doors_of_page() -> tuple[str, ...]:
    """Labels of the door of a page whose address does not begin with that of its door, the first that fits first."""
    if request.blueprint == "reports":
        return (REPORTS,)
    if request.blueprint == "delivery":
        return (DELIVERIES, ROUNDS)
    if request.blueprint != "officer":
        return ()
    return tuple(BEHIND[part] for part in request.path.split("/") if part in BEHIND)


def init_app(app: Flask) -> None:
    """Give every template its doors, the person and whom to call. A ``bare`` page asks nothing of the database."""
    app.jinja_env.filters.update(word=words.word)

    @app.context_processor
    def _frame():
        programme = g.get("programme")
        known = not g.get("bare") and current_user.is_authenticated
        mine = doors()
        return {
            "doors": mine,
            "here": _here(mine),
            "person": current_user if known else None,
            "server_day": now().date().isoformat(),
            "keeps_on_phone": bool(known and any(grant.role is Role.COORDINATOR for grant in current_user.grants)),
            "contact_phone": programme.phone if programme is not None and not g.get("bare") else "",
        }
