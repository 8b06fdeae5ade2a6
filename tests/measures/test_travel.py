"""Minutes of driving: what people wrote comes first; the straight line is a marked guess."""

from __future__ import annotations

import pytest

from tracker.measures.travel import EARTH_RADIUS_KM, Spot, guess_min, straight_km, travel


def test_a_quarter_of_the_way_round_the_ball_and_one_degree():
    # From the pole to the equator is a quarter of 2πR; one degree is 2πR ÷ 360 (derived by hand, no outside source).
    quarter = 3.141592653589793 * EARTH_RADIUS_KM / 2
    assert straight_km(Spot(1, 90.0, 0.0), Spot(1, 0.0, 17.0)) == pytest.approx(quarter)
    assert straight_km(Spot(1, 0.0, 10.0), Spot(1, 0.0, 11.0)) == pytest.approx(quarter / 90)
    assert straight_km(Spot(1, 0.0, 179.5), Spot(1, 0.0, -179.5)) == pytest.approx(quarter / 90)


def test_the_worked_example_of_the_two_airports():
    # "Aviation formulary" of E. Williams, worked example: 33°57'N 118°24'W to 40°38'N 73°47'W is 2144 nautical miles
    # on a ball where a mile is a minute of arc (from memory).
    miles = straight_km(Spot(1, 33.95, -118.4), Spot(1, 40 + 38 / 60, -(73 + 47 / 60))) / EARTH_RADIUS_KM
    assert miles * 180 * 60 / 3.141592653589793 == pytest.approx(2144, abs=0.5)


def test_minutes_that_people_wrote_come_before_the_straight_line():
    spots = [Spot(1, 0.0, 30.0), Spot(2, 0.0, 31.0)]
    made = travel(spots, {(1, 2): 40})
    assert made.minutes[0, 1] == 40 and not made.guessed.any()
    guess = travel(spots, {})
    assert guess.minutes[1, 0] == guess_min(*spots) == 267  # 111.19 km ÷ 25 km/h × 60 = 266.9, rounded up
    assert guess.guessed[0, 1] and guess.missing == ()


def test_a_pair_without_minutes_and_without_positions_is_named():
    made = travel([Spot(3), Spot(1, 0.0, 30.0), Spot(1)], {(1, 1): 15})
    assert made.missing == ((1, 3),)
    assert made.minutes[1, 2] == 15


def test_both_ways_are_alike_unless_both_are_written():
    spots = [Spot(1), Spot(2), Spot(3)]
    made = travel(spots, {(1, 2): 40, (2, 1): 55, (3, 1): 20, (2, 3): 30})
    assert made.minutes.tolist() == [[0, 40, 20], [55, 0, 30], [20, 30, 0]]
    assert not made.guessed.any()


def test_a_guess_is_never_shorter_than_five_minutes_and_needs_a_speed():
    assert guess_min(Spot(1, 0.0, 30.0), Spot(1, 0.0, 30.0)) == 5
    with pytest.raises(ValueError, match="speed"):
        travel([Spot(1)], {}, kmh=0)
