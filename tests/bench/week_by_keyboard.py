"""A week from a made-up paper sheet by keyboard only, and a slow phone: ``python -m tests.bench.week_by_keyboard``.

Counts key presses and page loads for the full grid and for the short sheet, then times how long the sheet takes to be
usable at 400 kbit/s, 400 ms and a processor slowed down four times (an emulation; no phone was used).
"""

from __future__ import annotations

import random
import sys
import tempfile
import threading
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from sqlalchemy import select
from waitress import create_server

from tests.browse import open_login
from tests.browser.test_coordinator_browser import ARGUMENTS, CHROMIUM
from tests.demo_file import copy_to
from tracker import demo
from tracker.app import create_app
from tracker.db import make_engine, writing
from tracker.demo_data import DEMO_NOW
from tracker.models.people import RoleGrant
from tracker.models.school import School
from tracker.vocabulary import Role

WEEK = "2026-07-06"
SLOW = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}  # bytes/s
SHEETS = (("full grid", "OL-11", "visits"), ("short sheet", "OL-01", "digits"))


def log_in(app, path: Path, code: str) -> tuple[int, str]:
    """The school's number and the cookie of its coordinator."""
    engine = make_engine(f"sqlite:///{path}")
    with writing(engine) as session:
        school = session.scalar(select(School.id).where(School.code == code))
        held = (RoleGrant.school_id == school, RoleGrant.role == Role.COORDINATOR)
        token = open_login(session, session.scalar(select(RoleGrant.person_id).where(*held)), DEMO_NOW)
        session.commit()
    engine.dispose()
    browser = app.test_client()
    with browser.session_transaction() as cookie:
        cookie["_user_id"], cookie["_fresh"], cookie.permanent = token, True, True
    return school, browser.get_cookie("washbell").value


def copied(page: Page, what: str, paper: random.Random) -> tuple[int, int, int]:
    """Type the paper's figures with Tab between cells: cells, digits and key presses, until the sheet is received."""
    wanted = "input.digits" if what == "digits" else "table.sheet:has([value^='zeros:']) input.count"
    first = page.locator(wanted).first
    first.focus()
    first.select_text()  # as Tab does
    names = {cell.get_attribute("name") for cell in page.locator(wanted).all()}
    cells = digits = presses = 0
    while names:
        name = page.evaluate("() => document.activeElement.name")
        if name in names:
            names.discard(name)
            text = figure(page, name, what, paper)
            page.keyboard.type(text)
            cells, digits, presses = cells + 1, digits + len(text), presses + len(text)
        if names:
            page.keyboard.press("Tab")
            presses += 1
    return cells, digits, presses


def figure(page: Page, name: str, what: str, paper: random.Random) -> str:
    """What the made-up paper says: a counter that went on a little, or a break's strokes."""
    if what == "visits":
        return str(paper.randint(0, 25))
    beside = "(n) => document.getElementsByName(n)[0].closest('td').querySelector('.last').textContent"
    last = page.evaluate(beside, name)
    shown = "".join(sign for sign in last if sign.isdecimal())
    return str(int(shown) + paper.randint(10, 60)).zfill(len(shown))


def send_by_keyboard(page: Page) -> tuple[int, str]:
    """Enter checks, then the Send button is walked to and pressed: presses and the reference."""
    with page.expect_navigation():
        page.keyboard.press("Enter")
    if not page.title().startswith("Check before sending"):
        raise RuntimeError(page.inner_text(".errors"))
    presses = 1
    while page.evaluate("() => document.activeElement.value") != "send":
        page.keyboard.press("Tab")
        presses += 1
    page.keyboard.press("Enter")
    line = page.locator(".phone-state[data-state=received] p").first
    line.wait_for()
    return presses + 1, line.inner_text()


def slow_ms(browser, address: str, cookie: str, sheet: str) -> float:
    """Milliseconds until a figure can be typed and is kept by the script, nothing cached."""
    context = browser.new_context(viewport={"width": 360, "height": 640}, service_workers="block")
    context.add_cookies([{"name": "washbell", "value": cookie, "url": address}])
    page = context.new_page()
    devtools = context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.emulateNetworkConditions", SLOW)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.goto(sheet, wait_until="commit")
    page.locator(".phone-state p").first.wait_for()
    taken = page.evaluate("() => performance.now()")
    context.close()
    return taken


def main() -> int:
    """Print a line for each sheet; 1 where the slow phone waits over 5 s."""
    late = False
    print("| sheet | cells | digits | presses in the sheet | presses to send | page loads | slow phone, usable (s) |")
    print("|---|---:|---:|---:|---:|---:|---:|")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        path = copy_to(Path(folder))
        app = create_app(demo.settings(path), now=lambda: DEMO_NOW)
        server = create_server(app, host="127.0.0.1", port=0)
        threading.Thread(target=server.run, daemon=True).start()
        address = f"http://127.0.0.1:{server.effective_port}"
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for name, code, what in SHEETS:
            school, cookie = log_in(app, path, code)
            sheet = f"{address}/schools/{school}/weeks/{WEEK}"
            waited = slow_ms(browser, address, cookie, sheet)
            late |= waited > 5000
            context = browser.new_context(viewport={"width": 360, "height": 640})
            context.add_cookies([{"name": "washbell", "value": cookie, "url": address}])
            page = context.new_page()
            loads: list[str] = []
            page.on("framenavigated", lambda frame, seen=loads: seen.append(frame.url))
            page.goto(sheet)
            page.evaluate("washbell.begun")
            cells, digits, presses = copied(page, what, random.Random(7))
            to_send, _ = send_by_keyboard(page)
            print(f"| {name} | {cells} | {digits} | {presses} | {to_send} | {len(loads)} | {waited / 1000:.1f} |")
            context.close()
        browser.close()
        server.close()
    return int(late)


if __name__ == "__main__":
    sys.exit(main())
