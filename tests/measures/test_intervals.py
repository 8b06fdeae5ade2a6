"""Limits and uncertainties against published examples, and against scipy.stats where it knows the same thing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.intervals import (
    mean_time_between,
    poisson_limits,
    poisson_rate,
    product_u,
    ratio_of_totals,
    stratified_total,
    sum_u,
    wilson,
)


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"),
    [
        # R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872: inputs read; limits recomputed by formula.
        (81, 263, 0.2552885, 0.3662096),  # WIL-01
        (15, 148, 0.0623864, 0.1604872),  # WIL-02
        (0, 20, 0.0, 0.1611252),  # WIL-03, inputs from memory
        (1, 29, 0.0061132, 0.1717552),  # WIL-04, inputs from memory
        (20, 20, 0.8388748, 1.0),  # WIL-05, derived by hand, no outside source
    ],
)
def test_wilson_limits_of_the_published_inputs(successes, n, low, high):
    found = wilson(successes, n)
    assert found.value == successes / n
    assert found.low == pytest.approx(low, abs=1e-6)
    assert found.high == pytest.approx(high, abs=1e-6)


@given(n=st.integers(1, 3000), share=st.floats(0, 1), confidence=st.sampled_from([0.8, 0.9, 0.95, 0.99]))
@settings(max_examples=60, deadline=None)
def test_wilson_limits_are_those_of_scipy_stats(n, share, confidence):
    successes = round(share * n)
    found = wilson(successes, n, confidence)
    reference = stats.binomtest(successes, n).proportion_ci(confidence, method="wilson")
    assert found.low == pytest.approx(reference.low, abs=1e-12)
    assert found.high == pytest.approx(reference.high, abs=1e-12)
    assert 0 <= found.low <= found.value <= found.high <= 1


def test_no_trial_has_no_share():
    assert wilson(0, 0) == (None, None, None)


@pytest.mark.parametrize(("successes", "n"), [(-1, 5), (6, 5)])
def test_more_successes_than_trials_are_refused(successes, n):
    with pytest.raises(ValueError, match="successes"):
        wilson(successes, n)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # POI-01. x = 0: R epitools pois.exact note; x = 10: a published calculator; the rest recomputed two ways.
        (0, 0.0, 3.688879),
        (1, 0.025318, 5.571643),
        (2, 0.242209, 7.224688),
        (3, 0.618672, 8.767273),
        (4, 1.089865, 10.241589),
        (5, 1.623486, 11.668332),
        (10, 4.795389, 18.390356),
        (15, 8.395386, 24.740219),
        (20, 12.216520, 30.888378),
        (50, 37.110964, 65.918767),
    ],
)
def test_exact_poisson_limits(count, low, high):
    found = poisson_limits(count)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))
    # The defining tails: 2.5 % to see so many or more at the low limit, so many or fewer at the high one.
    assert stats.poisson.cdf(count, found.high) == pytest.approx(0.025)
    if count:
        assert stats.poisson.sf(count - 1, found.low) == pytest.approx(0.025)


def test_exact_limits_of_a_rate():
    # POI-02: R DescTools output, read in statsmodels 0.15.0, test_rates_poisson.py.
    found = poisson_rate(15, 400)
    assert found.value == 0.0375
    assert found.low == pytest.approx(0.0209884653319583, abs=1e-12)
    assert found.high == pytest.approx(0.0618505471787146, abs=1e-12)
    assert poisson_rate(3, 0) == (None, None, None)


def test_negative_counts_and_exposures_are_refused():
    with pytest.raises(ValueError, match="negative"):
        poisson_limits(-1)
    with pytest.raises(ValueError, match="negative"):
        poisson_rate(1, -1)


# T. Lumley, "A survey analysis example", vignette of the R survey package: 15 districts of 757;
# schools, sum of api00, sum of enroll, sum of api.stu by district.
DISTRICTS = [
    (13, 9372, 6777, 6047),
    (34, 22508, 15038, 12618),
    (4, 2077, 1668, 1461),
    (13, 8593, 6958, 5935),
    (16, 11369, 9025, 7573),
    (2, 1116, 683, 610),
    (1, 551, 274, 199),
    (4, 1888, 1436, 1184),
    (12, 9111, 7375, 6431),
    (21, 13761, 14968, 12292),
    (9, 6386, 2180, 1877),
    (11, 7359, 6081, 4895),
    (37, 20394, 25814, 22452),
    (2, 905, 680, 532),
    (4, 2493, 1641, 1373),
]


@pytest.mark.parametrize(
    ("y", "x", "value", "se", "tolerance"),
    [
        (1, 0, 644.1693989, 23.5422407, 1e-6),  # CLU-03: mean api00 by school
        (3, 2, 0.8497087417, 0.0083862972, 1e-9),  # CLU-04: api.stu / enroll
    ],
)
def test_ratio_of_cluster_totals_of_the_published_districts(y, x, value, se, tolerance):
    found = ratio_of_totals([row[y] for row in DISTRICTS], [row[x] for row in DISTRICTS], population=757)
    assert found.value == pytest.approx(value, abs=tolerance)
    quantile = stats.t.ppf(0.975, 14)
    assert (found.high - found.value) / quantile == pytest.approx(se, abs=tolerance)
    assert found.value - found.low == pytest.approx(found.high - found.value)


def test_one_cluster_has_a_ratio_but_no_limits_and_no_base_has_nothing():
    assert ratio_of_totals([3], [4]) == (0.75, None, None)
    assert ratio_of_totals([], []) == (None, None, None)
    assert ratio_of_totals([1, 2], [0, 0]) == (None, None, None)


def test_the_whole_population_of_clusters_has_no_sampling_error():
    assert ratio_of_totals([1, 5], [2, 4], population=2) == (1.0, 1.0, 1.0)


def test_clusters_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="as many y as x"):
        ratio_of_totals([1, 2], [1])
    with pytest.raises(ValueError, match="more clusters"):
        ratio_of_totals([1, 2], [1, 1], population=1)


def test_a_sampled_total_worked_by_hand():
    # Week 1: 10 and 14 of 10 breaks: mean 12, total 120, s² 8, M²(1 − n/M)s²/n = 100 · 0.8 · 8/2 = 320.
    # Week 2: 9 of 8 breaks: total 72, s² pooled = 8/1 = 8, 64 · 7/8 · 8/1 = 448.
    # se = √768 = 27.712813; t(0.975; 1) = 12.706205 (table): half-width 352.12; low clipped at 33 visits seen.
    # Derived by hand, no outside source.
    found = stratified_total([([10, 14], 10), ([9], 8)])
    assert found.totals == (120.0, 72.0)
    assert found.interval.value == 192.0
    assert found.interval.low == 33.0
    assert found.interval.high == pytest.approx(192 + 12.706205 * math.sqrt(768), abs=1e-3)


def test_a_stratum_seen_whole_adds_no_uncertainty():
    alone = stratified_total([([10, 14, 12], 10)]).interval
    beside = stratified_total([([10, 14, 12], 10), ([7], 1)]).interval
    assert beside.value - beside.low == pytest.approx(alone.value - alone.low)
    assert stratified_total([([5, 6], 2), ([7], 1)]).interval == (18.0, 18.0, 18.0)


def test_without_any_repeated_look_there_are_no_limits():
    assert stratified_total([([10], 10), ([9], 8)]).interval == (172.0, None, None)
    assert stratified_total([]).interval == (None, None, None)


@pytest.mark.parametrize("sample", [([], 5), ([1, 2, 3], 2)])
def test_a_stratum_without_values_or_with_too_many_is_refused(sample):
    with pytest.raises(ValueError, match="stratum"):
        stratified_total([sample])


def test_limits_of_a_sampled_total_hold_the_truth_about_as_often_as_they_say():
    # 12 weeks of 10 breaks, 2 drawn without replacement: near 95 % of 600 draws; 5 sd of a share of 0.95 are 0.045.
    random = np.random.default_rng(20260112)
    weeks = random.poisson(30, size=(12, 10))
    held = 0
    for _ in range(600):
        drawn = [(random.choice(week, 2, replace=False).tolist(), 10) for week in weeks]
        found = stratified_total(drawn).interval
        held += found.low <= weeks.sum() <= found.high
    assert held / 600 == pytest.approx(0.95, abs=0.045)


def test_uncertainties_add_in_quadrature():
    # WAT-03: micrometer budget by the GUM equations, read; source prints .00051.
    assert sum_u([0.00033, 0.00029, 0.00025]) == pytest.approx(0.00050547, abs=1e-7)
    # WAT-04: JCGM 100:2008, H.1 end gauge (from memory); 32 nm.
    assert sum_u([25, 9.7, 2.9, 16.6]) == pytest.approx(31.671, abs=1e-3)
    # WAT-05: derived by hand, no outside source.
    assert sum_u([2, 1, 1.5]) == pytest.approx(2.6925824, abs=1e-6)
    assert 15 / sum_u([2, 1, 1.5]) == pytest.approx(5.570860, abs=1e-6)


def test_uncertainty_of_a_product():
    # WAT-06: 500 flushes to 5 %, 6 L to 3 %: 3000 L, u 174.9286 L. Derived by hand, no outside source.
    assert product_u(500, 25, 6, 0.18) == pytest.approx(174.9286, abs=1e-4)
    assert product_u(500, 25, 6, 0.18) / 3000 == pytest.approx(0.05830952, abs=1e-8)
    assert product_u(0, 2, 6, 0.18) == 12


def test_time_between_failures_of_the_handbook():
    # REL-01: NIST/SEMATECH e-Handbook 8.4.5.1 (outputs 127.0690 and 2251.229 read in a script based on it).
    found = mean_time_between(800, 2, confidence=0.90)
    assert found.value == 400
    assert found.low == pytest.approx(127.068968, abs=1e-5)
    assert found.high == pytest.approx(2251.228611, abs=1e-5)


@pytest.mark.parametrize(
    ("failures", "at_90", "at_95"),
    [
        # REL-02 and REL-03: factors on T/r by the handbook's formula (recomputed; table cells not read).
        (1, (0.2108, 19.4957), (0.1795, 39.4979)),
        (2, (0.3177, 5.6281), (0.2768, 8.2573)),
        (3, (0.3869, 3.6689), (0.3422, 4.8491)),
        (5, (0.4756, 2.5379), (0.4285, 3.0798)),
        (10, (0.5895, 1.8432), (0.5438, 2.0853)),
    ],
)
def test_factors_of_the_limits_and_the_chi_square_form(failures, at_90, at_95):
    for confidence, factors in ((0.90, at_90), (0.95, at_95)):
        found = mean_time_between(1000, failures, confidence)
        assert (found.low / found.value, found.high / found.value) == pytest.approx(factors, abs=1e-4)
        tail = (1 - confidence) / 2
        assert found.low == pytest.approx(2000 / stats.chi2.ppf(1 - tail, 2 * failures + 2))
        assert found.high == pytest.approx(2000 / stats.chi2.ppf(tail, 2 * failures))


@pytest.mark.parametrize(("confidence", "low"), [(0.90, 347.435586), (0.95, 267.046561)])
def test_without_a_failure_there_is_only_a_one_sided_low_limit(confidence, low):
    # REL-04: NIST/SEMATECH e-Handbook 8.4.5.1, zero fails: exp(−T/M) = a.
    found = mean_time_between(800, 0, confidence)
    assert found.value is None
    assert found.high is None
    assert found.low == pytest.approx(low, abs=1e-6)
    assert math.exp(-800 / found.low) == pytest.approx(1 - confidence)


def test_no_time_tells_nothing_and_negative_time_is_refused():
    assert mean_time_between(0, 0) == (None, None, None)
    with pytest.raises(ValueError, match="negative"):
        mean_time_between(-1, 0)


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_a_confidence_outside_0_to_1_is_refused(confidence):
    with pytest.raises(ValueError, match="confidence"):
        wilson(1, 2, confidence)
