"""Bring a database to this version's tables, or say that it is newer than this code."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from tracker import paths


class SchemaError(RuntimeError):
    """The database does not fit this version of the program."""


def _config(engine: Engine) -> Config:
    config = Config()
    config.set_main_option("script_location", str(paths.migrations()))
    config.attributes["engine"] = engine
    return config


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Run the migrations up to ``revision``."""
    command.upgrade(_config(engine), revision)


def downgrade(engine: Engine, revision: str) -> None:
    """Run the migrations down to ``revision`` ("base" for none)."""
    command.downgrade(_config(engine), revision)


def check(engine: Engine) -> None:
    """Refuse a database that is older or newer than this code.

    Raises:
        SchemaError: with what to do.
    """
    script = ScriptDirectory.from_config(_config(engine))
    with engine.connect() as connection:
        found = MigrationContext.configure(connection).get_current_revision()
    if found == script.get_current_head():
        return
    known = {revision.revision for revision in script.walk_revisions()}
    if found is None or found in known:
        raise SchemaError("The database is older than this program. Run: washbell init-db")
    raise SchemaError("The database was made by a newer program. Install that version of washbell.")
