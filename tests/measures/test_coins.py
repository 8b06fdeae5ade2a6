"""Counter × price beside the cash found. Worked by hand; common practice, no published source."""

from datetime import date

import pytest

from tracker.measures.coins import CoinState, Emptying, Price, banked_gap, coin_periods
from tracker.vocabulary import Basis

FIVE = [Price(date(2025, 9, 1), 5)]
JANUARY, FEBRUARY, MARCH = date(2026, 1, 31), date(2026, 2, 28), date(2026, 3, 31)


def test_vends_times_the_price_stand_beside_the_cash():
    # 160 − 100 = 60 vends × 5 = 300; found 290: 10 less. 250 − 160 = 90 × 5 = 450; found 450.
    boxes = [Emptying(JANUARY, 100, 0), Emptying(MARCH, 250, 450), Emptying(FEBRUARY, 160, 290)]
    first, second = coin_periods(boxes, FIVE, digits=5)
    assert (first.from_day, first.until_day, first.vends) == (date(2026, 2, 1), FEBRUARY, 60)
    assert (first.expected_minor, first.gap_minor, first.state) == (300, -10, CoinState.LESS)
    assert (second.expected_minor, second.gap_minor, second.state) == (450, 0, CoinState.AGREES)


def test_a_counter_that_rolled_over_still_counts():
    # Five digits: 99,990 to 20 is 10 to the end and 20 on: 30 vends × 5 = 150; found 155.
    (period,) = coin_periods([Emptying(JANUARY, 99990, 0), Emptying(FEBRUARY, 20, 155)], FIVE, digits=5)
    assert (period.vends, period.expected_minor, period.state) == (30, 150, CoinState.MORE)


def test_a_price_that_changes_within_a_period_gives_limits():
    # 1 to 28 February, 6 from the 15th on: 14 days at 5 and 14 at 6. 60 vends × 5.5 = 330, from 300 to 360.
    prices = [Price(date(2026, 2, 15), 6), *FIVE]
    (period,) = coin_periods([Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 310)], prices, digits=5)
    assert (period.expected_minor, period.low_minor, period.high_minor) == (330, 300, 360)
    assert period.state is CoinState.AGREES
    gap = banked_gap([period], "XTS")
    assert (gap.value, gap.low, gap.high, gap.basis) == (-20, -50, 10, Basis.MODELLED)


def test_cash_outside_the_limits_of_a_changed_price_is_said():
    prices = [*FIVE, Price(date(2026, 2, 15), 6)]
    boxes = [Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 299)]
    assert coin_periods(boxes, prices, digits=5)[0].state is CoinState.LESS
    boxes = [Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 361)]
    assert coin_periods(boxes, prices, digits=5)[0].state is CoinState.MORE


def test_a_new_price_holds_from_its_own_day_on():
    # From 1 February on 6; the emptying of 31 January closed the days at 5.
    prices = [*FIVE, Price(date(2026, 2, 1), 6)]
    (period,) = coin_periods([Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 360)], prices, digits=5)
    assert (period.low_minor, period.high_minor, period.state) == (360, 360, CoinState.AGREES)


@pytest.mark.parametrize("blank", [0, 1])
def test_a_blank_counter_is_not_recorded_and_never_zero(blank):
    boxes = [Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 290)]
    boxes[blank] = Emptying(boxes[blank].day, None, boxes[blank].cash_minor)
    (period,) = coin_periods(boxes, FIVE, digits=5)
    assert (period.vends, period.expected_minor, period.gap_minor) == (None, None, None)
    assert period.state is CoinState.NOT_RECORDED
    gap = banked_gap([period], "XTS")
    assert (gap.value, gap.used, gap.expected) == (None, 0, 1)


def test_without_a_price_on_record_nothing_is_expected():
    (period,) = coin_periods([Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 160, 290)], [], digits=5)
    assert (period.vends, period.state) == (60, CoinState.NOT_RECORDED)


def test_one_emptying_opens_a_period_and_closes_none():
    assert coin_periods([Emptying(JANUARY, 100, 700)], FIVE, digits=5) == []
    assert banked_gap([], "XTS").value is None


def test_a_reading_that_does_not_fit_the_counter_is_refused():
    with pytest.raises(ValueError, match="do not fit"):
        coin_periods([Emptying(JANUARY, 100, 0), Emptying(FEBRUARY, 123456, 290)], FIVE, digits=5)


def test_gaps_of_machines_add_up():
    first = coin_periods([Emptying(JANUARY, 0, 0), Emptying(FEBRUARY, 10, 45)], FIVE, digits=5)
    second = coin_periods([Emptying(JANUARY, 0, 0), Emptying(FEBRUARY, 10, 52)], FIVE, digits=5)
    gap = banked_gap([*first, *second], "XTS")  # −5 and +2
    assert (gap.value, gap.low, gap.basis, gap.used, gap.expected) == (-3, None, Basis.COUNTED, 2, 2)
