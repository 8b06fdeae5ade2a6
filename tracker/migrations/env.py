"""Alembic's entry: one engine, handed in by tracker.migrate."""

from __future__ import annotations

from alembic import context

import tracker.models  # noqa: F401 - fills the metadata
from tracker.db import Base

engine = context.config.attributes["engine"]

with engine.connect() as connection:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()
    connection.commit()
