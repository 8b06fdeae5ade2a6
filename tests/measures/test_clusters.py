"""Clusters: published design effects and districts, statsmodels, and the bootstrap that draws whole schools."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.measures.test_intervals import DISTRICTS
from tracker.measures.clusters import (
    bootstrap_clusters,
    bootstrap_ratio,
    cluster_total,
    design_effect,
    effective_size,
    intraclass,
)
from tracker.measures.intervals import quotient_u, ratio_of_totals

GROUPS = [(4, 5, 6), (7, 8, 9), (1, 2, 3), (6, 6, 9)]


def test_the_published_design_effect():
    # CLU-01, READ 1.3425 and 893.88: design-effect example, codingace.net (the form is Kish 1965).
    effect = design_effect(12, 0.03, 0.25, 0.95)
    assert effect == pytest.approx(1.34246875, abs=1e-8)
    assert effective_size(1200, effect) == pytest.approx(893.8756, abs=1e-4)


def test_intraclass_correlation_by_analysis_of_variance():
    # CLU-02, derived for this file, no outside source (ANOVA and REML agree).
    found = intraclass(GROUPS)
    assert (found.between, found.within, found.rho) == (pytest.approx(21), pytest.approx(1.5), pytest.approx(0.8125))
    effect = design_effect(found.size, found.rho)
    assert effect == pytest.approx(2.625, abs=1e-6)
    assert effective_size(12, effect) == pytest.approx(4.571429, abs=1e-6)
    # F of scipy's one-way analysis of variance is between ÷ within.
    assert found.between / found.within == pytest.approx(stats.f_oneway(*GROUPS).statistic)


def test_the_mean_over_clusters_is_less_sure_than_rows_pretend():
    # CLU-02: mean 5.5, cluster se 1.322876, naive .753778 (as 12 independent pupils).
    found = ratio_of_totals([sum(group) for group in GROUPS], [3] * 4)
    assert found.value == 5.5
    assert (found.high - found.value) / stats.t.ppf(0.975, 3) == pytest.approx(1.322876, abs=1e-6)
    naive = np.std([x for group in GROUPS for x in group], ddof=1) / math.sqrt(12)
    assert naive == pytest.approx(0.753778, abs=1e-6)


def test_likeness_of_clusters_of_unlike_size_worked_by_hand():
    # (1, 3), (5): means 2 and 5, overall 3. B = 2·1 + 1·4 = 6; W = 2 ÷ 1 = 2; m = 3 − 5/3 = 4/3.
    # ρ = (6 − 2) ÷ (6 + 2/3) = 0.6. Derived by hand, no outside source.
    found = intraclass([(1, 3), (5,), ()])
    assert (found.between, found.within) == (pytest.approx(6), pytest.approx(2))
    assert (found.size, found.rho) == (pytest.approx(4 / 3), pytest.approx(0.6))


def test_a_negative_likeness_is_reported_but_never_makes_a_sample_better():
    found = intraclass([(0, 10), (10, 0)])
    assert found.rho == pytest.approx(-1)
    assert design_effect(2, found.rho) == 1


@pytest.mark.parametrize("groups", [[], [(1, 2, 3)], [(1,), (2,)], [(4, 4), (4, 4)]])
def test_likeness_that_cannot_be_known(groups):
    assert intraclass(groups).rho is None


@pytest.mark.parametrize("wrong", [(0.5, 0.1), (3, 1.1), (3, 0.1, -1), (3, 0.1, 0, 0)])
def test_design_effects_that_make_no_sense_are_refused(wrong):
    with pytest.raises(ValueError, match="design effect"):
        design_effect(*wrong)
    with pytest.raises(ValueError, match="above 0"):
        effective_size(10, 0)


def test_the_published_total_of_districts():
    # CLU-05, READ 3404940 and 932235: T. Lumley, "A survey analysis example"; weight 33.84699630737.
    found = cluster_total([row[2] for row in DISTRICTS], 757, weight=33.84699630737)
    assert found.value == pytest.approx(3404940.1345, abs=1e-3)
    assert (found.high - found.value) / stats.t.ppf(0.975, 14) == pytest.approx(932235.0270, abs=1e-3)


def test_totals_at_the_edges():
    assert cluster_total([], 5) == (None, None, None)
    assert cluster_total([4.0], 5) == (20.0, None, None)
    assert cluster_total([4.0], 1) == (4.0, 4.0, 4.0)
    # 2 of 4: w = 2, total 2·(3 + 5) = 16, s² = 2, se = 2·√(0.5·2·2) = 2.828427. Derived by hand.
    assert cluster_total([3, 5], 4).high == pytest.approx(16 + stats.t.ppf(0.975, 1) * math.sqrt(8))
    with pytest.raises(ValueError, match="more clusters"):
        cluster_total([1, 2], 1)


def _cluster_se(population=None):
    found = ratio_of_totals([row[1] for row in DISTRICTS], [row[0] for row in DISTRICTS], population)
    return (found.high - found.value) / stats.t.ppf(0.975, 14)


def test_the_design_effect_of_the_districts():
    # CLU-06, derived for this file: naive se with the finite correction 7.700837, without 7.817181.
    assert (_cluster_se(757) / 7.700837) ** 2 == pytest.approx(9.346, abs=0.01)
    assert _cluster_se() == pytest.approx(23.7790, abs=0.001)


def test_the_bootstrap_of_whole_districts():
    # CLU-06: cluster bootstrap about 22.7 (60,000 resamples), tolerance 5 %; drawing schools would give about 7.8.
    y, x = [row[1] for row in DISTRICTS], [row[0] for row in DISTRICTS]
    found = bootstrap_ratio(y, x, seed=20310106, draws=20_000, confidence=0.6826895)
    assert found.value == pytest.approx(644.1693989, abs=1e-6)
    assert (found.high - found.low) / 2 == pytest.approx(22.7, rel=0.05)
    limits = bootstrap_ratio(y, x, seed=20310106, draws=20_000)
    assert limits.low < 644.17 - 30 and limits.high > 644.17 + 30  # ± 1.96 naive would be ± 15


def test_the_same_seed_gives_the_same_limits_and_a_generator_serves_too():
    y, x = [row[1] for row in DISTRICTS], [row[0] for row in DISTRICTS]
    first = bootstrap_ratio(y, x, seed=7)
    assert first == bootstrap_ratio(y, x, seed=7) == bootstrap_ratio(y, x, seed=np.random.default_rng(7))
    assert first != bootstrap_ratio(y, x, seed=8)


def test_both_bootstraps_tell_the_same():
    random = np.random.default_rng(5)
    x = random.integers(20, 60, 25).astype(float)
    y = x * 0.4 + random.normal(0, 3, 25)
    schools = list(zip(y, x, strict=True))

    def ratio(rows):
        return sum(a for a, _ in rows) / sum(b for _, b in rows)

    slow = bootstrap_clusters(schools, ratio, seed=3, draws=4000)
    fast = bootstrap_ratio(y, x, seed=3, draws=4000)
    width = fast.high - fast.low
    assert slow.value == pytest.approx(fast.value)
    assert (slow.low, slow.high) == (pytest.approx(fast.low, abs=width / 10), pytest.approx(fast.high, abs=width / 10))


def test_a_bootstrap_keeps_what_is_inside_a_school_together():
    # Two schools, each constant: every draw is a mixture of whole schools, so the mean is 0, 5 or 10 and nothing else.
    found = bootstrap_clusters(
        [[0.0] * 4, [10.0] * 4], lambda rows: float(np.mean([x for r in rows for x in r])), seed=1
    )
    assert found == (5.0, 0.0, 10.0)


def test_one_school_has_no_bootstrap_and_no_base_has_nothing():
    assert bootstrap_ratio([3], [4], seed=1) == (0.75, None, None)
    assert bootstrap_ratio([], [], seed=1) == (None, None, None)
    assert bootstrap_ratio([1, 2], [0, 0], seed=1) == (None, None, None)
    assert bootstrap_clusters([[1.0]], lambda rows: rows[0][0], seed=1) == (1.0, None, None)
    assert bootstrap_clusters([], lambda rows: 1.0, seed=1) == (None, None, None)
    with pytest.raises(ValueError, match="as many y as x"):
        bootstrap_ratio([1], [1, 2], seed=1)
    with pytest.raises(ValueError, match="at least 100"):
        bootstrap_ratio([1, 2], [1, 2], seed=1, draws=10)


def test_draws_without_a_statistic_are_left_out_and_most_of_them_leave_no_limits():
    def only_mixed(rows):
        return 1.0 if len(set(rows)) > 1 else None

    def only_whole(rows):
        return 1.0 if len(set(rows)) == len(rows) else None

    assert bootstrap_clusters([1, 2, 3], only_mixed, seed=2) == (1.0, 1.0, 1.0)  # 24 of 27 draws
    assert bootstrap_clusters([1, 2, 3, 4], only_whole, seed=2) == (1.0, None, None)  # 24 of 256 draws


@given(st.lists(st.tuples(st.integers(1, 400), st.floats(0.05, 0.95)), min_size=3, max_size=30))
@settings(max_examples=40, deadline=None)
def test_the_ratio_of_clusters_is_that_of_a_regression_with_clustered_errors(rows):
    # y = R·x + e weighted by 1/x is Σy/Σx; its HC0 variance is Σe² ÷ (Σx)²; ours has n ÷ (n − 1) beside it.
    x = np.array([float(size) for size, _ in rows])
    y = np.array([round(size * share) for size, share in rows], dtype=float)
    n = len(rows)
    fitted = sm.WLS(y, x, weights=1 / x).fit(cov_type="HC0")
    found = ratio_of_totals(y.tolist(), x.tolist())
    assert found.value == pytest.approx(float(fitted.params[0]), abs=1e-9)
    se = float(fitted.bse[0]) * math.sqrt(n / (n - 1))
    assert found.high - found.value == pytest.approx(stats.t.ppf(0.975, n - 1) * se, rel=1e-6, abs=1e-9)


def test_uncertainty_of_a_quotient():
    # 120 ± 6 ÷ 40 ± 1: relative 5 % and 2.5 %, together 5.590170 % of 3. Derived by hand, no outside source.
    assert quotient_u(120, 6, 40, 1) == pytest.approx(3 * math.hypot(0.05, 0.025), abs=1e-12)
    assert quotient_u(0, 6, 40, 1) == pytest.approx(0.15)
    assert quotient_u(1, 1, 0, 1) is None
