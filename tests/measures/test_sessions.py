"""Awareness sessions. Bounds of a union of sets (elementary); numbers worked by hand, no outside source."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.sessions import (
    attendances,
    knowledge,
    minutes_taught,
    pupils_reached,
    reach_by_group,
    sessions_held,
)
from tracker.vocabulary import Sex

MONDAY = pd.Timestamp("2030-01-07")


def sessions(*rows):
    """Rows of (session, school, day number, minutes)."""
    full = [
        (number, school, MONDAY + pd.Timedelta(days=day), MONDAY + pd.Timedelta(days=day // 7 * 7), "soap", minutes)
        for number, school, day, minutes in rows
    ]
    frame = pd.DataFrame(full, columns=["session_id", "school_id", "day", "week", "topic", "minutes"])
    kinds = {"session_id": "int64", "school_id": "int64", "day": "datetime64[us]", "week": "datetime64[us]"}
    return frame.astype({**kinds, "minutes": "float64"})


def attendance(*rows):
    frame = pd.DataFrame(rows, columns=["session_id", "sex", "grade", "present"])
    return frame.astype({"session_id": "int64", "sex": "str", "grade": "str", "present": "float64"})


def enrolment(*rows):
    """Rows of (school, sex, grade, pupils, first day number, last day number or None)."""
    full = [
        (
            school,
            sex,
            grade,
            pupils,
            MONDAY + pd.Timedelta(days=first),
            pd.NaT if last is None else MONDAY + pd.Timedelta(days=last),
        )
        for school, sex, grade, pupils, first, last in rows
    ]
    frame = pd.DataFrame(full, columns=["school_id", "sex", "grade", "pupils", "from_day", "until_day"])
    kinds = {"school_id": "int64", "sex": "str", "grade": "str", "pupils": "float64"}
    return frame.astype({**kinds, "from_day": "datetime64[us]", "until_day": "datetime64[us]"})


TWO = sessions((1, 1, 0, 40), (2, 1, 7, 30))


def test_sessions_minutes_and_attendances_add_up_by_school_and_week():
    held = sessions((1, 1, 0, 40), (2, 1, 7, 30), (3, 2, 8, float("nan")))
    assert (sessions_held(held).value, len(sessions_held(held).parts)) == (3, 3)
    minutes = minutes_taught(held)
    assert (minutes.value, minutes.unit, minutes.used, minutes.expected) == (70, "min", 2, 3)
    seen = attendances(held, attendance((1, "girls", "5", 30), (1, "boys", "5", 20), (2, "girls", "5", 25)))
    assert (seen.value, seen.used, seen.expected, seen.about_people) == (75, 2, 3, True)
    assert [part.value for part in seen.parts] == [50, 25]


def test_nothing_held_is_zero_but_nothing_written_down_about_who_came_is_not():
    none = sessions()
    assert sessions_held(none).value == 0
    assert attendances(TWO, attendance()).value is None
    assert minutes_taught(sessions((1, 1, 0, float("nan")))).value is None
    reached = pupils_reached(TWO, attendance((1, "girls", "5", float("nan"))), enrolment())
    assert (reached.value, reached.low, reached.used, reached.expected) == (None, None, 0, 2)


def test_pupils_reached_lie_between_the_largest_session_and_the_sum():
    came = attendance((1, "girls", "5", 30), (2, "girls", "5", 25))
    # The same girls at both: 30. All different: 55, but only 40 are enrolled.
    free = pupils_reached(TWO, came, enrolment())
    assert (free.value, free.low, free.high) == (30, 30, 55)
    capped = pupils_reached(TWO, came, enrolment((1, "girls", "5", 40, -90, None)))
    assert (capped.value, capped.low, capped.high) == (30, 30, 40)
    assert "at least" in capped.note


def test_different_schools_sexes_and_grades_are_different_pupils():
    held = sessions((1, 1, 0, 40), (2, 1, 7, 30), (3, 2, 8, 20))
    came = attendance((1, "girls", "5", 30), (1, "boys", "5", 20), (2, "girls", "6", 25), (3, "girls", "5", 10))
    figure = pupils_reached(held, came, enrolment())
    assert (figure.low, figure.high) == (85, 85)  # each group met once
    girls = pupils_reached(held, came, enrolment(), Sex.GIRLS)
    assert (girls.value, girls.used, girls.expected) == (65, 3, 3)


def test_attendance_without_grade_makes_one_group_of_the_sex():
    came = attendance((1, "girls", "5", 30), (1, "girls", "6", 12), (2, "girls", "", 35))
    bounds = reach_by_group(TWO, came, enrolment((1, "girls", "5", 40, -9, None), (1, "girls", "6", 20, -9, None)))
    # One session 42, the other 35: from 42 to 77, with 60 enrolled.
    assert bounds[["grade", "low", "high"]].values.tolist() == [["", 42.0, 60.0]]


def test_enrolment_is_read_on_the_days_of_the_sessions():
    came = attendance((1, "girls", "5", 30), (2, "girls", "5", 25))
    dated = enrolment((1, "girls", "5", 33, -90, 0), (1, "girls", "5", 36, 1, None), (1, "girls", "5", 99, 60, None))
    assert pupils_reached(TWO, came, dated).high == 36
    last_day = enrolment((1, "girls", "5", 44, -90, 7))  # still holds on the day of the second session
    assert pupils_reached(TWO, attendance((2, "girls", "5", 25)), last_day).high == 25
    assert pupils_reached(TWO, came, enrolment((1, "girls", "5", 44, 7, 7))).high == 44


def test_more_present_than_enrolled_keeps_the_count():
    came = attendance((1, "girls", "5", 30))
    figure = pupils_reached(TWO, came, enrolment((1, "girls", "5", 28, -90, None)))
    assert (figure.low, figure.high) == (30, 30)


def test_pupils_reached_have_no_parts_by_week():
    # 30 in each of two weeks may be the same 30: parts of 30 + 30 would not be the value.
    came = attendance((1, "girls", "5", 30), (2, "girls", "5", 30))
    assert pupils_reached(TWO, came, enrolment()).parts == ()


PUPILS = st.frozensets(st.integers(0, 11), max_size=12)


@settings(max_examples=50, deadline=None, derandomize=True)
@given(st.lists(PUPILS, min_size=1, max_size=4))
def test_the_true_number_of_different_pupils_is_within_the_bounds(lists):
    held = sessions(*[(number, 1, number, 30) for number in range(len(lists))])
    came = attendance(*[(number, "girls", "5", len(who)) for number, who in enumerate(lists)])
    figure = pupils_reached(held, came, enrolment((1, "girls", "5", 12, -90, None)))
    assert figure.low <= len(frozenset().union(*lists)) <= figure.high


def test_knowledge_is_described_from_four_paired_totals():
    found = knowledge({"right_right": 30, "right_wrong": 2, "wrong_right": 12, "wrong_wrong": 6})
    assert (found.before.value, found.after.value) == (0.64, 0.84)  # 32 and 42 of 50
    assert found.before.about_people
    assert "cause" in found.after.note


def test_a_quiz_nobody_answered_has_no_share():
    nobody = {"right_right": 0, "right_wrong": 0, "wrong_right": 0, "wrong_wrong": 0}
    assert knowledge(nobody).before.value is None


def test_a_quiz_without_its_four_totals_is_refused():
    with pytest.raises(ValueError, match="four totals"):
        knowledge({"right_right": 3})
