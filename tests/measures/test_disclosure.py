"""Small counts. SDC rows with a source say so; the others are worked by hand (no outside source)."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tracker.measures import disclosure
from tracker.measures.disclosure import (
    Hidden,
    Withheld,
    differences_reveal,
    group_allowed,
    hide_count,
    hide_figure,
    hide_part_of,
    hide_share,
    is_small,
    part_reveals,
    possible_range,
    round_to_base,
    school_allowed,
    share_allowed,
    with_margins,
    withhold_row,
    withhold_table,
)
from tracker.measures.figure import Figure, Part
from tracker.vocabulary import Basis

TABLE = [[12, 20, 15], [4, 25, 30], [18, 11, 22]]
FREE = (0, None)


def hidden_places(shown):
    rows = [[*row, total] for row, total in zip(shown.cells, shown.row_totals, strict=True)]
    rows.append([*shown.column_totals, shown.total])
    return {(r, c): cell for r, row in enumerate(rows) for c, cell in enumerate(row) if isinstance(cell, Withheld)}


def test_published_pattern_of_hidden_cells_leaves_the_published_bounds():
    # SDC-01: vignette on small-count frequency tables of an open statistics package (pattern read; bounds
    # recomputed). Columns: three countries; rows young 2, 0, 5 and old 3, 4, 6; first two columns hidden.
    grid = with_margins([[2, 0, 5], [3, 4, 6]])
    hidden = dict.fromkeys([(0, 0), (0, 1), (1, 0), (1, 1)], FREE)
    bounds = {place: possible_range(grid, hidden, place) for place in hidden}
    assert bounds == {(0, 0): (0, 2), (0, 1): (0, 2), (1, 0): (3, 5), (1, 1): (2, 4)}


@pytest.mark.parametrize("also", [[], [(0, 0)], [(0, 0), (1, 1)]])
def test_hiding_one_cell_or_an_open_chain_leaves_it_solvable(also):
    # SDC-02 (worked by hand): row 2 is 59 = 4 + 25 + 30, column 1 is 34 = 12 + 4 + 18.
    hidden = dict.fromkeys([(1, 0), *also], FREE)
    assert possible_range(with_margins(TABLE), hidden, (1, 0)) == (4, 4)


def test_least_cost_rectangle_where_the_reader_cannot_tell_hidden_cells_apart():
    # SDC-03 (worked by hand): rectangles through the 4 hide 57, 57, 54 or 70 more; 25 + 18 + 11 = 54 is least.
    shown = withhold_table(TABLE, told_apart=False)
    places = hidden_places(shown)
    assert places.keys() == {(1, 0), (1, 1), (2, 0), (2, 1)}
    assert {cell.kind for cell in places.values()} == {Hidden.SOME_SMALL}
    # a + b = 29, a + c = 22, c + d = 29, b + d = 36: a runs from 0 to 22.
    assert possible_range(with_margins(TABLE), dict.fromkeys(places, FREE), (1, 0)) == (0, 22)


def test_a_reader_who_can_tell_small_cells_apart_needs_a_wider_rectangle():
    # With 25, 18, 11 hidden and known to be at least 10: d = 7 + a >= 10, so a is 3 to 9: too narrow.
    # The rectangles over row 1 give 16 - a >= 10, so a <= 6. Left: 30, 18, 22 (70 more hidden).
    places = hidden_places(withhold_table(TABLE))
    assert places.keys() == {(1, 0), (1, 2), (2, 0), (2, 2)}
    assert [place for place, cell in places.items() if cell.kind is Hidden.SMALL] == [(1, 0)]


def test_rounding_to_five_follows_the_published_rule():
    # SDC-04: conventional rounding, OECD Glossary of Statistical Terms (rule read).
    counts = [0, 1, 2, 3, 4, 5, 7, 8, 12, 13, 97, 98]
    assert [round_to_base(count) for count in counts] == [0, 0, 0, 5, 5, 5, 5, 10, 10, 15, 95, 100]


def test_rounded_parts_need_not_add_up():
    # SDC-05 (arithmetic): 2 + 2 + 2 = 6 becomes 0, 0, 0 and 5.
    assert [round_to_base(2)] * 3 == [0, 0, 0]
    assert round_to_base(6) == 5


def test_a_row_hides_a_second_place():
    # SDC-06 (arithmetic): with only the 3 hidden, 35 - 12 - 20 = 3.
    assert possible_range([[3, 12, 20, 35]], {(0, 0): FREE}, (0, 0), one_row=True) == (3, 3)
    same_words = withhold_row([3, 12, 20], 35, told_apart=False)
    assert [isinstance(cell, Withheld) for cell in same_words.values] == [True, True, False]
    # Told apart, 3 + 12 = 15 with the second at least 10 would leave 1 to 5; 3 + 20 = 23 leaves 1 to 9.
    told = withhold_row([3, 12, 20], 35)
    assert told.values == (Withheld(Hidden.SMALL), 12, Withheld(Hidden.COMPLEMENT))
    assert told.total == 35


def test_the_total_is_hidden_where_no_second_count_helps():
    # 4 + 5 = 9: each is at most 8 if the total shows, or says "fewer than 10".
    row = withhold_row([4, 5, 0], 9)
    assert row.values == (Withheld(Hidden.SMALL), Withheld(Hidden.SMALL), 0)
    assert row.total == Withheld(Hidden.COMPLEMENT)


def test_zero_and_blank_are_shown_as_they_are():
    row = withhold_row([0, None, 25], 25)
    assert row.values == (0, None, 25)
    table = withhold_table([[0, None], [25, 30]])
    assert table.cells == ((0, None), (25, 30))
    assert (table.row_totals, table.column_totals, table.total) == ((0, 55), (25, 30), 55)


def test_a_total_that_disagrees_is_refused():
    with pytest.raises(ValueError, match="add up"):
        withhold_row([3, 12], 16)
    with pytest.raises(ValueError, match="one length"):
        withhold_table([[1, 2], [3]])


def test_the_threshold_can_be_raised_but_not_lowered():
    assert is_small(14, 15)
    assert hide_count(12, 15).words == "fewer than 15"
    assert hide_count(12) == 12
    assert hide_count(0) == 0
    assert hide_count(None) is None
    for act in (lambda: is_small(3, 9), lambda: withhold_table(TABLE, 5), lambda: hide_count(3, 1)):
        with pytest.raises(ValueError, match="not lowered"):
            act()


def test_the_rest_of_a_whole_is_protected():
    # 27 of 30 reveals 3.
    assert part_reveals(27, 30)
    assert hide_part_of(27, 30).values == (Withheld(Hidden.COMPLEMENT),)
    assert hide_part_of(27, 30).total == 30
    assert hide_part_of(3, 30).values == (Withheld(Hidden.SMALL),)
    assert hide_part_of(3, 12).values == (Withheld(Hidden.SMALL),)
    assert isinstance(hide_part_of(3, 5).total, Withheld)
    assert hide_part_of(15, 30).values == (15,)


def test_no_percentage_on_a_base_under_twenty_or_of_everybody():
    assert [share_allowed(base) for base in (19, 20)] == [False, True]
    assert [share_allowed(40, part) for part in (0, 3, 10, 30, 31, 40)] == [
        False,
        False,
        True,
        True,
        False,
        False,
    ]


def count_figure(value, **more):
    return Figure(value, "pupils", Basis.COUNTED, about_people=True, **more)


def test_a_small_figure_about_people_is_withheld_with_its_bounds():
    from datetime import date

    assert hide_figure(count_figure(9.0)) == Withheld(Hidden.SMALL)
    assert hide_figure(count_figure(0.0, low=0.0, high=8.0)) == Withheld(Hidden.SMALL)
    assert hide_figure(count_figure(None)).value is None
    passed = hide_figure(count_figure(40.0, parts=(Part("s", date(2030, 1, 7), 3.0),)))
    assert (passed.value, passed.parts) == (40.0, ())
    units = Figure(3.0, "cabins", Basis.COUNTED)
    assert hide_figure(units) is units


def test_a_rate_is_hidden_by_the_count_it_is_built_on():
    rate = Figure(3.6, "napkins per school day", Basis.MODELLED, about_people=True)
    assert hide_figure(rate, count=270.0).value == 3.6
    assert hide_figure(rate, count=7.0) == Withheld(Hidden.SMALL)
    share = Figure(0.64, "share of pupils", Basis.COUNTED, used=50, about_people=True)
    assert hide_share(share) is share  # 32 of 50
    assert hide_share(Figure(0.9, "share of pupils", Basis.COUNTED, used=50, about_people=True)) == Withheld(
        Hidden.BASE
    )  # 45 of 50 reveals 5


def test_a_group_needs_three_schools_that_brought_something():
    assert not group_allowed([40.0, 30.0])
    assert not group_allowed([40.0, 30.0, 0.0])
    assert group_allowed([40.0, 30.0, 1.0])


def test_a_school_with_few_girls_is_shown_only_in_a_group():
    assert [school_allowed(girls) for girls in (None, 0, 9, 10)] == [False, False, False, True]


def test_two_versions_side_by_side_reveal_a_small_difference():
    old = {"same": 40, "small": 40, "large": 40, "opened": None, "closed": 30, "gone": 5}
    new = {"same": 40, "small": 43, "large": 60, "opened": 12, "closed": None, "new": 7}
    assert differences_reveal(old, new) == ["closed", "opened", "small"]


def reader_ranges(shown):
    """What a reader can work out from the printed table alone: written apart from the code under test."""
    rows = [[*row, total] for row, total in zip(shown.cells, shown.row_totals, strict=True)]
    rows.append([*shown.column_totals, shown.total])
    height, width = len(rows), len(rows[0])
    limits = []
    for r, c in itertools.product(range(height), range(width)):
        cell = rows[r][c]
        margin = r == height - 1 or c == width - 1
        if not isinstance(cell, Withheld):
            limits.append((cell, cell))
        elif cell.kind is Hidden.SMALL:
            limits.append((1, 9))
        elif cell.kind is Hidden.COMPLEMENT:
            limits.append((1 if margin else 10, None))
        else:
            limits.append((0, None))
    equations = []
    for r in range(height):
        line = [0] * (height * width)
        line[r * width : (r + 1) * width] = [1] * (width - 1) + [-1]
        equations.append(line)
    for c in range(width):
        line = [0] * (height * width)
        line[c::width] = [1] * (height - 1) + [-1]
        equations.append(line)
    found = {}
    for place in hidden_places(shown):
        goal = [0] * (height * width)
        goal[place[0] * width + place[1]] = 1
        least = linprog(goal, A_eq=equations, b_eq=[0] * len(equations), bounds=limits)
        most = linprog([-one for one in goal], A_eq=equations, b_eq=[0] * len(equations), bounds=limits)
        assert least.status == 0
        found[place] = (least.fun, float("inf") if most.status == 3 else -most.fun)
    return found


COUNTS = st.one_of(st.integers(0, 12), st.integers(0, 60))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(1, 3).flatmap(lambda w: st.lists(st.lists(COUNTS, min_size=w, max_size=w), min_size=1, max_size=4)))
def test_no_hidden_count_can_be_narrowed_inside_one_to_nine(cells):
    shown = withhold_table(cells)
    places = hidden_places(shown)
    grid = with_margins(cells)
    for r, row in enumerate(grid):
        for c, count in enumerate(row):
            assert not 0 < count < 10 or (r, c) in places
            assert count > 0 or (r, c) not in places
    for place, (least, most) in reader_ranges(shown).items():
        true = grid[place[0]][place[1]]
        assert least - 1e-6 <= true <= most + 1e-6
        if 0 < true < 10:
            assert most >= 9 - 1e-6
            assert least <= 1 + 1e-6 or most >= 10 - 1e-6
        if places[place].kind is Hidden.SMALL:
            assert least <= 1 + 1e-6


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.lists(st.integers(0, 25), min_size=1, max_size=3))
def test_every_small_count_of_a_row_could_be_anything_from_one_to_nine(values):
    # By trying all whole numbers: every value a reader can put in the hidden places so that the row adds up.
    row = withhold_row(values, sum(values))
    choices = []
    for cell in row.values:
        if not isinstance(cell, Withheld):
            choices.append([cell])
        else:
            spans = {Hidden.SMALL: range(1, 10), Hidden.COMPLEMENT: range(10, 80), Hidden.SOME_SMALL: range(80)}
            choices.append(list(spans[cell.kind]))
    total_hidden = isinstance(row.total, Withheld)
    small_total = total_hidden and row.total.kind is Hidden.SMALL
    fits = [
        guess
        for guess in itertools.product(*choices)
        if (total_hidden or sum(guess) == row.total) and (not small_total or 1 <= sum(guess) <= 9)
    ]
    for place, count in enumerate(values):
        if 0 < count < 10:
            assert isinstance(row.values[place], Withheld)
            assert {guess[place] for guess in fits} >= set(range(1, 10))


def test_where_no_rectangle_helps_all_counts_get_one_wording(monkeypatch):
    monkeypatch.setattr(disclosure.TableSystem, "cure", lambda self, kinds, exposed: None)
    kinds = {cell.kind for cell in hidden_places(withhold_table(TABLE)).values()}
    assert kinds == {Hidden.SOME_SMALL}
