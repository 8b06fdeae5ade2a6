"""Visits: each figure worked by hand beside its test; sampled totals after Cochran, Sampling Techniques, ch. 5."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measures.frames_by_hand import (
    enrolment,
    occasions,
    readings,
    tallies,
    unit_weeks,
    units,
    usage,
    week,
)
from tracker.measures import visits
from tracker.vocabulary import Basis, UnitKind

WEEKS = occasions((1, 1, 10, 5), (1, 2, 8, 4))
TWO = units({}, {"unit_id": 2, "unit": "G2"})
T_1 = 12.7062  # 97.5 % point of t with 1 degree of freedom, printed t tables (from memory)


def counted(frame, **more):
    full = {"usage": usage(), "tallies": tallies(), "occasions": WEEKS, "readings": readings()} | more
    return visits.unit_weeks(frame, **full)


def test_a_weeks_total_is_taken_as_it_was_written():
    weeks = counted(units({}), usage=usage((1, 1, "week_total", 137, 1)))
    assert weeks[["visits", "var", "basis", "cells", "cells_expected"]].values.tolist() == [[137, 0, "counted", 1, 1]]


def test_missing_cells_of_a_grid_stay_missing():
    # 8 of the week's 10 breaks were tallied: 90 visits, not 112.
    weeks = counted(units({"count_way": "grid"}), usage=usage((1, 1, "grid", 90, 8)))
    assert weeks[["visits", "cells", "cells_expected"]].values.tolist() == [[90, 8, 10]]


def test_drawn_breaks_are_scaled_to_the_weeks_breaks():
    # Mean of 10 and 14 is 12; 10 breaks: 120. s² = 8; var = 10² × (1 − 2/10) × 8/2 = 320.
    weeks = counted(units({"count_way": "drawn"}), tallies=tallies((1, 1, 0, 10), (1, 1, 2, 14)))
    assert weeks[["visits", "var", "basis", "cells", "cells_expected"]].values.tolist() == [[120, 320, "sampled", 2, 2]]


def test_a_single_drawn_break_takes_the_spread_of_the_units_other_weeks():
    # Week 2: one tally of 9, 8 breaks: 72; s² = 8 from week 1; var = 8² × (1 − 1/8) × 8 = 448.
    drawn = tallies((1, 1, 0, 10), (1, 1, 2, 14), (1, 2, 1, 9))
    weeks = counted(units({"count_way": "drawn"}), tallies=drawn)
    assert weeks["visits"].tolist() == [120, 72]
    assert weeks["var"].tolist() == pytest.approx([320, 448])
    assert weeks["cells"].tolist() == [2, 1]


def test_a_drawn_break_without_tally_is_not_a_zero():
    weeks = counted(units({"count_way": "drawn"}), tallies=tallies((1, 1, 0, 10), (1, 1, 2, math.nan)))
    assert weeks["visits"].tolist() == [100]
    # One tally in all: a Poisson count, s² = 10; var = 100 × (1 − 1/10) × 10 = 900.
    assert weeks["var"].tolist() == pytest.approx([900])


def test_the_units_own_way_comes_first_then_the_counter():
    both = {
        "usage": usage((1, 2, "week_total", 50, 1)),
        "readings": readings({"day": date(2031, 1, 10), "value": 0}, {"day": date(2031, 1, 17), "value": 47}),
    }
    assert counted(units({}), **both)[["way", "visits"]].values.tolist() == [["week_total", 50]]
    assert counted(units({"count_way": "drawn"}), **both)[["way", "visits"]].values.tolist() == [["counter", 47]]


def test_a_unit_that_is_not_counted_and_a_machine_have_no_visits():
    frame = units({"count_way": "none"}, {"unit_id": 2, "kind": "machine"})
    assert counted(frame, usage=usage((1, 1, "week_total", 5, 1), (2, 1, "week_total", 5, 1))).empty


def test_unit_weeks_are_expected_while_the_unit_stands_and_school_is_held():
    frame = units({"until_day": week(1)}, {"unit_id": 2, "from_day": week(2)}, {"unit_id": 3, "kind": "meter"})
    due = visits.expected_unit_weeks(frame, occasions((1, 1, 10, 5), (1, 2, 8, 4), (1, 3, 0, 0)))
    assert [(row.unit_id, row.week.date()) for row in due.itertuples()] == [(1, week(1)), (2, week(2))]


def test_a_counted_total_has_no_interval_and_knows_what_is_missing():
    total = visits.visits_total(unit_weeks((1, 1, 100), (1, 2, 80), (2, 1, 40)), tallies(), WEEKS, TWO)
    assert (total.value, total.low, total.used, total.expected) == (220, None, 3, 4)
    assert total.basis is Basis.COUNTED and total.records == "unit-weeks" and total.note == ""
    assert [(part.school, part.week, part.value) for part in total.parts] == [
        ("S01", week(1), 140),
        ("S01", week(2), 80),
    ]


def test_units_tallied_in_the_same_breaks_are_not_independent():
    # A: 10, 14; B: 20, 28. Breaks' totals 30 and 42, mean 36, 10 breaks: 360. s² = 72; var = 100 × 0.8 × 72/2 = 2880.
    # Taken as independent it would be 320 + 1280 = 1600. The low limit stops at the 72 visits seen.
    drawn = tallies((1, 1, 0, 10), (1, 1, 2, 14), (2, 1, 0, 20), (2, 1, 2, 28))
    weeks = counted(TWO, tallies=drawn)
    total = visits.visits_total(weeks, drawn, WEEKS, TWO)
    assert total.value == 360
    assert total.high - 360 == pytest.approx(T_1 * math.sqrt(2880), rel=1e-5)
    assert total.low == 72
    assert total.basis is Basis.SAMPLED and "breaks only" in total.note
    assert (total.used, total.expected) == (2, 4)


def test_schools_are_added_in_quadrature_and_counted_units_add_no_spread():
    frame = units({}, {"unit_id": 2, "school_id": 2, "school": "S02"}, {"unit_id": 3})
    drawn = tallies((1, 1, 0, 10), (1, 1, 2, 14), (2, 1, 0, 10), (2, 1, 2, 14))
    days = occasions((1, 1, 10, 5), (2, 1, 10, 5))
    weeks = counted(frame, tallies=drawn, occasions=days, usage=usage((3, 1, "week_total", 500, 1)))
    total = visits.visits_total(weeks, drawn, days, frame)
    assert total.value == 740
    assert total.high - 740 == pytest.approx(T_1 * math.sqrt(320 + 320), rel=1e-5)


def test_one_tally_in_all_still_has_an_interval():
    drawn = tallies((1, 1, 0, 10))
    total = visits.visits_total(counted(units({}), tallies=drawn), drawn, WEEKS, units({}))
    assert total.high - total.value == pytest.approx(1.959964 * 30)  # var = 100 × 0.9 × 10 = 30²


def test_nothing_recorded_is_not_zero():
    total = visits.visits_total(unit_weeks(), tallies(), WEEKS, TWO)
    assert (total.value, total.used, total.expected) == (None, 0, 4)


def test_taps_are_left_out_unless_asked_for():
    frame = units({}, {"unit_id": 2, "kind": "tap"})
    weeks = unit_weeks((1, 1, 10), (2, 1, 30))
    assert visits.visits_total(weeks, tallies(), WEEKS, frame).value == 10
    assert visits.visits_total(weeks, tallies(), WEEKS, frame, [UnitKind.TAP]).value == 30


def test_tables_by_block_unit_and_week_add_up_to_the_total():
    frame = units({}, {"unit_id": 2, "block": "B2"})
    weeks = unit_weeks((1, 1, 100), (1, 2, 80), (2, 1, 40))
    by = {name: visits.visits_by(weeks, tallies(), WEEKS, frame, name) for name in ("block", "unit_id", "week")}
    assert {name: figure.value for name, figure in by["block"].items()} == {"B1": 180, "B2": 40}
    assert {name: figure.value for name, figure in by["week"].items()} == {week(1): 140, week(2): 80}
    assert by["unit_id"][2].expected == 2 and by["unit_id"][2].used == 1


def test_visits_per_pupil_and_day_leave_out_weeks_without_a_record():
    # 300 visits in week 1 (5 days) by 100 + 20 pupils: 300 / 600 = 0.5; week 2 has no record.
    rolls = enrolment({}, {"sex": "boys", "pupils": 20})
    figure = visits.visits_per_pupil_day(unit_weeks((1, 1, 300)), tallies(), WEEKS, units({}), rolls)
    assert (figure.value, figure.used, figure.expected) == (0.5, 1, 2)


def test_staff_cabins_are_no_visits_of_pupils():
    frame = units({}, {"unit_id": 2, "group": "staff"})
    figure = visits.visits_per_pupil_day(unit_weeks((1, 1, 300), (2, 1, 99)), tallies(), WEEKS, frame, enrolment({}))
    assert figure.value == pytest.approx(0.6)


def test_enrolment_takes_the_latest_row_of_each_grade():
    rolls = enrolment({}, {"pupils": 90, "from_day": week(2)})
    days = visits.pupil_days(rolls, WEEKS)
    assert days["pupil_days"].tolist() == [500, 360]
    assert visits.visits_per_pupil_day(unit_weeks((1, 1, 9)), tallies(), WEEKS, units({}), enrolment()).value is None


@given(st.lists(st.tuples(st.integers(1, 2), st.integers(1, 2), st.integers(0, 60)), max_size=40))
def test_parts_add_up_to_the_value_exactly(drawn):
    rows = {(unit, number, day % 5): visits_seen for day, (unit, number, visits_seen) in enumerate(drawn)}
    frame = tallies(*((unit, number, day, seen) for (unit, number, day), seen in rows.items()))
    total = visits.visits_total(counted(TWO, tallies=frame), frame, WEEKS, TWO)
    if total.value is None:
        assert not rows
    else:
        assert sum(part.value for part in total.parts) == total.value
        assert total.low <= total.value <= total.high
