"""Cells become typed values, or a sentence that says what to write."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.intake.rows import header, parse_row, written
from tracker.intake.tables import BY_NAME, TABLES
from tracker.vocabulary import CountWay, Source

COUNT = {
    "school": "S1", "unit": "G1", "first_day": "2026-01-13", "days": "1", "slot": "B1", "source": "tally",
    "how": "grid", "visits": "12", "note": "",
}  # fmt: skip


def read(**changes):
    return parse_row(BY_NAME["usage_counts"], COUNT | changes, 7)


def test_a_row_is_typed_column_by_column():
    values, problems = read()
    assert problems == []
    assert values == {
        "school": "S1", "unit": "G1", "first_day": date(2026, 1, 13), "days": 1, "slot": "B1",
        "source": Source.TALLY, "how": CountWay.GRID, "visits": 12, "note": None,
    }  # fmt: skip


def test_a_problem_names_table_row_column_and_what_was_typed():
    _, (problem,) = read(visits="a dozen")
    assert (problem.table, problem.row, problem.column, problem.value) == ("usage_counts", 7, "visits", "a dozen")


def test_blank_is_not_zero():
    values, problems = read(visits="")
    assert "visits" not in values
    assert problems[0].message.startswith("This cell is blank.")
    assert read(visits="0")[0]["visits"] == 0


def test_the_school_may_be_left_out_where_it_is_known():
    sheet_row = {name: cell for name, cell in COUNT.items() if name != "school"}
    values, problems = parse_row(BY_NAME["usage_counts"], sheet_row, 1)
    assert problems == []
    assert "school" not in values


@pytest.mark.parametrize(
    ("typed", "number"),
    # decimal digits of other scripts: the Unicode Standard, general category Nd
    [("12", 12), (" 12 ", 12), ("\ufeff12", 12), ("١٢", 12), ("१२", 12), ("0012", 12)],
)
def test_whole_numbers_may_be_written_in_local_digits(typed, number):
    assert read(visits=typed)[0]["visits"] == number


@pytest.mark.parametrize("typed", ["²", "3²", "½", "１２.0", "1e3", "0x10", "1_000", "1,000", "twelve", "9" * 40])
def test_what_only_looks_like_a_number_is_refused(typed):
    _, (problem,) = read(visits=typed)
    assert problem.message == "Write a whole number from 0 to 20000, for example 12."


def test_a_negative_number_gets_the_sentence_about_numbers_not_about_formulas():
    _, (problem,) = read(visits="-3")
    assert problem.message == "Write a whole number from 0 to 20000, for example 12."


def test_a_number_without_upper_bound_says_or_more():
    _, (problem,) = parse_row(
        BY_NAME["long_weeks"],
        {"school": "S1", "unit": "G1", "week": "2026-01-12", "source": "tally", "seen_visits": "9", "long_visits": "x"},
        2,
    )
    assert problem.message == "Write a whole number of 0 or more, for example 12."


@pytest.mark.parametrize("typed", ["=1+1", "+1", "@SUM(A1)", "=cmd|' /C calc'!A0"])
@pytest.mark.parametrize("column", ["visits", "note", "unit"])
def test_a_formula_is_refused_in_numbers_and_texts(column, typed):
    _, problems = read(**{column: typed})
    assert [one.message for one in problems] == ["This cell holds a formula. Write its value instead."]


def test_an_age_that_is_not_known_is_minus_one():
    row = {"school": "S1", "shift": "day", "sex": "girls", "grade": "6", "pupils": "3", "from_day": "2026-01-01"}
    values, problems = parse_row(BY_NAME["enrolment"], {**row, "age_years": "-1", "until_day": ""}, 2)
    assert (values["age_years"], problems) == (-1, [])


def test_a_telephone_number_may_begin_with_plus():
    row = {"email": "a@b.example", "name": "A", "phone": "+00 123 45", "active": "yes"}
    assert parse_row(BY_NAME["people"], row, 2)[1] == []


@pytest.mark.parametrize(
    ("typed", "minutes"), [("08:10", 490), ("8:10", 490), ("0:00", 0), ("24:00", 1440)]
)  # minutes after midnight: 8 × 60 + 10 = 490
def test_clock_times_are_minutes_after_midnight(typed, minutes):
    row = {"school": "S1", "shift": "day", "weekday": "0", "opens": typed, "closes": "24:00", "from_day": "2026-01-01"}
    assert parse_row(BY_NAME["school_hours"], {**row, "until_day": ""}, 2)[0]["opens"] == minutes


@pytest.mark.parametrize("typed", ["24:01", "8:60", "8.10", "noon"])
def test_what_is_no_clock_time_is_refused(typed):
    row = {"school": "S1", "shift": "day", "weekday": "0", "opens": typed, "closes": "24:00", "from_day": "2026-01-01"}
    _, problems = parse_row(BY_NAME["school_hours"], {**row, "until_day": ""}, 2)
    assert problems[0].message == "Write a time of day, for example 08:10."


def test_a_local_time_has_no_zone_of_its_own():
    row = {"school": "S1", "unit": "W1", "quantity": "water", "source": "tally", "value": "1", "note": ""}
    table = BY_NAME["readings"]
    assert parse_row(table, {**row, "at_local_time": "2026-01-16T12:00"}, 2)[0]["at_local_time"] == datetime(
        2026, 1, 16, 12
    )
    _, problems = parse_row(table, {**row, "at_local_time": "2026-01-16T12:00Z"}, 2)
    assert problems[0].column == "at_local_time"


@given(st.sampled_from(TABLES), st.data())
def test_no_text_makes_reading_a_row_fail(table, data):
    raw = {name: data.draw(st.text(max_size=30)) for name in header(table)}
    values, problems = parse_row(table, raw, 2)
    assert set(values) | {one.column for one in problems} == set(header(table))
    assert not set(values) & {one.column for one in problems}


@given(
    st.integers(0, 20000), st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.sampled_from(CountWay), st.integers(1, 7)
)
def test_what_is_written_is_read_back_the_same(visits, day, how, days):
    table = BY_NAME["usage_counts"]
    given_values = {"first_day": day, "days": days, "how": how, "visits": visits}
    texts = {
        column.name: written(column, given_values[column.name])
        for column in table.columns
        if column.name in given_values
    }
    values, problems = parse_row(table, COUNT | texts, 2)
    assert problems == []
    assert {name: values[name] for name in given_values} == given_values
