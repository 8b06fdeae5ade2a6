"""What one more would bring, who stays at risk, and the plans to compare with."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.measures.restock_by_hand import goods, large_round, loss, needs
from tracker.measures.restock import Aim, Limits, Method, Reason, at_risk, flat, habit, plan, plans, worth


def test_one_more_pack_in_the_store_is_worth_the_next_gain():
    # ALC-04, derived by hand, no outside source: after 7 pieces the next meets .761897, tolerance 1e-6.
    found = worth(needs([2.0, 4.0, 6.0]), goods([7]), Limits())
    assert found[["limited", "product_id", "more"]].values.tolist() == [["stock", "N", 1]]
    assert found["drop"].iloc[0] == pytest.approx(0.761897, abs=1e-6)


def test_more_budget_is_worth_what_the_plan_with_it_meets_more():
    lines = needs([8.0, 3.0], school_id=1, product_id=["P0", "P1"])
    shelf = goods([9, 9], pack_cost_minor=[4, 3], pack_litres=[1.0, 1.0])
    found = worth(lines, shelf, Limits(8, 2.0, 2), budget_steps=(1, 3)).set_index(["limited", "more"])["drop"]
    # two packs of P0 for 8 (ALC-05); 2 litres and 2 packs hold it back, so nothing but both together helps
    assert found[("budget", 1)] == pytest.approx(0) and found[("litres", 1)] == pytest.approx(0)
    wide = worth(lines, shelf, Limits(8), budget_steps=(1, 3)).set_index(["limited", "more"])["drop"]
    # two of P0 for 8 meet 1.996645; 9 buys three of P1 instead
    assert wide[("budget", 1)] == pytest.approx(loss(3, 3, 0) - loss(3, 3, 3) - 1.996645, abs=1e-6)
    third = loss(3, 3, 0) - loss(3, 3, 1)  # 11 buys two of P0 and one of P1; three of P0 cost 12
    assert wide[("budget", 3)] == pytest.approx(third, abs=1e-6)


@pytest.mark.parametrize("aim", Aim)
def test_the_worth_of_each_thing_is_that_of_planning_again(aim):
    lines, shelf, limits = large_round(3, schools=20)
    now = plan(lines, shelf, limits, aim).unmet_after
    found = worth(lines, shelf, limits, aim, budget_steps=(500,))
    assert found["limited"].tolist() == ["stock", "stock", "stock", "budget", "litres", "packs"]
    again = [
        plan(lines, shelf.assign(store_packs=shelf["store_packs"] + [0, 1, 0]), limits, aim),
        plan(lines, shelf, Limits(limits.budget_minor + 500, limits.litres, limits.packs), aim),
        plan(lines, shelf, Limits(limits.budget_minor, limits.litres + 1, limits.packs), aim),
        plan(lines, shelf, Limits(limits.budget_minor, limits.litres, limits.packs + 1), aim),
    ]
    assert found["drop"].iloc[[1, 3, 4, 5]].to_numpy() == pytest.approx(
        [now - made.unmet_after for made in again], abs=1e-5
    )
    if aim is Aim.FEWEST_UNMET:
        assert (found["drop"] >= -found["gap"] - 1e-6).all() and found["drop"].max() > 0


def test_who_stays_at_risk_whatever_is_done():
    lines = needs([20.0, 20.0, 20.0, np.nan], room=[16, np.nan, np.nan, np.nan], reachable=[True, False, True, True])
    lines["on_hand"] = [4.0, 15.0, 0.0, 0.0]
    found = at_risk(plan(lines, goods([0], pack_size=8), Limits()), threshold=0.05)
    # school 3 would be supplied if the store had anything; of school 4 nothing is known
    assert found["school_id"].tolist() == [2, 1]
    assert found["reason"].tolist() == [Reason.CANNOT_BE_REACHED, Reason.STOCK]
    assert found["run_out_best"].to_numpy() == pytest.approx([stats.poisson(20).sf(15), stats.poisson(20).sf(20)])
    with pytest.raises(ValueError, match="between 0 and 1"):
        at_risk(plan(lines, goods([0]), Limits()), threshold=5)


def test_a_flat_allocation_brings_each_school_the_same():
    lines = needs([5.0, 40.0, 40.0, 40.0], reachable=[True, True, True, False], room=[np.nan, 7, np.nan, np.nan])
    made = flat(lines, goods([10], pack_size=5), Limits())
    assert made.lines["packs"].tolist() == [3, 1, 3, 0]  # 10 for 3 schools; 7 pieces of room hold one pack of 5
    assert made.aim is None and made.method is Method.FLAT and np.isnan(made.bound) and np.isnan(made.gap)
    assert made.unmet_after == pytest.approx(loss(5, 5, 15) + loss(40, 40, 5) + loss(40, 40, 15) + loss(40, 40, 0))
    assert flat(lines, goods([10], pack_size=5, pack_cost_minor=10), Limits(50)).lines["packs"].tolist() == [2, 1, 2, 0]


def test_a_flat_allocation_does_not_empty_a_full_store():
    made = flat(needs([4.0, 8.0]), goods([9999]), Limits())
    most = plan(needs([4.0, 8.0]), goods([9999]), Limits()).lines["packs"]
    assert made.lines["packs"].tolist() == [np.ceil(most.mean())] * 2


def test_the_habit_is_the_last_round_cut_to_what_there_is():
    last = pd.DataFrame({"school_id": [1, 2, 9], "product_id": ["N", "N", "N"], "packs": [8, 4, 3]})
    lines = needs([20.0, 20.0, 20.0])
    assert habit(last, lines, goods([99]), Limits()).lines["packs"].tolist() == [8, 4, 0]
    assert habit(last, lines, goods([6]), Limits()).lines["packs"].tolist() == [4, 2, 0]
    assert habit(last, lines, goods([99]), Limits(packs=3)).lines["packs"].tolist() == [2, 1, 0]
    made = habit(last, lines.assign(room=[5, np.nan, np.nan]), goods([99]), Limits())
    assert made.lines["packs"].tolist() == [5, 4, 0] and made.method is Method.HABIT
    assert made.unmet_after == pytest.approx(loss(20, 20, 5) + loss(20, 20, 4) + 20)
    assert made.lines["reason"].tolist()[1:] == [Reason.AS_COMPARED] * 2


@pytest.mark.parametrize("seed", range(4))
def test_no_comparison_beats_the_plan(seed):
    lines, shelf, limits = large_round(seed, schools=25)
    lines["minimum"] = 0
    made = plan(lines, shelf, limits)
    last = lines[["school_id", "product_id"]].assign(packs=np.random.default_rng(seed).integers(0, 6, len(lines)))
    for other in (flat(lines, shelf, limits), habit(last, lines, shelf, limits)):
        assert made.unmet_after < other.unmet_after <= made.unmet_before
        assert other.used.cost_minor <= limits.budget_minor and other.used.packs <= limits.packs
        assert other.used.litres <= limits.litres + 1e-9 and (other.pool["left_packs"] >= 0).all()


def test_the_plans_of_all_aims_at_once_are_those_of_each_alone():
    lines, shelf, limits = large_round(7, schools=25)
    at_once = plans(lines, shelf, limits)
    assert list(at_once) == list(Aim)
    for aim, made in at_once.items():
        alone = plan(lines, shelf, limits, aim)
        pd.testing.assert_frame_equal(made.lines, alone.lines)
        assert (made.aim, made.method, made.bound, made.gap) == (aim, alone.method, alone.bound, alone.gap)
