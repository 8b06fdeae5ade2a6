"""Water: published worked examples where there are any, else worked by hand beside the test.

Sources. WAT-01/02: dual-flush average of two reduced and one full flush, GreenPoint Rated directory note (read: 1.27);
volumes of the second from US Army Corps TechNote 05. WAT-05, 06, 08: derived by hand, no outside source. Weightings of
two-stage flushes: US 2:1 and UK 0.33/0.67 read; 3:1 (EU Ecolabel) and 4:1 (AS/NZS 6400) from memory. Savings of a
family: Smart Approved WaterMark, WELS toilets. Hand washes: Mphephethe PS water audit, 4 Aug 2020. Two-stage flush of
1.5 L up to 3 minutes and 4 L longer, floor wash after every 10 users, vacuum bowl that takes more than a third less:
common practice, no published source.
"""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measures.frames_by_hand import (
    enrolment,
    fittings,
    frame,
    long_weeks,
    occasions,
    readings,
    school_days,
    scopes,
    unit_weeks,
    units,
    week,
)
from tracker.measures import balance, flush, visits, water
from tracker.measures.flush import LongShare, WaterPart, floor_washes, flush_ml
from tracker.measures.intervals import product_u
from tracker.vocabulary import Basis, FittingKind

TWO_STAGE = FittingKind.FLUSH_TWO_STAGE
ASSUMED = LongShare(0.2, 0.1, 0.4)
WEEKS = occasions((1, 1, 10, 5), (1, 2, 10, 5))
TWO_STAGE_ROW = {"kind": "flush_two_stage", "ml": 1500, "long_ml": 4000}


def used_water(weeks, fits, unit_rows=None, **more):
    given_frames = {"long_weeks": long_weeks(), "school_days": school_days(1, 2, 3), "assumed": ASSUMED} | more
    frame_of_units = units({}) if unit_rows is None else unit_rows
    return flush.unit_week_water(weeks, frame_of_units, fits, **given_frames)


def due(unit_rows=None, days=WEEKS):
    return visits.expected_unit_weeks(units({}) if unit_rows is None else unit_rows, days)


# Rules


@pytest.mark.parametrize(
    ("short", "long", "share", "expected", "within"),
    [
        (1.1, 1.6, 1 / 3, 1.2666667, 1e-6),  # WAT-01, gal; the source prints 1.27
        (0.8, 1.6, 1 / 3, 1.0666667, 1e-6),  # WAT-02, gal
        (3.0, 6.0, 1 / 3, 4.0, 1e-9),  # WAT-02, L
        (3.0, 6.0, 1 / 4, 3.75, 1e-9),
        (3.0, 6.0, 1 / 5, 3.6, 1e-9),
        (3.0, 6.0, 0.33, 3.99, 1e-9),
        (3.0, 4.5, 1 / 3, 3.5, 1e-9),
        (3.0, 4.5, 1 / 4, 3.375, 1e-9),
        (3.0, 4.5, 1 / 5, 3.3, 1e-9),
        (3.0, 4.5, 0.33, 3.495, 1e-9),
        (4.5, 9.0, 1 / 3, 6.0, 1e-9),
        (4.5, 9.0, 1 / 4, 5.625, 1e-9),
        (4.5, 9.0, 1 / 5, 5.4, 1e-9),
        (4.5, 9.0, 0.33, 5.985, 1e-9),
    ],
)
def test_effective_flush_of_two_stages(short, long, share, expected, within):
    assert flush_ml(TWO_STAGE, short, long, share) == pytest.approx(expected, abs=within)


def test_two_reduced_and_one_full_flush_in_litres():
    # WAT-02: 0.8 and 1.6 gal, 1 gal = 3.785412 L: 4.037773 L.
    assert flush_ml(TWO_STAGE, 0.8, 1.6, 1 / 3) * 3.785412 == pytest.approx(4.037773, abs=1e-6)


def test_what_is_no_flush_has_no_flush():
    assert flush_ml(FittingKind.FLUSH_NONE, 0, 0, 0.5) == 0
    with pytest.raises(ValueError, match="not a flush"):
        flush_ml(FittingKind.TAP, 100, 0, 0.5)
    with pytest.raises(ValueError, match="share"):
        flush_ml(TWO_STAGE, 1, 2, 1.2)


def test_floor_wash_runs_after_every_ten_users():
    # Common practice, no published source: 27 users, then 6: 2 washes, then 1 (33 users in all, 3 washes).
    assert (floor_washes(0, 27, 10), floor_washes(27, 33, 10)) == (2, 1)
    with pytest.raises(ValueError, match="fall"):
        floor_washes(5, 4, 10)


@given(st.lists(st.floats(0, 500).map(lambda number: round(number, 1)), max_size=30), st.integers(1, 50))
def test_floor_washes_of_any_split_add_up_to_the_whole(parts, every_n):
    running, washes = 0.0, 0
    for part in parts:
        washes += floor_washes(running, running + part, every_n)
        running += part
    assert washes == flush.half_up(running) // every_n


# Litres of a unit and week


def test_two_stage_flush_with_the_share_seen_that_week():
    # Common practice, no published source: 1.5 L up to 3 minutes, 4 L longer. 100 visits, 20 of 80 looked at were
    # long: 100 × (1.5 + 0.25 × 2.5) = 212.5 L.
    rows = used_water(unit_weeks((1, 1, 100)), fittings(TWO_STAGE_ROW), long_weeks=long_weeks((1, 1, 80, 20)))
    assert rows["ml"].tolist() == [212_500]
    assert rows["share_known"].tolist() == [True]


def test_two_stage_flush_by_an_assumed_share_carries_its_bounds():
    # 100 × (1.5 + 0.2 × 2.5) = 200 L; bounds 0.1: 175 L, 0.4: 250 L.
    rows = used_water(unit_weeks((1, 1, 100)), fittings(TWO_STAGE_ROW | {"u_permille": 0}))
    assert rows["ml"].tolist() == [200_000]
    figure = water.water_taken(rows, due())
    assert (figure.value, figure.low, figure.high) == pytest.approx((200, 175, 250))
    assert figure.basis is Basis.MODELLED


def test_all_visits_looked_at_leave_no_doubt_about_the_share():
    rows = used_water(unit_weeks((1, 1, 80)), fittings(TWO_STAGE_ROW), long_weeks=long_weeks((1, 1, 80, 20)))
    assert (rows["below_ml"].item(), rows["above_ml"].item()) == (0, 0)


def test_a_counter_of_long_visits_gives_the_share():
    reads = [{"day": date(2031, 1, 10), "value": 0}, {"day": date(2031, 1, 17), "value": 30}]
    dials = readings(*(row | {"quantity": "long_visits"} for row in reads))
    weeks = unit_weeks((1, 2, 120), way="counter")
    found = flush.with_long_counters(long_weeks((1, 2, 40, 1)), dials, weeks, WEEKS, units({}))
    assert found[["seen", "long"]].values.tolist() == [[120, 30]]
    tallied = flush.with_long_counters(long_weeks((1, 2, 40, 1)), dials, unit_weeks((1, 2, 120)), WEEKS, units({}))
    assert tallied[["seen", "long"]].values.tolist() == [[40, 1]]


def test_a_vacuum_bowl_takes_more_than_a_third_less():
    # Common practice, no published source. Factor 0.65: 100 × 6 L × 0.65 = 390 L, less than two thirds of 600 L.
    rows = used_water(unit_weeks((1, 1, 100)), fittings({}, {"kind": "vacuum", "ml": None, "factor_permille": 650}))
    assert rows["ml"].tolist() == [390_000]
    assert rows["ml"].item() < 600_000 * 2 / 3
    assert rows["u_rel"].item() == pytest.approx(math.hypot(0.03, 0.03))


def test_every_part_of_a_cabins_and_a_taps_water():
    # 25 visits: flush 25 × 6 L; pre-wash 25 × 0.5 L; floor wash after every 10: 2 × 3 L. Tap: 12 washes of 2.5 L
    # (one tank tap, 10 L for 4 pupils) = 30 L.
    both = units({}, {"unit_id": 2, "kind": "tap"})
    fits = fittings(
        {},
        {"kind": "pre_wash", "ml": 500},
        {"kind": "floor_wash", "ml": 3000, "every_n": 10},
        {"unit_id": 2, "kind": "tap", "ml": 2500},
    )
    rows = used_water(unit_weeks((1, 1, 25), (2, 1, 12)), fits, both)
    parts = water.water_parts(rows, due(both))
    litres = {part: figure.value for part, figure in parts.items()}
    assert litres == {
        WaterPart.FLUSH: 150,
        WaterPart.PRE_WASH: 12.5,
        WaterPart.FLOOR_WASH: 6,
        WaterPart.HANDWASH: 30,
    }
    assert water.water_taken(rows, due(both)).value == 198.5
    assert {name: figure.value for name, figure in water.water_by(rows, due(both), "kind").items()} == {
        "cabin": 168.5,
        "tap": 30,
    }


def test_twelve_pupils_washing_at_a_tank_tap_and_at_a_tippy_tap():
    # 12 pupils × 3 washes × 5 days = 180: at 2.5 L 450 L, at 0.0625 L 11.25 L (62.5 mL), saving 438.75 L.
    taps = units({"kind": "tap"}, {"unit_id": 2, "kind": "tap"})
    fits = fittings({"kind": "tap", "ml": 2500}, {"unit_id": 2, "kind": "tap", "ml": 62.5})
    rows = used_water(unit_weeks((1, 1, 180), (2, 1, 180)), fits, taps)
    assert rows["ml"].tolist() == [450_000, 11_250]


def test_a_familys_year_with_three_and_a_half_litres_instead_of_twelve():
    # 4 people × 4 flushes × 365 days × 8.5 L = 49,640 L (source: about 50 kL).
    rows = used_water(unit_weeks((1, 1, 4 * 4 * 365)), fittings({"ml": 3500}))
    assert water.less_than_cistern(rows, due(), 12_000).value == 49_640


def test_floor_washes_carry_over_weeks_also_from_before_the_period():
    # 8, 8 and 8 visits, every 10: running 8, 16, 24: 0, 1, 1 washes; without week 1 the last would be 0 + 1.
    fits = fittings({"kind": "floor_wash", "ml": 3000, "every_n": 10})
    rows = used_water(unit_weeks((1, 1, 8), (1, 2, 8), (1, 3, 8)), fits, period_from=week(2))
    assert rows["ml"].tolist() == [3000, 3000]
    assert rows["week"].dt.date.tolist() == [week(2), week(3)]


def test_sampled_visits_are_rounded_half_up_before_the_floor_wash():
    # 9.5 visits are 10: one wash. 9.4 are 9: none.
    fits = fittings({"kind": "floor_wash", "ml": 3000, "every_n": 10})
    assert used_water(unit_weeks((1, 1, 9.5), way="drawn"), fits)["ml"].tolist() == [3000]
    assert used_water(unit_weeks((1, 1, 9.4), way="drawn"), fits)["ml"].tolist() == [0]


def test_a_retrofit_in_midweek_shares_the_week_by_school_days():
    # 100 visits; 6 L on Monday and Tuesday, 3 L from Wednesday on: 40 × 6 + 60 × 3 = 420 L.
    wednesday = week(1) + timedelta(days=2)
    fits = fittings({"until_day": wednesday - timedelta(days=1)}, {"ml": 3000, "from_day": wednesday})
    rows = used_water(unit_weeks((1, 1, 100), (1, 2, 100)), fits)
    assert rows[["visits", "ml"]].values.tolist() == [[40, 240_000], [60, 180_000], [100, 300_000]]
    assert rows["whole"].all()


def test_days_without_a_flush_have_no_litres_and_the_week_is_not_whole():
    fits = fittings({"until_day": week(1) + timedelta(days=1)})
    figure = water.water_taken(used_water(unit_weeks((1, 1, 100), (1, 2, 50)), fits), due())
    assert (figure.value, figure.used, figure.expected) == (240, 0, 2)


def test_a_cabin_opened_in_midweek_has_all_its_visits_after_that():
    opened = units({"from_day": week(1) + timedelta(days=3)})
    rows = used_water(unit_weeks((1, 1, 40)), fittings({"from_day": week(1) + timedelta(days=3)}), opened)
    assert rows["ml"].tolist() == [240_000]


def test_a_fitting_without_its_litres_is_refused():
    with pytest.raises(ValueError, match="needs ml and every_n"):
        used_water(unit_weeks((1, 1, 1)), fittings({"kind": "floor_wash", "ml": None}))


@given(st.integers(0, 4), st.integers(0, 5000), st.integers(1, 9000))
def test_a_change_to_the_same_litres_loses_nothing(day, number, ml):
    change = week(1) + timedelta(days=day)
    fits = fittings({"ml": ml, "until_day": change - timedelta(days=1)}, {"ml": ml, "from_day": change})
    for visited in (number, number / 3):
        rows = used_water(unit_weeks((1, 1, visited)), fits)
        assert rows["ml"].sum() == flush.half_up(visited * ml)
        assert rows["visits"].sum() == pytest.approx(visited)


# Figures


def test_product_of_flushes_and_litres_has_both_uncertainties():
    # WAT-06, derived by hand: 500 flushes (5 %) × 6 L (3 %) = 3000 L, u = 174.9286 L.
    assert product_u(500, 25, 6, 0.18) == pytest.approx(174.9286, abs=1e-4)
    rows = used_water(unit_weeks((1, 1, 500), way="drawn", var=25.0**2), fittings({}))
    figure = water.water_taken(rows, due())
    assert figure.value == 3000
    assert (figure.high - figure.value) / 1.96 == pytest.approx(174.9286, abs=1e-4)


def test_one_claim_errs_together_and_two_rules_do_not():
    # Two cabins of 100 visits × 6 L. Same claim (10 %): u = 0.1 × 1200. A claim and a measured one: √(60² + 18²).
    both = units({}, {"unit_id": 2})
    weeks = unit_weeks((1, 1, 100), (2, 1, 100))
    same = fittings({"litres_basis": "claim"}, {"unit_id": 2, "litres_basis": "claim"})
    mixed = fittings({"litres_basis": "claim"}, {"unit_id": 2})
    for fits, u in ((same, 120), (mixed, math.hypot(60, 18))):
        figure = water.water_taken(used_water(weeks, fits, both), due(both))
        assert figure.high - figure.value == pytest.approx(1.96 * u)
        assert figure.value - figure.low == pytest.approx(1.96 * u)


def test_sampled_visits_of_one_week_err_together_and_those_of_two_weeks_do_not():
    both = units({}, {"unit_id": 2})
    exact = fittings({"u_permille": 0}, {"unit_id": 2, "u_permille": 0})
    one = unit_weeks((1, 1, 100), (2, 1, 100), way="drawn", var=100.0)
    two = unit_weeks((1, 1, 100), (1, 2, 100), way="drawn", var=100.0)
    half = [
        (figure.high - figure.value) / 1.96
        for figure in (water.water_taken(used_water(weeks, exact, both), due(both)) for weeks in (one, two))
    ]
    assert half == pytest.approx([120, math.sqrt(2) * 60])


def test_less_than_a_cistern_counts_cabins_and_all_their_water():
    # 25 visits × 9 L = 225 L; flush 75 L (3 L), pre-wash 12.5 L, floor wash 2 × 3 L: 131.5 L less. The urinal is out.
    both = units({}, {"unit_id": 2, "kind": "urinal"})
    fits = fittings(
        {"ml": 3000, "u_permille": 0},
        {"kind": "pre_wash", "ml": 500, "u_permille": 0},
        {"kind": "floor_wash", "ml": 3000, "every_n": 10, "u_permille": 0},
        {"unit_id": 2, "ml": 1000},
    )
    rows = used_water(unit_weeks((1, 1, 25), (2, 1, 500)), fits, both)
    figure = water.less_than_cistern(rows, due(both), 9000)
    assert (figure.value, figure.low, figure.high) == (131.5, 131.5, 131.5)
    assert (figure.used, figure.expected) == (1, 2)
    assert "Cabins only" in figure.note
    with pytest.raises(ValueError, match="cistern"):
        water.less_than_cistern(rows, due(both), 0)


def test_the_interval_of_the_saving_is_the_mirror_of_the_litres():
    # Assumed share: taken 200 L (175 to 250) of 900 L: 700 L less, 650 to 725.
    rows = used_water(unit_weeks((1, 1, 100)), fittings(TWO_STAGE_ROW | {"u_permille": 0}))
    figure = water.less_than_cistern(rows, due(), 9000)
    assert (figure.value, figure.low, figure.high) == pytest.approx((700, 650, 725))


def test_saving_against_before_needs_litres_that_were_measured():
    schools = units({}, {"unit_id": 2, "school_id": 2, "school": "S02"})
    fits = fittings({"u_permille": 0}, {"unit_id": 2, "u_permille": 0})
    weeks = occasions((1, 1, 10, 5), (2, 1, 10, 5))
    rows = used_water(unit_weeks((1, 1, 100), (2, 1, 100)), fits, schools)
    columns = ["school_id", "ml", "litres_basis", "u_permille"]
    claim = {"school_id": 2, "ml": 12000, "litres_basis": "claim", "u_permille": None}
    measured = {"school_id": 1, "ml": 10000, "litres_basis": "measured", "u_permille": None}
    none = water.saved_against_before(rows, due(schools, weeks), frame([claim], columns))
    assert none.value is None
    # 100 × (10 − 6) L = 400 L; u = 3 % of 1000 L.
    one = water.saved_against_before(rows, due(schools, weeks), frame([claim, measured], columns))
    assert (one.value, one.used, one.expected) == (400, 1, 1)
    assert one.high - one.value == pytest.approx(1.96 * 30)
    assert "1 of 2 schools" in one.note


def test_litres_per_visit_and_per_pupil_day():
    # 100 × 6 L and 50 × 3 L: 750 L ÷ 150 visits = 5 L. 50 pupils × 5 days: 3 L a day.
    both = units({}, {"unit_id": 2})
    rows = used_water(unit_weeks((1, 1, 100), (2, 1, 50)), fittings({}, {"unit_id": 2, "ml": 3000}), both)
    assert water.litres_per_visit(rows, due(both)).value == 5
    days = visits.pupil_days(enrolment({"pupils": 50}), WEEKS)
    figure = water.litres_per_pupil_day(rows, due(both), days)
    assert (figure.value, figure.used, figure.expected) == (3, 2, 4)


def test_without_litres_there_is_no_figure():
    nothing = used_water(unit_weeks(), fittings())
    assert water.water_taken(nothing, due()).value is None
    assert water.litres_per_visit(nothing, due()).value is None
    assert water.less_than_cistern(nothing, due(), 9000).value is None
    assert water.water_parts(nothing, due())[WaterPart.FLUSH].expected == 2


@given(st.lists(st.tuples(st.integers(1, 2), st.integers(1, 2), st.integers(0, 4000)), max_size=8))
def test_parts_add_up_to_the_value_in_whole_millilitres(rows):
    both = units({}, {"unit_id": 2})
    seen = {(unit, number): count / 2 for unit, number, count in rows}
    weeks = unit_weeks(*((unit, number, count) for (unit, number), count in seen.items()))
    fits = fittings(TWO_STAGE_ROW, {"unit_id": 2, "ml": 777})
    found = used_water(weeks, fits, both)
    figure = water.water_taken(found, due(both))
    if seen:
        assert sum(round(part.value * 1000) for part in figure.parts) == round(figure.value * 1000) == found["ml"].sum()


# Meter against model


def meter(*values, **dial):
    """A water meter (unit 9, steps of 10 L) read on the Fridays of weeks 1, 2, 3 …"""
    rows = [{"day": week(number) + timedelta(days=4), "value": value} for number, value in enumerate(values, start=1)]
    base = {"unit_id": 9, "quantity": "water", "step_ml": 10_000, "u_permille": 20} | dial
    return readings(*(row | base for row in rows))


METERED_UNITS = units({}, {"unit_id": 9, "unit": "M1", "kind": "meter", "count_way": "none"})


def balanced(readings_frame, weeks, scope_frame, all_units=METERED_UNITS, days=WEEKS):
    rows = used_water(weeks, fittings({"unit_id": 1}), all_units)
    return balance.meter_balance(all_units, scope_frame, readings_frame, rows, days)


def test_a_meter_of_energy_has_no_balance_of_water():
    assert balanced(meter(10, 20, quantity="energy"), unit_weeks((1, 1, 500), (1, 2, 100)), scopes({})) == []


def test_a_balance_adds_uncertainties_in_quadrature():
    # WAT-05, derived by hand: in 100 (u 2), out 40 (u 1) and 45 (u 1.5): 15, u = 2.6925824, ratio 5.570860.
    rest, u, query = balance.unexplained(100, 2, 85, math.hypot(1, 1.5))
    assert (rest, u) == (15, pytest.approx(2.6925824, abs=1e-6))
    assert rest / u == pytest.approx(5.570860, abs=1e-6)
    assert query


def test_no_query_within_two_standard_uncertainties():
    assert not balance.unexplained(100, 3, 92, 4)[2]  # 8 against 2 × 5
    assert balance.unexplained(92, 3, 102.5, 4)[2]  # also when less was metered than modelled


def test_resolution_of_a_meter_read_twice():
    # WAT-08, derived by hand: step 0.1: √2 × 0.1/√12 = 0.0408248; no calibration error, three readings in a row.
    from tracker.measures.dials import dial_uses

    frame_of_readings = meter(0, 3, 9, step_ml=0.1, u_permille=0)
    assert balance.meter_u_ml(dial_uses(frame_of_readings).itertuples()) == pytest.approx(0.0408248, abs=1e-7)


def test_metered_against_modelled_over_the_weeks_between_the_readings():
    # Week 2: metered 70 steps = 700 L; modelled 100 × 6 L = 600 L. u_meter = √(14² + (√2 × 10/√12)²) = 14.5831,
    # u_model = 3 % of 600 = 18; u = 23.166; 100 L is beyond 2 u.
    found = balanced(meter(99_980, 50), unit_weeks((1, 1, 500), (1, 2, 100)), scopes({}))[0]
    assert (found.metered.value, found.modelled.value, found.unexplained.value) == (700, 600, 100)
    u_meter = math.hypot(14, math.sqrt(2) * 10 / math.sqrt(12))
    assert (found.unexplained.high - 100) / 1.96 == pytest.approx(math.hypot(u_meter, 18))
    assert (found.metered.high - 700) / 1.96 == pytest.approx(u_meter)
    assert found.query
    assert (found.metered.used, found.metered.expected, found.metered.records) == (1, 2, "weeks")
    assert [part.value for part in found.unexplained.parts] == [100]
    assert "leak" not in found.unexplained.note


def test_a_small_difference_asks_for_nothing():
    found = balanced(meter(0, 62), unit_weeks((1, 2, 100)), scopes({}))[0]
    assert (found.unexplained.value, found.query) == (20, False)


def test_a_meter_of_which_not_everything_is_listed_is_not_compared():
    assert balanced(meter(0, 70), unit_weeks((1, 2, 100)), scopes({"whole": False})) == []


def test_a_week_in_which_a_served_cabin_was_not_recorded_is_left_out():
    both = units({}, {"unit_id": 2}, {"unit_id": 9, "kind": "meter"})
    found = balanced(meter(0, 70), unit_weeks((1, 2, 100)), scopes({}, {"unit_id": 2}), both)[0]
    assert (found.metered.value, found.unexplained.value, found.query) == (None, None, False)


def test_an_interval_over_a_week_that_is_left_out_is_left_out_whole():
    days = occasions(*((1, number, 10, 5) for number in (1, 2, 3, 4)))
    reads = readings(
        *(
            {"unit_id": 9, "quantity": "water", "step_ml": 10_000, "day": week(n) + timedelta(days=4), "value": v}
            for n, v in ((1, 0), (3, 150), (4, 220))
        )
    )
    found = balanced(reads, unit_weeks((1, 2, 100), (1, 4, 100)), scopes({}), days=days)[0]
    assert (found.metered.value, found.modelled.value, found.metered.used) == (700, 600, 1)


def test_a_meter_exchange_is_metered_through_and_each_dial_has_its_own_calibration_error():
    # Old dial 10 steps to its end, new one 60 steps: 700 L. u² = (2 % × 100)² + (2 % × 600)² + 2 × 2 × 10²/12.
    base = {"unit_id": 9, "quantity": "water", "step_ml": 10_000, "u_permille": 20}
    reads = readings(
        base | {"day": week(1) + timedelta(days=4), "value": 40, "last_value": 50},
        base | {"day": week(2) + timedelta(days=4), "value": 60, "install_from": week(2) + timedelta(days=1)},
    )
    found = balanced(reads, unit_weeks((1, 2, 100)), scopes({}))[0]
    assert found.metered.value == 700
    assert (found.metered.high - 700) / 1.96 == pytest.approx(math.sqrt(2**2 + 12**2 + 4 * 100 / 12))


def test_a_dial_that_starts_inside_a_week_is_compared_from_its_first_reading_on():
    reads = meter(30, 100, install_from=week(1) + timedelta(days=2), first_value=0)
    found = balanced(reads, unit_weeks((1, 1, 500), (1, 2, 100)), scopes({}))[0]
    assert (found.metered.value, found.modelled.value) == (700, 600)


def test_a_scope_that_changes_inside_a_week_leaves_that_week_out():
    found = balanced(meter(0, 70), unit_weeks((1, 2, 100)), scopes({"from_day": week(2) + timedelta(days=1)}))[0]
    assert found.metered.value is None


def test_losses_are_input_less_what_is_accounted_for():
    # Water balance terms, Int. NRW Consulting (read): input 10,000 L, authorised 8,600 L: 1,400 L.
    assert balance.unexplained(10_000, 0, 8_600, 0)[0] == 1_400


def test_one_litre_less_a_flush_in_a_familys_year():
    # Smart Approved WaterMark: 4 people × 4 flushes × 365 days × 1 L = 5,840 L (source: nearly 6 kL).
    rows = used_water(unit_weeks((1, 1, 4 * 4 * 365)), fittings({"ml": 5000}))
    assert water.less_than_cistern(rows, due(), 6000).value == 5_840
