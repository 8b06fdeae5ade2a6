"""A device's counter runs on over its end and over restarts, whatever the order in which readings came."""

from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.measures.feed_counter import Period, low_part, run_on


def periods(readings: list[list[int]], digits: int) -> list[Period]:
    """What is kept of the readings of each period: two maxima."""
    kept = []
    for values in readings:
        low = [value for value in values if low_part(value, digits) is not None]
        kept.append(Period(max(values), max(low) if low else None))
    return kept


@pytest.mark.parametrize(
    ("readings", "values", "restarts"),
    [
        # worked by hand on a dial of three digits
        ([[100], [150, 120], [150]], [100, 150, 150], 0),
        ([[990], [999, 5, 2], [40]], [990, 5, 40], 0),  # over the end within a period
        ([[990], [5]], [990, 5], 0),  # over the end between periods
        ([[500], [20], [30]], [500, 520, 530], 1),  # restarted: 20 since, 500 before
        ([[500], [20], [3]], [500, 520, 523], 2),
        ([[950], [200]], [950, 150], 1),  # from the top, but not into the lowest tenth: a restart; 1150 shows 150
    ],
)
def test_turns_and_restarts_are_told_apart(readings, values, restarts):
    runs = list(run_on(None, periods(readings, 3), 3))
    assert [run.value for run in runs] == values
    assert runs[-1].restarts == restarts


@given(st.lists(st.integers(0, 90), min_size=1, max_size=60), st.integers(0, 999))
def test_a_counter_that_never_restarts_is_followed_over_its_end(steps, start):
    """The oracle counts without an end; steps below a tenth of the range are told apart from restarts for sure."""
    truth = list(accumulate(steps, initial=start))
    runs = list(run_on(None, periods([[value % 1000] for value in truth], 3), 3))
    assert [run.value for run in runs] == [value % 1000 for value in truth]
    assert runs[-1].restarts == 0


@given(st.lists(st.lists(st.integers(0, 999), min_size=1, max_size=4), min_size=1, max_size=8), st.randoms())
def test_order_and_repeats_within_a_period_change_nothing(readings, chance):
    mixed = [chance.sample(values * 2, len(values) * 2) for values in readings]
    assert list(run_on(None, periods(readings, 3), 3)) == list(run_on(None, periods(mixed, 3), 3))


@given(st.lists(st.builds(Period, st.integers(0, 999), st.none()), min_size=2, max_size=10), st.data())
def test_going_on_from_any_period_gives_the_same(kept, data):
    at = data.draw(st.integers(1, len(kept) - 1))
    whole = list(run_on(None, kept, 3))
    assert list(run_on(whole[at - 1], kept[at:], 3)) == whole[at:]
