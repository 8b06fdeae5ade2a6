"""The school term report, worked out by hand on a school with two weeks of term (see small_term)."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests import make
from tests.reports import small_term as small
from tests.reports.test_frames import counted_queries
from tracker import models as m
from tracker.reports import school_term
from tracker.reports.printing import print_figure
from tracker.vocabulary import Basis, ClosureScope, CountWay, FittingKind, ReportKind, Sex, State, UnitKind


def build(session, programme, school, term, as_of=small.AFTER):
    return school_term.build(session, school.id, small.head(session, programme, term), as_of, "test")


def figure(report, key):
    return report.line(key).figure


@pytest.fixture
def place(session):
    """Programme, term, school and one cabin counted at every break."""
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    return programme, term, school, make.make_unit(session, school)


def test_visits_are_the_sum_of_what_was_recorded_and_a_blank_week_adds_nothing(session, place):
    programme, term, school, cabin = place
    small.count(session, cabin, date(2026, 1, 12), 10)
    small.count(session, cabin, date(2026, 1, 13), 20)
    found = figure(build(session, programme, school, term), "visits")
    assert (found.value, found.basis, found.used, found.expected) == (30.0, Basis.COUNTED, 1, 2)
    assert [(part.week, part.value) for part in found.parts] == [(small.WEEK_1, 30.0)]


def test_visits_per_pupil_day_divide_by_the_weeks_that_have_visits(session, place):
    # 30 visits in a week of 5 school days with 200 pupils: 30 / 1000.
    programme, term, school, cabin = place
    small.count(session, cabin, date(2026, 1, 12), 30)
    assert figure(build(session, programme, school, term), "visits_per_pupil_day").value == pytest.approx(0.03)


def test_water_follows_the_fittings_and_the_floor_wash_carries_over_weeks(session, place):
    # 3 L a visit: 16 visits are 48 L. A floor wash of 2 L after every 10 visits: 8 and 8 are 16 visits, one wash, in
    # the second week. 50 L. A cistern of 9 L: 144 L, which is 94 L more.
    programme, term, school, cabin = place
    small.fitting(session, cabin, FittingKind.FLUSH_FIXED, 3000)
    small.fitting(session, cabin, FittingKind.FLOOR_WASH, 2000, every_n=10)
    small.count(session, cabin, date(2026, 1, 12), 8)
    small.count(session, cabin, date(2026, 1, 19), 8)
    report = build(session, programme, school, term)
    assert figure(report, "water_taken_l").value == pytest.approx(50.0)
    assert figure(report, "less_than_cistern_l").value == pytest.approx(94.0)
    assert [part.value for part in figure(report, "water_taken_l").parts] == [24.0, 26.0]
    assert report.line("less_than_cistern_l").label.startswith("Less than a cistern of 9 L would have used")


def test_visits_before_the_term_are_carried_by_the_floor_wash(session):
    # 8 visits in the week before the term (its own term), 4 in it: the tenth visit falls into this term.
    programme, term = small.programme_with_term(session)
    make.make_term(session, programme, first=date(2026, 1, 5), last=date(2026, 1, 9))
    school = small.school_of(session, programme)
    cabin = make.make_unit(session, school)
    small.fitting(session, cabin, FittingKind.FLUSH_FIXED, 3000)
    small.fitting(session, cabin, FittingKind.FLOOR_WASH, 2000, every_n=10)
    small.count(session, cabin, date(2026, 1, 6), 8)
    small.count(session, cabin, date(2026, 1, 12), 4)
    line = build(session, programme, school, term).line("water_taken_l")
    assert line.figure.value == pytest.approx(14.0)  # 4 x 3 L and one wash of 2 L
    assert line.last_term is not None and line.last_term.value == pytest.approx(24.0)  # 8 x 3 L


def test_an_open_outage_runs_to_the_day_of_the_report(session, place):
    # Out since Friday 16 January 13:00, report on Tuesday 20 January 10:00: 2 h on Friday, 7 h on Monday, 2 h on
    # Tuesday are 11 h. Observed days: Thursday (seen), Friday, Monday, Tuesday: 7 + 7 + 7 + 2 = 23 h. (23 - 11) / 23.
    programme, term, school, cabin = place
    small.outage(session, programme, cabin, small.at(date(2026, 1, 16), 13))
    small.seen(session, cabin, date(2026, 1, 15))
    as_of = small.at(date(2026, 1, 20), 10)
    report = build(session, programme, school, term, as_of)
    assert figure(report, "availability_share").value == pytest.approx(12 / 23)
    # Breaks that had begun: Mon-Fri twice, Mon twice, Tue 10:00 has not begun before 10:00: 12 pairs. Lost: Monday's 2.
    assert figure(report, "breaks_lost").value == 2.0
    assert (report.first_day, report.last_day, report.term_last_day) == (small.FIRST, date(2026, 1, 20), small.LAST)


def test_an_ended_term_is_reported_to_its_last_day(session, place):
    # The same outage, asked for weeks later: 2 h and five days of 7 h are 37 h, and not more.
    programme, term, school, cabin = place
    small.outage(session, programme, cabin, small.at(date(2026, 1, 16), 13))
    report = build(session, programme, school, term)
    table = next(table for table in report.tables() if table.key == "outages_by_cause")
    assert table.rows[0][1].value == pytest.approx(37.0)
    assert report.last_day == small.LAST


def test_silence_is_not_uptime(session, place):
    # One day looked at of ten: 100 % of it, and anything from 1/10 to 10/10 of the whole.
    programme, term, school, cabin = place
    small.seen(session, cabin, date(2026, 1, 14))
    found = figure(build(session, programme, school, term), "availability_share")
    assert (found.value, found.low, found.high) == (1.0, pytest.approx(0.1), 1.0)
    assert (found.used, found.expected) == (1, 10)


def test_visits_of_a_day_vouch_for_the_unit(session, place):
    programme, term, school, cabin = place
    small.count(session, cabin, date(2026, 1, 12), 3)
    small.count(session, cabin, date(2026, 1, 13), 0)  # no visit vouches for nothing
    assert figure(build(session, programme, school, term), "availability_share").used == 1


def test_given_out_is_what_was_there_and_put_in_less_what_is_left(session, place):
    # 40 left on Friday of week 1; 25 put in and 30 left in week 2: 40 + 25 - 30 = 35. Week 1 has no count before it.
    programme, term, school, _ = place
    _, machine, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, machine, product, date(2026, 1, 16), 40)
    small.stock(session, machine, product, date(2026, 1, 23), 30)
    small.move(session, programme, (cupboard, machine), lot, date(2026, 1, 19), 25)
    report = build(session, programme, school, term)
    found = figure(report, "given_out")
    assert (found.value, found.basis, found.used, found.expected) == (35.0, Basis.MODELLED, 1, 2)
    ways = next(table for table in report.tables() if table.key == "given_by_way")
    assert ways.rows[0][0] == "sold" and ways.rows[0][1].value == 35.0
    # 35 in five school days are 7 a day, 35 a week; 30 are on hand.
    assert figure(report, "cover_weeks").value == pytest.approx(30 / 35)


def test_a_route_needs_its_permit_and_somebody_who_looked(session, place):
    # Permit to the 16th: five days of the first week, of which the incinerator was seen on two; none in the second.
    programme, term, school, _ = place
    burner = make.make_unit(session, school, way=CountWay.NONE, kind=UnitKind.INCINERATOR)
    route = m.disposal.DisposalRoute(school_id=school.id, kind="burn", from_day=make.FIRST)
    route.permit_until = route.operator_until = date(2026, 1, 16)
    make._add(session, route)
    for day in (12, 13):
        small.seen(session, burner, date(2026, 1, day))
    report = build(session, programme, school, term)
    days = figure(report, "route_days")
    assert (days.value, days.low, days.high, days.used, days.expected) == (2.0, 2.0, 5.0, 7, 10)
    assert figure(report, "route_days_share").value == pytest.approx(2 / 7)
    steps = [row[0] for table in report.tables() if table.key == "next_steps" for row in table.rows]
    assert "The permit for the route burn ended on 16 January 2026. Ask the officer in good time." in steps


def test_pupils_reached_lie_between_the_largest_lesson_and_all_who_came(session, place):
    # 60 girls at one lesson, 50 at another: at least 60, at most 100 (enrolled), not 110. 20 boys once: 20 to 20.
    programme, term, school, _ = place
    small.lesson(session, programme, school, date(2026, 1, 13), {Sex.GIRLS: 60, Sex.BOYS: 20})
    small.lesson(session, programme, school, date(2026, 1, 20), {Sex.GIRLS: 50})
    report = build(session, programme, school, term)
    found = figure(report, "pupils_reached")
    assert (found.value, found.low, found.high) == (80.0, 80.0, 120.0)
    assert figure(report, "attendances").value == 130.0


def test_completeness_counts_sheets_that_were_due(session, place):
    # One sheet sent on its Friday, none for the second week. On 22 January only the first was due (on the 21st).
    programme, term, school, _ = place
    small.sheet(session, school, small.WEEK_1)
    report = build(session, programme, school, term)
    assert figure(report, "completeness_share").value == 0.5
    assert figure(report, "timeliness_share").value == 0.5
    steps = [row[0] for table in report.tables() if table.key == "next_steps" for row in table.rows]
    assert steps == ["Send the week sheet for the week from 19 January 2026; it can still be sent."]
    early = build(session, programme, school, term, small.at(date(2026, 1, 22), 12))
    assert figure(early, "completeness_share").value == 1.0


def test_the_running_week_is_not_expected_yet(session, place):
    programme, term, school, cabin = place
    small.count(session, cabin, date(2026, 1, 12), 10)
    found = figure(build(session, programme, school, term, small.at(date(2026, 1, 21), 12)), "visits")
    assert (found.value, found.used, found.expected) == (10.0, 1, 1)


def test_last_term_stands_beside_this_term_and_there_may_be_none(session):
    programme, term = small.programme_with_term(session)
    before = make.make_term(session, programme, first=date(2026, 1, 5), last=date(2026, 1, 9))
    school = small.school_of(session, programme)
    cabin = make.make_unit(session, school)
    small.count(session, cabin, date(2026, 1, 5), 7)
    small.count(session, cabin, date(2026, 1, 12), 9)
    line = build(session, programme, school, term).line("visits")
    assert (line.figure.value, line.last_term.value) == (9.0, 7.0)
    assert build(session, programme, school, before).line("visits").last_term is None


def test_a_school_without_any_record_prints_not_recorded_and_does_not_fail(session):
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    report = build(session, programme, school, term)
    known = {"completeness_share": 0.0, "timeliness_share": 0.0, "open_queries": 0.0}  # nothing came: that is known
    for line in report.lines():
        if line.key in known:
            assert line.figure.value == known[line.key]
        else:
            assert print_figure(line.figure).value == "not recorded", line.key
    assert report.kind is ReportKind.SCHOOL_TERM and report.scope == school.code


def test_every_headline_says_what_it_rests_on(session, place):
    programme, term, school, cabin = place
    small.count(session, cabin, date(2026, 1, 12), 10)
    keys = [line.key for line in build(session, programme, school, term).lines()]
    assert len(keys) == len(set(keys))
    wanted = "visits visits_per_pupil_day water_taken_l less_than_cistern_l litres_per_visit litres_per_pupil_day"
    wanted += " unexplained_water_l availability_share breaks_lost promise_kept_share hours_between_failures given_out"
    wanted += " sold_out_days cover_weeks route_days route_days_share burns sessions_held pupils_reached attendances"
    wanted += " completeness_share timeliness_share open_queries"
    assert set(wanted.split()) <= set(keys)


def test_sections_come_in_the_order_of_reading_and_end_with_what_to_do(session, place):
    programme, term, school, _ = place
    keys = [section.key for section in build(session, programme, school, term).sections]
    assert keys == [
        "short",
        "visits",
        "crowding",
        "water",
        "units",
        "supplies",
        "disposal",
        "lessons",
        "records",
        "next",
    ]


def test_service_levels_come_from_the_inspection_and_a_blank_is_not_a_no(session, place):
    programme, term, school, _ = place
    for question, answer in {"water_source": "improved", "water_available": "yes", "handwash_facility": "no"}.items():
        row = m.school.InspectionAnswer(school_id=school.id, term_id=term.id, question=question, answer=answer)
        row.seen_on = small.FIRST
        make._add(session, row)
    table = next(one for one in build(session, programme, school, term).tables() if one.key == "service_levels")
    assert dict(table.rows) == {"drinking water": "basic", "sanitation": "not classified", "hygiene": "no service"}


def test_waiting_at_the_bell_is_told_by_group(session, place):
    programme, term, school, _ = place
    for day, waiting in ((12, 0), (13, 4), (14, None)):
        row = m.school.BellCount(school_id=school.id, day=date(2026, 1, day), slot="B1", grp="girls", present=90)
        row.waiting = waiting
        make._add(session, row)
    table = next(one for one in build(session, programme, school, term).tables() if one.key == "waiting")
    assert table.rows == (("girls", 2, 1, 4),)  # the third break has no answer


def test_out_of_service_without_an_outage_leaves_the_day_unobserved(session, place):
    programme, term, school, cabin = place
    small.seen(session, cabin, date(2026, 1, 14), State.OUT)
    assert figure(build(session, programme, school, term), "availability_share").value is None


def test_a_term_that_has_not_begun_is_refused(session, place):
    programme, term, school, _ = place
    with pytest.raises(ValueError, match="has not begun"):
        build(session, programme, school, term, datetime(2026, 1, 5, tzinfo=UTC))


def test_a_school_that_is_not_there_is_refused(session, place):
    programme, term, *_ = place
    with pytest.raises(LookupError):
        school_term.build(session, 999_999, small.head(session, programme, term), small.AFTER, "test")


def fill(session, programme, weeks: int, schools: int):
    """Schools with a cabin, counts in every week and a machine."""
    found = []
    for _ in range(schools):
        school = small.school_of(session, programme)
        cabin = make.make_unit(session, school)
        small.fitting(session, cabin, FittingKind.FLOOR_WASH, 2000, every_n=10)
        _, machine, product, lot, cupboard = small.machine(session, programme, school)
        for week in range(weeks):
            monday = date.fromordinal(small.FIRST.toordinal() + 7 * week)
            small.sheet(session, school, monday)
            small.count(session, cabin, monday, 20)
            small.stock(session, machine, product, monday, 40)
            small.move(session, programme, (cupboard, machine), lot, monday, 12)
        found.append(school)
    return found


def test_the_number_of_queries_does_not_grow_with_weeks_or_units(session):
    counts = []
    for weeks in (1, 10):
        programme, term = small.programme_with_term(
            session, last=date.fromordinal(small.FIRST.toordinal() + 7 * weeks - 3)
        )
        school = fill(session, programme, weeks, 1)[0]
        for _ in range(weeks):
            make.make_unit(session, school)
        head = small.head(session, programme, term)
        session.flush()
        with counted_queries(session) as statements:
            school_term.build(session, school.id, head, datetime(2026, 6, 1, tzinfo=UTC), "test")
        counts.append(len([one for one in statements if one.startswith("SELECT")]))
    assert counts[0] == counts[1] <= 60


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.sampled_from(["B1", "B2"]), st.integers(0, 60)),
        min_size=1,
        max_size=8,
        unique_by=lambda one: one[:2],
    )
)
def test_what_schools_and_weeks_contributed_adds_up_to_the_figure(engine, entries):
    from tracker.db import writing

    with writing(engine) as session:
        programme, term = small.programme_with_term(session)
        school = small.school_of(session, programme)
        cabin = make.make_unit(session, school)
        small.fitting(session, cabin, FittingKind.FLUSH_TWO_STAGE, 1500, long_ml=4000, threshold_s=180)
        small.fitting(session, cabin, FittingKind.FLOOR_WASH, 2000, every_n=7)
        for place_, slot, visits in entries:
            day = date.fromordinal(small.FIRST.toordinal() + place_ + 2 * (place_ // 5))
            small.count(session, cabin, day, visits, slot=slot)
        report = build(session, programme, school, term)
        session.rollback()
    assert figure(report, "visits").value == sum(visits for *_, visits in entries)
    for line in report.lines():
        if line.figure.parts:
            assert math.isclose(sum(part.value for part in line.figure.parts), line.figure.value, abs_tol=1e-9), (
                line.key
            )


def test_weeks_without_school_are_not_expected(session):
    programme, term = small.programme_with_term(session)
    closure = m.programme.Closure(programme_id=programme.id, ref="C1", scope=ClosureScope.PROGRAMME, name="Holiday")
    closure.first_day, closure.last_day = small.WEEK_2, small.LAST
    make._add(session, closure)
    school = small.school_of(session, programme)
    cabin = make.make_unit(session, school)
    small.count(session, cabin, date(2026, 1, 12), 10)
    report = build(session, programme, school, term)
    assert figure(report, "visits").expected == 1
    chart = next(chart for section in report.sections for chart in section.charts if chart.key == "visits_week_chart")
    assert [(row["value"], row["expected"]) for row in chart.rows] == [(10.0, True), (None, False)]
