"""What was used between two counts, worked by hand; rates against the worked examples of their sources."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from tracker.measures.intermittent import DemandClass
from tracker.measures.use import place_demand, school_use, used_between_counts

PLACES = pd.DataFrame({"place_id": [1, 2], "school_id": [7, 7]})
FRIDAYS = ["2026-01-09", "2026-01-16", "2026-01-23", "2026-01-30"]


def days_held(first: str = "2026-01-05", last: str = "2026-01-30") -> pd.DataFrame:
    """Monday to Friday."""
    return pd.DataFrame({"school_id": 7, "day": pd.bdate_range(first, last)})


def counts(left: list[float], days: list[str] = FRIDAYS, place: int = 1) -> pd.DataFrame:
    return pd.DataFrame({"place_id": place, "product_id": 3, "day": pd.to_datetime(days), "left": left})


def moves(*rows: tuple[str, float, float], place: int = 1) -> pd.DataFrame:
    found = pd.DataFrame(rows, columns=["day", "pieces", "given"])
    found["day"] = pd.to_datetime(found["day"])
    return found.assign(place_id=place, product_id=3).astype({"pieces": "float64", "given": "float64"})


def test_used_is_what_was_there_and_came_less_what_is_left():
    # 20 - 14 = 6, of them 4 by name; 14 + 10 - 0 = 24, and nothing left; 0 + 12 - 5 = 7; five school days each
    moved = moves(("2026-01-16", 0, 4), ("2026-01-19", 10, 0), ("2026-01-26", 12, 0))
    found = used_between_counts(counts([20, 14, 0, 5]), moved, PLACES, days_held())
    assert found["used"].tolist() == [6, 24, 7]
    assert found["days"].tolist() == [5, 5, 5]
    assert found["given"].tolist() == [4, 0, 0] and found["ran_out"].tolist() == [0, 1, 0]


def test_a_count_that_was_missed_makes_one_longer_period():
    found = used_between_counts(
        counts([20, 8], [FRIDAYS[0], FRIDAYS[2]]), moves(("2026-01-12", 6, 0)), PLACES, days_held()
    )
    assert found[["days", "used"]].to_numpy().tolist() == [[10, 18]]  # 20 + 6 - 8 over two weeks


def test_what_came_on_the_day_of_the_earlier_count_is_in_that_count():
    found = used_between_counts(counts([20, 14, 14, 14]), moves((FRIDAYS[0], 50, 0)), PLACES, days_held())
    assert found["used"].tolist() == [6, 0, 0]


def test_holidays_and_numbers_that_cannot_be_are_left_out():
    holiday = days_held(last="2026-01-16")  # no school after the second count
    found = used_between_counts(counts([20, 25, 20, 10]), moves(), PLACES, holiday)
    assert found.empty  # 20 - 25 is below 0; the other two periods have no school day


def test_two_places_are_kept_apart():
    both = pd.concat([counts([20, 14, 9, 3]), counts([8, 8, 7, 5], place=2)])
    found = used_between_counts(both, moves(("2026-01-13", 2, 0), place=2), PLACES, days_held())
    assert found.groupby("place_id")["used"].apply(list).to_dict() == {1: [6, 5, 6], 2: [2, 1, 2]}


def periods(used: list[float], out: list[int] | None = None, days: float = 5) -> pd.DataFrame:
    frame = pd.DataFrame({"place_id": 1, "product_id": 3, "school_id": 7, "days": days, "used": used})
    return frame.assign(given=0.0, ran_out=out or [0] * len(used), day=pd.Timestamp("2026-01-09"))


def test_steady_use_is_pieces_over_school_days_with_its_poisson_error():
    (row,) = place_demand(periods([6, 7, 5, 8])).to_dict("records")
    assert row["per_day"] == pytest.approx(26 / 20)
    assert row["se"] == pytest.approx(math.sqrt(26) / 20)  # textbook: the error of a Poisson rate
    assert (row["ratio"], row["kind"], row["periods"]) == (1.0, DemandClass.SMOOTH.value, 4)


def test_use_now_and_then_is_forecast_by_croston_with_the_correction():
    # series and 3.4935483871 of the worked example in measures/intermittent.py, here of weeks of five school days
    (row,) = place_demand(periods([0, 0, 10, 0, 0, 20, 0, 0, 0, 15])).to_dict("records")
    assert row["per_day"] == pytest.approx(3.4935483871 / 5)
    assert row["kind"] == DemandClass.INTERMITTENT.value


def test_periods_that_ran_out_raise_the_rate_and_alone_give_none():
    some = place_demand(periods([6, 7, 5, 6], [0, 0, 0, 1])).to_dict("records")[0]
    assert some["per_day"] > some["at_least"] == pytest.approx(24 / 20)
    every = place_demand(periods([6, 7], [1, 1])).to_dict("records")[0]
    assert math.isnan(every["per_day"]) and every["at_least"] == pytest.approx(13 / 10)


def test_a_schools_demand_is_the_sum_of_its_places():
    rows = [
        {"per_day": 2.0, "se": 0.3, "ratio": 1.0, "at_least": 2.0, "periods": 5, "ran_out": 0, "kind": "smooth"},
        {"per_day": 1.0, "se": 0.4, "ratio": 4.0, "at_least": 1.0, "periods": 3, "ran_out": 1, "kind": "erratic"},
    ]
    (row,) = school_use(pd.DataFrame(rows).assign(school_id=7, product_id=3)).to_dict("records")
    # 0.3² + 0.4² = 0.5²; (1·2 + 4·1) ÷ 3 = 2
    assert (row["per_day"], row["se"], row["ratio"]) == (3.0, pytest.approx(0.5), pytest.approx(2.0))
    assert (row["kind"], row["least"], row["finite"]) == ("smooth", False, True)


def test_a_place_that_always_ran_out_makes_the_sum_a_least_one():
    blank = {"per_day": math.nan, "se": math.nan, "ratio": 1.0, "at_least": 1.5, "periods": 2, "ran_out": 2, "kind": ""}
    (row,) = school_use(pd.DataFrame([blank]).assign(school_id=7, product_id=3)).to_dict("records")
    assert (row["per_day"], row["least"], row["finite"]) == (1.5, True, False)


def test_no_count_gives_tables_with_the_same_columns():
    none = used_between_counts(counts([1], FRIDAYS[:1]).iloc[:0], moves(), PLACES, days_held())
    found = place_demand(none.astype({"place_id": "int64", "product_id": "int64", "school_id": "int64"}))
    assert none.empty and found.empty and {"per_day", "kind"} <= set(found)
    assert school_use(found).empty
