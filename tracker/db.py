"""The database: base class, constraint names, engine, sessions that begin the way they mean to end."""

from __future__ import annotations

import gc
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import DateTime, Dialect, Engine, Enum, MetaData, create_engine, event
from sqlalchemy.orm import DeclarativeBase, Session
from sqlalchemy.types import TypeDecorator

# A report of a thousand schools makes objects by the hundred thousand, nearly all of which are needed until it is
# done. At the usual thresholds (700, 10, 10) the collector walks over them again and again: a fifth of the time.
COLLECT_AFTER = (50_000, 20, 20)

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Common base of all tables; constraints have predictable names so that migrations can drop them."""

    metadata = MetaData(naming_convention=NAMES)


class Instant(TypeDecorator[datetime]):
    """An instant: aware in Python, stored as UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a naive time: nobody can say which instant it is."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs its zone")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give every instant back in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def word(kind: type[StrEnum], length: int = 24) -> Enum:
    """A column that holds one word of the vocabulary, by its value, with a check in the database."""
    return Enum(
        kind,
        native_enum=False,
        create_constraint=True,
        length=length,
        name=kind.__name__.lower(),
        values_callable=lambda words: [str(item.value) for item in words],
    )


def make_engine(url: str) -> Engine:
    """An engine whose SQLite connections keep foreign keys, survive a power cut and wait for a busy writer.

    The driver is taken out of transaction control, so that a request that changes data can begin immediate
    before it reads (``writing``); the default is a plain BEGIN. A process with an engine looks for unreachable
    objects less often (``COLLECT_AFTER``).
    """
    gc.set_threshold(*COLLECT_AFTER)
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":

        @event.listens_for(engine, "connect")
        def _connect(connection: Any, _record: Any) -> None:
            connection.isolation_level = None
            for pragma in ("journal_mode=WAL", "synchronous=FULL", "busy_timeout=5000", "foreign_keys=ON"):
                connection.execute("PRAGMA " + pragma)

        @event.listens_for(engine, "begin")
        def _begin(connection: Any) -> None:
            connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))

    return engine


def reading(engine: Engine) -> Session:
    """A session that only reads; what it has read may be kept while nothing is written (``records.stamp``)."""
    return Session(engine, autoflush=False, info={"reading": True})


def writing(engine: Engine) -> Session:
    """A session that takes the write lock before it reads, so that no two savers work from the same past."""
    return Session(engine.execution_options(begin="BEGIN IMMEDIATE"), autoflush=True)
