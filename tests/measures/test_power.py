"""Energy by rule and against the meter: worked by hand beside each test (derived by hand, no outside source).

Ratings in these tests are round numbers for arithmetic, not those of any appliance.
"""

from __future__ import annotations

import math
from datetime import timedelta

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measures.frames_by_hand import (
    frame,
    occasions,
    readings,
    school_days,
    scopes,
    unit_weeks,
    units,
    week,
)
from tracker.measures.power import (
    PowerRule,
    energy_by_part,
    energy_u_wh,
    energy_used,
    unit_week_energy,
)
from tracker.measures.power_balance import energy_balances
from tracker.vocabulary import Basis, EnergySource, PowerPart

LIGHT = PowerRule(PowerPart.LIGHT_FAN, watts=30, minutes=2)  # 1 Wh a visit
PUMP = PowerRule(PowerPart.PUMP, wh=0.5)
SEAT = PowerRule(PowerPart.TREATMENT, wh=20, every_n=10)
BURN = PowerRule(PowerPart.BURN, wh=1500)


def burned(*rows):
    """(unit, number of the week, burns)."""
    return frame([{"unit_id": u, "week": week(n), "burns": b} for u, n, b in rows], ["unit_id", "week", "burns"])


def energy(weeks, rules, burns=None, all_units=None):
    frame_of_units = units({}) if all_units is None else all_units
    return unit_week_energy(weeks, burned() if burns is None else burns, frame_of_units, rules, school_days(1, 2, 3))


def test_every_part_of_a_cabin_and_an_incinerator():
    # 25 visits: light 25 × 30 W × 2 min = 25 Wh; pump 25 × 0.5 = 12.5 Wh; treatment after every 10: 2 × 20 = 40 Wh;
    # 3 burns × 1.5 kWh = 4.5 kWh.
    both = units({}, {"unit_id": 2, "kind": "incinerator", "count_way": "none"})
    rows = energy(unit_weeks((1, 1, 25)), {1: [LIGHT, PUMP, SEAT], 2: [BURN]}, burned((2, 1, 3)), both)
    kwh = {part: figure.value for part, figure in energy_by_part(rows).items()}
    assert kwh == pytest.approx(
        {PowerPart.LIGHT_FAN: 0.025, PowerPart.PUMP: 0.0125, PowerPart.TREATMENT: 0.04, PowerPart.BURN: 4.5}
    )
    figure = energy_used(rows)
    assert (figure.value, figure.unit, figure.basis, figure.used) == (pytest.approx(4.5775), "kWh", Basis.MODELLED, 2)
    assert math.fsum(part.value for part in figure.parts) == figure.value


def test_energy_has_the_uncertainty_of_counts_and_of_rules():
    # 500 visits (u 25) × 1 Wh (10 %): √(25² + 50²) Wh, as for litres.
    rows = energy(unit_weeks((1, 1, 500), way="drawn", var=625.0), {1: [LIGHT]})
    figure = energy_used(rows)
    assert (figure.high - figure.value) / 1.96 * 1000 == pytest.approx(math.hypot(25, 50))


def test_one_rule_at_two_units_errs_together_and_two_rules_do_not():
    both = units({}, {"unit_id": 2})
    weeks = unit_weeks((1, 1, 100), (2, 1, 100))
    other = PowerRule(PowerPart.LIGHT_FAN, watts=60, minutes=1)
    same = list(energy(weeks, {1: [LIGHT], 2: [LIGHT]}, all_units=both).itertuples())
    two = list(energy(weeks, {1: [LIGHT], 2: [other]}, all_units=both).itertuples())
    assert energy_u_wh(same) == pytest.approx(20)
    assert energy_u_wh(two) == pytest.approx(math.hypot(10, 10))


def test_treatment_cycles_carry_over_weeks():
    # 8, 8 and 8 visits, after every 10: 0, 1, 1 cycles.
    rows = energy(unit_weeks((1, 1, 8), (1, 2, 8), (1, 3, 8)), {1: [SEAT]})
    assert rows["wh"].tolist() == [0, 20, 20]


def test_a_rule_that_begins_on_wednesday_has_three_of_five_school_days():
    rule = PowerRule(PowerPart.PUMP, wh=1, from_day=week(1) + timedelta(days=2))
    rows = energy(unit_weeks((1, 1, 100), (1, 2, 100)), {1: [rule]})
    assert rows["wh"].tolist() == pytest.approx([60, 100])
    assert rows["whole"].tolist() == [False, True]


def test_nothing_recorded_is_not_zero():
    nothing = energy(unit_weeks(), {1: [LIGHT]})
    assert energy_used(nothing, 4).value is None
    assert energy_used(nothing, 4).expected == 4
    assert energy_by_part(energy(unit_weeks((1, 1, 5)), {1: [LIGHT]}))[PowerPart.BURN].value is None


def test_a_rule_that_makes_no_sense_is_refused():
    with pytest.raises(ValueError, match="not both"):
        PowerRule(PowerPart.LIGHT_FAN, watts=10, minutes=1, wh=3)
    with pytest.raises(ValueError, match="below 0"):
        PowerRule(PowerPart.PUMP, wh=-1)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 300), min_size=1, max_size=3), st.integers(1, 12))
def test_more_visits_never_use_less_and_cycles_of_any_split_add_up(counts, every_n):
    rule = PowerRule(PowerPart.TREATMENT, wh=1, every_n=every_n)
    split = energy(unit_weeks(*((1, n, v) for n, v in enumerate(counts, start=1))), {1: [rule, LIGHT]})
    cycles = split[split["part"] == PowerPart.TREATMENT]["wh"].sum()
    assert cycles == sum(counts) // every_n
    more = energy(unit_weeks(*((1, n, v + 1) for n, v in enumerate(counts, start=1))), {1: [rule, LIGHT]})
    assert more["wh"].sum() > split["wh"].sum()


# Against the meter

UNITS = units({}, {"unit_id": 9, "kind": "meter", "count_way": "none"})
WEEKS = occasions((1, 1, 10, 5), (1, 2, 10, 5))


def dial(*values, **more):
    """An energy meter (unit 9, steps of 100 Wh) read on the Fridays of weeks 1, 2, …"""
    base = {"unit_id": 9, "quantity": "energy", "step_ml": 100, "u_permille": 10} | more
    return readings(*(base | {"day": week(n) + timedelta(days=4), "value": v} for n, v in enumerate(values, start=1)))


def given_by(*rows):
    """(number of the week, origin, Wh), 5 %."""
    named = [{"meter_id": 9, "week": week(n), "origin": o, "wh": wh, "u_rel": 0.05} for n, o, wh in rows]
    return frame(named, ["meter_id", "week", "origin", "wh", "u_rel"])


def balance(reads, weeks, sources=None, scope=None):
    return energy_balances(
        UNITS, scopes({}) if scope is None else scope, reads, energy(weeks, {1: [LIGHT]}), WEEKS, sources=sources
    )


def test_the_meter_against_the_model_over_a_dial_that_turns_over():
    # Week 2: (5 − 99 995) mod 100 000 = 10 steps = 1000 Wh; model 800 visits × 1 Wh = 800 Wh, u 80.
    # u_meter = √(10² + (√2·100/√12)²) = 42.03; u = 90.4; 200 Wh is beyond 2 u.
    found = balance(dial(99_995, 5), unit_weeks((1, 1, 5), (1, 2, 800)))[0]
    assert (found.metered.value, found.modelled.value, found.unexplained.value) == pytest.approx((1.0, 0.8, 0.2))
    u = math.hypot(10, math.sqrt(2) * 100 / math.sqrt(12), 80)
    assert (found.unexplained.high - 0.2) / 1.96 * 1000 == pytest.approx(u)
    assert found.query and 2 * u < 200
    assert (found.metered.used, found.metered.expected, found.metered.basis) == (1, 2, Basis.METERED)


def test_solar_and_recovered_energy_are_sources_of_their_own():
    # 500 metered + 200 solar + 50 recovered − 800 modelled = −50 Wh.
    found = balance(dial(0, 5), unit_weeks((1, 1, 5), (1, 2, 800)), given_by((2, "solar", 200), (2, "recovered", 50)))[
        0
    ]
    assert found.sources[EnergySource.SOLAR].value == pytest.approx(0.2)
    assert found.sources[EnergySource.RECOVERED].value == pytest.approx(0.05)
    assert found.unexplained.value == pytest.approx(-0.05)
    u = math.hypot(5, math.sqrt(2) * 100 / math.sqrt(12), 10, 2.5, 80)
    assert (found.unexplained.high + 0.05) / 1.96 * 1000 == pytest.approx(u)
    assert not found.query


def test_a_week_without_the_record_of_a_source_is_not_compared():
    found = balance(dial(0, 5), unit_weeks((1, 1, 5), (1, 2, 800)), given_by((1, "solar", 200)))[0]
    assert (found.metered.value, found.unexplained.value, found.query) == (None, None, False)


def test_a_week_without_the_visits_of_a_unit_served_is_not_compared():
    found = balance(dial(0, 5), unit_weeks((1, 1, 5)))[0]
    assert found.unexplained.value is None


def test_a_meter_that_does_not_list_all_it_serves_is_not_compared():
    assert balance(dial(0, 5), unit_weeks((1, 2, 800)), scope=scopes({"whole": False})) == []
    assert energy_balances(UNITS, scopes({}), dial(), energy(unit_weeks(), {}), WEEKS) == []


def test_a_source_of_another_kind_is_refused():
    with pytest.raises(ValueError, match="wind"):
        balance(dial(0, 5), unit_weeks((1, 1, 5), (1, 2, 800)), pd.concat([given_by((2, "wind", 5))]))


# Terms and dials that begin before the first week with school

READ_FROM = week(-9)
TERM = occasions((1, 3, 10, 5), (1, 4, 10, 5))


def dated(*rows, **more):
    """An energy meter read on the Fridays of the weeks named: (number of the week, value)."""
    base = {"unit_id": 9, "quantity": "energy", "step_ml": 100, "u_permille": 10} | more
    return readings(*(base | {"day": week(n) + timedelta(days=4), "value": v} for n, v in rows))


def term_balance(around, reads, *, visited=(3, 4)):
    used = unit_week_energy(
        unit_weeks(*((1, n, 600) for n in visited)), burned(), units({}), {1: [LIGHT]}, school_days(1, 3, 4)
    )
    found = energy_balances(UNITS, scopes({}), reads, used, TERM, around=around, since=READ_FROM)[0]
    return found.metered.value, found.modelled.value, found.metered.used


def test_energy_of_the_term_before_is_not_put_on_the_first_week_of_the_next():
    # 12 steps from before week 1 to week 3 are about both terms: week 3 is left out. 6 steps of week 4 = 0.6 kWh.
    around = occasions((1, 0, 10, 5), (1, 1, 10, 5), (1, 3, 10, 5), (1, 4, 10, 5))
    assert term_balance(around, dated((0, 0), (3, 12), (4, 18)), visited=(1, 3, 4)) == pytest.approx((0.6, 0.6, 1))


def test_an_energy_meter_read_before_and_after_the_holidays_is_compared_from_the_first_week_on():
    # Week 2 has no school: the interval from week 1 to week 3 is about week 3 alone. 13 steps = 1.3 kWh beside 1.2.
    around = occasions((1, 1, 10, 5), (1, 3, 10, 5), (1, 4, 10, 5))
    assert term_balance(around, dated((1, 5), (3, 12), (4, 18)), visited=(1, 3, 4)) == pytest.approx((1.3, 1.2, 2))


@pytest.mark.parametrize(("installed", "weeks"), [(week(2) + timedelta(days=4), 2), (week(3) + timedelta(days=1), 1)])
def test_an_energy_meter_put_in_during_a_week_leaves_that_week_out(installed, weeks):
    # Put in on the Friday before the term: both weeks, 1.2 kWh. On the Tuesday of week 3: week 4 alone, 0.6 kWh.
    reads = dated((3, 6), (4, 12), install_from=installed)
    assert term_balance(TERM, reads) == pytest.approx((0.6 * weeks, 0.6 * weeks, weeks))


def test_a_meter_installed_before_the_calendar_is_known_is_compared_from_its_first_reading():
    # ``since`` is later than the installation: weeks with school may lie between, so week 3 has no interval.
    used = unit_week_energy(unit_weeks((1, 3, 600), (1, 4, 600)), burned(), units({}), {1: [LIGHT]}, school_days(3, 4))
    reads = dated((3, 6), (4, 12), install_from=week(2))
    found = energy_balances(UNITS, scopes({}), reads, used, TERM, around=TERM, since=week(3))[0]
    assert (found.metered.value, found.metered.used) == (pytest.approx(0.6), 1)


def test_a_week_without_school_needs_no_record_of_visits():
    # Week 3 is a holiday with a row of its own, in which the meter turned 1 step; nothing is asked of the visits there.
    held = occasions((1, 3, 0, 0), (1, 4, 10, 5))
    used = energy(unit_weeks((1, 4, 600)), {1: [LIGHT]})
    found = energy_balances(UNITS, scopes({}), dated((2, 0), (3, 1), (4, 7)), used, held, around=held, since=READ_FROM)[
        0
    ]
    assert (found.metered.value, found.modelled.value) == pytest.approx((0.7, 0.6))
