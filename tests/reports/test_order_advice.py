"""What to order: demand, months of stock and fill rate of a programme small enough to work out by hand."""

from __future__ import annotations

from datetime import date

import pytest
from scipy import stats

from tests import make
from tests.reports.restock_world import TODAY, World
from tracker import models as m
from tracker.reports import order_advice

# The term ends on 3 April 2026. With lead 7 and review 7 days, the days ahead are 5 to 18 February: ten school days.
TERMS = {"supplier": "Lake Supplies", "lead_days": 7, "review_days": 7, "min_packs": 1, "pack_price_minor": 360}
SCHOOL_DAYS = 60  # 12 January to 3 April 2026: twelve weeks of five days


@pytest.fixture
def world(session):
    return World(session)


def ordered(world, pieces=22, expires=None, **terms):
    """One school that uses two pieces a school day, a store with a lot, terms; the only line of the advice."""
    soap = world.product()
    if pieces:
        world.stored(soap, pieces, expires=expires)
    world.school(soap)
    world.ready()
    fields = {"product_id": soap.id, "from_day": date(2026, 1, 1)} | TERMS | terms
    make._add(world.session, m.orders.SupplierTerms(**fields))
    return soap


def advised(world, budget=None):
    (line,) = order_advice.read(world.session, world.programme.id, TODAY, budget)
    return line


def test_demand_level_and_packs_are_those_of_an_independent_library(world):
    ordered(world)
    line = advised(world)
    # 20 pieces on 10 school days: 2 a day with the error √20 ÷ 10. Ten days ahead: mean 20, variance 20 + 20 = 40,
    # a negative binomial with p = 20 ÷ 40 and r = 20 (scipy).
    law = stats.nbinom(20, 0.5)
    assert (line.need.law.mean, line.need.law.variance) == (pytest.approx(20), pytest.approx(40))
    assert (line.days, line.school_days, line.look_again) == (14, 10, date(2026, 2, 11))
    assert (line.low, line.high) == (int(law.ppf(0.05)), int(law.ppf(0.95)))
    assert line.advice.level == int(law.ppf(0.95))
    assert line.advice.packs == -(-(line.advice.level - 22) // 4)  # packs of four


def test_months_of_stock_are_on_hand_over_a_months_use_of_a_year(world):
    ordered(world)
    # Two a school day on 60 school days a year are 10 a month. 22 ÷ 10; the form is that of The Logistics Handbook
    # (USAID | DELIVER PROJECT), section 3.2: stock on hand ÷ average monthly consumption.
    assert advised(world).months == pytest.approx(22 / (2 * SCHOOL_DAYS / 12))


def test_terms_that_are_not_entered_yet_do_not_make_what_stands_look_unused(world):
    ordered(world, pieces=100, expires=date(2027, 2, 4))
    line = advised(world)
    # 42 school days are on record ahead, and would use 84 of the lot; a year with its twelve weeks uses 120.
    assert line.goes_off == () and line.need.on_hand == 100


def test_what_goes_off_before_it_is_used_is_named_and_does_not_count(world):
    ordered(world, pieces=22, expires=date(2026, 2, 8))
    line = advised(world)
    # Five days, 4 to 8 February, at 120 ÷ 365 a day use 1.6 pieces; 20.4 go off, in whole pieces 21.
    assert line.goes_off == (("L1", date(2026, 2, 8), 21),) and line.need.on_hand == 1


def test_what_has_expired_does_not_count_where_the_demand_is_not_known_either(world):
    soap = ordered(world, pieces=22, expires=date(2026, 2, 3))
    world.stored(soap, 8, "L2", TODAY)
    world.session.query(m.supplies.StockCount).delete()
    line = advised(world)
    assert line.need.law is None and line.months is None and line.advice.fill is None
    assert line.goes_off == (("L1", date(2026, 2, 3), 22),) and line.need.on_hand == 8


def test_the_fill_rate_is_the_share_of_requests_met_with_the_order(world):
    ordered(world)
    line = advised(world)
    law, stock = stats.nbinom(20, 0.5), 22 + 4 * line.advice.packs
    lost = sum((x - stock) * law.pmf(x) for x in range(stock + 1, 400))
    assert line.advice.fill == pytest.approx(1 - lost / 20, abs=1e-9)


def test_a_budget_cuts_the_packs_and_says_so(world):
    ordered(world)
    line = advised(world, 800)  # two packs of 360
    assert (line.advice.packs, line.reason) == (2, "Limited by the budget.")


@pytest.mark.parametrize(("lead", "ends"), [(7, None), (60, date(2026, 4, 3))])
def test_days_ahead_that_no_term_covers_are_named(world, lead, ends):
    ordered(world, lead_days=lead)
    assert advised(world).known_until == ends


def test_without_terms_there_is_nothing_to_advise(world):
    world.product()
    world.ready()
    assert order_advice.read(world.session, world.programme.id, TODAY) == []
