"""Two groups and paired answers, against published examples, statsmodels and scipy.stats."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.contingency_tables import mcnemar as reference_mcnemar
from statsmodels.stats.proportion import confint_proportions_2indep

from tracker.measures.differences import (
    Pairs,
    difference_of_estimates,
    mcnemar,
    newcombe_difference,
    newcombe_paired,
    paired_difference,
    rate_difference,
    rate_ratio,
    rate_ratio_exact,
)
from tracker.measures.intervals import Interval

COUNTS = st.integers(0, 60)


@pytest.mark.parametrize(
    ("first", "second", "low", "high"),
    [
        # PRP-01, READ: R. G. Newcombe, Stat. Med. 17 (1998) 873-890, table II (a): .0524 to .3339.
        ((56, 70), (48, 80), 0.0524315, 0.3338727),
        # PRP-02, READ: Fagerland, Lydersen and Laake 2015, in statsmodels 0.15.0 test_proportion.py: .019 to .34.
        ((7, 34), (1, 34), 0.0189214, 0.3403687),
        # PRP-03: the same table of Newcombe, rows from memory; recomputed.
        ((9, 10), (3, 10), 0.170523, 0.809018),
        ((10, 10), (0, 20), 0.679086, 1.0),
        ((0, 10), (0, 20), -0.161125, 0.277533),
        ((5, 56), (0, 29), -0.038137, 0.192560),
    ],
)
def test_newcombe_limits_of_the_published_differences(first, second, low, high):
    found = newcombe_difference(*first, *second)
    assert found.value == pytest.approx(first[0] / first[1] - second[0] / second[1], abs=1e-12)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


@given(a=COUNTS, b=COUNTS, n=st.integers(1, 60), m=st.integers(1, 60))
@settings(max_examples=60, deadline=None)
def test_newcombe_limits_are_those_of_statsmodels_and_turn_round_with_the_groups(a, b, n, m):
    assume(a <= n and b <= m)
    found, turned = newcombe_difference(a, n, b, m), newcombe_difference(b, m, a, n)
    low, high = confint_proportions_2indep(a, n, b, m, method="newcomb", compare="diff")
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))
    assert (turned.low, turned.high) == (pytest.approx(-found.high), pytest.approx(-found.low))
    assert -1 - 1e-12 <= found.low <= found.value + 1e-12 <= found.high + 2e-12 <= 1 + 3e-12


def test_an_empty_group_has_no_difference():
    assert newcombe_difference(0, 0, 3, 5) == (None, None, None)
    assert newcombe_paired(Pairs(0, 0, 0, 0)) == (None, None, None)
    assert paired_difference(Pairs(0, 0, 0, 0)) == (None, None, None)


def test_limits_of_a_difference_by_hand():
    # Below: √(3² + 4²) = 5; above: √(3² + 4²) = 5. Correlation 1 leaves |3 − 4| = 1. Derived by hand.
    first, second = Interval(9, 6, 12), Interval(5, 1, 9)
    assert difference_of_estimates(first, second) == (4, -1, 9)
    assert difference_of_estimates(first, second, correlation=1) == (4, 3, 5)
    assert difference_of_estimates(first, Interval(5, None, None)) == (4, None, None)
    assert difference_of_estimates(first, Interval(None, 1, None)) == (None, None, None)


def test_newcombe_limits_of_pairs():
    # PRP-08: Newcombe, Stat. Med. 17 (1998) 2635-2650, method 10, (36, 12, 2, 0); from memory, unconfirmed.
    found = newcombe_paired(Pairs(36, 2, 12, 0))
    assert found.value == pytest.approx(0.2, abs=1e-12)
    assert found.low == pytest.approx(0.0569296, abs=1e-6)
    assert found.high == pytest.approx(0.3404276, abs=1e-6)


def test_the_correlation_of_pairs_is_lowered_by_half_a_pair_count():
    # n = 40: ad − bc = 10·19 − 2·9 = 172, less 20 is 152; margins 12·28·19·21 = 134 064, root 366.1475.
    # Wilson limits of 12/40 and 19/40 from scipy.stats. Derived by hand, no outside source.
    phi = 152 / math.sqrt(12 * 28 * 19 * 21)
    before = stats.binomtest(12, 40).proportion_ci(method="wilson")
    after = stats.binomtest(19, 40).proportion_ci(method="wilson")
    down, up = 19 / 40 - after.low, before.high - 12 / 40
    low = 7 / 40 - math.sqrt(down**2 - 2 * phi * down * up + up**2)
    found = newcombe_paired(Pairs(10, 2, 9, 19))
    assert found.low == pytest.approx(low, abs=1e-12)
    # 25 pairs: 9·9 − 4·3 = 69 less 12.5; few pairs alike: 6·5 − 4·4 = 14 less 9.5; 5·5 − 4·4 = 9 less 9 is 0.
    alone = newcombe_paired(Pairs(5, 4, 4, 5))
    assert alone.high == pytest.approx(newcombe_difference(9, 18, 9, 18).high, abs=1e-12)


@given(a=COUNTS, b=COUNTS, c=COUNTS, d=COUNTS)
@settings(max_examples=80, deadline=None)
def test_paired_limits_hold_their_value_stay_in_range_and_turn_round(a, b, c, d):
    assume(a + b + c + d)
    found, turned = newcombe_paired(Pairs(a, b, c, d)), newcombe_paired(Pairs(a, c, b, d))
    assert -1 - 1e-12 <= found.low <= found.value + 1e-12 <= found.high + 2e-12 <= 1 + 3e-12
    assert (turned.low, turned.high) == (pytest.approx(-found.high), pytest.approx(-found.low))


def test_pairs_need_counts():
    with pytest.raises(ValueError, match="negative"):
        Pairs(1, -1, 0, 0)
    with pytest.raises(ValueError, match="negative"):
        mcnemar(-1, 2)


@pytest.mark.parametrize(
    ("changed", "chi2", "corrected", "corrected_p", "exact_p", "tolerance"),
    [
        # PRP-04, READ (corrected): McNemar example with R output; the rest recomputed by two routes.
        ((86, 150), 17.3559322, 16.8177966, 4.11456e-05, 3.71594e-05, 1e-5),
        # PRP-05, READ (corrected): G. Cardillo, McNemar test, 2007; p recomputed.
        ((59, 121), None, 20.672222, 5.4501e-06, 4.4344e-06, 1.2e-5),  # printed to five digits
        # PRP-06, derived for this file, no outside source.
        ((2, 9), None, 3.2727273, None, 0.0654297, 1e-6),
        # PRP-07, derived by hand: 2 × 0.5⁵.
        ((0, 5), None, None, None, 0.0625, 1e-12),
        # 28 / 12, READ table: Cleophas and Zwinderman, SPSS for Starters, ch. 41; tests by arithmetic.
        ((28, 12), 6.4, 5.625, 0.0177, 0.0166, 4e-3),
        # 12 / 2, READ (corrected and exact): Armitage and Berry 1994, p. 127.
        ((12, 2), 7.142857, 5.785714, 0.0162, 0.0129, 4e-3),
        # 11 / 3, arithmetic: uncorrected and exact fall on opposite sides of 0.05.
        ((11, 3), 4.571429, 3.5, 0.0614, 0.0574, 4e-3),
    ],
)
def test_mcnemar_of_the_published_tables(changed, chi2, corrected, corrected_p, exact_p, tolerance):
    found = mcnemar(*changed)
    assert found.exact_p == pytest.approx(exact_p, rel=tolerance)
    for value, expected in ((found.chi2, chi2), (found.corrected, corrected), (found.corrected_p, corrected_p)):
        if expected is not None:
            assert value == pytest.approx(expected, rel=tolerance)
    assert found.discordant == sum(changed)


def test_uncorrected_and_exact_may_disagree_about_a_twentieth():
    found = mcnemar(11, 3)
    assert found.chi2_p < 0.05 < found.exact_p
    assert found.chi2_p == pytest.approx(0.0325, abs=5e-5)


def test_without_any_change_p_is_one_and_chi_square_is_not_defined():
    found = mcnemar(0, 0)
    assert found.exact_p == 1.0
    assert (found.chi2, found.chi2_p, found.corrected, found.corrected_p) == (None, None, None, None)


@given(b=st.integers(0, 400), c=st.integers(0, 400))
@settings(max_examples=80, deadline=None)
def test_mcnemar_is_that_of_statsmodels_and_the_binomial_test(b, c):
    assume(b + c)
    found = mcnemar(b, c)
    assert found.exact_p == pytest.approx(stats.binomtest(b, b + c).pvalue, rel=1e-9, abs=1e-300)
    assert found.exact_p <= 1
    plain = reference_mcnemar([[0, b], [c, 0]], exact=False, correction=False)
    assert (found.chi2, found.chi2_p) == (pytest.approx(plain.statistic), pytest.approx(plain.pvalue))
    if b != c:  # there statsmodels goes on subtracting; R, and we, do not
        corrected = reference_mcnemar([[0, b], [c, 0]], exact=False, correction=True)
        assert (found.corrected, found.corrected_p) == (
            pytest.approx(corrected.statistic),
            pytest.approx(corrected.pvalue),
        )
    else:
        assert (found.corrected, found.corrected_p) == (0, 1)


def test_a_paired_difference_with_simple_limits():
    # PRP-06, derived for this file, no outside source: n = 40, (9 − 2)/40; its limits are with z = 1.96.
    found = paired_difference(Pairs(10, 2, 9, 19))
    assert found.value == pytest.approx(0.175, abs=1e-12)
    half = (found.high - found.value) * 1.96 / stats.norm.ppf(0.975)
    assert (0.175 - half, 0.175 + half) == (pytest.approx(0.021802, abs=1e-6), pytest.approx(0.328198, abs=1e-6))
    assert found.value - found.low == pytest.approx(found.high - found.value)


def test_treating_pairs_as_two_groups_gives_other_limits():
    # 10, 2, 9, 19: the independent limits are wider, for the same pupils answer alike both times.
    paired, naive = newcombe_paired(Pairs(10, 2, 9, 19)), newcombe_difference(19, 40, 12, 40)
    assert paired.value == pytest.approx(naive.value)
    assert paired.high - paired.low < 0.85 * (naive.high - naive.low)


ROTHMAN = (41, 28010, 15, 19017)  # R package episheet (Rothman's worksheets), test-rate.R


def test_the_published_rate_ratio():
    # POI-03, READ 1.855, 1.03 to 3.35; recomputed.
    found = rate_ratio(*ROTHMAN)
    assert found.value == pytest.approx(1.8557587, abs=1e-4)
    assert (found.low, found.high) == (pytest.approx(1.02723, abs=1e-4), pytest.approx(3.35256, abs=1e-4))


def test_the_published_rate_difference():
    # POI-04, READ 67.499, 7.5 to 128; recomputed with z = 1.959964. Per 100,000.
    found = rate_difference(*ROTHMAN)
    assert found.value * 1e5 == pytest.approx(67.4995, abs=0.01)
    assert (found.low * 1e5, found.high * 1e5) == (pytest.approx(7.493, abs=0.01), pytest.approx(127.506, abs=0.01))


def test_the_exact_limits_of_a_rate_ratio():
    # POI-05, derived for this file, no outside source; second route: scipy's Clopper and Pearson limits of 41 in 56.
    found = rate_ratio_exact(*ROTHMAN)
    assert (found.low, found.high) == (pytest.approx(1.005684, abs=1e-5), pytest.approx(3.609300, abs=1e-5))
    share = stats.binomtest(41, 56).proportion_ci(method="exact")
    scale = 19017 / 28010
    assert found.low == pytest.approx(share.low / (1 - share.low) * scale, rel=1e-9)
    assert found.high == pytest.approx(share.high / (1 - share.high) * scale, rel=1e-9)


def test_a_count_of_zero_has_exact_limits_only():
    assert rate_ratio(0, 100, 4, 100) == (0, None, None)
    assert rate_ratio(4, 100, 0, 100) == (None, None, None)
    none_first, none_second = rate_ratio_exact(0, 100, 4, 100), rate_ratio_exact(4, 100, 0, 100)
    assert (none_first.value, none_first.low) == (0, 0)
    # High limit of 0 in 4: 1 − 0.025^(1/4) = 0.602364, odds 1.514. Derived by hand, no outside source.
    share = 1 - 0.025**0.25
    assert none_first.high == pytest.approx(share / (1 - share))
    assert (none_second.value, none_second.high) == (None, None)
    assert none_second.low == pytest.approx((1 - share) / share)
    assert rate_difference(0, 10, 0, 20) == (0, None, None)


def test_no_exposure_has_no_rate_and_negative_counts_are_refused():
    for measure in (rate_ratio, rate_ratio_exact, rate_difference):
        assert measure(1, 0, 2, 10) == (None, None, None)
        with pytest.raises(ValueError, match="negative"):
            measure(-1, 10, 2, 10)
    assert rate_ratio_exact(0, 10, 0, 10) == (None, None, None)


@given(a=st.integers(1, 500), b=st.integers(1, 500), c=st.floats(0.1, 1e4), d=st.floats(0.1, 1e4))
@settings(max_examples=50, deadline=None)
def test_exact_limits_hold_the_ratio_and_turn_round_with_the_groups(a, b, c, d):
    found, turned = rate_ratio_exact(a, c, b, d), rate_ratio_exact(b, d, a, c)
    assert found.low < found.value < found.high
    assert (1 / turned.high, 1 / turned.low) == (pytest.approx(found.low), pytest.approx(found.high))
    assert stats.binomtest(a, a + b, _share(found.low, c, d), alternative="greater").pvalue == pytest.approx(0.025)
    assert stats.binomtest(a, a + b, _share(found.high, c, d), alternative="less").pvalue == pytest.approx(0.025)


def _share(ratio, exposure, other):
    return ratio * exposure / (ratio * exposure + other)
