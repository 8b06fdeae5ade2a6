"""Supplies and reordering. INV and CAL rows as marked; everything else is worked by hand beside it."""

import math
from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.reorder import (
    RestockReason,
    bring,
    months_of_stock,
    order_up_to,
    restock_by,
    restock_needs,
    runs_out_probability,
    weeks_of_cover,
)
from tracker.measures.supplies import (
    days_sold_out,
    demand_by_school,
    demand_per_day,
    demand_rate,
    given_out_total,
    given_out_weeks,
)
from tracker.vocabulary import Basis

FIRST = pd.Timestamp("2030-01-07")
BLANK = float("nan")
MACHINE_COLUMNS = [
    "unit_id",
    "school_id",
    "week",
    "product",
    "left",
    "refilled",
    "sold_out_days",
    "school_days",
    "asked_days",
]


def machine_weeks(*rows):
    """Rows of (unit, week number, left, refilled, sold-out days, school days, days answered); school = unit."""
    full = [
        (unit, unit, FIRST + pd.Timedelta(weeks=week), "plain", left, refilled, sold, days, asked)
        for unit, week, left, refilled, sold, days, asked in rows
    ]
    frame = pd.DataFrame(full, columns=MACHINE_COLUMNS)
    numbers = dict.fromkeys(MACHINE_COLUMNS[4:], "float64")
    return frame.astype({"unit_id": "int64", "school_id": "int64", "week": "datetime64[us]", **numbers})


def vend_weeks(*rows):
    full = [(unit, "vends", FIRST + pd.Timedelta(weeks=week), steps) for unit, week, steps in rows]
    frame = pd.DataFrame(full, columns=["unit_id", "quantity", "week", "steps"])
    return frame.astype({"unit_id": "int64", "week": "datetime64[us]", "steps": "float64"})


def one(frame, unit, week):
    chosen = frame[(frame["unit_id"] == unit) & (frame["week"] == FIRST + pd.Timedelta(weeks=week))]
    assert len(chosen) == 1
    return chosen.iloc[0]


def test_a_machine_without_counter_gave_out_what_is_missing_from_its_stock():
    weeks = given_out_weeks(machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 25, 40, 0, 5, 5)), vend_weeks())
    row = one(weeks, 1, 1)
    assert (row["given_out"], row["basis"], row["used"]) == (45, "modelled", 1)  # 30 + 40 − 25
    first = one(weeks, 1, 0)
    assert math.isnan(first["given_out"])
    assert (first["used"], first["expected"], first["flag"]) == (0, 1, "not recorded")


def test_a_counter_decides_and_its_gap_to_the_stock_is_shown():
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 25, 40, 0, 5, 5), (1, 2, 20, 0, 0, 5, 5))
    weeks = given_out_weeks(stock, vend_weeks((1, 0, 12), (1, 1, 43)))
    row = one(weeks, 1, 1)
    assert (row["given_out"], row["basis"], row["gap"]) == (43, "counted", -2)  # 43 − 45
    missed = one(weeks, 1, 2)  # a missed reading is shared out by the counter, never guessed from the stock
    assert (missed["used"], missed["flag"]) == (0, "not recorded")


def test_a_counter_shared_over_missed_weeks_is_modelled():
    vends = vend_weeks((1, 0, 12), (1, 1, 43)).assign(basis=["counted", "modelled"])
    weeks = given_out_weeks(machine_weeks((1, 0, 30, 0, 0, 5, 5)), vends)
    assert list(weeks["basis"]) == ["counted", "modelled"]


def test_more_left_than_there_can_be_is_flagged_and_not_used():
    weeks = given_out_weeks(machine_weeks((1, 0, 10, 0, 0, 5, 5), (1, 1, 25, 0, 0, 5, 5)), vend_weeks())
    row = one(weeks, 1, 1)
    assert (row["used"], row["flag"]) == (0, "negative")
    assert math.isnan(row["given_out"])


@pytest.mark.parametrize("blank", ["left", "refilled"])
def test_a_blank_is_not_zero(blank):
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 25, 40, 0, 5, 5))
    stock.loc[1, blank] = BLANK
    assert one(given_out_weeks(stock, vend_weeks()), 1, 1)["flag"] == "not recorded"


def test_two_products_of_a_machine_are_summed_and_one_blank_makes_the_sum_unknown():
    both = pd.concat(
        [
            machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 25, 40, 0, 5, 5)),
            machine_weeks((1, 0, 10, 0, 0, 5, 5), (1, 1, 4, 0, 0, 5, 5)),
        ],
        ignore_index=True,
    )
    assert one(given_out_weeks(both, vend_weeks()), 1, 1)["given_out"] == 51  # 45 + 6
    both.loc[3, "left"] = BLANK
    assert one(given_out_weeks(both, vend_weeks()), 1, 1)["used"] == 0


def test_stock_is_carried_over_holidays_only():
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 2, 20, 0, 0, 5, 5))
    between = FIRST + pd.Timedelta(weeks=1)
    occasions = pd.DataFrame({"school_id": [1], "week": [between], "school_days": [0]})
    assert one(given_out_weeks(stock, vend_weeks()), 1, 2)["used"] == 0
    assert one(given_out_weeks(stock, vend_weeks(), occasions=occasions), 1, 2)["given_out"] == 10
    school = occasions.assign(school_days=5)
    assert one(given_out_weeks(stock, vend_weeks(), occasions=school), 1, 2)["used"] == 0


def test_a_counter_needs_a_school():
    with pytest.raises(ValueError, match="no school"):
        given_out_weeks(machine_weeks(), vend_weeks((7, 0, 12)))
    units = pd.DataFrame({"unit_id": [7], "school_id": [3]})
    weeks = given_out_weeks(machine_weeks(), vend_weeks((7, 0, 12)), units)
    assert (weeks["school_id"].tolist(), weeks["given_out"].tolist()) == ([3], [12])


def test_empty_frames_give_an_empty_frame_and_nothing_recorded():
    weeks = given_out_weeks(machine_weeks(), vend_weeks())
    assert weeks.empty
    assert given_out_total(weeks).value is None
    assert demand_per_day(weeks, machine_weeks()).value is None
    assert days_sold_out(machine_weeks()).value is None


def test_the_total_takes_the_weakest_basis_and_is_the_sum_of_its_parts():
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 25, 40, 0, 5, 5), (2, 0, 9, 0, 0, 5, 5), (2, 1, 9, 0, 0, 5, 5))
    total = given_out_total(given_out_weeks(stock, vend_weeks((2, 0, 12), (2, 1, 3))))
    # School 1: week 0 not known, week 1 45. School 2: 12 and 3.
    assert (total.value, total.basis, total.used, total.expected) == (60, Basis.MODELLED, 3, 4)
    assert total.about_people
    assert [(part.school, part.week, part.value) for part in total.parts] == [
        ("1", date(2030, 1, 14), 45),
        ("2", date(2030, 1, 7), 12),
        ("2", date(2030, 1, 14), 3),
    ]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 90), st.integers(0, 90)), min_size=2, max_size=6))
def test_parts_sum_to_the_value_and_are_never_negative(stock):
    rows = [(1, week, left, refilled, 0, 5, 5) for week, (left, refilled) in enumerate(stock)]
    total = given_out_total(given_out_weeks(machine_weeks(*rows), vend_weeks()))
    assert sum(part.value for part in total.parts) == (total.value or 0)
    assert all(part.value >= 0 for part in total.parts)
    assert total.used == len([1 for part in total.parts])


def test_days_sold_out_are_bounded_by_the_days_nobody_answered():
    figure = days_sold_out(machine_weeks((1, 0, 0, 0, 2, 5, 5), (1, 1, 0, 0, 1, 5, 3), (2, 0, 9, 0, BLANK, 4, 0)))
    # 2 + 1 of 8 days answered; 2 + 4 days not answered.
    assert (figure.value, figure.low, figure.high) == (3, 3, 9)
    assert (figure.used, figure.expected, figure.unit) == (8, 14, "machine days")
    whole = days_sold_out(machine_weeks((1, 0, 0, 0, 2, 5, 5)))
    assert (whole.value, whole.low) == (2, None)


def test_a_machine_with_two_products_has_its_days_once():
    row = machine_weeks((1, 0, 0, 0, 2, 5, 4))
    two = days_sold_out(pd.concat([row, row.assign(product="long")], ignore_index=True))
    assert (two.value, two.high, two.used, two.expected) == (2, 3, 4, 5)


def test_more_days_sold_out_than_answered_is_refused():
    with pytest.raises(ValueError, match="sold out on more days"):
        days_sold_out(machine_weeks((1, 0, 0, 0, 4, 5, 3)))


def test_consumption_corrected_for_stock_outs_is_pooled():
    # INV-02 (derived by hand): 270 units in 75 days in stock, 30 days a month: 108, where the naive mean is 90.
    assert demand_rate([120, 90, 60], [30, 30, 15]) * 30 == pytest.approx(108.0, abs=1e-9)
    # INV-03 (derived by hand): the mean of monthly rates, 110, is what it must not be.
    rates = [demand_rate([used], [days]) for used, days in [(120, 30), (90, 30), (60, 15)]]
    assert sum(rates) / 3 * 30 == pytest.approx(110.0, abs=1e-9)


def test_a_period_without_a_day_in_stock_is_left_out_of_both_sums():
    assert demand_rate([7, 90], [0, 30]) == 3.0
    assert demand_rate([7], [0]) is None


def test_a_counter_that_did_not_move_is_a_zero_not_a_blank():
    weeks = given_out_weeks(machine_weeks((1, 0, 30, 0, 0, 5, 5)), vend_weeks((1, 0, 0)))
    assert (one(weeks, 1, 0)["used"], one(weeks, 1, 0)["given_out"], given_out_total(weeks).value) == (1, 0, 0)


def test_months_of_stock():
    # INV-01: The Logistics Handbook (USAID | DELIVER PROJECT), section 3.2 (formula read).
    assert months_of_stock(300, 120) == pytest.approx(2.5, abs=1e-9)
    assert months_of_stock(300, 0) is None


def test_school_days_without_school_drop_out_of_the_rate():
    # CAL-01 (derived by hand): 1,031 in 51 school days; the next 54 days need 1,091.647.
    rate = demand_rate([400, 190, 0, 441], [20, 10, 0, 21])
    assert rate == pytest.approx(20.2156863, abs=1e-6)
    assert rate * 54 == pytest.approx(1091.647059, abs=1e-6)


def test_demand_counts_only_days_in_stock_and_bounds_the_unanswered_ones():
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 0, 0, 2, 5, 5), (1, 2, 6, 30, 0, 5, 3))
    figure = demand_per_day(given_out_weeks(stock, vend_weeks()), stock)
    # Weeks 1 and 2: 30 + 24 = 54; in stock 3 + 5 = 8 days, or 3 + 3 = 6 if the unanswered were sold out.
    assert (figure.value, figure.low, figure.high) == (6.75, 6.75, 9.0)
    assert (figure.used, figure.expected) == (2, 3)


def test_demand_is_unknown_where_every_day_was_sold_out():
    stock = machine_weeks((1, 0, 30, 0, 0, 5, 5), (1, 1, 0, 0, 5, 5, 5))
    figure = demand_per_day(given_out_weeks(stock, vend_weeks()), stock)
    assert figure.value is None
    assert "at least" in figure.note


def test_demand_of_a_school_is_the_sum_over_its_machines():
    stock = machine_weeks(
        (1, 0, 30, 0, 0, 5, 5), (1, 1, 10, 0, 0, 5, 5), (2, 0, 9, 0, 0, 5, 5), (2, 1, BLANK, 0, 0, 5, 5)
    )
    stock["school_id"] = 8
    row = demand_by_school(given_out_weeks(stock, vend_weeks()), stock).iloc[0]
    assert (row["per_day"], row["machines"], row["machines_known"]) == (4.0, 2, 1)  # 20 in 5 days


def test_cover_in_weeks_is_undefined_without_demand():
    assert weeks_of_cover(100, 4.0, 5) == 5.0
    assert weeks_of_cover(100, 0.0, 5) is None
    assert weeks_of_cover(100, None, 5) is None


def test_poisson_level_for_nineteen_of_twenty_intervals():
    # INV-18 (derived; direct sum): mean 15 → 22, F(22) = 0.967256, F(21) = 0.946894.
    assert order_up_to(15, 1, 0.95) == 22
    assert 1 - runs_out_probability(22, 15, 1) == pytest.approx(0.967256, abs=1e-6)
    assert 1 - runs_out_probability(21, 15, 1) == pytest.approx(0.946894, abs=1e-6)
    # INV-21 (derived): mean 4 → 8, F(8) = 0.978637.
    assert order_up_to(0.4, 10, 0.95) == 8
    assert 1 - runs_out_probability(8, 0.4, 10) == pytest.approx(0.978637, abs=1e-6)
    assert order_up_to(0, 10) == 0


def test_the_level_protects_review_and_lead_time_together():
    # Worked by hand: 60 a day over R + L = 15 days is a mean of 900, sd 30; 900 + 1.95996 × 30 = 958.8, so 959
    # by the normal approximation. Lead time alone (5 days) would give a level that is gone before the round.
    assert order_up_to(60, 15, 0.975) == 959
    assert order_up_to(60, 5, 0.975) < 900


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0, 40), st.integers(0, 60), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_the_level_is_the_poisson_quantile(mean, days, service):
    level = order_up_to(mean, days, service)
    assert level == (stats.poisson.ppf(service, mean * days) if mean * days else 0)
    assert runs_out_probability(level, mean, days) <= 1 - service + 1e-12


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 500), st.floats(0, 900), st.integers(1, 40))
def test_packs_are_whole_enough_and_never_negative(level, on_hand, pack):
    packs = bring(level, on_hand, pack)
    assert packs >= 0
    assert on_hand + packs * pack >= level
    assert packs == 0 or on_hand + (packs - 1) * pack < level


@pytest.mark.parametrize("bad", [(-1, 5, 0.95), (1, -5, 0.95), (1, 5, 1.0), (1, 5, 0.0)])
def test_senseless_levels_are_refused(bad):
    with pytest.raises(ValueError, match="at least 0"):
        order_up_to(*bad)


def school_days(count, first=date(2030, 2, 4)):
    days = [first + timedelta(days=number) for number in range(count * 2)]
    return [day for day in days if day.weekday() < 5][:count]


def test_restock_by_is_the_last_day_the_stock_lasts():
    days = school_days(10)
    # Mean 3 a day, 8 on hand: P(X ≤ 8) = 0.9962 for one day, 0.8472 for two (Poisson tables).
    assert restock_by(8, 3.0, days) == days[0]
    assert restock_by(0, 3.0, days) == days[0]
    assert restock_by(200, 3.0, days) is None


def needs(on_hand, per_day, pack_size=10):
    stock = pd.DataFrame(
        {
            "school_id": [1],
            "on_hand": [on_hand],
            "per_day": [per_day],
            "pack_size": [pack_size],
            "days_per_week": [5],
        }
    )
    days = school_days(20)  # 4 Feb to 1 Mar
    return restock_needs(stock, {1: days}, next_round=date(2030, 2, 11), round_after=date(2030, 2, 18)).iloc[0]


def test_what_a_school_needs_on_the_next_round():
    # 1.5 a day over the 10 school days before 18 Feb: mean 15, level 22 (INV-18). 22 − 9 = 13: 2 packs of 10.
    # Before 11 Feb 5 days, mean 7.5: P(X > 9) = 0.2236 (Poisson tables).
    row = needs(9.0, 1.5)
    assert (row["level"], row["packs"], row["reason"]) == (22, 2, RestockReason.BEFORE_NEXT_ROUND)
    assert row["run_out_probability"] == pytest.approx(0.2236, abs=5e-5)
    assert row["cover_weeks"] == pytest.approx(9 / 7.5)


@pytest.mark.parametrize(
    ("on_hand", "per_day", "reason"),
    [
        (0.0, 1.5, RestockReason.SOLD_OUT),
        (0.0, BLANK, RestockReason.SOLD_OUT),
        (16.0, 1.5, RestockReason.BEFORE_ROUND_AFTER),
        (22.0, 1.5, RestockReason.ENOUGH),
        (22.0, BLANK, RestockReason.DEMAND_NOT_KNOWN),
        (BLANK, 1.5, RestockReason.STOCK_NOT_RECORDED),
    ],
)
def test_the_reason_for_restocking(on_hand, per_day, reason):
    row = needs(on_hand, per_day)
    assert row["reason"] == reason
    if math.isnan(on_hand) or math.isnan(per_day):
        assert math.isnan(row["packs"])


def test_rounds_in_the_wrong_order_are_refused():
    with pytest.raises(ValueError, match="later"):
        restock_needs(pd.DataFrame(), {}, date(2030, 2, 11), date(2030, 2, 11))
