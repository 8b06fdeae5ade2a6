"""School time against a minute-by-minute count, the calendar of the days named, and hand-worked days."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.calendar import (
    BreakRule,
    Closure,
    Hours,
    Mark,
    Occasion,
    SchoolDay,
    Term,
    break_occasions,
    draw_breaks,
    local_minute,
    minutes_between,
    minutes_of,
    scheduled_minutes,
    school_days,
    school_days_in_week,
    school_time,
    week_of,
    weeks_covering,
)
from tracker.vocabulary import DayMark

ZULU = ZoneInfo("UTC")
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
START = date(2026, 1, 1)


def hours(weekdays, opens=480, closes=840, from_day=START, until_day=None, shift="day"):
    return [Hours(weekday, opens, closes, from_day, until_day, shift) for weekday in weekdays]


def at(day, hour=0, minute=0):
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


def test_every_day_lies_in_the_week_that_begins_on_the_first_weekday():
    for first_weekday in range(7):
        for number in range(800):
            day = date(2024, 12, 1) + timedelta(days=number)
            week = week_of(day, first_weekday)
            assert week.weekday() == first_weekday
            assert 0 <= (day - week).days < 7


@pytest.mark.parametrize(
    ("day", "first_weekday", "week"),
    [
        # Perpetual calendar: 1 January 2027 is a Friday, 30 December 2024 a Monday.
        (date(2027, 1, 1), 0, date(2026, 12, 28)),
        (date(2027, 1, 1), 6, date(2026, 12, 27)),
        (date(2027, 1, 1), 4, date(2027, 1, 1)),
        (date(2024, 12, 30), 0, date(2024, 12, 30)),
        (date(2024, 12, 30), 6, date(2024, 12, 29)),
        (date(2024, 12, 30), 5, date(2024, 12, 28)),
    ],
)
def test_weeks_around_the_new_year_are_not_iso_weeks(day, first_weekday, week):
    assert week_of(day, first_weekday) == week


def test_weeks_over_the_new_year_are_contiguous_and_cover_the_last_day():
    weeks = weeks_covering(date(2026, 12, 16), date(2027, 1, 10), 6)
    assert weeks[0] == date(2026, 12, 13)
    assert weeks[-1] == date(2027, 1, 10)
    assert {b - a for a, b in pairwise(weeks)} == {timedelta(days=7)}


@pytest.mark.parametrize("wrong", [-1, 7])
def test_a_first_weekday_outside_the_week_is_refused(wrong):
    with pytest.raises(ValueError, match=r"0 \(Monday\) to 6"):
        week_of(START, wrong)


def test_days_that_run_backwards_are_refused():
    with pytest.raises(ValueError, match="backwards"):
        weeks_covering(date(2026, 2, 1), date(2026, 1, 1), 0)
    with pytest.raises(ValueError, match="backwards"):
        Term(date(2026, 2, 1), date(2026, 1, 1))


def test_a_term_over_31_december_keeps_its_days_on_both_sides():
    # Thursday 31 December 2026 and Monday 4 January 2027; Friday 1 January is closed, then a weekend.
    term = Term(date(2026, 12, 31), date(2027, 1, 4))
    found = school_days([term], hours(range(5)), [Closure(date(2027, 1, 1), date(2027, 1, 1))], [])
    assert [held.day for held in found] == [date(2026, 12, 31), date(2027, 1, 4)]


def test_a_friday_and_saturday_weekend_holds_school_on_sunday():
    # 4 to 10 January 2026 is a Sunday to a Saturday.
    sunday_to_thursday = hours([6, 0, 1, 2, 3])
    found = school_days([Term(date(2026, 1, 4), date(2026, 1, 10))], sunday_to_thursday, [], [])
    assert [held.day.day for held in found] == [4, 5, 6, 7, 8]
    assert school_days_in_week(found, date(2026, 1, 4)) == [held.day for held in found]


def test_a_lost_day_is_gone_a_half_day_is_halved_down_and_an_exam_is_noted():
    monday = date(2026, 1, 12)
    marks = [
        Mark(monday, DayMark.HALF),  # 08:00 to 14:01 is 361 minutes; half is 180
        Mark(monday + timedelta(days=1), DayMark.LOST),
        Mark(monday + timedelta(days=1), DayMark.HALF),
        Mark(monday + timedelta(days=2), DayMark.EXAM),
        Mark(monday + timedelta(days=3), DayMark.OUT_OF_HOURS),
    ]
    found = school_days([Term(monday, date(2026, 1, 15))], hours(range(5), 480, 841), [], marks)
    assert [(held.day.day, held.opens_min, held.closes_min, held.exam) for held in found] == [
        (12, 480, 660, False),
        (14, 480, 841, True),
        (15, 480, 841, False),
    ]


def test_new_hours_hold_from_their_first_day():
    rows = [
        *hours(range(7)),
        *hours(range(7), 540, 780, from_day=date(2026, 1, 14), until_day=date(2026, 1, 15)),
    ]
    found = school_days([Term(date(2026, 1, 13), date(2026, 1, 16))], rows, [], [])
    assert [(held.opens_min, held.closes_min) for held in found] == [
        (480, 840),
        (540, 780),
        (540, 780),
        (480, 840),
    ]


def test_shifts_are_united_minute_by_minute():
    # 07:00-12:00 and 11:30-16:00 overlap by half an hour: nine hours, not nine and a half.
    monday = date(2026, 1, 12)
    rows = [*hours([0], 420, 720, shift="early"), *hours([0], 690, 960, shift="late")]
    days = school_days([Term(monday, monday)], rows, [], [])
    assert [held.shift for held in days] == ["early", "late"]
    assert len(school_days_in_week(days, monday)) == 1
    time = school_time(days, ZULU)
    assert len(time.starts) == 1
    assert scheduled_minutes(time, at(monday), at(monday, 23)) == 9 * 60


def test_shifts_with_a_gap_leave_the_gap_out():
    monday = date(2026, 1, 12)
    rows = [*hours([0], 420, 660, shift="early"), *hours([0], 720, 960, shift="late")]
    time = school_time(school_days([Term(monday, monday)], rows, [], []), ZULU)
    assert scheduled_minutes(time, at(monday, 10), at(monday, 13)) == 60 + 60


def test_the_night_the_clocks_change_has_an_hour_less_or_more():
    # EU rule, Directive 2000/84/EC: forward at 01:00 UTC on the last Sunday of March, back on that of October.
    zone = ZoneInfo("Europe/Vienna")
    for day, length in ((date(2026, 3, 29), 23 * 60), (date(2026, 10, 25), 25 * 60)):
        time = school_time([SchoolDay(day, "boarders", 0, 1440)], zone)
        assert int(time.before[-1]) == length
    before = local_minute(date(2026, 3, 28), 480, zone)
    after = local_minute(date(2026, 3, 29), 480, zone)
    assert after - before == 23 * 60


def test_school_hours_keep_their_length_across_the_change_of_the_clock():
    zone = ZoneInfo("Europe/Vienna")
    days = school_days([Term(date(2026, 3, 27), date(2026, 3, 30))], hours(range(5)), [], [])
    time = school_time(days, zone)
    # 08:00 is 07:00 UTC on Friday the 27th and 06:00 UTC on Monday the 30th.
    assert scheduled_minutes(time, at(date(2026, 3, 27), 7), at(date(2026, 3, 27), 8)) == 60
    assert scheduled_minutes(time, at(date(2026, 3, 30), 6), at(date(2026, 3, 30), 7)) == 60
    assert scheduled_minutes(time, at(date(2026, 3, 30), 5), at(date(2026, 3, 30), 6)) == 0
    assert int(time.before[-1]) == 720


SHIFT = st.tuples(st.integers(0, 6), st.integers(0, 1439), st.integers(1, 600), st.sampled_from("ab"))
ZONES = st.sampled_from(["UTC", "Europe/Vienna", "Asia/Kathmandu", "America/Sao_Paulo"])


@settings(max_examples=40, deadline=None)
@given(
    rows=st.lists(SHIFT, max_size=6),
    start=st.integers(-600, 6 * 1440),
    length=st.integers(0, 4 * 1440),
    zone=ZONES,
)
def test_scheduled_minutes_equal_a_count_minute_by_minute(rows, start, length, zone):
    # Four days around the change of the clock on 29 March 2026; the oracle asks each minute of the clock in turn.
    first = date(2026, 3, 27)
    held = {}
    for offset, opens, span, shift in rows:
        held[offset % 4, shift] = SchoolDay(first + timedelta(days=offset % 4), shift, opens, min(opens + span, 1440))
    place = ZoneInfo(zone)
    time = school_time([one for one in held.values() if one.closes_min > one.opens_min], place)
    begin = datetime(2026, 3, 27, tzinfo=UTC) + timedelta(minutes=start)
    counted = 0
    edges = [
        (
            datetime(one.day.year, one.day.month, one.day.day, tzinfo=place) + timedelta(minutes=one.opens_min),
            datetime(one.day.year, one.day.month, one.day.day, tzinfo=place) + timedelta(minutes=one.closes_min),
        )
        for one in held.values()
    ]
    spans = [(opens.astimezone(UTC), closes.astimezone(UTC)) for opens, closes in edges]
    for minute in range(length):
        now = begin + timedelta(minutes=minute)
        counted += any(opens <= now < closes for opens, closes in spans)
    assert scheduled_minutes(time, begin, begin + timedelta(minutes=length)) == counted


def test_the_array_form_gives_the_same_as_one_by_one():
    days = school_days([Term(date(2026, 1, 5), date(2026, 1, 16))], hours(range(5)), [], [])
    time = school_time(days, ZULU)
    starts = np.arange(0, 20_000, 977) + local_minute(date(2026, 1, 4), 0, ZULU)
    ends = starts + 1234
    one_by_one = [
        scheduled_minutes(time, EPOCH + timedelta(minutes=int(a)), EPOCH + timedelta(minutes=int(b)))
        for a, b in zip(starts, ends, strict=True)
    ]
    assert minutes_between(time, starts, ends).tolist() == one_by_one
    assert sum(one_by_one) > 0


def test_a_school_without_school_days_has_no_minutes():
    time = school_time([], ZULU)
    assert scheduled_minutes(time, at(START), at(date(2027, 1, 1))) == 0


def test_an_interval_that_ends_before_it_starts_or_has_no_zone_is_refused():
    time = school_time([], ZULU)
    with pytest.raises(ValueError, match="ends before"):
        scheduled_minutes(time, at(date(2026, 1, 2)), at(date(2026, 1, 1)))
    with pytest.raises(ValueError, match="zone"):
        scheduled_minutes(time, datetime(2026, 1, 1), at(date(2026, 1, 2)))


def test_an_empty_instant_becomes_the_blank_given():
    cells = np.array(["1970-01-01T00:01:59", "NaT", "1969-12-31T23:59:30"], dtype="datetime64[us]")
    assert minutes_of(cells, blank=99).tolist() == [1, 99, -1]


def rule(code, start, end, weekday=0, shift="day", from_day=START):
    return BreakRule(code, code.title(), weekday, start, end, from_day, None, shift)


def test_a_half_day_loses_the_breaks_after_its_end():
    # 08:00-14:00 halved ends at 11:00: the break at 10:00 stays, the one at 12:00 and one across 11:00 go.
    monday = date(2026, 1, 12)
    term = [Term(monday, monday)]
    rules = [rule("morning", 600, 620), rule("across", 655, 665), rule("noon", 720, 750)]
    whole = break_occasions(school_days(term, hours([0]), [], []), rules, ZULU)
    half = break_occasions(school_days(term, hours([0]), [], [Mark(monday, DayMark.HALF)]), rules, ZULU)
    assert [one.slot for one in whole] == ["morning", "across", "noon"]
    assert half == [Occasion(monday, at(monday, 10), at(monday, 10, 20), "morning")]


def test_a_break_belongs_to_its_shift_and_its_weekday():
    monday = date(2026, 1, 12)
    days = [SchoolDay(monday, "early", 420, 720), SchoolDay(monday, "late", 720, 1020)]
    rules = [rule("one", 780, 800, shift="early"), rule("two", 780, 800, shift="late"), rule("three", 780, 800, 1)]
    assert [one.slot for one in break_occasions(days, rules, ZULU)] == ["two"]


def test_two_shifts_with_one_break_code_on_a_day_are_refused():
    monday = date(2026, 1, 12)
    days = [SchoolDay(monday, "early", 420, 720), SchoolDay(monday, "late", 720, 1020)]
    rules = [rule("one", 480, 500, shift="early"), rule("one", 780, 800, shift="late")]
    with pytest.raises(ValueError, match="different codes"):
        break_occasions(days, rules, ZULU)


def test_breaks_in_a_zone_with_summer_time_stand_at_their_local_clock():
    zone = ZoneInfo("Europe/Vienna")
    friday, monday = date(2026, 3, 27), date(2026, 3, 30)
    days = [SchoolDay(friday, "day", 480, 840), SchoolDay(monday, "day", 480, 840)]
    found = break_occasions(days, [rule("b", 600, 620, 4), rule("b", 600, 620, 0)], zone)
    assert [one.start for one in found] == [at(friday, 9), at(monday, 8)]


def week_of_breaks(per_day):
    monday = date(2026, 1, 12)
    return [
        Occasion(day, at(day, 10 + slot), at(day, 10 + slot, 20), f"b{slot}")
        for day in (monday + timedelta(days=n) for n in range(len(per_day)))
        for slot in range(per_day[(day - monday).days])
    ]


def test_the_draw_is_the_smallest_hashes_on_different_days():
    # printf 's|2026-01-12|b0' | sha256sum (coreutils) and so on, first six digits:
    # 13 b1 685148, 12 b0 6a3fec, 12 b1 8af95e, 13 b0 aec1b8.
    drawn = [draw_breaks(week_of_breaks([2, 2]), count, "s") for count in (1, 2, 3)]
    assert [[(one.day.day, one.slot) for one in ones] for ones in drawn] == [
        [(13, "b1")],
        [(12, "b0"), (13, "b1")],
        [(12, "b0"), (12, "b1"), (13, "b1")],
    ]


@given(
    per_day=st.lists(st.integers(0, 3), min_size=1, max_size=6),
    count=st.integers(0, 12),
    seed=st.text(max_size=5),
)
@settings(max_examples=60, deadline=None)
def test_a_draw_is_without_replacement_spread_over_days_and_repeatable(per_day, count, seed):
    occasions = week_of_breaks(per_day)
    drawn = draw_breaks(occasions, count, seed)
    assert drawn == draw_breaks(list(reversed(occasions)), count, seed)
    assert len(set(drawn)) == len(drawn) == min(count, len(occasions))
    assert set(drawn) <= set(occasions)
    days = {one.day for one in drawn}
    assert len(days) == min(len(drawn), sum(1 for number in per_day if number))


def test_over_many_seeds_each_break_is_drawn_about_equally_often():
    # 10 occasions, 2 drawn: each 20 % of 2,000 draws; 5 standard deviations are √(2000·0.2·0.8)·5 = 89.
    occasions = week_of_breaks([2] * 5)
    times = dict.fromkeys(occasions, 0)
    for number in range(2000):
        for one in draw_breaks(occasions, 2, f"seed {number}"):
            times[one] += 1
    assert all(abs(count - 400) < 90 for count in times.values())


def test_a_negative_number_of_breaks_is_refused():
    with pytest.raises(ValueError, match="negative"):
        draw_breaks([], -1, "s")


def test_hours_that_close_before_they_open_are_refused():
    with pytest.raises(ValueError, match="open before"):
        Hours(0, 840, 480, START, None, "day")
