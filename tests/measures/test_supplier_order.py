"""What to order: levels by published sums, packs by hand, the budget against every combination."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tracker.measures.counts import CountLaw
from tracker.measures.supplier_order import Lot, Need, OrderReason, advise, goes_off, level, wanted_packs

PLAIN = Need(CountLaw(15), 0, 0, 10, 1, 50, per_day=1.0)


def test_the_level_is_that_of_the_count_over_review_and_lead_time():
    # Derived by direct sums: Poisson 15 at 95 %: 22; negative binomial of mean 15, variance 30: 25.
    assert level(PLAIN, 0.95) == 22
    assert level(replace(PLAIN, law=CountLaw(15, 30)), 0.95) == 25


@pytest.mark.parametrize(
    ("changed", "packs", "reason"),
    [
        ({}, 3, OrderReason.TO_LEVEL),  # 22 pieces: 3 packs of 10
        ({"on_hand": 8, "on_order": 4}, 1, OrderReason.TO_LEVEL),  # 22 − 12 = 10
        ({"on_hand": 12, "on_order": 10}, 0, OrderReason.ENOUGH),
        ({"min_packs": 5}, 5, OrderReason.MINIMUM_ORDER),
        ({"usable_days": 25}, 2, OrderReason.SHELF_LIFE),  # 25 used in time: 2 whole packs
        ({"usable_days": 25, "on_hand": 6}, 1, OrderReason.SHELF_LIFE),  # 16 wanted; 25 − 6 = 19: 1 whole pack
        ({"usable_days": 25, "min_packs": 3}, 0, OrderReason.SHELF_LIFE),
        ({"usable_days": -5}, 0, OrderReason.SHELF_LIFE),
        ({"law": None, "minimum": 25, "on_hand": 4}, 3, OrderReason.DEMAND_NOT_KNOWN),  # 21 short of the minimum
        ({"law": None}, 0, OrderReason.DEMAND_NOT_KNOWN),
        ({"law": CountLaw(0)}, 0, OrderReason.ENOUGH),
    ],
)
def test_packs_by_hand(changed, packs, reason):
    assert wanted_packs(replace(PLAIN, **changed), 0.95) == (packs, reason)


def test_the_fill_rate_and_what_goes_unmet_are_those_of_the_stock_after():
    # Derived by direct sums: fill of 22 at Poisson 15 is 0.994918; 15 unmet from nothing.
    [found] = advise([replace(PLAIN, pack_size=11)], 0.95)
    assert (found.packs, found.cost_minor, found.unmet_before) == (2, 100, 15)
    assert found.fill == pytest.approx(0.994918, abs=1e-6)
    assert found.unmet_after == pytest.approx(15 * (1 - 0.994918), abs=1e-4)


def test_no_demand_says_nothing_of_what_goes_unmet():
    [found] = advise([replace(PLAIN, law=None)], 0.95)
    assert (found.packs, found.unmet_before, found.unmet_after, found.fill) == (0, None, None, None)


def test_the_budget_is_shared_as_well_as_any_combination_does():
    rng = np.random.default_rng(20261125)
    for _ in range(60):
        needs = [
            Need(CountLaw(float(rng.uniform(1, 30))), int(rng.integers(0, 10)), 0, int(rng.integers(3, 12)),
                 int(rng.integers(1, 3)), int(rng.integers(1, 60)))
            for _ in range(3)
        ]  # fmt: skip
        most = [wanted_packs(need, 0.95)[0] for need in needs]
        prices = [need.pack_price_minor for need in needs]
        budget = int(rng.integers(0, sum(p * n for p, n in zip(prices, most, strict=True)) + 5))
        ways = itertools.product(*([0, *range(n.min_packs, top + 1)] for n, top in zip(needs, most, strict=True)))
        best = min(
            sum(n.law.short(n.on_hand + k * n.pack_size) for n, k in zip(needs, way, strict=True))
            for way in ways
            if sum(p * k for p, k in zip(prices, way, strict=True)) <= budget
        )
        found = advise(needs, 0.95, budget)
        assert sum(one.cost_minor for one in found) <= budget
        assert sum(one.unmet_after for one in found) == pytest.approx(best, abs=1e-9)


def test_what_the_budget_cut_says_so():
    found = advise([PLAIN, replace(PLAIN, law=CountLaw(0))], 0.95, 100)
    assert [(one.packs, one.reason) for one in found] == [(2, OrderReason.BUDGET), (0, OrderReason.ENOUGH)]


@pytest.mark.parametrize(
    "changed", [{"pack_size": 0}, {"min_packs": 0}, {"on_hand": -1}, {"on_order": -1}, {"per_day": -1.0}]
)
def test_numbers_that_cannot_be_are_refused(changed):
    with pytest.raises(ValueError, match="at least"):
        advise([replace(PLAIN, **changed)], 0.95)


@pytest.mark.parametrize(("service", "budget"), [(0, None), (1, None), (0.9, -1)])
def test_a_service_or_budget_that_cannot_be_is_refused(service, budget):
    with pytest.raises(ValueError, match="budget"):
        advise([PLAIN], service, budget)


def test_lots_go_off_by_what_is_used_before_them():
    today = date(2030, 1, 1)
    # 5 a day: 50 by the 10th, 100 by the 20th. The first lot loses 10; then 50 more are used of the second's 70.
    lots = [Lot(70, date(2030, 1, 20)), Lot(60, date(2030, 1, 10)), Lot(9, None), Lot(4, date(2029, 12, 31))]
    assert goes_off(lots, 5.0, today) == [20, 10, 0, 4]
    assert goes_off(lots, 0.0, today) == [70, 60, 0, 4]
