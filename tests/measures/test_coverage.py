"""The 95 % limits hold the truth about 19 times in 20: a short run of tests/bench/coverage.py, seeded.

The full run and what it found are in docs/coverage.md. Here a case fails only where a true share of at least 92 % (of
at most 98 % above) would give so few (so many) hits less than once in 2,000 times, by the binomial distribution.
"""

from __future__ import annotations

import pytest
from scipy import stats

from tests.bench.coverage import (
    Case,
    against_need,
    availability,
    promise,
    ratio_by_schools,
    run,
    sampled_visits,
    saved_water,
    unreported,
)

RARE = 1 / 2000
SHORT = (
    (Case("sampled visits", "1 school, 8 weeks", sampled_visits(1, 8, 3)), 80),
    (Case("sampled visits", "3 schools, 4 weeks", sampled_visits(3, 4, 2)), 60),
    (Case("visits with unreported weeks", "5 schools", unreported(5, 6, 0.3)), 60),
    (Case("visits with silent schools", "8 schools", unreported(8, 5, 0.1, 2)), 50),
    (Case("ratio over schools", "12 of 60", ratio_by_schools(12)), 1000),
    (Case("ratio over schools", "40 of 60", ratio_by_schools(40)), 1000),
    (Case("promise kept", "30 faults, 80 %", promise(30, 0.8)), 1000),
    (Case("saved water", "1 school, 6 weeks", saved_water(1, 6, looked=40)), 60),
)


@pytest.mark.parametrize(("case", "runs"), SHORT, ids=lambda value: str(getattr(value, "name", value)))
def test_limits_hold_the_truth(case, runs):
    found = run(case, runs)
    assert found.runs == runs
    assert found.hits >= stats.binom.ppf(RARE, runs, 0.92)
    assert runs < 200 or found.hits <= stats.binom.ppf(1 - RARE, runs, 0.98)


@pytest.mark.parametrize("trial", [availability(8, 30, 0.5), availability(3, 20, 0.9), against_need(150)])
def test_bounds_hold_the_truth_always(trial):
    found = run(Case("bounds", "", trial, bounds=True), 150)
    assert found.runs > 0 and found.hits == found.runs


def test_limits_that_are_too_narrow_would_be_caught():
    def half(random):  # a 95 % interval of half its width holds about 67 %
        return abs(random.standard_normal()) <= 1.96 / 2

    found = run(Case("too narrow", "", half), 100)
    assert found.hits < stats.binom.ppf(RARE, 100, 0.92)
