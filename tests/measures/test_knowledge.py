"""Knowledge before and after, and reach by sex and grade. Published rows are named; the rest is worked by hand."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.differences import Pairs
from tracker.measures.knowledge import (
    BY_SCHOOL,
    ONE_SCHOOL,
    Right,
    paired_change,
    school_difference,
    unpaired_change,
)
from tracker.measures.sessions import reach_by_group, reach_by_sex_and_grade


@pytest.mark.parametrize(
    ("no_yes", "yes_no", "plain", "plain_p", "corrected", "corrected_p", "exact"),
    [
        # 28 / 12: table around an education session, Cleophas and Zwinderman, ch. 41 (read); tests recomputed.
        (28, 12, 6.4, 0.0114, 5.625, 0.0177, 0.0166),
        # 12 / 2: Armitage and Berry 1994, p. 127 (corrected and exact read).
        (12, 2, 7.1429, 0.0075, 5.7857, 0.0162, 0.0129),
        # 11 / 3 (arithmetic): plain and exact fall on opposite sides of 0.05.
        (11, 3, 4.5714, 0.0325, 3.5, 0.0614, 0.0574),
    ],
)
def test_mcnemar_of_published_tables(no_yes, yes_no, plain, plain_p, corrected, corrected_p, exact):
    test = paired_change([Pairs(20, yes_no, no_yes, 16)]).test
    assert (test.chi2, test.corrected) == (pytest.approx(plain, abs=5e-5), pytest.approx(corrected, abs=5e-5))
    found = (test.chi2_p, test.corrected_p, test.exact_p)
    assert found == pytest.approx((plain_p, corrected_p, exact), abs=5e-5)
    assert test.exact_p == pytest.approx(stats.binomtest(no_yes, no_yes + yes_no, 0.5).pvalue)


def test_nobody_changed_is_no_division_by_zero():
    found = paired_change([Pairs(30, 0, 0, 10)])
    assert (found.test.exact_p, found.test.chi2, found.difference.value) == (1, None, 0)


def test_pairs_of_one_school_carry_newcombes_paired_limits():
    # PRP-08: Newcombe 1998, paired method 10, from memory, unconfirmed: 36, 12, 2, 0.
    found = paired_change([Pairs(36, 2, 12, 0)])
    assert found.difference.value == pytest.approx(0.2)
    assert found.difference.low == pytest.approx(0.0569296, abs=1e-6)
    assert found.difference.high == pytest.approx(0.3404276, abs=1e-6)
    assert (found.before.value, found.after.value) == (pytest.approx(0.76), pytest.approx(0.96))
    assert ONE_SCHOOL in found.difference.note and found.paired
    assert "does not show that the lesson was the cause" in found.difference.note


def test_pairs_of_several_schools_have_limits_by_school():
    # Gains 10 of 40, 2 of 40, 12 of 20: 24 ÷ 100; e = 10 − 9.6, 2 − 9.6, 12 − 4.8 = 0.4, −7.6, 7.2.
    schools = [Pairs(10, 0, 10, 20), Pairs(10, 5, 7, 18), Pairs(4, 1, 13, 2)]
    found = paired_change(schools)
    squares = 0.4**2 + 7.6**2 + 7.2**2
    half = stats.t.ppf(0.975, 2) * math.sqrt(3 / 2 * squares) / 100
    assert found.difference.value == pytest.approx(0.24)
    assert found.difference.high == pytest.approx(0.24 + half)
    assert found.difference.low == pytest.approx(0.24 - half)
    assert BY_SCHOOL in found.difference.note
    assert found.before.used == 100
    # The naive form, as if all pupils were of one school, would be far too narrow.
    alone = paired_change([Pairs(24, 6, 30, 40)]).difference
    assert found.difference.high - found.difference.low > 2 * (alone.high - alone.low)


def test_unpaired_answers_are_said_to_be_unpaired():
    # Washing hands after the toilet, 53 of 461 before and 237 of 383 after, events not paired (BMC Public Health
    # 2019, read): 11.50 and 61.88 %, 50.38 points more.
    found = unpaired_change([(Right(53, 461), Right(237, 383))])
    assert found.before.value == pytest.approx(0.1150, abs=5e-5)
    assert found.after.value == pytest.approx(0.6188, abs=5e-5)
    assert found.difference.value == pytest.approx(0.5038, abs=5e-5)
    assert found.difference.low < 0.5038 < found.difference.high
    assert not found.paired and found.test is None
    assert "not the same pupils" in found.difference.note and ONE_SCHOOL in found.difference.note


@pytest.mark.parametrize(
    ("right", "answered", "percent"),
    [(186, 191, 97.38), (143, 191, 74.87), (105, 191, 54.97), (450, 473, 95.1), (188, 232, 81.0), (181, 218, 83.0)],
)
def test_shares_as_printed_in_two_studies(right, answered, percent):
    # BMC Public Health 2025 (latrines) and a pilot of menstrual health in schools (PMC7044877), both read.
    share = unpaired_change([(Right(right, answered), Right(0, 0))]).before.value * 100
    assert share == pytest.approx(percent, abs=0.05)


def test_limits_of_a_share_are_wilsons_and_not_walds():
    # 163 of 580: Wald 24.45 to 31.76 (source prints 24.5 to 31.7, read), Wilson 24.60 to 31.90 (recomputed).
    found = unpaired_change([(Right(163, 580), Right(163, 580))]).before
    assert (found.low * 100, found.high * 100) == (pytest.approx(24.60, abs=0.005), pytest.approx(31.90, abs=0.005))
    assert found.value * 100 == pytest.approx(28.10, abs=0.005)


def test_a_side_nobody_was_asked_on_has_no_difference():
    found = unpaired_change([(Right(5, 20), Right(0, 0)), (Right(6, 20), Right(0, 0))])
    assert (found.after.value, found.difference.value, found.difference.low) == (None, None, None)
    assert found.before.value == pytest.approx(11 / 40)
    assert school_difference([(Right(5, 20), Right(0, 0))]).value is None
    assert school_difference([(Right(5, 20), Right(9, 20))]) == (pytest.approx(0.2), None, None)


def test_limits_by_school_of_unpaired_answers_by_hand():
    # Shares 0.3 and 0.6. e = (12 − 12) ÷ 40 − (4 − 6) ÷ 40 = 0.05 and (12 − 12) ÷ 40 − (8 − 6) ÷ 40 = −0.05.
    found = school_difference([(Right(4, 20), Right(12, 20)), (Right(8, 20), Right(12, 20))])
    half = stats.t.ppf(0.975, 1) * math.sqrt(2 * (0.05**2 + 0.05**2))
    assert found.value == pytest.approx(0.3)
    assert (found.low, found.high) == (max(-1, 0.3 - half), pytest.approx(min(1, 0.3 + half)))


def test_limits_by_school_hold_where_limits_by_pupil_do_not():
    # 12 schools whose shares differ by ±0.15 and rise by 0.2 on average, ±0.1 from school to school.
    random = np.random.default_rng(4)
    by_school = by_pupil = 0
    for _ in range(300):
        start = np.clip(random.normal(0.4, 0.15, 12), 0.02, 0.98)
        rise = random.normal(0.2, 0.1, 12)
        before, after = random.binomial(60, start), random.binomial(60, np.clip(start + rise, 0.01, 0.99))
        schools = [(Right(int(b), 60), Right(int(a), 60)) for b, a in zip(before, after, strict=True)]
        limits = unpaired_change(schools).difference
        by_school += limits.low <= 0.2 <= limits.high
        pooled = unpaired_change([(Right(int(before.sum()), 720), Right(int(after.sum()), 720))]).difference
        by_pupil += pooled.low <= 0.2 <= pooled.high
    assert 0.91 <= by_school / 300 <= 0.98
    assert by_pupil < by_school


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.builds(Pairs, *[st.integers(0, 30)] * 4), min_size=1, max_size=6))
def test_the_difference_is_after_less_before_and_within_its_limits(schools):
    found = paired_change(schools)
    if found.difference.value is None:
        assert found.before.value is None
        return
    assert found.difference.value == pytest.approx(found.after.value - found.before.value)
    if found.difference.low is not None:
        assert -1 <= found.difference.low <= found.difference.value + 1e-12
        assert found.difference.value - 1e-12 <= found.difference.high <= 1


def test_wrong_totals_are_refused():
    for act in (
        lambda: paired_change([]),
        lambda: unpaired_change([]),
        lambda: unpaired_change([(Right(5, 4), Right(0, 0))]),
    ):
        with pytest.raises(ValueError, match=r"school|answered"):
            act()


def lists():
    days = pd.to_datetime(["2030-01-07", "2030-01-14", "2030-01-14"])
    sessions = pd.DataFrame({"session_id": [1, 2, 3], "school_id": [1, 1, 2], "day": days, "week": days})
    attendance = pd.DataFrame(
        [
            (1, "girls", "6", 30.0),
            (2, "girls", "6", 25.0),
            (3, "girls", "6", 20.0),
            (1, "boys", "6", 10.0),
            (3, "girls", "7", 12.0),
        ],
        columns=["session_id", "sex", "grade", "present"],
    )
    enrolment = pd.DataFrame(
        [(1, "girls", "6", 40), (2, "girls", "6", 30), (1, "boys", "6", 9)],
        columns=["school_id", "sex", "grade", "pupils"],
    ).assign(from_day=pd.Timestamp("2030-01-01"), until_day=pd.NaT)
    return sessions, attendance, enrolment


def test_reach_by_sex_and_grade_adds_schools_and_keeps_its_bounds():
    sessions, attendance, enrolment = lists()
    bounds = reach_by_group(sessions, attendance, enrolment)
    found = reach_by_sex_and_grade(bounds, enrolment, pd.Timestamp("2030-01-14")).set_index(["sex", "grade"])
    # Girls of grade 6: 30 to min(55, 40) at one school, 20 at the other; 70 enrolled.
    assert found.loc[("girls", "6"), ["low", "high", "enrolled"]].tolist() == [50, 60, 70]
    assert found.loc[("girls", "6"), "low_share"] == pytest.approx(50 / 70)
    assert found.loc[("girls", "6"), "high_share"] == pytest.approx(60 / 70)
    # Ten boys present where nine are enrolled, and a grade without enrolment: no share.
    assert found.loc[("boys", "6"), ["low", "high"]].tolist() == [10, 10]
    assert found.loc[[("boys", "6"), ("girls", "7")], "low_share"].isna().all()


def test_reach_without_enrolment_has_bounds_but_no_share():
    sessions, attendance, enrolment = lists()
    found = reach_by_sex_and_grade(reach_by_group(sessions, attendance, enrolment))
    assert found["low"].sum() == 72 and found["low_share"].isna().all()
    with pytest.raises(ValueError, match="day"):
        reach_by_sex_and_grade(reach_by_group(sessions, attendance, enrolment), enrolment)
