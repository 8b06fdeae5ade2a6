"""Fixtures: a migrated database for each test, and the application on top of it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.orm import Session

from tracker.db import make_engine, writing
from tracker.migrate import upgrade

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


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A session that writes; what a test commits is gone with its database."""
    with writing(engine) as session:
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


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def any_engine(request: pytest.FixtureRequest) -> Engine:
    """The same test on both databases."""
    return request.getfixturevalue("engine" if request.param == "sqlite" else "postgres_engine")


def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    """Where everything is required, a skipped browser or database test is a failure."""
    if REQUIRE_ALL and call.excinfo is not None and call.excinfo.errisinstance(pytest.skip.Exception):
        pytest.fail(f"{item.nodeid} was skipped, but every test is required here: {call.excinfo.value}")
