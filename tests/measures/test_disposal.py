"""Disposal routes. No outside source: own definitions, worked by hand. Permits and training follow local rules."""

import inspect

import pandas as pd
import pytest

from tracker.measures import disposal
from tracker.measures.disposal import bin_full_days, burns_total, route_day_states, route_days
from tracker.vocabulary import Basis

MONDAY = pd.Timestamp("2030-01-07")
ROUTE_COLUMNS = ["school_id", "kind", "from_day", "until_day", "permit_until", "operator_until"]


def day(number):
    return MONDAY + pd.Timedelta(days=number)


def routes(*rows):
    frame = pd.DataFrame(rows, columns=ROUTE_COLUMNS)
    return frame.astype({"school_id": "int64", **dict.fromkeys(ROUTE_COLUMNS[2:], "datetime64[us]")})


LATER, EARLIER = day(90), day(-90)


def burn(permit=LATER, operator=LATER, first=EARLIER, last=pd.NaT):
    return (1, "burn", first, last, permit, operator)


def unit_days(*rows):
    frame = pd.DataFrame(rows, columns=["unit_id", "day"])
    return frame.astype({"unit_id": "int64", "day": "datetime64[us]"})


def incinerators(*rows):
    frame = pd.DataFrame(rows, columns=["unit_id", "school_id", "from_day", "until_day"])
    return frame.astype({"unit_id": "int64", "from_day": "datetime64[us]", "until_day": "datetime64[us]"})


STANDING = (5, 1, day(-90), pd.NaT)
WEEK = pd.DataFrame({"school_id": 1, "day": [day(number) for number in range(5)], "week": MONDAY})


def states(route_rows, machines=(STANDING,), out=(), seen=()):
    found = route_day_states(routes(*route_rows), WEEK, incinerators(*machines), unit_days(*out), unit_days(*seen))
    return list(found["state"])


def seen_all():
    return [(5, day(number)) for number in range(5)]


def test_burning_stands_on_days_seen_and_not_out_of_service():
    found = states([burn()], out=[(5, day(1))], seen=[(5, day(0)), (5, day(1)), (5, day(3))])
    assert found == ["stands", "none", "not seen", "stands", "not seen"]


def test_the_last_day_of_a_permit_or_training_still_counts():
    assert states([burn(permit=day(2))], seen=seen_all()) == ["stands"] * 3 + ["none"] * 2
    assert states([burn(operator=day(1))], seen=seen_all()) == ["stands"] * 2 + ["none"] * 3


@pytest.mark.parametrize("missing", [{"permit": pd.NaT}, {"operator": pd.NaT}])
def test_no_paper_on_record_is_no_paper(missing):
    assert states([burn(**missing)], seen=seen_all()) == ["none"] * 5


def test_a_route_counts_from_its_first_to_its_last_day():
    assert states([burn(first=day(1), last=day(3))], seen=seen_all()) == ["none"] + ["stands"] * 3 + ["none"]


def test_burning_without_a_standing_incinerator_is_no_route():
    assert states([burn()], machines=()) == ["none"] * 5
    gone = (5, 1, day(-90), day(1))
    assert states([burn()], machines=[gone], seen=seen_all()) == ["stands"] * 2 + ["none"] * 3


def test_one_working_incinerator_of_two_is_enough():
    second = (6, 1, day(-90), pd.NaT)
    found = states([burn()], machines=[STANDING, second], out=[(5, day(0))], seen=[(6, day(0))])
    assert found[0] == "stands"


@pytest.mark.parametrize("kind", ["collection", "burial", "other"])
def test_other_routes_need_a_permit_but_no_operator(kind):
    assert states([(1, kind, day(-9), pd.NaT, day(3), pd.NaT)], machines=()) == ["stands"] * 4 + ["none"]


def test_the_best_route_of_the_day_counts():
    collection = (1, "collection", day(-9), pd.NaT, day(1), pd.NaT)
    assert states([burn(), collection]) == ["stands"] * 2 + ["not seen"] * 3


def test_a_school_without_a_route_has_none():
    assert states([]) == ["none"] * 5


def test_days_and_share_with_what_the_unseen_days_allow():
    found = route_day_states(
        routes(burn()),
        WEEK,
        incinerators(STANDING),
        unit_days((5, day(1))),
        unit_days((5, day(0)), (5, day(3))),
    )
    figures = route_days(found, WEEK)
    # stands, none, not seen, stands, not seen: 2 of 3 days observed; of all five from 2 to 4.
    assert (figures.days.value, figures.days.low, figures.days.high) == (2, 2, 4)
    assert (figures.days.used, figures.days.expected, figures.days.unit) == (3, 5, "school days")
    assert figures.share.value == pytest.approx(2 / 3)
    assert (figures.share.low, figures.share.high) == (0.4, 0.8)
    assert [(part.school, part.week, part.value) for part in figures.days.parts] == [("1", MONDAY.date(), 2.0)]


def test_days_all_observed_have_no_interval_and_none_observed_no_value():
    seen = route_days(pd.DataFrame({"school_id": [1], "day": [MONDAY], "state": ["stands"]}))
    assert (seen.days.value, seen.days.low, seen.share.value) == (1, None, 1)
    unseen = route_days(pd.DataFrame({"school_id": [1], "day": [MONDAY], "state": ["not seen"]}))
    assert (unseen.days.value, unseen.days.high, unseen.share.value) == (None, 1, None)
    empty = route_days(pd.DataFrame({"school_id": [], "day": [], "state": pd.Series([], dtype="str")}))
    assert (empty.days.value, empty.days.expected) == (None, 0)


def test_burns_are_counted_and_blanks_lower_completeness():
    rows = pd.DataFrame({"unit_id": [5, 5, 6], "week": [MONDAY, day(7), MONDAY], "burns": [3, float("nan"), 0]})
    figure = burns_total(rows, {5: "A", 6: "B"}, expected=4)
    assert (figure.value, figure.unit, figure.basis) == (3, "burns", Basis.COUNTED)
    assert (figure.used, figure.expected) == (2, 4)
    assert sum(part.value for part in figure.parts) == 3
    blank = burns_total(rows.iloc[[1]], {5: "A"}, expected=1)
    assert blank.value is None


def test_full_bins_are_counted_by_reading():
    levels = pd.DataFrame(
        {"unit_id": [9, 9, 9], "school_id": 1, "day": [day(0), day(1), day(2)], "quarters": [4, 3, float("nan")]}
    )
    figure = bin_full_days(levels, expected=5)
    assert (figure.value, figure.used, figure.expected) == (1, 2, 5)
    with pytest.raises(ValueError, match="0 to 4"):
        bin_full_days(levels.assign(quarters=5), expected=3)


def test_no_figure_or_code_speaks_of_napkins_burnt_or_calls_a_route_safe():
    figures = (
        route_days(pd.DataFrame({"school_id": [1], "day": [MONDAY], "state": ["not seen"]})).days,
        burns_total(pd.DataFrame({"unit_id": [], "week": [], "burns": []}), {}, 1),
    )
    assert all("napkin" not in figure.unit for figure in figures)
    public = [name for name, item in inspect.getmembers(disposal) if inspect.isfunction(item)]
    assert not [name for name in public if "napkin" in name or "backlog" in name]
    assert all("safe" not in state.value for state in disposal.RouteState)
