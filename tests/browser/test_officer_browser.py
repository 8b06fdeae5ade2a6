"""A real browser on a phone and on a desktop: the day's page, the engineer's jobs and the set-up hold together."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from waitress import create_server

from tests import demo_file
from tests.browse import make_app
from tracker.db import make_engine, reading, writing
from tracker.demo_data import DEMO_NOW
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.people import Person
from tracker.records import people
from tracker.vocabulary import Cause, Role

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
PASSWORD = "kettle brown harbour nine"
SIZES = [pytest.param((360, 640), id="phone"), pytest.param((1280, 800), id="desktop")]
EMAILS = {Role.OFFICER: "officer@ombari.example", Role.ENGINEER: "engineer@ombari.example"}
pytestmark = pytest.mark.browser


@pytest.fixture
def demo(tmp_path):
    """The demo's database, its address in a running server, and passwords that open its people."""
    engine = make_engine(f"sqlite:///{demo_file.copy_to(tmp_path)}")
    app = make_app(engine, lambda: DEMO_NOW, tmp_path / "access.jsonl")
    from tracker.web.state import EXTENSION

    hashed = app.extensions[EXTENSION].hasher.hash(PASSWORD)
    with writing(engine) as session:
        for email in EMAILS.values():
            people.set_password(session, session.query(Person).filter_by(email=email).one().id, hashed, DEMO_NOW)
        session.commit()
    server = create_server(app, host="127.0.0.1", port=0)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{server.effective_port}", engine
    server.close()
    engine.dispose()


@pytest.fixture(params=SIZES)
def page(request):
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium")
    from playwright.sync_api import sync_playwright

    width, height = request.param
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        yield browser.new_page(viewport={"width": width, "height": height})
        browser.close()


def go(page, selector: str) -> None:
    """Click what leads to another page, and wait for it: what is asked next is asked of that page."""
    with page.expect_navigation():
        page.click(selector)


def log_in(page, address: str, role: Role) -> None:
    page.goto(address + "/log-in")
    page.fill("#email", EMAILS[role])
    page.fill("#password", PASSWORD)
    go(page, "main button")


def holds_together(page) -> None:
    """No sideways scrolling; every button and field is at least 44 px high (W3C, Understanding SC 2.5.5)."""
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    low = page.evaluate(
        """() => [...document.querySelectorAll('main button, main .button, main select, main input:not([type=hidden])')]
            .filter(it => it.offsetParent !== null)
            .map(it => [it.type, it.closest('label') || it])
            .filter(([kind, it]) => it.getBoundingClientRect().height < 43.5)
            .map(([kind, it]) => it.outerHTML.slice(0, 80))"""
    )
    assert low == []


def test_the_officer_reads_the_day_and_reopens_what_a_danger_closed(demo, page):
    address, engine = demo
    log_in(page, address, Role.OFFICER)
    page.wait_for_url("**/today")
    holds_together(page)
    heads = page.locator("main h2").all_inner_texts()
    assert heads[:2] == ["Danger", "Out of service past the promise"]
    go(page, "text=Checked: reopen")
    holds_together(page)
    page.click("main form button")  # nothing typed: the browser itself asks for the name first
    assert page.url.endswith("/end")
    page.fill("#checked_by", "A. Wright, licensed plumber")
    page.fill("#checked_on", "2026-07-15")
    page.fill("#end_time", "09:30")
    go(page, "main form button")
    page.wait_for_url("**/today")
    assert "No danger is open." in page.inner_text("#danger")
    with reading(engine) as session:
        row = session.query(Outage).filter_by(cause=Cause.DANGER, checked_by="A. Wright, licensed plumber").one()
        assert row.end_at is not None


def test_the_officer_plans_a_round_within_a_budget(demo, page):
    address, _ = demo
    log_in(page, address, Role.OFFICER)
    page.wait_for_url("**/today")
    go(page, "text=Plan the round")
    holds_together(page)
    assert "Restocking plan for 17 July 2026" in page.inner_text("h1")
    page.click("details.ask > summary")
    page.fill("#budget", "600 USD")
    page.check("text=Equal run-out")
    holds_together(page)
    go(page, "details.ask button")
    holds_together(page)
    assert "this amount says USD" in page.inner_text("#budget-error")
    assert page.input_value("#budget") == "600 USD" and page.is_checked("input[value=equal]")
    page.fill("#budget", "600")
    go(page, "details.ask button")
    page.evaluate("document.querySelectorAll('main details').forEach(it => { it.open = true; })")
    holds_together(page)
    assert "last equally many school days" in page.inner_text("#part-short")
    assert "600.00 XTS" in page.inner_text("#part-store")


def test_the_engineer_finishes_a_job_on_one_page(demo, page):
    address, engine = demo
    log_in(page, address, Role.ENGINEER)
    page.wait_for_url("**/jobs")
    holds_together(page)
    line = page.locator("section.need", has_text="Out of service").locator("li").first
    with page.expect_navigation():
        line.locator("text=I am there").click()
    holds_together(page)
    page.check("text=Yes, it works")
    page.fill("#found", "Seal worn")
    page.fill("#done", "Seal changed")
    go(page, "text=Send it")
    page.wait_for_url("**/jobs")
    assert "Received." in page.inner_text(".flash")
    with reading(engine) as session:
        visit = session.query(ServiceVisit).filter_by(done="Seal changed").one()
        ended = session.query(Outage).filter_by(unit_id=visit.unit_id, end_at=visit.done_at).count()
        assert (visit.back_in_service, ended) == (True, 1)


@pytest.mark.parametrize("path", ["/schools/1/officer", "/schools/1/setup", "/schools/1/setup/add-unit", "/sheets/35"])
def test_the_officers_other_pages_hold_together(demo, page, path):
    address, _ = demo
    log_in(page, address, Role.OFFICER)
    assert page.goto(address + path).status == 200
    holds_together(page)
