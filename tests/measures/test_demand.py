"""Demand behind sold-out days. CEN rows are derived by hand, no outside source; likelihoods against scipy.stats."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import logsumexp

from tracker.measures.censored import (
    CLUSTER_GAIN,
    DemandFlag,
    Week,
    fit_demand,
    fit_groups,
    fit_negative_binomial,
    fit_normal,
    fit_poisson,
)
from tracker.measures.censored_core import log_at_least
from tracker.measures.demand import demand_figure, machine_demand, school_demand
from tracker.measures.supplies import demand_rate
from tracker.vocabulary import Basis

BLANK = float("nan")
FIRST = pd.Timestamp("2030-01-07")


def days(seen, sold_out):
    return [Week(x, 1, False) for x in seen] + [Week(x, 1, True) for x in sold_out]


def poisson_by_em(weeks, rounds=5000):
    """Mean by expectation and maximisation, written apart: E[X | X ≥ c] = m·P(X ≥ c − 1) ÷ P(X ≥ c)."""
    rate = sum(week.given_out for week in weeks) / sum(week.days for week in weeks)
    for _ in range(rounds):
        full = 0.0
        for week in weeks:
            mean = rate * week.days
            tails = stats.poisson.sf([week.given_out - 2, week.given_out - 1], mean)
            full += mean * tails[0] / tails[1] if week.sold_out else week.given_out
        rate = full / sum(week.days for week in weeks)
    return rate


def log_likelihood(weeks, per_day, ratio=1.0):
    total = 0.0
    for week in weeks:
        mean = per_day * week.days
        law = stats.poisson(mean) if ratio == 1 else stats.nbinom(mean / (ratio - 1), 1 / ratio)
        total += law.logsf(week.given_out - 1) if week.sold_out else law.logpmf(week.given_out)
    return total


def test_sold_out_days_raise_the_estimate_above_both_naive_ones():
    # CEN-01: all days as seen 3.5, sold-out days dropped 2.5, censored 3.9306691.
    weeks = days([3, 2, 4, 1, 3, 2], [5] * 4)
    found = fit_poisson(weeks)
    assert found.per_day == pytest.approx(3.9306691, abs=1e-5)
    assert found.log_likelihood == pytest.approx(-15.3128645, abs=1e-5)
    assert found.se == pytest.approx(0.68605, abs=1e-5)
    assert found.at_least == 3.5
    assert np.mean([3, 2, 4, 1, 3, 2]) == 2.5
    assert found.per_day == pytest.approx(poisson_by_em(weeks), abs=1e-7)
    assert found.log_likelihood == pytest.approx(log_likelihood(weeks, found.per_day), abs=1e-9)


def test_one_napkin_a_day_has_a_closed_form():
    # CEN-02: P(X = 0) = 0.4, so λ = −ln 0.4.
    assert fit_poisson(days([0] * 4, [1] * 6)).per_day == pytest.approx(-math.log(0.4), abs=1e-8)


def test_rate_from_hours_in_stock():
    # CEN-03: 13 in 16 hours.
    assert demand_rate([5, 5, 3], [4, 6, 6]) == pytest.approx(0.8125, abs=1e-12)


def test_large_numbers_as_a_normal_demand():
    # CEN-04: mean 56.762804, deviation 11.580028; the naive mean is 53.5.
    seen, sold_out = [42, 55, 48, 60, 51, 39], [60] * 4
    found = fit_normal(seen, sold_out)
    assert (found.mean, found.deviation) == (pytest.approx(56.762804, abs=1e-4), pytest.approx(11.580028, abs=1e-4))
    assert np.mean(seen + sold_out) == 53.5

    def total(mean, deviation):
        law = stats.norm(mean, deviation)
        return law.logpdf(seen).sum() + law.logsf(sold_out).sum()

    best = total(found.mean, found.deviation)
    for mean, deviation in ((0.05, 0), (-0.05, 0), (0, 0.05), (0, -0.05)):
        assert total(found.mean + mean, found.deviation + deviation) < best


def test_without_sold_out_days_the_normal_demand_is_mean_and_deviation():
    found = fit_normal([4.0, 6.0, 11.0], [])
    assert (found.mean, found.deviation) == (pytest.approx(7.0, abs=1e-6), pytest.approx(math.sqrt(26 / 3), abs=1e-6))


def test_every_day_sold_out_has_no_finite_estimate_but_a_lower_bound():
    # CEN-05: the likelihood of 5, 5, 5, all sold out, only grows.
    weeks = days([], [5, 5, 5])
    for fit in (fit_poisson, fit_negative_binomial, fit_demand):
        found = fit(weeks)
        assert found.per_day is None and found.se is None and found.high is None
        assert found.flag is DemandFlag.ALL_SOLD_OUT
        assert found.at_least == 5
    rising = [log_likelihood(weeks, rate) for rate in (5, 10, 20, 40)]
    assert rising == sorted(rising) and len(set(rising)) == 4
    assert fit_normal([], [60]).flag is DemandFlag.ALL_SOLD_OUT


def test_nothing_recorded_and_nothing_asked_for_are_not_the_same():
    assert fit_demand([]).flag is DemandFlag.NOT_RECORDED
    assert fit_demand([]).per_day is None
    none = fit_demand([Week(0, 5, False)] * 4)
    assert (none.per_day, none.low, none.flag) == (0, 0, DemandFlag.NO_REQUEST)
    # Exact limit of a count of 0 in 20 days: −ln 0.025 ÷ 20 (Garwood; from memory).
    assert none.high == pytest.approx(-math.log(0.025) / 20)
    # A week that ran out with nothing to give says nothing.
    assert fit_poisson([Week(0, 5, True), Week(10, 5, False)]).per_day == 2
    assert fit_normal([], []).flag is DemandFlag.NOT_RECORDED
    assert fit_normal([7, 7], [9]).mean is None


def test_without_sold_out_weeks_the_rate_is_pooled():
    # (12 + 8 + 3) ÷ (5 + 5 + 1), and the error of a Poisson rate, √23 ÷ 11.
    found = fit_poisson([Week(12, 5, False), Week(8, 5, False), Week(3, 1, False)])
    assert found.per_day == pytest.approx(23 / 11)
    assert found.se == pytest.approx(math.sqrt(23) / 11)


def test_limits_are_where_twice_the_loss_in_likelihood_is_chi_square():
    weeks = days([3, 2, 4, 1, 3, 2], [5] * 4)
    found = fit_poisson(weeks)
    for end in (found.low, found.high):
        loss = 2 * (found.log_likelihood - log_likelihood(weeks, end))
        assert loss == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-6)


WEEKS = st.lists(
    st.builds(Week, st.integers(0, 40), st.integers(1, 6), st.booleans()),
    min_size=2,
    max_size=12,
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(WEEKS)
def test_the_estimate_is_never_below_what_was_given_out_and_is_the_peak_that_scipy_sees(weeks):
    found = fit_poisson(weeks)
    assume(found.per_day)
    assert found.per_day >= found.at_least - 1e-12
    assert found.low <= found.per_day <= found.high
    best = log_likelihood(weeks, found.per_day)
    assert found.log_likelihood == pytest.approx(best, rel=1e-7, abs=1e-7)
    for factor in (0.999, 1.001):
        assert log_likelihood(weeks, found.per_day * factor) <= best + 1e-9


@settings(max_examples=40, deadline=None, derandomize=True)
@given(WEEKS, st.integers(0, 11))
def test_calling_one_more_week_sold_out_never_lowers_the_estimate(weeks, which):
    place = which % len(weeks)
    one = weeks[place]
    more = [*weeks[:place], Week(one.given_out, one.days, True), *weeks[place + 1 :]]
    before, after = fit_poisson(weeks).per_day, fit_poisson(more).per_day
    assume(before is not None and after is not None and one.given_out > 0)
    assert after >= before - 1e-9


@settings(max_examples=25, deadline=None, derandomize=True)
@given(WEEKS)
def test_the_clustered_estimate_is_a_peak_too(weeks):
    found = fit_negative_binomial(weeks)
    assume(found.per_day and 1.01 < found.ratio < 50)
    assert found.per_day >= found.at_least * (1 - 1e-4)
    best = log_likelihood(weeks, found.per_day, found.ratio)
    assert found.log_likelihood == pytest.approx(best, rel=1e-6, abs=1e-6)
    for rate, ratio in ((1.01, 1), (0.99, 1), (1, 1.01), (1, 0.995)):
        assert log_likelihood(weeks, found.per_day * rate, found.ratio * ratio) <= best + 1e-6


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(WEEKS, min_size=1, max_size=5))
def test_many_machines_at_once_are_each_fitted_by_themselves(machines):
    group = np.repeat(np.arange(len(machines)), [len(weeks) for weeks in machines])
    columns = [
        [getattr(week, name) for weeks in machines for week in weeks] for name in ("given_out", "days", "sold_out")
    ]
    found = fit_groups(*(np.array(column, dtype=float) for column in columns), group, len(machines))
    for one, weeks in zip(found, machines, strict=True):
        alone = fit_demand(weeks)
        assert (one.flag, one.weeks, one.sold_out) == (alone.flag, alone.weeks, alone.sold_out)
        if alone.per_day is None:
            assert one.per_day is None
        else:
            assert (one.per_day, one.ratio) == (
                pytest.approx(alone.per_day, rel=1e-5),
                pytest.approx(alone.ratio, rel=1e-3),
            )


def clustered_weeks(seed, count, stock):
    """Weeks of 5 days at 4 a day and ratio 3, of which a machine gives at most ``stock``."""
    wanted = stats.nbinom(4 * 5 / 2, 1 / 3).rvs(size=count, random_state=np.random.default_rng(seed))
    return [Week(min(x, stock), 5, bool(x >= stock)) for x in wanted]


def test_clustered_demand_is_found_again_and_told_from_poisson():
    found = fit_demand(clustered_weeks(8, 600, 24))
    assert found.ratio == pytest.approx(3, abs=0.5)
    assert found.per_day == pytest.approx(4, abs=0.2)
    assert found.low < 4 < found.high
    assert found.at_least < 3.7  # what was given out alone would say far less
    wanted = stats.poisson(20).rvs(size=200, random_state=np.random.default_rng(9))
    assert fit_demand([Week(x, 5, False) for x in wanted]).ratio == 1


def test_the_rule_for_clustering_needs_five_open_weeks_and_a_clear_gain():
    spread = [Week(x, 5, False) for x in (1, 60, 2, 55, 3)]
    assert fit_demand(spread[:4]).ratio == 1
    assert fit_demand(spread).ratio > 1
    gain = 2 * (fit_negative_binomial(spread).log_likelihood - fit_poisson(spread).log_likelihood)
    assert gain > CLUSTER_GAIN
    # Chance of a χ² of one degree above it is 10 %, half of that for a ratio on its edge (from memory).
    assert stats.chi2.sf(CLUSTER_GAIN, 1) == pytest.approx(0.10, abs=1e-6)
    mild = [Week(x, 5, False) for x in (10, 16, 12, 9, 14, 17, 11)]
    assert fit_demand(mild).ratio == 1


def test_limits_hold_about_as_often_as_they_say():
    # 300 machines of 12 weeks, ratio 1, stock 22 for 5 days at 4 a day: some three weeks in ten run out.
    random = np.random.default_rng(21)
    held = 0
    for _ in range(300):
        wanted = random.poisson(20, 12)
        found = fit_poisson([Week(min(x, 22), 5, bool(x >= 22)) for x in wanted])
        held += found.low <= 4 <= found.high
    assert 0.92 <= held / 300 <= 0.98


def test_chances_far_in_the_tail_stay_finite():
    # Against the logarithm of a sum of 3,000 terms (scipy's tail itself is 0 there).
    least, mean = np.array([5.0, 500.0, 2000.0]), np.array([4.0, 10.0, 900.0])
    sums = [logsumexp(stats.poisson.logpmf(np.arange(c, c + 3000), m)) for c, m in zip(least, mean, strict=True)]
    assert log_at_least(least, mean) == pytest.approx(sums, rel=1e-9)
    assert stats.poisson.sf(499, 10) == 0
    far = fit_poisson([Week(900, 5, True), Week(3, 5, False)])
    assert math.isfinite(far.per_day) and far.per_day > far.at_least


def test_a_week_without_days_or_with_less_than_nothing_is_refused():
    for bad in ((5, 0), (-1, 5), (math.nan, 5)):
        with pytest.raises(ValueError, match="week"):
            Week(*bad, False)


def frames(*rows):
    """Rows: unit, school, given out (NaN = not used), school days, sold-out days, days answered."""
    given, machine = [], []
    for at, (unit, school, amount, school_days, sold, asked) in enumerate(rows):
        week = FIRST + at * pd.Timedelta(days=7)
        used = int(not math.isnan(amount))
        given.append((unit, school, week, amount, "counted", used, 1))
        machine.append((unit, school, week, 1, school_days, sold, asked))
    names = ["unit_id", "school_id", "week", "given_out", "basis", "used", "expected"]
    machine_names = ["unit_id", "school_id", "week", "product", "school_days", "sold_out_days", "asked_days"]
    return pd.DataFrame(given, columns=names), pd.DataFrame(machine, columns=machine_names)


def test_each_machine_has_its_demand_and_a_school_the_sum():
    given, machine = frames(
        (1, 7, 20, 5, 0, 5),
        (1, 7, 30, 5, 2, 5),
        (1, 7, 16, 4, 0, 4),
        (2, 7, 50, 5, 1, 5),
        (3, 8, BLANK, 5, 0, 5),
        (3, 8, 10, 5, 0, 5),
    )
    found = machine_demand(given, machine).set_index("unit_id")
    one = fit_poisson([Week(20, 5, False), Week(30, 5, True), Week(16, 4, False)])
    assert found.loc[1, "per_day"] == pytest.approx(one.per_day)
    assert found.loc[1, ["weeks", "sold_out_weeks", "open_weeks"]].tolist() == [3, 1, 0]
    assert math.isnan(found.loc[2, "per_day"])
    assert found.loc[2, ["at_least", "flag"]].tolist() == [10, DemandFlag.ALL_SOLD_OUT]
    assert found.loc[3, ["per_day", "weeks"]].tolist() == [2, 1]
    schools = school_demand(found.reset_index()).set_index("school_id")
    assert schools.loc[7, "per_day"] == pytest.approx(one.per_day)
    assert schools.loc[7, ["machines", "machines_known"]].tolist() == [2, 1]
    assert schools.loc[7, "at_least"] == pytest.approx(66 / 14 + 10)
    assert math.isnan(schools.loc[7, "high"])  # one machine has no upper limit, so the school has none
    assert schools.loc[8, "high"] == pytest.approx(found.loc[3, "high"])


def test_two_machines_of_a_school_add_their_errors_in_quadrature():
    given, machine = frames((1, 7, 20, 5, 0, 5), (2, 7, 45, 5, 0, 5))
    machines = machine_demand(given, machine)
    school = school_demand(machines).iloc[0]
    # 4 and 9 a day; variances of the rates 20 ÷ 25 and 45 ÷ 25.
    assert (school["per_day"], school["ratio"]) == (pytest.approx(13), 1)
    assert school["se"] == pytest.approx(math.sqrt(0.8 + 1.8))


def test_days_not_answered_widen_the_limits_and_do_not_count_as_in_stock_for_sure():
    answered = demand_figure(*frames((1, 7, 20, 5, 0, 5), (1, 7, 22, 5, 0, 5)))
    blank = demand_figure(*frames((1, 7, 20, 5, 0, 5), (1, 7, 22, 5, BLANK, 0)))
    assert (blank.value, blank.low) == (pytest.approx(answered.value), pytest.approx(answered.low))
    assert blank.high > answered.high
    assert "not answered" in blank.note and answered.note == ""
    nobody = demand_figure(*frames((1, 7, 20, 5, BLANK, 0)))
    assert nobody.value == 4 and nobody.high is None and "upper limit" in nobody.note


def test_the_figure_says_what_it_rests_on():
    found = demand_figure(*frames((1, 7, 20, 5, 0, 5), (1, 7, 30, 5, 1, 5), (1, 7, BLANK, 5, 0, 5)))
    assert (found.unit, found.basis) == ("napkins per school day", Basis.MODELLED)
    assert (found.used, found.expected, found.about_people) == (2, 3, True)
    all_out = demand_figure(*frames((1, 7, 20, 5, 3, 5)))
    assert all_out.value is None and "at least" in all_out.note
    none = demand_figure(*frames((1, 7, BLANK, 5, 0, 5)))
    assert none.value is None and none.note == ""


def test_more_sold_out_days_than_answered_are_refused():
    with pytest.raises(ValueError, match="sold out"):
        machine_demand(*frames((1, 7, 20, 5, 4, 3)))
