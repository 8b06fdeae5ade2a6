"""Who may use which route: one row for each endpoint. A route without a row fails test_access.py.

A door adds its rows in ``tests/web/access_<door>.py`` as a list named ``ROWS``; nothing else is needed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from importlib.util import find_spec

from tests.web.world import World

DOORS = ("coordinator", "officer", "engineer", "delivery", "funder", "setup", "reports", "guides")
PUBLIC = frozenset({"everybody"})
SIGNED_IN = frozenset({"signed in"})
BY_KEY = frozenset({"a machine's key"})  # who is logged in does not matter; the door has tests of its own
PERSONS = (
    *("none", "ended"),
    *("coordinator", "coordinator_other", "coordinator_elsewhere"),  # of the school, a neighbour, another programme
    *("officer", "officer_area", "officer_elsewhere"),  # of the programme, only its other area, another programme
    *("engineer", "engineer_other", "engineer_elsewhere"),  # of the school's area, the other area, another programme
    *("funder", "funder_elsewhere", "administrator", "administrator_elsewhere"),
)


@dataclass(frozen=True)
class Entry:
    """One endpoint.

    may: persons (of PERSONS) who reach the own object; PUBLIC, SIGNED_IN for pages without an object,
        BY_KEY for machines.
        Who has the role but not the object gets 404, who lacks the role 403.
    params: address parameter to name of an object of World.own (school, programme, unit, job, outage, sheet, query,
        term, area, block, person, grant, login, publication, school_publication, channel, key, link).
    literals: address parameters that point at no object, such as a week.
    roles: who gets past the role check; worked out from ``may`` when left out, "signed in" where any role may come.
    data: what a POST sends, made from the world and which objects are meant; an empty form when left out.
    """

    endpoint: str
    may: frozenset[str] | set[str]
    params: dict[str, str] = field(default_factory=dict)
    literals: dict[str, object] = field(default_factory=dict)
    roles: frozenset[str] | set[str] | None = None
    data: Callable[[World, str], dict[str, object]] | None = None

    def has_role(self, person: str) -> bool:
        """Whether the person gets past the role check."""
        if person == "none":
            return False
        if self.may == SIGNED_IN or self.roles == SIGNED_IN:
            return True
        roles = self.roles if self.roles is not None else {name.split("_", maxsplit=1)[0] for name in self.may}
        return person.split("_", maxsplit=1)[0] in roles

    def reaches(self, person: str, which: str) -> bool:
        """Whether the person may use the route on own, other or missing objects."""
        if self.may == PUBLIC:
            return True
        if self.may == SIGNED_IN:
            return person != "none"
        if not self.params:
            return person in self.may
        if which == "other":
            return person.endswith("_elsewhere") and person.removesuffix("_elsewhere") in self.may
        return which == "own" and person in self.may


ADMINISTRATOR = {"administrator"}
OWN_LOGIN = {"officer"}  # the world's log-in belongs to the officer; anybody may try, only the owner ends it

ROWS = [
    Entry("front.index", PUBLIC),
    Entry("front.health", PUBLIC),
    Entry("front.robots", PUBLIC),
    Entry("phone.worker", PUBLIC),
    Entry("phone.offline", PUBLIC),
    Entry("phone.token", PUBLIC),
    Entry("account.log_in", PUBLIC),
    Entry("account.log_out", SIGNED_IN),
    Entry("account.home", SIGNED_IN),
    Entry("account.password", SIGNED_IN),
    Entry("account.end_session", OWN_LOGIN, {"login_id": "login"}, roles=SIGNED_IN),
    Entry("people.home", {"administrator", "administrator_elsewhere"}),
    Entry("people.programme", ADMINISTRATOR, {"programme_id": "programme"}),
    Entry("people.add", ADMINISTRATOR, {"programme_id": "programme"}),
    Entry("people.person", ADMINISTRATOR, {"programme_id": "programme", "person_id": "person"}),
    Entry("people.give_role", ADMINISTRATOR, {"programme_id": "programme", "person_id": "person"}),
    Entry("people.end_role", ADMINISTRATOR, {"programme_id": "programme", "grant_id": "grant"}),
    Entry("people.set_password", ADMINISTRATOR, {"programme_id": "programme", "person_id": "person"}),
    Entry("people.close", ADMINISTRATOR, {"programme_id": "programme", "person_id": "person"}),
]
for _door in DOORS:
    if find_spec(f"tests.web.access_{_door}") is not None:
        ROWS += import_module(f"tests.web.access_{_door}").ROWS
