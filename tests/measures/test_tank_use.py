"""Use of a tank by day: derived by hand, no outside source for the definition; quadrature as in JCGM 100:2008."""

import math
from datetime import timedelta

import pandas as pd
import pytest

from tests.measures.frames_by_hand import fittings, frame, long_weeks, occasions, school_days, unit_weeks, units, week
from tracker.measures import flush, visits
from tracker.measures.cleaning_water import Cleaning, beside_visits, unit_week_cleaning
from tracker.measures.flush import LongShare
from tracker.measures.tank_use import TANK_USE, tank_use
from tracker.measures.tanks import tank_balances

HELD = pd.concat([school_days(1), school_days(2, per_week=4)], ignore_index=True)
HELD["week"] = HELD["day"] - pd.to_timedelta(HELD["day"].dt.day_of_week, unit="D")
WEEKS = occasions((1, 1, 10, 5), (1, 2, 8, 4))
BOTH = units({}, {"unit_id": 2, "unit": "G2"})


def water(*counted, units=BOTH, **fit):
    both = fittings({"unit_id": 1, "ml": 4000} | fit, {"unit_id": 2, "ml": 4000} | fit)
    known = {"long_weeks": long_weeks(), "school_days": HELD, "assumed": LongShare(0.2, 0.1, 0.4)}
    return flush.unit_week_water(unit_weeks(*counted), units, both, **known)


def draws(*rows):
    base = {"tank_id": 9, "unit_id": 1, "whole": True, "from_day": week(1) - timedelta(days=400), "until_day": None}
    return frame([base | row for row in rows], list(base))


def cleaning(*plans):
    due = visits.expected_unit_weeks(BOTH, WEEKS)
    return unit_week_cleaning(due, HELD, {1: list(plans)})


def used(scopes, rows, cycles=None, weeks=None):
    cycles = cleaning() if cycles is None else cycles
    return tank_use(scopes, BOTH, rows, cycles, HELD, weeks=weeks or [week(1), week(2)])


def test_litres_of_a_week_lie_on_its_school_days():
    # Unit 1: 100 visits × 4 L = 400 L in week 1, 80 L a school day; 50 visits in week 2 of four days: 50 L a day.
    found = used(draws({}), water((1, 1, 100), (1, 2, 50)))
    assert found["tank_id"].tolist() == [9] * 14
    assert found["ml"].tolist() == [80_000.0] * 5 + [0.0] * 2 + [50_000.0] * 4 + [0.0] * 3


def test_uncertainty_adds_up_over_the_days_of_a_week():
    # One rule measured to 3 %: 400 L and 200 L of two units err together: 0.03 × 600 = 18 L of the week.
    found = used(draws({}, {"unit_id": 2}), water((1, 1, 100), (2, 1, 50)), weeks=[week(1)])
    assert found["u_ml"].sum() == pytest.approx(18_000)
    assert found["ml"].sum() == 600_000


def test_cleaning_is_drawn_too_and_errs_on_its_own():
    # 400 L of visits (3 %: 12 L) and 5 × 2 × 4 L = 40 L of cycles (10 %: 4 L): √(12² + 4²).
    found = used(draws({}), water((1, 1, 100)), cleaning(Cleaning("rinse", 4000, 2)), weeks=[week(1)])
    assert found["ml"].sum() == 440_000
    assert found["u_ml"].sum() == pytest.approx(1000 * math.hypot(12, 4))


@pytest.mark.parametrize(
    "scope",
    [
        {"whole": False},
        {"from_day": week(1) + timedelta(days=1)},
        {"until_day": week(1) + timedelta(days=3)},
    ],
)
def test_a_week_that_is_not_listed_whole_has_no_days(scope):
    assert used(draws(scope), water((1, 1, 100)), weeks=[week(1)]).empty


def test_a_unit_without_a_record_leaves_the_week_unknown_and_the_balance_too():
    scopes, rows = draws({}, {"unit_id": 2}), water((1, 1, 100), (1, 2, 50), (2, 2, 10))
    found = used(scopes, rows)
    assert set(found["day"].dt.date) == {week(2) + timedelta(days=number) for number in range(7)}
    levels = frame([{"day": week(1), "quarters": 4}, {"day": week(2), "quarters": 2}], ["day", "quarters"])
    none = frame([], ["day", "origin", "ml", "u_rel"])
    one = tank_balances(9, 5000, levels, none, found)[0]
    assert (one.unexplained.value, one.query, one.modelled.used, one.modelled.expected) == (None, False, 1, 7)


def test_a_week_without_school_is_known_and_draws_nothing():
    found = used(draws({}), water((1, 1, 100)), weeks=[week(3)])
    assert found["ml"].tolist() == [0.0] * 7


def test_a_tank_without_scopes_has_no_rows_of_the_right_types():
    found = used(draws(), water((1, 1, 100)))
    assert found.empty
    assert found.dtypes.astype(str).to_dict() == TANK_USE


def test_cycles_stand_beside_visits_without_being_visits():
    # A meter sees 400 L of visits and 40 L of cycles; visits stay 100.
    both = beside_visits(water((1, 1, 100)), cleaning(Cleaning("rinse", 4000, 2)).iloc[:1])
    assert (both["ml"].sum(), both["visits"].sum()) == (440_000, 100)
    assert both.dtypes.astype(str).to_dict() == flush.WATER
    rows = water((1, 1, 100))
    assert beside_visits(rows, cleaning()) is rows
