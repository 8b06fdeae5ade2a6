"""Who may use which page, on which object: one place, decided from the database at each request.

Every route says who may use it with ``@public``, ``@signed_in``, ``@allow(role, …)`` or ``@with_key``; the
application refuses to start with a route that does not. A person without the role gets 403 whatever the address
points at; a person with the role gets 404 alike for what does not exist and for what belongs to others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple, NoReturn, TypeVar

from flask import Flask, abort, g, redirect, request, url_for
from flask_login import current_user

from tracker.models.outages import Outage, ServiceVisit
from tracker.models.programme import Programme
from tracker.models.publications import Publication
from tracker.models.school import School
from tracker.models.sheets import WeekSheet
from tracker.models.supplies import StockPlace
from tracker.models.units import Unit
from tracker.records import people
from tracker.vocabulary import INNER_PLACES, Role
from tracker.web.database import READS, act_as, db

View = TypeVar("View", bound=Callable[..., Any])
EVERYONE = "everyone"
SIGNED_IN = "signed in"

# What a role may do with a school. Coordinators have their own schools, officers and engineers their programme or area.
SCHOOL_USES: dict[str, tuple[Role, ...]] = {
    "see": (Role.COORDINATOR, Role.OFFICER),
    "log": (Role.COORDINATOR,),
    "warn": (Role.COORDINATOR, Role.OFFICER, Role.ENGINEER),  # "report now"
    "officer": (Role.OFFICER,),
    "serve": (Role.ENGINEER,),
    "setup": (Role.OFFICER, Role.ADMINISTRATOR),
}
# What a role may do with a whole programme.
PROGRAMME_USES: dict[str, tuple[Role, ...]] = {
    "officer": (Role.OFFICER,),
    "serve": (Role.ENGINEER,),
    "fund": (Role.FUNDER,),
    "setup": (Role.ADMINISTRATOR,),
    "people": (Role.ADMINISTRATOR,),
}


class Job(NamedTuple):
    """A service visit with its unit and school."""

    visit: ServiceVisit
    unit: Unit
    school: School


# --- declarations on routes ---------------------------------------------------------------------------------------


def public(view: View) -> View:
    """Anybody may open this route."""
    view.allowed = EVERYONE  # type: ignore[attr-defined]
    return view


def with_key(view: View) -> View:
    """Machines use this route with a key that it checks itself. It sees no cookie, so no form token guards it."""
    view.allowed = EVERYONE  # type: ignore[attr-defined]
    view.by_key = True  # type: ignore[attr-defined]
    return view


def signed_in(view: View) -> View:
    """Anybody who is logged in may use this route; it shows only what is their own."""
    view.allowed = SIGNED_IN  # type: ignore[attr-defined]
    return view


def allow(*roles: Role) -> Callable[[View], View]:
    """Only people with one of these roles may use this route; which object is decided by a ``load_…`` helper."""

    def mark(view: View) -> View:
        view.allowed = frozenset(roles)  # type: ignore[attr-defined]
        return view

    return mark


def init_app(app: Flask) -> None:
    """Check the declaration of the route before each request; deny where there is none."""

    @app.before_request
    def _guard():
        if request.endpoint is None or request.endpoint == "static":
            return None
        allowed = getattr(app.view_functions[request.endpoint], "allowed", None)
        if allowed == EVERYONE:
            return None
        if not current_user.is_authenticated:
            return ask_to_log_in()
        if allowed == SIGNED_IN:
            return None
        if not allowed or not any(grant.role in allowed for grant in current_user.grants):
            abort(403)
        return None


def check_declared(app: Flask) -> None:
    """Refuse to start with a route that does not say who may use it."""
    silent = [name for name, view in app.view_functions.items() if name != "static" and not hasattr(view, "allowed")]
    if silent:
        raise RuntimeError("Routes that do not say who may use them: " + ", ".join(sorted(silent)))


def ask_to_log_in():
    """Lead to the log-in page and back. Something that was sent is kept by the page for expired forms."""
    if request.method not in READS:
        abort(401)
    return redirect(url_for("account.log_in", next=request.full_path.rstrip("?")))


# --- the person ---------------------------------------------------------------------------------------------------


def person_id() -> int:
    """The logged-in person's id, for audit rows and "sent by"."""
    found: int = current_user.person_id
    return found


def acting_role() -> str:
    """The role through which the last ``load_…`` let this person in, for audit rows."""
    return str(g.get("acting_role", ""))


def programme_ids(role: Role) -> list[int]:
    """Programmes in which the person holds the role, in steady order."""
    return sorted({grant.programme_id for grant in current_user.grants if grant.role is role})


def school_ids() -> list[int]:
    """Schools the person coordinates."""
    return sorted({grant.school_id for grant in current_user.grants if grant.role is Role.COORDINATOR})


def area_ids(role: Role, programme_id: int) -> set[int] | None:
    """Areas of a programme that the person's role reaches; None is the whole programme."""
    held = [grant for grant in current_user.grants if grant.role is role and grant.programme_id == programme_id]
    if any(grant.area_id is None for grant in held):
        return None
    return {grant.area_id for grant in held}


# --- objects ------------------------------------------------------------------------------------------------------


def _roles(uses: dict[str, tuple[Role, ...]], to: str | Iterable[str]) -> tuple[Role, ...]:
    wanted = (to,) if isinstance(to, str) else tuple(to)
    return tuple(role for use in wanted for role in uses[use])


def _missing() -> NoReturn:
    abort(404)


def _enter(school: School | None, roles: tuple[Role, ...]) -> School:
    """The school, when a grant of one of the roles reaches it; else the answer for what does not exist."""
    if school is None:
        _missing()
    for grant in current_user.grants:
        if grant.role in roles and grant.reaches(school.programme_id, school.area_id, school.id):
            g.acting_role = grant.role.value
            g.programme = db().get(Programme, school.programme_id)
            act_as(grant.role.value, school.programme_id)
            return school
    return _missing()


def load_school(school_id: int, to: str | Iterable[str] = "see") -> School:
    """The school of the address, for one of ``SCHOOL_USES``; 404 for others' and for none."""
    return _enter(db().get(School, school_id), _roles(SCHOOL_USES, to))


def load_unit(unit_id: int, to: str | Iterable[str] = "see") -> tuple[Unit, School]:
    """A unit with its school."""
    unit = db().get(Unit, unit_id)
    if unit is None:
        _missing()
    return unit, load_school(unit.school_id, to)


def load_unit_job(visit_id: int, to: str | Iterable[str] = "serve") -> Job:
    """A service visit that is the engineer's to make."""
    visit = db().get(ServiceVisit, visit_id)
    if visit is None:
        _missing()
    return Job(visit, *load_unit(visit.unit_id, to))


def load_outage(outage_id: int, to: str | Iterable[str] = "see") -> tuple[Outage, Unit, School]:
    """An outage with its unit and school."""
    outage = db().get(Outage, outage_id)
    if outage is None:
        _missing()
    return (outage, *load_unit(outage.unit_id, to))


def load_sheet(sheet_id: int, to: str | Iterable[str] = "see") -> tuple[WeekSheet, School]:
    """A week sheet with its school."""
    sheet = db().get(WeekSheet, sheet_id)
    if sheet is None:
        _missing()
    return sheet, load_school(sheet.school_id, to)


def load_place(place_id: int, to: str = "officer") -> tuple[StockPlace, School | None]:
    """A place where stock is, with its school; one that belongs to no school is the programme's."""
    place = db().get(StockPlace, place_id)
    if place is None or place.kind not in INNER_PLACES:
        _missing()
    if place.school_id is not None:
        return place, load_school(place.school_id, to)
    load_programme(place.programme_id, to)
    return place, None


def load_programme(programme_id: int, to: str | Iterable[str] = "officer") -> Programme:
    """The programme of the address, for one of ``PROGRAMME_USES``; narrow lists further with ``area_ids``."""
    programme = db().get(Programme, programme_id)
    roles = _roles(PROGRAMME_USES, to)
    for grant in current_user.grants:
        if programme is not None and grant.role in roles and grant.programme_id == programme_id:
            g.acting_role = grant.role.value
            g.programme = programme
            act_as(grant.role.value, programme_id)
            return programme
    return _missing()


def load_publication(publication_id: int) -> Publication:
    """A published report: a funder's without school names, a school's for its coordinator, all for the officer."""
    publication = db().get(Publication, publication_id)
    if publication is None:
        _missing()
    if publication.scope:
        _enter(people.school_by_code(db(), publication.programme_id, publication.scope), SCHOOL_USES["see"])
        return publication
    load_programme(publication.programme_id, to=("officer", "fund"))
    return publication
