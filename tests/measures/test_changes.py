"""Before and after beside comparison schools, against a published table and statsmodels."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.changes import (
    CANNOT_SHOW,
    difference_in_differences,
    difference_of_changes,
    interrupted_series,
)

PAIR = st.tuples(st.integers(0, 100), st.integers(0, 100))
SCHOOLS = st.lists(PAIR, min_size=2, max_size=12).filter(lambda rows: len({b - a for a, b in rows}) > 1)


def test_the_published_difference_in_differences():
    # DID-01, READ: Card and Krueger, AER 84(4) 1994, table 3, row 3: 20.44 to 21.03 and 23.33 to 21.17,
    # standard errors of the changes .54 and 1.25; published 2.76 (1.36), 2.75 from the rounded means.
    found = difference_of_changes(21.03 - 20.44, 0.54, 21.17 - 23.33, 1.25)
    assert found.value == pytest.approx(2.76, abs=0.011)
    assert (found.high - found.value) / 1.959964 == pytest.approx(1.3617, abs=1e-4)


def test_the_published_difference_of_the_balanced_sample():
    # DID-02, READ: the same table, row 4: .47 (.48) and −2.28 (1.25); 2.75 (1.34).
    found = difference_of_changes(0.47, 0.48, -2.28, 1.25)
    assert found.value == pytest.approx(2.75, abs=0.005)
    assert (found.high - found.value) / 1.959964 == pytest.approx(1.34, abs=0.005)


TREATED = [(10, 15), (12, 16), (11, 17)]
COMPARED = [(8, 9), (9, 10), (10, 11)]


def _regression(treated, compared):
    """The interaction of y ~ 1 + treated·post with errors clustered by school, without small-sample factors."""
    rows = [
        (value, school, float(arm), float(post))
        for arm, schools in ((1, treated), (0, compared))
        for school, pair in enumerate(schools, start=100 * arm)
        for post, value in enumerate(pair)
    ]
    y, school, arm, post = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    shape = np.column_stack([np.ones_like(y), arm, post, arm * post])
    return sm.OLS(y, shape).fit(cov_type="cluster", cov_kwds={"groups": school, "use_correction": False})


def test_the_regression_equals_the_arithmetic():
    # DID-03, derived by hand: (16 − 11) − (10 − 9) = 4.
    assert difference_in_differences(TREATED, COMPARED).value == pytest.approx(4.0, abs=1e-9)
    assert float(_regression(TREATED, COMPARED).params[3]) == pytest.approx(4.0, abs=1e-9)


@given(treated=SCHOOLS, compared=SCHOOLS)
@settings(max_examples=40, deadline=None)
def test_the_error_is_that_of_a_regression_clustered_by_school(treated, compared):
    found = difference_in_differences(treated, compared)
    fitted = _regression(treated, compared)
    assert found.value == pytest.approx(float(fitted.params[3]), abs=1e-7)
    # statsmodels divides by n where we divide by n − 1: undo it arm by arm through the squares of each arm.
    ours = [stats.tvar([b - a for a, b in rows]) / len(rows) for rows in (treated, compared)]
    theirs = sum(part * (len(rows) - 1) / len(rows) for part, rows in zip(ours, (treated, compared), strict=True))
    assert float(fitted.cov_params()[3, 3]) == pytest.approx(theirs, rel=1e-6, abs=1e-9)


@given(treated=SCHOOLS, compared=SCHOOLS)
@settings(max_examples=40, deadline=None)
def test_the_limits_are_welchs_of_the_changes(treated, compared):
    ours, theirs = ([b - a for a, b in rows] for rows in (treated, compared))
    found = difference_in_differences(treated, compared)
    limits = stats.ttest_ind(ours, theirs, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == (pytest.approx(limits.low, abs=1e-6), pytest.approx(limits.high, abs=1e-6))


def test_rows_as_independent_would_claim_too_much_where_schools_differ():
    # Three schools far apart that change alike: as 12 independent values the error is 13 times as large here.
    treated, compared = [(10, 15), (50, 54), (90, 96)], [(20, 21), (60, 61.5), (95, 96)]
    found = difference_in_differences(treated, compared)
    naive = math.sqrt(sum(stats.tvar(column) / 3 for rows in (treated, compared) for column in zip(*rows, strict=True)))
    assert (found.high - found.low) / 2 < naive


def test_too_few_schools_have_no_limits():
    assert difference_in_differences([(1, 3)], COMPARED) == (1.0, None, None)
    assert difference_in_differences(TREATED, []) == (None, None, None)
    assert difference_in_differences([(1, 2), (3, 4)], [(5, 5), (6, 6)]) == (1.0, None, None)
    with pytest.raises(ValueError, match="negative"):
        difference_of_changes(1, -1, 0, 1)


def test_the_sentence_says_what_it_cannot_show():
    assert "does not show that the change was the cause" in CANNOT_SHOW


def test_an_interrupted_series_is_recovered_exactly():
    # ITS-01, derived for this file: y = 10 + .5t + 3 post + 1 (t − 8) post.
    values = [10 + 0.5 * t + (3 + (t - 8)) * (t > 8) for t in range(1, 17)]
    assert interrupted_series(values, before=8) == pytest.approx((10, 0.5, 3, 1), abs=1e-9)


@pytest.mark.parametrize("before", [1, 3])
def test_a_side_with_one_value_has_no_line(before):
    assert interrupted_series([1.0, 2.0, 3.0, 4.0], before) is None


def test_a_series_with_a_gap_is_refused():
    with pytest.raises(ValueError, match="finite"):
        interrupted_series([1.0, float("nan"), 2.0, 3.0], 2)
