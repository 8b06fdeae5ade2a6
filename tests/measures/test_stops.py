"""The order of stops: published distances with a known best tour, all orders tried, and what must always hold."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures import stops
from tracker.measures.stops_bound import assignment_bound, back_bound, rounds_bound, travel_bound
from tracker.measures.stops_exact import best_order
from tracker.measures.stops_run import Run, drive
from tracker.measures.stops_search import good_order

OPEN = ((0, 10**6),)
# gr17 of the TSPLIB collection (G. Reinelt, 1991), lower triangle with the diagonal; its best tour is 2085 long
# (both read in public copies of the collection, and of its table of best known values).
GR17 = """
0 633 0 257 390 0 91 661 228 0 412 227 169 383 0 150 488 112 120 267 0 80 572 196 77 351 63 0 134 530 154 105
309 34 29 0 259 555 372 175 338 264 232 249 0 505 289 262 476 196 360 444 402 495 0 353 282 110 324 61 208 292
250 352 154 0 324 638 437 240 421 329 297 314 95 578 435 0 70 567 191 27 346 83 47 68 189 439 287 254 0 211
466 74 182 243 105 150 108 326 336 184 391 145 0 268 420 53 239 199 123 207 165 383 240 140 448 202 57 0 246
745 472 237 528 364 332 349 202 685 542 157 289 426 483 0 121 518 142 84 297 35 29 36 236 390 238 301 55 96
153 336 0
"""
GR17_BEST = 2085
# The smallest case of the same collection: 14 places in degrees.minutes; its best tour is 3323 km by its own rule.
GEO14 = (
    (16.47, 96.10), (16.47, 94.44), (20.09, 92.54), (22.39, 93.37), (25.23, 97.24), (22.00, 96.05), (20.47, 97.02),
    (17.20, 96.29), (16.30, 97.38), (14.05, 98.12), (16.53, 97.38), (21.52, 95.59), (19.41, 97.13), (20.09, 94.55),
)  # fmt: skip
GEO14_BEST = 3323


def gr17() -> np.ndarray:
    numbers = iter(map(int, GR17.split()))
    table = np.zeros((17, 17), dtype=int)
    for row in range(17):
        for column in range(row + 1):
            table[row, column] = table[column, row] = next(numbers)
    return table


def geo14() -> np.ndarray:
    """Distances by the collection's rule "GEO": radius 6378.388 km, π as 3.141592, whole km and plus 1."""

    def radians(value: float) -> float:
        degrees = int(value)
        return 3.141592 * (degrees + 5 * (value - degrees) / 3) / 180

    places = [(radians(lat), radians(lon)) for lat, lon in GEO14]
    table = np.zeros((14, 14), dtype=int)
    for one, (lat1, lon1) in enumerate(places):
        for other, (lat2, lon2) in enumerate(places):
            q1, q2, q3 = np.cos(lon1 - lon2), np.cos(lat1 - lat2), np.cos(lat1 + lat2)
            if one != other:
                table[one, other] = int(6378.388 * np.arccos(0.5 * ((1 + q1) * q2 - (1 - q1) * q3)) + 1)
    return table


def plain(table, **rest):
    n = len(table) - 1
    return stops.order(table, [0] * n, [OPEN] * n, start=0, limit_min=10**6, **rest)


@pytest.mark.parametrize(("table", "best"), [(gr17(), GR17_BEST), (geo14(), GEO14_BEST)], ids=["gr17", "geo14"])
def test_published_distances_are_solved_to_their_known_best_tour(table, best):
    found = plain(table, most_exact=16)
    assert (found.back, found.travel_min, found.bound, found.exact) == (best, best, best, True)


@pytest.mark.parametrize(("table", "best"), [(gr17(), GR17_BEST), (geo14(), GEO14_BEST)], ids=["gr17", "geo14"])
def test_above_twelve_stops_the_known_best_lies_between_the_bound_and_the_answer(table, best):
    found = plain(table)
    assert not found.exact
    assert found.bound <= best <= found.back
    assert found.back <= 1.05 * best  # what the exchanges reach here; a worse search would be a step back
    assert found.bound >= 0.9 * best
    assert found.gap_min == found.back - found.bound


def all_orders(run: Run) -> int | None:
    backs = [drive(run, order) for order in permutations(range(1, run.stops + 1))]
    return min((one.back for one in backs if one is not None), default=None)


def random_run(seed: int, n: int, *, both_ways: bool = False, wide: bool = False) -> Run:
    rng = np.random.default_rng(seed)
    table = rng.integers(5, 90, (n + 1, n + 1))
    if both_ways:
        table = np.minimum(table, table.T)
    opens = rng.integers(420, 600, n)
    lengths = rng.integers(60, 500, n) + (2000 if wide else 0)
    windows = [((int(at), int(at + most)),) for at, most in zip(opens, lengths, strict=True)]
    if n and seed % 3 == 0:
        windows[0] = (windows[0][0], (900, 1000))  # open again in the afternoon
    return Run.made(table, [int(v) for v in rng.integers(5, 40, n)], windows, start=450, limit_min=700)


def test_on_two_hundred_small_cases_the_answer_is_the_best_of_all_orders():
    solved = 0
    for seed in range(200):
        run = random_run(seed, 1 + seed % 6)
        found = best_order(run)
        best = all_orders(run)
        assert (None if found is None else drive(run, found).back) == best, seed
        solved += best is not None
    assert 60 < solved < 200  # both kinds of case took part


def test_no_order_of_two_hundred_small_cases_beats_the_bound():
    for seed in range(200):
        run = random_run(seed, 1 + seed % 6, both_ways=seed % 2 == 0, wide=True)
        assert back_bound(run) <= all_orders(run), seed


def test_the_search_keeps_openings_and_is_no_better_than_the_best():
    for seed in range(60):
        run = random_run(seed, 6, wide=True)
        found = good_order(run)
        assert sorted(found) == [1, 2, 3, 4, 5, 6]
        assert all_orders(run) <= drive(run, found).back <= 1.35 * (all_orders(run) - 450) + 450


def test_four_corners_of_a_square_are_driven_round_and_not_across():
    # Store and three schools at the corners of a square of 10 min, 14 min across: round it is 40, across 48.
    table = [[0, 10, 14, 10], [10, 0, 10, 14], [14, 10, 0, 10], [10, 14, 10, 0]]
    found = plain(table)
    assert (found.order, found.back) == ((1, 2, 3), 40)


def test_a_school_that_opens_late_is_left_for_later_where_waiting_would_cost_more():
    # 1 is near and opens at 10:00, 2 is open. 1 first: wait to 10:00, 10:10, drive 20, 10:40, back 11:10.
    # 2 first: 08:30 to 08:40, 09:00 at 1, wait to 10:00, 10:10, back 10:20.
    table = [[0, 10, 30], [10, 0, 20], [30, 20, 0]]
    found = stops.order(table, [10, 10], [((600, 900),), ((420, 900),)], start=480, limit_min=480)
    assert (found.order, found.arrive, found.begin, found.back) == ((2, 1), (510, 540), (510, 600), 620)
    assert found.travel_min == 60


def test_a_hand_over_must_be_finished_before_the_school_closes():
    table = [[0, 30], [30, 0]]
    assert stops.order(table, [15], [((480, 525),)], start=480, limit_min=480).leave == (525,)
    assert stops.order(table, [16], [((480, 525),)], start=480, limit_min=480) is None


def test_closed_all_day_too_far_for_the_hours_and_no_stops():
    table = [[0, 30], [30, 0]]
    assert stops.order(table, [5], [()], start=480, limit_min=480) is None
    assert stops.order(table, [5], [OPEN], start=480, limit_min=64) is None
    assert stops.order(table, [5], [OPEN], start=480, limit_min=65).back == 545
    assert stops.order([[0]], [], [], start=480, limit_min=0).back == 480


def test_an_order_that_somebody_chose_is_driven_and_what_does_not_fit_is_marked():
    # Reached at 08:10 and served to 08:15; at 2, open to 08:30 only, at 08:40: outside.
    table = [[0, 10, 30], [10, 0, 25], [30, 25, 0]]
    given_order = stops.as_given(table, [5, 5], [((420, 600),), ((420, 510),)], start=480)
    assert given_order == ((490, 520), (True, False), 480 + 10 + 5 + 25 + 5 + 30)


def test_wrong_shapes_and_negative_minutes_are_refused():
    with pytest.raises(ValueError, match="square"):
        stops.order([[0, 1], [1, 0]], [5, 5], [OPEN, OPEN], start=0, limit_min=60)
    with pytest.raises(ValueError, match="negative"):
        stops.order([[0, -1], [1, 0]], [5], [OPEN], start=0, limit_min=60)
    with pytest.raises(ValueError, match="close"):
        stops.order([[0, 1], [1, 0]], [5], [((600, 500),)], start=0, limit_min=60)


def test_the_assignment_bound_is_the_cheapest_choice_of_next_places():
    # Pairs 0-1 and 2-3 are near, so the cheapest next places make two circles of 2 and 2: 4; a tour needs 2 long legs.
    table = np.array([[0, 1, 9, 9], [1, 0, 9, 9], [9, 9, 0, 1], [9, 9, 1, 0]], dtype=float)
    assert assignment_bound(table) == 4
    assert travel_bound(table) == 20  # the tree bound sees the two legs of 9: 1 + 9 + 1 + 9


@st.composite
def cases(draw, least=1, most=6):
    n = draw(st.integers(least, most))
    minute = st.integers(0, 120)
    table = np.array([[draw(minute) for _ in range(n + 1)] for _ in range(n + 1)])
    stays = [draw(st.integers(0, 40)) for _ in range(n)]
    windows = [((opens := draw(st.integers(300, 700)), opens + draw(st.integers(0, 900))),) for _ in range(n)]
    return Run.made(table, stays, windows, start=draw(st.integers(300, 600)), limit_min=draw(st.integers(60, 1200)))


@settings(max_examples=150, deadline=None)
@given(cases(), st.randoms(use_true_random=False))
def test_the_order_in_which_stops_are_given_does_not_matter(run, random):
    found = stops.order(run.minutes, run.stays, run.windows, start=run.start, limit_min=run.latest_back - run.start)
    mixed = list(range(run.stops))
    random.shuffle(mixed)
    places = [0, *[one + 1 for one in mixed]]
    other = stops.order(
        run.minutes[np.ix_(places, places)],
        [run.stays[one] for one in mixed],
        [run.windows[one] for one in mixed],
        start=run.start,
        limit_min=run.latest_back - run.start,
    )
    assert (found is None) == (other is None)
    assert found is None or found.back == other.back


@settings(max_examples=150, deadline=None)
@given(cases(), st.integers(0, 12))
def test_openings_limit_and_bound_hold_for_whatever_comes(run, most_exact):
    limit = run.latest_back - run.start
    found = stops.order(run.minutes, run.stays, run.windows, start=run.start, limit_min=limit, most_exact=most_exact)
    if found is None:
        return
    assert sorted(found.order) == list(range(1, run.stops + 1))
    assert found.back - run.start <= limit
    assert found.bound <= found.back
    clock, here = run.start, 0
    for stop, arrive, begin, leave in zip(found.order, found.arrive, found.begin, found.leave, strict=True):
        assert arrive == clock + run.minutes[here, stop]
        assert any(opens <= begin and leave <= closes for opens, closes in run.windows[stop - 1])
        assert begin >= arrive and leave == begin + run.stays[stop - 1]
        clock, here = leave, stop
    assert found.back == clock + run.minutes[here, 0]


@settings(max_examples=100, deadline=None)
@given(cases(2, 5))
def test_several_rounds_together_need_at_least_the_bound_of_driving(run):
    # Split the stops over two rounds in every way and order; none may drive less than the bound.
    bound = rounds_bound(run.minutes)
    stops_all = range(1, run.stops + 1)
    for order in permutations(stops_all):
        for cut in range(run.stops + 1):
            halves = (order[:cut], order[cut:])
            assert bound <= sum(stops.travel_of(run.minutes, half) for half in halves if half)
