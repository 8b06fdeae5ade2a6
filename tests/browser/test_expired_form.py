"""A real browser fills a form, its log-in ends meanwhile, and nothing typed is lost."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from waitress import create_server

from tests.make import make_person, make_programme
from tracker.db import reading
from tracker.models.people import Credential, Person
from tracker.vocabulary import Role
from tracker.web.state import EXTENSION

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
PASSWORD = "kettle brown harbour nine"
pytestmark = pytest.mark.browser


@pytest.fixture
def address(app):
    """The application on a free port."""
    server = create_server(app, host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    server.close()


@pytest.fixture
def page():
    """A cheap phone's browser."""
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        yield browser.new_page(viewport={"width": 360, "height": 640})
        browser.close()


def go(page) -> None:
    """Send the page's form and wait for the answer: what is asked next is asked of that page."""
    with page.expect_navigation():
        page.click("main button")


def test_a_form_typed_slowly_is_sent_after_logging_in_again(app, session, clock, address, page, engine):
    programme = make_programme(session)
    person = make_person(session, programme, Role.ADMINISTRATOR)
    hashed = app.extensions[EXTENSION].hasher.hash(PASSWORD)
    session.add(Credential(person_id=person.id, secret_hash=hashed, set_at=clock()))
    session.commit()

    def log_in():
        page.fill("#email", person.email)
        page.fill("#password", PASSWORD)
        go(page)

    page.goto(f"{address}/people/{programme.id}/add")
    log_in()
    page.fill("#name", "Ada Example")
    page.fill("#email", "ada@test.example")
    page.select_option("#role", "funder")
    clock.pass_by(minutes=31)
    go(page)
    assert "Please log in again" in page.inner_text("h1")
    log_in()
    assert "Send what you entered" in page.inner_text("h1")
    go(page)
    assert "Ada Example is added" in page.inner_text(".flash")
    with reading(engine) as look:
        assert look.query(Person).filter_by(email="ada@test.example").one().name == "Ada Example"


def test_a_refused_form_takes_the_keyboard_to_its_list_of_errors(session, login_as, address, page):
    programme = make_programme(session)
    browser = login_as(make_person(session, programme, Role.ADMINISTRATOR))
    cookie = browser.get_cookie("washbell").value
    page.context.add_cookies([{"name": "washbell", "value": cookie, "url": address}])
    page.goto(f"{address}/people/{programme.id}/add")
    page.fill("#name", "Ada Example")
    page.fill("#email", "ada at home")
    page.evaluate("document.querySelector('main form').noValidate = true")
    go(page)
    assert page.title().startswith("Error: ")
    assert page.evaluate("document.activeElement.id") == "errors"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "email"
    assert page.input_value("#email") == "ada at home"
    assert page.input_value("#name") == "Ada Example"
