"""The burst at the bell: worked rows, the phases of Erlang times solved as a chain, and a simulation as oracle.

No worked example of a burst at time 0 was found in print: the BUR rows are derived for this file (no outside
source), each by a closed form, a matrix exponential and a simulation that agree. QUE-01, 04 and 05 were read.
"""

from __future__ import annotations

import heapq
import itertools
import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.linalg import expm

from tracker.measures.burst import (
    VisitTime,
    all_done,
    all_entered,
    burst_table,
    entered,
    finished,
    still_waiting,
    visits_ended,
    whole_visits,
)
from tracker.measures.burst_times import (
    cabins_needed,
    clear_time,
    share_waiting_at_most,
    wait,
)
from tracker.measures.steady import load_for, share_served_within, share_turned_away, steady_queue

FIXED = math.inf
SHAPES = st.sampled_from([1.0, 1.7, 2.0, 5.0, FIXED])


# ---- oracles -----------------------------------------------------------------------------------------------------


def schedule(times: list[float], cabins: int) -> list[tuple[float, float]]:
    """Start and end of each visit, in order, each at the cabin that is free first."""
    free = [0.0] * cabins
    found = []
    for time in times:
        start = heapq.heappop(free)
        found.append((start, start + time))
        heapq.heappush(free, start + time)
    return found


def simulate(pupils: int, cabins: int, time: VisitTime, runs: int = 20_000, seed: int = 20310106):
    """Starts and ends, one row a run."""
    random = np.random.default_rng(seed)
    free = np.zeros((runs, cabins))
    starts, ends = np.empty((runs, pupils)), np.empty((runs, pupils))
    for pupil in range(pupils):
        cabin = free.argmin(axis=1)
        starts[:, pupil] = free[np.arange(runs), cabin]
        ends[:, pupil] = starts[:, pupil] + random.gamma(time.shape, time.mean_min / time.shape, runs)
        free[np.arange(runs), cabin] = ends[:, pupil]
    return starts, ends


def served_by_phases(pupils: int, cabins: int, minutes: float, time: VisitTime) -> np.ndarray:
    """P(j finished), j = 0 to n, by the matrix exponential of the chain (waiting, cabins in each phase)."""
    phases = int(time.shape)
    busy = min(pupils, cabins)
    states = [
        (waiting, counts)
        for waiting in range(pupils - busy + 1)
        for counts in itertools.product(range(busy + 1), repeat=phases)
        if sum(counts) == busy or (waiting == 0 and sum(counts) < busy)
    ]
    number = {state: place for place, state in enumerate(states)}
    rate = phases / time.mean_min
    generator = np.zeros((len(states), len(states)))
    for (waiting, counts), row in number.items():
        for phase, many in enumerate(counts):
            if not many:
                continue
            after = list(counts)
            after[phase] -= 1
            left = waiting
            if phase + 1 < phases:
                after[phase + 1] += 1
            elif waiting:
                after[0] += 1
                left -= 1
            generator[row, number[left, tuple(after)]] += many * rate
            generator[row, row] -= many * rate
    begin = number[pupils - busy, (busy, *[0] * (phases - 1))]
    then = expm(generator * minutes)[begin]
    found = np.zeros(pupils + 1)
    for (waiting, counts), row in number.items():
        found[pupils - waiting - sum(counts)] += then[row]
    return found


# ---- worked rows ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("case", "minutes", "mean", "sd", "wait_min", "done", "served"),
    [
        # BUR-01 and BUR-02, BUR-03, BUR-04, BUR-05.
        ((30, 4, 1.5), 15, 12.875, 2.6190409, 4.3875, 0.8057662818, 29.6976017608),
        ((10, 3, 1), 5, 4.1666667, 1.4624941, 0.9333333, 0.7524108, 9.6651423),
        ((3, 5, 1), 2, 1.8333333, 1.1666667, 0, (1 - math.exp(-2)) ** 3, 2.5939942),
        ((40, 5, 2), 20, 18.5666667, 3.3844415, 6.3, 0.6951488, None),
    ],
)
def test_exponential_bursts_as_worked(case, minutes, mean, sd, wait_min, done, served):
    pupils, cabins, mean_min = case
    time = VisitTime(mean_min)
    clear = clear_time(pupils, cabins, time)
    assert (clear.mean_min, clear.sd_min) == (pytest.approx(mean, abs=1e-6), pytest.approx(sd, abs=1e-6))
    assert wait(pupils, cabins, time).mean_min == pytest.approx(wait_min, abs=1e-6)
    assert all_done(pupils, cabins, minutes, time) == pytest.approx(done, abs=1e-7)
    if served is not None:
        chances = finished(pupils, cabins, minutes, time)
        assert chances @ np.arange(pupils + 1) == pytest.approx(served, abs=1e-7)


def test_how_many_are_served_as_worked():
    # BUR-02: 5 % quantile of those finished 28, median 30. BUR-06: at least 20 with .9998236971.
    below = np.cumsum(finished(30, 4, 15, VisitTime(1.5)))
    assert int(np.argmax(below >= 0.05)) == 28
    assert int(np.argmax(below >= 0.5)) == 30
    assert 1 - below[19] == pytest.approx(0.9998236971, abs=1e-9)
    # The Poisson form holds for up to n − c + 1 = 27 visits, and no further.
    for j in (1, 10, 20, 27):
        assert 1 - below[j - 1] == pytest.approx(stats.poisson.sf(j - 1, 40), abs=1e-12)
    assert 1 - below[27] < stats.poisson.sf(27, 40) - 1e-4


def test_finished_by_the_bell_is_not_entered_by_the_bell():
    # BUR-07: all entered .9924336242 = P(Poisson(40) ≥ 26); all done .806 (BUR-02).
    time = VisitTime(1.5)
    assert all_entered(30, 4, 15, time) == pytest.approx(0.9924336242, abs=1e-9)
    assert all_entered(30, 4, 15, time) == pytest.approx(stats.poisson.sf(25, 40), abs=1e-12)
    assert all_done(30, 4, 15, time) < 0.81


@pytest.mark.parametrize(
    ("pupils", "mean", "minutes", "cabins", "share", "one_fewer"),
    [
        # BUR-08.
        (30, 1.5, 15, 6, 0.978840, 0.945216),
        (60, 1.5, 15, 12, 0.965351, 0.948730),
        (60, 2, 20, 12, 0.965351, 0.948730),
        (100, 1.5, 15, 21, 0.956150, 0.946767),
    ],
)
def test_cabins_for_ninety_five_of_a_hundred_breaks(pupils, mean, minutes, cabins, share, one_fewer):
    time = VisitTime(mean)
    found = cabins_needed(pupils, minutes, time)
    assert found.cabins == cabins
    assert found.share == pytest.approx(share, abs=1e-6)
    assert all_done(pupils, cabins - 1, minutes, time) == pytest.approx(one_fewer, abs=1e-6)


def test_cabins_by_the_mean_alone_are_far_too_few():
    naive = math.ceil(30 * 1.5 / 15)
    assert naive == 3
    assert cabins_needed(30, 15, VisitTime(1.5)).cabins == 2 * naive
    assert all_done(30, naive, 15, VisitTime(1.5)) < 0.45


def test_no_number_of_cabins_is_enough():
    # BUR-09: best at c = n, (1 − e⁻⁵)¹⁰ = .9346272.
    found = cabins_needed(10, 5, VisitTime(1))
    assert found.cabins is None
    assert found.share == pytest.approx((1 - math.exp(-5)) ** 10, abs=1e-7)
    # To enter is always possible: 3 cabins, P(Poisson(15) ≥ 7) = .992; with 2, P(Poisson(10) ≥ 8) = .780.
    entering = cabins_needed(10, 5, VisitTime(1), until="entered")
    assert (entering.cabins, entering.share) == (3, pytest.approx(stats.poisson.sf(6, 15)))
    assert stats.poisson.sf(7, 10) < 0.95


def test_a_fixed_time_as_worked():
    # BUR-10.
    time = VisitTime(1.5, FIXED)
    assert clear_time(30, 4, time).mean_min == pytest.approx(12, abs=1e-9)
    assert finished(30, 4, 10, time)[24] == 1
    assert wait(30, 4, time).mean_min == pytest.approx(4.9, abs=1e-9)
    assert share_waiting_at_most(30, 4, 10.49, time) < 1 == share_waiting_at_most(30, 4, 10.5, time)
    assert cabins_needed(30, 15, time).cabins == 3
    assert (all_done(30, 4, 12, time), all_done(30, 4, 11.9, time)) == (1, 0)


def test_the_bound_of_a_list_and_the_oracle_that_keeps_it():
    # BUR-11: Graham's bound (from memory, unconfirmed): list 5, longest first 3, ratio 5/3 = 2 − 1/3.
    jobs = [1.0] * 6 + [3.0]
    listed = max(end for _, end in schedule(jobs, 3))
    longest_first = max(end for _, end in schedule(sorted(jobs, reverse=True), 3))
    assert (listed, longest_first) == (5, 3)
    assert listed / longest_first == pytest.approx(2 - 1 / 3)
    # The same schedule with equal visits is the fixed clearing time.
    assert max(end for _, end in schedule([1.5] * 30, 4)) == clear_time(30, 4, VisitTime(1.5, FIXED)).mean_min


# ---- against the oracles -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pupils", "cabins", "minutes", "shape"),
    [(9, 3, 4.0, 1), (9, 3, 4.0, 2), (7, 2, 5.0, 3), (5, 4, 2.0, 3), (3, 5, 1.5, 2), (6, 1, 7.0, 4), (12, 4, 3.0, 2)],
)
def test_the_phases_of_erlang_times_solved_as_a_chain_tell_the_same(pupils, cabins, minutes, shape):
    time = VisitTime(1.1, float(shape))
    phases = served_by_phases(pupils, cabins, minutes, time)
    assert finished(pupils, cabins, minutes, time) == pytest.approx(phases, abs=1e-8)
    assert all_done(pupils, cabins, minutes, time) == pytest.approx(phases[-1], abs=1e-8)


@pytest.mark.parametrize(
    ("pupils", "cabins", "minutes", "time"),
    [
        (30, 4, 12.0, VisitTime(1.5)),
        (30, 4, 12.0, VisitTime(1.5, 1.5)),
        (40, 6, 9.0, VisitTime(1.4, 3.0)),
        (25, 3, 12.5, VisitTime(1.4, 25.0)),
    ],
)
def test_simulated_breaks_tell_the_same(pupils, cabins, minutes, time):
    starts, ends = simulate(pupils, cabins, time)
    runs = len(starts)

    def near(share):
        return pytest.approx(share, abs=4.5 * math.sqrt(max(share * (1 - share), 1e-4) / runs))

    assert (ends <= minutes).all(axis=1).mean() == near(all_done(pupils, cabins, minutes, time))
    assert (starts <= minutes).all(axis=1).mean() == near(all_entered(pupils, cabins, minutes, time))
    by_count = np.bincount((ends <= minutes).sum(axis=1), minlength=pupils + 1) / runs
    assert by_count == pytest.approx(finished(pupils, cabins, minutes, time), abs=0.016)
    inside = np.bincount((starts <= minutes).sum(axis=1), minlength=pupils + 1) / runs
    assert inside == pytest.approx(entered(pupils, cabins, minutes, time), abs=0.016)
    assert (starts > minutes).sum(axis=1).mean() == pytest.approx(
        still_waiting(pupils, cabins, minutes, time), abs=0.04
    )
    clear, waits = clear_time(pupils, cabins, time), wait(pupils, cabins, time)
    assert ends.max(axis=1).mean() == pytest.approx(clear.mean_min, abs=0.05)
    assert ends.max(axis=1).std() == pytest.approx(clear.sd_min, rel=0.03)
    assert np.quantile(ends.max(axis=1), 0.95) == pytest.approx(clear.p95_min, abs=0.12)
    assert starts.mean() == pytest.approx(waits.mean_min, abs=0.04)
    assert np.quantile(starts, 0.95) == pytest.approx(waits.p95_min, abs=0.12)


def test_moments_by_integral_agree_with_the_closed_form():
    # Shape a hair above 1 goes through the integrals; the exponential closed form is its limit.
    near, exact = VisitTime(1.5, 1 + 1e-9), VisitTime(1.5)
    assert clear_time(30, 4, near).mean_min == pytest.approx(clear_time(30, 4, exact).mean_min, rel=1e-5)
    assert clear_time(30, 4, near).sd_min == pytest.approx(clear_time(30, 4, exact).sd_min, rel=1e-4)
    assert clear_time(30, 4, near).p95_min == pytest.approx(clear_time(30, 4, exact).p95_min, rel=1e-6)
    assert wait(30, 4, near).mean_min == pytest.approx(4.3875, rel=1e-6)
    assert all_done(30, 4, 15, near) == pytest.approx(0.8057662818, abs=1e-7)


def test_few_pupils_for_many_cabins_clear_when_the_slowest_leaves():
    # Mean of the largest of 3 Erlang(2) times by scipy: ∫ (1 − F³) dt.
    from scipy.integrate import quad

    law = stats.gamma(2, scale=0.5)
    mean = quad(lambda t: 1 - law.cdf(t) ** 3, 0, 20)[0]
    assert clear_time(3, 8, VisitTime(1.0, 2.0)).mean_min == pytest.approx(mean, rel=1e-6)


# ---- what must always hold -----------------------------------------------------------------------------------------


@given(
    pupils=st.integers(1, 60),
    cabins=st.integers(1, 12),
    minutes=st.floats(0, 30),
    mean=st.floats(0.3, 4),
    shape=SHAPES,
)
@settings(max_examples=30, deadline=None)
def test_more_cabins_and_more_time_never_serve_fewer(pupils, cabins, minutes, mean, shape):
    time = VisitTime(mean, shape)
    here = burst_table(pupils, cabins, minutes, time)
    more, longer = burst_table(pupils, cabins + 1, minutes, time), burst_table(pupils, cabins, minutes + 1, time)
    for other in (more, longer):
        assert (other.all_done[: pupils + 1] >= here.all_done[: pupils + 1] - 1e-7).all()
        assert (other.all_entered[: pupils + 1] >= here.all_entered[: pupils + 1] - 1e-9).all()
        assert (other.waiting[: pupils + 1] <= here.waiting[: pupils + 1] + 1e-9).all()
    assert ((here.all_done >= 0) & (here.all_done <= here.all_entered) & (here.all_entered <= 1)).all()
    assert (np.diff(here.all_done) <= 1e-7).all() and (np.diff(here.waiting) >= -1e-9).all()


@given(pupils=st.integers(0, 40), cabins=st.integers(0, 10), minutes=st.floats(0, 25), shape=SHAPES)
@example(pupils=0, cabins=1, minutes=5e-324, shape=1.7)  # once divided by nothing
@settings(max_examples=50, deadline=None)
def test_the_chances_of_how_many_are_served_add_up_to_one(pupils, cabins, minutes, shape):
    time = VisitTime(1.3, shape)
    served, inside = finished(pupils, cabins, minutes, time), entered(pupils, cabins, minutes, time)
    for chances in (served, inside):
        assert ((chances >= 0) & (chances <= 1 + 1e-9)).all()
        assert chances.sum() == pytest.approx(1, abs=1e-7)
    assert served[-1] == pytest.approx(all_done(pupils, cabins, minutes, time), abs=1e-7)
    assert inside[-1] == pytest.approx(all_entered(pupils, cabins, minutes, time), abs=1e-9)
    left = pupils - inside @ np.arange(pupils + 1)
    assert left == pytest.approx(still_waiting(pupils, cabins, minutes, time), abs=1e-8)


@given(pupils=st.integers(1, 40), cabins=st.integers(1, 10), shape=SHAPES)
@settings(max_examples=25, deadline=None)
def test_more_cabins_never_make_a_pupil_wait_longer(pupils, cabins, shape):
    time = VisitTime(1.3, shape)
    fewer, more = wait(pupils, cabins, time), wait(pupils, cabins + 1, time)
    assert more.mean_min <= fewer.mean_min + 1e-7
    assert more.p95_min <= fewer.p95_min + 1e-6


@given(cabins=st.integers(1, 8), minutes=st.floats(0.1, 20), mean=st.floats(0.5, 3))
@settings(max_examples=40, deadline=None)
def test_the_convolution_of_renewals_is_poisson_for_exponential_times(cabins, minutes, mean):
    near = visits_ended(80, cabins, minutes, VisitTime(mean, 1 + 1e-12))
    exact = visits_ended(80, cabins, minutes, VisitTime(mean))
    assert near == pytest.approx(exact, abs=1e-9)
    assert exact == pytest.approx(stats.poisson.pmf(np.arange(80), cabins * minutes / mean), abs=1e-12)


def test_a_steadier_time_serves_everyone_more_surely_in_a_break_that_is_long_enough():
    shares = [all_done(30, 4, 15, VisitTime(1.5, shape)) for shape in (1, 2, 8, 50, FIXED)]
    assert shares == sorted(shares)
    assert shares[-1] == 1


# ---- edges -----------------------------------------------------------------------------------------------------------


def test_without_a_cabin_nobody_enters_and_nobody_to_serve_is_served():
    time = VisitTime(1.5)
    assert (all_done(5, 0, 10, time), all_entered(5, 0, 10, time), still_waiting(5, 0, 10, time)) == (0, 0, 5)
    assert (all_done(0, 0, 10, time), all_done(0, 4, 10, time), still_waiting(0, 4, 10, time)) == (1, 1, 0)
    assert cabins_needed(0, 10, time).cabins == 0
    assert clear_time(0, 0, time).mean_min == 0
    assert (finished(2, 0, 10, time) == [1, 0, 0]).all()


def test_a_break_of_no_length_lets_the_first_in_and_nobody_out():
    for shape in (1.0, 2.5, FIXED):
        time = VisitTime(1.5, shape)
        assert all_done(6, 4, 0, time) == 0
        assert all_entered(4, 4, 0, time) == 1
        assert still_waiting(6, 4, 0, time) == pytest.approx(2, abs=1e-12)


def test_a_fixed_time_that_fits_but_for_rounding_does_fit():
    # 0.3 ÷ 0.1 is 2.9999999999999996 in binary numbers; a plain floor would serve one visit too few.
    assert math.floor(0.3 / 0.1) == 2
    assert whole_visits(0.3, VisitTime(0.1, FIXED)) == 3
    assert all_done(3, 1, 0.3, VisitTime(0.1, FIXED)) == 1


@pytest.mark.parametrize("wrong", [(0, 1), (-1, 1), (math.inf, 1), (1, 0.5), (1, 500), (1, math.nan)])
def test_times_that_make_no_sense_are_refused(wrong):
    with pytest.raises(ValueError, match="must be"):
        VisitTime(*wrong)


def test_negative_numbers_are_refused():
    time = VisitTime(1)
    for wrong in ((-1, 2, 5), (1, -2, 5), (1, 2, -5)):
        with pytest.raises(ValueError, match=r"negative|0 minutes"):
            all_done(*wrong, time)
    with pytest.raises(ValueError, match="at least one pupil"):
        wait(0, 2, time)
    with pytest.raises(ValueError, match="share of breaks"):
        cabins_needed(5, 5, time, share=0)


def test_tables_are_kept():
    first = burst_table(30, 4, 15, VisitTime(1.5))
    assert burst_table(50, 4, 15.0, VisitTime(1.5)) is first
    with pytest.raises(ValueError, match="read-only"):
        first.all_done[0] = 2


# ---- pupils who come one by one ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("load", "cabins", "share"),
    [
        # QUE-01: (25, 30) about .05 READ in the documentation of a text collection; the rest by three routes.
        (25, 30, 0.0526031722),
        (5, 10, 0.0183845703),
        (2, 3, 0.2105263158),
        (10, 14, 0.0568191434),
        (20, 30, 0.0084574983),
        (1, 2, 0.2),
    ],
)
def test_share_turned_away(load, cabins, share):
    assert share_turned_away(load, cabins) == pytest.approx(share, abs=1e-9)
    poisson = stats.poisson.pmf(cabins, load) / stats.poisson.cdf(cabins, load)
    assert share_turned_away(load, cabins) == pytest.approx(poisson, rel=1e-9)


@pytest.mark.parametrize(
    ("share", "loads"),
    [
        # QUE-02 and QUE-03, derived for this file (root-finder; the published table was not read).
        (0.01, [0.0101, 0.1526, 0.4555, 0.8694, 1.3608, 1.9090, 2.5009, 3.1276, 3.7825, 4.4612]),
        (0.05, [0.0526, 0.3813, 0.8994, 1.5246, 2.2185]),
    ],
)
def test_load_at_which_a_share_is_turned_away(share, loads):
    assert [load_for(cabins, share) for cabins in range(1, len(loads) + 1)] == pytest.approx(loads, abs=5e-5)


def test_a_queue_in_balance_as_two_packages_print_it():
    # QUE-04, READ: R package ErlangC 0.1.0, example; seconds.
    found = steady_queue(10, 14, 180)
    assert found.share_waiting == pytest.approx(0.174131933595, abs=1e-9)
    assert found.mean_wait == pytest.approx(7.83593701178, abs=1e-9)
    assert share_served_within(10, 14, 180, 20) == pytest.approx(0.8883500191795, abs=1e-9)
    # QUE-05: inputs read, outputs by two formulas.
    found = steady_queue(48, 55, 240)
    assert (found.share_waiting, found.mean_wait) == (
        pytest.approx(0.2387009364, abs=1e-6),
        pytest.approx(8.184032, abs=1e-6),
    )
    assert share_served_within(48, 55, 240, 15) == pytest.approx(0.8458831, abs=1e-6)


def test_queues_in_balance_as_fractions():
    # QUE-06, derived for this file: (2, 3): 4/9 and 8/9; (1, 2): 1/3 and 1/3.
    found = steady_queue(2, 3, 1)
    assert (found.share_waiting, found.mean_queue) == (pytest.approx(4 / 9), pytest.approx(8 / 9))
    found = steady_queue(1, 2, 1)
    assert (found.share_waiting, found.mean_queue) == (pytest.approx(1 / 3), pytest.approx(1 / 3))


def test_a_load_of_as_much_as_the_cabins_has_no_balance():
    assert steady_queue(3, 3, 1) is None
    assert share_served_within(4, 3, 1, 1) is None
    assert steady_queue(0, 3, 1).mean_wait == 0
    with pytest.raises(ValueError, match="cabin"):
        steady_queue(1, 0, 1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        load_for(2, 1)
