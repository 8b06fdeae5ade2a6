"""A round from plan to closed in a real browser, on a phone and on a desktop, with the demo and without script."""

from __future__ import annotations

import os
import re
import threading
from pathlib import Path

import pytest
from sqlalchemy import select
from waitress import create_server

from tests import demo_file
from tests.browse import make_app
from tests.browser.test_officer_browser import CHROMIUM, PASSWORD, go, holds_together
from tracker import models as m
from tracker.db import make_engine, reading, writing
from tracker.demo_data import DEMO_NOW
from tracker.records import ledger, people
from tracker.vocabulary import PlaceKind, RoundState, StopState

OFFICER = "officer@ombari.example"
PICTURES = os.environ.get("WASHBELL_ROUND_PICTURES", "")  # a folder to leave a picture of each page in
pytestmark = pytest.mark.browser


@pytest.fixture
def served(tmp_path):
    """The demo's address in a running server, and its database."""
    engine = make_engine(f"sqlite:///{demo_file.copy_to(tmp_path)}")
    app = make_app(engine, lambda: DEMO_NOW, tmp_path / "access.jsonl")
    from tracker.web.state import EXTENSION

    hashed = app.extensions[EXTENSION].hasher.hash(PASSWORD)
    with writing(engine) as session:
        person = session.query(m.people.Person).filter_by(email=OFFICER).one()
        people.set_password(session, person.id, hashed, DEMO_NOW)
        session.commit()
    server = create_server(app, host="127.0.0.1", port=0)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{server.effective_port}", engine
    server.close()
    engine.dispose()


@pytest.fixture(params=[pytest.param((360, 740), id="phone"), pytest.param((1280, 900), id="desktop")])
def page(request):
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium")
    from playwright.sync_api import sync_playwright

    width, height = request.param
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        context = browser.new_context(viewport={"width": width, "height": height})
        yield context.new_page()
        browser.close()


def look(page, name: str) -> None:
    """The page holds together; a picture of it where they are wanted."""
    holds_together(page)
    if PICTURES:
        width = page.viewport_size["width"]
        page.screenshot(path=str(Path(PICTURES) / f"{name}_{width}.png"), full_page=True)


def log_in(page, address: str) -> None:
    page.goto(address + "/log-in")
    page.fill("#email", OFFICER)
    page.fill("#password", PASSWORD)
    go(page, "main button")


def test_a_round_from_plan_to_closed(page, served):
    address, engine = served
    log_in(page, address)
    page.goto(f"{address}/programmes/1/restock?on=2026-07-17&until=2026-09-21&aim=fewest&vehicle=VAN")
    go(page, "text=Make this plan a round")
    look(page, "new")
    go(page, 'text="Make the round"')
    look(page, "planned")
    round_page = page.url
    page.goto(round_page + "/pick-list")
    look(page, "pick_list")
    page.goto(round_page + "/notes")
    look(page, "notes")
    page.goto(address + "/programmes/1/roads")
    look(page, "roads")
    page.goto(round_page)
    go(page, 'text="Loaded: set under way" >> nth=0')
    look(page, "under_way")
    go(page, 'text="Record deliveries"')
    look(page, "stops")
    stops = drive(page)
    assert stops >= 3
    look(page, "stops_done")
    page.goto(round_page)
    go(page, 'text="It is back: count"')
    look(page, "back")
    count_back(page)
    go(page, 'text="Everything is counted"')
    look(page, "counted")
    go(page, 'text="Close the round"')
    look(page, "closed")
    with reading(engine) as session:
        made = session.scalar(select(m.rounds.Round))
        states = [stop.state for stop in session.scalars(select(m.rounds.RoundStop)) if stop.round_day_id]
        vehicles = select(m.supplies.StockPlace.id).where(m.supplies.StockPlace.kind == PlaceKind.VEHICLE)
        left = ledger.balances(session, made.programme_id, place_ids=session.scalars(vehicles).all())
        whole = ledger.check(session)
    assert made.state is RoundState.CLOSED
    assert states.count(StopState.NOT_REACHED) == 1 and states.count(StopState.DONE) == stops - 1
    assert left == [] and whole == []


def drive(page) -> int:
    """The first stop with one number changed, the second not reached, the others as planned; gives how many."""
    number = 0
    while page.locator('text="I am there"').count():
        go(page, 'text="I am there" >> nth=0')
        if number == 0:
            look(page, "stop")
            go(page, 'text="Record these numbers"')
            look(page, "stop_refused")
            first_stop(page)
        elif number == 1:
            page.click("details.fold > summary")
            page.fill("#reason", "Gate locked, nobody there")
            go(page, 'text="Record that the school was not reached"')
        else:
            page.fill("#received_by", "Head teacher")
            go(page, 'text="All of it as planned"')
        number += 1
    return number


def first_stop(page) -> None:
    """Every number as planned but the first, which is one less, for a reason; sent without the reason first."""
    rows = page.locator("fieldset.handed").all()
    for at, row in enumerate(rows):
        planned = int(re.search(r"of (\d+) planned", row.inner_text()).group(1))
        row.locator("input").fill(str(planned - 1 if at == 0 else planned))
    page.fill("#received_by", "Deputy head")
    go(page, 'text="Record these numbers"')
    assert "Choose why it was" in page.inner_text(".errors")
    assert page.input_value("#received_by") == "Deputy head"
    page.locator("fieldset.handed select").first.select_option("no place for it at the school")
    go(page, 'text="Record these numbers"')


def count_back(page) -> None:
    for row in page.locator("main form fieldset").all():
        row.locator("input").fill(re.search(r"so (\d+) should", row.inner_text()).group(1))


def test_a_stop_is_recorded_without_script(served):
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium")
    from playwright.sync_api import sync_playwright

    address, engine = served
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_context(viewport={"width": 360, "height": 740}, java_script_enabled=False).new_page()
        log_in(page, address)
        page.goto(f"{address}/programmes/1/rounds/new?on=2026-07-17&until=2026-09-21&aim=fewest&vehicle=VAN")
        go(page, 'text="Make the round"')
        go(page, 'text="Loaded: set under way" >> nth=0')
        go(page, 'text="Record deliveries"')
        go(page, 'text="I am there" >> nth=0')
        page.fill("#received_by", "Head teacher")
        go(page, 'text="All of it as planned"')
        browser.close()
    with reading(engine) as session:
        done = session.scalars(select(m.rounds.RoundStop).where(m.rounds.RoundStop.state == StopState.DONE)).all()
    assert [stop.received_by for stop in done] == ["Head teacher"]
