"""Availability and lost time worked by hand; merging against a minute grid."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.calendar import SchoolDay, Scope, Span, school_time
from tracker.measures.figure import Part
from tracker.measures.uptime import (
    availability,
    availability_by,
    breaks_lost,
    by_cause,
    down_minutes,
    evidence_days,
    merge,
    outage_hours,
    unit_days,
)
from tracker.vocabulary import Basis

ZONE = ZoneInfo("UTC")
MONDAY = date(2026, 1, 12)
NEVER = pd.NaT


def at(hours):
    """The instant so many hours after Monday 00:00."""
    return pd.Timestamp(MONDAY, tz="UTC") + pd.Timedelta(hours=hours)


def make_outages(*rows):
    """Rows of (unit_id, cause, start hour, end hour or None)."""
    return pd.DataFrame(
        {
            "unit_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "cause": pd.Series([row[1] for row in rows], dtype="str"),
            "start": pd.Series([at(row[2]) for row in rows], dtype="datetime64[us, UTC]"),
            "end": pd.Series([NEVER if row[3] is None else at(row[3]) for row in rows], dtype="datetime64[us, UTC]"),
            "planned": pd.Series([row[1] == "planned work" for row in rows], dtype="bool"),
        }
    )


def make_units(*rows):
    """Rows of (unit_id, kind, from_day, until_day or None), all at school 1 unless a fifth cell says so."""
    return pd.DataFrame(
        {
            "unit_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "school_id": pd.Series([row[4] if len(row) > 4 else 1 for row in rows], dtype="int64"),
            "school": pd.Series(["Lakeside"] * len(rows), dtype="str"),
            "kind": pd.Series([row[1] for row in rows], dtype="str"),
            "from_day": pd.Series([row[2] for row in rows], dtype="datetime64[us]"),
            "until_day": pd.Series([row[3] or NEVER for row in rows], dtype="datetime64[us]"),
        }
    )


WEEK_END = at(24 * 7)


def make_scope(as_of=WEEK_END, days=5, last=None):
    """Five days from Monday on, 08:00 to 14:00, six hours each."""
    held = [SchoolDay(MONDAY + timedelta(days=n), "day", 480, 840) for n in range(days)]
    period = Span(MONDAY, last or MONDAY + timedelta(days=6))
    return Scope(period, {1: school_time(held, ZONE)}, ZONE, as_of.to_pydatetime())


def seen(*rows):
    """Rows of (unit_id, day number) as evidence."""
    return pd.DataFrame(
        {
            "unit_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "day": pd.Series([MONDAY + timedelta(days=row[1]) for row in rows], dtype="datetime64[us]"),
        }
    )


EVERY_DAY = seen(*[(unit, number) for unit in (1, 2) for number in range(5)])
CABIN = make_units((1, "cabin", MONDAY, None))
NO_OUTAGES = make_outages()


def test_overlapping_outages_and_an_open_one_over_five_school_days():
    # AVL-02 (derived by hand, no outside source): 30 h of school; [8,10] and [9,13] are 5 h, not 6; [36,57] ends at
    # 09:00 of day 3: 2 h of day 2 + 1 h of day 3; [107, open]: 3 h of day 5. Down 11 h, availability 19/30.
    rows = [
        (1, "broken", 8, 10),
        (1, "locked", 9, 13),
        (1, "broken", 36, 57),
        (1, "drain blocked", 107, None),
    ]
    scope = make_scope()
    days = unit_days(CABIN, make_outages(*rows), EVERY_DAY, scope)
    assert int(days["down_min"].sum()) == 11 * 60
    found = availability(days)
    assert found.value == pytest.approx(0.6333333333, abs=1e-9)
    assert (found.low, found.high) == (found.value, found.value)
    assert (found.used, found.expected, found.records) == (5, 5, "unit school days")
    assert found.basis is Basis.COUNTED
    assert found.note == ""
    assert outage_hours(days).value == 11


def test_long_run_availability_of_a_hundred_hours_up_and_five_down():
    # AVL-01: failure rate .01/h, repairs of 2 to 8 h, 5 h on average: 100/105 = 0.952381 (systems-engineering text).
    # 21 schooldays of 5 h are 105 h: the unit fails on the last one.
    held = [SchoolDay(MONDAY + timedelta(days=n), "day", 480, 780) for n in range(21)]
    scope = Scope(Span(MONDAY, held[-1].day), {1: school_time(held, ZONE)}, ZONE, datetime(2026, 3, 1, tzinfo=UTC))
    outage = make_outages((1, "broken", 24 * 20, 24 * 21))
    evidence = seen(*[(1, number) for number in range(21)])
    found = availability(unit_days(CABIN, outage, evidence, scope))
    assert found.value == pytest.approx(100 / 105, abs=1e-12)
    assert found.value == pytest.approx(0.952, abs=5e-4)


def test_days_on_which_nobody_looked_are_neither_up_nor_down():
    # 5 days of 6 h; down all Monday; seen working on Tuesday only. Observed 12 h, up 6 h: 50 %.
    # The three silent days may all have been down (6/30) or all up (24/30).
    days = unit_days(CABIN, make_outages((1, "broken", 0, 24)), seen((1, 1)), make_scope())
    found = availability(days)
    assert (found.value, found.low, found.high) == (0.5, 0.2, 0.8)
    assert (found.used, found.expected) == (2, 5)
    assert "nobody looked" in found.note


def test_a_unit_that_nobody_saw_has_no_availability():
    days = unit_days(CABIN, NO_OUTAGES, evidence_days(), make_scope())
    found = availability(days)
    assert found.value is None
    assert found.low is None
    assert (found.used, found.expected) == (0, 5)
    assert outage_hours(days).value is None


def test_without_school_there_is_nothing_to_be_available():
    days = unit_days(CABIN, NO_OUTAGES, EVERY_DAY, make_scope(days=0))
    assert days.empty
    assert availability(days).value is None
    assert availability(days).expected == 0


def test_seen_out_of_service_without_an_outage_does_not_count_as_up():
    sightings = seen((1, 0), (1, 1), (1, 2)).assign(
        state=pd.Series(["working", "out of service", "partly working"], dtype="str")
    )
    visits = seen((1, 2), (1, 4))
    vouched = evidence_days(sightings, visits)
    assert vouched["day"].dt.day.tolist() == [12, 14, 16]
    days = unit_days(CABIN, NO_OUTAGES, vouched, make_scope())
    assert days["observed"].tolist() == [True, False, True, False, True]


def test_the_earliest_cause_owns_shared_minutes_so_that_causes_add_up():
    # Monday 08-14: broken 8-10, low water 9-12 owns 10-12, locked 11-14 owns 12-14. 2 h each.
    rows = [(1, "locked", 11, 14), (1, "low water", 9, 12), (1, "broken", 8, 10)]
    scope = make_scope()
    pieces = merge(make_outages(*rows), CABIN, scope)
    assert pieces["cause"].tolist() == ["broken", "low water", "locked"]
    assert pieces["start"].tolist() == [at(8), at(10), at(12)]
    assert pieces["end"].tolist() == [at(10), at(12), at(14)]
    table = by_cause(down_minutes(make_outages(*rows), CABIN, scope))
    assert table["down_h"].tolist() == [2, 2, 2]
    assert table["share"].sum() == pytest.approx(1)


def test_causes_that_begin_together_are_owned_in_the_order_of_the_words():
    pieces = merge(make_outages((1, "not known", 8, 9), (1, "broken", 8, 10)), CABIN, make_scope())
    assert pieces[["cause", "planned"]].values.tolist() == [["broken", False]]


def test_an_open_outage_runs_to_the_report_and_no_further():
    # The report is made on Tuesday at 10:00: 6 h + 2 h of school so far, all down.
    scope = make_scope(as_of=at(34))
    days = unit_days(CABIN, make_outages((1, "broken", 0, None)), evidence_days(), scope)
    assert days["scheduled_min"].tolist() == [360, 120]
    assert days["down_min"].tolist() == [360, 120]
    assert availability(days).value == 0


def test_an_outage_that_ends_after_the_report_is_cut_there():
    scope = make_scope(as_of=at(10))
    assert down_minutes(make_outages((1, "broken", 9, 20)), CABIN, scope)["down_min"].tolist() == [60]


def test_time_before_the_unit_came_and_after_it_left_does_not_count():
    unit = make_units((1, "cabin", MONDAY + timedelta(days=1), MONDAY + timedelta(days=2)))
    days = unit_days(unit, make_outages((1, "broken", -50, 36)), EVERY_DAY, make_scope())
    assert days["day"].dt.day.tolist() == [13, 14]
    assert days["down_min"].tolist() == [240, 0]


def test_an_outage_from_before_the_period_counts_from_its_first_day():
    scope = make_scope()
    later = Scope(Span(MONDAY + timedelta(days=4), MONDAY + timedelta(days=6)), scope.times, ZONE, scope.as_of)
    assert down_minutes(make_outages((1, "broken", -100, 24 * 9)), CABIN, later)["down_min"].tolist() == [360]


def test_sold_out_is_seen_but_not_down_even_where_it_came_first():
    machine = make_units((1, "machine", MONDAY, None))
    rows = make_outages((1, "sold out", 8, 14), (1, "broken", 12, 14), (1, "sold out", 32, 38))
    days = unit_days(machine, rows, evidence_days(), make_scope())
    assert days["down_min"].tolist() == [120, 0, 0, 0, 0]
    assert days["observed"].tolist() == [True, True, False, False, False]
    assert by_cause(down_minutes(rows, machine, make_scope()))["cause"].tolist() == ["broken"]


def test_an_outage_outside_school_hours_does_not_make_a_day_observed():
    # From the end of school on Monday to its start on Tuesday: no school minute is covered.
    rows = make_outages((1, "broken", 14, 32))
    days = unit_days(CABIN, rows, evidence_days(), make_scope())
    assert not days["observed"].any()
    assert down_minutes(rows, CABIN, make_scope()).empty


def test_planned_work_is_down_and_shown_apart():
    days = unit_days(CABIN, make_outages((1, "planned work", 8, 9), (1, "broken", 9, 12)), EVERY_DAY, make_scope())
    assert (int(days["down_min"].sum()), int(days["planned_min"].sum())) == (240, 60)
    assert availability(days).value == pytest.approx(26 / 30)
    assert outage_hours(days, "planned_min").value == 1


def test_units_are_pooled_by_minutes_and_shown_one_by_one():
    # Unit 1: 30 h, 3 h down: 0.9. Unit 2 came on Friday: 6 h, 3 h down: 0.5. Pooled 30/36, not the mean 0.7.
    units = make_units((1, "cabin", MONDAY, None), (2, "cabin", MONDAY + timedelta(days=4), None))
    rows = make_outages((1, "broken", 8, 11), (2, "broken", 96, 107))
    days = unit_days(units, rows, EVERY_DAY, make_scope())
    each = availability_by(days, ["unit_id"])
    assert each["share"].tolist() == pytest.approx([0.9, 0.5])
    pooled = availability_by(days, ["kind"])
    assert pooled.loc[0, "share"] == pytest.approx(30 / 36)
    assert availability(days).value == pytest.approx(30 / 36)
    assert pooled[["used", "expected", "scheduled_min", "down_min"]].values.tolist() == [[6, 6, 2160, 360]]


def test_a_group_that_nobody_saw_has_blanks_in_the_table():
    days = unit_days(CABIN, NO_OUTAGES, evidence_days(), make_scope())
    table = availability_by(days, ["unit_id"])
    assert table[["share", "low", "high"]].isna().all(axis=None)
    assert table["expected"].tolist() == [5]


def test_a_school_without_school_time_has_no_unit_days():
    units = make_units((1, "cabin", MONDAY, None), (2, "cabin", MONDAY, None, 99))
    rows = make_outages((2, "broken", 8, 14))
    assert unit_days(units, rows, EVERY_DAY, make_scope())["unit_id"].unique().tolist() == [1]
    assert down_minutes(rows, units, make_scope()).empty


CAUSES = st.sampled_from(["broken", "low water", "planned work", "sold out"])
OUTAGE = st.tuples(st.integers(1, 2), CAUSES, st.integers(-20, 130), st.one_of(st.none(), st.integers(1, 60)))


@given(rows=st.lists(OUTAGE, max_size=7), as_of=st.integers(1, 150))
@settings(max_examples=40, deadline=None)
def test_down_minutes_equal_a_grid_of_quarter_hours(rows, as_of):
    # The oracle walks over quarter hours and asks each outage in order of its start (common to no code of ours).
    units = make_units((1, "cabin", MONDAY, None), (2, "machine", MONDAY + timedelta(days=1), None))
    table = [(unit, cause, start, None if span is None else start + span) for unit, cause, start, span in rows]
    scope = make_scope(as_of=at(as_of))
    order = ["broken", "low water", "planned work"]
    counted = {}
    for unit, came in ((1, 0), (2, 24)):
        for quarter in range(24 * 5 * 4):
            hour = quarter / 4
            if hour < came or hour >= as_of or not 8 <= hour % 24 < 14:
                continue
            out = [
                (start, order.index(cause))
                for who, cause, start, end in table
                if who == unit and cause in order and start <= hour < (as_of if end is None else end)
            ]
            if out:
                key = (unit, order[min(out)[1]])
                counted[key] = counted.get(key, 0) + 15
    found = down_minutes(make_outages(*table), units, scope)
    sums = found.groupby(["unit_id", "cause"])["down_min"].sum()
    assert {key: int(value) for key, value in sums.items()} == counted


def make_breaks(*rows):
    """Rows of (day number, hour) at school 1."""
    return pd.DataFrame(
        {
            "school_id": pd.Series([1] * len(rows), dtype="int64"),
            "week": pd.Series([MONDAY] * len(rows), dtype="datetime64[us]"),
            "day": pd.Series([MONDAY + timedelta(days=row[0]) for row in rows], dtype="datetime64[us]"),
            "start": pd.Series([at(24 * row[0] + row[1]) for row in rows], dtype="datetime64[us, UTC]"),
        }
    )


def test_a_break_is_lost_when_the_unit_is_out_at_its_start():
    # Monday 10:00: out from 10:00 (lost); Monday 12:00: back at 12:00 (not lost); Tuesday 10:00: not out.
    # The second cabin is out all Monday by planned work: two more. Unobserved Tuesday of cabin 2 is not used.
    units = make_units((1, "cabin", MONDAY, None), (2, "cabin", MONDAY, None))
    rows = make_outages((1, "broken", 10, 12), (2, "planned work", 0, 24), (1, "sold out", 24, 48))
    scope = make_scope(as_of=at(24 + 11))
    days = unit_days(units, rows, evidence_days(), scope)
    found = breaks_lost(rows, make_breaks((0, 10), (0, 12), (1, 10), (1, 12)), days, scope)
    assert found.value == 3
    assert (found.used, found.expected, found.unit) == (5, 6, "unit breaks")
    assert found.parts == (Part("Lakeside", MONDAY, 3.0),)
    assert sum(part.value for part in found.parts) == found.value


def test_breaks_of_days_on_which_nobody_looked_are_not_recorded_as_zero():
    scope = make_scope()
    days = unit_days(CABIN, NO_OUTAGES, evidence_days(), scope)
    found = breaks_lost(NO_OUTAGES, make_breaks((0, 10)), days, scope)
    assert found.value is None
    assert found.expected == 1
