"""Every route × every person × own, other and missing objects, from one table (access_table.py)."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from flask import url_for
from sqlalchemy import select

from tests.web.access_table import PERSONS, PUBLIC, ROWS, Entry
from tests.web.world import AT, build
from tracker.db import Base, reading
from tracker.models.people import RoleGrant
from tracker.web.access import SCHOOL_USES

OBJECTS = ("own", "other", "missing")


def database_hash(engine) -> str:
    """One hash over every row of every table."""
    digest = hashlib.sha256()
    with reading(engine) as session:
        for table in Base.metadata.sorted_tables:
            for row in session.execute(select(table).order_by(*table.primary_key.columns)):
                digest.update(repr((table.name, tuple(row))).encode())
    return digest.hexdigest()


@pytest.fixture
def world(session):
    built = build(session)
    session.commit()
    return built


@pytest.fixture
def browsers(app, world, login_as):
    return {name: login_as(world.people[name]) if name != "none" else app.test_client() for name in PERSONS}


def methods_of(app, entry: Entry) -> set[str]:
    rules = [rule for rule in app.url_map.iter_rules() if rule.endpoint == entry.endpoint]
    return {method for rule in rules for method in rule.methods} & {"GET", "POST"}


def send(app, browser, world, entry: Entry, method: str, which: str) -> int:
    with app.test_request_context():
        address = url_for(entry.endpoint, **world.params(entry.params, which), **entry.literals)
    if method == "GET":
        return browser.get(address).status_code
    data = entry.data(world, which) if entry.data is not None and which != "missing" else {}
    return browser.post(address, data=data).status_code


def refusal(entry: Entry, person: str, method: str) -> int:
    if person == "none":
        return 302 if method == "GET" else 401
    return 404 if entry.has_role(person) else 403


def test_every_route_has_a_row_and_every_row_a_route(app):
    routes = {rule.endpoint for rule in app.url_map.iter_rules()} - {"static"}
    rows = [entry.endpoint for entry in ROWS]
    assert routes - set(rows) == set(), "add a row to tests/web/access_<door>.py"
    assert set(rows) - routes == set()
    assert len(rows) == len(set(rows))


@pytest.mark.parametrize("entry", [entry for entry in ROWS if entry.may != PUBLIC], ids=lambda entry: entry.endpoint)
def test_who_may_not_is_refused_and_changes_nothing(app, engine, world, browsers, entry):
    before = database_hash(engine)
    wrong = []
    for person in PERSONS:
        for which in OBJECTS if entry.params else ("own",):
            if entry.reaches(person, which):
                continue
            for method in methods_of(app, entry):
                status = send(app, browsers[person], world, entry, method, which)
                if status != refusal(entry, person, method):
                    wrong.append((person, which, method, status))
    assert wrong == []
    assert database_hash(engine) == before


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry.endpoint)
def test_who_may_is_let_in_and_looking_changes_nothing(app, engine, world, browsers, entry):
    for person in PERSONS:
        for which in ("own", "other") if entry.params else ("own",):
            if not entry.reaches(person, which) or "GET" not in methods_of(app, entry):
                continue
            before = database_hash(engine)
            status = send(app, browsers[person], world, entry, "GET", which)
            assert status in (200, 302, 303), (person, which, status)
            assert database_hash(engine) == before, (person, which)


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry.endpoint)
def test_who_may_can_send(app, world, login_as, entry):
    person = next((person for person in PERSONS if person != "none" and entry.reaches(person, "own")), None)
    if person is None or "POST" not in methods_of(app, entry):
        return
    status = send(app, login_as(world.people[person]), world, entry, "POST", "own")
    assert status in (200, 302, 303, 400, 409), status


def test_a_role_that_ended_counts_at_the_next_request(app, session, world, login_as):
    browser = login_as(world.people["administrator"])
    address = f"/people/{world.own['programme']}/"
    assert browser.get(address).status_code == 200
    for grant in session.query(RoleGrant).filter_by(person_id=world.people["administrator"].id):
        grant.ended_at = AT
    session.commit()
    assert browser.get(address).status_code == 403


def test_the_uses_of_a_school_are_the_documented_ones():
    """docs/roles.md says who may what; the code's table must not drift from it."""
    lines = (Path(__file__).parents[2] / "docs" / "roles.md").read_text().splitlines()
    head = next(at for at, line in enumerate(lines) if line.startswith("| `to` of a school"))
    roles = [cell.strip() for cell in lines[head].strip("|").split("|")][1:]
    documented = {}
    for line in lines[head + 2 :]:
        if not line.startswith("|"):
            break
        use, *cells = [cell.strip() for cell in line.strip("|").split("|")]
        documented[use.split("`")[1]] = {role for role, cell in zip(roles, cells, strict=True) if cell}
    assert documented == {use: {role.value for role in held} for use, held in SCHOOL_USES.items()}
