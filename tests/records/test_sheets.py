"""Sending, questions, and where each week stands, on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, select

from tests.make import make_person, make_programme, make_school, make_term, make_unit
from tracker import models as m
from tracker.db import writing
from tracker.records import calendar, dangers, sheets
from tracker.vocabulary import Cause, CountWay, Danger, SheetState, Source

WEEK = date(2026, 1, 12)
AT = datetime(2026, 1, 16, 13, 0, tzinfo=UTC)


@pytest.fixture
def place(any_engine):
    with writing(any_engine) as session:
        programme = make_programme(session)
        school = make_school(session, programme)
        make_term(session, programme)
        unit = make_unit(session, school, way=CountWay.WEEK_TOTAL)
        person = make_person(session, programme)
        calendar.rebuild(session, programme.id)
        session.flush()
        yield session, programme, school, unit, person


def sending(school, unit, person, visits: int = 10, **given) -> sheets.Sending:
    row = {"unit": unit.code, "first_day": WEEK, "days": 7, "slot": "all", "source": Source.TALLY}
    row |= {"how": CountWay.WEEK_TOTAL, "visits": visits, "note": None}
    fields = {
        "school": school,
        "week": WEEK,
        "payload": {"usage_counts": [{"unit": unit.code, "visits": str(visits)}]},
        "rows": {"usage_counts": [row]},
        "at": AT,
        "person_id": person.id,
        "key": f"key-{visits}",
        "base_version": 0,
    }
    return sheets.Sending(**(fields | given))


def visits_of(session) -> list[int]:
    return list(session.scalars(select(m.usage.UsageCount.visits)))


def test_sending_writes_sheet_version_and_facts_and_the_same_form_again_writes_nothing(place):
    session, _, school, unit, person = place
    first = sheets.send(session, sending(school, unit, person))
    again = sheets.send(session, sending(school, unit, person))
    assert again == first and again.again
    assert visits_of(session) == [10]
    assert session.scalar(select(func.count()).select_from(m.sheets.SheetVersion)) == 1
    assert len(first.reference) == 8 and not set(first.reference) & set("01OIL")


def test_the_same_key_for_other_content_is_refused(place):
    session, _, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    with pytest.raises(sheets.KeyReusedError, match="already sent with other figures"):
        sheets.send(session, sending(school, unit, person, visits=11, key="key-10"))


def test_a_version_made_from_an_older_one_is_refused(place):
    session, _, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    with pytest.raises(sheets.StaleError):
        sheets.send(session, sending(school, unit, person, visits=11))
    assert visits_of(session) == [10]


def test_a_correction_replaces_the_facts_and_both_versions_stay(place):
    session, _, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    sheets.send(session, sending(school, unit, person, visits=12, base_version=1))
    assert visits_of(session) == [12]
    sheet = sheets.find_sheet(session, school.id, WEEK)
    assert [sheets.payload_of(sheets.find_version(session, sheet, n))["usage_counts"][0]["visits"] for n in (1, 2)] == [
        "10",
        "12",
    ]


def test_a_draft_is_nothing_but_a_payload(place):
    session, _, school, _, person = place
    sheets.save_draft(session, person.id, school.id, WEEK, cells={"visits:U:week": "1o"}, base=0, at=AT)
    assert sheets.state_of(session, school.id, WEEK) is SheetState.DRAFT
    assert visits_of(session) == []
    sheets.drop_draft(session, person.id, school.id, WEEK)
    assert sheets.state_of(session, school.id, WEEK) is None


def test_a_sheet_is_accepted_only_when_its_questions_are_answered_and_both_stay(place):
    session, _, school, unit, person = place
    question = sheets.Confirmed("visits:U:week", "This is far more than last week. Is it right?")
    sheets.send(session, sending(school, unit, person, confirmed=(question,)))
    sheet = sheets.find_sheet(session, school.id, WEEK)
    assert sheet.state is SheetState.QUERIED
    with pytest.raises(sheets.SheetError, match="no answer yet"):
        sheets.accept(session, sheet, at=AT, person_id=person.id)
    query = sheets.find_query(session, sheet.id, 1)
    sheets.answer(session, query, "Sports day", at=AT, person_id=person.id)
    assert sheet.state is SheetState.SENT
    sheets.accept(session, sheet, at=AT, person_id=person.id)
    assert sheet.state is SheetState.ACCEPTED
    assert (query.question, query.answer) == (question.question, "Sports day")


def test_an_officers_question_on_an_accepted_sheet_opens_it_again(place):
    session, _, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    sheet = sheets.find_sheet(session, school.id, WEEK)
    sheets.accept(session, sheet, at=AT, person_id=person.id)
    query = sheets.ask(session, sheet, "", "Was the counter read on Friday?", at=AT, person_id=person.id)
    assert sheet.state is SheetState.QUERIED and not query.raised_by_check
    sheets.close_query(session, query, at=AT)
    assert sheet.state is SheetState.SENT


def test_a_figure_that_was_put_right_settles_the_checks_question(place):
    session, _, school, unit, person = place
    question = sheets.Confirmed("visits:U:week", "Is it right?")
    sheets.send(session, sending(school, unit, person, confirmed=(question,)))
    sheets.send(session, sending(school, unit, person, visits=9, base_version=1))
    sheet = sheets.find_sheet(session, school.id, WEEK)
    assert sheet.state is SheetState.SENT
    assert sheets.queries_of(session, sheet.id)[0].closed_at == AT


def test_weeks_past_due_and_not_sent_are_listed(place):
    session, programme, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    # weeks from Monday 12 January; due 3 days after a week's Sunday. On 29 January (a Thursday) the week of the 19th
    # (due the 28th) is late, the week of the 26th is not over, the week of the 12th was sent. By hand.
    late = sheets.not_reported(session, programme.id, as_of=date(2026, 1, 29), due_days=3)
    assert [(one.school_id, one.week) for one in late] == [(school.id, date(2026, 1, 19))]
    assert sheets.not_reported(session, programme.id, as_of=date(2026, 1, 28), due_days=3) == []


def test_the_overview_has_every_school_week_up_to_today_newest_first(place):
    session, _, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    shown = sheets.week_overview(session, school.id, until=date(2026, 1, 26))
    assert [(one.week.day, one.state) for one in shown] == [(26, None), (19, None), (12, SheetState.SENT)]


def test_the_sheet_code_is_known_before_anything_is_sent(place):
    session, programme, school, unit, person = place
    sheets.send(session, sending(school, unit, person))
    assert sheets.find_sheet(session, school.id, WEEK).code == sheets.sheet_code(programme.code, school.code, WEEK)
    assert sheets.sheet_code("p", "s", WEEK) != sheets.sheet_code("p", "s", date(2026, 1, 19))


def test_a_danger_said_twice_closes_a_unit_once_and_stands_on_top(place):
    session, programme, school, unit, _ = place
    said = dangers.Said(Danger.SMOKE, AT, "A Teacher")
    first = dangers.report(session, school, [unit], said)
    assert [row.id for row in dangers.report(session, school, [unit], said)] == [row.id for row in first]
    found = dangers.open_dangers(session, programme_id=programme.id)
    assert [(one.unit.id, one.outage.cause, one.outage.danger) for one in found] == [
        (unit.id, Cause.DANGER, Danger.SMOKE)
    ]
