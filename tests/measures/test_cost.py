"""Net cost in whole minor units. Amounts are made up and added by hand; no published example was found."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.measures.cost import cost_per, kind_figure, net_cost, net_figure
from tracker.measures.figure import Figure, not_recorded
from tracker.vocabulary import Basis, MoneyKind

WHOLE = [("service", 40_000), ("service", 5_001), ("supplies", 12_000), ("water", 2_506), ("power", 1_200)]
WHOLE += [("vend income", 9_000), ("display rent", 3_000), ("warranty", 77_000)]


def entries(*rows, currency="XTS"):
    return pd.DataFrame(
        {
            "kind": pd.Series([row[0] for row in rows], dtype="str"),
            "minor": pd.Series([row[1] for row in rows], dtype="int64"),
            "currency": pd.Series([currency] * len(rows), dtype="str"),
        }
    )


def test_net_cost_leaves_warranty_apart_from_paid_service():
    # 45 001 + 12 000 + 2 506 + 1 200 = 60 707; less 12 000: 48 707. By hand.
    found = net_cost(entries(*WHOLE))
    assert (found.costs, found.income, found.net) == (60_707, 12_000, 48_707)
    assert (found.warranty, found.paid_service, found.missing) == (77_000, 45_001, ())
    figure = net_figure(found)
    assert (figure.value, figure.unit, figure.used, figure.expected) == (48_707, "minor units of XTS", 6, 6)
    assert figure.note == ""
    assert (figure.low, figure.basis) == (None, Basis.COUNTED)


def test_a_kind_without_an_entry_is_not_recorded_and_an_entry_of_nothing_is():
    found = net_cost(entries(("service", 500), ("power", 0)))
    assert found.amounts[MoneyKind.POWER] == 0
    assert found.amounts[MoneyKind.WATER] is None
    assert kind_figure(found, MoneyKind.WATER).value is None
    assert kind_figure(found, MoneyKind.POWER).value == 0
    figure = net_figure(found)
    assert (figure.value, figure.used, figure.expected) == (500, 2, 6)
    assert "A cost is not recorded (supplies, water); the net cost is higher by it." in figure.note
    assert "(vend income, display rent); the net cost is lower by it." in figure.note


def test_income_alone_is_no_net_cost():
    found = net_cost(entries(("vend income", 900)))
    assert (found.costs, found.income, found.net) == (None, 900, None)
    assert net_figure(found).value is None
    nothing = net_cost(entries())
    assert (nothing.net, nothing.currency, net_figure(nothing).unit) == (None, "", "minor units")


def test_kinds_that_do_not_apply_are_not_missing():
    kinds = [kind for kind in MoneyKind if kind is not MoneyKind.DISPLAY_RENT]
    found = net_cost(entries(*[row for row in WHOLE if row[0] != "display rent"]), kinds)
    assert found.missing == ()
    assert net_figure(found).expected == 5
    with pytest.raises(ValueError, match="display rent was said not to apply"):
        net_cost(entries(*WHOLE), kinds)


def test_currencies_are_never_mixed():
    both = pd.concat([entries(("water", 1)), entries(("water", 1), currency="XXX")])
    for money in (both, entries(("water", 1), currency=None)):
        with pytest.raises(ValueError, match="different currencies"):
            net_cost(money)


@pytest.mark.parametrize("minor", [-1, 1.5, float("nan"), True])
def test_money_is_whole_minor_units_and_its_kind_says_the_direction(minor):
    money = pd.DataFrame({"kind": ["water"], "minor": [minor], "currency": ["XTS"]})
    with pytest.raises(ValueError, match="whole number of minor units"):
        net_cost(money)


def test_an_unknown_kind_of_money_is_refused():
    with pytest.raises(ValueError, match="gifts"):
        net_cost(entries(("gifts", 1)))


def test_cost_per_visit_takes_the_limits_of_the_visits():
    # 48 707 ÷ 24 000 visits (20 000 to 30 000): 2.0294583; 1.6235667 to 2.43535.
    visits = Figure(24_000, "visits", Basis.SAMPLED, 20_000, 30_000, used=12, expected=13)
    found = cost_per(net_cost(entries(*WHOLE)), visits, "visit")
    assert (found.value, found.low, found.high) == pytest.approx((2.0294583, 1.6235667, 2.43535), abs=1e-6)
    assert (found.unit, found.basis) == ("minor units of XTS per visit", Basis.SAMPLED)


def test_where_more_came_in_than_was_spent_the_limits_turn_round():
    found = cost_per(
        net_cost(entries(("service", 100), ("vend income", 1100))),
        Figure(100, "visits", Basis.SAMPLED, 50, 200),
        "visit",
    )
    assert (found.value, found.low, found.high) == (-10, -20, -5)


def test_cost_per_pupil_term_of_a_counted_enrolment_has_no_limits():
    found = cost_per(net_cost(entries(*WHOLE)), Figure(350, "pupils", Basis.COUNTED), "pupil and term")
    assert found.value == pytest.approx(139.1628571, abs=1e-6)
    assert (found.low, found.high) == (None, None)


@pytest.mark.parametrize("count", [not_recorded("visits", Basis.COUNTED), Figure(0, "visits", Basis.COUNTED)])
def test_without_visits_there_is_no_cost_per_visit(count):
    assert cost_per(net_cost(entries(*WHOLE)), count, "visit").value is None


def test_a_count_that_may_be_nothing_leaves_no_limits():
    found = cost_per(net_cost(entries(*WHOLE)), Figure(10, "visits", Basis.SAMPLED, 0, 30), "visit")
    assert (found.low, found.high) == (None, None)


ROWS = st.lists(st.tuples(st.sampled_from([kind.value for kind in MoneyKind]), st.integers(0, 10**12)), max_size=30)


@given(ROWS, ROWS)
def test_sums_are_exact_and_schools_add_up(first, second):
    def amount(rows, *words):
        return sum(minor for word, minor in rows if word in words)

    both = net_cost(entries(*first, *second))
    costs = amount([*first, *second], "service", "supplies", "water", "power")
    income = amount([*first, *second], "vend income", "display rent")
    assert (both.costs or 0, both.income or 0) == (costs, income)
    assert both.net is None or both.net == costs - income
    parts = [net_cost(entries(*rows)) for rows in (first, second)]
    assert sum((part.costs or 0) - (part.income or 0) for part in parts) == costs - income


def test_an_amount_beyond_exact_numbers_is_refused_in_a_figure():
    found = net_cost(entries(("water", 2**53), ("water", 1)))
    assert found.net == 2**53 + 1
    with pytest.raises(ValueError, match="too large"):
        net_figure(found)
