"""Fair shares. ALC rows with a source say so; "derived" rows are worked by hand, no outside source."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measures.restock_by_hand import goods, large_round, needs
from tracker.measures.restock import Aim, Limits, equal_run_out, max_min, plan
from tracker.measures.restock_even import whole_by_remainder

AMOUNTS = st.lists(st.tuples(st.floats(0, 50), st.floats(0.1, 9)), min_size=1, max_size=8)


def test_supplies_run_out_on_one_day():
    # ALC-01, read (9.67 days, 47 pieces): lecture note "Fair share allocation"; tolerance 1e-6.
    found = equal_run_out(500, [50, 100, 75], [10, 50, 15])
    assert found.level == pytest.approx(9.6666667, abs=1e-6)
    assert found.shares == pytest.approx([46.6666667, 383.3333333, 70], abs=1e-6)
    assert whole_by_remainder(found.shares, 500).tolist() == [47, 383, 70]


def test_who_has_more_days_already_gets_nothing():
    # ALC-02, derived by hand, no outside source, tolerance 1e-9.
    found = equal_run_out(60, [200, 100, 0], [10, 10, 10])
    assert found.level == pytest.approx(6, abs=1e-9) and found.shares == pytest.approx([0, 0, 60], abs=1e-9)


def test_small_demands_are_met_and_the_rest_is_shared_equally():
    # ALC-07, read: Keshav, An Engineering Approach to Computer Networking, 1997, pp. 215-217; tolerance 1e-9.
    found = max_min(10, [2, 2.6, 4, 5])
    assert found.shares == pytest.approx([2, 2.6, 2.7, 2.7], abs=1e-9) and found.level == pytest.approx(2.7)


def test_shares_by_weight():
    # ALC-08, inputs read, last line cut in what was read: Keshav 1997, pp. 215-217; a root-finder agrees; 1e-9.
    assert max_min(16, [4, 2, 10, 4], [2.5, 4, 0.5, 1]).shares == pytest.approx([4, 2, 6, 4], abs=1e-9)


def test_shares_of_nothing_of_plenty_and_of_nonsense():
    assert max_min(0, [3, 4]).shares.tolist() == [0, 0]
    assert max_min(99, [3, 4]).shares.tolist() == [3, 4] and max_min(99, [3, 4]).level == math.inf
    assert max_min(5, []).shares.tolist() == [] and equal_run_out(5, [1.0], [0.0]).shares.tolist() == [0]
    for wrong in (lambda: max_min(-1, [3]), lambda: max_min(1, [-3]), lambda: equal_run_out(1, [-1], [1])):
        with pytest.raises(ValueError, match="negative"):
            wrong()
    with pytest.raises(ValueError, match="does not belong"):
        whole_by_remainder(np.array([1.5, 2.5]), 6)


@given(AMOUNTS, st.floats(0, 300))
@settings(max_examples=150, deadline=None)
def test_an_amount_is_used_up_and_nobody_below_the_level_is_passed_over(lines, amount):
    have, rate = np.array([h for h, _ in lines]), np.array([r for _, r in lines])
    found = equal_run_out(amount, have, rate)
    assert found.shares.sum() == pytest.approx(amount, abs=1e-6) and (found.shares >= 0).all()
    days = (have + found.shares) / rate
    assert days.min() == pytest.approx(found.level, abs=1e-6) or amount == pytest.approx(0, abs=1e-6)
    given_some = found.shares > 1e-6
    assert days[given_some] == pytest.approx(found.level, abs=1e-6)


@given(AMOUNTS, st.floats(0, 300))
@settings(max_examples=150, deadline=None)
def test_max_min_shares_are_the_demand_or_the_common_level(lines, capacity):
    demand, weight = np.array([d for d, _ in lines]), np.array([w for _, w in lines])
    found = max_min(capacity, demand, weight)
    assert found.shares.sum() == pytest.approx(min(capacity, demand.sum()), abs=1e-6)
    for asked, heavy, share in zip(demand, weight, found.shares, strict=True):
        assert share == pytest.approx(min(asked, heavy * found.level), abs=1e-6)


# The aims in whole packs


def test_equal_run_out_in_whole_pieces_is_the_worked_example():
    # ALC-01 again, through the plan: as pieces 47, 383, 70 (rounding by largest remainder keeps the sum of 500).
    lines = needs([600.0, 3000.0, 900.0], on_hand=[50, 100, 75], per_day=[10, 50, 15])
    made = plan(lines, goods([500]), Limits(), Aim.EQUAL_RUN_OUT)
    assert made.lines["packs"].tolist() == [47, 383, 70]
    assert made.lines["cover_days_after"].to_numpy() == pytest.approx([9.7, 9.66, 9.6667], abs=1e-4)


def test_equal_run_out_in_packs_stays_within_a_pack_of_the_common_day():
    rng = np.random.default_rng(8)
    have, use = rng.integers(0, 60, 40).astype(float), rng.uniform(1, 6, 40)
    made = plan(needs(use * 60, on_hand=have, per_day=use), goods([200], pack_size=8), Limits(), Aim.EQUAL_RUN_OUT)
    exact = equal_run_out(1600, have, use)
    assert made.lines["packs"].sum() == 200
    assert (abs(made.lines["pieces"] - exact.shares) < 8).all()


def test_equal_run_out_keeps_room_and_goes_on_with_the_others():
    lines = needs([200.0, 200.0, 200.0], per_day=[10.0, 10.0, 10.0], room=[24.0, np.nan, np.nan])
    made = plan(lines, goods([15], pack_size=8), Limits(), Aim.EQUAL_RUN_OUT)
    assert made.lines["packs"].tolist() == [3, 6, 6]


def test_equal_run_out_over_products_holds_a_shared_budget():
    # 10 and 20 a day, packs of 10 for 3 and 2: t days cost 3 t + 4 t; a budget of 28 lasts for 4 days.
    lines = needs([300.0, 600.0], school_id=1, product_id=["P0", "P1"], per_day=[10.0, 20.0])
    shelf = goods([50, 50], pack_size=10, pack_cost_minor=[3, 2])
    made = plan(lines, shelf, Limits(budget_minor=28), Aim.EQUAL_RUN_OUT)
    assert made.lines["packs"].tolist() == [4, 8]
    # with 3 packs of P1 in the store it stops at 1.5 days, and P0 has the other 22: 7 packs, 21
    made = plan(lines, shelf.assign(store_packs=[50, 3]), Limits(budget_minor=28), Aim.EQUAL_RUN_OUT)
    assert made.lines["packs"].tolist() == [7, 3]
    # 25 lasts 3.57 days: 3.57 and 7.14 packs are cut to 3 and 7, and the 2 that are left buy one more of P1
    made = plan(lines, shelf, Limits(budget_minor=25), Aim.EQUAL_RUN_OUT)
    assert made.lines["packs"].tolist() == [3, 8]


def test_the_lowest_share_goes_on_when_one_product_is_used_up():
    lines = needs([9.0, 9.0, 9.0], school_id=[1, 1, 2], product_id=["P0", "P1", "P1"])
    made = plan(lines, goods([1, 6]), Limits(), Aim.LOWEST_SHARE)
    assert made.lines["packs"].tolist() == [1, 3, 3]


def test_the_lowest_share_comes_first():
    # Poisson 2, 4, 6 and 8 pieces: the fewest unmet gives 1, 3, 4 and leaves the small school at 0.43 (ALC-03).
    # By hand with the gains of ALC-04: 2, 3, 3 has 2.918201 ÷ 6 = .486 at the lowest, in the largest school.
    made = plan(needs([2.0, 4.0, 6.0]), goods([8]), Limits(), Aim.LOWEST_SHARE)
    assert made.lines["packs"].tolist() == [2, 3, 3]
    assert made.lines["served_after"].min() == pytest.approx(2.918201 / 6, abs=1e-6)
    best = plan(needs([2.0, 4.0, 6.0]), goods([8]), Limits())
    assert made.bound == best.unmet_after and made.gap == pytest.approx(made.unmet_after - best.unmet_after)


@pytest.mark.parametrize("seed", range(6))
def test_each_aim_is_the_best_at_what_it_aims_at(seed):
    lines, shelf, limits = large_round(seed, schools=30)
    lines["minimum"] = 0
    plans = {aim: plan(lines, shelf, limits, aim) for aim in Aim}
    assert min(plans, key=lambda aim: plans[aim].unmet_after) is Aim.FEWEST_UNMET
    shares = {aim: made.lines["served_after"][lines["reachable"]].min() for aim, made in plans.items()}
    assert max(shares.values()) == shares[Aim.LOWEST_SHARE]
    for made in plans.values():
        assert made.used.cost_minor <= limits.budget_minor and made.used.packs <= limits.packs
        assert made.used.litres <= limits.litres + 1e-9 and (made.pool["left_packs"] >= 0).all()
        assert made.gap >= 0 and made.bound == pytest.approx(plans[Aim.FEWEST_UNMET].unmet_after, abs=1e-5)
