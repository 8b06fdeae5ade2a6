"""Both directions run on both databases, the tables equal the models, and a newer database is refused."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text

import tracker.models  # noqa: F401
from tracker.db import Base
from tracker.migrate import SchemaError, check, downgrade, upgrade


def test_up_down_up_leaves_the_tables_of_the_models(any_engine):
    downgrade(any_engine, "base")
    upgrade(any_engine)
    upgrade(any_engine)
    with any_engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_a_database_of_a_newer_program_is_refused(any_engine):
    check(any_engine)
    with any_engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'from_the_future'"))
    with pytest.raises(SchemaError, match="newer program"):
        check(any_engine)


def test_an_empty_database_is_told_to_be_prepared(any_engine):
    downgrade(any_engine, "base")
    with pytest.raises(SchemaError, match="init-db"):
        check(any_engine)
