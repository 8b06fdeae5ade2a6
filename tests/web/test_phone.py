"""What a phone fetches and what it may send: budgets, the public shell, the token, and each refusal's code."""

from __future__ import annotations

import gzip
import re
from dataclasses import dataclass

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from tests.browse import Browser, browser_with, open_login
from tracker import demo
from tracker.app import create_app
from tracker.db import make_engine, writing
from tracker.demo_data import DEMO_NOW
from tracker.models.people import RoleGrant
from tracker.models.school import School
from tracker.vocabulary import DayMark, Role

KIB = 1024
WEEK = "2026-07-13"  # of the demo: begun, not reported


@dataclass
class Place:
    """A coordinator's browser, and the address of a week of theirs."""

    browser: FlaskClient
    person: int
    sheet: str


def at_school(path, code):
    app = create_app(demo.settings(path), now=lambda: DEMO_NOW)
    app.test_client_class = Browser
    engine = make_engine(f"sqlite:///{path}")
    with writing(engine) as session:
        school = session.scalar(select(School.id).where(School.code == code))
        mine = (RoleGrant.school_id == school, RoleGrant.role == Role.COORDINATOR)
        person = session.scalar(select(RoleGrant.person_id).where(*mine))
        token = open_login(session, person, DEMO_NOW)
        session.commit()
    engine.dispose()
    return Place(browser_with(app, token), person, f"/schools/{school}/weeks/{WEEK}")


@pytest.fixture
def place(demo_copy):
    return at_school(demo_copy, "OL-01")


def sent(browser, address) -> bytes:
    """The bytes of an answer as they go over the network."""
    answer = browser.get(address, headers={"Accept-Encoding": "gzip"})
    assert answer.status_code == 200, address
    return answer.data


@pytest.mark.parametrize("code", ["OL-01", "OL-11"], ids=["ten counters", "full grid"])
def test_what_a_phone_fetches_stays_within_its_budget(demo_copy, code):
    # criterion: first visit at most 60 KiB compressed, script at most 25 KiB, a repeat visit at most 15 KiB
    place = at_school(demo_copy, code)
    page = sent(place.browser, place.sheet)
    files = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', gzip.decompress(page).decode()))
    shell = sum(len(sent(place.browser, address)) for address in [*files, "/worker.js", "/offline"])
    assert len(page) + shell <= 60 * KIB, (len(page), shell)
    scripts = [address for address in files if ".js?" in address]
    assert len(scripts) == 4
    assert sum(len(place.browser.get(address).data) for address in scripts) <= 25 * KIB  # not compressed
    for address in files:  # a repeat visit fetches none of these
        assert "max-age=31536000" in place.browser.get(address).headers["Cache-Control"]
    again = len(page) + len(sent(place.browser, "/worker.js")) + len(sent(place.browser, "/week-sheets/token"))
    assert again <= 15 * KIB, again


def test_the_shell_is_the_same_for_everybody_and_names_nobody(place):
    nobody = place.browser.application.test_client()
    mine, theirs = place.browser.get("/offline"), nobody.get("/offline")
    assert mine.data == theirs.data
    assert "csrf_token" not in mine.text and "data-person" not in mine.text
    worker = place.browser.get("/worker.js")
    assert worker.data == nobody.get("/worker.js").data
    assert worker.headers["Cache-Control"] == "no-cache" and worker.mimetype == "text/javascript"
    kept = re.search(r"SHELL = (\[[^]]*\])", worker.text)[1]
    assert all(path == "/offline" or path.startswith("/static/") for path in re.findall(r'"([^"]+)"', kept))


def test_a_fresh_token_is_given_only_to_somebody_who_is_logged_in(place):
    given = place.browser.get("/week-sheets/token")
    assert given.json["app"] == "washbell" and given.json["state"] == "ready" and given.json["person"] == place.person
    assert given.headers["Cache-Control"] == "no-store"
    refused = place.browser.application.test_client().get("/week-sheets/token")
    assert refused.json == {"app": "washbell", "state": "log-in"}


@pytest.mark.parametrize(
    ("data", "code", "state"),
    [
        ({"key": "k1"}, 428, "no-version"),  # RFC 6585: the version read is required
        ({"key": "k1", "base": "7"}, 412, "stale"),  # RFC 9110: the precondition does not hold
        ({"key": "k1", "base": "0", "form": "99"}, 400, "refused"),
        ({"key": "k1", "base": "0", "form": "0"}, 400, "refused"),
    ],
)
def test_what_cannot_be_taken_is_said_with_its_code(place, data, code, state):
    answer = place.browser.post(f"{place.sheet}/send", data=data)
    assert (answer.status_code, answer.json["state"]) == (code, state)


@pytest.mark.parametrize("form", ["1", "2", None])
def test_the_last_two_forms_are_taken_and_the_same_key_gives_the_first_answer(place, form):
    data = {"key": "k1", "base": "0", **({"form": form} if form else {})}
    first = place.browser.post(f"{place.sheet}/send", data=data)
    again = place.browser.post(f"{place.sheet}/send", data=data)
    assert first.status_code == 200 and first.json["state"] == "received" and first.json == again.json
    other = place.browser.post(f"{place.sheet}/send", data={**data, f"c.mark:{DayMark.HALF.value}:{WEEK}": "yes"})
    assert other.status_code == 409
