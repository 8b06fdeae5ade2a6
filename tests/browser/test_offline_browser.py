"""A cheap phone's browser with script: the week sheet is kept, goes on without a network, and is sent exactly once."""

from __future__ import annotations

import json
import re
import threading
from dataclasses import dataclass

import pytest
from playwright.sync_api import expect
from sqlalchemy import func, select
from waitress import create_server

from tests.browser.test_coordinator_browser import EMAIL, PASSWORD, WEEK, chromium  # noqa: F401 - a fixture
from tracker import demo
from tracker.app import create_app
from tracker.db import make_engine, reading
from tracker.demo_data import DEMO_NOW
from tracker.models.audit import Audit
from tracker.models.school import School
from tracker.models.sheets import SheetVersion, WeekSheet
from tracker.vocabulary import Role

pytestmark = pytest.mark.browser
expect.set_options(timeout=8_000)
OFFICER = next((email, word) for role, email, word in demo.LOGINS if role is Role.OFFICER)
WAIT_MS = 15_000


@dataclass
class Place:
    """The demo on a free port, and the school that reported nothing of the week."""

    address: str
    engine: object
    school: int
    code: str
    app: object

    @property
    def sheet(self) -> str:
        return f"{self.address}/schools/{self.school}/weeks/{WEEK}"

    def records(self) -> int:
        """Versions of the week that the server holds."""
        with reading(self.engine) as look:
            return look.scalar(
                select(func.count())
                .select_from(SheetVersion)
                .join(WeekSheet)
                .where(WeekSheet.school_id == self.school, WeekSheet.week == "2026-07-06")
            )

    def audited(self) -> int:
        """Audit rows about versions of sheets."""
        with reading(self.engine) as look:
            return look.scalar(select(func.count()).select_from(Audit).where(Audit.table_name == "sheet_version"))


@pytest.fixture
def place(demo_copy):
    app = create_app(demo.settings(demo_copy), now=lambda: DEMO_NOW)
    server = create_server(app, host="127.0.0.1", port=0)
    threading.Thread(target=server.run, daemon=True).start()
    engine = make_engine(f"sqlite:///{demo_copy}")
    with reading(engine) as look:
        number = look.scalar(select(School.id).where(School.code == "OL-01"))
    yield Place(f"http://127.0.0.1:{server.effective_port}", engine, number, "OL-01", app)
    server.close()
    engine.dispose()


@pytest.fixture
def phone(chromium, place):  # noqa: F811
    """A logged-in phone's context, with the service worker."""
    context = chromium.new_context(viewport={"width": 360, "height": 640})
    context.set_default_timeout(10_000)
    log_in(context.new_page(), place)
    yield context
    context.close()


def log_in(page, place, email=EMAIL, password=PASSWORD):
    page.goto(f"{place.address}/log-in")
    page.fill("#email", email)
    page.fill("#password", password)
    with page.expect_navigation():
        page.click("main button")
    return page


def open_sheet(context, place, cached=True):
    """The sheet in the context's page; ``cached``: wait until the shell is kept."""
    page = context.pages[0]
    page.goto(place.sheet)
    expect(page.locator(".phone-state p").first).not_to_be_empty()
    if cached:
        page.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    return page


def count_cells(page):
    return page.locator("form.week-sheet td input.count")


def fill_some(page, text="7", number=2):
    for at in range(number):
        count_cells(page).nth(at).fill(text)
    expect(state_of(page)).to_contain_text("On this phone only")


def state_of(page):
    return page.locator(".phone-state p[role=status]")


def press(page, words):
    page.locator(".phone-state button, .buttons button", has_text=words).first.click()


def check_page(page):
    with page.expect_navigation():
        page.click(".buttons button.main")
    assert page.title().startswith("Check before sending"), page.title()


def drafts(page):
    """What the phone's store holds."""
    return page.evaluate(
        """() => new Promise(done => { const ask = indexedDB.open('washbell'); ask.onsuccess = () => {
        const all = ask.result.transaction('drafts').objectStore('drafts').getAll();
        all.onsuccess = () => { ask.result.close(); done(all.result) } } })"""
    )


def received(page):
    expect(state_of(page)).to_contain_text("Received", timeout=WAIT_MS)
    return re.search(r"reference ([2-9A-Z]{8})", state_of(page).inner_text())[1]


def test_a_cell_is_kept_within_a_second_and_comes_back_after_the_page_was_killed(phone, place):
    page = open_sheet(phone, place)
    count_cells(page).first.focus()
    page.keyboard.type("42")
    page.wait_for_timeout(900)  # the criterion: within a second, and the cell was not even left
    kept = drafts(page)
    assert "42" in kept[0]["fields"].values()
    assert "On this phone only" in state_of(page).inner_text()
    page.close(run_before_unload=False)
    phone.new_page()
    page = open_sheet(phone, place)
    assert count_cells(page).first.input_value() == "42"
    assert "kept" in state_of(page).inner_text()


def test_a_sheet_is_typed_checked_and_sent_and_the_phone_forgets_it(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    press(page, "Send")
    reference = received(page)
    assert place.records() == 1 and drafts(page) == []
    page.goto(f"{place.address}/schools/{place.school}/log")
    assert page.locator(".received .ref").inner_text() == reference


def test_without_a_network_at_opening_the_sheet_opens_from_the_phone_and_goes_on(phone, place):
    page = open_sheet(phone, place)
    phone.set_offline(True)
    page.reload()
    expect(page.locator("form.week-sheet")).to_be_visible()
    fill_some(page, "5")
    page.reload()
    assert count_cells(page).first.input_value() == "5"
    kept = page.evaluate(
        """async () => { const found = []; for (const name of await caches.keys())
        for (const one of await (await caches.open(name)).keys())
        found.push(new URL(one.url).pathname); return found }"""
    )
    assert "/offline" in kept and all(path == "/offline" or path.startswith("/static/") for path in kept), kept
    text = page.evaluate("caches.match('/offline').then(page => page.text())")
    assert 'class="out"' not in text and "data-person" not in text and "csrf_token" not in text


def test_without_a_network_in_between_the_sheet_waits_and_is_sent_when_it_is_back(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    phone.set_offline(True)
    fill_some(page, "9", 3)
    press(page, "Check and send")
    expect(state_of(page)).to_contain_text("Not received yet: no network")
    page.reload()
    expect(state_of(page)).to_contain_text("Not received yet: no network")
    assert place.records() == 0
    phone.set_offline(False)
    received(page)
    assert place.records() == 1 and drafts(page) == []


def test_without_a_network_at_sending_nothing_is_said_to_be_received(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    phone.set_offline(True)
    press(page, "Send")
    expect(state_of(page)).to_contain_text("Not received yet: no network")
    phone.set_offline(False)
    received(page)
    assert place.records() == 1


def test_an_answer_lost_after_the_server_wrote_is_asked_for_again_and_one_record_stands(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    dropped = []

    def drop(route):
        if not dropped:
            dropped.append(route.fetch().status)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/send", drop)
    press(page, "Send")
    expect(state_of(page)).to_contain_text("Not received yet", timeout=WAIT_MS)
    assert dropped == [200] and place.records() == 1
    press(page, "Send now")
    received(page)
    assert place.records() == 1


def test_an_answer_past_the_time_limit_is_not_received_and_is_asked_for_again(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    page.evaluate("washbell.patience = 300")
    page.route("**/send", lambda route: None)  # no answer comes
    press(page, "Send")
    expect(state_of(page)).to_contain_text("no answer came")
    page.unroute("**/send")
    page.evaluate("washbell.patience = 30000")
    press(page, "Send now")
    received(page)
    assert place.records() == 1


PORTAL = "<html><body><form><h1>Log in to this network</h1><input name=password></form></body></html>"


@pytest.mark.parametrize("where", ["**/week-sheets/token", "**/send"])
@pytest.mark.parametrize(
    "answer",
    [
        {"status": 200, "content_type": "text/html", "body": PORTAL},
        {"status": 302, "headers": {"Location": "/log-in"}},
        {"status": 200, "content_type": "application/json", "body": json.dumps({"state": "received"})},
    ],
    ids=["a page with 200", "redirect to log-in", "somebody else's JSON"],
)
def test_a_page_of_somebody_elses_network_is_never_taken_as_received(phone, place, where, answer):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    page.route(where, lambda route: route.fulfill(**answer))
    press(page, "Send")
    expect(state_of(page)).to_contain_text("a page that is not ours answered")
    assert place.records() == 0 and len(drafts(page)) == 1
    page.unroute(where)
    press(page, "Send now")
    received(page)
    assert place.records() == 1


def test_a_log_in_that_ended_in_between_asks_to_log_in_and_then_the_sheet_is_sent(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    check_page(page)
    phone.clear_cookies()
    press(page, "Send")
    expect(state_of(page)).to_contain_text("log in to send")
    assert place.records() == 0 and len(drafts(page)) == 1
    with page.expect_navigation():
        page.click(".phone-state a")
    page.fill("#email", EMAIL)
    page.fill("#password", PASSWORD)
    with page.expect_navigation():
        page.click("main button")
    received(page)
    assert place.records() == 1


def test_what_one_person_kept_never_opens_for_another(phone, place):
    page = open_sheet(phone, place)
    fill_some(page, "31")
    phone.clear_cookies()
    log_in(page, place, *OFFICER)
    page.goto(f"{place.address}/account")
    phone.clear_cookies()
    with reading(place.engine) as look:
        assert look.scalar(select(func.count()).select_from(SheetVersion)) > 0
    page.evaluate(
        """() => new Promise(done => { const ask = indexedDB.open('washbell'); ask.onsuccess = () => {
        const work = ask.result.transaction('phone', 'readwrite'); work.objectStore('phone').put('999', 'person');
        work.oncomplete = () => { ask.result.close(); done() } } })"""
    )  # another coordinator was the last to log in here
    phone.set_offline(True)
    page.goto(place.sheet)
    assert page.locator("form.week-sheet").count() == 0
    assert "31" not in page.inner_text("main")


def test_the_app_may_be_changed_between_draft_and_sending(phone, place):
    page = open_sheet(phone, place)
    fill_some(page, "8")
    before = page.evaluate("caches.keys()")
    from tracker.web import filters

    changed = filters._digest
    filters._digest = lambda name: "another" + changed(name)[:5]  # as after an update of every static file
    try:
        page.reload()
        expect(state_of(page)).to_contain_text("kept")
        assert count_cells(page).first.input_value() == "8"
        page.wait_for_function(
            "(before) => caches.keys().then(now => now.length === 1 && now[0] !== before)", arg=before[0]
        )
        check_page(page)
        press(page, "Send")
        received(page)
    finally:
        filters._digest = changed
    assert place.records() == 1


def test_of_two_tabs_one_sends_and_the_other_is_told(phone, place):
    page = open_sheet(phone, place)
    fill_some(page, "6")
    other = phone.new_page()
    other.goto(place.sheet)
    expect(other.locator(".phone-state p").first).to_contain_text("kept")
    count_cells(other).nth(2).fill("11")
    expect(count_cells(page).nth(2)).to_have_value("11")
    check_page(page)
    press(page, "Send")
    received(page)
    expect(state_of(other)).to_contain_text("sent from another tab")
    assert place.records() == 1


@pytest.mark.parametrize("off_by", [-400, 400], ids=["a year behind", "a year ahead"])
def test_a_wrong_clock_of_the_phone_changes_nothing(phone, place, off_by):
    page = phone.pages[0]
    page.add_init_script(
        f"const real = Date.now; Date.now = () => real() + {off_by} * 864e5; "
        "const Old = Date; Date = class extends Old { constructor(...a) "
        "{ a.length ? super(...a) : super(Date.now()) } }"
    )
    page = open_sheet(phone, place)
    fill_some(page)
    page.goto(f"{place.address}/schools/{place.school}/log")
    assert "More than 30 days" not in page.inner_text("#phone-list")
    page.goto(place.sheet)
    check_page(page)
    press(page, "Send")
    received(page)
    said = state_of(page).inner_text()
    assert str(DEMO_NOW.year) in said, said


def test_somebody_elses_sheet_in_between_leads_to_yours_and_theirs(phone, place, chromium):  # noqa: F811
    page = open_sheet(phone, place)
    fill_some(page, "4")
    other = chromium.new_context(service_workers="block")
    page2 = log_in(other.new_page(), place)
    page2.goto(place.sheet)
    count_cells(page2).first.fill("5")
    page2.wait_for_timeout(400)
    check_page(page2)
    press(page2, "Send")
    received(page2)
    phone.set_offline(True)
    press(page, "Check and send")
    phone.set_offline(False)
    expect(state_of(page)).to_contain_text("somebody else sent this week", timeout=WAIT_MS)
    with page.expect_navigation():
        press(page, "Look at it")
    assert "Somebody else sent this week" in page.inner_text("h1")
    assert "Yours: 4" in page.inner_text("form.week-sheet")
    assert place.records() == 1


def post_many(page, draft, times, together):
    """Send a draft many times as the script does; every answer."""
    return page.evaluate(
        """async ([draft, times, together]) => {
        const one = async () => {
          const fresh = await (await fetch('/week-sheets/token')).json();
          const body = new URLSearchParams(Object.entries({...draft.fields,
             key: draft.key, base: draft.base, form: draft.form}));
          const answer = await fetch(`/schools/${draft.school}/weeks/${draft.week}/send`,
            {method: 'POST', body, headers: {'X-CSRFToken': fresh.token}});
          return [answer.status, (await answer.json()).reference] };
        if (together) return Promise.all(Array.from({length: times}, one));
        const all = []; for (let i = 0; i < times; i++) all.push(await one()); return all }""",
        [draft, times, together],
    )


@pytest.mark.parametrize("together", [False, True], ids=["in series", "in parallel"])
def test_ten_times_the_same_draft_is_one_record_and_one_audit_entry(phone, place, together):
    page = open_sheet(phone, place)
    fill_some(page)
    before = place.audited()
    answers = post_many(page, drafts(page)[0], 10, together)
    assert {status for status, _ in answers} == {200} and len({reference for _, reference in answers}) == 1
    assert place.records() == 1 and place.audited() == before + 1


def test_logging_out_asks_whether_to_erase_what_was_not_received(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    page.goto(f"{place.address}/account")
    page.click("form.out button")
    expect(page.locator("h1")).to_have_text("Before you log out")
    with page.expect_navigation():
        page.click("[data-do=keep]")
    assert len(drafts(page)) == 1
    log_in(page, place)
    page = open_sheet(phone, place)
    assert count_cells(page).first.input_value() == "7"
    page.click("form.out button")
    expect(page.locator("h1")).to_have_text("Before you log out")
    with page.expect_navigation():
        page.click("[data-do=erase]")
    assert drafts(page) == []


def test_a_draft_of_more_than_30_days_is_offered_to_be_erased(phone, place):
    page = open_sheet(phone, place)
    fill_some(page)
    page.evaluate(
        """() => washbell.all(washbell.data.person).then(all => washbell.update(all[0].id,
        old => Object.assign(old, {day: '2026-05-01'})))"""
    )
    page.goto(f"{place.address}/schools/{place.school}/log")
    line = page.locator("#phone-list li").first
    expect(line).to_contain_text("More than 30 days old")
    line.locator("button").click()
    expect(line.locator("button")).to_contain_text("cannot be brought back")
    line.locator("button").click()
    expect(line).to_contain_text("Erased")
    assert drafts(page) == []


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_with_script_no_page_scrolls_sideways_and_axe_finds_nothing(phone, place, width):
    from axe_playwright_python.sync_playwright import Axe

    page = open_sheet(phone, place)
    page.set_viewport_size({"width": width, "height": 640})
    fill_some(page)
    for address in (place.sheet, f"{place.address}/schools/{place.school}/log", f"{place.address}/offline"):
        page.goto(address)
        page.evaluate("washbell.begun")
        wide = page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, (address, wide)
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()


def test_the_status_line_never_hides_the_cell_that_has_the_keyboard(phone, place):
    # WCAG 2.2 SC 2.4.11, focus not obscured
    page = open_sheet(phone, place)
    page.set_viewport_size({"width": 320, "height": 568})
    fill_some(page)
    for _ in range(40):
        page.keyboard.press("Tab")
        hidden = page.evaluate(
            """() => { const e = document.activeElement, bar = document.querySelector('.phone-state');
            if (bar.contains(e) || !e.closest('form.week-sheet')) return false;
            const cell = e.getBoundingClientRect(), over = bar.getBoundingClientRect();
            return getComputedStyle(bar).position === 'sticky'
                && cell.top >= over.top && cell.bottom <= over.bottom }"""
        )
        assert not hidden, page.evaluate("() => document.activeElement.outerHTML")


def test_totals_run_along_and_an_empty_cell_is_not_taken_for_0(chromium, place):  # noqa: F811
    context = chromium.new_context(viewport={"width": 320, "height": 568})
    page = log_in(context.new_page(), place)
    page.goto(f"{place.address}/schools/3/weeks/{WEEK}")
    page.evaluate("washbell.begun")
    table = page.locator("table.sheet:has([value^='zeros:'])").first
    cells = table.locator("input.count")
    for at in range(cells.count()):
        cells.nth(at).fill("")
    cells.nth(0).fill("12")
    cells.nth(1).fill("٣")  # U+0663, the digit three of the Unicode Standard's Nd
    assert "total 15" in table.locator(".unit-total").inner_text()
    assert f"{cells.count() - 2} empty" in table.locator(".unit-total").inner_text()
    expect(page.locator(".live-said")).to_contain_text("total 15")
