"""The plan is the best one: against every plan there is, and against another formulation given to a solver.

ALC rows: derived by hand, no outside source; confirmed by full enumeration below.
"""

from contextlib import suppress

import numpy as np
import pandas as pd
import pytest
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from tests.measures.restock_by_hand import every_plan, goods, large_round, loss, needs, small_round, tables
from tracker.measures.restock import Aim, InfeasiblePlan, Limits, Method, plan
from tracker.measures.restock_exact import Market, best_totals

MOST = 4  # packs of a product that the small rounds have at most
LONG = 25  # packs of a line that the larger rounds may bring: the means reach 150, the packs hold 8 to 20
ALMOST_NOTHING = 1e-9  # bring every pack that meets anything at all


def test_packs_go_where_they_meet_most():
    # ALC-03, derived by hand, no outside source: Poisson 2, 4, 6, stock 8 -> 1, 3, 4; 7.2836648733 met, tolerance 1e-9.
    made = plan(needs([2, 4, 6]), goods([8]), Limits())
    assert made.lines["packs"].tolist() == [1, 3, 4]
    assert made.unmet_before - made.unmet_after == pytest.approx(7.2836648733, abs=1e-9)
    assert made.lines["served_after"].to_numpy() == pytest.approx([0.432332, 0.663001, 0.627833], abs=1e-6)
    assert made.method is Method.MARGINAL and made.gap == 0


def test_each_further_pack_brings_what_was_derived():
    # ALC-04, derived by hand, no outside source, tolerance 1e-6: schools 3,3,2,3,2,1,3,2 and their gains.
    gains = [0.997521, 0.982649, 0.981684, 0.938031, 0.908422, 0.864665, 0.848796, 0.761897]
    plans = [plan(needs([2, 4, 6]), goods([store]), Limits()) for store in range(9)]
    for before, after, school, gain in zip(plans, plans[1:], [3, 3, 2, 3, 2, 1, 3, 2], gains, strict=False):
        more = after.lines["packs"] - before.lines["packs"]
        assert after.lines["school_id"][more == 1].tolist() == [school] and more.sum() == 1
        assert before.unmet_after - after.unmet_after == pytest.approx(gain, abs=1e-6)


def by_ratio(means: list[float], costs: list[int], budget: int) -> list[int]:
    """The rule that looks right and is not: again and again the pack with the largest gain for its price."""
    packs = [0] * len(means)
    while True:
        gains = [
            (loss(m, m, k) - loss(m, m, k + 1)) / cost if cost <= budget else -1.0
            for m, k, cost in zip(means, packs, costs, strict=True)
        ]
        best = int(np.argmax(gains))
        if gains[best] < 0:
            return packs
        packs[best] += 1
        budget -= costs[best]


def two_prices(means: list[float], costs: list[int], budget: int):
    names = [f"P{i}" for i in range(len(means))]
    lines = needs(means, school_id=1, product_id=names)
    return plan(lines, goods([99] * len(means), product_id=names, pack_cost_minor=costs), Limits(budget))


def test_gain_for_its_price_can_lose_and_the_plan_does_not():
    # ALC-05, derived by hand, no outside source, tolerance 1e-6: greedy (0, 2) = 1.751065, best (2, 0) = 1.996645.
    assert by_ratio([8, 3], [4, 3], 8) == [0, 2]
    made = two_prices([8, 3], [4, 3], 8)
    assert made.lines["packs"].tolist() == [2, 0]
    assert made.unmet_before - made.unmet_after == pytest.approx(1.996645, abs=1e-6)
    assert 11 - loss(8, 8, 0) - loss(3, 3, 2) == pytest.approx(1.751065, abs=1e-6)


def test_a_budget_that_comes_out_even():
    # ALC-06, derived by hand, no outside source, tolerance 1e-9: (1, 3, 2) = 5.4005887671, nothing left.
    made = two_prices([6, 4, 3], [3, 2, 2], 13)
    assert made.lines["packs"].tolist() == [1, 3, 2] and made.used.cost_minor == 13
    assert made.unmet_before - made.unmet_after == pytest.approx(5.4005887671, abs=1e-9)


@pytest.mark.parametrize("seed", range(200))
def test_the_plan_is_the_best_of_all_plans(seed):
    lines, shelf, limits = small_round(seed)
    plans = every_plan(lines, shelf, limits, MOST)
    if not len(plans):
        with pytest.raises(InfeasiblePlan):
            plan(lines, shelf, limits)
        return
    by_line = tables(lines, shelf, MOST)
    best = by_line[np.arange(len(lines)), plans].sum(axis=1).min()
    made = plan(lines, shelf, limits, enough_below=ALMOST_NOTHING)
    assert made.unmet_after == pytest.approx(best, abs=1e-6)
    assert made.bound == pytest.approx(best, abs=1e-6)
    assert made.lines["packs"].tolist() in plans.tolist()


def test_the_small_rounds_are_of_every_kind():
    methods = []
    for seed in range(200):
        with suppress(InfeasiblePlan):
            methods.append(plan(*small_round(seed)).method)
    assert 120 < len(methods) < 200
    assert set(methods) == {Method.MARGINAL, Method.PRICES, Method.INTEGER}


@pytest.mark.parametrize("seed", range(60))
def test_no_plan_has_a_higher_lowest_share(seed):
    lines, shelf, limits = small_round(seed)
    plans = every_plan(lines, shelf, limits, MOST)
    asked = (lines["mean"] > 0).to_numpy()
    if not len(plans) or not asked.any():
        return
    mean = lines["mean"].to_numpy()[asked]
    by_line = tables(lines, shelf, MOST)[asked]
    best = (1 - by_line[np.arange(asked.sum()), plans[:, asked]] / mean).min(axis=1).max()
    made = plan(lines, shelf, limits, Aim.LOWEST_SHARE, enough_below=ALMOST_NOTHING)
    assert made.lines["served_after"].min() == pytest.approx(best, abs=1e-6)
    assert made.lines["packs"].tolist() in plans.tolist()


def by_pack(lines: pd.DataFrame, shelf: pd.DataFrame, limits: Limits, whole: bool) -> tuple[float, float]:
    """The same round as a yes or no for each pack of each line: what it leaves unmet, and the solver's own bound.

    Not ``whole``: packs may be cut, which leaves no more unmet than any plan.
    """
    own = shelf.set_index("product_id").loc[lines["product_id"]].reset_index()
    size, reach = own["pack_size"].to_numpy(), lines["reachable"].to_numpy()
    top = np.where(reach, np.minimum(lines["room"].fillna(1e6) // size, LONG), 0).astype(int)
    least = np.where(reach, -(-lines["minimum"] // size), 0).astype(int)
    by_line = tables(lines, shelf, LONG)
    line = np.repeat(np.arange(len(lines)), top)
    number = np.concatenate([np.arange(t) for t in top])
    gain = by_line[line, number] - by_line[line, number + 1]
    member = sparse.csr_array((np.ones(len(line)), (line, np.arange(len(line)))), shape=(len(lines), len(line)))
    rows = [LinearConstraint(member, least, np.inf)]
    for product, store in zip(shelf["product_id"], shelf["store_packs"], strict=True):
        rows.append(LinearConstraint((own["product_id"] == product).to_numpy()[line].astype(float)[None], 0, store))
    for each, limit in ((own["pack_cost_minor"], limits.budget_minor), (own["pack_litres"], limits.litres)):
        rows.append(LinearConstraint(each.to_numpy()[line][None], 0, limit))
    rows.append(LinearConstraint(np.ones((1, len(line))), 0, limits.packs))
    options = {"mip_rel_gap": 0, "time_limit": 20}
    found = milp(-gain, integrality=np.full(len(line), whole), bounds=Bounds(0, 1), constraints=rows, options=options)
    base = by_line[:, 0].sum()
    return base + found.fun, base + (found.fun if found.mip_dual_bound is None else found.mip_dual_bound)


@pytest.mark.parametrize(("seed", "schools", "products"), [(1, 12, 3), (2, 20, 2), (4, 15, 5)])
def test_a_solver_with_a_yes_or_no_for_each_pack_finds_no_better_plan(seed, schools, products):
    lines, shelf, limits = large_round(seed, schools, products)
    made = plan(lines, shelf, limits, enough_below=ALMOST_NOTHING)
    other, its_bound = by_pack(lines, shelf, limits, whole=True)
    assert made.unmet_after <= other + made.gap + 1e-5
    assert made.unmet_after >= its_bound - 1e-5
    assert made.bound <= other + 1e-5


@pytest.mark.parametrize("seed", range(3))
def test_a_large_plan_lies_just_above_the_one_whose_packs_may_be_cut(seed):
    lines, shelf, limits = large_round(seed, schools=150)
    made = plan(lines, shelf, limits, enough_below=ALMOST_NOTHING)
    cut, _ = by_pack(lines, shelf, limits, whole=False)
    assert cut - 1e-5 <= made.bound <= made.unmet_after
    assert made.unmet_after - cut < 3 * shelf["pack_size"].max()  # three limits and a pack cut for each


@pytest.mark.parametrize("seed", range(40))
def test_the_packs_of_each_product_are_the_best_of_all_choices(seed):
    rng = np.random.default_rng(seed)
    gains = [np.sort(rng.choice([rng.uniform(0.1, 9, 40), rng.integers(1, 9, 40)]))[::-1] for _ in range(3)]
    costs = rng.integers(0, rng.choice([4, 90, 5000]), (int(rng.integers(1, 4)), 3))
    market = Market(gains, costs, (costs.sum(axis=1) * rng.uniform(5, 30, len(costs))).astype("int64"))
    every = np.indices((41,) * 3).reshape(3, -1)
    kept = every[:, (costs @ every <= market.limits[:, None]).all(axis=0)]
    best = sum(np.r_[0, np.cumsum(one)][k] for one, k in zip(gains, kept, strict=True)).max()
    found = best_totals(market)
    assert market.fits(found.packs) and market.gain(found.packs) == pytest.approx(found.gain)
    assert found.gain == pytest.approx(best, abs=1e-6) and found.bound == pytest.approx(best, abs=1e-5)


def test_a_solver_that_has_no_time_still_gives_a_plan_and_an_honest_gap():
    gains = [np.sort(np.random.default_rng(n).uniform(0.1, 9, 60))[::-1] for n in range(3)]
    market = Market(gains, np.array([[701, 1103, 907], [33, 21, 58]]), np.array([60_000, 2_900]))
    exact, hurried = best_totals(market), best_totals(market, seconds=0.0)
    assert exact.method is Method.INTEGER and hurried.method is Method.STOPPED
    assert market.fits(hurried.packs)
    assert hurried.gain <= exact.gain + 1e-9 <= hurried.bound + 1e-6
    every = np.array(np.meshgrid(*[np.arange(61)] * 3)).reshape(3, -1)
    kept = every[:, (market.costs @ every <= market.limits[:, None]).all(axis=0)]
    sums = [np.r_[0, np.cumsum(one)] for one in gains]
    assert exact.gain == pytest.approx(sum(s[k] for s, k in zip(sums, kept, strict=True)).max(), abs=1e-6)
