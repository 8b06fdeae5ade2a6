"""Set-up: a change is a new dated row, what was before stays; refusals stand at their place and keep what was typed."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest

from tests.make import FIRST, make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tests.web.office import NOW, count_queries
from tracker.db import reading
from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.audit import Audit
from tracker.models.disposal import DisposalRoute
from tracker.models.links import Baseline
from tracker.models.orders import SupplierTerms
from tracker.models.programme import Closure, ProgrammeSetting, Target, Term
from tracker.models.publications import Publication
from tracker.models.school import Before, DrawnBreak, Enrolment, School, SchoolBreak, SchoolDay, SchoolHours, Shift
from tracker.models.sheets import WeekSheet
from tracker.models.supplies import PlannedRound, Product, StockRule, Vehicle
from tracker.models.units import BlockGroup, Dial, Fitting, MeterScope, Unit, UnitWay
from tracker.models.usage import UsageCount
from tracker.records import calendar, rounds_roads
from tracker.vocabulary import (
    BeforeKind,
    ClosureScope,
    CountWay,
    FittingKind,
    Group,
    LitresBasis,
    Quantity,
    ReportKind,
    Role,
    Route,
    Sex,
    SheetState,
    Source,
    UnitKind,
)

MARCH = date(2026, 3, 2)  # a Monday after the day of the tests' clock, 4 February 2026
DAY_BEFORE = date(2026, 3, 1)
FLUSH = {"kind": "flush_fixed", "litres": "3.5", "litres_basis": "measured", "from_day": "2026-03-02"}


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def school(session, programme):
    found = make_school(session, programme)
    make_term(session, programme)
    calendar.rebuild(session, programme.id)
    return found


@pytest.fixture
def block(session, school):
    return make_block(session, school)


@pytest.fixture
def unit(session, school, block):
    return make_unit(session, school, block)


@pytest.fixture
def administrator(session, programme, school, unit, login_as):
    return login_as(make_person(session, programme, Role.ADMINISTRATOR))


@pytest.fixture
def change(administrator, school):
    """``change(act, data, row)`` sends an act of the school."""

    def send(act: str, data: dict, row: int | None = None):
        address = f"/schools/{school.id}/setup/{act}" + (f"?row={row}" if row else "")
        return administrator.post(address, data=data)

    return send


@pytest.fixture
def set_programme(administrator, programme):
    def send(act: str, data: dict):
        return administrator.post(f"/setup/{programme.id}/{act}", data=data)

    return send


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def audited(saved) -> set[tuple[str, str]]:
    rows = saved.query(Audit).filter(Audit.role == "administrator", Audit.person_id.is_not(None))
    return {(row.act, row.table_name) for row in rows}


def shift_of(saved, school) -> int:
    return saved.query(Shift).filter_by(school_id=school.id).one().id


def publish(session, programme, term_last=date(2026, 4, 3)) -> None:
    """A published report of the term that ends on a day."""
    term = session.query(Term).filter_by(programme_id=programme.id, last_day=term_last).one()
    person = make_person(session, programme, Role.OFFICER)
    session.add(
        Publication(
            programme_id=programme.id,
            term_id=term.id,
            kind=ReportKind.IMPACT,
            number=1,
            cutoff_at=NOW,
            published_at=NOW,
            code_version="test",
            content="{}",
            content_hash="0" * 64,
            approved_by_id=person.id,
        )
    )
    session.commit()


# --- pages --------------------------------------------------------------------------------------------------------


def test_the_school_page_shows_all_that_is_set_up_in_a_steady_number_of_queries(
    session, engine, administrator, school, block, unit
):
    page = administrator.get(f"/schools/{school.id}/setup").text
    for said in (unit.name, block.name, "First break", "Enrolment", "No agreement is recorded", "No route is recorded"):
        assert said in page
    before = count_queries(engine, lambda: administrator.get(f"/schools/{school.id}/setup"))
    for _ in range(8):
        make_unit(session, school, make_block(session, school))
    session.commit()
    assert count_queries(engine, lambda: administrator.get(f"/schools/{school.id}/setup")) == before


def test_an_officer_may_change_a_school_of_the_programme_but_not_the_programme(
    session, programme, school, unit, login_as, saved
):
    officer = login_as(make_person(session, programme, Role.OFFICER))
    data = {"last_day": "2026-03-01"}
    assert officer.post(f"/schools/{school.id}/setup/end-unit?row={unit.id}", data=data).status_code == 302
    assert saved.get(Unit, unit.id).until_day == DAY_BEFORE
    assert officer.get(f"/setup/{programme.id}").status_code == 403


def test_a_row_of_another_school_is_not_found(session, programme, change):
    stranger = make_unit(session, make_school(session, programme))
    session.commit()
    assert change("end-unit", {"last_day": "2026-03-01"}, stranger.id).status_code == 404
    assert change("no-such-act", {}).status_code == 404


# --- units --------------------------------------------------------------------------------------------------------


def test_a_unit_is_added_with_its_way_of_counting(change, school, block, saved):
    data = {"code": "G9", "name": "Girls' cabin 9", "kind": "cabin", "block_id": block.id, "accessible": "y"}
    data |= {"way": "drawn", "from_day": "2026-03-02"}
    assert change("add-unit", data).status_code == 302
    row = saved.query(Unit).filter_by(school_id=school.id, code="G9").one()
    assert (row.kind, row.accessible, row.from_day, row.until_day) == (UnitKind.CABIN, True, MARCH, None)
    assert saved.query(UnitWay).filter_by(unit_id=row.id).one().way is CountWay.DRAWN
    assert {("added", "unit"), ("added", "unit_way")} <= audited(saved)


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"code": ""}, "Write a short code"),
        ({"from_day": "2 March"}, "Write a day as year-month-day"),
        ({"block_id": "999999"}, "Choose from the list."),
        ({"code": "taken"}, "This code is taken."),
    ],
)
def test_a_unit_that_cannot_be_is_refused_at_its_place_and_what_was_typed_stays(
    session, change, school, block, saved, more, sentence
):
    make_unit(session, school, block, code="taken")
    session.commit()
    data = {"code": "G9", "name": "Lake view", "kind": "cabin", "block_id": block.id, "way": "drawn"}
    answer = change("add-unit", data | {"from_day": "2026-03-02"} | more)
    assert answer.status_code == 400
    assert sentence in answer.text
    assert "<title>Error: " in answer.text
    assert 'value="Lake view"' in answer.text
    assert saved.query(Unit).filter_by(code="G9").count() == 0


def test_a_units_end_ends_what_is_fitted_to_it_and_an_end_before_its_start_is_refused(session, change, unit, saved):
    fitting = {"kind": FittingKind.FLUSH_FIXED, "ml": 9000, "litres_basis": LitresBasis.CLAIM}
    session.add(Fitting(unit_id=unit.id, from_day=FIRST, **fitting))
    session.commit()
    refused = change("end-unit", {"last_day": "2025-12-31"}, unit.id)
    assert "This is before its first day." in refused.text
    assert change("end-unit", {"last_day": "2026-03-01"}, unit.id).status_code == 302
    assert saved.get(Unit, unit.id).until_day == DAY_BEFORE
    assert saved.query(Fitting).one().until_day == DAY_BEFORE


def test_a_new_flush_ends_the_former_one_the_day_before(session, change, unit, saved):
    old = {"kind": FittingKind.FLUSH_POUR, "ml": 2000, "litres_basis": LitresBasis.CLAIM}
    session.add(Fitting(unit_id=unit.id, from_day=FIRST, **old))
    session.commit()
    assert change("add-fitting", FLUSH, unit.id).status_code == 302
    rows = saved.query(Fitting).order_by(Fitting.from_day).all()
    assert [(row.kind, row.ml, row.from_day, row.until_day) for row in rows] == [
        (FittingKind.FLUSH_POUR, 2000, FIRST, DAY_BEFORE),
        (FittingKind.FLUSH_FIXED, 3500, MARCH, None),
    ]
    assert {("changed", "fitting"), ("added", "fitting")} <= audited(saved)


def test_a_two_stage_flush_needs_both_its_numbers(change, unit, saved):
    """1.5 L up to 3 minutes, 4 L when longer: common practice, no published source."""
    data = FLUSH | {"kind": "flush_two_stage", "litres": "1.5", "long_litres": "4"}
    assert "seconds after which it is long" in change("add-fitting", data, unit.id).text
    assert change("add-fitting", data | {"threshold_s": "180"}, unit.id).status_code == 302
    row = saved.query(Fitting).one()
    assert (row.ml, row.long_ml, row.threshold_s) == (1500, 4000, 180)


def test_litres_that_cannot_be_are_refused(change, unit, saved):
    for typed in ("a lot", "-1", "1.2345"):
        answer = change("add-fitting", FLUSH | {"litres": typed}, unit.id)
        assert "Write litres, for example 1.5." in answer.text
        assert f'value="{typed}"' in answer.text
    assert saved.query(Fitting).count() == 0


def test_a_block_is_for_another_group_from_a_day_on_and_was_for_the_former_before(change, block, saved):
    assert change("block-group", {"grp": "everyone", "from_day": "2026-03-02"}, block.id).status_code == 302
    rows = saved.query(BlockGroup).filter_by(block_id=block.id).order_by(BlockGroup.from_day).all()
    assert [(row.grp, row.from_day) for row in rows] == [(Group.GIRLS, FIRST), (Group.EVERYONE, MARCH)]


def test_a_change_of_the_same_day_is_a_correction_and_needs_a_reason(change, block, saved):
    data = {"grp": "boys", "from_day": FIRST.isoformat()}
    refused = change("block-group", data, block.id)
    assert "To correct it, write the reason." in refused.text
    assert change("block-group", data | {"reason": "typed wrong"}, block.id).status_code == 302
    row = saved.query(BlockGroup).filter_by(block_id=block.id).one()
    assert row.grp is Group.BOYS
    line = saved.query(Audit).filter_by(table_name="block_group", act="changed").one()
    assert (line.before, line.after, line.reason) == ('{"grp":"girls"}', '{"grp":"boys"}', "typed wrong")


def test_counting_by_a_counter_needs_the_counter_first(change, unit, saved):
    data = {"way": "counter", "from_day": "2026-03-02"}
    assert "Add the counter first." in change("count-way", data, unit.id).text
    dial = {"quantity": "visits", "digits": "6", "step_ml": "1", "uncertainty": "0", "first_value": "0"}
    assert change("dial", dial | {"day": "2026-02-04", "time": "08:00"}, unit.id).status_code == 302
    assert change("count-way", data, unit.id).status_code == 302
    ways = saved.query(UnitWay).filter_by(unit_id=unit.id).order_by(UnitWay.from_day).all()
    assert [(row.way, row.from_day) for row in ways] == [(CountWay.GRID, FIRST), (CountWay.COUNTER, MARCH)]


def test_an_exchanged_dial_says_what_the_old_one_showed_last(session, change, unit, saved):
    start = datetime(2026, 1, 1, tzinfo=UTC)
    old = {"digits": 4, "step_ml": 1000, "first_value": 0}
    session.add(Dial(unit_id=unit.id, quantity=Quantity.WATER, from_at=start, **old))
    session.commit()
    data = {"quantity": "water", "digits": "5", "step_ml": "1000", "uncertainty": "0", "first_value": "7"}
    data |= {"day": "2026-02-03", "time": "08:00"}
    assert "Write what the old dial showed last." in change("dial", data, unit.id).text
    assert "The old dial has 4 digits." in change("dial", data | {"last_value": "12345"}, unit.id).text
    assert change("dial", data | {"last_value": "1234"}, unit.id).status_code == 302
    at = datetime(2026, 2, 3, 5, 0, tzinfo=UTC)  # 08:00 in a zone three hours ahead
    rows = saved.query(Dial).order_by(Dial.from_at).all()
    assert [(row.from_at, row.until_at, row.last_value, row.first_value) for row in rows] == [
        (start, at, 1234, 0),
        (at, None, None, 7),
    ]


def test_what_a_meter_serves_is_dated(session, change, school, block, unit, saved):
    meter = make_unit(session, school, block, CountWay.NONE, kind=UnitKind.METER)
    session.add(MeterScope(meter_id=meter.id, unit_id=unit.id, whole=False, from_day=FIRST))
    other = make_unit(session, school, block)
    session.commit()
    data = {"served": [unit.id, other.id], "whole": "y", "from_day": "2026-03-02"}
    assert change("meter-scope", data, meter.id).status_code == 302
    rows = saved.query(MeterScope).order_by(MeterScope.from_day, MeterScope.unit_id).all()
    assert [(row.unit_id, row.whole, row.until_day) for row in rows] == [
        (unit.id, False, DAY_BEFORE),
        (unit.id, True, None),
        (other.id, True, None),
    ]


# --- a published term ---------------------------------------------------------------------------------------------


def test_a_change_inside_a_published_term_needs_a_reason_which_the_audit_keeps(session, programme, change, unit, saved):
    publish(session, programme)
    refused = change("add-fitting", FLUSH, unit.id)
    assert refused.status_code == 400
    assert "A published report covers this day. Write why the record changes." in refused.text
    assert saved.query(Fitting).count() == 0
    saved.rollback()
    assert change("add-fitting", FLUSH | {"reason": "fitted in March, told in May"}, unit.id).status_code == 302
    line = saved.query(Audit).filter_by(table_name="fitting").one()
    assert line.reason == "fitted in March, told in May"


def test_a_change_after_the_published_term_needs_none(session, programme, change, unit):
    publish(session, programme)
    assert change("add-fitting", FLUSH | {"from_day": "2026-04-04"}, unit.id).status_code == 302


# --- calendar, pupils ---------------------------------------------------------------------------------------------


def test_enrolment_changes_from_a_day_and_the_former_number_stays(change, school, saved):
    data = {"shift_id": shift_of(saved, school), "sex": "girls", "grade": "6", "age": "12", "pupils": "140"}
    saved.rollback()
    assert change("enrolment", data | {"from_day": "2026-03-02"}).status_code == 302
    rows = saved.query(Enrolment).filter_by(sex=Sex.GIRLS).order_by(Enrolment.from_day).all()
    assert [(row.pupils, row.from_day, row.until_day) for row in rows] == [
        (100, FIRST, DAY_BEFORE),
        (140, MARCH, None),
    ]


def test_a_change_before_a_later_one_lasts_until_that(change, school, saved):
    data = {"shift_id": shift_of(saved, school), "sex": "girls", "grade": "6", "age": "12"}
    saved.rollback()
    assert change("enrolment", data | {"pupils": "140", "from_day": "2026-03-02"}).status_code == 302
    assert change("enrolment", data | {"pupils": "120", "from_day": "2026-02-02"}).status_code == 302
    rows = saved.query(Enrolment).filter_by(sex=Sex.GIRLS).order_by(Enrolment.from_day).all()
    assert [(row.pupils, row.until_day) for row in rows] == [
        (100, date(2026, 2, 1)),
        (120, DAY_BEFORE),
        (140, None),
    ]


def test_a_closure_takes_its_school_days_out(change, school, saved):
    """Monday 2 to Tuesday 3 March 2026: two school days less."""
    held = saved.query(SchoolDay).filter_by(school_id=school.id).count()
    saved.rollback()
    data = {"name": "Flooded road", "first_day": "2026-03-02", "last_day": "2026-03-03"}
    assert change("closure", data).status_code == 302
    assert saved.query(SchoolDay).filter_by(school_id=school.id).count() == held - 2
    row = saved.query(Closure).one()
    assert (row.scope, row.school_id, row.name) == (ClosureScope.SCHOOL, school.id, "Flooded road")
    backwards = change("closure", data | {"last_day": "2026-03-01"})
    assert "The last day is before the first." in backwards.text


def test_when_goods_are_received_counts_from_its_day_and_is_shown(change, administrator, school, saved):
    hours = {"weekdays": ["0", "1"], "opens": "09:00", "closes": "11:30", "from_day": "2026-03-02"}
    assert "This is before goods are received." in change("delivery-hours", hours | {"closes": "08:00"}).text
    assert "Choose at least one day." in change("delivery-hours", hours | {"weekdays": []}).text
    for closes in ("11:30", "12:00"):  # said again, the last word counts
        assert change("delivery-hours", hours | {"closes": closes}).status_code == 302
    monday, wednesday = date(2026, 3, 2), date(2026, 3, 4)
    found = rounds_roads.openings(saved, [school.id], [monday, wednesday])
    assert found[monday] == {school.id: ((540, 720),)}
    assert found[wednesday][school.id] != ((540, 720),)  # not a day that was written: the school's own hours
    assert "Mon 09:00–12:00, from 2 March 2026" in administrator.get(f"/schools/{school.id}/setup").text


def test_new_hours_and_breaks_count_from_their_day(change, school, saved):
    shift = shift_of(saved, school)
    saved.rollback()
    hours = {"shift_id": shift, "weekdays": ["0"], "opens": "07:30", "closes": "13:00", "from_day": "2026-03-02"}
    assert change("hours", hours).status_code == 302
    rows = saved.query(SchoolHours).filter_by(shift_id=shift, weekday=0).order_by(SchoolHours.from_day).all()
    assert [(row.opens_min, row.until_day) for row in rows] == [(480, DAY_BEFORE), (450, None)]
    assert saved.query(SchoolDay).filter_by(school_id=school.id, day=MARCH).one().opens_min == 450
    saved.rollback()
    lunch = {"shift_id": shift, "code": "B2", "name": "Lunch", "weekdays": ["0", "1"], "from_day": "2026-03-02"}
    assert "ends before it starts" in change("break", lunch | {"starts": "12:00", "ends": "11:00"}).text
    assert change("break", lunch | {"starts": "11:30", "ends": "12:00"}).status_code == 302
    breaks = saved.query(SchoolBreak).filter_by(shift_id=shift, code="B2").all()
    assert sorted(row.until_day is None for row in breaks) == [False, False, True, True, True, True, True]
    assert saved.query(DrawnBreak).filter_by(school_id=school.id).count() > 0


def test_what_was_there_before_and_the_routes_papers_are_dated(session, change, school, saved):
    data = {"kind": "cistern", "litres": "9", "litres_basis": "", "from_day": "2026-01-01"}
    assert "Say how the litres are known" in change("before", data).text
    assert change("before", data | {"litres_basis": "measured"}).status_code == 302
    row = saved.query(Before).one()
    assert (row.kind, row.ml, row.litres_basis) == (BeforeKind.CISTERN, 9000, LitresBasis.MEASURED)
    route = DisposalRoute(school_id=school.id, kind=Route.BURN, from_day=FIRST, permit_until=date(2026, 2, 1))
    session.add(route)
    session.commit()
    saved.rollback()
    papers = {"permit_until": "2027-02-01", "from_day": "2026-03-02"}
    assert change("route-papers", papers, route.id).status_code == 302
    rows = saved.query(DisposalRoute).order_by(DisposalRoute.from_day).all()
    assert [(one.permit_until, one.until_day) for one in rows] == [
        (date(2026, 2, 1), DAY_BEFORE),
        (date(2027, 2, 1), None),
    ]


def test_an_agreement_keeps_its_units_and_serials_and_new_dates_are_audited(change, unit, saved):
    data = {"code": "A1", "buyer": "Buyer", "units": [unit.id], "promise_hours": "48", "visit_every_days": "30"}
    data |= {"price_minor": "0", "warranty_from": "2026-01-01", "warranty_until": "2026-12-31"}
    assert change("add-agreement", data).status_code == 302
    row = saved.query(Agreement).one()
    assert (row.promise_hours, row.warranty_until) == (48, date(2026, 12, 31))
    agreed = row.id
    saved.rollback()
    assert change("serial", {"unit_id": unit.id, "serial": "S-77"}, agreed).status_code == 302
    assert saved.query(AgreementUnit).one().serial == "S-77"
    saved.rollback()
    longer = data | {"warranty_until": "2027-12-31"}
    assert change("agreement", longer, agreed).status_code == 302
    assert saved.query(Agreement).one().warranty_until == date(2027, 12, 31)
    line = saved.query(Audit).filter_by(table_name="agreement", act="changed").one()
    assert (line.before, line.after) == ('{"warranty_until":"2026-12-31"}', '{"warranty_until":"2027-12-31"}')


def test_a_position_is_kept_in_millionths_and_a_wrong_one_refused(change, school, saved):
    data = {"name": "New name", "latitude": "1.25", "longitude": "-36.5"}
    assert "Write degrees from -90 to 90" in change("details", data | {"latitude": "91"}).text
    assert change("details", data).status_code == 302
    row = saved.get(School, school.id)
    assert (row.name, row.latitude_udeg, row.longitude_udeg) == ("New name", 1_250_000, -36_500_000)


# --- programme ----------------------------------------------------------------------------------------------------


def test_a_new_term_brings_its_school_days_and_may_not_overlap_another(set_programme, school, saved):
    data = {"code": "T9", "name": "Second term", "first_day": "2026-05-04", "last_day": "2026-05-08"}
    overlapping = set_programme("add-term", data | {"first_day": "2026-04-03"})
    assert "It overlaps Term." in overlapping.text
    assert set_programme("add-term", data).status_code == 302
    days = saved.query(SchoolDay).filter(SchoolDay.school_id == school.id, SchoolDay.day >= date(2026, 5, 1)).count()
    assert days == 5


def test_a_school_is_added_with_its_first_shift(session, set_programme, programme, saved):
    area = make_area(session, programme)
    session.commit()
    data = {"code": "N1", "name": "New School", "area_id": area.id, "from_day": "2026-03-02"}
    assert set_programme("add-school", data).status_code == 302
    row = saved.query(School).filter_by(code="N1").one()
    assert (row.area_id, row.from_day) == (area.id, MARCH)
    assert saved.query(Shift).filter_by(school_id=row.id).count() == 1
    assert "This code is taken." in set_programme("add-school", data).text


def test_small_counts_cannot_be_shown_below_ten(set_programme, saved):
    data = {"key": "small_count_min", "value": "9", "from_day": "2026-03-02"}
    answer = set_programme("setting", data)
    assert answer.status_code == 400
    assert "write a number from 10 to 1000 pupils" in answer.text
    assert saved.query(ProgrammeSetting).count() == 0
    saved.rollback()
    assert set_programme("setting", data | {"value": "20"}).status_code == 302
    row = saved.query(ProgrammeSetting).one()
    assert (row.value, row.from_day) == (20, MARCH)


def test_a_target_set_after_the_term_began_needs_a_reason_and_is_shown_as_later(
    session, programme, set_programme, administrator, saved
):
    term = session.query(Term).filter_by(programme_id=programme.id).one().id
    session.commit()
    data = {"term_id": term, "figure": "availability_share", "value": "95"}
    assert "it is shown as set later" in set_programme("target", data).text
    assert set_programme("target", data | {"reason": "agreed in February"}).status_code == 302
    row = saved.query(Target).one()
    assert (row.thousandths, row.set_at) == (950, date(2026, 2, 4))
    page = administrator.get(f"/setup/{programme.id}").text
    assert "after the term began" in page and "95 %" in page and "availability share" not in page


def test_a_round_is_planned_once_and_one_of_the_past_stays(session, programme, set_programme, saved):
    session.add(PlannedRound(programme_id=programme.id, day=date(2026, 1, 5)))
    session.commit()
    assert set_programme("add-round", {"day": "2026-03-02"}).status_code == 302
    assert "planned for that day already" in set_programme("add-round", {"day": "2026-03-02"}).text
    assert "stays on record" in set_programme("drop-round", {"day": "2026-01-05"}).text
    assert set_programme("drop-round", {"day": "2026-03-02"}).status_code == 302
    assert [row.day for row in saved.query(PlannedRound)] == [date(2026, 1, 5)]


def test_a_vehicle_is_added_and_changed_by_its_code(programme, set_programme, administrator, saved):
    data = {"code": "VAN", "name": "Van", "room_l": "900", "room_packs": ""}
    assert set_programme("vehicle", data).status_code == 302
    assert set_programme("vehicle", data | {"room_l": "0"}).status_code == 400
    assert set_programme("vehicle", data | {"room_l": "800", "room_packs": "60"}).status_code == 302
    (row,) = saved.query(Vehicle)
    assert (row.programme_id, row.code, row.room_ml, row.room_packs) == (programme.id, "VAN", 800_000, 60)
    page = administrator.get(f"/setup/{programme.id}").text
    assert "Van" in page and ">800<" in page


def test_a_pack_is_described_and_a_school_keeps_some(session, programme, school, set_programme, saved):
    product = Product(programme_id=programme.id, code="SOAP", name="Soap", menstrual=False, pack_size=4)
    product.unit_cost_minor = 90
    session.add(product)
    session.commit()
    data = {"product_id": product.id, "unit_name": "bars", "pack_ml": "1500"}
    assert set_programme("pack", data).status_code == 302
    rule = {"school": school.code, "product_id": product.id, "minimum": "20", "room": "12", "from_day": "2026-03-02"}
    assert "less room than the 20 pieces" in set_programme("stock-rule", rule).text
    assert "no school with this code" in set_programme("stock-rule", rule | {"school": "none"}).text
    assert set_programme("stock-rule", rule | {"room": "60"}).status_code == 302
    assert set_programme("stock-rule", rule | {"room": ""}).status_code == 302  # of the same day: replaced
    row = saved.query(StockRule).one()
    assert (row.school_id, row.minimum, row.room, row.from_day) == (school.id, 20, None, MARCH)
    described = saved.query(Product).one()
    assert (described.unit_name, described.pack_ml) == ("bars", 1500)


def test_terms_of_a_supplier_are_dated_and_those_of_the_same_day_replaced(
    session, programme, set_programme, administrator, saved
):
    product = Product(programme_id=programme.id, code="SOAP", name="Soap", menstrual=False, pack_size=4)
    product.unit_cost_minor = 90
    session.add(product)
    session.commit()
    days = {"lead_days": "14", "review_days": "30", "from_day": "2026-03-02"}
    terms = {"product_id": product.id, "supplier": "Lake Supplies", "min_packs": "5", "pack_price_minor": "360"} | days
    assert set_programme("supplier-terms", terms).status_code == 302
    assert set_programme("supplier-terms", terms | {"pack_price_minor": "370"}).status_code == 302
    later = terms | {"from_day": "2026-04-01", "supplier": "Hill Trading"}
    assert set_programme("supplier-terms", later).status_code == 302
    rows = saved.query(SupplierTerms).order_by(SupplierTerms.from_day).all()
    assert [(row.from_day, row.supplier, row.pack_price_minor) for row in rows] == [
        (MARCH, "Lake Supplies", 370),
        (date(2026, 4, 1), "Hill Trading", 360),
    ]
    assert (rows[0].lead_days, rows[0].review_days, rows[0].min_packs) == (14, 30, 5)
    page = administrator.get(f"/setup/{programme.id}").text
    assert "Hill Trading" in page and "3.70 XTS" in page


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("supplier", "", "Write the supplier&#39;s name."),
        ("supplier", "=1+1", "This cell holds a formula."),
        ("lead_days", "731", "Write a whole number from 0 to 730."),
        ("review_days", "0", "Write a whole number from 1 to 730."),
        ("min_packs", "0", "Write a whole number from 1 to 1000000."),
        ("pack_price_minor", "3.60", "Write a whole number of 0 or more."),
        ("from_day", "next week", "Write a day as year-month-day"),
        ("product_id", "999", "Choose from the list."),
    ],
)
def test_terms_that_cannot_be_are_refused_at_their_field(
    session, programme, set_programme, saved, field, typed, sentence
):
    product = Product(programme_id=programme.id, code="SOAP", name="Soap", menstrual=False, pack_size=4)
    product.unit_cost_minor = 90
    session.add(product)
    session.commit()
    terms = {"product_id": product.id, "supplier": "Lake Supplies", "min_packs": "5", "pack_price_minor": "360"}
    terms |= {"lead_days": "14", "review_days": "30", "from_day": "2026-03-02"}
    answer = set_programme("supplier-terms", terms | {field: typed})
    assert answer.status_code == 400
    assert f'id="{field}-error">' in answer.text and sentence in answer.text
    assert saved.query(SupplierTerms).count() == 0


def test_every_act_has_a_page_that_opens(session, administrator, school, programme, block, unit):
    from tracker.web import setup_acts, setup_programme_acts

    session.add(DisposalRoute(school_id=school.id, kind=Route.BURN, from_day=FIRST))
    session.add(
        Fitting(unit_id=unit.id, kind=FittingKind.FLUSH_NONE, ml=0, litres_basis=LitresBasis.CLAIM, from_day=FIRST)
    )
    terms = {"promise_hours": 48, "visit_every_days": 30}
    session.add(Agreement(programme_id=programme.id, code="A", buyer="B", school_id=school.id, **terms))
    session.commit()
    rows = {
        type(row): row.id for kind in (DisposalRoute, Fitting, Agreement, SchoolBreak) for row in session.query(kind)
    }
    rows |= {type(block): block.id, type(unit): unit.id}
    school_id, programme_id = school.id, programme.id
    session.rollback()
    for key, act in setup_acts.ACTS.items():
        address = f"/schools/{school_id}/setup/{key}" + (f"?row={rows[act.of]}" if act.of else "")
        assert administrator.get(address).status_code == 200, key
        assert administrator.post(address, data={}).status_code in (302, 400), key
    for key in setup_programme_acts.ACTS:
        assert administrator.get(f"/setup/{programme_id}/{key}").status_code == 200, key


# --- what a folder refuses, the forms refuse too ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"name": "=1+1"}, "This cell holds a formula. Write its value instead."),
        ({"code": "=1+1"}, "letters, digits and dashes only"),
        ({"code": "G 1"}, "letters, digits and dashes only"),
        ({"code": "-G1"}, "letters, digits and dashes only"),
    ],
)
def test_a_text_that_a_folder_refuses_is_refused_at_its_field(change, block, saved, more, sentence):
    data = {"code": "G9", "name": "Lake view", "kind": "cabin", "block_id": block.id, "way": "drawn"}
    answer = change("add-unit", data | {"from_day": "2026-03-02"} | more)
    assert answer.status_code == 400
    field = next(iter(more))
    assert f'id="{field}-error">' in answer.text and sentence in answer.text
    assert saved.query(Unit).filter_by(block_id=block.id).count() == 1


def test_two_shifts_may_not_share_a_breaks_code_on_a_weekday(session, change, school, saved):
    """A rule about rows that must agree: break_codes_apart of docs/checks.md, said at the code."""
    late = Shift(school_id=school.id, code="late", name="Late")
    session.add(late)
    session.commit()
    data = {"shift_id": late.id, "code": "B1", "name": "Break", "weekdays": ["0"], "from_day": "2026-03-02"}
    answer = change("break", data | {"starts": "13:00", "ends": "13:10"})
    assert 'id="code-error">Shift day has a break B1 on this weekday.' in answer.text
    assert saved.query(SchoolBreak).filter_by(shift_id=late.id).count() == 0


def test_more_than_20_litres_a_flush_are_asked_about_once_and_the_tick_is_kept(change, unit, saved):
    page = change("add-fitting", FLUSH | {"litres": "35", "kind": "flush_fixed"}, unit.id).text
    assert "This is more than 20 L a flush." in page and 'name="sure"' in page
    missing = change("add-fitting", FLUSH | {"litres": "35", "from_day": "", "sure": "y"}, unit.id).text
    assert 'checked id="sure"' in missing and "This is more than 20 L" not in missing
    assert change("add-fitting", FLUSH | {"litres": "35", "sure": "y"}, unit.id).status_code == 302
    assert saved.query(Fitting).one().ml == 35_000


def test_a_floor_wash_may_take_more_and_a_usual_flush_shows_no_tick(change, administrator, school, unit, saved):
    assert 'name="sure"' not in administrator.get(f"/schools/{school.id}/setup/add-fitting?row={unit.id}").text
    data = FLUSH | {"kind": "floor_wash", "litres": "35", "every_n": "10"}
    assert change("add-fitting", data, unit.id).status_code == 302


def test_shares_are_written_in_percent_and_kept_in_thousandths(change, set_programme, unit, saved):
    data = FLUSH | {"kind": "vacuum", "litres": "0", "factor": "62.5", "uncertainty": "10 %"}
    assert "Write percent from 0.1 to 100" in change("add-fitting", data | {"factor": "250"}, unit.id).text
    assert change("add-fitting", data, unit.id).status_code == 302
    row = saved.query(Fitting).one()
    assert (row.factor_permille, row.u_permille) == (625, 100)
    saved.rollback()
    asked = {"key": "service_permille", "from_day": "2026-03-02"}
    assert "from 50 to 99.9 percent" in set_programme("setting", asked | {"value": "100"}).text
    assert set_programme("setting", asked | {"value": "97.5"}).status_code == 302
    assert saved.query(ProgrammeSetting).one().value == 975


def test_a_named_set_is_chosen_by_its_number_and_shown_by_its_name(set_programme, saved, administrator, programme):
    asked = {"key": "fixture_norms", "from_day": "2026-03-02"}
    refused = set_programme("setting", asked | {"value": "8"})
    assert "from 0 to 7" in refused.text and "4: WHO, schools in low-cost settings, 2009" in refused.text
    assert set_programme("setting", asked | {"value": "4"}).status_code == 302
    assert saved.query(ProgrammeSetting).one().value == 4
    page = administrator.get(f"/setup/{programme.id}").text
    assert "WHO, schools in low-cost settings, 2009: girls 25, boys 50 (from memory, not confirmed)" in page


def test_a_grade_is_chosen_from_those_on_record_or_said_to_be_new(change, school, saved):
    data = {"shift_id": shift_of(saved, school), "sex": "girls", "age": "", "pupils": "30", "from_day": "2026-03-02"}
    saved.rollback()
    assert "Choose from the list." in change("enrolment", data | {"grade": "sixth"}).text
    assert "Choose a grade of the list" in change("enrolment", data | {"grade": ""}).text
    assert change("enrolment", data | {"grade": "6", "new_grade": "7"}).status_code == 400
    assert saved.query(Enrolment).count() == 2
    saved.rollback()
    assert change("enrolment", data | {"grade": "", "new_grade": "7"}).status_code == 302
    assert {row.grade for row in saved.query(Enrolment)} == {"6", "7"}


def counted(session, school, unit, day=date(2026, 2, 3)) -> None:
    """A sheet of the week of 2 February with visits counted on a day."""
    week = date(2026, 2, 2)
    sheet = WeekSheet(school_id=school.id, week=week, code="C1", state=SheetState.SENT, version=1, first_sent_at=NOW)
    session.add(sheet)
    session.flush()
    what = {"slot": "B1", "how": CountWay.GRID, "visits": 12, "source": Source.TALLY, "days": 1}
    session.add(UsageCount(unit_id=unit.id, sheet_id=sheet.id, week=week, first_day=day, **what))
    session.commit()


def test_days_without_school_on_counted_days_ask_for_a_reason_and_name_the_week(session, change, school, unit, saved):
    counted(session, school, unit)
    data = {"name": "Flood", "first_day": "2026-02-02", "last_day": "2026-02-04"}
    answer = change("closure", data)
    assert answer.status_code == 400
    sentence = f"{school.name} counted visits on 3 February 2026, in the sheet of the week of 2 February 2026."
    assert sentence in answer.text and "Have that sheet corrected first" in answer.text
    assert saved.query(Closure).count() == 0
    saved.rollback()
    assert change("closure", data | {"first_day": "2026-02-04"}).status_code == 302
    told = data | {"last_day": "2026-02-03", "reason": "the caretaker alone was there"}
    assert change("closure", told).status_code == 302


def test_a_unit_does_not_end_before_its_last_record(session, change, school, unit, saved):
    counted(session, school, unit)
    answer = change("end-unit", {"last_day": "2026-02-02"}, unit.id)
    assert f"Something was counted, read or seen at {unit.name} on 3 February 2026." in answer.text
    assert saved.get(Unit, unit.id).until_day is None
    saved.rollback()
    assert change("end-unit", {"last_day": "2026-02-03"}, unit.id).status_code == 302


def test_a_serial_number_belongs_to_one_unit_of_a_school_and_new_dates_keep_it(session, change, school, block, unit):
    other = make_unit(session, school, block)
    row = Agreement(programme_id=school.programme_id, school_id=school.id, code="A1", buyer="Buyer", price_minor=0)
    row.promise_hours, row.visit_every_days = 48, 30
    session.add(row)
    session.commit()
    assert change("serial", {"unit_id": unit.id, "serial": "S-77"}, row.id).status_code == 302
    answer = change("serial", {"unit_id": other.id, "serial": "S-77"}, row.id)
    assert f"{unit.name} has the serial number S-77." in answer.text
    data = {"buyer": "Buyer", "units": [unit.id], "promise_hours": "24", "visit_every_days": "30", "price_minor": "0"}
    assert change("agreement", data, row.id).status_code == 302
    session.expire_all()
    assert session.query(AgreementUnit).one().serial == "S-77"


def test_breaks_do_not_lie_over_each_other_nor_outside_the_hours(change, school, saved):
    """The school is open from 08:00 to 15:00, its first break is from 10:00 to 10:20, lunch from 12:00 to 12:40."""
    shift = shift_of(saved, school)
    saved.rollback()
    data = {"shift_id": shift, "code": "B3", "name": "Tea", "weekdays": ["0"], "from_day": "2026-03-02"}
    over = change("break", data | {"starts": "10:10", "ends": "10:30"})
    assert 'id="starts-error">Tea is at the same time as First break.' in over.text
    outside = change("break", data | {"starts": "14:50", "ends": "15:10"})
    assert "Tea would lie outside the school&#39;s hours." in outside.text
    assert change("break", data | {"starts": "10:20", "ends": "10:30"}).status_code == 302  # begins as the other ends
    hours = {"shift_id": shift, "weekdays": ["0"], "opens": "08:00", "closes": "12:30", "from_day": "2026-03-02"}
    assert "Lunch would lie outside the school&#39;s hours." in change("hours", hours).text
    assert saved.query(SchoolHours).filter_by(shift_id=shift, weekday=0).count() == 1


def test_a_unit_does_not_stand_before_its_school_joined_and_days_without_school_are_said_once(change, block, saved):
    data = {"code": "G9", "name": "Lake view", "kind": "cabin", "block_id": block.id, "way": "drawn"}
    early = change("add-unit", data | {"from_day": "2025-12-31"})
    assert 'id="from_day-error">The school joined on Thursday 1 January 2026.' in early.text
    closed = {"name": "Flooded road", "first_day": "2026-03-02", "last_day": "2026-03-03"}
    assert change("closure", closed).status_code == 302
    again = change("closure", closed | {"first_day": "2026-03-03", "last_day": "2026-03-04"})
    assert (
        "Days from Monday 2 March 2026 to Tuesday 3 March 2026 are on record as without school already." in again.text
    )
    assert saved.query(Closure).count() == 1


# --- an end by mistake --------------------------------------------------------------------------------------------


def test_a_unit_ended_by_mistake_stands_again_with_what_was_fitted_to_it_and_the_reason_is_kept(
    session, change, administrator, school, unit, saved
):
    session.add(Fitting(unit_id=unit.id, from_day=FIRST, kind=FittingKind.TAP, ml=500, litres_basis=LitresBasis.CLAIM))
    session.commit()
    assert "It has not ended" in change("unit-again", {"last_day": "", "reason": "x"}, unit.id).text
    assert change("end-unit", {"last_day": "2026-03-01"}, unit.id).status_code == 302
    assert "It stands again" in administrator.get(f"/schools/{school.id}/setup").text
    assert "Write why the end on record was wrong." in change("unit-again", {"last_day": ""}, unit.id).text
    later = {"last_day": "2026-03-20", "reason": "it stood three weeks more"}
    assert change("unit-again", later, unit.id).status_code == 302
    assert (saved.get(Unit, unit.id).until_day, saved.query(Fitting).one().until_day) == (date(2026, 3, 20),) * 2
    saved.rollback()
    assert change("unit-again", {"last_day": "", "reason": "the wrong cabin"}, unit.id).status_code == 302
    assert (saved.get(Unit, unit.id).until_day, saved.query(Fitting).one().until_day) == (None, None)
    reasons = [row.reason for row in saved.query(Audit).filter_by(table_name="unit", act="changed")]
    assert "the wrong cabin" in reasons


def test_a_fitting_ended_by_mistake_is_fitted_still_unless_another_took_its_place(session, change, unit, saved):
    first = Fitting(unit_id=unit.id, from_day=FIRST, kind=FittingKind.FLUSH_POUR, ml=2000)
    first.litres_basis = LitresBasis.CLAIM
    session.add(first)
    session.commit()
    assert change("end-fitting", {"last_day": "2026-02-10"}, first.id).status_code == 302
    assert change("fitting-again", {"last_day": "", "reason": "typed wrong"}, first.id).status_code == 302
    assert saved.get(Fitting, first.id).until_day is None
    saved.rollback()
    assert change("add-fitting", FLUSH, unit.id).status_code == 302
    answer = change("fitting-again", {"last_day": "", "reason": "typed wrong"}, first.id)
    assert "Another one took its place. Write a day up to 01 March 2026." in answer.text
    assert saved.get(Fitting, first.id).until_day == DAY_BEFORE


def test_what_was_recorded_is_named(administrator, school, block):
    data = {"code": "G9", "name": "Lake view", "kind": "cabin", "block_id": block.id, "way": "drawn"}
    sent = administrator.post(
        f"/schools/{school.id}/setup/add-unit", data=data | {"from_day": "2026-03-02"}, follow_redirects=True
    )
    assert f"Recorded for {school.name}: Add a unit: Lake view." in sent.text


def test_no_raw_key_stands_on_the_set_up_pages(session, administrator, programme, school, unit):
    flush = Fitting(unit_id=unit.id, from_day=FIRST, kind=FittingKind.FLUSH_TWO_STAGE, ml=1500, long_ml=4000)
    flush.threshold_s, flush.litres_basis = 180, LitresBasis.CLAIM
    session.add(flush)
    session.commit()
    pages = [administrator.get(f"/schools/{school.id}/setup").text, administrator.get(f"/setup/{programme.id}").text]
    for act in ("add-fitting", "count-way", "dial"):
        pages.append(administrator.get(f"/schools/{school.id}/setup/{act}?row={unit.id}").text)
    pages.append(administrator.get(f"/setup/{programme.id}/setting").text)
    for page in pages:
        seen = " ".join(re.findall(r">([^<>]+)<", page))
        for key in (
            "flush_",
            "Flush two stage",
            "week_total",
            "Week total",
            "permille",
            "per mille",
            "thousandths",
            " mL",
        ):
            assert key not in seen


def test_a_baseline_is_recorded_once_and_corrected_with_a_reason(set_programme, saved):
    form = {"figure": "litres_per_visit", "value": "6.4", "measured_on": "2025-06-20", "basis": "metered"}
    unsaid = set_programme("baseline", form)
    assert unsaid.status_code == 400 and "where and how" in unsaid.text and 'value="6.4"' in unsaid.text
    form |= {"note": "Meters of four schools."}
    assert set_programme("baseline", form).status_code == 302
    assert "write the reason" in set_programme("baseline", form | {"value": "6.5"}).text
    assert set_programme("baseline", form | {"value": "6.5", "reason": "a slip of the pen"}).status_code == 302
    rows = saved.query(Baseline).all()
    assert [(row.figure, row.thousandths, row.basis.value) for row in rows] == [("litres_per_visit", 6500, "metered")]
