"""Estimated need, against published curves. Tables of shares: recomputed from the means and deviations read."""

import math

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures import need
from tracker.measures.figure import Figure
from tracker.measures.need import (
    ASSUMPTIONS,
    CURVES,
    Assumption,
    GirlsByAge,
    NeedAssumptions,
    Shape,
    changes_needed,
    estimated_need,
    girls_by_age,
    girls_past_menarche,
    given_out_against_need,
    menstruating_on_a_day,
    pads_needed,
    past_menarche,
)
from tracker.vocabulary import Basis

GIRLS = {11: 40, 12: 42, 13: 38, 14: 36, 15: 30}
DAY = pd.Timestamp("2030-03-04")
AGES = range(10, 17)


@pytest.mark.parametrize(
    ("curve", "shape", "shares"),
    [
        # Means and deviations read in the studies named with each curve; shares recomputed at age + ½.
        ("men.nind", Shape.NORMAL, [0.0162, 0.0926, 0.3043, 0.6182, 0.8673, 0.9730, 0.9969]),
        ("men.pune", Shape.NORMAL, [0.0217, 0.1431, 0.4545, 0.7990, 0.9633, 0.9970, 0.9999]),
        ("men.teh", Shape.NORMAL, [0.0195, 0.1042, 0.3258, 0.6386, 0.8772, 0.9755, 0.9972]),
        ("men.nind", Shape.LOGIT, [0.0203, 0.0829, 0.2831, 0.6331, 0.8829, 0.9705, 0.9931]),
    ],
)
def test_share_past_menarche_by_age(curve, shape, shares):
    assert [past_menarche(age, CURVES[curve], shape) for age in AGES] == pytest.approx(shares, abs=5e-5)


def test_an_age_in_completed_years_is_read_half_a_year_later():
    # The naive reading at exactly 12 gives 0.1791, not 0.3043.
    curve = CURVES["men.nind"]
    naive = stats.norm.cdf((12 - curve.mean) / curve.deviation)
    assert past_menarche(12, curve) - naive > 0.1
    assert past_menarche(12, curve) == pytest.approx(stats.norm.cdf((12.5 - curve.mean) / curve.deviation))
    with pytest.raises(ValueError, match="not known"):
        past_menarche(-1, curve)


def test_girls_past_menarche_of_a_school():
    # 186 girls: 100.39 by the first curve, 119.76 by the second (arithmetic on the table above).
    assert sum(GIRLS.values()) == 186
    assert girls_past_menarche(GIRLS, CURVES["men.nind"]) == pytest.approx(100.39, abs=0.005)
    assert girls_past_menarche(GIRLS, CURVES["men.pune"]) == pytest.approx(119.76, abs=0.005)


def test_planning_figures():
    # 5 days of 28 (read); 8 pads a month (read) and 15 (from memory) for 100 girls over 3 months; a change every
    # 6 hours (read): 4 in 24 hours, at least 1 in a school day of 6.
    assert menstruating_on_a_day(100) == pytest.approx(17.86, abs=0.005)
    assert pads_needed(100, 3, 8, 1) == 2400
    assert pads_needed(100, 3, 15, 1) == 4500
    assert (changes_needed(24), changes_needed(6), changes_needed(5.9)) == (4, 1, 0)


def test_need_of_a_term_by_hand():
    # 56 school days are 2 cycles of 28 days: 100.39 girls × 8 pads × 2 × half of them at school.
    found = estimated_need(GirlsByAge(GIRLS, 0), 56)
    past = girls_past_menarche(GIRLS, CURVES["men.nind"])
    assert found.value == pytest.approx(past * 8 * 2 * 0.5)
    assert (found.basis, found.unit, found.about_people) == (Basis.ESTIMATED, "napkins", True)
    assert (found.used, found.expected, found.records) == (186, 186, "girls")
    # Least: the curve with fewest, 8 pads, cycles of 38 days, a quarter; greatest: most, 15, 24 days, all.
    every = [girls_past_menarche(GIRLS, curve, shape) for curve in CURVES.values() for shape in Shape]
    assert found.low == pytest.approx(min(every) * 8 * 56 / 38 * 0.25)
    assert found.high == pytest.approx(max(every) * 15 * 56 / 24 * 1.0)


def test_girls_of_unknown_age_widen_the_bounds_and_count_as_the_others_in_the_value():
    known, some = estimated_need(GirlsByAge(GIRLS, 0), 56), estimated_need(GirlsByAge(GIRLS, 18.6), 56)
    assert some.value == pytest.approx(known.value * 1.1)
    assert some.low == known.low
    assert some.high == pytest.approx(known.high + 18.6 * 15 * 56 / 24)
    assert (some.used, some.expected) == (186, 205)
    assert estimated_need(GirlsByAge({}, 40), 56).value is None
    assert estimated_need(GirlsByAge({8: 30}, 0), 56).value == pytest.approx(0, abs=0.1)


def test_the_curve_is_named_and_a_wrong_name_refused():
    second = estimated_need(GirlsByAge(GIRLS, 0), 56, curve="men.pune")
    assert second.value > estimated_need(GirlsByAge(GIRLS, 0), 56).value
    with pytest.raises(ValueError, match=r"there is no curve other.*men\.nind"):
        estimated_need(GirlsByAge(GIRLS, 0), 56, curve="other")
    assert all(curve.source for curve in CURVES.values())
    assert all(one.source for one in (ASSUMPTIONS.pads, ASSUMPTIONS.cycle_days, ASSUMPTIONS.school_share))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.dictionaries(st.integers(8, 19), st.integers(1, 80), min_size=1), st.integers(0, 30), st.integers(0, 120))
def test_every_curve_and_assumption_stays_within_the_bounds(girls, unknown, days):
    for curve in CURVES:
        for shape in Shape:
            found = estimated_need(GirlsByAge(girls, unknown), days, curve=curve, shape=shape)
            assert found.low <= found.value <= found.high + 1e-9


def enrolment(*rows):
    names = ["school_id", "sex", "grade", "age", "pupils", "from_day", "until_day"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(from_day=pd.to_datetime(frame["from_day"]), until_day=pd.to_datetime(frame["until_day"]))


def test_the_age_of_a_grade_stands_in_where_no_age_is_known():
    rows = enrolment(
        (1, "girls", "6", 11, 20, "2030-01-01", None),
        (1, "girls", "6", -1, 5, "2030-01-01", None),  # by its grade: 11
        (1, "girls", "9", -1, 7, "2030-01-01", None),  # a grade without an age
        (1, "boys", "6", 11, 30, "2030-01-01", None),
        (1, "girls", "7", 12, 9, "2030-01-01", "2030-03-03"),  # ended the day before
        (1, "girls", "7", 12, 8, "2030-03-04", "2030-03-04"),  # first and last day count
        (1, "girls", "7", 12, 99, "2030-03-05", None),  # not yet
    )
    found = girls_by_age(rows, {"6": 11}, DAY)
    assert found == GirlsByAge({11: 25, 12: 8}, 7)
    assert found.total == 40


def given_out(value, low=None, high=None):
    return Figure(value, "napkins", Basis.COUNTED, low=low, high=high, used=20, expected=24, about_people=True)


def test_given_out_against_estimated_need():
    wanted = Figure(800.0, "napkins", Basis.ESTIMATED, low=400.0, high=2000.0)
    found = given_out_against_need(given_out(600.0), wanted)
    assert (found.value, found.low, found.high) == (0.75, 0.3, 1.5)
    assert (found.basis, found.used, found.expected) == (Basis.ESTIMATED, 20, 24)
    wide = given_out_against_need(given_out(600.0, 500.0, 700.0), wanted)
    assert (wide.low, wide.high) == (0.25, 1.75)


def test_without_need_or_record_there_is_no_share():
    nothing = Figure(0.0, "napkins", Basis.ESTIMATED, low=0.0, high=0.0)
    assert given_out_against_need(given_out(600.0), nothing).value is None
    assert given_out_against_need(given_out(None), Figure(8.0, "napkins", Basis.ESTIMATED)).value is None
    assert given_out_against_need(given_out(6.0), Figure(8.0, "napkins", Basis.ESTIMATED)).low is None


def test_it_is_never_called_coverage():
    found = given_out_against_need(given_out(6.0), estimated_need(GirlsByAge(GIRLS, 0), 56))
    assert not any("coverage" in words.lower() for words in (found.unit, found.note, found.records))
    assert "coverage" not in " ".join(vars(need)).lower()


def test_assumptions_out_of_their_range_are_refused():
    for bad in ((9, 1, 8), (1, 2, 3), (1, -1, 3), (1, 1, math.inf)):
        with pytest.raises(ValueError, match="range"):
            Assumption(*bad, "somebody")
    own = NeedAssumptions(school_share=Assumption(1, 1, 1, "the school gives all"))
    assert estimated_need(GirlsByAge(GIRLS, 0), 56, assumptions=own).value == pytest.approx(
        2 * estimated_need(GirlsByAge(GIRLS, 0), 56).value
    )


@pytest.mark.parametrize(
    "act",
    [
        lambda: menstruating_on_a_day(10, 5, 0),
        lambda: changes_needed(-1),
        lambda: pads_needed(-1, 1, 1, 1),
    ],
)
def test_senseless_numbers_are_refused(act):
    with pytest.raises(ValueError, match=r"must|lie"):
        act()
