"""Shares of grants: never more than the whole, and nothing claimed twice. Worked by hand; no outside source."""

from __future__ import annotations

import math
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracker.measures.figure import Figure, Part
from tracker.measures.grant_share import (
    LIMITS_NOTE,
    NOT_UNDER,
    GrantShare,
    attribute,
    check_shares,
    claim_pupils,
    day_weights,
)
from tracker.vocabulary import Basis

WEEK = date(2031, 1, 6)  # a Monday


def week(number: int) -> date:
    return WEEK + timedelta(weeks=number - 1)


def share(grant="G1", permille=500, *, school="S1", start=date(2030, 1, 1), end=None) -> GrantShare:
    return GrantShare(school, grant, permille, start, end)


def visits(*parts, **more) -> Figure:
    """(school, number of the week, value)."""
    made = tuple(Part(s, week(n), float(v)) for s, n, v in parts)
    return Figure(math.fsum(p.value for p in made), "visits", Basis.COUNTED, parts=made, **more)


def values(found) -> dict[str, float | None]:
    return {grant: figure.value for grant, figure in found.items()}


def keys_of(figure: Figure):
    return [(part.school, part.week) for part in figure.parts]


# Shares


def test_shares_that_fill_the_school_are_taken_and_one_more_is_not():
    check_shares([share("G1", 600), share("G2", 400)])
    with pytest.raises(ValueError, match=r"At school S1 .* 1001 thousandths on 2031-02-03: G1 \(600\), G2 \(401\)"):
        check_shares([share("G1", 600), share("G2", 401, start=date(2031, 2, 3))])


def test_a_grant_that_ends_makes_room_from_the_next_day_on():
    # G1 holds through 31 January, its last day.
    ended = share("G1", 700, end=date(2031, 1, 31))
    check_shares([ended, share("G2", 700, start=date(2031, 2, 1))])
    with pytest.raises(ValueError, match="1400 thousandths on 2031-01-31"):
        check_shares([ended, share("G2", 700, start=date(2031, 1, 31))])


def test_shares_of_other_schools_do_not_count():
    check_shares([share("G1", 1000), share("G2", 1000, school="S2")])


def test_one_grant_has_one_share_of_a_school_on_a_day():
    with pytest.raises(ValueError, match="a grant has two shares on 2031-01-06"):
        check_shares([share("G1", 300), share("G1", 300, start=WEEK)])
    check_shares([share("G1", 300, end=date(2031, 1, 5)), share("G1", 500, start=WEEK)])


@pytest.mark.parametrize("permille", [0, -5, 1001])
def test_a_share_that_is_none_or_more_than_the_school_is_refused(permille):
    with pytest.raises(ValueError, match="1 to 1000"):
        share(permille=permille)


def test_a_share_that_ends_before_it_begins_is_refused():
    with pytest.raises(ValueError, match="before it begins"):
        share(start=WEEK, end=WEEK - timedelta(days=1))
    with pytest.raises(ValueError, match="cannot be called"):
        share(NOT_UNDER)


def test_a_share_that_begins_on_wednesday_has_three_of_five_school_days():
    days = [WEEK + timedelta(days=n) for n in range(5)]
    assert day_weights([share(permille=1000, start=days[2])], days) == {"G1": 3000, NOT_UNDER: 2000}


# Attribution


def test_a_week_is_shared_by_its_school_days():
    # 100 visits; 1000 ‰ from Wednesday on: 60 of 100 by five school days. By seven days it would be 71 or 72.
    days = {"S1": [WEEK + timedelta(days=n) for n in range(5)]}
    late = [share(permille=1000, start=WEEK + timedelta(days=2))]
    found = attribute(visits(("S1", 1, 100)), late, [("S1", WEEK)], school_days=days)
    assert values(found) == {"G1": 60, NOT_UNDER: 40}
    assert values(attribute(visits(("S1", 1, 100)), late, [("S1", WEEK)])) == {"G1": 71, NOT_UNDER: 29}


def test_one_unit_a_week_is_not_always_given_to_the_larger_share():
    # 400 ‰ of 1 a week for ten weeks is 4. Rounding each week for itself gives 0.
    ten = visits(*(("S1", n, 1) for n in range(1, 11)))
    found = attribute(ten, [share(permille=400)], keys_of(ten))
    assert values(found) == {"G1": 4, NOT_UNDER: 6}


def test_a_grant_gets_nothing_of_a_week_after_its_end():
    # Week 1: 1 visit at 400 ‰ leaves G1 0.4 behind; in week 2 it does not hold and may not catch up.
    two = visits(("S1", 1, 1), ("S1", 2, 5))
    found = attribute(two, [share(permille=400, end=week(2) - timedelta(days=1))], keys_of(two))
    assert values(found) == {"G1": 0, NOT_UNDER: 6}
    assert (found["G1"].used, found["G1"].expected, found[NOT_UNDER].expected) == (1, 1, 2)


def test_missing_weeks_lower_the_completeness_of_those_that_hold_there():
    expected = [("S1", week(1)), ("S1", week(2)), ("S2", week(1))]
    found = attribute(visits(("S1", 1, 10)), [share(), share("G2", 1000, school="S2")], expected)
    assert (found["G1"].value, found["G1"].used, found["G1"].expected) == (5, 1, 2)
    assert (found["G2"].value, found["G2"].used, found["G2"].expected) == (None, 0, 1)
    assert list(found) == ["G1", "G2", NOT_UNDER]


def test_a_figure_that_is_not_recorded_gives_nothing_to_anybody():
    nothing = Figure(None, "visits", Basis.COUNTED, expected=1, about_people=True)
    found = attribute(nothing, [share()], [("S1", WEEK)])
    assert values(found) == {"G1": None, NOT_UNDER: None} and found["G1"].about_people


def test_zero_is_shared_as_zero():
    assert values(attribute(visits(("S1", 1, 0)), [share()], [("S1", WEEK)])) == {"G1": 0, NOT_UNDER: 0}


def test_litres_are_shared_in_parts_and_their_limits_in_proportion():
    # 250 ‰ of 10.5 L = 2.625 L; limits 9.5 to 12.5 → 2.375 to 3.125.
    litres = Figure(10.5, "L", Basis.MODELLED, 9.5, 12.5, parts=(Part("S1", WEEK, 10.5),))
    found = attribute(litres, [share(permille=250)], [("S1", WEEK)], whole=False)["G1"]
    assert (found.value, found.low, found.high, found.basis) == (2.625, 2.375, 3.125, Basis.MODELLED)
    assert LIMITS_NOTE in found.note


def test_a_mean_or_a_part_of_a_thing_is_refused():
    mean = Figure(0.5, "share", Basis.COUNTED, parts=(Part("S1", WEEK, 3.0),))
    with pytest.raises(ValueError, match="cannot be attributed"):
        attribute(mean, [], [])
    with pytest.raises(ValueError, match="not a whole number"):
        attribute(visits(("S1", 1, 2.5)), [], [])
    with pytest.raises(ValueError, match="1200 thousandths"):
        attribute(visits(("S1", 1, 2)), [share("G1", 600), share("G2", 600)], [])


@st.composite
def agreed(draw):
    """Shares of two schools by period that never give away more than the whole, and counts of eight weeks."""
    shares = []
    for school in ("S1", "S2"):
        start = WEEK - timedelta(days=3)
        for _ in range(draw(st.integers(1, 3))):
            end = start + timedelta(days=draw(st.integers(0, 30)))
            left = 1000
            for grant in draw(st.lists(st.sampled_from(["G1", "G2", "G3"]), unique=True)):
                if left:
                    permille = draw(st.integers(1, left))
                    left -= permille
                    shares.append(GrantShare(school, grant, permille, start, end))
            start = end + timedelta(days=1)
    counts = st.integers(0, 40)
    return shares, visits(*((s, n, draw(counts)) for s in ("S1", "S2") for n in range(1, 9)))


@settings(max_examples=200, deadline=None)
@given(agreed())
def test_what_the_grants_get_and_what_none_gets_is_the_figure_again(case):
    shares, figure = case
    found = attribute(figure, shares, keys_of(figure))
    assert sum(one.value for one in found.values()) == figure.value
    got: dict = {}
    for grant, one in found.items():
        assert sum(part.value for part in one.parts) == one.value
        for part in one.parts:
            assert part.value >= 0 and part.value == int(part.value)
            got.setdefault((part.school, part.week), {})[grant] = part.value
    strayed: dict = {}
    for part in figure.parts:
        mine = [one for one in shares if one.school == part.school]
        weights = day_weights(mine, [part.week + timedelta(days=n) for n in range(7)])
        assert sum(got[part.school, part.week].values()) == part.value
        assert set(got[part.school, part.week]) == set(weights)  # nothing to a grant that does not hold
        for grant, weight in weights.items():
            exact = Fraction(int(part.value) * weight, sum(weights.values()))
            key = (part.school, grant)
            strayed[key] = strayed.get(key, 0) + exact - Fraction(got[part.school, part.week][grant])
    assert all(abs(gap) < 4 for gap in strayed.values())  # G1, G2, G3 and none


@settings(max_examples=100, deadline=None)
@given(agreed(), st.lists(st.integers(0, 500) | st.none(), min_size=2, max_size=2))
def test_pupils_are_claimed_once(case, counts):
    shares, _ = case
    found = claim_pupils(dict(zip(("S1", "S2"), counts, strict=True)), shares, WEEK, WEEK + timedelta(days=60))
    known = [count for count in counts if count is not None]
    assert sum(one.value for one in found.values() if one.value is not None) == sum(known)
    assert all(one.about_people and one.parts == () for one in found.values())


# Pupils


def test_pupils_of_two_funders_at_one_school_are_not_claimed_by_both():
    # 333 pupils at 600 and 400 ‰: 199.8 and 133.2 → 200 and 133. Each claiming all would be 666.
    found = claim_pupils({"S1": 333}, [share("G1", 600), share("G2", 400)], WEEK, week(10))
    assert values(found) == {"G1": 200, "G2": 133}
    assert (found["G1"].used, found["G1"].expected, found["G1"].records) == (1, 1, "schools")


def test_a_small_share_of_many_schools_is_not_rounded_away():
    # 100 ‰ of 3 pupils at ten schools is 3; rounded school by school it is 0.
    schools = {f"S{n}": 3 for n in range(10)}
    found = claim_pupils(schools, [share(permille=100, school=s) for s in schools], WEEK, week(2))
    assert values(found) == {"G1": 3, NOT_UNDER: 27}


def test_a_grant_of_half_the_period_claims_half():
    half = share(permille=1000, start=WEEK, end=WEEK + timedelta(days=6))
    assert values(claim_pupils({"S1": 50}, [half], WEEK, WEEK + timedelta(days=13))) == {"G1": 25, NOT_UNDER: 25}


def test_a_school_without_a_number_is_not_recorded_rather_than_zero():
    found = claim_pupils({"S1": None, "S2": 10}, [share(permille=1000)], WEEK, WEEK)
    assert (found["G1"].value, found["G1"].used, found["G1"].expected) == (None, 0, 1)
    assert found[NOT_UNDER].value == 10


def test_a_claim_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="before it begins"):
        claim_pupils({}, [], WEEK, WEEK - timedelta(days=1))
    with pytest.raises(ValueError, match="cannot be negative"):
        claim_pupils({"S1": -1}, [], WEEK, WEEK)
