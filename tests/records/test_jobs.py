"""The engineer's jobs: asked once, finished in one step, due by the agreement. Days worked by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.make import make_person, make_programme, make_school, make_unit
from tracker.models.agreements import Agreement
from tracker.models.outages import Outage, ServiceVisit, Sighting
from tracker.records import faults, jobs
from tracker.vocabulary import Cause, Danger, Source, State, VisitPurpose

NOW = datetime(2026, 2, 4, 9, 0, tzinfo=UTC)
DAY = date(2026, 2, 4)


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def school(session, programme):
    return make_school(session, programme)


@pytest.fixture
def said(session, programme):
    person = make_person(session, programme)

    def words(state=State.WORKING, **more) -> jobs.Said:
        given = {"found": "worn seal", "done": "new seal", "parts": "seal"} | more
        return jobs.Said(
            NOW, DAY, person.id, person.name, given.pop("found"), given.pop("done"), given.pop("parts"), state, **given
        )

    return words


def out(session, programme, unit, cause=Cause.BROKEN, **given) -> Outage:
    row = Outage(
        programme_id=programme.id,
        ref=f"O{unit.id}{cause.name}",
        unit_id=unit.id,
        source=Source.TALLY,
        cause=cause,
        start_at=NOW - timedelta(hours=5),
        **given,
    )
    session.add(row)
    session.flush()
    return row


def test_the_same_job_asked_twice_stays_one(session, school):
    unit = make_unit(session, school)
    first, new = jobs.ask(session, school, unit, VisitPurpose.REPAIR, DAY)
    again, newer = jobs.ask(session, school, unit, VisitPurpose.REPAIR, DAY + timedelta(days=1))
    assert (again.id, new, newer) == (first.id, True, False)
    other, _ = jobs.ask(session, school, unit, VisitPurpose.METER, DAY)
    assert other.id != first.id


def test_a_finished_visit_ends_every_open_outage_of_the_unit_and_is_a_sighting(session, programme, school, said):
    unit = make_unit(session, school)
    rows = [out(session, programme, unit), out(session, programme, unit, Cause.NO_POWER)]
    visit = jobs.finish(session, school, unit, said(), None)
    assert [row.end_at for row in rows] == [NOW, NOW]
    assert (visit.purpose, visit.done_at, visit.back_in_service) == (VisitPurpose.REPAIR, NOW, True)
    assert visit.outage_id == rows[0].id
    seen = session.query(Sighting).filter_by(unit_id=unit.id).one()
    assert (seen.state, seen.source, seen.day) == (State.WORKING, Source.ENGINEER, DAY)


def test_partly_working_can_be_used_so_the_outage_ends(session, programme, school, said):
    unit = make_unit(session, school)
    row = out(session, programme, unit)
    jobs.finish(session, school, unit, said(State.PARTLY), None)
    assert row.end_at == NOW
    assert session.query(Sighting).filter_by(unit_id=unit.id).one().state is State.PARTLY


def test_what_stays_out_stays_open(session, programme, school, said):
    unit = make_unit(session, school)
    row = out(session, programme, unit)
    visit = jobs.finish(session, school, unit, said(State.OUT), None)
    assert (row.end_at, visit.back_in_service) == (None, False)
    assert session.query(Outage).count() == 1


def test_found_out_of_service_with_nothing_on_record_begins_an_outage_and_needs_its_cause(session, school, said):
    unit = make_unit(session, school)
    with pytest.raises(jobs.JobError, match="why it is out of service") as refused:
        jobs.finish(session, school, unit, said(State.OUT), None)
    assert refused.value.field == "cause"
    jobs.finish(session, school, unit, said(State.OUT, cause=Cause.BLOCKED), None)
    row = session.query(Outage).filter_by(unit_id=unit.id).one()
    assert (row.cause, row.source, row.start_at, row.end_at) == (Cause.BLOCKED, Source.ENGINEER, NOW, None)


def test_a_danger_ends_only_with_the_competent_persons_name_and_day(session, programme, school, said):
    unit = make_unit(session, school)
    row = out(session, programme, unit, Cause.DANGER, danger=Danger.WIRES)
    for more, field in (({}, "checked_by"), ({"checked_by": "A. Wright"}, "checked_on")):
        with pytest.raises(jobs.JobError) as refused:
            jobs.finish(session, school, unit, said(**more), None)
        assert refused.value.field == field
    assert row.end_at is None
    jobs.finish(session, school, unit, said(checked_by="A. Wright", checked_on=DAY), None)
    assert (row.end_at, row.checked_by, row.checked_on) == (NOW, "A. Wright", DAY)


def test_the_other_units_of_the_event_end_when_the_engineer_says_so(session, programme, school, said):
    one, two = make_unit(session, school), make_unit(session, school)
    rows = [out(session, programme, unit, Cause.LOW_WATER, event="tank") for unit in (one, two)]
    jobs.finish(session, school, one, said(event_too=True), None)
    assert [row.end_at for row in rows] == [NOW, NOW]


def test_a_service_visit_is_due_the_day_after_the_interval(session, programme, school):
    """Every 30 days: last on 5 January 2026. 4 February is 30 days later, not due; 5 February is."""
    unit = make_unit(session, school)
    session.add(
        Agreement(
            programme_id=programme.id, code="A", buyer="B", school_id=school.id, promise_hours=72, visit_every_days=30
        )
    )
    visit, _ = jobs.ask(session, school, unit, VisitPurpose.SERVICE, date(2026, 1, 5))
    visit.done_at, visit.done = datetime(2026, 1, 5, 9, tzinfo=UTC), "cleaned"
    session.flush()
    assert jobs.service_due(session, programme.id, DAY) == []
    due = jobs.service_due(session, programme.id, DAY + timedelta(days=1))
    assert [(one.school.id, one.last, one.every_days) for one in due] == [(school.id, date(2026, 1, 5), 30)]


def test_a_repair_is_no_service_visit_and_a_school_never_serviced_counts_from_its_first_day(session, programme, school):
    """In the programme since 1 January 2026, the setting's default is 30 days: due from 1 February on."""
    unit = make_unit(session, school)
    visit, _ = jobs.ask(session, school, unit, VisitPurpose.REPAIR, DAY)
    visit.done_at, visit.done = NOW, "new seal"
    session.flush()
    assert jobs.service_due(session, programme.id, date(2026, 1, 31)) == []
    assert [one.last for one in jobs.service_due(session, programme.id, date(2026, 2, 1))] == [None]


def test_findings_are_the_last_ones_newest_first(session, programme, school):
    unit = make_unit(session, school)
    for number in range(5):
        session.add(
            ServiceVisit(
                programme_id=programme.id,
                ref=f"V{number}",
                unit_id=unit.id,
                purpose=VisitPurpose.SERVICE,
                asked_on=DAY,
                done_at=NOW + timedelta(days=number),
                done=f"done {number}",
            )
        )
    session.flush()
    assert [one.done for one in jobs.findings(session, [unit.id])[unit.id]] == ["done 4", "done 3", "done 2"]


def test_an_outage_said_twice_by_the_same_source_is_refused_with_what_to_do(session, school):
    unit = make_unit(session, school)
    said = faults.OutageSaid(Cause.BROKEN, NOW, "by phone")
    faults.record(session, school, [unit], said)
    with pytest.raises(faults.OutageError, match="End that one first"):
        faults.record(session, school, [unit], said)
    with pytest.raises(faults.OutageError, match="end is not after the start"):
        faults.record(session, school, [unit], faults.OutageSaid(Cause.DIRTY, NOW, "by phone", end_at=NOW))
