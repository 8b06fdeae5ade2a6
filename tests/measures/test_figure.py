"""A figure holds together: no interval with one end, no blank that turns into zero, sums of the weakest basis."""

from __future__ import annotations

import dataclasses
import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.figure import Figure, Part, add, not_recorded, weakest
from tracker.vocabulary import Basis

WEEK = date(2026, 1, 12)


def litres(value=10.0, **more):
    return Figure(**{"value": value, "unit": "L", "basis": Basis.METERED, **more})


@pytest.mark.parametrize("field", ["value", "low", "high"])
@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_a_figure_that_is_not_a_number_is_refused(field, wrong):
    cells = {"low": 1.0, "high": 20.0, field: wrong}
    with pytest.raises(ValueError, match=f"{field} of a figure must be a finite number"):
        litres(**cells)


@pytest.mark.parametrize("ends", [{"low": 1.0}, {"high": 20.0}])
def test_an_interval_with_one_end_is_refused(ends):
    with pytest.raises(ValueError, match="both ends"):
        litres(**ends)


def test_an_interval_that_runs_backwards_is_refused():
    with pytest.raises(ValueError, match="backwards"):
        litres(low=3.0, high=2.0)


@pytest.mark.parametrize("cells", [{"used": -1}, {"expected": -1}])
def test_negative_records_are_refused(cells):
    with pytest.raises(ValueError, match="negative"):
        litres(**cells)


def test_not_recorded_is_not_zero():
    blank = not_recorded("L", Basis.METERED, expected=12)
    assert blank.value is None
    assert not blank.recorded
    assert blank.completeness_share == 0
    assert litres(0.0).recorded


def test_completeness_is_used_of_expected_and_unknown_without_expected():
    assert litres(used=9, expected=12).completeness_share == 0.75
    assert litres().completeness_share is None


def test_a_figure_cannot_be_changed_after_it_was_made():
    with pytest.raises(dataclasses.FrozenInstanceError):
        litres().value = 11.0


def test_the_weakest_basis_of_several():
    assert weakest([Basis.COUNTED, Basis.ESTIMATED, Basis.METERED]) is Basis.ESTIMATED
    assert weakest(reversed(Basis)) is Basis.ESTIMATED
    with pytest.raises(ValueError, match="at least one"):
        weakest([])


def test_a_sum_takes_half_widths_in_quadrature():
    # Distances below 3 and 4: 5; above 6 and 8: 10 (Pythagoras; JCGM 100:2008, 5.1, from memory).
    total = add([litres(10.0, low=7.0, high=16.0), litres(20.0, low=16.0, high=28.0, basis=Basis.MODELLED)])
    assert (total.value, total.low, total.high, total.basis) == (30, 25, 40, Basis.MODELLED)


def test_a_part_without_interval_adds_no_width():
    total = add([litres(10.0, low=7.0, high=13.0), litres(5.0)])
    assert (total.low, total.high) == (12, 18)
    assert add([litres(1.0), litres(2.0)]).low is None


def test_a_part_not_recorded_lowers_completeness_and_adds_nothing():
    total = add([litres(10.0, used=4, expected=4), not_recorded("L", Basis.ESTIMATED, expected=4)])
    assert (total.value, total.used, total.expected) == (10, 4, 8)
    assert total.completeness_share == 0.5
    assert total.basis is Basis.METERED  # a blank has no basis to weaken the sum with


def test_a_sum_of_blanks_is_blank():
    total = add([not_recorded("L", Basis.METERED, expected=3), not_recorded("L", Basis.METERED, expected=2)])
    assert total.value is None
    assert total.expected == 5


def test_parts_and_the_mark_about_people_are_carried_along():
    parts = [Part("Lakeside", WEEK, 10.0), Part("Hillview", WEEK, 5.0)]
    total = add([litres(10.0, parts=(parts[0],)), litres(5.0, parts=(parts[1],), about_people=True)])
    assert total.parts == tuple(parts)
    assert sum(part.value for part in total.parts) == total.value
    assert total.about_people


def test_figures_of_different_units_or_records_cannot_be_added():
    with pytest.raises(ValueError, match="cannot be added"):
        add([litres(), dataclasses.replace(litres(), unit="visits")])
    with pytest.raises(ValueError, match="cannot be added"):
        add([litres(), litres(records="readings")])
    with pytest.raises(ValueError, match="at least one"):
        add([])


@given(
    rows=st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 1000), st.integers(0, 1000)), min_size=1, max_size=8)
)
@settings(max_examples=50, deadline=None)
def test_a_sum_is_the_same_in_any_order_and_never_wider_than_the_widths_laid_end_to_end(rows):
    figures = [litres(float(v), low=float(v - below), high=float(v + above)) for v, below, above in rows]
    total, back = add(figures), add(list(reversed(figures)))
    assert total.value == back.value == sum(v for v, _, _ in rows)
    assert total.low == pytest.approx(back.low)
    assert total.high - total.value <= sum(above for _, _, above in rows) + 1e-6
    assert total.value - total.low >= max(below for _, below, _ in rows) - 1e-6
