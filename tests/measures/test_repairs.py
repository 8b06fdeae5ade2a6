"""Promises, failures and looks, worked by hand."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from tests.measures.test_uptime import (
    CABIN,
    MONDAY,
    at,
    evidence_days,
    make_outages,
    make_scope,
    make_units,
    seen,
)
from tracker.measures.calendar import SchoolDay, Scope, Span, school_time
from tracker.measures.repairs import (
    days_between_looks,
    looks,
    promise_kept,
    spells,
    time_between_failures,
)
from tracker.measures.uptime import unit_days

AS_OF = at(24 * 7).to_pydatetime()


def events(outages, *names):
    return outages.assign(event=pd.Series(names, dtype="str"))


def plain(*rows):
    return events(make_outages(*rows), *[None] * len(rows))


def test_reports_of_one_fault_are_one_and_touching_outages_too():
    rows = plain((1, "broken", 8, 10), (1, "not known", 9, 13), (1, "broken", 13, 20), (1, "broken", 21, 22))
    found = spells(rows, AS_OF)
    assert [(spell.end - spell.start) / 60 for spell in found] == [12, 1]


def test_the_same_hours_at_two_units_are_two_faults():
    assert len(spells(plain((1, "broken", 8, 10), (2, "broken", 8, 10)), AS_OF)) == 2


def test_one_empty_tank_that_closes_six_cabins_is_one_fault():
    rows = [(unit, "low water", 8, 8 + unit) for unit in range(1, 7)]
    found = spells(events(make_outages(*rows), *["tank"] * 6), AS_OF)
    assert len(found) == 1
    assert found[0].units == {1, 2, 3, 4, 5, 6}
    assert (found[0].end - found[0].start) / 60 == 6


def test_events_that_meet_in_one_unit_are_one_fault():
    # Units 1 and 2 share event A, units 2 and 3 share event B, and unit 2 was out without a gap.
    rows = make_outages((1, "low water", 8, 9), (3, "no power", 9, 12), (2, "low water", 8, 10), (2, "no power", 9, 11))
    found = spells(events(rows, "A", "B", "A", "B"), AS_OF)
    assert len(found) == 1
    assert (found[0].end - found[0].start) / 60 == 4


def test_a_fault_with_one_unit_still_out_is_open():
    rows = make_outages((1, "low water", 8, 9), (2, "low water", 8, None))
    assert spells(events(rows, "A", "A"), AS_OF)[0].end is None


def test_promise_kept_counts_open_ones_once_they_are_late():
    # Promise 48 h, report after 168 h. Ended after 48 (kept), 49 (late), 1 (kept); open since 100 h: 68 h, late;
    # open since 130 h: 38 h, not due yet. 2 of 4. Wilson 2/4: 0.1500 to 0.8500 (formula, z = 1.959964).
    rows = plain(
        (1, "broken", 0, 48),
        (2, "drain blocked", 0, 49),
        (3, "no power", 50, 51),
        (4, "broken", 100, None),
        (5, "broken", 130, None),
        (6, "planned work", 0, 160),
        (7, "sold out", 0, 160),
    )
    found = promise_kept(rows, 48, AS_OF)
    assert found.value == 0.5
    assert (found.used, found.expected, found.records) == (4, 4, "outages")
    assert found.low == pytest.approx(0.1500, abs=5e-5)
    assert found.high == pytest.approx(0.8500, abs=5e-5)
    assert "not yet passed" in found.note


def test_an_outage_whose_promise_ends_at_the_very_report_is_not_late_yet():
    assert promise_kept(plain((1, "broken", 120, None)), 48, AS_OF).used == 0
    assert promise_kept(plain((1, "broken", 119, None)), 48, AS_OF).value == 0


def test_without_outages_no_promise_was_kept_or_broken():
    found = promise_kept(plain(), 48, AS_OF)
    assert found.value is None
    assert found.low is None
    with pytest.raises(ValueError, match="above 0"):
        promise_kept(plain(), 0, AS_OF)


def every_day(unit):
    return seen(*[(unit, number) for number in range(5)])


def test_school_hours_between_failures_with_exact_limits():
    # 30 h of school, four outages of 1 h each: 26 h of running. The locked door and the planned work are no failures
    # of the unit: r = 2, 13 h. Factors for r = 2 at 95 % (NIST/SEMATECH e-Handbook 8.4.5.1): .2768 and 8.2573.
    rows = plain((1, "broken", 8, 9), (1, "no power", 32, 33), (1, "locked", 34, 35), (1, "planned work", 36, 37))
    days = unit_days(CABIN, rows, every_day(1), make_scope())
    found = time_between_failures(rows, days, make_scope())
    assert found.value == 13
    assert found.low == pytest.approx(13 * 0.2768, abs=1e-3)
    assert found.high == pytest.approx(13 * 8.2573, abs=1e-3)
    assert (found.unit, found.used, found.expected) == ("school hours", 5, 5)


def test_without_a_failure_the_value_is_the_low_limit_and_says_so():
    # 30 h without a failure: 30 × .333808 (NIST/SEMATECH e-Handbook 8.4.5.1, zero fails, 95 %).
    rows = plain()
    found = time_between_failures(rows, unit_days(CABIN, rows, every_day(1), make_scope()), make_scope())
    assert found.value == pytest.approx(30 * 0.333808, abs=1e-4)
    assert found.high is None
    assert "lower limit" in found.note


def test_only_observed_days_are_running_time_and_silence_tells_nothing():
    rows = plain((1, "broken", 8, 9))
    scope = make_scope()
    assert time_between_failures(rows, unit_days(CABIN, rows, evidence_days(), scope), scope).value == 5
    none = plain()
    assert time_between_failures(none, unit_days(CABIN, none, evidence_days(), scope), scope).value is None


def test_a_failure_of_the_last_period_takes_time_but_is_not_counted_again():
    rows = plain((1, "broken", -30, 9), (1, "broken", 33, 34))
    scope = make_scope()
    days = unit_days(CABIN, rows, every_day(1), scope)
    assert time_between_failures(rows, days, scope).value == 28


def test_gaps_between_looks_are_counted_in_school_days():
    # Five school days. Looked on Tuesday (gap 2), Wednesday (1); Friday unseen: 2 since, not unfinished.
    units = make_units(
        (1, "cabin", MONDAY, None), (2, "cabin", MONDAY, None), (3, "tap", MONDAY + timedelta(days=4), None)
    )
    days = unit_days(units, plain(), evidence_days(), make_scope())
    # Unit 2 was seen on Monday (1), then no more: 4 days, over the limit. Unit 3 stood one day only: nothing due.
    table = looks(seen((1, 1), (1, 2), (2, 0), (2, 0), (3, -3)), days)
    assert table[["unit_id", "school_days", "looks", "longest_gap", "gaps", "kept"]].values.tolist() == [
        [1, 5, 2, 2, 2, 2],
        [2, 5, 1, 4, 2, 1],
        [3, 1, 0, 1, 0, 0],
    ]
    found = days_between_looks(table)
    assert found.value == 0.75
    assert (found.used, found.records) == (4, "gaps between looks")


def test_a_weekend_between_looks_is_no_school_day():
    # Looked on Friday 9 and Monday 12: with school on both, the gap is one school day.
    friday = date(2026, 1, 9)
    held = [SchoolDay(friday, "day", 480, 840), SchoolDay(MONDAY, "day", 480, 840)]
    scope = Scope(Span(friday, MONDAY), {1: school_time(held, ZoneInfo("UTC"))}, ZoneInfo("UTC"), AS_OF)
    days = unit_days(make_units((1, "cabin", friday, None)), plain(), evidence_days(), scope)
    table = looks(seen((1, -3), (1, 0)), days)
    assert table[["looks", "longest_gap", "gaps", "kept"]].values.tolist() == [[2, 1, 2, 2]]


def test_without_units_there_are_no_gaps():
    days = unit_days(make_units(), plain(), evidence_days(), make_scope())
    assert days_between_looks(looks(seen(), days)).value is None
