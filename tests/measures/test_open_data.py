"""Measures on open data: the yearly flow of the Nile at Aswan, 1871 to 1970, 100 values in 10^8 m³.

Source: G. W. Cobb, "The problem of the Nile", Biometrika 65 (1978) 243-251; public domain, shipped by statsmodels as
``datasets.nile``. The change after 1898 is the one that the article is about. Reference values: statsmodels (least
squares) and plain numpy on the same numbers.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.api import OLS, datasets

from tracker.measures.changes import interrupted_series
from tracker.measures.differences import difference_of_estimates
from tracker.measures.forecast import accuracy, period_forecast, scaled_error
from tracker.measures.intervals import Interval, ratio_of_totals, stratified_total

BEFORE = 28  # 1871 to 1898


@pytest.fixture(scope="module")
def flow():
    data = datasets.nile.load_pandas().data
    assert (data["year"].iloc[0], data["year"].iloc[-1], len(data)) == (1871, 1970, 100)
    return data["volume"].to_numpy(dtype=float)


def test_the_step_after_1898_by_an_interrupted_series(flow):
    t = np.arange(1, 101)
    post = (t > BEFORE).astype(float)
    reference = OLS(flow, np.column_stack([np.ones(100), t, post, (t - BEFORE) * post])).fit().params
    assert tuple(interrupted_series(flow.tolist(), BEFORE)) == pytest.approx(tuple(reference), rel=1e-9)
    assert interrupted_series(flow.tolist(), BEFORE).step < -100


def mean_with_limits(values):
    low, high = stats.t.interval(0.95, len(values) - 1, values.mean(), stats.sem(values))
    return Interval(float(values.mean()), float(low), float(high))


def test_the_fall_of_the_mean_flow_has_limits_that_leave_out_zero(flow):
    # Means 1097.75 and 849.97 (numpy; also quoted in textbooks, from memory).
    before, after = mean_with_limits(flow[:BEFORE]), mean_with_limits(flow[BEFORE:])
    found = difference_of_estimates(after, before)
    assert found.value == pytest.approx(849.9722 - 1097.75, abs=1e-3)
    assert found.high < 0
    welch = stats.ttest_ind(flow[BEFORE:], flow[:BEFORE], equal_var=False).confidence_interval()
    assert (found.low, found.high) == pytest.approx((welch.low, welch.high), rel=0.02)


def test_forecasts_of_the_last_twenty_years(flow):
    training, held_out = flow[:80], flow[80:]
    expected = period_forecast(training[BEFORE:].tolist())
    assert expected == pytest.approx(training[BEFORE:].mean())
    errors = held_out - expected
    found = accuracy(held_out.tolist(), [expected] * 20)
    assert (found.bias, found.size, found.root) == pytest.approx(
        (errors.mean(), abs(errors).mean(), np.sqrt((errors**2).mean()))
    )
    scale = abs(np.diff(training)).mean()
    mase = scaled_error(held_out.tolist(), [expected] * 20, training.tolist())
    assert mase == pytest.approx(abs(errors).mean() / scale)
    old = scaled_error(held_out.tolist(), [training[:BEFORE].mean()] * 20, training.tolist())
    assert mase < old  # a mean of the years before the change forecasts worse


def test_the_flow_of_a_century_from_three_years_of_every_decade(flow):
    # The decades are strata, as the weeks of a term are; the true total is known.
    decades = flow.reshape(10, 10)
    random = np.random.default_rng(1898)
    hits = 0
    for _ in range(400):
        sample = [(random.choice(decade, 3, replace=False).tolist(), 10) for decade in decades]
        low, high = stratified_total(sample).interval[1:]
        hits += low <= flow.sum() <= high
    assert stats.binom.ppf(0.0005, 400, 0.92) <= hits <= stats.binom.ppf(0.9995, 400, 0.98)


def test_the_share_of_wet_years_over_decades_as_clusters(flow):
    # Years above 1000 ÷ years, decade by decade; numpy: s² of the residuals, t with 9 degrees of freedom.
    wet = (flow.reshape(10, 10) > 1000).sum(axis=1)
    found = ratio_of_totals(wet.tolist(), [10] * 10)
    share = wet.sum() / 100
    half = stats.t.ppf(0.975, 9) * np.sqrt(10 / 9 * ((wet - 10 * share) ** 2).sum()) / 100
    assert tuple(found) == pytest.approx((share, share - half, share + half))
