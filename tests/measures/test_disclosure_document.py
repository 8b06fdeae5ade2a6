"""Numbers of one document hidden together, and its next version. Worked by hand (no outside source), or against an
oracle written apart: linear bounds over everything that was printed, and every set of numbers tried."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tracker.measures.disclosure_bounds import Hidden
from tracker.measures.disclosure_document import Former, hide_numbers, numbers_reveal

AREAS = [{"a": 1, "b": 1, "c": 1, "all": -1}]
WORDS = {Hidden.SMALL: (1, 9), Hidden.COMPLEMENT: (10, None), Hidden.SOME_SMALL: (0, None)}


def with_total(*counts):
    return dict(zip("abc", counts, strict=True)) | {"all": sum(counts)}


def printed(numbers, kinds):
    """A document as a reader has it: numbers, and what the words of the others say."""
    shown = {key: number for key, number in numbers.items() if key not in kinds}
    return Former(shown, {key: WORDS[kind] for key, kind in kinds.items()})


def work_out(documents, sums, same, goal):
    """Least and greatest of one number, from all documents and the numbers known to be the same in them."""
    keys = [(v, key) for v, one in enumerate(documents) for key in [*one.shown, *one.hidden]]
    bounds = []
    for v, key in keys:
        one = documents[v]
        bounds.append((one.shown[key],) * 2 if key in one.shown else one.hidden[key])
    rows = [[line.get(key, 0) if v == at else 0 for v, key in keys] for at in range(len(documents)) for line in sums]
    rows += [[{(0, key): 1, (1, key): -1}.get(place, 0) for place in keys] for key in same]
    weights = [float(place == goal) for place in keys]
    ends = []
    for sign in (1, -1):
        found = linprog([sign * one for one in weights], A_eq=rows, b_eq=[0] * len(rows), bounds=bounds)
        ends.append(sign * found.fun if found.status == 0 else -sign * math.inf)
    return ends


def is_open(ends, low=1, high=9):
    return ends[0] <= low + 1e-6 and ends[1] >= high - 1e-6


def test_a_small_area_takes_the_cheapest_other_with_it_and_leaves_the_total():
    # 111 - 60 - 6 = 45: with 6 and 45 hidden (51 together, the second 10 or more) the 6 may be 1 to 9.
    assert hide_numbers(with_total(60, 45, 6), AREAS) == {"b": Hidden.COMPLEMENT, "c": Hidden.SMALL}


def test_the_same_count_in_another_table_is_hidden_too():
    numbers = with_total(60, 45, 6) | {"again": 45}
    sums = [*AREAS, {"b": 1, "again": -1}]
    found = hide_numbers(numbers, sums)
    # 45 stands twice (90 hidden), 60 once: hiding the 60 is cheaper.
    assert found == {"a": Hidden.COMPLEMENT, "c": Hidden.SMALL}
    assert numbers_reveal(numbers, sums, {"b": Hidden.COMPLEMENT, "c": Hidden.SMALL}) == ["c"]


def test_two_tables_of_one_total_are_hidden_together():
    # girls 7 of 107 stand beside areas 7, 50, 50: each table alone would be hidden by its own pair.
    sums = [{"girls": 1, "boys": 1, "all": -1}, {"n": 1, "s": 1, "w": 1, "all": -1}]
    numbers = {"girls": 7, "boys": 100, "n": 50, "s": 50, "w": 7, "all": 107}
    found = hide_numbers(numbers, sums)
    assert not numbers_reveal(numbers, sums, found)
    document = printed(numbers, found)
    for key in ("girls", "w"):
        assert is_open(work_out([document], sums, (), (0, key)))


def test_a_small_total_of_two_never_says_that_it_is_small():
    # "fewer than 10" on 4 + 5 would say that each is at most 8.
    found = hide_numbers({"a": 4, "b": 5, "all": 9}, [{"a": 1, "b": 1, "all": -1}])
    assert found == dict.fromkeys(["a", "b", "all"], Hidden.SOME_SMALL)


def test_the_ends_of_an_interval_are_hidden_with_their_number():
    found = hide_numbers({"v": 12, "low": 8, "high": 300}, [], [frozenset({"v", "low", "high"})])
    # 12 is not fewer than 10, and the words do not say so.
    assert found == dict.fromkeys(["v", "low", "high"], Hidden.SOME_SMALL)


def test_zero_and_ten_are_shown_and_a_raised_threshold_hides_more():
    numbers = {"zero": 0, "nine": 9, "ten": 10, "fourteen": 14}
    assert hide_numbers(numbers, []) == {"nine": Hidden.SMALL}
    assert set(hide_numbers(numbers, [], threshold=15)) == {"nine", "ten", "fourteen"}
    with pytest.raises(ValueError, match="not lowered"):
        hide_numbers(numbers, [], threshold=5)


def test_numbers_that_do_not_add_up_are_refused():
    with pytest.raises(ValueError, match="does not add up"):
        hide_numbers({"a": 4, "all": 5}, [{"a": 1, "all": -1}])
    with pytest.raises(ValueError, match="negative"):
        hide_numbers({"a": -1}, [])


def test_of_more_numbers_than_can_be_tried_the_largest_are_shown_again():
    # Twelve areas of 30 to 41, one of 4: with 30 hidden too the 4 may be 1 to 9, for 34 less 10 is 24.
    many = {f"n{place}": 30 + place for place in range(12)} | {"few": 4}
    line = dict.fromkeys(many, 1) | {"all": -1}
    found = hide_numbers(many | {"all": sum(many.values())}, [line])
    assert found == {"n0": Hidden.COMPLEMENT, "few": Hidden.SMALL}


def test_a_number_shown_under_a_lower_threshold_can_be_hidden_now():
    # 15 was shown while 10 was the smallest count; now it is 20. The reader has it, and nothing can change that.
    before = Former({"a": 15, "b": 60, "all": 75})
    sums = [{"a": 1, "b": 1, "all": -1}]
    found = hide_numbers({"a": 15, "b": 60, "all": 75}, sums, threshold=20, former=before)
    assert "a" in found
    assert numbers_reveal({"a": 15, "b": 60, "all": 75}, sums, found, threshold=20, former=before) == []


# --- the next version ---------------------------------------------------------------------------------------------


def next_version(old, new, sums=AREAS):
    before = printed(old, hide_numbers(old, sums))
    return before, hide_numbers(new, sums, former=before)


def test_a_version_without_changes_hides_the_same_and_no_more():
    old = with_total(60, 45, 6)
    before, found = next_version(old, old)
    assert set(found) == set(before.hidden) == {"b", "c"}


def test_what_was_hidden_stays_hidden_where_it_would_now_be_shown():
    # West grows from 6 to 40 and could stand there by itself; 111 - 60 - 45 would then be 6 for who knows of the 45.
    before, found = next_version(with_total(60, 45, 6), with_total(60, 45, 40))
    assert {"b", "c"} <= set(found)
    naive = hide_numbers(with_total(60, 45, 40), AREAS)
    assert naive == {}
    new = with_total(60, 45, 40)
    assert is_open(work_out([before, printed(new, found)], AREAS, ("b",), (0, "c")))
    assert not is_open(work_out([before, printed(new, naive)], AREAS, ("b",), (0, "c")))


def test_a_large_correction_of_another_area_may_be_shown():
    _, found = next_version(with_total(60, 45, 6), with_total(160, 45, 6))
    assert set(found) == {"b", "c"}


def test_a_total_that_grows_by_three_is_hidden_though_it_is_large():
    old, new = with_total(60, 45, 50), with_total(60, 48, 50)
    assert hide_numbers(new, AREAS) == {}
    before, found = next_version(old, new)
    assert {"b", "all"} <= set(found)
    ends = work_out([before, printed(new, found)], AREAS, ("a", "c"), (1, "b"))
    assert is_open(ends, 46, 54)


def test_a_hidden_count_that_changed_is_not_narrowed_by_who_knows_its_partner():
    # c: 8, then 5; b stays 32 and was hidden with it; a grows by 20. Who knows of b has c now = c before - 3, so that
    # c before would be 3 or more, were the total shown.
    old, new = with_total(40, 32, 8), with_total(60, 32, 5)
    before, found = next_version(old, new)
    for version in (0, 1):
        assert is_open(work_out([before, printed(new, found)], AREAS, ("b",), (version, "c")))
    careless = dict.fromkeys(before.hidden, Hidden.SOME_SMALL)
    assert not is_open(work_out([before, printed(new, careless)], AREAS, ("b",), (0, "c")))


COUNTS = st.lists(st.integers(0, 40), min_size=3, max_size=3)


def least_cost(numbers, sums, kinds):
    """The least sum that must be hidden in words of the same kind, by trying every set: an oracle."""
    small = {key for key, number in numbers.items() if 0 < number < 10}
    others = [key for key, number in numbers.items() if number and key not in small]
    apart = Hidden.SOME_SMALL not in kinds.values()
    costs = []
    for size in range(len(others) + 1):
        for chosen in itertools.combinations(others, size):
            words = dict.fromkeys(small, Hidden.SMALL if apart else Hidden.SOME_SMALL)
            words |= dict.fromkeys(chosen, Hidden.COMPLEMENT if apart else Hidden.SOME_SMALL)
            document = printed(numbers, words)
            if all(is_open(work_out([document], sums, (), (0, key))) for key in small):
                costs.append(sum(numbers[key] for key in chosen))
    return min(costs)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(COUNTS)
def test_hidden_numbers_are_open_and_cost_the_least(counts):
    numbers = with_total(*counts)
    kinds = hide_numbers(numbers, AREAS)
    small = {key for key, number in numbers.items() if 0 < number < 10}
    assert small <= set(kinds) and all(numbers[key] for key in kinds)
    for key in small:
        assert is_open(work_out([printed(numbers, kinds)], AREAS, (), (0, key)))
    if small:
        assert sum(numbers[key] for key in kinds if key not in small) == least_cost(numbers, AREAS, kinds)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(COUNTS, COUNTS.flatmap(lambda more: st.tuples(*(st.sampled_from([0, 0, one - 20]) for one in more))))
def test_two_versions_give_no_small_count_and_no_small_change_away(counts, more):
    old = with_total(*counts)
    new = with_total(*(max(0, one + step) for one, step in zip(counts, more, strict=True)))
    before, found = next_version(old, new)
    documents = [before, printed(new, found)]
    alone = {key: work_out([before], AREAS, (), (0, key)) for key in before.hidden}
    same = [key for key in old if old[key] == new[key]]  # the reader knows every number that was not corrected
    for key, number in new.items():
        if 0 < number < 10:
            assert is_open(work_out(documents, AREAS, same, (1, key)))
        change = number - old[key]
        if 0 < abs(change) < 10 and key in before.shown:
            ends = sorted((old[key] + math.copysign(1, change), old[key] + math.copysign(9, change)))
            assert is_open(work_out(documents, AREAS, same, (1, key)), max(0, ends[0]), max(0, ends[1]))
    for key, (low, high) in alone.items():
        if max(low, 1) <= min(high, 9):
            assert is_open(work_out(documents, AREAS, same, (0, key)), max(low, 1), min(high, 9))
