"""A sheet's facts come in with derived columns and go out without a trace in others' records."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, select

from tests.make import make_programme, make_school, make_term, make_unit
from tracker.intake.rules import parse_facts
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.sessions import Attendance, AwarenessSession
from tracker.models.sheets import WeekSheet
from tracker.models.units import Unit
from tracker.models.usage import Reading, UsageCount
from tracker.records import facts
from tracker.vocabulary import Cause, SheetState, Source, VisitPurpose

WEEK = date(2026, 1, 12)


def sheet_of(session, school, week=WEEK):
    sheet = WeekSheet(
        school_id=school.id, week=week, code=f"{school.code}{week:%m%d}", state=SheetState.SENT, version=1,
        first_sent_at=datetime(2026, 1, 17, 8, tzinfo=UTC),
    )  # fmt: skip
    session.add(sheet)
    session.flush()
    return sheet


def school_of(session):
    programme = make_programme(session)
    make_term(session, programme)
    school = make_school(session, programme)
    make_unit(session, school, code="G1")
    return school


def typed(**raw):
    rows, problems = parse_facts(raw)
    assert problems == []
    return {name: [row.values for row in found] for name, found in rows.items()}


def visits(number="12"):
    return {
        "unit": "G1", "first_day": "2026-01-13", "days": "1", "slot": "B1", "source": "tally", "how": "grid",
        "visits": number, "note": "",
    }  # fmt: skip


def out(end=""):
    return {
        "ref": "O1", "unit": "G1", "source": "tally", "cause": "broken", "start_local_time": "2026-01-14T09:00",
        "end_local_time": end, "event": "", "said_by": "", "danger": "", "checked_by": "", "checked_on": "", "note": "",
    }  # fmt: skip


LESSON = {"ref": "L1", "day": "2026-01-14", "topic": "Hand washing", "minutes": "40"}
THERE = {"session": "L1", "sex": "girls", "grade": "6", "present": "30"}


def test_facts_are_written_with_their_sheet_week_and_links(session):
    school = school_of(session)
    sheet = sheet_of(session, school)
    read = {
        "unit": "G1", "quantity": "visits", "source": "tally", "at_local_time": "2026-01-16T01:30", "value": "7",
        "note": "",
    }  # fmt: skip
    facts.write_facts(
        session,
        sheet.id,
        typed(usage_counts=[visits()], readings=[read], awareness_sessions=[LESSON], attendance=[THERE]),
    )
    count = session.scalars(select(UsageCount)).one()
    assert (count.week, count.sheet_id, count.visits, count.note) == (WEEK, sheet.id, 12, "")
    reading = session.scalars(select(Reading)).one()
    # 01:30 three hours ahead of UTC is 22:30 UTC of the day before; the local day counts
    assert (reading.at, reading.day) == (datetime(2026, 1, 15, 22, 30, tzinfo=UTC), date(2026, 1, 16))
    assert session.scalars(select(Attendance.session_id)).one() == session.scalars(select(AwarenessSession.id)).one()


def test_a_new_version_replaces_the_old_facts(session):
    school = school_of(session)
    sheet = sheet_of(session, school)
    facts.write_facts(
        session, sheet.id, typed(usage_counts=[visits("12")], awareness_sessions=[LESSON], attendance=[THERE])
    )
    facts.replace_facts(session, sheet.id, typed(usage_counts=[visits("13")]))
    assert session.scalars(select(UsageCount.visits)).all() == [13]
    assert session.scalar(select(func.count()).select_from(Attendance)) == 0


def test_an_outage_named_again_keeps_its_job_and_one_not_named_lets_it_go(session):
    school = school_of(session)
    sheet = sheet_of(session, school)
    facts.write_facts(session, sheet.id, typed(outages=[out()]))
    outage = session.scalars(select(Outage)).one()
    job = ServiceVisit(
        programme_id=school.programme_id, ref="J1", unit_id=outage.unit_id, outage_id=outage.id,
        purpose=VisitPurpose.REPAIR, asked_on=date(2026, 1, 14),
    )  # fmt: skip
    session.add(job)
    session.flush()
    facts.replace_facts(session, sheet.id, typed(outages=[out("2026-01-15T10:00")]))
    assert session.scalars(select(Outage)).one().end_at == datetime(2026, 1, 15, 7, tzinfo=UTC)
    assert job.outage_id == outage.id
    facts.replace_facts(session, sheet.id, typed())
    assert session.scalars(select(Outage)).all() == []
    assert job.outage_id is None


def test_a_later_sheet_ends_an_outage_and_opens_it_again_when_it_is_taken_out(session):
    school = school_of(session)
    first, second = sheet_of(session, school), sheet_of(session, school, date(2026, 1, 19))
    facts.write_facts(session, first.id, typed(outages=[out()]))
    facts.write_facts(session, second.id, typed(outages=[out("2026-01-20T10:00")]))
    outage = session.scalars(select(Outage)).one()
    assert (outage.sheet_id, outage.end_sheet_id) == (first.id, second.id)
    facts.replace_facts(session, first.id, typed(outages=[out()]))
    assert session.scalars(select(Outage)).one().end_at == datetime(2026, 1, 20, 7, tzinfo=UTC)
    facts.remove_sheet_facts(session, second.id)
    assert session.scalars(select(Outage)).one().end_at is None


@pytest.mark.parametrize("source", [Source.OFFICER, Source.ENGINEER])
def test_an_outage_without_a_sheet_is_opened_again_when_its_end_is_taken_out(session, source):
    school = school_of(session)
    unit = session.scalars(select(Unit)).one()
    opened = {"cause": Cause.BROKEN, "start_at": datetime(2026, 1, 14, 6, tzinfo=UTC)}
    session.add(Outage(programme_id=school.programme_id, ref="O1", unit_id=unit.id, source=source, **opened))
    sheet = sheet_of(session, school)
    ended = out("2026-01-15T10:00") | {"source": source.value}
    facts.write_facts(session, sheet.id, typed(outages=[ended]))
    row = session.scalars(select(Outage)).one()
    assert (row.sheet_id, row.end_sheet_id) == (None, sheet.id)
    facts.replace_facts(session, sheet.id, typed(outages=[ended | {"end_local_time": "2026-01-15T12:00"}]))
    row = session.scalars(select(Outage)).one()
    assert row.end_at == datetime(2026, 1, 15, 9, tzinfo=UTC)  # 12:00 three hours ahead of UTC, by hand
    facts.replace_facts(session, sheet.id, typed())
    row = session.scalars(select(Outage)).one()
    assert (row.source, row.end_at, row.end_sheet_id) == (source, None, None)


def test_facts_of_another_school_are_left_alone(session):
    school = school_of(session)
    other = make_school(session)
    make_unit(session, other, code="G1")
    mine, theirs = sheet_of(session, school), sheet_of(session, other)
    facts.write_facts(session, mine.id, typed(usage_counts=[visits("1")]))
    facts.write_facts(session, theirs.id, typed(usage_counts=[visits("2")]))
    facts.remove_sheet_facts(session, mine.id)
    assert session.scalars(select(UsageCount.visits)).all() == [2]
