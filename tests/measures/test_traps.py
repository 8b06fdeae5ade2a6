"""Ways to get these measures wrong that are known from practice: each naive form is written out here, and fails.

The check values and their sources stand with each; the same ids are used in the tests of the measures themselves.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from tests.measures.test_restock_exact import by_ratio, two_prices
from tracker.measures.burst import VisitTime, all_done
from tracker.measures.burst_times import cabins_needed
from tracker.measures.censored import DemandFlag, Week, fit_poisson
from tracker.measures.differences import mcnemar
from tracker.measures.disclosure import round_to_base
from tracker.measures.intervals import mean_time_between
from tracker.measures.stock_levels import order_up_to_normal


def test_order_up_to_with_the_lead_time_alone_runs_out_too_often():
    # INV-08 (inputs read; the exercise's own answer, 479.44, is the naive form): review 10 days, lead 5.
    def with_lead_alone(daily, deviation, review, lead, service, lead_deviation):
        spread = math.sqrt(lead * deviation**2 + daily**2 * lead_deviation**2)
        return daily * (review + lead) + stats.norm.ppf(service) * spread

    naive = with_lead_alone(60, 2, 10, 5, 0.975, 0.5)
    assert naive - 480 == pytest.approx(479.44, abs=0.02)
    assert order_up_to_normal(60, 2, 10, 5, 0.975, lead_deviation=0.5).level == pytest.approx(960.727263, abs=1e-5)
    # A steadier supplier and livelier requests: the naive level is kept in far fewer than the 97.5 % asked for.
    short = with_lead_alone(60, 20, 10, 5, 0.975, 0.0)
    assert stats.norm.cdf(short, 900, 20 * math.sqrt(15)) < 0.88
    whole = order_up_to_normal(60, 20, 10, 5, 0.975, lead_deviation=0.0).level
    assert stats.norm.cdf(whole, 900, 20 * math.sqrt(15)) == pytest.approx(0.975)


def test_cabins_by_the_mean_are_half_of_what_a_break_needs():
    # BUR-08 (derived by hand, no outside source): 30 pupils, 1.5 minutes each, 15 minutes: 6 cabins, not 3.
    def by_the_mean(pupils, minutes, break_minutes):
        return math.ceil(pupils * minutes / break_minutes)

    naive = by_the_mean(30, 1.5, 15)
    assert naive == 3 and cabins_needed(30, 15, VisitTime(1.5)).cabins == 6
    # Simulated apart: each next pupil takes the cabin that is free first.
    random = np.random.default_rng(11)
    done = 0
    for _ in range(2000):
        free = np.zeros(naive)
        for minutes in random.exponential(1.5, 30):
            free[free.argmin()] += minutes
        done += free.max() <= 15
    assert done / 2000 == pytest.approx(all_done(30, naive, 15, VisitTime(1.5)), abs=0.04)
    assert done / 2000 < 0.5


def test_without_a_discordant_pair_the_textbook_formula_divides_by_zero():
    # Working of the row 0 / 0 (arithmetic): p is 1, and chi-square is not defined.
    def textbook(b, c):
        return (abs(b - c) - 1) ** 2 / (b + c)

    assert textbook(28, 12) == pytest.approx(mcnemar(28, 12).corrected)
    with pytest.raises(ZeroDivisionError):
        textbook(0, 0)
    assert (mcnemar(0, 0).exact_p, mcnemar(0, 0).corrected) == (1.0, None)


def test_without_a_failure_neither_the_whole_time_nor_endless_is_the_time_between():
    # REL-04: 800 hours, no failure: at least 267.05 (95 %), NIST/SEMATECH e-Handbook 8.4.5.1, zero fails.
    def as_if_one(hours, failures):
        return hours / max(failures, 1)

    assert as_if_one(800, 2) == mean_time_between(800, 2).value
    found = mean_time_between(800, 0)
    assert found.value is None and found.high is None
    assert found.low == pytest.approx(267.046561, abs=1e-6) and as_if_one(800, 0) > 2.9 * found.low


def test_where_every_day_sold_out_what_was_sold_is_no_estimate():
    # CEN-05 (derived by hand): 5, 5, 5, all sold out: no finite estimate, at least 5.
    def mean_sold(weeks):
        return sum(week.given_out for week in weeks) / sum(week.days for week in weeks)

    def without_sold_out(weeks):
        kept = [week for week in weeks if not week.sold_out]
        return mean_sold(kept)

    mixed = [*(Week(used, 1, False) for used in (3, 2, 4, 1, 3, 2)), *[Week(5, 1, True)] * 4]
    assert fit_poisson(mixed).per_day == pytest.approx(3.9306691, abs=1e-5)  # CEN-01: 3.5 and 2.5 by the naive forms
    assert (mean_sold(mixed), without_sold_out(mixed)) == (3.5, 2.5)
    every = [Week(5, 1, True)] * 3
    assert mean_sold(every) == 5.0
    with pytest.raises(ZeroDivisionError):
        without_sold_out(every)
    found = fit_poisson(every)
    assert found.per_day is None and found.at_least == 5 and found.flag is DemandFlag.ALL_SOLD_OUT


def test_rounding_to_a_base_is_not_what_the_language_rounds_to():
    # SDC-04: conventional rounding, OECD Glossary of Statistical Terms (rule read): the upper multiple at a half. Whole
    # counts have no half of 5; cut to whole multiples, or rounded to even at halves of 10, they come out wrong.
    def cut(count, base):
        return base * (count // base)

    def to_even(count, base):
        return base * round(count / base)

    counts = [0, 1, 2, 3, 4, 5, 7, 8, 12, 13, 97, 98]
    expected = [0, 0, 0, 5, 5, 5, 5, 10, 10, 15, 95, 100]
    assert [round_to_base(count) for count in counts] == expected
    assert [cut(count, 5) for count in counts] != expected
    halves = [5, 15, 25, 35]
    assert [round_to_base(count, 10) for count in halves] == [10, 20, 30, 40]
    assert [to_even(count, 10) for count in halves] == [0, 20, 20, 40]


def test_the_most_for_its_price_loses_under_a_budget():
    # ALC-05 (derived by hand): packs at 4 and 3, 8 to spend, requests of mean 8 and 3: the best buys two of the first.
    assert by_ratio([8, 3], [4, 3], 8) == [0, 2]
    assert two_prices([8, 3], [4, 3], 8).lines["packs"].tolist() == [2, 0]
