"""Uptake around a lesson, as a description. Worked by hand; the difference itself is tested with its measure."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tracker.measures.uptake import uptake_around
from tracker.vocabulary import Basis

FIRST = pd.Timestamp("2030-01-07")
BLANK = float("nan")


def week(n):
    return FIRST + n * pd.Timedelta(days=7)


def weeks(**schools):
    """Given out by school ("s1") and week, five school days each; a school that ran out has "*" behind."""
    rows = []
    for name, numbers in schools.items():
        for n, number in enumerate(numbers):
            rows.append((int(name[1:]), week(n), float(number), 5, number == 99))
    return pd.DataFrame(rows, columns=["school_id", "week", "given_out", "school_days", "sold_out"])


def lessons(*rows):
    return pd.DataFrame([(s, week(n)) for s, n in rows], columns=["school_id", "week"])


GIRLS = dict.fromkeys(range(1, 7), 100.0)


def test_change_beside_comparison_schools_by_hand():
    # Per 100 girls and school day: school 1 from 2 to 5, school 2 from 2 to 4; comparison from 2 to 3 and 2 to 2.
    frame = weeks(s1=[10, 10, 77, 25, 25], s2=[10, 10, 77, 20, 20], s3=[10, 10, 77, 15, 15], s4=[10, 10, 77, 10, 10])
    found = uptake_around(frame, lessons((1, 2), (2, 2)), GIRLS)
    assert found.with_lesson.value == pytest.approx(2.5)
    assert found.comparison.value == pytest.approx(0.5)
    assert found.difference.value == pytest.approx(2.0)
    # Changes 3, 2 and 1, 0: variances of the means 0.25 each, Welch's degrees of freedom 2.
    half = stats.t.ppf(0.975, 2) * math.sqrt(0.5)
    assert (found.difference.low, found.difference.high) == (pytest.approx(2 - half), pytest.approx(2 + half))
    assert (found.difference.basis, found.difference.used, found.difference.expected) == (Basis.MODELLED, 4, 4)
    assert found.difference.unit == "napkins per 100 girls and school day"
    assert list(found.schools["before"]) == [2, 2] and list(found.schools["weeks_after"]) == [2, 2]


def test_it_says_what_it_cannot_show():
    found = uptake_around(weeks(s1=[10, 0, 20], s2=[10, 0, 10]), lessons((1, 1)), GIRLS)
    assert "does not show that the change was the cause" in found.cannot_show
    assert "as far as there was stock" in found.cannot_show
    assert found.difference.note and "cause" in found.difference.note
    assert found.difference.low is None  # one school on a side has no limits


def test_each_school_is_compared_over_the_same_weeks():
    # A lesson in week 2 and one in week 4; the comparison school rises by 5 every week (1 per 100 girls and day).
    frame = weeks(s1=[10] * 7, s2=[10] * 7, s3=[5, 10, 15, 20, 25, 30, 35])
    found = uptake_around(frame, lessons((1, 2), (2, 4)), GIRLS, span=1)
    assert found.comparison.value == pytest.approx(2.0)
    assert found.difference.value == pytest.approx(-2.0)
    assert list(found.schools["weeks_before"]) == [1, 1]


def test_lessons_in_one_week_count_as_often_as_there_were():
    # Two lessons in week 1 (comparison rises by 1) and one in week 4 (by 4): (1 + 1 + 4) ÷ 3.
    frame = weeks(s1=[10] * 6, s2=[10] * 6, s3=[10] * 6, s4=[10, 0, 15, 10, 0, 30])
    found = uptake_around(frame, lessons((1, 1), (2, 1), (3, 4)), GIRLS, span=1)
    assert found.comparison.value == pytest.approx(2.0)


def test_only_the_first_lesson_of_a_school_counts_and_its_week_is_left_out():
    frame = weeks(s1=[10, 500, 20, 20], s2=[10, 10, 10, 10])
    found = uptake_around(frame, lessons((1, 1), (1, 3)), GIRLS)
    assert found.with_lesson.value == pytest.approx(2.0)
    assert found.comparison.expected == 1  # a school with a later lesson only is no comparison either


def test_a_side_without_a_record_leaves_the_school_out():
    frame = weeks(s1=[BLANK, 0, 20], s2=[10, 0, 20], s3=[10, 0, 10])
    found = uptake_around(frame, lessons((1, 1), (2, 1)), GIRLS)
    assert (found.with_lesson.used, found.with_lesson.expected) == (1, 2)
    assert found.with_lesson.value == pytest.approx(2.0)
    assert found.schools["before"].isna().tolist() == [True, False]
    without = uptake_around(frame, lessons((2, 1)), {2: 0.0})
    assert without.with_lesson.value is None and without.difference.value is None


def test_holidays_are_no_school_days_and_weeks_that_ran_out_are_counted():
    frame = weeks(s1=[10, 0, 99, 20], s2=[10, 0, 10, 10])
    frame.loc[(frame["school_id"] == 1) & (frame["week"] == week(3)), "school_days"] = 0
    found = uptake_around(frame, lessons((1, 1)), GIRLS)
    assert found.schools["sold_out_weeks"].tolist() == [1]
    assert found.schools["after"].tolist() == [pytest.approx(99 / 5)]


def test_no_lesson_and_no_comparison():
    frame = weeks(s1=[10, 10, 10])
    none = uptake_around(frame, lessons(), GIRLS)
    assert none.with_lesson.value is None and none.schools.empty
    alone = uptake_around(frame, lessons((1, 1)), GIRLS)
    assert alone.with_lesson.value == 0 and alone.difference.value is None
    with pytest.raises(ValueError, match="week"):
        uptake_around(frame, lessons((1, 1)), GIRLS, span=0)


def test_where_nothing_happens_the_limits_hold_zero_about_as_often_as_they_say():
    random = np.random.default_rng(6)
    held = 0
    girls = dict.fromkeys(range(1, 17), 100.0)
    for _ in range(60):
        level = random.uniform(5, 15, 17)
        frame = weeks(**{f"s{n}": random.poisson(level[n], 9) for n in range(1, 17)})
        limits = uptake_around(frame, lessons(*[(n, 4) for n in range(1, 9)]), girls).difference
        held += limits.low <= 0 <= limits.high
    assert held / 60 >= 0.88
