"""How good forecasts have been, as the programme report prints it. Worked by hand (no outside source); MASE itself is
checked in tests/measures/test_forecast.py."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from tests.reports.test_records_agree import LAST
from tracker.reports import export
from tracker.reports.sections import demand

WEEKS = pd.date_range("2026-01-12", periods=8, freq="7D")


def facts(given, ran_out=(), codes=None):
    """Schools with one machine each: napkins given out week by week, five school days a week."""
    codes = codes or {place + 1: f"S{place + 1}" for place in range(len(given))}
    rows, asked, days = [], [], []
    for school, series in enumerate(given, start=1):
        for week, amount in zip(WEEKS, series, strict=False):
            rows.append((school, week, float(amount or 0), int(amount is not None), 1))
            asked.append((school, week, float((school, WEEKS.get_loc(week)) in ran_out)))
            days.append((school, week, 5))
    frame = pd.DataFrame(rows, columns=["school_id", "week", "given_out", "used", "expected"])
    every = SimpleNamespace(
        given=frame,
        machine_weeks=pd.DataFrame(asked, columns=["school_id", "week", "sold_out_days"]),
        calendar=SimpleNamespace(occasions=pd.DataFrame(days, columns=["school_id", "week", "school_days"])),
    )
    return SimpleNamespace(all=every, codes=codes, period=SimpleNamespace(last=LAST))


def test_the_forecast_stands_beside_as_many_as_last_week_with_its_weeks():
    # Learned from 10, 20, 10, 20: mean change 10. Held out 15, 15, 15, 15: the mean so far is always 15, so no error.
    # "As many as last week": 20 for 15, then 15 for 15 three times: mean error 5 ÷ 4 = 1.25, scaled 0.125.
    table = demand.forecast_check_table(facts([[10, 20, 10, 20, 15, 15, 15, 15]]))
    school, weeks, ours, naive, nearer = table.rows[0]
    assert (school, weeks, nearer) == ("S1", 4, "the forecast")
    assert (ours.value, naive.value) == (0.0, 0.125)
    assert (ours.used, ours.records) == (4, "weeks held out")
    assert export.words(naive, table.columns[3]) == "0.13"


def test_all_schools_count_each_held_out_week_the_same():
    # The second learns from 10, 20, 10, 20 too and has 35 in every held-out week. Rates of the weeks before: 15, then
    # (60 + 35) ÷ 5 = 19, 130 ÷ 6, 165 ÷ 7: errors 20, 16, 13 1/3, 11 3/7, mean 15.190..., scaled 1.519...
    # As many as last week: 15, 0, 0, 0: mean 3.75, scaled 0.375.
    table = demand.forecast_check_table(facts([[10, 20, 10, 20, 15, 15, 15, 15], [10, 20, 10, 20, 35, 35, 35, 35]]))
    mean = (20 + 16 + (35 - 130 / 6) + (35 - 165 / 7)) / 4 / 10
    assert table.rows[1][2].value == pytest.approx(mean)
    assert table.rows[1][4] == "as many as last week"
    assert table.rows[2][:2] == ("All schools", 8)
    assert table.rows[2][2].value == pytest.approx(mean / 2)
    assert table.rows[2][3].value == pytest.approx((0.125 + 0.375) / 2)


def test_weeks_that_ran_out_or_were_not_recorded_are_left_out():
    whole = [10, 20, 10, 20, 15, 15, 15, 15]
    # Without the last two, four of the other six are held out and two are too few to learn from.
    for seen in (facts([whole], {(1, 6), (1, 7)}), facts([[*whole[:6], None, None]])):
        assert demand.forecast_check_table(seen).rows == ()


def test_weeks_all_alike_say_nothing():
    # The mean change of the learning weeks is 0: the scale is not defined.
    assert demand.forecast_check_table(facts([[10] * 8])).rows == ()
