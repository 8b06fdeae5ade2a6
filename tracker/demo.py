"""The made-up programme, loaded through the same door as a user's own folder, with five made-up log-ins."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from argon2 import PasswordHasher

from tracker import paths
from tracker.config import DEMO_SECRET, Settings
from tracker.db import make_engine, writing
from tracker.demo_data import DEMO_NOW
from tracker.intake.folder import load_folder
from tracker.migrate import upgrade
from tracker.records import people
from tracker.vocabulary import Role

LOGINS: tuple[tuple[Role, str, str], ...] = (
    (Role.COORDINATOR, "coordinator@ombari.example", "paper tally at lunch"),
    (Role.OFFICER, "officer@ombari.example", "round the lakes by van"),
    (Role.ENGINEER, "engineer@ombari.example", "spanner in the left bag"),
    (Role.FUNDER, "funder@ombari.example", "one summary every term"),
    (Role.ADMINISTRATOR, "administrator@ombari.example", "twelve schools set up"),
)


def now() -> datetime:
    """The demo's fixed moment, so that every page and figure can be repeated."""
    return DEMO_NOW


def settings(database: Path) -> Settings:
    """Settings of a demo on plain http, on this machine only."""
    return Settings(f"sqlite:///{database}", DEMO_SECRET, demo=True, https=False)


def prepare(database: Path, *, progress: Callable[[int, int, str], None] | None = None) -> None:
    """Make the demo's database: newest tables, the folder's records, the log-ins' passwords.

    It is made under another name first, so that a run that was broken off leaves no half demo behind.
    """
    half = database.with_suffix(".half")
    half.unlink(missing_ok=True)
    engine = make_engine(f"sqlite:///{half}")
    upgrade(engine)
    hasher = PasswordHasher()
    hashes = {email: hasher.hash(password) for _, email, password in LOGINS}
    with writing(engine) as session:
        load_folder(session, paths.seed_data(), progress=progress)
        for email, secret_hash in hashes.items():
            person = people.find_person(session, email)
            if person is not None:
                people.set_password(session, person.id, secret_hash, DEMO_NOW, is_demo=True)
        session.commit()
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    half.rename(database)
