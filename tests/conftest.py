"""Fixtures: a migrated database for each test, and the application on top of it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import settings
from sqlalchemy import Engine, text
from sqlalchemy.orm import Session

from tests.browse import Clock, browser_with, make_app, open_login
from tests.demo_file import copy_to, prepared
from tracker.db import make_engine, writing
from tracker.migrate import upgrade

# Tables and builders are imported by the tests that use them; they hold no doctests.
collect_ignore_glob = [
    "*/access_*.py",
    "*/world.py",
    "*_world.py",
    "make.py",
    "browse.py",
    "demo_file.py",
    "*/by_hand.py",
]

settings.register_profile("untimed", deadline=None)  # a busy machine is no fault: how long a test takes is not asserted
settings.load_profile("untimed")

POSTGRES = os.environ.get("WASHBELL_TEST_POSTGRES", "")
REQUIRE_ALL = os.environ.get("WASHBELL_TEST_REQUIRE_ALL") == "1"


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty SQLite database brought to the newest tables, copied for each test."""
    path = tmp_path_factory.mktemp("database") / "empty.db"
    engine = make_engine(f"sqlite:///{path}")
    upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return path


@pytest.fixture
def engine(migrated_file: Path, tmp_path: Path) -> Iterator[Engine]:
    """A fresh migrated SQLite database."""
    path = tmp_path / "test.db"
    shutil.copy(migrated_file, path)
    engine = make_engine(f"sqlite:///{path}")
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def demo_file() -> Path:
    """The prepared demo, once for each worker; a test that writes takes a copy by ``demo_copy``."""
    return prepared()


@pytest.fixture
def demo_copy(tmp_path: Path) -> Path:
    """A copy of the prepared demo for one test."""
    return copy_to(tmp_path)


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A session that writes; what a test commits is gone with its database."""
    with writing(engine) as session:
        session.expire_on_commit = False  # reading an id after commit must not take the write lock again
        yield session


@pytest.fixture
def postgres_engine() -> Iterator[Engine]:
    """A migrated PostgreSQL schema of its own; only where WASHBELL_TEST_POSTGRES names a server."""
    if not POSTGRES:
        pytest.skip("WASHBELL_TEST_POSTGRES is not set")
    admin = make_engine(POSTGRES)
    name = f"test_{os.getpid()}"
    with admin.begin() as connection:
        connection.execute(text(f"DROP SCHEMA IF EXISTS {name} CASCADE"))
        connection.execute(text(f"CREATE SCHEMA {name}"))
    engine = make_engine(f"{POSTGRES}?options=-csearch_path%3D{name}")
    upgrade(engine)
    yield engine
    engine.dispose()
    with admin.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
    admin.dispose()


@pytest.fixture
def clock() -> Clock:
    """What time it is for the application."""
    return Clock()


@pytest.fixture
def app(engine: Engine, clock: Clock, tmp_path: Path) -> Flask:
    """The application on the test's database; errors come through unless SHOW_ERROR_PAGES is set."""
    return make_app(engine, clock, tmp_path / "access.jsonl")


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """Nobody's browser."""
    return app.test_client()


@pytest.fixture
def login_as(app: Flask, session: Session, clock: Clock) -> Callable[..., FlaskClient]:
    """``login_as(person)`` commits what the test built and gives a browser in which the person is logged in."""

    def log_in(person) -> FlaskClient:
        token = open_login(session, person.id, clock())
        session.commit()
        return browser_with(app, token)

    return log_in


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def any_engine(request: pytest.FixtureRequest) -> Engine:
    """The same test on both databases."""
    return request.getfixturevalue("engine" if request.param == "sqlite" else "postgres_engine")


def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    """Where everything is required, a skipped browser or database test is a failure."""
    if REQUIRE_ALL and call.excinfo is not None and call.excinfo.errisinstance(pytest.skip.Exception):
        pytest.fail(f"{item.nodeid} was skipped, but every test is required here: {call.excinfo.value}")
