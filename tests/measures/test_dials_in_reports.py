"""Dials that begin before the first week with school, and meter intervals that reach out of the period.

Worked by hand; no outside source.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.measures.frames_by_hand import (
    fittings,
    long_weeks,
    occasions,
    readings,
    school_days,
    scopes,
    tallies,
    unit_weeks,
    units,
    usage,
    week,
)
from tracker.measures import balance, flush, visits
from tracker.vocabulary import Source

HOLIDAY = week(0) + timedelta(days=4)  # the Friday before the first week with school
READ_FROM = week(-9)
TERM = occasions((1, 1, 10, 5), (1, 2, 10, 5))
COUNTER = {"install_from": HOLIDAY, "first_value": 40}


def counted(reads, since):
    frame = units({"count_way": "counter"})
    found = visits.unit_weeks(frame, usage(), tallies(), TERM, reads, since=since)
    return found[["week", "visits", "basis"]].values.tolist()


def test_a_counter_installed_in_the_holidays_counts_from_the_first_week_of_school():
    # 40 when it was put in on Friday, 190 at the end of the first week, 300 at the end of the second.
    days = (week(1) + timedelta(days=4), week(2) + timedelta(days=4))
    reads = readings(*(COUNTER | {"day": day, "value": value} for day, value in zip(days, (190, 300), strict=True)))
    assert [row[1:] for row in counted(reads, READ_FROM)] == [[150, "counted"], [110, "counted"]]


def test_a_counter_installed_before_the_calendar_is_known_counts_from_its_first_reading():
    # Weeks with school may lie between the installation and the first week that is known.
    days = (week(1) + timedelta(days=4), week(2) + timedelta(days=4))
    reads = readings(*(COUNTER | {"day": day, "value": value} for day, value in zip(days, (190, 300), strict=True)))
    assert [row[1:] for row in counted(reads, week(1))] == [[110, "counted"]]


def test_a_counter_of_long_visits_begins_in_the_same_week_and_keeps_the_units_source():
    # 30 of 150 by the school's readings; the engineer's own two readings do not count.
    one = COUNTER | {"quantity": "long_visits", "first_value": 0, "day": week(1) + timedelta(days=4)}
    reads = readings(one | {"value": 30}, one | {"value": 99, "source": "device"})
    weeks = unit_weeks((1, 1, 150), way="counter")
    known = (long_weeks(), reads, weeks, TERM, units({}))
    found = flush.with_long_counters(*known, preferred={1: Source.TALLY}, since=READ_FROM)
    assert found[["seen", "long"]].values.tolist() == [[150, 30]]


def metered(around, *values):
    """Readings of a meter at the ends of the weeks given; 100 visits of 6 L in weeks 3 and 4, the period."""
    both = units({}, {"unit_id": 9, "unit": "W1", "kind": "meter", "count_way": "none"})
    base = {"unit_id": 9, "quantity": "water", "step_ml": 10_000, "u_permille": 20}
    reads = readings(*(base | {"day": week(n) + timedelta(days=4), "value": value} for n, value in values))
    weeks = unit_weeks((1, 1, 100), (1, 3, 100), (1, 4, 100))
    known = (weeks, both, fittings({}), long_weeks(), school_days(1, 3, 4))
    rows = flush.unit_week_water(*known, assumed=flush.LongShare(0.3, 0.1, 0.5))
    period = occasions((1, 3, 10, 5), (1, 4, 10, 5))
    return balance.meter_balance(both, scopes({}), reads, rows, period, around=around, since=READ_FROM)[0]


def test_what_a_meter_turned_in_the_term_before_is_not_put_on_the_first_week_of_the_next():
    # The reading of week 1 is missing: 120 steps from before week 1 to week 3 are about both terms, so week 3 is left
    # out; 61 steps of week 4 are 610 L beside 600 L.
    around = occasions((1, 0, 10, 5), (1, 1, 10, 5), (1, 3, 10, 5), (1, 4, 10, 5))
    found = metered(around, (0, 0), (3, 120), (4, 181))
    assert (found.metered.value, found.modelled.value, found.metered.used) == (610, 600, 1)


def test_a_meter_read_before_and_after_the_holidays_is_compared_from_the_first_week_on():
    # Week 2 has no school: the interval from week 1 to week 3 is about week 3 alone.
    around = occasions((1, 1, 10, 5), (1, 3, 10, 5), (1, 4, 10, 5))
    found = metered(around, (1, 60), (3, 120), (4, 181))
    assert (found.metered.value, found.modelled.value, found.metered.used) == (1210, 1200, 2)


@pytest.mark.parametrize(("installed", "value"), [(HOLIDAY, 1200), (week(3) + timedelta(days=1), 600)])
def test_a_meter_put_in_during_the_week_leaves_that_week_out(installed: date, value: int):
    # Put in before the week: both weeks. On its Tuesday: only the next one.
    both = units({}, {"unit_id": 9, "unit": "W1", "kind": "meter", "count_way": "none"})
    base = {"unit_id": 9, "quantity": "water", "step_ml": 10_000, "u_permille": 20, "install_from": installed}
    reads = readings(*(base | {"day": week(n) + timedelta(days=4), "value": v} for n, v in ((3, 61), (4, 123))))
    known = (unit_weeks((1, 3, 100), (1, 4, 100)), both, fittings({}), long_weeks(), school_days(3, 4))
    rows = flush.unit_week_water(*known, assumed=flush.LongShare(0.3, 0.1, 0.5))
    days = occasions((1, 3, 10, 5), (1, 4, 10, 5))
    found = balance.meter_balance(both, scopes({}), reads, rows, days, around=days, since=READ_FROM)[0]
    assert found.modelled.value == value
