"""Alembic's entry: one engine, handed in by tracker.migrate."""

from __future__ import annotations

from alembic import context

import tracker.models  # noqa: F401 - fills the metadata
from tracker.db import Base

engine = context.config.attributes["engine"]

with engine.connect() as connection:
    driver = connection.connection.driver_connection
    if engine.dialect.name == "sqlite" and driver is not None:
        # A table is altered by making it anew: dropping the old one must not count as deleting its rows, and the
        # renaming must not look into triggers of other tables. Outside a transaction, or SQLite does not listen.
        driver.execute("PRAGMA foreign_keys=OFF")
        driver.execute("PRAGMA legacy_alter_table=ON")
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()
    connection.commit()
    if engine.dialect.name == "sqlite" and driver is not None:
        broken = driver.execute("PRAGMA foreign_key_check").fetchall()
        driver.execute("PRAGMA legacy_alter_table=OFF")
        driver.execute("PRAGMA foreign_keys=ON")
        if broken:
            raise RuntimeError(f"rows name what is not there: {broken[:5]}")
