"""What needs the officer today: danger first, then by need, in a constant number of queries."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.make import make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.disposal import DisposalRoute
from tracker.models.outages import Outage
from tracker.models.sheets import Query, SheetVersion, WeekSheet
from tracker.records import calendar, faults, today
from tracker.vocabulary import Cause, Danger, Role, Route, SheetState, Source

NOW = datetime(2026, 2, 4, 9, 0, tzinfo=UTC)  # Wednesday noon in the programme's zone, three hours ahead
DAY = date(2026, 2, 4)


@pytest.fixture
def programme(session):
    return make_programme(session)


def out(session, programme, unit, hours: float, cause=Cause.BROKEN, **given):
    row = Outage(
        programme_id=programme.id,
        ref=f"O{unit.id}-{hours}-{cause.name}",
        unit_id=unit.id,
        source=Source.TALLY,
        cause=cause,
        start_at=NOW - timedelta(hours=hours),
        **given,
    )
    session.add(row)
    session.flush()
    return row


def sheet(session, school, week: date, state=SheetState.SENT):
    row = WeekSheet(
        school_id=school.id, week=week, code=f"{school.id}-{week:%m%d}", state=state, version=1, first_sent_at=NOW
    )
    session.add(row)
    session.flush()
    session.add(
        SheetVersion(
            sheet_id=row.id, number=1, reference=f"R{row.id}", sent_at=NOW, payload="{}", payload_hash="0" * 64
        )
    )
    session.flush()
    return row


def test_the_last_accessible_cabin_comes_before_many_lost_breaks_and_those_before_age(session, programme):
    """Two breaks a school day (make_school): six units of one tank lose 12, one old cabin 2, the accessible one 2."""
    school, other = make_school(session, programme), make_school(session, programme)
    six = [make_unit(session, school) for _ in range(6)]
    old, accessible = make_unit(session, school), make_unit(session, other, accessible=True)
    for unit in six:
        out(session, programme, unit, 5, Cause.LOW_WATER, event="tank")
    out(session, programme, old, 100)
    out(session, programme, accessible, 1)
    found = faults.open_faults(session, programme.id, NOW, DAY)
    assert [len(one.units) for one in found] == [1, 6, 1]
    assert [one.only_accessible for one in found] == [True, False, False]
    assert [one.breaks_a_day for one in found] == [2, 12, 2]
    assert found[2].units == (old,)


def test_an_accessible_cabin_beside_a_working_one_is_not_the_last(session, programme):
    school = make_school(session, programme)
    first, _ = make_unit(session, school, accessible=True), make_unit(session, school, accessible=True)
    out(session, programme, first, 1)
    assert not faults.open_faults(session, programme.id, NOW, DAY)[0].only_accessible


def test_the_promise_of_the_units_agreement_counts_else_the_programmes(session, programme):
    """The setting's default is 72 h. 73 hours out is late without an agreement, not under one of 100 hours."""
    school = make_school(session, programme)
    plain, agreed = make_unit(session, school), make_unit(session, school)
    deal = Agreement(
        programme_id=programme.id, code="A", buyer="B", school_id=school.id, promise_hours=100, visit_every_days=60
    )
    session.add(deal)
    session.flush()
    session.add(AgreementUnit(agreement_id=deal.id, unit_id=agreed.id))
    out(session, programme, plain, 73)
    out(session, programme, agreed, 73)
    late = {one.units[0].id: one.is_late(NOW) for one in faults.open_faults(session, programme.id, NOW, DAY)}
    assert late == {plain.id: True, agreed.id: False}


def test_exactly_at_the_promise_is_not_late(session, programme):
    unit = make_unit(session, make_school(session, programme))
    out(session, programme, unit, 72)
    assert not faults.open_faults(session, programme.id, NOW, DAY)[0].is_late(NOW)


def test_two_causes_of_one_unit_are_one_line_and_planned_sold_out_and_danger_are_none(session, programme):
    school = make_school(session, programme)
    unit, rest = make_unit(session, school), make_unit(session, school)
    out(session, programme, unit, 9)
    out(session, programme, unit, 3, Cause.NO_POWER)
    for cause in (Cause.PLANNED, Cause.EMPTY):
        out(session, programme, rest, 4, cause)
    out(session, programme, rest, 4, Cause.DANGER, danger=Danger.SMOKE)
    found = faults.open_faults(session, programme.id, NOW, DAY)
    assert [(one.units, one.cause, len(one.outages)) for one in found] == [((unit,), Cause.BROKEN, 2)]


def test_an_ended_outage_is_gone_and_an_area_sees_its_own(session, programme):
    near, far = make_area(session, programme), make_area(session, programme)
    here, there = make_school(session, programme, near), make_school(session, programme, far)
    out(session, programme, make_unit(session, here), 9, end_at=NOW - timedelta(hours=1))
    out(session, programme, make_unit(session, there), 9)
    assert faults.open_faults(session, programme.id, NOW, DAY, {near.id}) == []
    assert len(faults.open_faults(session, programme.id, NOW, DAY, {far.id})) == 1


def test_silent_longest_comes_first_and_a_gap_before_the_last_sheet_comes_last(session, programme):
    """Due three days after Sunday: on 4 February the weeks of 12 and 19 January are past due; the week of 26 January
    ends on 1 February and is in time on 4 February."""
    silent, late, gap, good = (make_school(session, programme) for _ in range(4))
    make_term(session, programme)
    calendar.rebuild(session, programme.id)
    first, second = date(2026, 1, 12), date(2026, 1, 19)
    sheet(session, late, first)
    sheet(session, gap, second)
    sheet(session, good, first)
    sheet(session, good, second)
    make_person(session, programme, Role.COORDINATOR, school=silent, name="Ada", phone="000 1")
    found = today.silent_schools(session, programme.id, DAY, due_days=3)
    assert [(one.school.id, one.weeks, one.gaps) for one in found] == [
        (silent.id, (first, second), ()),
        (late.id, (second,), ()),
        (gap.id, (), (first,)),
    ]
    assert found[0].due == date(2026, 1, 21)  # Sunday 18 January and three days
    assert found[0].contacts == (today.Contact("Ada", "000 1"),)


def test_sheets_with_odd_figures_come_first_and_one_that_waits_for_the_school_is_counted_apart(session, programme):
    school = make_school(session, programme)
    plain = sheet(session, school, date(2026, 1, 12))
    odd = sheet(session, school, date(2026, 1, 19))
    sheet(session, school, date(2026, 1, 26), SheetState.QUERIED)
    sheet(session, make_school(session, programme), date(2026, 1, 12), SheetState.ACCEPTED)
    said = {"question": "More than usual?", "asked_at": NOW, "answer": "A fair.", "answered_at": NOW}
    session.add(Query(sheet_id=odd.id, number=1, cell="x", raised_by_check=True, **said))
    session.add(Query(sheet_id=odd.id, number=2, cell="x", raised_by_check=False, **said))
    session.flush()
    found = today.sheets_waiting(session, programme.id)
    assert [(one.sheet.id, one.odd, one.answered) for one in found.rows] == [(odd.id, 1, 1), (plain.id, 0, 0)]
    assert found.total == 2
    assert today.asked_back(session, programme.id) == 1
    assert [one.sheet.id for one in today.sheets_waiting(session, programme.id, first=1, count=1).rows] == [plain.id]


@pytest.mark.parametrize(("until", "listed"), [(date(2026, 3, 6), True), (date(2026, 3, 7), False)])
def test_a_permit_that_ends_within_thirty_days_is_listed(session, programme, until, listed):
    """4 February and 30 days is 6 March 2026."""
    school = make_school(session, programme)
    session.add(DisposalRoute(school_id=school.id, kind=Route.BURN, from_day=date(2025, 1, 1), permit_until=until))
    session.flush()
    assert bool(today.papers_ending(session, programme.id, DAY)) is listed


def test_papers_of_a_route_no_longer_in_use_are_left_out(session, programme):
    school = make_school(session, programme)
    days = {"from_day": date(2025, 1, 1), "until_day": date(2026, 1, 1), "permit_until": date(2026, 1, 1)}
    session.add(DisposalRoute(school_id=school.id, kind=Route.BURN, **days))
    session.flush()
    assert today.papers_ending(session, programme.id, DAY) == []


def test_units_that_one_danger_closed_stand_together(session, programme):
    school = make_school(session, programme)
    block = make_block(session, school)
    for number in range(2):
        unit = make_unit(session, school, block)
        out(session, programme, unit, number + 1, Cause.DANGER, danger=Danger.FLOOD, event="flood")
    assert [len(one.dangers) for one in today.dangers(session, programme.id)] == [2]
