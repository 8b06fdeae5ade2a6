"""Dials: WAT-07 (derived by hand, no outside source) and runs of readings worked by hand beside each test."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measures.frames_by_hand import occasions, readings, units, week
from tracker.measures.dials import interval_uses, share_out, spread_over_weeks, use_between

FRI_1, FRI_2, FRI_3, FRI_4 = (date(2031, 1, 10), date(2031, 1, 17), date(2031, 1, 24), date(2031, 1, 31))


def test_a_dial_that_rolls_over_counts_on() -> None:
    # WAT-07, derived by hand: five digits, 99950 to 120 is 50 steps to 00000 and 120 more.
    assert use_between(99950, 120, 5) == 170


@pytest.mark.parametrize(("start", "end", "digits"), [(-1, 5, 3), (1, 1000, 3), (0, 0, 0)])
def test_a_reading_that_does_not_fit_is_refused(start: int, end: int, digits: int) -> None:
    with pytest.raises(ValueError, match="dial"):
        use_between(start, end, digits)


@given(st.integers(0, 99999), st.integers(0, 99999), st.integers(0, 99999))
def test_use_over_two_intervals_is_use_over_both(first: int, middle: int, last: int) -> None:
    both = use_between(first, middle, 5) + use_between(middle, last, 5)
    assert both % 10**5 == use_between(first, last, 5)


@given(st.integers(0, 10**6), st.lists(st.integers(0, 6), min_size=1, max_size=14))
def test_shares_are_whole_and_add_up(total: int, weights: list[int]) -> None:
    shares = share_out(total, weights)
    assert sum(shares) == total
    if sum(weights):
        quotas = [total * weight / sum(weights) for weight in weights]
        assert all(abs(share - quota) < 1 for share, quota in zip(shares, quotas, strict=True))


def test_readings_of_following_weeks_give_an_interval_each() -> None:
    frame = readings({"day": FRI_1, "value": 99900}, {"day": FRI_2, "value": 99950}, {"day": FRI_3, "value": 120})
    uses = interval_uses(frame, period_from=date(2031, 1, 1))
    assert list(uses["steps"]) == [50, 170]
    assert list(uses["week"].dt.date) == [week(2), week(3)]
    assert not uses["exchanged"].any()
    assert uses["ml"].isna().all()  # visits are no water


def test_a_new_dial_runs_from_its_first_value_only_when_put_in_during_the_period() -> None:
    frame = readings({"day": FRI_1, "value": 40, "install_from": date(2031, 1, 7), "first_value": 15})
    assert list(interval_uses(frame, period_from=date(2031, 1, 6))["steps"]) == [25]
    assert interval_uses(frame, period_from=date(2031, 1, 8)).empty


def test_an_exchange_adds_the_rest_of_the_old_dial_and_the_start_of_the_new() -> None:
    # Old dial: read 99990, taken out at 30 (rolled over): 40 steps. New: put in at 2, read 12: 10 steps.
    frame = readings(
        {"day": FRI_1, "value": 99990, "last_value": 30, "quantity": "water", "step_ml": 1000},
        {"day": FRI_2, "value": 12, "install_from": date(2031, 1, 15), "first_value": 2}
        | {"quantity": "water", "step_ml": 1000},
    )
    uses = interval_uses(frame, period_from=date(2031, 1, 1))
    assert list(uses["steps"]) == [50]
    assert list(uses["ml"]) == [50_000]
    assert list(uses["exchanged"]) == [True]


def test_dials_of_different_steps_are_counted_in_their_common_step() -> None:
    # 4 steps of 10 L and 7 of 1 L = 47 L = 47 steps of 1 L.
    frame = readings(
        {"day": FRI_1, "value": 100, "last_value": 104, "quantity": "water", "step_ml": 10_000},
        {"day": FRI_2, "value": 7, "install_from": date(2031, 1, 15), "quantity": "water", "step_ml": 1000},
    )
    uses = interval_uses(frame, period_from=date(2031, 1, 1))
    assert (uses["steps"].item(), uses["step_ml"].item(), uses["ml"].item()) == (47, 1000, 47_000)


def test_an_exchange_without_the_old_dials_last_value_leaves_a_gap() -> None:
    frame = readings(
        {"day": FRI_1, "value": 100},
        {"day": FRI_2, "value": 7, "install_from": date(2031, 1, 15)},
        {"day": FRI_3, "value": 9, "install_from": date(2031, 1, 15)},
    )
    uses = interval_uses(frame, period_from=date(2031, 1, 1))
    assert list(uses["steps"]) == [2]


def test_one_source_counts_and_the_preferred_one_goes_before_the_device() -> None:
    frame = readings(
        {"day": FRI_1, "value": 10},
        {"day": FRI_2, "value": 15},
        {"day": FRI_1, "value": 10, "source": "device"},
        {"day": FRI_2, "value": 16, "source": "device"},
    )
    since = date(2031, 1, 1)
    assert list(interval_uses(frame, period_from=since)["steps"]) == [6]
    assert list(interval_uses(frame, period_from=since, preferred={1: "tally"})["steps"]) == [5]
    assert list(interval_uses(frame, period_from=since, preferred={1: "engineer"})["steps"]) == [6]


def test_a_missed_week_is_shared_by_school_days_and_says_modelled() -> None:
    # 100 visits over weeks 2 and 3 with 5 and 4 school days: quotas 55.56 and 44.44, so 56 and 44.
    frame = readings({"day": FRI_1, "value": 0}, {"day": FRI_3, "value": 100}, {"day": FRI_4, "value": 130})
    weeks = occasions((1, 1, 10, 5), (1, 2, 10, 5), (1, 3, 8, 4), (1, 4, 10, 5))
    spread = spread_over_weeks(interval_uses(frame, period_from=date(2031, 1, 1)), weeks, units({}))
    assert list(spread["week"].dt.date) == [week(2), week(3), week(4)]
    assert list(spread["steps"]) == [56, 44, 30]
    assert list(spread["basis"]) == ["modelled", "modelled", "counted"]


def test_a_holiday_week_between_two_readings_gets_nothing() -> None:
    frame = readings({"day": FRI_1, "value": 0}, {"day": FRI_3, "value": 100})
    weeks = occasions((1, 1, 10, 5), (1, 2, 0, 0), (1, 3, 10, 5))
    spread = spread_over_weeks(interval_uses(frame, period_from=date(2031, 1, 1)), weeks, units({}))
    assert list(spread["steps"]) == [100]
    assert list(spread["basis"]) == ["counted"]


def test_readings_twice_a_week_add_up_to_the_week() -> None:
    frame = readings({"day": FRI_1, "value": 0}, {"day": date(2031, 1, 14), "value": 20}, {"day": FRI_2, "value": 50})
    spread = spread_over_weeks(
        interval_uses(frame, period_from=date(2031, 1, 1)), occasions((1, 1, 10, 5), (1, 2, 10, 5)), units({})
    )
    assert list(spread["steps"]) == [50]


def test_no_readings_give_empty_frames_with_their_columns() -> None:
    uses = interval_uses(readings())
    spread = spread_over_weeks(uses, occasions((1, 1, 10, 5)), units({}))
    assert uses.empty and spread.empty
    assert isinstance(spread["week"].dtype, type(pd.Series(dtype="datetime64[us]").dtype))


@given(
    st.lists(st.tuples(st.integers(1, 12), st.integers(0, 99999)), min_size=2, max_size=12, unique_by=lambda r: r[0]),
    st.lists(st.integers(0, 6), min_size=12, max_size=12),
)
def test_weeks_add_up_to_the_dials_whole_turn(reads: list[tuple[int, int]], days: list[int]) -> None:
    """Whatever weeks were missed and however many days school was held, no step is lost or made."""
    frame = readings(*({"day": week(number), "value": value} for number, value in sorted(reads)))
    uses = interval_uses(frame, period_from=date(2031, 1, 1))
    weeks = occasions(*((1, number, 2 * day, day) for number, day in enumerate(days, start=1)))
    assert spread_over_weeks(uses, weeks, units({}))["steps"].sum() == uses["steps"].sum()
