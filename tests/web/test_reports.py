"""Report pages with the demo: figures with all that stands beside them, files, records behind a number, publishing."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy import event, select, update

from tests.demo_file import copy_to
from tracker.db import make_engine, reading, writing
from tracker.demo_data import DEMO_NOW
from tracker.models.people import Person, RoleGrant
from tracker.models.publications import Publication, PublicationFile
from tracker.models.school import School
from tracker.models.usage import UsageCount
from tracker.reports import build, charts, opened
from tracker.reports.facts import MEMORY
from tracker.reports.printing import plain
from tracker.vocabulary import Role
from tracker.web.opened_reports import EXTENSION

TERM = "2025-T2"
THIN = "\u202f"


@pytest.fixture
def engine(tmp_path):
    engine = make_engine(f"sqlite:///{copy_to(tmp_path)}")
    yield engine
    engine.dispose()


@pytest.fixture(autouse=True)
def in_the_demo(clock):
    clock.at = DEMO_NOW


@pytest.fixture
def ids(engine):
    with reading(engine) as session:
        schools = {row.code: row.id for row in session.execute(select(School.code, School.id))}
        return {"programme": session.scalar(select(School.programme_id).limit(1)), **schools}


@pytest.fixture
def person(session, login_as):
    def log_in(role: Role, school: int | None = None):
        query = select(RoleGrant).where(RoleGrant.role == role)
        grant = session.scalars(query if school is None else query.where(RoleGrant.school_id == school)).first()
        return login_as(session.get(Person, grant.person_id))

    return log_in


@pytest.fixture
def officer(person):
    return person(Role.OFFICER)


def page_of(browser, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200, address
    return answer.get_data(as_text=True)


def article(text: str) -> str:
    """The page without its frame, whose form tokens differ each time."""
    return text.split('<article class="report">')[1].split("</article>", maxsplit=1)[0]


def count_queries(engine, act) -> int:
    seen = []

    def note(_connection, _cursor, statement, *_rest):
        seen.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    try:
        act()
    finally:
        event.remove(engine, "before_cursor_execute", note)
    return len(seen)


# --- pages --------------------------------------------------------------------------------------------------------


def test_a_coordinator_reads_the_own_schools_term(person, ids):
    text = page_of(person(Role.COORDINATOR, ids["OL-01"]), f"/schools/{ids['OL-01']}/terms/{TERM}/report")
    assert "Zulvena Landing Primary School: term report" in text
    assert "12 January to 3 April 2026" in text
    assert 'aria-current="page">Term 2, 2025-26' in text


def test_each_headline_stands_with_its_range_basis_records_and_last_term(officer, ids):
    text = page_of(officer, f"/programmes/{ids['programme']}/terms/{TERM}/report")
    boxes = re.findall(r'<div class="figure">.*?</div>', text, re.S)
    assert len(boxes) >= 15
    for box in boxes:
        assert re.search(r"counted|metered|sampled|modelled|estimated", box), box
        assert "Last term:" in box
    assert "set on 5 January 2026" in text and "No baseline was measured." in text


def test_pages_carry_no_inline_style_and_every_chart_its_table(officer, ids):
    text = page_of(officer, f"/schools/{ids['OL-03']}/terms/{TERM}/report")
    assert not re.search(r"\sstyle=|<style", text)
    figures = re.findall(r'<figure class="chart">.*?</figure>', text, re.S)
    assert figures
    for figure in figures:
        assert "<svg" in figure and "<details>" in figure and ("<table" in figure or 'class="empty"' in figure)


def test_a_week_without_a_sheet_shows_as_not_reported(officer, ids):
    # OL-03 sent no sheet for two weeks of this term: seed_data/week_sheets.csv.
    text = page_of(officer, f"/schools/{ids['OL-03']}/terms/{TERM}/report")
    assert ">not reported yet</text>" in text and "not recorded" in text


def test_a_term_that_is_not_there_is_not_found(officer, ids):
    assert officer.get(f"/schools/{ids['OL-01']}/terms/1999-T1/report").status_code == 404
    assert officer.get(f"/schools/{ids['OL-01']}/terms/2026-T1/report").status_code == 404, "it has not begun"


def test_the_list_of_reports_leads_to_every_term_school_and_certificate(officer, ids):
    text = page_of(officer, f"/programmes/{ids['programme']}/reports")
    assert text.count("Programme term report") == 3
    assert text.count("/impact") == 3 and text.count(f"/terms/{TERM}/report") == 13
    certificate = re.search(r'href="(/programmes/\d+/agreements/[^"]+)"', text)[1]
    assert "Availability certificate" in page_of(officer, certificate)


def test_queries_of_a_report_do_not_grow_with_schools_or_weeks(engine, officer, ids):
    def programme(term: str) -> int:
        MEMORY.clear()  # what was read before is not read again; here everything is read anew
        officer.application.extensions.pop(EXTENSION, None)
        return count_queries(engine, lambda: page_of(officer, f"/programmes/{ids['programme']}/terms/{term}/report"))

    twelve_schools = programme(TERM)
    other_weeks = programme("2025-T3")
    with writing(engine) as session:
        session.execute(update(School).where(School.code > "OL-04").values(until_day=School.from_day))
        session.commit()
    assert programme(TERM) == twelve_schools == other_weeks


def test_an_opened_report_is_kept_until_something_is_written(engine, officer, ids):
    address = f"/schools/{ids['OL-03']}/terms/{TERM}/report"
    first = page_of(officer, address)
    assert count_queries(engine, lambda: page_of(officer, address)) < 20, "nothing is read for the report itself"
    with writing(engine) as session:
        session.get(School, ids["OL-03"]).name = "Another name"
        session.commit()
    assert "Another name" not in first and "Another name" in page_of(officer, address)


def test_a_draft_is_never_an_old_one_even_where_something_came_in_without_a_person(engine, officer, draft):
    """What devices send is in no audit trail; a draft that was kept could not be published until the hour turns."""
    page_of(officer, draft)
    with writing(engine) as session:
        session.execute(
            update(UsageCount).where(UsageCount.week == date(2026, 2, 2)).values(visits=UsageCount.visits + 7)
        )
        session.commit()
    page_of(officer, draft)
    assert publish(officer, draft).status_code == 302


def test_charts_are_kept_between_two_looks(officer, ids, monkeypatch):
    address = f"/schools/{ids['OL-01']}/terms/{TERM}/report"
    first = page_of(officer, address)
    monkeypatch.setattr(charts, "_render", lambda _chart: pytest.fail("drawn again"))
    assert re.findall(r"<svg.*?</svg>", page_of(officer, address), re.S) == re.findall(r"<svg.*?</svg>", first, re.S)


# --- files --------------------------------------------------------------------------------------------------------


def test_files_are_taken_away_not_shown_and_hold_what_the_page_shows(officer, ids):
    base = f"/schools/{ids['OL-01']}/terms/{TERM}/report"
    answer = officer.get(f"{base}/files/report.json")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="report.json"'
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    content = json.loads(answer.get_data())
    figures = {line["key"]: line["figure"] for part in content["sections"] for line in part["lines"]}
    shown = f"{figures['visits']['value']:,}".replace(",", THIN)
    assert shown in page_of(officer, base)
    rows = list(csv.DictReader(io.StringIO(officer.get(f"{base}/files/headlines.csv").get_data(as_text=True))))
    assert next(row["value"] for row in rows if row["key"] == "visits") == str(figures["visits"]["value"])
    names = zipfile.ZipFile(io.BytesIO(officer.get(f"{base}/files/report-csv.zip").get_data())).namelist()
    assert {"about.csv", "headlines.csv"} <= set(names) and len(names) > 10
    assert officer.get(f"{base}/files/other.csv").status_code == 404


def test_every_look_and_every_file_leaves_one_line_in_the_access_log(app, officer, ids):
    from tracker.web.state import EXTENSION

    log = app.extensions[EXTENSION].access_log
    base = f"/schools/{ids['OL-01']}/terms/{TERM}/report"
    for address, what in (
        (base, "school term report"),
        (f"{base}/files/report.json", "school term report, report.json"),
    ):
        before = log.read_text().splitlines() if log.exists() else []
        page_of(officer, address)
        added = [json.loads(one) for one in log.read_text().splitlines()[len(before) :]]
        assert [(one["what"], one["school"], one["role"]) for one in added] == [(what, "OL-01", "officer")]


# --- records behind a number --------------------------------------------------------------------------------------


def test_every_number_of_a_programme_that_adds_up_equals_its_school_weeks(engine, ids):
    with reading(engine) as session:
        made = build.programme(session, ids["programme"], build.term_of(session, ids["programme"], TERM), DEMO_NOW)
    lines = [line for line in made.lines() if opened.adds_up(line.figure)]
    assert {"visits", "water_taken_l", "given_out", "route_days"} <= {line.key for line in lines}
    for line in lines:
        total = sum(part.digits for part in opened.printed_parts(line.figure))
        assert total == Decimal(plain(line.figure.value, line.figure.unit)), line.key


def test_a_linked_number_opens_to_school_weeks_that_add_up_to_it(officer, ids):
    text = page_of(officer, f"/schools/{ids['OL-03']}/terms/{TERM}/report")
    links = [
        link
        for link in re.findall(r'href="([^"]+/figures/[^"]+)"', text)
        if link.endswith(("/visits", "/water_taken_l", "/given_out"))
    ]
    assert len(links) == 3
    for link in links[:3]:
        behind = page_of(officer, link)
        cells = [Decimal(one.replace(THIN, "")) for one in re.findall(r'<td class="number">([^<]+)</td>', behind)]
        printed = re.search(r'<p class="value">(-?[\d.\u202f]+)', behind)[1].replace(THIN, "")
        assert sum(cells[:-1]) == cells[-1] == Decimal(printed), link


def test_a_share_opens_to_its_two_sums_and_an_unknown_one_is_not_found(officer, ids):
    base = f"/schools/{ids['OL-03']}/terms/{TERM}/report/figures"
    behind = page_of(officer, f"{base}/availability_share")
    assert "Usable minutes" in behind and "Minutes of school time" in behind
    assert officer.get(f"{base}/nonsense").status_code == 404


# --- publishing ---------------------------------------------------------------------------------------------------


@pytest.fixture
def draft(ids):
    return f"/programmes/{ids['programme']}/terms/{TERM}/impact"


def hidden_fields(text: str) -> dict[str, str]:
    return {name: re.search(rf'name="{name}"[^>]*value="([^"]*)"', text)[1] for name in ("cutoff", "seen")}


def publish(browser, draft: str, **given):
    sent = hidden_fields(page_of(browser, draft)) | {"looked": "1"} | given
    return browser.post(f"{draft}/publish", data=sent)


def stored(engine) -> dict[tuple[int, str], bytes]:
    with reading(engine) as session:
        query = select(Publication.number, PublicationFile.name, PublicationFile.content)
        rows = session.execute(query.join(Publication, Publication.id == PublicationFile.publication_id))
        return {(number, name): content for number, name, content in rows}


def change_a_record(engine) -> None:
    """Somebody corrects a tally after publication."""
    with writing(engine) as session:
        row = session.scalars(
            select(UsageCount).where(UsageCount.week.between("2026-01-19", "2026-03-23")).order_by(UsageCount.id.desc())
        ).first()
        row.visits += 1000
        session.commit()


def test_a_draft_lists_its_checks_and_names_no_school(officer, draft):
    text = page_of(officer, draft)
    for check in ("Completeness", "Queries", "Targets", "Meters", "Small counts", "Percentages"):
        assert f"<strong>{check}.</strong>" in text
    assert "Zulvena Landing" not in text and "OL-01" not in text


def test_publishing_freezes_content_hash_files_and_who_approved(engine, officer, draft):
    answer = publish(officer, draft)
    assert answer.status_code == 302 and "/publications/" in answer.headers["Location"]
    files = stored(engine)
    names = {"report.html", "report.json", "report-csv.zip", "report.xlsx", "report.pdf"}
    assert set(files) == {(1, name) for name in names}
    with reading(engine) as session:
        row = session.scalars(select(Publication)).one()
        assert row.content_hash == hashlib.sha256(files[1, "report.json"]).hexdigest()
        assert row.content_hash in files[1, "report.html"].decode()
    text = page_of(officer, answer.headers["Location"])
    assert row.content_hash in text and "approved by" in text


def test_version_1_stays_as_it_was_after_an_edit_and_version_2_lists_what_changed(engine, officer, draft):
    address = publish(officer, draft).headers["Location"]
    before, shown = stored(engine), page_of(officer, address)
    change_a_record(engine)
    assert stored(engine) == before
    assert article(page_of(officer, address)) == article(shown)
    assert officer.get(f"{address}/files/report.html").get_data() == before[1, "report.html"]
    again = publish(officer, draft, kind="correction", reason="A tally was wrong.")
    assert again.status_code == 302
    later = stored(engine)
    assert {key: body for key, body in later.items() if key[0] == 1} == before
    second = json.loads(later[2, "report.json"])
    changed = {change["where"]: (change["old"], change["new"]) for change in second["changes"]}
    old, new = changed["Visits to cabins and urinals"]
    assert old != new
    text = page_of(officer, again.headers["Location"])
    assert "What changed since version 1" in text and "Correction: A tally was wrong." in text
    assert "A later version replaces this one." in page_of(officer, address)


def test_sums_behind_a_published_number_stay_exact_after_an_edit(engine, officer, draft):
    address = publish(officer, draft).headers["Location"]
    link = f"{address}/figures/visits"
    before = article(page_of(officer, link))
    change_a_record(engine)
    assert article(page_of(officer, link)) == before
    cells = [Decimal(one) for one in re.findall(r'<td class="number">([^<]+)</td>', before)]
    assert sum(cells[:-1]) == cells[-1]
    assert f"{cells[-1]:,}".replace(",", THIN) in before


def test_a_later_version_without_a_reason_is_refused_and_keeps_what_was_typed(engine, officer, draft):
    publish(officer, draft)
    answer = publish(officer, draft, kind="revision", reason="  ")
    assert answer.status_code == 400
    assert "Say what changed since version 1." in answer.get_data(as_text=True)
    answer = publish(officer, draft, reason="Two late sheets came.")
    assert answer.status_code == 400 and "Two late sheets came." in answer.get_data(as_text=True)
    assert {number for number, _ in stored(engine)} == {1}


def test_without_a_look_nothing_is_published(engine, officer, draft):
    answer = publish(officer, draft, looked="")
    assert answer.status_code == 400 and "then tick this box" in answer.get_data(as_text=True)
    assert stored(engine) == {}


def test_a_draft_whose_records_changed_meanwhile_is_shown_again_instead(engine, officer, draft):
    seen = hidden_fields(page_of(officer, draft))
    change_a_record(engine)
    answer = officer.post(f"{draft}/publish", data=seen | {"looked": "1"})
    assert answer.status_code == 409
    assert "The records changed since this draft was opened" in answer.get_data(as_text=True)
    assert stored(engine) == {}


def test_sending_the_same_form_twice_publishes_once(engine, officer, draft):
    sent = hidden_fields(page_of(officer, draft)) | {"looked": "1"}
    assert officer.post(f"{draft}/publish", data=sent).status_code == 302
    assert officer.post(f"{draft}/publish", data=sent).status_code in (400, 409)
    assert {number for number, _ in stored(engine)} == {1}


def test_the_published_page_stands_alone_and_asks_no_server(engine, officer, draft):
    publish(officer, draft)
    page = stored(engine)[1, "report.html"].decode()
    assert "<style>" in page and not re.search(r"<script|<link|src=|href=\"(?!#)|url\((?!#)|@import", page)
    assert page.count('<figure class="chart">') > 0 and "<details open>" not in page
    print_rules = page.split("@media print", 1)[1]
    assert "details::details-content { content-visibility: visible" in print_rules, "folded tables open on paper"


def test_a_school_s_term_comes_on_one_page_for_the_head_teacher_and_for_the_wall(officer):
    for name in ("one-page.pdf", "wall-letter.pdf", "report.pdf"):
        answer = officer.get(f"/schools/1/terms/2025-T2/report/files/{name}")
        assert answer.status_code == 200 and answer.get_data().startswith(b"%PDF"), name


def test_two_schools_of_one_name_get_a_page_each(engine, officer, ids):
    with writing(engine) as session:
        session.get(School, ids["OL-03"]).name = session.get(School, ids["OL-01"]).name
        session.commit()
    page_of(officer, f"/schools/{ids['OL-01']}/terms/{TERM}/report")
    second = page_of(officer, f"/schools/{ids['OL-03']}/terms/{TERM}/report")
    assert f"/schools/{ids['OL-01']}/terms" not in second and f"/schools/{ids['OL-03']}/terms" in second
