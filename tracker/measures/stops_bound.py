"""How soon a vehicle could be back at best: bounds that no order of stops can beat.

Two bounds of the driving minutes, of which the larger holds. The assignment bound: every place is left once for some
other place; the cheapest such choice, tour or not. The tree bound (Held and Karp): every tour is a spanning tree of the
stops with two legs to the store; prices on places, which add the same to every tour, are raised where the tree has
too many legs and lowered where it has too few.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from tracker.measures.stops_run import Run

ROUNDS = 120  # steps of the price search; any number gives a valid bound
Table = npt.NDArray[np.float64]


def back_bound(run: Run) -> int:
    """A minute before which no order can be back.

    The larger of: start + stays + the bound of driving; and for each stop, the soonest that it can be reached and
    served, and the way back. Ways are shortest ways, also over other places, so that the bound holds without the
    triangle rule.
    """
    ways = shortest_ways(run.minutes)
    bounds = [run.start + sum(run.stays) + travel_bound(run.minutes)]
    for stop in range(1, run.stops + 1):
        begin = run.begin(stop, run.start + int(ways[0, stop]))
        if begin is not None:
            bounds.append(begin + run.stays[stop - 1] + int(ways[stop, 0]))
    return max(bounds)


def travel_bound(minutes: npt.ArrayLike) -> int:
    """Whole minutes of driving below which no tour through all places stays; 0 for the store alone.

    >>> travel_bound([[0, 10, 40], [10, 0, 20], [40, 20, 0]])
    70
    """
    table = np.asarray(minutes, dtype=np.float64)
    size = len(table)
    if size < 2:
        return 0
    if size == 2:
        return int(table[0, 1] + table[1, 0])
    found = max(assignment_bound(table), tree_bound(np.minimum(table, table.T)))
    return math.ceil(found - 1e-6)  # minutes are whole, so a bound between two of them may be rounded up


def rounds_bound(minutes: npt.ArrayLike) -> int:
    """Whole minutes of driving that any number of rounds from the store to all places need together, at least.

    Rounds one after another are one walk through all places; on shortest ways it is no shorter than the best tour.
    """
    return travel_bound(shortest_ways(np.asarray(minutes, dtype=np.int64)))


def shortest_ways(minutes: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Shortest ways between all places, also over other places (Floyd and Warshall)."""
    ways = minutes.copy()
    np.fill_diagonal(ways, 0)
    for over in range(len(ways)):
        ways = np.minimum(ways, ways[:, over : over + 1] + ways[over : over + 1, :])
    return ways


def assignment_bound(table: Table) -> float:
    """The cheapest choice of one next place for every place."""
    from scipy.optimize import linear_sum_assignment

    costs = table.copy()
    np.fill_diagonal(costs, costs.sum() + 1)  # nobody stays where they are
    rows, columns = linear_sum_assignment(costs)
    return float(costs[rows, columns].sum())


def tree_bound(table: Table) -> float:
    """The best tree bound found in ``ROUNDS`` steps, for driving minutes that are the same both ways.

    Source: M. Held and R. M. Karp, "The traveling-salesman problem and minimum spanning trees", Operations Research 18
    (1970) 1138-1162 (from memory).
    """
    prices = np.zeros(len(table))
    best = -math.inf
    step = float(table.max()) / 2
    for _ in range(ROUNDS):
        cost, legs = _one_tree(table + prices[:, None] + prices[None, :])
        bound = cost - 2 * float(prices.sum())
        best = max(best, bound)
        if (legs == 2).all():
            return best  # the tree is a tour: nothing is shorter
        prices = prices + step * (legs - 2)
        step *= 0.95
    return best


def _one_tree(costs: Table) -> tuple[float, npt.NDArray[np.int64]]:
    """The cheapest spanning tree of places 1 and up with the two cheapest legs to place 0; legs of each place."""
    size = len(costs)
    legs = np.zeros(size, dtype=np.int64)
    near, parent = costs[1].copy(), np.ones(size, dtype=np.int64)
    waiting = np.ones(size, dtype=bool)
    waiting[[0, 1]] = False
    total = 0.0
    for _ in range(size - 2):
        place = int(np.argmin(np.where(waiting, near, math.inf)))
        total += float(near[place])
        legs[[place, parent[place]]] += 1
        waiting[place] = False
        nearer = costs[place] < near
        near, parent = np.where(nearer, costs[place], near), np.where(nearer, place, parent)
    two = np.argsort(costs[0, 1:], kind="stable")[:2] + 1
    legs[two] += 1
    legs[0] = 2
    return total + float(costs[0, two].sum()), legs
