"""The doors of a person: which links stand on top of each page."""

from __future__ import annotations

from flask import Flask, current_app, g, url_for
from flask_login import current_user

from tracker.vocabulary import Role

DOORS: tuple[tuple[Role, str, str], ...] = (
    (Role.COORDINATOR, "My school", "coordinator.home"),
    (Role.OFFICER, "Today", "officer.home"),
    (Role.ENGINEER, "My jobs", "engineer.home"),
    (Role.FUNDER, "Reports", "funder.home"),
    (Role.ADMINISTRATOR, "Set-up", "setup.home"),
    (Role.ADMINISTRATOR, "People", "people.home"),
)


def doors() -> list[tuple[str, str]]:
    """(label, address) of each door the logged-in person has, in steady order."""
    if g.get("bare") or not current_user.is_authenticated:
        return []
    held = {grant.role for grant in current_user.grants}
    return [
        (label, url_for(endpoint))
        for role, label, endpoint in DOORS
        if role in held and endpoint in current_app.view_functions
    ]


def init_app(app: Flask) -> None:
    """Give every template its doors, the person and whom to call. A ``bare`` page asks nothing of the database."""

    @app.context_processor
    def _frame():
        programme = g.get("programme")
        known = not g.get("bare") and current_user.is_authenticated
        return {
            "doors": doors(),
            "person": current_user if known else None,
            "contact_phone": programme.phone if programme is not None and not g.get("bare") else "",
        }
