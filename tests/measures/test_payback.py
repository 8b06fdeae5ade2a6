"""When a fitting has paid for itself, derived by hand, no outside source."""

from __future__ import annotations

import pytest

from tracker.measures.figure import Figure
from tracker.measures.payback import payback_terms
from tracker.vocabulary import Basis

VISITS = Figure(2000.0, "visits", Basis.SAMPLED, low=1000.0, high=4000.0)


def saved(value, low=None, high=None):
    return Figure(value, "L per visit", Basis.MODELLED, low=low, high=high)


def test_payback_takes_the_ends_of_both_ranges():
    # 3 L x 2,000 visits = 6 m3 a term at 500 = 3,000; 12,000 are 4 terms. Least: 1 L x 1,000 = 1 m3, 24 terms.
    # Most: 6 L x 4,000 = 24 m3, 12,000 a term, 1 term.
    found = payback_terms(12_000, saved(3.0, 1.0, 6.0), VISITS, 500)
    assert (found.value, found.low, found.high, found.unit) == (4.0, 1.0, 24.0, "terms")
    assert found.basis is Basis.MODELLED


@pytest.mark.parametrize(
    ("extra", "litres", "price", "why"),
    [
        (None, saved(3.0, 1.0, 6.0), 500, "the extra cost is not recorded"),
        (100, saved(3.0, 1.0, 6.0), None, "the price of water is not recorded"),
        (100, saved(None), 500, "the water saved is not recorded"),
        (100, saved(3.0), 500, "there is no range"),
        (100, saved(3.0, 0.0, 6.0), 500, "holds nothing saved"),
        (100, saved(-3.0, -6.0, 0.0), 500, "does not pay back"),
    ],
)
def test_where_it_cannot_be_told_the_reason_stands_there(extra, litres, price, why):
    found = payback_terms(extra, litres, VISITS, price)
    assert found.value is None and why in found.note


def test_a_fitting_that_cost_no_more_has_paid_at_once():
    assert payback_terms(0, saved(3.0, 1.0, 6.0), VISITS, 500).value == 0.0


def test_a_price_of_nothing_and_a_cost_below_it_are_refused():
    with pytest.raises(ValueError, match="price"):
        payback_terms(100, saved(3.0, 1.0, 6.0), VISITS, 0)
    with pytest.raises(ValueError, match="below zero"):
        payback_terms(-1, saved(3.0, 1.0, 6.0), VISITS, 500)
