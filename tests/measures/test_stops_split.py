"""Schools divided over vehicle-days: by hand, by need, with the reason of what does not fit, and what always holds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.stops_split import Call, VehicleDay, split
from tracker.vocabulary import LeftOut

OPEN = ((480, 960),)


def open_to(*schools):
    return dict.fromkeys(schools, OPEN)


def day(schools, start=480, hours=8, **rest):
    return VehicleDay(start, hours * 60, open_to(*schools), **rest)


def calls(*loads, stay=10):
    return [Call(stay, (load,), float(len(loads) - at)) for at, load in enumerate(loads)]


# Two near schools in the east (1, 2) and two in the west (3, 4), 60 min from the store, 5 min between neighbours.
TWO_SIDES = [
    [0, 60, 60, 60, 60],
    [60, 0, 5, 120, 120],
    [60, 5, 0, 120, 120],
    [60, 120, 120, 0, 5],
    [60, 120, 120, 5, 0],
]


def test_neighbours_go_together():
    found = split(TWO_SIDES, calls(1, 1, 1, 1), [day([1, 2, 3, 4], hours=3), day([1, 2, 3, 4], hours=3)])
    assert sorted(sorted(one.order) for one in found.days) == [[1, 2], [3, 4]]
    # 60 + 5 + 60 on each side; one walk round all on shortest ways is 60 + 5 + 120 + 5 + 60 = 250 too.
    assert (found.travel_min, found.travel_bound, found.left_out) == (250, 250, {})


def test_each_reason_by_hand():
    # 1 closed; 2 too far (2 × 300 min in 8 hours); 3 asks for 50 where a vehicle holds 40.
    table = [[0, 10, 300, 10], [10, 0, 300, 10], [300, 300, 0, 300], [10, 10, 300, 0]]
    found = split(table, calls(10, 10, 50), [day([2, 3], room=(40,))])
    assert found.left_out == {1: LeftOut.CLOSED, 2: LeftOut.TOO_FAR, 3: LeftOut.TOO_LARGE}
    assert found.days[0].order == () and found.travel_min == found.travel_bound == 0


def test_the_school_of_less_need_is_left_for_want_of_room_stops_or_hours():
    table = [[0, 10, 10], [10, 0, 10], [10, 10, 0]]
    assert split(table, calls(30, 30), [day([1, 2], room=(40,))]).left_out == {2: LeftOut.NO_ROOM}
    assert split(table, calls(30, 30), [day([1, 2], most_stops=1)]).left_out == {2: LeftOut.NO_STOPS}
    tight = VehicleDay(480, 45, open_to(1, 2))  # 10 + 10 + 10 = 30 for one, 10 + 10 + 10 + 10 + 10 = 50 for both
    assert split(table, calls(30, 30), [tight]).left_out == {2: LeftOut.NO_HOURS}


def test_a_school_of_more_need_takes_the_place_of_one_of_less():
    # In order of need: 1 (30) fits beside 2 (10) and not beside 3 (30). 1 and 2 go, 3 is left out.
    table = np.full((4, 4), 10) - 10 * np.eye(4, dtype=int)
    found = split(table, calls(30, 10, 30), [day([1, 2, 3], room=(40,))])
    assert sorted(found.days[0].order) == [1, 2] and found.left_out == {3: LeftOut.NO_ROOM}


def test_two_schools_take_the_place_of_one_that_has_less_need_than_both():
    # A vehicle of 100 min: the far school (need 3) alone takes 45 + 10 + 45 = 100; the near ones (2 and 2) take
    # 10 + 10 + 5 + 10 + 10 = 45, and with the far one nothing else fits.
    table = [[0, 45, 10, 10], [45, 0, 45, 45], [10, 45, 0, 5], [10, 45, 5, 0]]
    wanted = [Call(10, (1,), 3.0), Call(10, (1,), 2.0), Call(10, (1,), 2.0)]
    found = split(table, wanted, [VehicleDay(480, 100, open_to(1, 2, 3))])
    assert sorted(found.days[0].order) == [2, 3] and found.left_out == {1: LeftOut.NO_HOURS}


def test_a_closed_day_sends_the_school_to_the_other_day():
    table = [[0, 10, 10], [10, 0, 1], [10, 1, 0]]
    found = split(table, calls(1, 1), [day([1]), day([2])])
    assert [one.order for one in found.days] == [(1,), (2,)]


def test_no_vehicle_day_and_no_school():
    assert split([[0, 1], [1, 0]], calls(1), []).left_out == {1: LeftOut.CLOSED}
    empty = split([[0]], [], [day([])])
    assert empty.days[0].order == () and empty.left_out == {}


@st.composite
def cases(draw):
    n = draw(st.integers(1, 7))
    table = np.array([[draw(st.integers(0, 120)) for _ in range(n + 1)] for _ in range(n + 1)])
    wanted = [Call(draw(st.integers(0, 40)), (draw(st.integers(0, 30)), 1), draw(st.floats(0, 10))) for _ in range(n)]
    days = []
    for _ in range(draw(st.integers(0, 3))):
        opens = {one: ((at := draw(st.integers(400, 700)), at + draw(st.integers(0, 500))),) for one in range(1, n + 1)}
        opens = {one: openings for one, openings in opens.items() if draw(st.booleans())}
        most = draw(st.none() | st.integers(0, 4))
        days.append(
            VehicleDay(
                480,
                draw(st.integers(0, 700)),
                opens,
                most,
                (draw(st.none() | st.integers(0, 60)), draw(st.none() | st.integers(0, 3))),
            )
        )
    return table, wanted, days


@settings(max_examples=200, deadline=None)
@given(cases())
def test_every_school_is_served_once_within_all_limits_or_named_with_a_reason(case):
    table, wanted, days = case
    found = split(table, wanted, days)
    served = [school for one in found.days for school in one.order]
    assert sorted([*served, *found.left_out]) == list(range(1, len(wanted) + 1))
    assert found.travel_bound <= found.travel_min
    for limits, one in zip(days, found.days, strict=True):
        assert one.back - limits.start <= limits.limit_min
        assert limits.most_stops is None or len(one.order) <= limits.most_stops
        for unit, room in enumerate(limits.room):
            assert room is None or sum(wanted[school - 1].load[unit] for school in one.order) <= room
        for school, begin, leave in zip(one.order, one.begin, one.leave, strict=True):
            assert any(opens <= begin and leave <= closes for opens, closes in limits.windows[school])


@pytest.mark.parametrize("schools", [40])
def test_forty_schools_on_four_days_are_divided_near_the_bound(schools):
    rng = np.random.default_rng(7)
    points = rng.uniform(0, 60, (schools + 1, 2))
    table = np.rint(np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))).astype(int)
    days = [day(range(1, schools + 1), hours=9, most_stops=12) for _ in range(4)]
    found = split(table, [Call(10, (1,), 1.0)] * schools, days)
    assert found.left_out == {}
    assert found.travel_min <= 1.6 * found.travel_bound  # four ways from and to the store are dearer than one tour
