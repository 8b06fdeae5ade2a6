"""A stamp of the records as a session sees them: while it stays the same, nothing has been written.

What was read under a stamp may be kept in memory and used again under the same stamp. Only sessions that read
(``db.reading``) have one: a session that writes sees its own changes, which may still be undone.
"""

from __future__ import annotations

from typing import TypeAlias
from uuid import uuid4

from sqlalchemy import Connection
from sqlalchemy.orm import Session

Stamp: TypeAlias = tuple[str, str]


def stamp(session: Session) -> Stamp | None:
    """The database connection's name and what it has seen; None where nothing may be kept.

    SQLite: ``data_version`` changes when another connection has committed, ``total_changes`` when this one has
    changed a row; both mean something on one connection only, so each has a name of its own. PostgreSQL: the
    snapshot's text changes with every transaction that writes. Elsewhere nothing is kept.
    """
    if not session.info.get("reading"):
        return None
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        return _sqlite(connection)
    if connection.dialect.name == "postgresql":
        seen = connection.exec_driver_sql("SELECT pg_current_snapshot()::text").scalar_one()
        return _name(connection), str(seen)
    return None


def _sqlite(connection: Connection) -> Stamp:
    seen = connection.exec_driver_sql("PRAGMA data_version").scalar_one()
    changes = getattr(connection.connection.driver_connection, "total_changes", None)
    return _name(connection), f"{seen} {changes}"


def _name(connection: Connection) -> str:
    """A name that this connection to the database keeps for as long as it is open, and no other ever has."""
    name: str = connection.info.setdefault("stamp_name", uuid4().hex)
    return name
