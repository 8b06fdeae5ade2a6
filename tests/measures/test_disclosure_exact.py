"""Exact hiding of small tables, and two published versions side by side. Worked by hand, or against an oracle
written apart that tries every set of places. SDC rows: see each (and test_disclosure.py)."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tracker.measures.disclosure import Withheld, filled_grid, withhold_table
from tracker.measures.disclosure_exact import versions_reveal, withhold_exactly, withhold_next_version

TABLE = [[12, 20, 15], [4, 25, 30], [18, 11, 22]]


def grid_of(shown):
    rows = [[*row, total] for row, total in zip(shown.cells, shown.row_totals, strict=True)]
    return [*rows, [*shown.column_totals, shown.total]]


def hidden_of(shown):
    return {(r, c) for r, row in enumerate(grid_of(shown)) for c, cell in enumerate(row) if isinstance(cell, Withheld)}


def cost(grid, hidden):
    return sum(grid[r][c] for r, c in hidden if not 0 < grid[r][c] < 10)


def equations(height, width):
    found = []
    for r in range(height):
        found.append({(r, c): -1 if c == width - 1 else 1 for c in range(width)})
    for c in range(width):
        found.append({(r, c): -1 if r == height - 1 else 1 for r in range(height)})
    return found


def ends(rows, sides, limits, goal):
    least = linprog(goal, A_eq=rows, b_eq=sides, bounds=limits)
    most = linprog([-one for one in goal], A_eq=rows, b_eq=sides, bounds=limits)
    return least.fun, math.inf if most.status == 3 else -most.fun


def oracle_is_safe(grid, hidden):
    """One wording: a small place must be able to be anything from 1 to 9."""
    places = list(itertools.product(range(len(grid)), range(len(grid[0]))))
    limits = [(0, None) if p in hidden else (grid[p[0]][p[1]],) * 2 for p in places]
    rows = [[line.get(p, 0) for p in places] for line in equations(len(grid), len(grid[0]))]
    for small in places:
        if not 0 < grid[small[0]][small[1]] < 10:
            continue
        low, high = ends(rows, [0] * len(rows), limits, [float(p == small) for p in places])
        if low > 1 + 1e-6 or high < 9 - 1e-6:
            return False
    return True


def oracle_cost(grid):
    """The least sum of hidden numbers that are not small, by trying every set of places above zero."""
    filled = [(r, c) for r, row in enumerate(grid) for c, count in enumerate(row) if count]
    small = [p for p in filled if grid[p[0]][p[1]] < 10]
    others = [p for p in filled if p not in small]
    sets = (set(chosen) for n in range(len(others) + 1) for chosen in itertools.combinations(others, n))
    by_cost = sorted((cost(grid, chosen), sorted(chosen)) for chosen in sets)
    return next(price for price, chosen in by_cost if oracle_is_safe(grid, {*small, *chosen}))


def test_the_least_cost_rectangle_of_the_worked_table():
    # SDC-03 (derived): 4, 25, 18, 11 hidden; 54 besides the 4.
    shown = withhold_exactly(TABLE, told_apart=False)
    assert hidden_of(shown) == {(1, 0), (1, 1), (2, 0), (2, 1)}
    assert cost(filled_grid(TABLE), hidden_of(shown)) == 54
    assert oracle_cost(filled_grid(TABLE)) == 54


def test_hiding_step_by_step_can_hide_more_than_is_needed():
    # Small counts in two rows: one closed path through both costs less than a rectangle for each.
    cells = [[3, 40, 11], [30, 4, 12], [13, 14, 35]]
    step, exact = withhold_table(cells, told_apart=False), withhold_exactly(cells, told_apart=False)
    grid = filled_grid(cells)
    assert cost(grid, hidden_of(exact)) == oracle_cost(grid) < cost(grid, hidden_of(step))


TABLES = st.lists(st.lists(st.integers(0, 40), min_size=2, max_size=2), min_size=2, max_size=2)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(TABLES)
def test_exact_hiding_agrees_with_trying_every_set(cells):
    grid = filled_grid(cells)
    shown = withhold_exactly(cells, told_apart=False)
    hidden = hidden_of(shown)
    assert all((r, c) in hidden for r, row in enumerate(grid) for c, n in enumerate(row) if 0 < n < 10)
    assert oracle_is_safe(grid, hidden)
    assert cost(grid, hidden) == oracle_cost(grid)
    assert cost(grid, hidden) <= cost(grid, hidden_of(withhold_table(cells, told_apart=False)))


@settings(max_examples=30, deadline=None, derandomize=True)
@given(TABLES)
def test_places_told_apart_are_hidden_at_no_greater_cost_than_step_by_step(cells):
    grid = filled_grid(cells)
    exact, step = hidden_of(withhold_exactly(cells)), hidden_of(withhold_table(cells))
    assert cost(grid, exact) <= cost(grid, step)
    assert oracle_is_safe(grid, exact)  # all the more without the words


def test_large_tables_are_hidden_step_by_step():
    wide = [[3, *range(20, 28)], [30, *range(40, 48)]]
    assert withhold_exactly(wide, told_apart=False) == withhold_table(wide, told_apart=False)


def test_blanks_and_zeros_are_shown_as_they_are():
    shown = withhold_exactly([[0, None], [25, 30]])
    assert shown.cells == ((0, None), (25, 30)) and shown.total == 55


def test_a_small_correction_is_hidden_though_both_numbers_are_large():
    # 40 becomes 43: side by side the 3 would stand there.
    old_cells, new_cells = [[40, 50], [60, 70]], [[43, 50], [60, 70]]
    old = withhold_table(old_cells, told_apart=False)
    naive = withhold_table(new_cells, told_apart=False)
    assert hidden_of(old) == hidden_of(naive) == set()
    assert versions_reveal(old, old_cells, naive, new_cells) == [(0, 0), (0, 2), (2, 0), (2, 2)]
    new = withhold_next_version(old, old_cells, new_cells)
    assert versions_reveal(old, old_cells, new, new_cells) == []
    assert {(0, 0), (0, 2), (2, 0), (2, 2)} <= hidden_of(new)


def test_a_place_hidden_before_stays_hidden_where_its_number_did_not_change():
    # Hidden first: 4, 25, 18, 11. Then 22 is corrected to 122: with another pattern the two would give the 4 away.
    new_cells = [[12, 20, 15], [4, 25, 30], [18, 11, 122]]
    old = withhold_table(TABLE, told_apart=False)
    new = withhold_next_version(old, TABLE, new_cells)
    assert hidden_of(old) <= hidden_of(new)
    assert versions_reveal(old, TABLE, new, new_cells) == []
    # Now the 25 is opened and 30, 15, 12 hidden instead: each version alone is closed, both together are not.
    other = withhold_table([[12, 20, 15], [4, 25, 30], [18, 111, 122]], told_apart=False)
    assert versions_reveal(old, TABLE, other, [[12, 20, 15], [4, 25, 30], [18, 111, 122]]) != []


def test_a_new_small_count_is_not_protected_by_numbers_already_published():
    # 12 is corrected to 3. The rectangle 3, 20, 25, 30 would do alone; but 20, 25, 30 were published and stand.
    old_cells, new_cells = [[12, 20], [25, 30]], [[3, 20], [25, 30]]
    old = withhold_table(old_cells, told_apart=False)
    alone = withhold_table(new_cells, told_apart=False)
    assert hidden_of(alone) == {(0, 0), (0, 1), (1, 0), (1, 1)}
    assert (0, 0) in versions_reveal(old, old_cells, alone, new_cells)
    new = withhold_next_version(old, old_cells, new_cells)
    assert {(0, 0), (0, 2), (2, 0), (2, 2)} <= hidden_of(new)
    assert versions_reveal(old, old_cells, new, new_cells) == []


def joint_ends(old, old_cells, new, new_cells, place):
    """What both versions together leave open of a new number, unchanged numbers being one unknown: an oracle."""
    grids = (filled_grid(old_cells), filled_grid(new_cells))
    height, width = len(grids[0]), len(grids[0][0])
    places = list(itertools.product((0, 1), range(height), range(width)))
    shown = (grid_of(old), grid_of(new))
    limits = []
    for v, r, c in places:
        cell = shown[v][r][c]
        limits.append((0, None) if isinstance(cell, Withheld) else (grids[v][r][c],) * 2)
    rows = [
        [line.get((r, c), 0) if v == version else 0 for v, r, c in places]
        for version in (0, 1)
        for line in equations(height, width)
    ]
    for r, c in itertools.product(range(height), range(width)):
        if grids[0][r][c] == grids[1][r][c]:
            rows.append([{(0, r, c): 1, (1, r, c): -1}.get(p, 0) for p in places])
    return ends(rows, [0] * len(rows), limits, [float(p == (1, *place)) for p in places])


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.lists(st.lists(st.integers(0, 40), min_size=2, max_size=3), min_size=2, max_size=2).filter(
        lambda rows: len({len(row) for row in rows}) == 1
    ),
    st.integers(0, 1),
    st.integers(0, 1),
    st.integers(1, 30),
)
def test_no_small_count_is_opened_by_two_versions(old_cells, row, column, more):
    new_cells = [list(cells) for cells in old_cells]
    new_cells[row][column] += more
    old = withhold_table(old_cells, told_apart=False)
    new = withhold_next_version(old, old_cells, new_cells)
    assert versions_reveal(old, old_cells, new, new_cells) == []
    grid = filled_grid(new_cells)
    for r, counts in enumerate(grid):
        for c, count in enumerate(counts):
            if 0 < count < 10:
                low, high = joint_ends(old, old_cells, new, new_cells, (r, c))
                assert high - low > 1e-6  # not worked out


def test_versions_of_different_shape_are_refused():
    old = withhold_table(TABLE)
    with pytest.raises(ValueError, match="same rows and columns"):
        withhold_next_version(old, TABLE, [[1, 2], [3, 4]])
