"""Every route × every person × own, other and missing objects, from one table (access_table.py)."""

from __future__ import annotations

import hashlib
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
from flask import Flask, url_for
from flask.testing import FlaskClient
from sqlalchemy import Engine, select

from tests.browse import Clock, browser_with, make_app, open_login
from tests.web.access_table import BY_KEY, PERSONS, PUBLIC, ROWS, Entry
from tests.web.world import AT, World, build
from tracker.db import Base, make_engine, reading, writing
from tracker.models.people import Person, RoleGrant
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


@dataclass
class Stage:
    """One application and database for all rows: what is refused and what only looks must leave it as it is."""

    engine: Engine
    app: Flask
    world: World
    tokens: dict[str, str]
    untouched: bytes

    def browser(self, person: str) -> FlaskClient:
        return self.app.test_client() if person == "none" else browser_with(self.app, self.tokens[person])

    def restore(self) -> None:
        """Put the database back after something was sent."""
        self.engine.dispose()
        path = Path(self.engine.url.database)
        for rest in ("-wal", "-shm"):
            path.with_name(path.name + rest).unlink(missing_ok=True)
        path.write_bytes(self.untouched)


@pytest.fixture(scope="module")
def stage(migrated_file, tmp_path_factory):
    folder, clock = tmp_path_factory.mktemp("stage"), Clock()
    path = folder / "stage.db"
    shutil.copy(migrated_file, path)
    engine = make_engine(f"sqlite:///{path}")
    with writing(engine) as session:
        session.expire_on_commit = False
        world = build(session)
        tokens = {name: open_login(session, person.id, clock()) for name, person in world.people.items()}
        session.commit()
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    yield Stage(engine, make_app(engine, clock, folder / "access.jsonl"), world, tokens, path.read_bytes())
    engine.dispose()


def methods_of(app, entry: Entry) -> set[str]:
    rules = [rule for rule in app.url_map.iter_rules() if rule.endpoint == entry.endpoint]
    return {method for rule in rules for method in rule.methods} & {"GET", "POST"}


def send(stage: Stage, person: str, entry: Entry, method: str, which: str) -> int:
    with stage.app.test_request_context():
        address = url_for(entry.endpoint, **stage.world.params(entry.params, which), **entry.literals)
    browser = stage.browser(person)
    if method == "GET":
        return browser.get(address).status_code
    data = entry.data(stage.world, which) if entry.data is not None and which != "missing" else {}
    return browser.post(address, data=data).status_code


def refusal(entry: Entry, person: str, method: str) -> int:
    if person == "none":
        return 302 if method == "GET" else 401
    return 404 if entry.has_role(person) else 403


def test_every_route_has_a_row_and_every_row_a_route(stage):
    routes = {rule.endpoint for rule in stage.app.url_map.iter_rules()} - {"static"}
    rows = [entry.endpoint for entry in ROWS]
    assert routes - set(rows) == set(), "add a row to tests/web/access_<door>.py"
    assert set(rows) - routes == set()
    assert len(rows) == len(set(rows))


@pytest.mark.parametrize(
    "entry", [entry for entry in ROWS if entry.may not in (PUBLIC, BY_KEY)], ids=lambda entry: entry.endpoint
)
def test_who_may_not_is_refused_and_changes_nothing(stage, entry):
    before = database_hash(stage.engine)
    wrong = []
    for person in PERSONS:
        for which in OBJECTS if entry.params else ("own",):
            if entry.reaches(person, which):
                continue
            for method in methods_of(stage.app, entry):
                status = send(stage, person, entry, method, which)
                if status != refusal(entry, person, method):
                    wrong.append((person, which, method, status))
    assert wrong == []
    assert database_hash(stage.engine) == before


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry.endpoint)
def test_who_may_is_let_in_and_looking_changes_nothing(stage, entry):
    before = database_hash(stage.engine)
    for person in PERSONS:
        for which in ("own", "other") if entry.params else ("own",):
            if entry.reaches(person, which) and "GET" in methods_of(stage.app, entry):
                status = send(stage, person, entry, "GET", which)
                assert status in (200, 302, 303), (person, which, status)
    assert database_hash(stage.engine) == before


@pytest.mark.parametrize("entry", ROWS, ids=lambda entry: entry.endpoint)
def test_who_may_can_send(stage, entry):
    person = next((person for person in PERSONS if person != "none" and entry.reaches(person, "own")), None)
    if person is None or "POST" not in methods_of(stage.app, entry):
        return
    try:
        status = send(stage, person, entry, "POST", "own")
    finally:
        stage.restore()
    assert status in (200, 302, 303, 400, 409, 428), status


def test_the_stage_notices_a_change(stage):
    """The hash that stands for "changes nothing" must see a change of one cell."""
    before = database_hash(stage.engine)
    with writing(stage.engine) as session:
        session.get(Person, stage.world.people["officer"].id).phone = "555 01"
        session.commit()
    assert database_hash(stage.engine) != before
    stage.restore()
    assert database_hash(stage.engine) == before


def test_a_role_that_ended_counts_at_the_next_request(stage):
    browser = stage.browser("administrator")
    address = f"/people/{stage.world.own['programme']}/"
    assert browser.get(address).status_code == 200
    with writing(stage.engine) as session:
        for grant in session.query(RoleGrant).filter_by(person_id=stage.world.people["administrator"].id):
            grant.ended_at = AT
        session.commit()
    assert browser.get(address).status_code == 403
    stage.restore()


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
