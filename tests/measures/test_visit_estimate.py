"""Visits of unit-weeks that nobody reported. Worked by hand beside each test (no outside source), and against the
finite population formulas of W. G. Cochran, Sampling Techniques, ch. 6 and 11 (from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.measures.frames_by_hand import enrolment, occasions, tallies, unit_weeks, units
from tracker.measures import visits
from tracker.measures.visit_estimate import ALIKE, NO_SPREAD, estimated_visits, visits_per_pupil_day_by_sex
from tracker.vocabulary import Basis, Sex

FOUR = occasions(*((1, number, 10, 5) for number in (1, 2, 3, 4)))


def cabins(count, **more):
    """One cabin at each of so many schools; unit and school have the same number."""
    return units(*({"unit_id": n, "school_id": n, "school": f"S{n:02d}"} | more for n in range(1, count + 1)))


def weeks_of(count, last=4):
    return occasions(*((school, number, 10, 5) for school in range(1, count + 1) for number in range(1, last + 1)))


def test_the_missing_week_of_one_cabin():
    # 100, 120, 110 of four weeks: mean 110, total 440; s² = 100; var = 4²·(1 − 3/4)·100/3 = 133.33; t(2) = 4.3027.
    found = estimated_visits(unit_weeks((1, 1, 100), (1, 2, 120), (1, 3, 110)), tallies(), FOUR, units({}))
    assert (found.reported.value, found.estimate.value) == (330, pytest.approx(440))
    half = stats.t.ppf(0.975, 2) * math.sqrt(400 / 3)
    assert found.estimate.high - 440 == pytest.approx(half)
    assert 440 - found.estimate.low == pytest.approx(half)
    assert (found.estimate.used, found.estimate.expected) == (3, 4)
    assert found.estimate.basis is Basis.MODELLED
    assert found.estimate.parts == ()
    assert ALIKE in found.estimate.note


def test_where_everything_was_reported_both_are_the_same_figure():
    rows = unit_weeks(*((1, n, 10 * n) for n in (1, 2, 3, 4)))
    found = estimated_visits(rows, tallies(), FOUR, units({}))
    assert found.estimate == found.reported == visits.visits_total(rows, tallies(), FOUR, units({}))


def test_where_nothing_was_reported_nothing_is_estimated():
    found = estimated_visits(unit_weeks(), tallies(), FOUR, units({}))
    assert (found.reported.value, found.estimate.value, found.estimate.expected) == (None, None, 4)


def test_a_week_with_fewer_school_days_is_expected_to_have_fewer_visits():
    # 20 visits a school day on 5 days; the week that is missing has 2: 100 + 40.
    short = occasions((1, 1, 10, 5), (1, 2, 4, 2))
    found = estimated_visits(unit_weeks((1, 1, 100)), tallies(), short, units({}))
    assert found.estimate.value == pytest.approx(140)
    assert found.estimate.low is None
    assert NO_SPREAD in found.estimate.note


def test_a_cabin_and_a_urinal_each_keep_their_own_rate():
    # The urinal's week 2 is missing: 300, as in its week 1, and not the cabin's 100.
    both = units({}, {"unit_id": 2, "kind": "urinal"})
    found = estimated_visits(
        unit_weeks((1, 1, 100), (2, 1, 300), (1, 2, 100)), tallies(), occasions((1, 1, 10, 5), (1, 2, 10, 5)), both
    )
    assert (found.reported.value, found.estimate.value) == (500, pytest.approx(800))


def test_a_unit_that_was_never_recorded_is_like_its_schools_units_of_its_kind():
    two = units({}, {"unit_id": 2, "group": "boys"}, {"unit_id": 3, "kind": "urinal", "group": "boys"})
    one_week = occasions((1, 1, 10, 5))
    found = estimated_visits(unit_weeks((1, 1, 100), (3, 1, 400)), tallies(), one_week, two)
    assert found.estimate.value == pytest.approx(600)


def test_schools_that_reported_nothing_are_like_the_others_by_their_pupils():
    # Three of four schools reported all weeks: 400, 480, 440 visits of 100, 120, 90 pupils; the fourth has 50.
    # Size in pupil-days, 20 days: R = 1320 ÷ 6200; total = R × 7200 = 1532.9. Half-width by the ratio formula.
    schools, days = cabins(4), weeks_of(4)
    rows = unit_weeks(*((s, n, v / 4) for s, v in ((1, 400), (2, 480), (3, 440)) for n in (1, 2, 3, 4)))
    rolls = enrolment(*({"school_id": s, "pupils": p} for s, p in ((1, 100), (2, 120), (3, 90), (4, 50))))
    found = estimated_visits(rows, tallies(), days, schools, enrolment=rolls)
    y, x = np.array([400, 480, 440]), np.array([2000, 2400, 1800])
    ratio = y.sum() / x.sum()
    assert found.estimate.value == pytest.approx(ratio * 7200)
    variance = (1 - 3 / 4) * 3 / 2 * ((y - ratio * x) ** 2).sum() * (7200 / 6200) ** 2
    assert found.estimate.high - found.estimate.value == pytest.approx(stats.t.ppf(0.975, 2) * math.sqrt(variance))
    assert "by their pupils" in found.estimate.note
    assert "by their units" in estimated_visits(rows, tallies(), days, schools).estimate.note


def test_one_school_of_several_gives_no_interval_and_says_so():
    found = estimated_visits(unit_weeks((1, 1, 100), (1, 2, 110)), tallies(), weeks_of(3, 2), cabins(3))
    assert found.estimate.value == pytest.approx(630)
    assert (found.estimate.low, found.estimate.high) == (None, None)
    assert NO_SPREAD in found.estimate.note


def test_a_school_with_one_week_takes_the_spread_of_the_others():
    # School 1: 90, 110 of four weeks: CV² = 200/100² = 0.02, var = 16·(1/2)·200/2 = 800. School 2: 50 of four weeks:
    # 200, var = 4²·(3/4)·(0.02·50²)/1 = 600. t(1).
    rows = unit_weeks((1, 1, 90), (1, 2, 110), (2, 1, 50))
    found = estimated_visits(rows, tallies(), weeks_of(2), cabins(2))
    assert found.estimate.value == pytest.approx(600)
    assert found.estimate.high - 600 == pytest.approx(stats.t.ppf(0.975, 1) * math.sqrt(1400))


def test_drawn_breaks_bring_their_own_variance():
    # Two of ten breaks: 10 and 14, mean 12, 120 a week, both weeks alike; the third week is missing.
    # One week: 10²·(1 − 2/10)·8/2 = 320. Reported: t(2)·√640. Estimate: the same ÷ √(2/3).
    drawn = tallies((1, 1, 0, 10), (1, 1, 1, 14), (1, 2, 0, 10), (1, 2, 1, 14))
    days = weeks_of(1, 3)
    rows = unit_weeks((1, 1, 120), (1, 2, 120), way="drawn", var=320.0)
    found = estimated_visits(rows, drawn, days, units({"count_way": "drawn"}))
    half = stats.t.ppf(0.975, 2) * math.sqrt(640)
    assert found.reported.high - 240 == pytest.approx(half)
    assert found.estimate.value == pytest.approx(360)
    assert found.estimate.high - 360 == pytest.approx(half * math.sqrt(1.5))
    assert visits.BREAKS_ONLY in found.estimate.note


def hidden(share, schools=12, weeks=10, seed=7):
    """A programme with a share of its unit-weeks hidden at random; also the true total."""
    random = np.random.default_rng(seed)
    full = [
        (school, week, float(random.poisson(60 + 15 * school)))
        for school in range(1, schools + 1)
        for week in range(1, weeks + 1)
    ]
    kept = [row for row, luck in zip(full, random.random(len(full)), strict=True) if luck >= share]
    truth = sum(row[2] for row in full)
    found = estimated_visits(unit_weeks(*kept), tallies(), weeks_of(schools, weeks), cabins(schools))
    return found, truth


def test_hiding_30_percent_of_the_records_lowers_the_total_widens_the_interval_and_is_said():
    full, truth = hidden(0.0)
    less, same = hidden(0.3)
    assert truth == same == full.reported.value == full.estimate.value
    assert less.reported.value < 0.8 * truth
    assert less.reported.used < less.reported.expected
    assert full.estimate.low is None and less.estimate.high > less.estimate.low
    assert ALIKE in less.estimate.note and ALIKE not in full.estimate.note
    more, _ = hidden(0.6)
    assert more.estimate.high - more.estimate.low > less.estimate.high - less.estimate.low


def test_the_interval_holds_the_true_total_about_19_times_in_20():
    # Of 40 programmes with 30 % hidden, 95 % limits: fewer than 34 hits has a chance of 0.3 % (binomial).
    assert stats.binom.cdf(33, 40, 0.95) < 0.005
    found = [hidden(0.3, seed=seed) for seed in range(40)]
    assert sum(each.estimate.low <= truth <= each.estimate.high for each, truth in found) >= 34


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 3), st.integers(1, 4), st.integers(0, 200)), unique_by=lambda r: r[:2], min_size=1
    ),
    st.integers(1, 5),
)
def test_the_estimate_is_never_below_what_was_reported_and_scales_with_it(rows, factor):
    def of(times):
        seen = unit_weeks(*((u, n, v * times) for u, n, v in rows))
        return estimated_visits(seen, tallies(), weeks_of(3), cabins(3))

    once, more = of(1), of(factor)
    assert once.reported.value == sum(v for _, _, v in rows)
    assert once.estimate.value >= once.reported.value - 1e-9
    assert more.estimate.value == pytest.approx(factor * once.estimate.value)
    if once.estimate.low is not None:
        assert once.reported.value <= once.estimate.low + 1e-6 and once.estimate.low <= once.estimate.value + 1e-9


# Girls and boys


def test_visits_of_a_girl_and_of_a_boy_a_day():
    # Girls' cabin 300, boys' urinal 100, everyone's cabin 100 shared 60 to 40. 60 girls and 40 boys × 5 days:
    # girls 360 ÷ 300 = 1.2; boys 140 ÷ 200 = 0.7. The staff cabin is left out.
    every = units(
        {},
        {"unit_id": 2, "group": "boys", "kind": "urinal"},
        {"unit_id": 3, "group": "everyone"},
        {"unit_id": 4, "group": "staff"},
    )
    rolls = enrolment({"pupils": 60}, {"sex": "boys", "pupils": 40})
    rows = unit_weeks((1, 1, 300), (2, 1, 100), (3, 1, 100), (4, 1, 999))
    found = visits_per_pupil_day_by_sex(rows, tallies(), occasions((1, 1, 10, 5)), every, rolls)
    assert found[Sex.GIRLS].value == pytest.approx(1.2)
    assert found[Sex.BOYS].value == pytest.approx(0.7)
    assert found[Sex.GIRLS].unit == "visits per girl and school day"
    assert found[Sex.GIRLS].basis is Basis.MODELLED and "shared by the enrolled" in found[Sex.GIRLS].note
    assert (found[Sex.BOYS].used, found[Sex.BOYS].expected, found[Sex.BOYS].low) == (2, 2, None)


def test_where_weeks_are_missing_the_interval_is_that_of_schools():
    # Girls of three schools: 1, 1.2 and 0.8 visits a day over the weeks reported; one week of school 3 is missing.
    rolls = enrolment(*({"school_id": s, "pupils": 100} for s in (1, 2, 3)))
    rows = unit_weeks((1, 1, 500), (1, 2, 500), (2, 1, 600), (2, 2, 600), (3, 1, 400))
    found = visits_per_pupil_day_by_sex(rows, tallies(), weeks_of(3, 2), cabins(3), rolls)[Sex.GIRLS]
    y, x = np.array([1000, 1200, 400]), np.array([1000, 1000, 500])
    rate = y.sum() / x.sum()
    se = math.sqrt(3 / 2 * ((y - rate * x) ** 2).sum()) / x.sum()
    assert found.value == pytest.approx(rate)
    assert found.high - rate == pytest.approx(stats.t.ppf(0.975, 2) * se)
    assert (found.used, found.expected) == (5, 6)


def test_boys_without_a_block_have_no_figure():
    rolls = enrolment({"pupils": 60}, {"sex": "boys", "pupils": 40})
    found = visits_per_pupil_day_by_sex(unit_weeks((1, 1, 300)), tallies(), FOUR, units({}), rolls)
    assert found[Sex.BOYS].value is None
