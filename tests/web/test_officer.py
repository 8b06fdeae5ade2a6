"""The officer's door: every line leads to its act, acts are saved whole, the page asks the same number of queries."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tests.make import make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tests.web.coordinator_world import build as build_place
from tests.web.office import DAY, NOW, busy_school, count_queries, derive, outage
from tracker.db import reading
from tracker.models.audit import Audit
from tracker.models.outages import Outage, ServiceVisit, Sighting
from tracker.models.people import RoleGrant
from tracker.models.sheets import Query, SheetVersion, WeekSheet
from tracker.vocabulary import Cause, Danger, Role, SheetState, Source, State, VisitPurpose


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def area(session, programme):
    return make_area(session, programme)


@pytest.fixture
def school(session, programme, area):
    return make_school(session, programme, area)


@pytest.fixture
def officer(session, programme, school, login_as):
    return login_as(make_person(session, programme, Role.OFFICER))


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def audited(saved, table: str) -> list[str]:
    rows = saved.query(Audit).filter(Audit.table_name == table, Audit.role == "officer", Audit.person_id.is_not(None))
    return [row.act for row in rows.order_by(Audit.seq)]


# --- today --------------------------------------------------------------------------------------------------------


def test_an_empty_day_says_so_in_one_calm_sentence_each(officer, programme):
    page = officer.get(f"/programmes/{programme.id}/today").text
    for sentence in (
        "No danger is open.",
        "No outage is past its promise.",
        "No two restocking rounds are planned ahead.",
        "Every school has sent the weeks that are due.",
        "No sheet waits for you.",
        "No job waits for its visit.",
        "No permit or operator&#39;s certificate ends within 30 days.",
    ):
        assert sentence in page


def test_every_need_is_listed_in_order_and_each_line_leads_to_its_act(session, programme, area, login_as):
    busy = busy_school(session, programme, area)
    make_term(session, programme)
    derive(session, programme)
    page = login_as(make_person(session, programme, Role.OFFICER)).get(f"/programmes/{programme.id}/today").text
    places = [page.index(f'id="{key}"') for key in ("danger", "late", "supplies", "silent", "sheets", "jobs", "papers")]
    assert places == sorted(places)
    for act in ("/end", "/job", "/accept", "/setup/route-papers", f"/schools/{busy.id}/officer"):
        assert act in page, act
    assert "nothing is left on record" in page  # the machine's last count is 0: sold out
    assert page.count("not reported yet.") == 1


@pytest.mark.parametrize("need", ["danger", "late", "supplies", "silent", "sheets", "jobs", "papers"])
def test_a_need_alone_is_paged(session, programme, area, login_as, need):
    busy_school(session, programme, area)
    make_term(session, programme)
    derive(session, programme)
    browser = login_as(make_person(session, programme, Role.OFFICER))
    assert browser.get(f"/programmes/{programme.id}/today?need={need}").text.count('class="line') == 1
    assert browser.get(f"/programmes/{programme.id}/today?need={need}&page=2").text.count('class="line') == 0
    assert browser.get(f"/programmes/{programme.id}/today?need=else").status_code == 404


def test_an_officer_of_one_area_sees_only_its_schools(session, programme, area, login_as):
    busy = busy_school(session, programme, make_area(session, programme))
    make_term(session, programme)
    derive(session, programme)
    page = login_as(make_person(session, programme, Role.OFFICER, area=area)).get(f"/programmes/{programme.id}/today")
    assert busy.name not in page.text


def test_the_page_asks_as_many_queries_for_twelve_schools_as_for_two(session, engine, programme, area, login_as):
    make_term(session, programme)
    counts = []
    for number in (2, 10):
        for _ in range(number):
            busy_school(session, programme, area)
        derive(session, programme)
        browser = login_as(make_person(session, programme, Role.OFFICER))
        counts.append(count_queries(engine, lambda: browser.get(f"/programmes/{programme.id}/today")))  # noqa: B023
    assert counts[0] == counts[1]


# --- sheets -------------------------------------------------------------------------------------------------------


@pytest.fixture
def sheet(session):
    """A sheet with one visits cell, sent; its officer's browser; the school."""
    place = build_place(session)
    row = WeekSheet(
        school_id=place.school.id,
        week=date(2026, 1, 26),
        code="SHEET",
        state=SheetState.SENT,
        version=1,
        first_sent_at=NOW,
    )
    session.add(row)
    session.flush()
    payload = (
        '{"usage_counts": [{"unit": "G1", "first_day": "2026-01-27", "days": "1", "slot": "B1", "source": "tally",'
        ' "how": "grid", "visits": "47", "note": ""}]}'
    )
    session.add(
        SheetVersion(
            sheet_id=row.id, number=1, reference="REF23456", sent_at=NOW, payload=payload, payload_hash="0" * 64
        )
    )
    session.flush()
    return place, row


def test_a_sheet_is_shown_as_it_was_sent_and_a_blank_is_not_recorded(sheet, login_as):
    place, row = sheet
    page = login_as(place.officer).get(f"/sheets/{row.id}").text
    assert ">47<" in page
    assert "REF23456" in page
    assert "not recorded" in page


def test_a_question_about_a_cell_waits_for_the_school_and_may_be_closed(sheet, login_as, saved):
    place, row = sheet
    browser = login_as(place.officer)
    cell = "visits:G1:2026-01-27:B1"
    assert browser.post(f"/sheets/{row.id}/ask", data={"cell": cell, "question": "Is 47 right?"}).status_code == 302
    query = saved.query(Query).one()
    assert (query.cell, query.question, query.raised_by_check) == (cell, "Is 47 right?", False)
    assert saved.get(WeekSheet, row.id).state is SheetState.QUERIED
    refused = browser.post(f"/sheets/{row.id}/accept", follow_redirects=True)
    assert "has no answer yet" in refused.text
    assert browser.post(f"/sheets/{row.id}/queries/1/close").status_code == 302
    saved.rollback()
    assert saved.query(Query).one().closed_at is not None
    assert browser.post(f"/sheets/{row.id}/accept").status_code == 302
    saved.rollback()
    accepted = saved.get(WeekSheet, row.id)
    assert (accepted.state, accepted.accepted_by_id) == (SheetState.ACCEPTED, place.officer.id)
    assert audited(saved, "query") == ["added", "changed"]
    assert "changed" in audited(saved, "week_sheet")


def test_an_empty_question_is_refused_at_its_place_and_nothing_is_saved(sheet, login_as, saved):
    place, row = sheet
    answer = login_as(place.officer).post(f"/sheets/{row.id}/ask", data={"cell": "", "question": " "})
    assert answer.status_code == 400
    assert "Write your question" in answer.text
    assert saved.query(Query).count() == 0


# --- what is phoned in --------------------------------------------------------------------------------------------


def test_a_danger_phoned_in_closes_the_whole_block_at_once_and_names_who_called(
    session, school, officer, programme, saved
):
    block = make_block(session, school)
    units = [make_unit(session, school, block) for _ in range(2)]
    session.commit()
    where = f"block-{block.id}"
    data = {"what": Danger.SMOKE.value, "where": where, "said_by": "Ada, by phone", "note": ""}
    assert officer.post(f"/schools/{school.id}/phoned-danger", data=data).status_code == 302
    rows = saved.query(Outage).order_by(Outage.unit_id).all()
    assert [row.unit_id for row in rows] == [unit.id for unit in units]
    assert {(row.cause, row.source, row.said_by, row.danger) for row in rows} == {
        (Cause.DANGER, Source.OFFICER, "Ada, by phone", Danger.SMOKE)
    }
    assert audited(saved, "outage") == ["added", "added"]
    page = officer.get(f"/programmes/{programme.id}/today").text
    assert page.index("smoke or fire") < page.index("Out of service past the promise")


def test_an_outage_phoned_in_keeps_what_was_typed_when_it_is_refused(session, school, officer, saved):
    unit = make_unit(session, school)
    session.commit()
    data = {"units": unit.id, "cause": "broken", "start_day": "2026-02-03", "start_time": "8.10", "said_by": "Ada"}
    answer = officer.post(f"/schools/{school.id}/phoned-outage", data=data)
    assert answer.status_code == 400
    assert "Write a time of day, for example 08:10." in answer.text
    assert 'value="8.10"' in answer.text
    assert 'value="Ada"' in answer.text
    assert saved.query(Outage).count() == 0
    saved.rollback()
    assert officer.post(f"/schools/{school.id}/phoned-outage", data=data | {"start_time": "08:10"}).status_code == 302
    row = saved.query(Outage).one()
    assert row.start_at == datetime(2026, 2, 3, 5, 10, tzinfo=UTC)  # the programme's zone is three hours ahead
    assert (row.source, row.end_at, row.said_by) == (Source.OFFICER, None, "Ada")
    assert audited(saved, "outage") == ["added"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"start_day": "2026-02-05"}, "This time has not come yet."),
        ({"end_day": "2026-02-02", "end_time": "09:00"}, "The end is not after the start."),
        ({"end_day": "2026-02-03"}, "Write both the day and the time"),
        ({"units": ""}, "Choose"),
        ({"said_by": ""}, "Write who said so"),
    ],
)
def test_an_outage_that_cannot_be_is_refused(session, school, officer, saved, change, sentence):
    unit = make_unit(session, school)
    session.commit()
    data = {"units": unit.id, "cause": "broken", "start_day": "2026-02-03", "start_time": "08:10", "said_by": "Ada"}
    answer = officer.post(f"/schools/{school.id}/phoned-outage", data=data | change)
    assert answer.status_code == 400
    assert sentence in answer.text
    assert saved.query(Outage).count() == 0


def test_an_outage_ends_by_phone(session, programme, school, officer, saved):
    row = outage(session, programme, make_unit(session, school))
    session.commit()
    data = {"end_day": "2026-02-04", "end_time": "10:00"}
    assert officer.post(f"/outages/{row.id}/end", data=data).status_code == 302
    assert saved.get(Outage, row.id).end_at == datetime(2026, 2, 4, 7, 0, tzinfo=UTC)


def test_a_danger_is_reopened_only_with_the_name_and_the_day_of_the_check(session, programme, school, officer, saved):
    row = outage(session, programme, make_unit(session, school), Cause.DANGER, danger=Danger.WIRES)
    session.commit()
    page = officer.get(f"/outages/{row.id}/end").text
    assert "Bare wires or live parts can be touched." in page
    data = {"end_day": "2026-02-04", "end_time": "10:00", "checked_by": "", "checked_on": ""}
    answer = officer.post(f"/outages/{row.id}/end", data=data)
    assert answer.status_code == 400
    assert "Write the name of the competent person who checked it." in answer.text
    assert saved.get(Outage, row.id).end_at is None
    late = data | {"checked_by": "A. Wright", "checked_on": "2026-02-05"}
    assert "The check must come before" in officer.post(f"/outages/{row.id}/end", data=late).text
    good = late | {"checked_on": "2026-02-04"}
    assert officer.post(f"/outages/{row.id}/end", data=good).status_code == 302
    saved.rollback()
    found = saved.get(Outage, row.id)
    assert (found.checked_by, found.checked_on, found.end_at is not None) == ("A. Wright", DAY, True)
    assert audited(saved, "outage") == ["changed"]


def test_one_press_makes_a_job_and_a_second_one_makes_no_other(session, programme, school, officer, saved):
    unit = make_unit(session, school)
    row = outage(session, programme, unit)
    session.commit()
    assert "Ask the engineer" in officer.get(f"/programmes/{programme.id}/today").text
    for _ in range(2):
        assert officer.post(f"/units/{unit.id}/job", data={"purpose": "repair"}).status_code == 302
    job = saved.query(ServiceVisit).one()
    assert (job.purpose, job.asked_on, job.outage_id, job.done_at) == (VisitPurpose.REPAIR, DAY, row.id, None)
    assert "asked of the engineer on" in officer.get(f"/programmes/{programme.id}/today").text
    assert audited(saved, "service_visit") == ["added"]


# --- the way to the reports ---------------------------------------------------------------------------------------


def test_reports_stand_in_the_officers_navigation_and_on_the_pages_of_a_school(officer, programme, school):
    page = officer.get(f"/schools/{school.id}/officer").text
    assert '<a href="/programmes/reports">Reports</a>' in page
    assert f'href="/schools/{school.id}/reports">Term report</a>' in page
    assert f'href="/schools/{school.id}/reports">Term report</a>' in officer.get(f"/schools/{school.id}/setup").text
    there = officer.get("/programmes/reports")
    assert there.headers["Location"] == f"/programmes/{programme.id}/reports"
    reports = officer.get(there.headers["Location"]).text
    assert '<a href="/programmes/reports" aria-current="page">Reports</a>' in reports
    assert officer.get("/").headers["Location"] == "/programmes"


def test_an_administrator_finds_two_described_links_and_a_coordinator_of_two_schools_my_schools(
    session, programme, school, area, login_as
):
    page = login_as(make_person(session, programme, Role.ADMINISTRATOR)).get("/").text
    assert "Schools, units, terms" in page and "new passwords" in page
    assert page.count('class="where"') == 2
    person = make_person(session, programme, Role.COORDINATOR, school=school)
    second = make_school(session, programme, area)
    session.add(
        RoleGrant(
            programme_id=programme.id, ref="second", person_id=person.id, role=Role.COORDINATOR, school_id=second.id
        )
    )
    session.flush()
    page = login_as(person).get("/account").text
    assert ">My schools</a>" in page


# --- ending a danger ----------------------------------------------------------------------------------------------


def test_reopening_shows_the_missing_name_together_with_a_wrong_time(session, programme, school, officer, saved):
    row = outage(session, programme, make_unit(session, school), Cause.DANGER, danger=Danger.FLOOD)
    session.commit()
    sent = {"checked_by": "", "checked_on": "2026-02-05", "end_day": "2026-02-04", "end_time": "13:00"}
    page = officer.post(f"/outages/{row.id}/end", data=sent).text
    for sentence in ("name of the competent person", "This time has not come yet.", "The check must come before"):
        assert sentence in page


def test_an_end_in_the_minute_of_the_start_is_kept_as_one_minute_and_the_page_says_so(
    session, programme, school, officer, saved
):
    """It began at 08:30:40 UTC, 11:30 in the programme's zone; people write minutes."""
    row = outage(session, programme, make_unit(session, school))
    row.start_at = datetime(2026, 2, 4, 8, 30, 40, tzinfo=UTC)
    session.commit()
    answer = officer.post(
        f"/outages/{row.id}/end", data={"end_day": "2026-02-04", "end_time": "11:30"}, follow_redirects=True
    )
    assert "kept as one minute" in answer.text
    assert saved.get(Outage, row.id).end_at == datetime(2026, 2, 4, 8, 31, 40, tzinfo=UTC)


# --- every line leads to an act -----------------------------------------------------------------------------------


def test_who_runs_out_leads_to_the_restocking_list_of_the_term(session, programme, area, login_as):
    busy_school(session, programme, area)
    term = make_term(session, programme)
    derive(session, programme)
    browser = login_as(make_person(session, programme, Role.OFFICER))
    page = browser.get(f"/programmes/{programme.id}/today").text
    address = f"/programmes/{programme.id}/terms/{term.code}/report"
    assert f'href="{address}#part-supplies">Restocking list</a>' in page
    assert 'id="part-supplies"' in browser.get(address).text


def test_a_job_is_withdrawn_with_a_reason_that_stays_on_record(session, programme, school, officer, saved):
    unit = make_unit(session, school)
    job = ServiceVisit(programme_id=programme.id, ref="V1", unit_id=unit.id, purpose=VisitPurpose.REPAIR, asked_on=DAY)
    session.add(job)
    session.commit()
    assert f'href="/asked/{job.id}/withdraw"' in officer.get(f"/programmes/{programme.id}/today").text
    assert "Write why it is withdrawn." in officer.post(f"/asked/{job.id}/withdraw", data={"reason": ""}).text
    assert saved.query(ServiceVisit).count() == 1
    saved.rollback()
    sent = officer.post(f"/asked/{job.id}/withdraw", data={"reason": "the school mended it"}, follow_redirects=True)
    assert f"Withdrawn: {unit.name}" in sent.text
    assert saved.query(ServiceVisit).count() == 0
    line = saved.query(Audit).filter_by(table_name="service_visit", act="removed").one()
    assert line.reason == "the school mended it" and "V1" in line.before


def test_a_visit_that_was_made_cannot_be_withdrawn(session, programme, school, officer, saved):
    unit = make_unit(session, school)
    job = ServiceVisit(programme_id=programme.id, ref="V1", unit_id=unit.id, purpose=VisitPurpose.REPAIR, asked_on=DAY)
    job.done_at, job.done = NOW, "new seal"
    session.add(job)
    session.commit()
    officer.post(f"/asked/{job.id}/withdraw", data={"reason": "typed wrong"})
    assert saved.query(ServiceVisit).count() == 1


def seen(session, unit, day: date) -> None:
    session.add(Sighting(unit_id=unit.id, day=day, source=Source.TALLY, state=State.WORKING))


def test_units_that_nobody_looked_at_in_time_stand_by_school(session, programme, school, officer):
    """The promise is two school days, today is Wednesday 4 February, the week of 26 January is reported.

    Seen on Wednesday 28 January: Thursday and Friday follow, two school days, in time. Seen on Tuesday 27 January:
    three, overdue. Monday and Tuesday of this week are not reported yet, so they count against nobody.
    """
    make_term(session, programme)
    block = make_block(session, school)
    late, fine, never, out = (make_unit(session, school, block) for _ in range(4))
    seen(session, late, date(2026, 1, 27))
    seen(session, fine, date(2026, 1, 28))
    outage(session, programme, out)
    session.add(
        WeekSheet(
            school_id=school.id,
            week=date(2026, 1, 26),
            code="L1",
            state=SheetState.SENT,
            version=1,
            first_sent_at=NOW,
        )
    )
    derive(session, programme)
    session.commit()
    page = officer.get(f"/programmes/{programme.id}/today?need=looks").text
    assert page.count('class="line') == 1
    assert f"{late.name} (last seen Tue 27 Jan)" in page
    assert f"{never.name} (never seen)" in page
    assert f"{fine.name} (" not in page and f"{out.name} (" not in page


# --- a sheet in words ---------------------------------------------------------------------------------------------


def test_the_bells_rows_name_their_break_and_every_cell_its_head(sheet, login_as):
    place, row = sheet
    page = login_as(place.officer).get(f"/sheets/{row.id}").text
    bell = page[page.index("At the bell of the drawn breaks") :].split("</table>")[0]
    assert bell.count("<tr>") - 1 == 2 * len(place.drawn)  # girls and boys of each drawn break
    assert bell.count(", First break</span>") + bell.count(", Lunch</span>") == bell.count("<tr>") - 1
    assert 'data-head="Still waiting"' in bell
    assert f'<a href="/schools/{place.school.id}/officer">{place.school.name}</a>' in page


def test_what_the_sheet_has_no_place_for_is_said_in_sentences(session, sheet, login_as):
    place, row = sheet
    payload = (
        '{"water_deliveries": [{"school": "S1", "day": "2026-01-27", "litres": "500", "origin": "tanker"},'
        ' {"school": "S1", "day": "2026-01-27", "litres": "250", "origin": "tanker"}]}'
    )
    said = {"number": 2, "reference": "REF2", "sent_at": NOW, "payload": payload, "payload_hash": "1" * 64}
    session.add(SheetVersion(sheet_id=row.id, **said))
    row.version = 2
    session.commit()
    page = login_as(place.officer).get(f"/sheets/{row.id}").text
    assert "What the sheet has no place for" in page
    assert "<li>Water was brought: Tue 27 Jan, " in page
    assert "water_deliveries" not in page and "2026-01-27, " not in page


def test_a_question_names_the_figure_it_is_about(sheet, login_as):
    place, row = sheet
    sent = {"cell": "visits:G1:2026-01-27:B1", "question": "Is 47 right?"}
    page = login_as(place.officer).post(f"/sheets/{row.id}/ask", data=sent, follow_redirects=True).text
    assert f"visits, First break, Tue 27 Jan. Your question is on the page of {place.school.name}." in page


def test_where_weeks_are_missing_the_page_leads_to_loading_a_spreadsheet(officer, programme):
    page = officer.get(f"/programmes/{programme.id}/today").text
    assert f'href="/programmes/{programme.id}/workbook"' in page
    assert officer.get(f"/programmes/{programme.id}/workbook").status_code == 200
