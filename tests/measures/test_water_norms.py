"""Litres beside published norms: worked rows of a table of school hygiene values, each with its source.

R = the rule was read in its source, M = from memory, A = arithmetic.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.measures.figure import Figure, not_recorded
from tracker.measures.water_norms import GALLON_L, NORMS, Against, Per, beside, choose, day_need_l
from tracker.vocabulary import Basis


@pytest.mark.parametrize(
    ("people", "codes", "expected"),
    [
        (520, ["who09.w.day", "who09.w.pour"], (3_380, 4_160)),  # 500 pupils + 20 staff, pour-flush: M who09.w.*
        (520, ["who09.w.day", "who09.w.flush"], (7_800, 13_000)),  # flush, no anal washing: M who09.w.*
        (500, ["is1172.day"], (22_500, 22_500)),  # M is1172.day
        (500, ["sph18.sch.w"], (1_500, 1_500)),  # M sph18.sch.w, toilets excluded
    ],
)
def test_litres_a_day_by_the_chosen_norms(people, codes, expected):
    assert day_need_l(people, codes) == pytest.approx(expected)


def test_flush_limits_in_litres():
    # A: 1.28 gal; 1.6 gal = 4.845 L; 6.057 L (1 gal = 3.785412 L).
    assert NORMS["us.ws"].high == pytest.approx(4.845, abs=5e-4)
    assert NORMS["us.gpf"].high == pytest.approx(6.057, abs=5e-4)
    assert GALLON_L == 3.785412


def test_a_dual_flush_of_0_8_and_1_6_gallons_is_below_the_limit():
    # R us.dual, us.dual.lim: (1.6 + 2 × 0.8) ÷ 3 = 1.0667 gal, limit 1.28: passes. A single flush of 1.6 gal does not.
    average = (1.6 + 2 * 0.8) / 3 * GALLON_L
    places = [
        beside(Figure(litres, "L per visit", Basis.MODELLED), ["us.ws"])[0].place
        for litres in (average, 1.6 * GALLON_L)
    ]
    assert places == [Against.BELOW, Against.ABOVE]


def test_every_norm_says_where_it_comes_from_and_whether_it_was_read():
    for code, norm in NORMS.items():
        assert norm.code == code and norm.source and norm.scope and 0 < norm.low <= norm.high
        assert norm.how_known == ("read in its source" if norm.confirmed else "from memory, not confirmed")
    from_memory = {code for code, norm in NORMS.items() if not norm.confirmed}
    assert from_memory == {
        *("who09.w.day", "who09.w.res", "who09.w.flush", "who09.w.pour", "who09.w.anal"),
        *("sph18.sch.w", "is1172.day", "is1172.board", "us.urinal", "vac"),
    }


@pytest.mark.parametrize(
    ("low", "value", "high", "place"),
    [
        (None, 0.9, None, Against.BELOW),
        (None, 1.0, None, Against.WITHIN),
        (None, 3.1, None, Against.ABOVE),
        (1.2, 2.0, 2.9, Against.WITHIN),
        (0.8, 2.0, 2.9, Against.OPEN),
        (2.5, 3.5, 4.5, Against.OPEN),
        (3.2, 3.5, 4.5, Against.ABOVE),
        (0.2, 0.5, 0.9, Against.BELOW),
    ],
)
def test_a_figure_beside_a_norm_counts_its_interval(low, value, high, place):
    # Pour flush: 1 to 3 L (Compendium of Sanitation Technologies in Emergencies, read).
    assert beside(Figure(value, "L per visit", Basis.MODELLED, low, high), ["pour.13"])[0].place is place


def test_without_a_figure_there_is_no_place():
    assert beside(not_recorded("L per visit", Basis.MODELLED), ["pour.13"])[0].place is None


def test_a_norm_of_something_else_is_refused():
    with pytest.raises(ValueError, match="L per hand wash"):
        beside(Figure(1.0, "L per visit", Basis.MODELLED), ["hw.01"])
    with pytest.raises(ValueError, match="not per day"):
        day_need_l(10, ["pour.13"])
    with pytest.raises(ValueError, match="known are"):
        choose(["no.such"])
    with pytest.raises(ValueError, match="people"):
        day_need_l(-1, ["is1172.day"])
    figure = Figure(4.0, "L per pupil and school day", Basis.MODELLED)
    assert beside(figure, ["who09.w.day"])[0].norm.per is Per.PERSON_DAY


@given(st.integers(0, 5000), st.integers(0, 500))
def test_more_people_never_need_less(people, more):
    codes = ["who09.w.day", "who09.w.pour", "who09.w.anal"]
    one, two = day_need_l(people, codes), day_need_l(people + more, codes)
    assert two[0] >= one[0] and two[1] >= one[1] and one[1] >= one[0]
