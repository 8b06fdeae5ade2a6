"""Records against themselves: each check has records that it must find, and records that it must let pass.

Worked by hand beside each test; no outside source unless named.
"""

from __future__ import annotations

import math
from statistics import mean, median, stdev

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.consistency import (
    EXTREME_WEEKS,
    MODERATE_WEEKS,
    Check,
    Limits,
    extreme_outliers,
    found_share,
    median_outliers,
    moderate_outliers,
    stock,
    table,
    term_ratio,
    use_per_girl,
)
from tracker.vocabulary import Basis

NAN = math.nan
STEADY = [48, 50, 52, 49, 51, 50, 48, 52, 50, 49, 51]


def stocks(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["school", "opening", "received", "issued", "lost", "closing"])


def weeks(**series) -> pd.DataFrame:
    rows = [
        (school, pd.Timestamp("2031-01-06") + pd.Timedelta(weeks=number), float(value))
        for school, values in series.items()
        for number, value in enumerate(values)
    ]
    return pd.DataFrame(rows, columns=["school", "week", "value"])


def used(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["school", "given_out", "girls"])


def terms(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["school", "this", "before"])


# Stock


def test_stock_that_does_not_balance_is_found():
    # 50 + 100 − 60 − 5 = 85: S1 has 80, S2 has 85, S3 did not say what was lost.
    found = stock(stocks(("S1", 50, 100, 60, 5, 80), ("S2", 50, 100, 60, 5, 85), ("S3", 50, 100, 60, NAN, 85)))
    assert (found.schools, found.expected, found.rows["school"].tolist()) == (2, 3, ["S1"])
    assert (found.rows["gap"].tolist(), found.sentence) == ([-5], "stock_balance.some_found")


def test_stock_that_balances_is_let_pass():
    assert stock(stocks(("S2", 50, 100, 60, 5, 85))).sentence == "stock_balance.none_found"
    assert stock(stocks(("S3", 50, 100, 60, NAN, 85))).sentence == "stock_balance.nothing_checked"


# Use per girl


def test_use_per_girl_outside_its_range_is_found():
    # 30 girls: 900 is 30 each; 1500 is 50. Ends of the range count as inside: 1200 is 40.
    found = use_per_girl(used(("S1", 900, 30), ("S2", 1500, 30), ("S3", 1200, 30)), Limits(1, 40))
    assert (found.rows["school"].tolist(), found.rows["per_girl"].tolist()) == (["S2"], [50])
    assert use_per_girl(used(("S4", 20, 30)), Limits(1, 40)).sentence == "use_per_girl.some_found"
    assert use_per_girl(used(("S1", 900, 30))).sentence == "use_per_girl.none_found"


def test_supplies_given_out_where_no_girl_is_enrolled_are_found():
    found = use_per_girl(used(("S1", 10, 0), ("S2", 0, 0), ("S3", NAN, 20)))
    assert (found.schools, found.expected, found.rows["school"].tolist()) == (1, 3, ["S1"])
    assert math.isnan(found.rows["per_girl"].iloc[0])


# Outliers


def test_an_extreme_week_is_found_and_is_not_moderate_as_well():
    # Eleven steady weeks and one of 500: 3.17 SD away, just under 11 ÷ √12; reference: the statistics module.
    values = [*STEADY, 500]
    away = (500 - mean(values)) / stdev(values)
    assert away == pytest.approx(3.17, abs=0.01)
    found = extreme_outliers(weeks(S1=values, S2=STEADY))
    assert (found.rows["value"].tolist(), found.rows["away"].tolist()) == ([500], pytest.approx([away]))
    assert (found.schools, found.sentence) == (2, "extreme_outliers.some_found")
    assert moderate_outliers(weeks(S1=values, S2=STEADY)).sentence == "moderate_outliers.none_found"


def test_a_moderate_week_is_found_and_is_not_extreme():
    # Mean 606 ÷ 12 = 50.5; squares 22.75 + 30.25 = 53, SD √(53 ÷ 11) = 2.195; 5.5 ÷ 2.195 = 2.51.
    values = [*STEADY, 56]
    assert 2 < (56 - mean(values)) / stdev(values) < 3
    assert moderate_outliers(weeks(S1=values)).rows["value"].tolist() == [56]
    assert extreme_outliers(weeks(S1=values)).sentence == "extreme_outliers.none_found"


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 1000), min_size=2, max_size=20))
def test_no_value_is_farther_from_the_mean_than_its_number_allows(values):
    # |x − mean| ≤ (n − 1) ÷ √n · SD for every x (from memory): so no series of 10 weeks has an extreme one.
    spread = stdev(values)
    if spread:
        away = max(abs(value - mean(values)) for value in values) / spread
        assert away <= (len(values) - 1) / math.sqrt(len(values)) + 1e-9


def test_the_weeks_asked_for_are_the_fewest_in_which_an_outlier_can_be():
    def largest(n):
        return (n - 1) / math.sqrt(n)

    assert largest(MODERATE_WEEKS - 1) < 2 <= largest(MODERATE_WEEKS)
    assert largest(EXTREME_WEEKS - 1) < 3 <= largest(EXTREME_WEEKS)


def test_a_short_series_is_not_said_to_be_free_of_extreme_weeks():
    # 9 weeks of 50 and one of 5000: 2.85 SD, so the plain form would find nothing extreme. It was not checked.
    short = weeks(S1=[*STEADY[:9], 5000])
    assert extreme_outliers(short).sentence == "extreme_outliers.nothing_checked"
    assert moderate_outliers(short).rows["value"].tolist() == [5000]
    assert median_outliers(short).rows["value"].tolist() == [5000]


def test_the_median_form_finds_two_wild_weeks_that_hide_each_other():
    # Two of 500 among ten: mean 140, SD 190: 1.9 SD away. Median 50.5, MAD 1.5 (reference: scipy.stats).
    values = [*STEADY[:8], 500, 500]
    assert moderate_outliers(weeks(S1=values)).rows.empty
    found = median_outliers(weeks(S1=values))
    assert found.rows["value"].tolist() == [500, 500]
    assert found.rows["spread"].iloc[0] == pytest.approx(1.4826 * stats.median_abs_deviation(values))
    assert found.rows["middle"].iloc[0] == median(values)


def test_the_factor_makes_the_median_deviation_a_standard_deviation():
    # 1 ÷ z(0.75) of the normal distribution, by scipy.stats.
    assert 1 / stats.norm.ppf(0.75) == pytest.approx(1.4826, abs=5e-5)


def test_a_school_that_never_varies_has_no_outliers_and_says_nothing_by_its_median():
    flat = weeks(S1=[50] * 12)
    assert extreme_outliers(flat).sentence == "extreme_outliers.none_found"
    assert median_outliers(flat).sentence == "median_outliers.nothing_checked"
    tenths = weeks(S1=[0.1] * 12)  # whose mean is not 0.1 in floating point
    assert moderate_outliers(tenths).rows.empty and extreme_outliers(tenths).rows.empty


def test_weeks_that_are_not_recorded_do_not_count_as_zero():
    with_blanks = weeks(S1=[*STEADY, NAN])
    assert extreme_outliers(with_blanks).sentence == "extreme_outliers.none_found"
    assert extreme_outliers(weeks(S1=[*STEADY[:10], NAN])).sentence == "extreme_outliers.nothing_checked"
    assert extreme_outliers(weeks(S1=[*STEADY, 0])).rows["value"].tolist() == [0]


def test_each_school_is_measured_by_its_own_weeks():
    # 500 a week is usual for S2.
    assert extreme_outliers(weeks(S1=STEADY, S2=[v * 10 for v in STEADY])).rows.empty


def test_a_school_week_that_stands_twice_is_refused():
    with pytest.raises(ValueError, match="stands twice"):
        extreme_outliers(pd.concat([weeks(S1=STEADY), weeks(S1=[3])]))


# Terms


@pytest.mark.parametrize("check", [Check.SAME_TERM, Check.TERM_BEFORE])
def test_a_term_that_differs_from_an_earlier_one_is_found(check):
    # 0.67 to 1.5: 1600 ÷ 1000 and 600 ÷ 1000 are outside, 1500 ÷ 1000 is at the limit, S4 is not recorded.
    found = term_ratio(terms(("S1", 1600, 1000), ("S2", 600, 1000), ("S3", 1500, 1000), ("S4", NAN, 1000)), check)
    assert (found.check, found.schools, found.expected) == (check, 3, 4)
    assert (found.rows["school"].tolist(), found.rows["ratio"].tolist()) == (["S1", "S2"], [1.6, 0.6])
    assert term_ratio(terms(("S3", 1200, 1000)), check).sentence == f"{check}.none_found"


def test_something_where_there_was_nothing_is_found_and_twice_nothing_is_not():
    found = term_ratio(terms(("S1", 5, 0), ("S2", 0, 0), ("S3", 0, 5)), Check.TERM_BEFORE)
    assert found.rows["school"].tolist() == ["S1", "S3"]


def test_other_checks_and_limits_that_make_no_sense_are_refused():
    with pytest.raises(ValueError, match="does not compare two terms"):
        term_ratio(terms(), Check.STOCK)
    with pytest.raises(ValueError, match="this cannot be negative"):
        term_ratio(terms(("S1", -1, 1)), Check.SAME_TERM)
    with pytest.raises(ValueError, match="limits run from"):
        Limits(2, 1)


# The list


def test_the_checks_are_listed_with_their_results():
    found = table(
        [
            stock(stocks(("S1", 50, 100, 60, 5, 80), ("S1", 50, 0, 0, 0, 40), ("S2", 50, 100, 60, 5, 85))),
            use_per_girl(used(("S1", 900, 30))),
            term_ratio(terms(("S1", NAN, 30)), Check.SAME_TERM),
        ]
    )
    assert found[["check", "schools", "expected", "found", "schools_found"]].values.tolist() == [
        ["stock_balance", 2, 2, 2, 1],
        ["use_per_girl", 1, 1, 0, 0],
        ["same_term_before", 0, 1, 0, 0],
    ]
    assert found["sentence"].str.split(".").str[1].tolist() == ["some_found", "none_found", "nothing_checked"]
    assert set(found["basis"]) == {Basis.COUNTED}
    assert table([]).columns.tolist() == found.columns.tolist()


def test_the_share_of_schools_with_a_finding():
    half = found_share(stock(stocks(("S1", 50, 100, 60, 5, 80), ("S2", 50, 100, 60, 5, 85))))
    assert (half.value, half.used, half.expected, half.records) == (0.5, 2, 2, "schools")
    assert found_share(use_per_girl(used(("S1", NAN, 3)))).value is None


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 60), min_size=6, max_size=16), st.integers(1, 9), st.integers(0, 500))
def test_outliers_do_not_depend_on_the_unit_or_the_starting_point(values, factor, shift):
    def found(series):
        return [r.rows["week"].tolist() for r in (extreme_outliers(series), median_outliers(series))]

    spread = stdev(values)
    at_the_edge = spread and any(abs(abs(value - mean(values)) / spread - 3) < 1e-6 for value in values)
    if not at_the_edge:
        assert found(weeks(S1=values)) == found(weeks(S1=[factor * value + shift for value in values]))
