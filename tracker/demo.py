"""The made-up programme, loaded through the same door as a user's own folder, with five made-up log-ins."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker import paths
from tracker.config import DEMO_SECRET, Settings
from tracker.db import make_engine, writing
from tracker.demo_data import DEMO_NOW
from tracker.intake.folder import load_folder
from tracker.migrate import upgrade
from tracker.models.school import School
from tracker.records import people, sheets
from tracker.vocabulary import Role

STARTED = time.monotonic()
LOGINS: tuple[tuple[Role, str, str], ...] = (
    (Role.COORDINATOR, "coordinator@ombari.example", "paper tally at lunch"),
    (Role.OFFICER, "officer@ombari.example", "round the lakes by van"),
    (Role.ENGINEER, "engineer@ombari.example", "spanner in the left bag"),
    (Role.FUNDER, "funder@ombari.example", "one summary every term"),
    (Role.ADMINISTRATOR, "administrator@ombari.example", "twelve schools set up"),
)


ENDED_TERMS = ("2025-T1", "2025-T2")


@dataclass(frozen=True, slots=True)
class Asked:
    """A question of the made-up officer about a cell of a made-up sheet; the folder's format holds no questions."""

    school: str
    week: date
    cell: str
    question: str
    at: datetime


ASKED = (
    Asked(
        "OL-05",
        date(2026, 6, 29),
        "left:OL-05-CUP:SOAP",
        "Three bars of soap were handed out, but what is left was not written down. How many are left?",
        datetime(2026, 7, 7, 7, 20, tzinfo=UTC),
    ),
    Asked(
        "OL-02",
        date(2026, 7, 6),
        "reading:G1:visits",
        "The long-visit counter of G1 was read and its visit counter was not. Was it out of sight?",
        datetime(2026, 7, 13, 8, 5, tzinfo=UTC),
    ),
)


def now() -> datetime:
    """The demo's moment, and the time since the program started: its day stays, so that figures can be repeated, but
    minutes pass, so that what was opened can be closed."""
    return DEMO_NOW + timedelta(seconds=time.monotonic() - STARTED)


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
        session.info["now"] = DEMO_NOW
        load_folder(session, paths.seed_data(), progress=progress)
        _ask(session)
        for email, secret_hash in hashes.items():
            person = people.find_person(session, email)
            if person is not None:
                people.set_password(session, person.id, secret_hash, DEMO_NOW, is_demo=True)
        session.commit()
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    half.rename(database)


def _ask(session: Session) -> None:
    """The officer's questions about the two sheets that wait for an answer."""
    officer = people.find_person(session, next(email for role, email, _ in LOGINS if role is Role.OFFICER))
    if officer is None:
        return
    for one in ASKED:
        school_id = session.scalars(select(School.id).where(School.code == one.school)).one()
        sheet = sheets.find_sheet(session, school_id, one.week)
        if sheet is not None:
            sheets.ask(session, sheet, one.cell, one.question, at=one.at, person_id=officer.id)


def publish_ended_terms(app: Flask) -> None:
    """Publish the impact summaries of the terms that are over, through the officer's own pages, so that the funder's
    door has something to read. A term that has a published version is left as it is."""
    with app.test_client() as officer:
        _log_in(officer)
        for term in ENDED_TERMS:
            page = officer.get(f"/programmes/1/terms/{term}/impact").get_data(as_text=True)
            if "Version 1" not in page:
                form = _hidden(page) | {"looked": "y"}
                officer.post(f"/programmes/1/terms/{term}/impact/publish", data=form, follow_redirects=True)


def _log_in(client: FlaskClient) -> None:
    _, email, password = next(login for login in LOGINS if login[0] is Role.OFFICER)
    page = client.get("/log-in").get_data(as_text=True)
    client.post("/log-in", data=_hidden(page) | {"email": email, "password": password})


def _hidden(page: str) -> dict[str, str]:
    """Hidden fields of a page's forms; those of the last form win."""
    found = {}
    for tag in re.findall(r"<input[^>]*type=\"hidden\"[^>]*>", page):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and value:
            found[name[1]] = unescape(value[1])
    return found
