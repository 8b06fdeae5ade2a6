"""What the reports print beside their headlines, worked out by hand on a school with two weeks of term."""

from __future__ import annotations

from datetime import date

import pytest
from scipy.stats import poisson

from tests import make
from tests.reports import small_term as small
from tracker import models as m
from tracker.records import calendar, frames
from tracker.reports import export, impact_summary, programme_term, school_term
from tracker.reports.printing import print_figure
from tracker.vocabulary import Basis, CountWay, FittingKind, MoneyKind, Source, UnitKind, VisitPurpose

MONDAY = date(2026, 1, 12)


@pytest.fixture
def place(session):
    """Programme, term, school and one girls' cabin counted at every break."""
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    return programme, term, school, make.make_unit(session, school)


def of_school(session, place, as_of=small.AFTER):
    programme, term, school, _ = place
    return school_term.build(session, school.id, small.head(session, programme, term), as_of, "test")


def of_programme(session, place, builder=programme_term):
    programme, term, *_ = place
    return builder.build(session, programme.id, small.head(session, programme, term), small.AFTER, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def test_a_crowded_break_is_as_likely_to_end_in_time_as_ten_visits_fit_into_it(session, place):
    # 100 visits in a week of 10 breaks: 10 girls a break at 1 cabin, one after the other, 84.5 s each on average. All
    # are done in 20 minutes when 10 or more visits end in that time: P(Poisson(1200 / 84.5) >= 10); the same for 40.
    small.count(session, place[3], MONDAY, 100)
    report = of_school(session, place)
    expected = sum(poisson.sf(9, seconds / 84.5) for seconds in (1200, 2400)) / 2
    (row,) = table(report, "crowded_groups").rows
    assert row[0] == "girls" and row[1].unit == "share" and row[1].basis is Basis.MODELLED
    assert row[1].value == pytest.approx(expected, abs=1e-9)
    # 90 s and 79 s are the ends of the range
    ends = [sum(poisson.sf(9, seconds / each) for seconds in (1200, 2400)) / 2 for each in (90, 79)]
    assert (row[1].low, row[1].high) == pytest.approx(tuple(ends), abs=1e-9)
    assert (row[1].used, row[1].expected) == (10, 20)  # the week without visits has no pupils to expect
    assert "adults in public toilets" in next(one.intro for one in report.sections if one.key == "crowding")


def test_a_cabin_that_is_out_makes_the_worst_break(session, place):
    # Out on Tuesday 13 January at 10:00 for the first break only: nobody of the ten is done, all ten are left over.
    programme, _, _, cabin = place
    small.count(session, cabin, MONDAY, 100)
    small.outage(session, programme, cabin, small.at(date(2026, 1, 13), 9), small.at(date(2026, 1, 13), 11))
    first = table(of_school(session, place), "crowded_worst").rows[0]
    assert first[:3] == ("Tue 13 Jan", "B1", "girls") and first[4:7] == (0, 1, 10)
    assert (first[7].value, first[8].value) == (0.0, 10.0)


def test_pupils_to_a_usable_cabin_and_named_ratios(session, place):
    # 100 girls, one cabin, one break day looked at: 100 to a cabin. A code with 25 to one asks for 4, so 3 are missing.
    small.count(session, place[3], MONDAY, 100)
    report = of_school(session, place)
    (cabins,) = table(report, "cabins_needed").rows
    assert cabins[1:5] == ("girls, cabins", 1, 1.0, 100.0)
    code = next(row for row in table(report, "fixture_norms").rows if row[1:3] == ("toilets, girls", 25))
    assert code[3:6] == (4, 1, 3)


@pytest.mark.parametrize(
    ("chosen", "asked", "known"),
    [(3, [("latrines, girls", 25, 4)], "read"), (4, [("toilets, girls", 25, 4)], "from memory, not confirmed")],
)
def test_a_programme_that_chose_a_set_sees_that_one_by_name(session, place, chosen, asked, known):
    small.count(session, place[3], MONDAY, 100)
    setting = {"programme_id": place[0].id, "key": "fixture_norms", "from_day": date(2026, 1, 1), "value": chosen}
    make._add(session, m.programme.ProgrammeSetting(**setting))
    norms = table(of_school(session, place), "fixture_norms")
    assert [row[1:4] for row in norms.rows if "girls" in row[1]] == asked
    assert len({row[0] for row in norms.rows}) == 1 and norms.rows[0][0] in norms.note and f"({known})" in norms.note


def test_a_set_by_age_says_that_records_cannot_be_set_beside_it(session, place):
    setting = {"programme_id": place[0].id, "key": "fixture_norms", "from_day": date(2026, 1, 1), "value": 6}
    make._add(session, m.programme.ProgrammeSetting(**setting))
    norms = table(of_school(session, place), "fixture_norms")
    assert norms.rows == () and "by age" in norms.empty


def test_where_visits_outlast_the_break_no_number_of_cabins_is_enough(session, place):
    # 3,000 visits in 10 breaks of a week are 300 girls. Even with a cabin each all must be done in 20 minutes (half of
    # the breaks) or 40: (1 - exp(-1200 / 84.5))^300 = 0.9998. In a break of 4 minutes it is (1 - exp(-240 / 84.5))^300
    # = 10^-8 (from the formula), and no number is enough.
    cabin = place[3]
    for row in session.query(m.school.SchoolBreak).filter_by(code="B1"):
        row.end_min = row.start_min + 4
    session.flush()
    small.count(session, cabin, MONDAY, 3000)
    (row,) = table(of_school(session, place), "cabins_needed").rows
    assert row[6] == "no number of cabins is enough"


def test_the_estimate_for_all_weeks_stands_beside_the_reported_total(session, place):
    # One of two weeks reported, 5 school days each: 30 reported, 60 estimated, no interval from a single week.
    small.count(session, place[3], MONDAY, 30)
    for report in (of_school(session, place), of_programme(session, place, impact_summary)):
        (reported, estimate) = (row[1] for row in table(report, "visits_estimate").rows)
        assert (reported.value, estimate.value, estimate.low) == (30.0, 60.0, None)
        assert (estimate.basis, estimate.used, estimate.expected) == (Basis.MODELLED, 1, 2)
        assert "not reported to be like" in table(report, "visits_estimate").note


def test_visits_of_girls_and_of_boys(session, place):
    # 30 visits in the girls' block in a week of 5 days with 100 girls: 0.06. No block of the boys.
    small.count(session, place[3], MONDAY, 30)
    girls, boys = (row[1] for row in table(of_school(session, place), "visits_by_sex").rows)
    assert girls.value == pytest.approx(0.06) and not boys.recorded


def test_an_open_outage_counts_in_the_time_to_restore(session, place):
    # Three cabins: out for 2 h, for 4 h, and still out after weeks. Left unrestored after 2 h: 2/3, after 4 h: 1/3. So
    # the median is 4 h (product-limit estimator), and 2/3 were restored within 72 h.
    programme, _, school, cabin = place
    cabins = [cabin, *(make.make_unit(session, school) for _ in range(2))]
    for unit, hours in zip(cabins, (2, 4, None), strict=True):
        end = None if hours is None else small.at(date(2026, 1, 13), 8 + hours)
        small.outage(session, programme, unit, small.at(date(2026, 1, 13), 8), end)
    report = of_school(session, place)
    median, within = (table(report, "time_to_restore").rows[place][1] for place in (0, 1))
    assert (median.value, median.used, median.expected) == (4.0, 2, 3)
    assert within.value == pytest.approx(2 / 3)
    assert [row[:3] for row in table(report, "restore_by_kind").rows] == [("Cabins", 3, 2)]


def service(session, programme, unit, day: date) -> None:
    row = m.outages.ServiceVisit(programme_id=programme.id, ref=f"V{next(make._numbers)}", unit_id=unit.id)
    row.purpose, row.asked_on, row.done_at, row.done = VisitPurpose.SERVICE, day, small.at(day, 11), "Looked after"
    make._add(session, row)


def agreement(session, programme, school, every: int) -> None:
    row = m.agreements.Agreement(programme_id=programme.id, code=f"AG{next(make._numbers)}", school_id=school.id)
    row.buyer, row.accepted_on, row.promise_hours, row.visit_every_days = "Fund", make.FIRST, 72, every
    make._add(session, row)


def test_the_engineer_is_held_against_the_agreement_with_visits_before_the_term(session, place):
    # Visits on the 6th, before the term, and on the 15th: 9 days, no more than 10. The 8 days since are not over yet.
    programme, _, school, cabin = place
    for day in (date(2026, 1, 6), date(2026, 1, 15)):
        service(session, programme, cabin, day)
    agreement(session, programme, school, 10)
    (row,) = table(of_school(session, place), "service_visits").rows
    assert row[1:5] == (10, "agreement", 1, 9) and row[5].value == 1.0


def test_without_an_agreement_the_programmes_setting_holds(session, place):
    # No visit since the school came on 1 January: 22 days to the 23rd, which is not over the setting of 30.
    (row,) = table(of_school(session, place), "service_visits").rows
    assert row[1:5] == (30, "programme's setting", 0, 22)


def sold(session, programme, school, given: int, ran_out: bool):
    """A machine that gave out so many in week 2, and ran out on one of its days or on none."""
    unit, machine, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, machine, product, date(2026, 1, 16), 100)
    small.move(session, programme, (cupboard, machine), lot, date(2026, 1, 19), 0)
    small.stock(session, machine, product, date(2026, 1, 23), 100 - given)
    for day in range(19, 24):
        row = m.supplies.MachineDay(unit_id=unit.id, source=Source.TALLY, day=date(2026, 1, day))
        row.ran_out = ran_out and day == 23
        make._add(session, row)
    return unit


def rounds_ahead(session, programme) -> None:
    make.make_term(session, programme, first=date(2026, 1, 26), last=date(2026, 2, 20))
    for day in (date(2026, 2, 2), date(2026, 2, 16)):
        make._add(session, m.supplies.PlannedRound(programme_id=programme.id, day=day))


def test_demand_stands_in_the_restocking_list_and_in_the_forecast(session, place):
    # 50 in five days, never out: 10 a day. Fifteen school days before the round of 16 February: 150.
    programme, _, school, _ = place
    rounds_ahead(session, programme)
    sold(session, programme, school, 50, ran_out=False)
    calendar.rebuild(session, programme.id)
    report = of_programme(session, place)
    (row,) = table(report, "restock").rows
    assert row[6].value == pytest.approx(10.0) and row[6].about_people
    assert row[7] == pytest.approx(poisson.sf(50, 50.0))  # 50 are left, 5 school days before the next round
    (ahead,) = table(report, "forecast").rows
    assert ahead[1] == 15 and ahead[2].value == pytest.approx(150.0)
    assert ahead[2].low < 150 < ahead[2].high


def test_a_machine_that_always_ran_out_gives_only_the_least_demand(session, place):
    # 50 in five days, and it ran out: at least 10 a day, 150 in the fifteen days ahead.
    programme, _, school, _ = place
    rounds_ahead(session, programme)
    sold(session, programme, school, 50, ran_out=True)
    calendar.rebuild(session, programme.id)
    report = of_programme(session, place)
    assert table(report, "restock").rows[0][6] == "at least 10.0"
    (ahead,) = table(report, "forecast").rows
    assert ahead[2].value == pytest.approx(150.0) and ahead[2].low is None and ahead[3].startswith("at least")


def test_given_out_against_need_names_its_curve_and_every_assumption(session, place):
    # 100 girls of 12; the curve at 12.5: 0.3043 (published mean 13.13, SD 1.23). 10 school days: 100 x 0.3043 x 8 x
    # 10 / 28 x 0.5 = 43.47. Given out 50: 1.150 of it.
    programme, _, school, _ = place
    sold(session, programme, school, 50, ran_out=False)
    report = of_school(session, place)
    given, needed, share = (row[1] for row in table(report, "need").rows)
    assert given.value == 50.0 and needed.value == pytest.approx(43.47, abs=0.01)
    assert share.value == pytest.approx(50 / 43.47, rel=1e-3) and share.low < share.value < share.high
    rests = table(report, "need_assumptions").rows
    assert [row[0].split(",")[0] for row in rests][:2] == ["Mean age at menarche", "Napkins a cycle"]
    assert all(row[4] for row in rests)


@pytest.mark.parametrize(("given", "words"), [(3, "fewer than 10"), (50, "50 napkins")])
def test_the_funder_sees_need_only_where_no_small_count_follows_from_it(session, place, given, words):
    programme, _, school, _ = place
    sold(session, programme, school, given, ran_out=False)
    report = of_programme(session, place, impact_summary)
    shown, _, share = (row[1] for row in table(report, "need").rows)
    assert print_figure(shown).value == words
    assert share.recorded == (given == 50)


def test_answers_before_and_after_are_those_of_the_same_pupils(session, place):
    # 34 right twice, 12 only before, 28 only after, 65 never: 46 and 62 of 139; 16 / 139 = 11.5 percentage points.
    programme, _, school, _ = place
    small.lesson(session, programme, school, date(2026, 1, 13), {"girls": 139})
    lesson = session.query(m.sessions.AwarenessSession).one()
    totals = {"right_right": 34, "right_wrong": 12, "wrong_right": 28, "wrong_wrong": 65}
    make._add(session, m.sessions.Quiz(session_id=lesson.id, item="when-to-wash", **totals))
    (row,) = table(of_school(session, place), "knowledge").rows
    assert row[:2] == ("when to wash", 1)
    assert (row[2].value, row[3].value) == pytest.approx((46 / 139, 62 / 139))
    assert row[4].value == pytest.approx(11.51, abs=0.01) and row[4].unit == "percentage points"


def test_uptake_says_when_no_lesson_was_about_it(session, place):
    programme, _, school, _ = place
    small.lesson(session, programme, school, date(2026, 1, 13), {"girls": 30})  # on hand washing
    found = table(of_programme(session, place), "uptake")
    assert found.rows == () and found.empty.startswith("No lesson")


def test_money_is_printed_in_its_main_unit_with_what_is_not_recorded(session, place):
    # Service 9.00, water 3.50, vending brought in 15.00: -2.50. 100 visits, both weeks reported: -0.025 each.
    programme, _, school, cabin = place
    for day, visits in ((MONDAY, 60), (date(2026, 1, 19), 40)):
        small.count(session, cabin, day, visits)
    for kind, minor in ((MoneyKind.SERVICE, 900), (MoneyKind.WATER, 350), (MoneyKind.VEND_INCOME, 1500)):
        row = m.supplies.MoneyEntry(programme_id=programme.id, ref=f"N{next(make._numbers)}", school_id=school.id)
        row.day, row.kind, row.minor = MONDAY, kind, minor
        make._add(session, row)
    report = of_programme(session, place)
    lines = {label: print_figure(figure).value for label, figure in table(report, "cost_total").rows}
    assert lines["Net cost"] == "-2.50 XTS" and lines["Net cost for each visit"] == "-0.025 XTS per visit"
    assert lines["Net cost for each pupil of the term"] == "-0.013 XTS per pupil and term"  # 200 pupils
    assert lines["Supplies"] == "not recorded"
    (row,) = table(report, "cost_by_school").rows
    assert row[2:4] == (1250.0, 1500.0) and row[4].value == -250.0 and row[6] == "supplies, power"
    heads = [export.heading(column) for column in table(report, "cost_by_school").columns]
    assert heads[2] == "Costs (XTS)"


def test_a_fitting_is_compared_before_and_after_and_with_units_without_it(session, place):
    # 3 L a flush. From the second week on one cabin takes 640 per mille: 1.92 L, the other stays: -1.08 L. One school,
    # so there is no interval and no evidence; nobody declared it.
    _, _, school, cabin = place
    other = make.make_unit(session, school)
    for unit in (cabin, other):
        small.fitting(session, unit, FittingKind.FLUSH_FIXED, 3000)
        for day in (MONDAY, date(2026, 1, 19)):
            small.count(session, unit, day, 30)
    small.fitting(session, cabin, FittingKind.VACUUM, 0, factor_permille=640, from_day=date(2026, 1, 19))
    report = of_programme(session, place)
    litres = table(report, "fitting_vacuum").rows[0]
    assert [cell.value for cell in litres[1:6]] == pytest.approx([3.0, 1.92, 3.0, 3.0, -1.08])
    assert litres[5].low is None and litres[7] == "none"
    said = [row[0] for row in table(report, "fitting_vacuum_evidence").rows]
    assert "This comparison was not declared before it started." in said


def test_where_no_fitting_came_there_is_nothing_to_compare(session, place):
    small.fitting(session, place[3], FittingKind.FLUSH_FIXED, 3000)
    assert "fittings" not in {section.key for section in of_programme(session, place).sections}


def test_menstrual_health_items_stand_only_where_they_were_answered(session, place):
    _, term, school, _ = place
    assert "menstrual_items" not in {one.key for one in of_school(session, place).tables()}
    answer = m.school.InspectionAnswer(school_id=school.id, term_id=term.id, question="mh_bin", answer="yes")
    answer.seen_on = MONDAY
    make._add(session, answer)
    rows = table(of_school(session, place), "menstrual_items").rows
    assert [row[1] for row in rows][:2] == ["yes", "not classified"]


def test_litres_stand_beside_norms_with_their_names(session, place):
    # 2 L a visit lies in the 1 to 3 L of a pour flush, and below the 6 to 9 L of a cistern.
    small.fitting(session, place[3], FittingKind.FLUSH_FIXED, 2000)
    small.count(session, place[3], MONDAY, 30)
    places = {row[0].split(" (")[0]: row[4] for row in table(of_school(session, place), "water_norms").rows}
    assert places["pour flush"] == "within" and places["modern cistern flush"] == "below"


def test_the_usual_age_of_a_grade_is_that_of_most_of_its_pupils(session, place):
    programme = place[0]
    for age, permille, first in ((11, 700, make.FIRST), (12, 300, make.FIRST), (12, 900, date(2026, 1, 10))):
        row = m.programme.GradeAge(programme_id=programme.id, grade="6", age=age, permille=permille, from_day=first)
        make._add(session, row)
    scope = frames.Scope(programme.id, small.FIRST, small.LAST)
    assert frames.grade_ages(session, scope) == {"6": 12}
    assert frames.grade_ages(session, frames.Scope(programme.id, make.FIRST, date(2026, 1, 9))) == {"6": 11}


def test_a_school_without_any_cabin_has_its_report(session):
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    make.make_unit(session, school, kind=UnitKind.TANK, way=CountWay.NONE)
    report = of_school(session, (programme, term, school, None))
    assert table(report, "crowded_groups").rows == () and table(report, "cabins_needed").rows == ()
    assert not table(report, "visits_estimate").rows[1][1].recorded
