"""Tanks, rain and storage: worked rows of a table of school hygiene values, each with its source, else by hand.

R = the rule was read in its source, A = arithmetic. Balances are derived by hand, no outside source.
"""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measures.frames_by_hand import fittings, frame, long_weeks, occasions, school_days, unit_weeks, units, week
from tracker.measures import flush, visits, water
from tracker.measures.cleaning_water import PLANNED, Cleaning, cleaning_taken, unit_week_cleaning
from tracker.measures.figure import Figure
from tracker.measures.flush import LongShare
from tracker.measures.intervals import sum_u
from tracker.measures.manual_flush import ManualFlush, side_by_side_ml, with_manual_flush
from tracker.measures.tanks import (
    RUNOFF,
    Runoff,
    dry_season_l,
    fresh_water,
    level_change,
    level_change_u,
    level_l,
    rain_caught,
    reliable_tank_l,
    storage_days,
    storage_needed_l,
    tank_balances,
    water_by_source,
)
from tracker.vocabulary import Basis, Every, WaterSource

# How much to store


@pytest.mark.parametrize(
    ("days", "litres", "expected"),
    [(3, 25_380, 26_000), (2, 16_920, 17_000), (1, 8_460, 9_000)],  # R tank.3d: published example, rounded up
)
def test_storage_of_a_school_of_940_people(days, litres, expected):
    people = 300 + 500 + 100 + 40
    assert storage_needed_l(people, 9, days) == expected
    assert storage_needed_l(people, 9, days, round_to=1) == litres
    assert storage_days(litres, people, 9) == pytest.approx(days)


def test_storage_that_is_exact_is_not_rounded_up_further():
    assert storage_needed_l(1000, 0.1, 10) == 1000
    assert storage_needed_l(0, 9, 3) == 0
    assert storage_days(5000, 0, 9) is None
    with pytest.raises(ValueError, match="below 0"):
        storage_needed_l(-1, 9, 3)


def test_storage_over_25_dry_days():
    # R rwh.dem: 20 L × 6 people × 25 dry days = 3,000 L (published example).
    assert dry_season_l(20, 6, 25) == 3000


def test_yield_of_a_roof_in_a_year():
    # R rwh.yield: 100 m² × 0.611 m × 0.85 = 51.935 m³; 51.0 if the rain is cut to 0.60 m.
    iron = Runoff(0.85, 0.80, 0.85, "example")
    figure = rain_caught(100, 611, iron)
    assert (figure.value, figure.low) == pytest.approx((51_935, 48_880))
    assert rain_caught(100, 600, iron).value == pytest.approx(51_000)
    assert figure.basis is Basis.ESTIMATED
    assert all(runoff.low < runoff.value < runoff.high for runoff in RUNOFF.values())
    with pytest.raises(ValueError, match="below 0"):
        rain_caught(-1, 600, iron)


def test_tank_that_serves_on_95_of_100_days():
    # R rwh.rel: A 200 m², R 700 mm, D 17,520 L: x 0.12514, y 0.5321, tank 1,505 L.
    assert reliable_tank_l(200, 700, 17_520) == pytest.approx(1505, abs=0.5)
    with pytest.raises(ValueError, match="more than all the rain"):
        reliable_tank_l(10, 100, 1001)
    with pytest.raises(ValueError, match="above 0"):
        reliable_tank_l(0, 100, 1)


def test_losses_are_input_less_authorised_use_and_what_is_not_real_is_apparent():
    # R iwa.loss: input 10,000 L, authorised 8,600 L, real loss 900 L: water losses 1,400; apparent 500 L.
    losses = fresh_water(Figure(10_000.0, "L", Basis.METERED), Figure(8_600.0, "L", Basis.METERED))
    assert losses.value == 1_400
    assert fresh_water(losses, Figure(900.0, "L", Basis.METERED)).value == 500


# Published sums of uncertainties


def test_a_micrometers_uncertainties_in_quadrature():
    # WAT-03 (read): 0.00033, 0.00029, 0.00025 mm: 0.00050547 (the source prints 0.00051); with k = 2 about 0.0010.
    u = sum_u([0.00033, 0.00029, 0.00025])
    assert u == pytest.approx(0.00050547, abs=1e-7)
    assert round(2 * u, 4) == 0.0010


def test_an_end_gauges_uncertainties_in_quadrature():
    # WAT-04, JCGM 100:2008 H.1 (from memory; arithmetic recomputed): 25, 9.7, 2.9, 16.6 nm: 31.671, printed 32.
    u = sum_u([25, 9.7, 2.9, 16.6])
    assert u == pytest.approx(31.671, abs=1e-3)
    assert round(u) == 32


# Levels and balances


def test_a_level_in_quarters_is_known_to_an_eighth_either_way():
    assert level_l(2, 8000) == (4000, 3000, 5000)
    assert level_l(0, 8000) == (0, 0, 1000)
    assert level_l(4, 8000) == (8000, 7000, 8000)
    rise = level_change(3, 1, 8000)
    assert (rise.value, rise.low, rise.high) == (-4000, -6000, -2000)
    assert "eighth" in rise.note
    with pytest.raises(ValueError, match="quarters"):
        level_l(5, 8000)


def test_the_uncertainty_of_a_rise_is_that_of_two_rectangles():
    # Half-range 125 L: 125/√3 each, √2 of it. Checked by draws.
    drawn = np.random.default_rng(5).uniform(-125, 125, (200_000, 2))
    assert level_change_u(1000) == pytest.approx(math.sqrt(2) * 125 / math.sqrt(3))
    assert level_change_u(1000) == pytest.approx((drawn[:, 1] - drawn[:, 0]).std(), rel=0.01)


def levels(*rows):
    """(day of the first week, quarters)."""
    return frame([{"day": week(1) + timedelta(days=d), "quarters": q} for d, q in rows], ["day", "quarters"])


def inflows(*rows):
    """(day of the first week, origin, litres)."""
    named = [{"day": week(1) + timedelta(days=d), "origin": o, "ml": v * 1000, "u_rel": None} for d, o, v in rows]
    made = frame(named, ["day", "origin", "ml", "u_rel"])
    return made.assign(u_rel=made["u_rel"].astype("float64"))


def use(*rows):
    """(day of the first week, litres), 10 %."""
    named = [{"day": week(1) + timedelta(days=d), "ml": v * 1000, "u_ml": v * 100} for d, v in rows]
    return frame(named, ["day", "ml", "u_ml"])


def test_deliveries_rain_and_mains_less_the_rise_against_the_model():
    # Tank of 2000 L, half to a quarter full: rise −500. In: 1000 tanker + 400 rain + 600 mains = 2000 in two days.
    # Use 2 × 600. 2000 + 500 − 1200 = 1300. u_in = 5 % each source: √(50² + 20² + 30²); u_level = √2·250/√3;
    # u_use = 120. 1300 is beyond 2 u.
    found = tank_balances(
        7,
        2000,
        levels((0, 2), (2, 1)),
        inflows((1, "tanker", 1000), (2, "rain", 400), (2, "mains", 600), (0, "tanker", 9999)),
        use((1, 600), (2, 600)),
    )
    assert len(found) == 1
    one = found[0]
    assert (one.came_in.value, one.rise.value, one.modelled.value, one.unexplained.value) == (2000, -500, 1200, 1300)
    u = math.hypot(50, 20, 30, math.sqrt(2) * 250 / math.sqrt(3), 120)
    assert (one.unexplained.high - 1300) / 1.96 == pytest.approx(u)
    assert one.query
    assert one.sources[WaterSource.RAIN].value == 400
    assert one.sources[WaterSource.RECOVERED].value is None
    assert one.sources[WaterSource.MAINS].basis is Basis.METERED
    assert "leak" not in one.unexplained.note


def test_a_rest_within_two_standard_uncertainties_asks_for_nothing():
    one = tank_balances(7, 8000, levels((0, 2), (1, 2)), inflows((1, "rain", 900)), use((1, 600)))[0]
    assert (one.unexplained.value, one.query) == (300, False)
    # The same litres in a small tank, whose level is known better: 300 against u = √(45² + (√2·12.5/√3)² + 60²).
    small = tank_balances(7, 100, levels((0, 2), (1, 2)), inflows((1, "rain", 900)), use((1, 600)))[0]
    assert small.query


def test_a_day_of_use_that_was_not_recorded_leaves_the_rest_unknown():
    one = tank_balances(7, 2000, levels((0, 2), (2, 1)), inflows((1, "rain", 100)), use((1, 600)))[0]
    assert (one.modelled.value, one.unexplained.value, one.query) == (None, None, False)
    assert (one.modelled.used, one.modelled.expected) == (1, 2)
    assert tank_balances(7, 2000, levels((0, 2)), inflows(), use()) == []


def test_an_origin_that_is_not_known_is_refused():
    with pytest.raises(ValueError, match="sea"):
        tank_balances(7, 2000, levels((0, 2), (1, 1)), inflows((1, "sea", 100)), use((1, 600)))


def test_recovered_water_is_a_source_of_its_own_and_comes_off_what_was_taken():
    sources = water_by_source(inflows((1, "recovered", 30), (2, "recovered", 10), (1, "mains", 60)))
    # 40 L recovered, 5 % of all of it (one error): ± 3.92; taken 100 ± 10: 60 ± √(10² + 3.92²).
    assert (sources[WaterSource.RECOVERED].value, sources[WaterSource.TANKER].value) == (40, None)
    fresh = fresh_water(Figure(100.0, "L", Basis.MODELLED, 90.0, 110.0), sources[WaterSource.RECOVERED])
    assert fresh.value == 60
    assert fresh.high - 60 == pytest.approx(math.hypot(10, 3.92))
    assert fresh_water(fresh, sources[WaterSource.TANKER]).value is None


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 4), min_size=2, max_size=6), st.lists(st.integers(0, 900), min_size=5, max_size=5))
def test_balances_in_a_row_add_up_to_the_balance_of_the_whole(quarters, litres):
    marks = levels(*enumerate(quarters))
    last = len(quarters) - 1
    came = inflows(*((day, "rain", litres[day - 1]) for day in range(1, last + 1)))
    drawn = use(*((day, 100) for day in range(1, last + 1)))
    parts = tank_balances(7, 1000, marks, came, drawn)
    whole = tank_balances(7, 1000, marks.iloc[[0, -1]], came, drawn)[0]
    assert sum(part.rise.value for part in parts) == pytest.approx(whole.rise.value)
    assert sum(part.unexplained.value for part in parts) == pytest.approx(whole.unexplained.value)
    assert sum(part.came_in.value for part in parts) == pytest.approx(sum(litres[:last]))


# A flush by hand beside the automatic one


def rows_of_flush(count=100, **fit):
    assumed = LongShare(0.2, 0.1, 0.4)
    given_frames = {"long_weeks": long_weeks(), "school_days": school_days(1, 2), "assumed": assumed}
    return flush.unit_week_water(unit_weeks((1, 1, count), (1, 2, count)), units({}), fittings(fit), **given_frames)


WEEKS = occasions((1, 1, 10, 5), (1, 2, 10, 5))


def test_a_quarter_of_the_visits_flushed_by_hand():
    # 100 visits: 75 × 3 L + 25 × 6 L = 375 L; by hand as well: 300 + 150 = 450 L. Bounds of the share 10 and 50 %:
    # 330 and 450 L.
    rows = rows_of_flush(ml=3000, u_permille=0)
    share = LongShare(0.25, 0.10, 0.50)
    found = with_manual_flush(rows, {1: ManualFlush(6000, share, u_rel=0.0, until_day=week(1))})
    assert found["ml"].tolist() == [375_000, 300_000]
    assert found.loc[0, ["below_ml", "above_ml"]].tolist() == pytest.approx([45_000, 75_000])
    assert found["visits"].tolist() == rows["visits"].tolist()
    both = with_manual_flush(rows, {1: ManualFlush(6000, share, instead=False)})
    assert both["ml"].tolist() == [450_000, 450_000]
    figure = water.water_taken(found, visits.expected_unit_weeks(units({}), WEEKS))
    assert (figure.value, figure.low, figure.high) == pytest.approx((675, 630, 750))
    assert water.litres_per_visit(found, visits.expected_unit_weeks(units({}), WEEKS)).value == pytest.approx(3.375)


def test_litres_of_both_flushes_err_on_their_own():
    # 75 × 3 L (3 %) and 25 × 6 L (10 %): √(6.75² + 15²) of 375 L.
    found = with_manual_flush(rows_of_flush(ml=3000), {1: ManualFlush(6000, LongShare(0.25, 0.25, 0.25))})
    assert found.loc[0, "u_rel"] * 375 == pytest.approx(math.hypot(6.75, 15))
    assert "by hand ml 6000 claim" in found.loc[0, "fitting"]


def test_other_units_and_other_parts_stay_as_they_are():
    rows = rows_of_flush(ml=3000)
    pd.testing.assert_frame_equal(with_manual_flush(rows, {2: ManualFlush(6000, LongShare(1, 1, 1))}), rows)
    with pytest.raises(ValueError, match="bounds"):
        ManualFlush(6000, LongShare(0.5, 0.6, 0.7))
    with pytest.raises(ValueError, match="share"):
        side_by_side_ml(1, 2, 1.5)


@given(st.integers(0, 9000), st.integers(0, 9000), st.floats(0, 1), st.booleans())
def test_litres_lie_between_the_two_rules_and_never_fall_with_either(automatic, manual, share, instead):
    found = side_by_side_ml(automatic, manual, share, instead=instead)
    if instead:
        assert min(automatic, manual) - 1e-9 <= found <= max(automatic, manual) + 1e-9
    else:
        assert automatic <= found <= automatic + manual + 1e-9
    assert side_by_side_ml(automatic + 1, manual, share, instead=instead) >= found
    assert side_by_side_ml(automatic, manual + 1, share, instead=instead) >= found


# Cleaning cycles


def cleaned(plans, counted=None, days=None):
    due = visits.expected_unit_weeks(units({}), WEEKS)
    held = school_days(1, 2) if days is None else days
    return unit_week_cleaning(due, held, {1: plans}, counted), due


def test_cycles_by_day_and_by_week():
    # Week 1: 5 days × 2 × 4 L = 40 L and one weekly 30 L; week 2 has 3 school days: 24 L and 30 L. 124 L.
    days = pd.concat([school_days(1), school_days(2, per_week=3)])
    rinse, weekly = Cleaning("rinse", 4000, 2), Cleaning("weekly cycle", 30_000, 1, Every.WEEK, u_rel=0.03)
    rows, due = cleaned([rinse, weekly], days=days)
    assert rows["ml"].tolist() == [40_000, 30_000, 24_000, 30_000]
    figure = cleaning_taken(rows, len(due))
    assert (figure.value, figure.used, figure.expected, figure.basis) == (124, 2, 2, Basis.MODELLED)
    assert figure.high - 124 == pytest.approx(1.96 * math.hypot(6.4, 1.8))
    assert figure.note == PLANNED
    assert math.fsum(part.value for part in figure.parts) == figure.value


def test_counted_cycles_go_before_the_plan_and_a_plan_has_its_days():
    counted = frame(
        [{"unit_id": 1, "week": week(1), "cleaning": "rinse", "cycles": 3}], ["unit_id", "week", "cleaning", "cycles"]
    )
    rows, _ = cleaned([Cleaning("rinse", 4000, 2, from_day=week(2) + timedelta(days=3))], counted)
    assert rows["ml"].tolist() == [12_000, 2 * 2 * 4000]
    assert rows["counted"].tolist() == [True, False]
    assert cleaning_taken(rows[rows["counted"]]).note == ""


def test_without_a_plan_nothing_is_known():
    rows, due = cleaned([])
    assert cleaning_taken(rows, len(due)).value is None
    with pytest.raises(ValueError, match="below 0"):
        Cleaning("rinse", -1, 2)
