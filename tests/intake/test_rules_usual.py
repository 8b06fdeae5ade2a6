"""A unit's week beside the weeks before it: asked once, with both numbers, never refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.intake.small_folder import small, write
from tracker.intake.folder import load_folder
from tracker.intake.rules import check_facts, parse_facts
from tracker.intake.rules_usual import usual_range, usual_tally
from tracker.models.school import School
from tracker.models.units import Unit
from tracker.models.usage import UsageCount
from tracker.records.context import ReadingInfo, school_context
from tracker.records.context_rows import DialInfo
from tracker.records.past_weeks import PastWeeks, past_weeks
from tracker.vocabulary import CountWay, Quantity, Source

NOW = datetime(2026, 3, 28, 9, tzinfo=UTC)
WEEK = date(2026, 1, 19)
EIGHT = (100, 110, 90, 105, 95, 100, 120, 80)
WEEKS = [WEEK - timedelta(weeks=8 - n) for n in range(8)]


@pytest.fixture
def loaded(session, tmp_path):
    load_folder(session, write(tmp_path / "folder", small()), now=NOW)
    session.commit()
    return session


def context_of(session, figures=EIGHT, days=5, **more):
    """The school's second week, with eight made-up weeks before it."""
    context = school_context(session, session.query(School.id).scalar(), WEEK, WEEK + timedelta(days=6))
    held = dict.fromkeys(WEEKS, days)
    counts = {"G1": dict(zip(WEEKS[8 - len(figures) :], figures, strict=True))}
    return replace(context, past=PastWeeks(counts, {}, held), **more)


def grid(total: int, note: str = ""):
    """Two breaks of one day that add up to a total."""
    row = {"unit": "G1", "first_day": "2026-01-20", "days": "1", "source": "tally", "how": "grid", "note": note}
    return [row | {"slot": "B1", "visits": "1"}, row | {"slot": "B2", "visits": str(total - 1)}]


def asked(context, rows, table="usage_counts"):
    facts, problems = parse_facts({table: rows})
    assert problems == []
    return [one for one in check_facts(context, facts, now=NOW) if one.rule == "unlike_before"]


def test_the_usual_range_is_the_criterion_s_by_hand():
    # sorted 80 90 95 100 100 105 110 120: median 100; deviations 0 0 5 5 10 10 20 20: MAD 7.5;
    # 3 x 1.4826 x 7.5 = 33.3585 (criterion for soft limits: median +- 3 x 1.4826 x MAD of the last 8 weeks)
    assert usual_range(list(EIGHT)) == pytest.approx((66.6415, 133.3585))
    assert usual_range([1000, *EIGHT]) == pytest.approx((66.6415, 133.3585)), "only the latest eight"
    assert usual_range([100, 100, 100, 100]) is None
    # where weeks were alike, what chance does to a count around 100: its square root, three times (Poisson)
    assert usual_range([100] * 5) == (70, 130)


@pytest.mark.parametrize(("total", "asks"), [(66, 1), (67, 0), (133, 0), (134, 1)])
def test_outside_the_usual_range_a_week_is_asked_about_once(loaded, total, asks):
    # five school days before and now (19 to 23 January): nothing to scale
    found = asked(context_of(loaded), grid(total))
    assert len(found) == asks
    assert all(one.soft and (one.table, one.row, one.column) == ("usage_counts", 2, "visits") for one in found)


def test_the_question_shows_last_week_and_the_usual_range_and_a_note_settles_it(loaded):
    (one,) = asked(context_of(loaded), grid(200))
    assert one.message.startswith(
        "200 visits this week. Last week: 80. Usual for 5 school days: 67 to 133. Look at the paper sheet"
    )
    assert asked(context_of(loaded), grid(200, "Open day")) == []


@pytest.mark.parametrize(("total", "asks"), [(89, 0), (90, 0), (91, 1)])
def test_more_than_three_times_last_week_is_asked_about_though_few_weeks_are_known(loaded, total, asks):
    # last week 30: three times is 90; three weeks give no usual range
    found = asked(context_of(loaded, (20, 25, 30)), grid(total))
    assert len(found) == asks
    assert all("Last week: 30." in one.message and "Usual" not in one.message for one in found)


def test_weeks_of_fewer_school_days_are_taken_to_this_week_s(loaded):
    # eight weeks of 2 school days each: times 5 / 2 the range is 166.6 to 333.4; 200 is usual then
    assert asked(context_of(loaded, days=2), grid(200)) == []


def test_a_counter_is_asked_about_by_what_it_turned(loaded):
    # median 10, three times its square root is 9.49 (Poisson).
    # 5 digits: from 99990 over the end to 00090 it turned 100, in each week before 10 (readings by hand)
    installed = datetime(2025, 9, 1, tzinfo=UTC)
    context = context_of(loaded)
    dial = DialInfo(Quantity.VISITS, installed, None, 5, 1, 0, None)
    values = dict(zip(WEEKS, range(99920, 99991, 10), strict=True))
    readings = {week: ReadingInfo(datetime(week.year, week.month, week.day, 12, tzinfo=UTC), value)
                for week, value in values.items()}  # fmt: skip
    units = {**context.units, "G1": replace(context.units["G1"], dials=(dial,))}
    context = replace(context, units=units, past=replace(context.past, counts={}, readings={"G1": readings}))
    row = {"unit": "G1", "quantity": "visits", "source": "tally", "at_local_time": "2026-01-23T12:00", "note": ""}
    (one,) = asked(context, [row | {"value": "90"}], "readings")
    assert one.message.startswith("100 visits this week. Last week: 10. Usual for 5 school days: 1 to 19.")
    assert asked(context, [row | {"value": "2"}], "readings") == []  # 12 visits


def test_a_tally_of_drawn_breaks_is_no_week_s_figure(loaded):
    rows = [row | {"how": "drawn"} for row in grid(200)]
    assert asked(context_of(loaded), rows) == []


def test_the_usual_range_of_tallies_by_hand():
    # two tallies a week: sorted 7 8 8 9 9 9 10 11 12 30; median 9; deviations 2 1 1 0 0 0 1 2 3 21, sorted
    # 0 0 0 1 1 1 2 2 3 21: MAD 1; 3 x 1.4826 x 1 = 4.45 is below 3 x sqrt(9) = 9, so 0 to 18 (Poisson, as above)
    pairs = ((7, 8), (8, 9), (9, 9), (10, 11), (12, 30))
    assert usual_tally(dict(zip(WEEKS, pairs, strict=False))) == (0, 18)
    # of 9 weeks the first is not looked at; 8 x 0 visits: never less than 3 x sqrt(4) = 6 visits wide
    weeks = [WEEKS[0] - timedelta(weeks=1), *WEEKS]
    assert usual_tally(dict(zip(weeks, [(500,), *[(0,)] * 8], strict=True))) == (0, 6)
    assert usual_tally(dict.fromkeys(WEEKS[:2], (9, 9))) is None, "four tallies tell nothing"


@pytest.mark.parametrize(("visits", "asks"), [(18, 0), (19, 1), (55, 1)])
def test_a_drawn_break_s_tally_outside_the_unit_s_usual_range_is_asked_about_once(loaded, visits, asks):
    context = context_of(loaded)
    tallies = {"G1": dict.fromkeys(WEEKS, (9, 9))}  # median 9, MAD 0: 9 +- 3 x sqrt(9) is 0 to 18
    context = replace(context, past=replace(context.past, tallies=tallies))
    row = {"unit": "G1", "first_day": "2026-01-20", "days": "1", "source": "tally", "how": "drawn", "slot": "B1"}

    def found(note):
        facts, _ = parse_facts({"usage_counts": [row | {"visits": str(visits), "note": note}]})
        return [one for one in check_facts(context, facts, now=NOW) if one.rule == "tally_unlike_before"]

    assert [(one.soft, one.column) for one in found("")] == [(True, "visits")] * asks
    start = f"{visits} visits in this break. Usual for G1 in a drawn break of its last 8 weeks: 0 to 18. Look at"
    assert all(one.message.startswith(start) for one in found(""))
    assert found("Sports day") == []


def test_tallies_before_are_read_from_the_records_by_week(loaded):
    past = past_weeks(loaded, loaded.query(School.id).scalar(), date(2026, 1, 26))
    # the small folder's own two tallies of G1 in its first week, in the order of their breaks
    assert past.tallies["G1"] == {date(2026, 1, 12): [12, 0]}


def test_the_weeks_before_are_read_from_the_records_without_the_sheet_s_own(loaded):
    unit = loaded.query(Unit).filter_by(code="G1").one()
    for week, how, slot, visits in (
        (date(2026, 1, 12), CountWay.GRID, "B2", 4),
        (date(2026, 1, 19), CountWay.GRID, "B1", 9),
        (date(2026, 1, 26), CountWay.GRID, "B1", 50),
    ):
        day = week + timedelta(days=1)
        row = UsageCount(unit_id=unit.id, week=week, first_day=day, slot=slot, source=Source.TALLY, how=how)
        row.visits = visits
        loaded.add(row)
    loaded.flush()
    past = past_weeks(loaded, unit.school_id, date(2026, 1, 26))
    # the small folder's own 12 visits of the first week were tallied in a drawn break: no week's figure
    assert past.counts["G1"] == {date(2026, 1, 12): 4, date(2026, 1, 19): 9}
    # 15 January is a closure of the small folder: four school days in its week, five in the next
    assert [past.school_days[week] for week in (date(2026, 1, 12), date(2026, 1, 19))] == [4, 5]
