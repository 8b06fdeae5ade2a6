"""Urgency of open outages, worked by hand."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tracker.measures.urgency import by_urgency, day_means, like_units

MEANS = ["unit_id", "mean", "var", "n"]


def out(*rows):
    """(fault, unit, school, danger, only accessible), all girls' cabins."""
    return pd.DataFrame(
        [
            {"fault": fault, "unit_id": unit, "school_id": school, "kind": "cabin", "group": "girls",
             "danger": danger, "only_accessible": only, "since": pd.Timestamp(f"2031-01-{fault:02d}", tz="UTC")}
            for fault, unit, school, danger, only in rows
        ]
    )  # fmt: skip


def units(*rows):
    return pd.DataFrame([(unit, school, "cabin", "girls") for unit, school in rows], columns=[
        "unit_id", "school_id", "kind", "group"
    ])  # fmt: skip


def means(*rows):
    return pd.DataFrame(rows, columns=MEANS).astype({"unit_id": "int64", "mean": float, "var": float, "n": "int64"})


def test_visits_of_a_day_are_breaks_times_the_mean_with_both_uncertainties():
    # 3 breaks a day, mean 4 of 6 tallied breaks, variance 2: 12 visits; error 2 × (3 + 9 ÷ 6) = 9, so 12 ± 1.96 × 3.
    row = by_urgency(out((1, 1, 1, False, False)), {1: 3.0}, means((1, 4, 2, 6)), units((1, 1))).iloc[0]
    assert (row.breaks_a_day, row.visits_a_day) == (3.0, 12.0)
    assert (row.low, row.high) == (pytest.approx(12 - 1.959964 * 3), pytest.approx(12 + 1.959964 * 3))
    assert (row.known, row.like) == (1, 0)


def test_units_out_together_are_one_fault_whose_losses_add():
    # Means 4 and 1 at 2 breaks: 8 + 2 visits, 4 unit breaks; variances 2 × (2 + 4 ÷ 4) = 6 and 1 × (2 + 4 ÷ 2) = 4.
    rows = out((1, 1, 1, False, False), (1, 2, 1, False, False))
    row = by_urgency(rows, {1: 2.0}, means((1, 4, 2, 4), (2, 1, 1, 2)), units((1, 1), (2, 1))).iloc[0]
    assert (row.units, row.breaks_a_day, row.visits_a_day) == (2, 4.0, 10.0)
    assert row.high == pytest.approx(10 + 1.959964 * math.sqrt(10))


def test_danger_then_the_last_accessible_cabin_then_most_visits_then_not_known():
    rows = out((1, 1, 1, False, False), (2, 2, 2, False, False), (3, 3, 3, False, True), (4, 4, 4, True, False),
               (5, 5, 5, False, False))  # fmt: skip
    found = by_urgency(rows, {1: 2.0, 2: 2.0, 3: 2.0, 4: 2.0, 5: 9.0}, means((1, 3, 1, 5), (2, 8, 1, 5)),
                       units((1, 1), (2, 2), (3, 3), (4, 4), (5, 5)))  # fmt: skip
    assert found["fault"].tolist() == [4, 3, 2, 1, 5]
    assert math.isnan(found["visits_a_day"].iloc[-1])


def test_a_unit_without_tallies_takes_the_mean_of_units_like_it_at_the_school_only():
    # Like units: means 4 and 6 (mean 5), variances 1 and 3 (mean 2), between them 2: variance 4, n 2.
    means_of = means((1, 4, 1, 5), (2, 6, 3, 5))
    like = like_units(means_of, units((1, 1), (2, 1), (3, 1))).iloc[0]
    assert (like.like_mean, like.like_var, like.like_n) == (5.0, 4.0, 2)
    rows = out((1, 3, 1, False, False), (2, 9, 2, False, False))
    found = by_urgency(rows, {1: 1.0, 2: 1.0}, means_of, units((1, 1), (2, 1), (3, 1), (9, 2)))
    first, other = found.iloc[0], found.iloc[1]
    assert (first.visits_a_day, first.known, first.like) == (5.0, 0, 1)
    assert first.high == pytest.approx(5 + 1.959964 * math.sqrt(4 * (1 + 1 / 2)))
    assert other.fault == 2 and math.isnan(other.visits_a_day)


def test_no_outage_and_a_school_without_breaks():
    empty = by_urgency(out((1, 1, 1, False, False)).iloc[:0], {}, means(), units((1, 1)))
    assert empty.empty and "visits_a_day" in empty
    row = by_urgency(out((1, 1, 1, False, False)), {}, means((1, 4, 2, 6)), units((1, 1))).iloc[0]
    assert (row.breaks_a_day, row.visits_a_day, row.low, row.high) == (0.0, 0.0, 0.0, 0.0)


def weeks(*visits):
    mondays = pd.date_range("2031-01-06", periods=len(visits), freq="7D", unit="us")
    return pd.DataFrame({"unit_id": 1, "school_id": 1, "week": mondays, "visits": [float(one) for one in visits]})


def school_weeks(number, days=5):
    return weeks(*[0] * number)[["school_id", "week"]].assign(school_days=days)


def outage(start, end):
    at = pd.to_datetime(pd.Series([start, end]), utc=True)
    return pd.DataFrame({"unit_id": [1], "start": at[:1].array, "end": at[1:].array})


def test_visits_of_a_school_day_come_from_weeks_in_which_the_unit_was_never_out():
    # 100, 50, 120 visits in weeks of 5 school days; in the second it was out. 20 and 24 a day: mean 22, variance 8.
    found = day_means(weeks(100, 50, 120), school_weeks(3), outage("2031-01-14T06:00", "2031-01-15T06:00")).iloc[0]
    assert (found["mean"], found["var"], found["n"]) == (22.0, 8.0, 2)


def test_a_unit_that_is_out_since_the_last_week_has_no_mean_where_one_week_is_left():
    assert day_means(weeks(100, 50), school_weeks(2), outage("2031-01-14T06:00", None)).empty


def test_a_unit_that_nobody_tallies_loses_the_visits_of_its_school_days():
    # Mean 22 of 2 weeks, variance 8: 22 visits; error 8 × (1 + 1 ÷ 2) = 12. Its breaks do not multiply them.
    days = means((1, 22, 8, 2))
    row = by_urgency(out((1, 1, 1, False, False)), {1: 3.0}, means(), units((1, 1)), days).iloc[0]
    assert (row.breaks_a_day, row.visits_a_day, row.known, row.like) == (3.0, 22.0, 1, 0)
    assert row.high == pytest.approx(22 + 1.959964 * math.sqrt(12))


def test_tallied_breaks_come_before_the_visits_of_days():
    row = by_urgency(
        out((1, 1, 1, False, False)), {1: 3.0}, means((1, 4, 2, 6)), units((1, 1)), means((1, 22, 8, 2))
    ).iloc[0]
    assert row.visits_a_day == 12.0
