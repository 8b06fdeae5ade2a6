"""The engineer's phone page: jobs by need, one POST for a visit, two taps for "seen working"."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tests.make import make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tests.web.office import DAY, NOW, busy_school, count_queries, derive, outage
from tracker.db import reading
from tracker.models.audit import Audit
from tracker.models.outages import Outage, ServiceVisit, Sighting
from tracker.models.units import Dial
from tracker.models.usage import Reading
from tracker.vocabulary import Cause, Danger, Quantity, Role, Source, State, UnitKind, VisitPurpose

DONE = {"state": "working", "found": "worn seal", "done": "new seal", "parts": "1 seal"}


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def area(session, programme):
    return make_area(session, programme, name="North shore")


@pytest.fixture
def school(session, programme, area):
    return make_school(session, programme, area, latitude_udeg=1_500_000, longitude_udeg=-36_250_000)


@pytest.fixture
def person(session, programme, area):
    return make_person(session, programme, Role.ENGINEER, area=area)


@pytest.fixture
def engineer(person, school, login_as):
    return login_as(person)


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def audited(saved) -> set[tuple[str, str]]:
    rows = saved.query(Audit).filter(Audit.role == "engineer")
    return {(row.act, row.table_name) for row in rows}


# --- my jobs ------------------------------------------------------------------------------------------------------


def test_danger_comes_first_then_out_then_asked_then_due_with_directions(session, programme, area, school, login_as):
    """Nobody serviced the school since 1 January, the setting says 30 days: on 4 February a visit is due."""
    busy = busy_school(session, programme, area)
    page = login_as(make_person(session, programme, Role.ENGINEER, area=area)).get("/jobs").text
    places = [
        page.index(f"<h2>{head}</h2>") for head in ("Danger", "Out of service", "Asked for", "Service visits due")
    ]
    assert places == sorted(places)
    assert 'href="geo:1.5,-36.25"' in page  # RFC 5870: latitude, then longitude
    assert "North shore" in page
    assert busy.name in page


def test_with_nothing_to_do_the_page_is_calm(session, programme, login_as):
    area = make_area(session, programme)
    page = login_as(make_person(session, programme, Role.ENGINEER, area=area)).get("/jobs").text
    assert "Nothing waits for you." in page


def test_jobs_of_another_area_are_not_shown(session, programme, area, login_as):
    busy = busy_school(session, programme, make_area(session, programme))
    page = login_as(make_person(session, programme, Role.ENGINEER, area=area)).get("/jobs").text
    assert busy.name not in page


def test_what_was_found_before_stands_at_the_job(session, programme, school, engineer):
    unit = make_unit(session, school)
    outage(session, programme, unit)
    session.add(
        ServiceVisit(
            programme_id=programme.id,
            ref="V1",
            unit_id=unit.id,
            purpose=VisitPurpose.REPAIR,
            asked_on=date(2026, 1, 1),
            done_at=datetime(2026, 1, 2, tzinfo=UTC),
            found="a loose wire",
            done="tightened",
        )
    )
    session.commit()
    assert "a loose wire" in engineer.get("/jobs").text


def test_the_page_asks_as_many_queries_for_twelve_schools_as_for_two(session, engine, programme, area, login_as):
    make_term(session, programme)
    counts = []
    for number in (2, 10):
        for _ in range(number):
            busy_school(session, programme, area)
        derive(session, programme)
        browser = login_as(make_person(session, programme, Role.ENGINEER, area=area))
        counts.append(count_queries(engine, lambda: browser.get("/jobs")))  # noqa: B023
    assert counts[0] == counts[1]


# --- a visit ------------------------------------------------------------------------------------------------------


def test_one_post_writes_the_visit_ends_the_outage_and_notes_what_was_seen(
    session, programme, school, person, engineer, saved
):
    unit = make_unit(session, school)
    row = outage(session, programme, unit)
    job = ServiceVisit(programme_id=programme.id, ref="V1", unit_id=unit.id, purpose=VisitPurpose.REPAIR, asked_on=DAY)
    session.add(job)
    session.commit()
    assert engineer.post(f"/jobs/{job.id}", data=DONE).status_code == 302
    visit = saved.query(ServiceVisit).one()
    assert (visit.found, visit.done, visit.parts, visit.done_at) == ("worn seal", "new seal", "1 seal", NOW)
    assert (visit.by_person_id, visit.back_in_service) == (person.id, True)
    assert saved.get(Outage, row.id).end_at == NOW
    seen = saved.query(Sighting).one()
    assert (seen.unit_id, seen.day, seen.state, seen.source) == (unit.id, DAY, State.WORKING, Source.ENGINEER)
    assert {("changed", "service_visit"), ("changed", "outage"), ("added", "sighting")} <= audited(saved)
    assert "This job is done." in engineer.get(f"/jobs/{job.id}", follow_redirects=True).text


def test_a_danger_stays_closed_without_the_competent_persons_name_and_nothing_is_half_saved(
    session, programme, school, engineer, saved
):
    unit = make_unit(session, school)
    row = outage(session, programme, unit, Cause.DANGER, danger=Danger.WIRES)
    session.commit()
    page = engineer.get(f"/jobs/units/{unit.id}").text
    assert "Bare wires or live parts can be touched." in page
    answer = engineer.post(f"/jobs/units/{unit.id}", data=DONE | {"checked_by": "", "checked_on": ""})
    assert answer.status_code == 400
    assert "Write the name of the competent person who checked it." in answer.text
    assert 'value="worn seal"' in answer.text
    assert saved.query(ServiceVisit).count() == 0
    assert saved.query(Sighting).count() == 0
    saved.rollback()
    checked = {"checked_by": "A. Wright", "checked_on": "2026-02-04"}
    assert engineer.post(f"/jobs/units/{unit.id}", data=DONE | checked).status_code == 302
    found = saved.get(Outage, row.id)
    assert (found.checked_by, found.checked_on, found.end_at) == ("A. Wright", DAY, NOW)


def test_an_incinerator_shows_its_caution_at_the_act(session, school, engineer):
    unit = make_unit(session, school, kind=UnitKind.INCINERATOR)
    session.commit()
    page = engineer.get(f"/jobs/units/{unit.id}").text
    assert "An incinerator is hot and gives off smoke that harms." in page


@pytest.fixture
def meter(session, school):
    unit = make_unit(session, school, kind=UnitKind.METER)
    session.add(
        Dial(
            unit_id=unit.id,
            quantity=Quantity.WATER,
            from_at=datetime(2026, 1, 1, tzinfo=UTC),
            digits=5,
            step_ml=1000,
            first_value=100,
        )
    )
    session.commit()
    return unit


def test_a_meter_read_on_the_way_is_kept_as_the_engineers_reading(meter, engineer, saved):
    assert engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"dial_water": "00123"}).status_code == 302
    row = saved.query(Reading).one()
    assert (row.value, row.source, row.quantity, row.at) == (123, Source.ENGINEER, Quantity.WATER, NOW)
    assert (row.day, row.week) == (DAY, date(2026, 2, 2))
    assert ("added", "reading") in audited(saved)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("99", "is lower than 00100, the reading before"),
        ("123456", "This dial has 5 digits."),
        ("1o2", "Write a whole number"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_the_one_checker_and_keeps_what_was_typed(
    meter, engineer, saved, typed, sentence
):
    answer = engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"dial_water": typed})
    assert answer.status_code == 400
    assert sentence in answer.text
    assert f'value="{typed}"' in answer.text
    assert saved.query(Reading).count() == 0
    assert saved.query(ServiceVisit).count() == 0


def reading_of(session, unit, day: int, value: int, source=Source.TALLY) -> None:
    at = datetime(2026, 2, day, 6, 0, tzinfo=UTC)
    row = Reading(unit_id=unit.id, quantity=Quantity.WATER, source=source, at=at, day=at.date(), value=value)
    row.week = date(2026, 2, 2)
    session.add(row)
    session.commit()


def test_a_dial_that_the_school_read_higher_does_not_run_backwards_for_the_engineer(session, meter, engineer, saved):
    """A dial has one hand: 150 read by the school on 2 February, so 120 on 4 February is refused, 151 kept."""
    reading_of(session, meter, 2, 150)
    answer = engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"dial_water": "120"})
    assert answer.status_code == 400
    assert "00120 is lower than 00150, the reading before, of Monday 2 February 2026." in answer.text
    assert saved.query(Reading).count() == 1
    saved.rollback()
    assert engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"dial_water": "151"}).status_code == 302


def test_a_roll_over_from_the_top_tenth_to_the_bottom_tenth_is_believed(session, meter, engineer, saved):
    reading_of(session, meter, 2, 99_990)
    assert engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"dial_water": "00007"}).status_code == 302
    assert {row.value for row in saved.query(Reading)} == {99_990, 7}


def test_a_reading_above_the_next_one_is_refused(session, meter, engineer, saved):
    """The engineer was there on 2 February at noon; the school read 150 on the 3rd, so 200 cannot have stood there."""
    reading_of(session, meter, 3, 150)
    sent = DONE | {"dial_water": "200", "at_day": "2026-02-02", "at_time": "12:00"}
    answer = engineer.post(f"/jobs/units/{meter.id}", data=sent)
    assert answer.status_code == 400
    assert "00200 is higher than 00150, the next reading, of Tuesday 3 February 2026." in answer.text
    assert engineer.post(f"/jobs/units/{meter.id}", data=sent | {"dial_water": "140"}).status_code == 302
    kept = saved.query(Reading).filter_by(source=Source.ENGINEER).one()
    assert (kept.value, kept.at) == (140, datetime(2026, 2, 2, 9, 0, tzinfo=UTC))  # the programme's zone is UTC+3


# --- when it ended ------------------------------------------------------------------------------------------------


def test_the_missing_name_and_every_other_error_are_shown_at_once(session, programme, meter, engineer, saved):
    outage(session, programme, meter, Cause.DANGER, danger=Danger.FLOOD)
    session.commit()
    sent = {"state": "working", "found": "", "done": "dried", "dial_water": "99", "checked_by": ""}
    page = engineer.post(f"/jobs/units/{meter.id}", data=sent).text
    for sentence in (
        "Write what you found",
        "Write the name of the competent person who checked it.",
        "Write the day of the check.",
        "is lower than 00100",
    ):
        assert sentence in page
    assert saved.query(ServiceVisit).count() == 0


def test_a_danger_ended_in_the_minute_of_its_start_is_kept_as_one_minute(session, programme, meter, engineer, saved):
    """It began at 08:30:40 UTC, 11:30 in the programme's zone; people write minutes."""
    row = outage(session, programme, meter, Cause.DANGER, danger=Danger.FLOOD)
    row.start_at = datetime(2026, 2, 4, 8, 30, 40, tzinfo=UTC)
    session.commit()
    sent = DONE | {"checked_by": "A. Wright", "checked_on": "2026-02-04", "at_day": "2026-02-04", "at_time": "11:30"}
    assert "kept as one minute" in engineer.post(f"/jobs/units/{meter.id}", data=sent, follow_redirects=True).text
    assert saved.get(Outage, row.id).end_at == datetime(2026, 2, 4, 8, 31, 40, tzinfo=UTC)


def test_a_visit_in_the_future_is_refused_and_the_form_starts_at_now(meter, engineer, saved):
    page = engineer.get(f"/jobs/units/{meter.id}").text
    assert 'value="2026-02-04"' in page and 'value="12:00"' in page  # NOW is 09:00 UTC
    answer = engineer.post(f"/jobs/units/{meter.id}", data=DONE | {"at_day": "2026-02-04", "at_time": "12:01"})
    assert "This time has not come yet." in answer.text
    assert saved.query(ServiceVisit).count() == 0


# --- seen working, service ----------------------------------------------------------------------------------------


def test_seen_working_takes_two_taps_the_school_and_the_button(session, school, engineer, saved):
    unit = make_unit(session, school)
    session.commit()
    assert f'action="/jobs/units/{unit.id}/seen"' in engineer.get(f"/jobs/schools/{school.id}").text
    for _ in range(2):  # tapped twice it is one sighting
        assert engineer.post(f"/jobs/units/{unit.id}/seen").status_code == 302
    assert saved.query(Sighting).one().state is State.WORKING


def test_a_unit_on_record_as_out_is_not_seen_working_by_a_tap(session, programme, school, engineer, saved):
    unit = make_unit(session, school)
    outage(session, programme, unit)
    session.commit()
    answer = engineer.post(f"/jobs/units/{unit.id}/seen", follow_redirects=True)
    assert "Say what became of it." in answer.text
    assert saved.query(Sighting).count() == 0


def test_a_service_visit_to_several_units_is_a_visit_to_each(session, programme, school, engineer, saved):
    block = make_block(session, school)
    one, two, three = (make_unit(session, school, block) for _ in range(3))
    outage(session, programme, three)
    session.commit()
    page = engineer.get(f"/jobs/schools/{school.id}").text
    assert f'value="{three.id}"' not in page  # out of service: it has its own page
    data = {"units": [one.id, two.id], "found": "clean", "done": "oiled", "parts": ""}
    assert engineer.post(f"/jobs/schools/{school.id}/service", data=data).status_code == 302
    visits = saved.query(ServiceVisit).order_by(ServiceVisit.unit_id).all()
    assert [(row.unit_id, row.purpose, row.done_at) for row in visits] == [
        (one.id, VisitPurpose.SERVICE, NOW),
        (two.id, VisitPurpose.SERVICE, NOW),
    ]
    assert saved.query(Sighting).count() == 2
    assert saved.query(Outage).one().end_at is None


def test_a_service_visit_without_units_is_refused_and_keeps_what_was_typed(session, school, engineer, saved):
    make_unit(session, school)
    session.commit()
    answer = engineer.post(f"/jobs/schools/{school.id}/service", data={"found": "clean", "done": "oiled"})
    assert answer.status_code == 400
    assert "Choose at least one unit." in answer.text
    assert 'value="oiled"' in answer.text
    assert saved.query(ServiceVisit).count() == 0
