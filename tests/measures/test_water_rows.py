"""Sums of water by column against the same sums row by row, in plain Python, on made-up rows."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measures.frames_by_hand import fittings, long_weeks, occasions, school_days, unit_weeks, units
from tracker.measures import flush, visits, water
from tracker.measures.flush import LongShare
from tracker.measures.water_rows import all_rows

PAIR = units({}, {"unit_id": 2, "school_id": 2, "school": "S02"}, {"unit_id": 3, "kind": "tap"})
WEEKS = occasions(*((school, number, 10, 5) for school in (1, 2) for number in (1, 2, 3)))
RULES = fittings(
    {"kind": "flush_two_stage", "ml": 1500, "long_ml": 4000, "litres_basis": "claim"},
    {"kind": "floor_wash", "ml": 3000, "every_n": 7},
    {"unit_id": 2, "kind": "flush_two_stage", "ml": 1500, "long_ml": 4000, "litres_basis": "claim"},
    {"unit_id": 3, "kind": "tap", "ml": 250},
)
COUNTS = st.lists(
    st.tuples(st.integers(1, 3), st.integers(1, 3), st.integers(0, 400)),
    unique_by=lambda r: r[:2],
    min_size=1,
    max_size=9,
)


def made(counts, var, looked):
    weeks = unit_weeks(*counts, way="drawn", var=var)
    seen = long_weeks(*((unit, number, 20, 5) for unit, number, _ in counts if (unit, number) in looked))
    return flush.unit_week_water(weeks, PAIR, RULES, seen, school_days(1, 2, 3), assumed=LongShare(0.2, 0.1, 0.4))


def by_rows(rows, shift):
    """The rule of docs/measures_parts/water.md, row by row."""
    weeks, rules, known, assumed = {}, {}, [], [0.0, 0.0]
    for row in rows.itertuples():
        each = row.visit_ml - (shift if row.part == "flush" else 0)
        weeks[row.school_id, row.week] = weeks.get((row.school_id, row.week), 0.0) + each * row.u_visits
        rules[row.fitting] = rules.get(row.fitting, 0.0) + row.ml * row.u_rel
        if row.share_known:
            known.append((row.below_ml, row.above_ml))
        else:
            assumed = [assumed[0] + row.below_ml, assumed[1] + row.above_ml]
    random = 1.96 * math.hypot(*weeks.values(), *rules.values())
    return [math.hypot(random, assumed[side], *(ends[side] for ends in known)) for side in (0, 1)]


@settings(max_examples=40, deadline=None)
@given(COUNTS, st.sampled_from([0.0, 9.0, 400.0]), st.sets(st.tuples(st.integers(1, 3), st.integers(1, 3))))
def test_limits_by_column_are_those_row_by_row(counts, var, looked):
    rows = made(counts, var, looked)
    for shift in (0.0, 9000.0):
        assert all_rows(rows).limits(shift) == pytest.approx(by_rows(rows, shift))


@settings(max_examples=40, deadline=None)
@given(COUNTS)
def test_groups_of_any_kind_add_up_to_the_whole(counts):
    rows = made(counts, 0.0, set())
    due = visits.expected_unit_weeks(PAIR, WEEKS)
    whole = water.water_taken(rows, due)
    assert round(whole.value * 1000) == rows["ml"].sum()
    for by in ("unit_id", "block", "school", "kind", "group", "week"):
        parts = water.water_by(rows, due, by).values()
        assert round(sum(part.value or 0 for part in parts) * 1000) == rows["ml"].sum()
        assert sum(part.used for part in parts) == whole.used
        assert sum(part.expected for part in parts) == whole.expected


@settings(max_examples=40, deadline=None)
@given(COUNTS, st.integers(1, 100))
def test_more_visits_never_take_less_water(counts, more):
    less = made(counts, 0.0, set())["ml"].sum()
    assert made([(unit, number, count + more) for unit, number, count in counts], 0.0, set())["ml"].sum() > less
