"""Fitting comparisons worked by hand, their evidence, and what they never say."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from tests.measures.frames_by_hand import fittings, week
from tracker.measures.changes import difference_in_differences
from tracker.measures.comparison import (
    Design,
    Measure,
    arm_figure,
    compare,
    difference_figure,
    label_weeks,
    possible_design,
    units_without_outage,
)
from tracker.measures.intervals import Interval, ratio_of_totals
from tracker.measures.trials import (
    Better,
    Declaration,
    Doubt,
    Evidence,
    Outcome,
    Strength,
    declaration_lines,
    evidence,
    success,
)
from tracker.vocabulary import Basis

LITRES = Measure.LITRES_PER_VISIT


def rows_of(*rows, top="ml", bottom="visits"):
    """Rows of (school, unit, number of the week, ever, after, top, bottom)."""
    columns = ["school_id", "unit_id", "week", "ever", "after", top, bottom]
    made = pd.DataFrame(rows, columns=columns)
    made["week"] = pd.to_datetime([week(number) for number in made["week"]]).astype("datetime64[us]")
    return made.astype({"ever": bool, "after": bool, top: "float64", bottom: "float64"})


# Two schools with the fitting (400 L for 100 visits; 600 L for 100), two without (800 L and 1 200 L for 100 each).
FOUR = rows_of(
    (1, 1, 1, True, True, 400_000, 100),
    (2, 2, 1, True, True, 600_000, 100),
    (3, 3, 1, False, True, 800_000, 100),
    (4, 4, 1, False, True, 1_200_000, 100),
)


def test_litres_per_visit_between_units_by_hand():
    # 5 and 10 L a visit: −5. Errors (y − R·x) ÷ Σx: ∓0.5 and ∓1 L: v = 2/1 · 0.5 = 1 and 2/1 · 2 = 4, se = √5.
    # Degrees of freedom by Welch (1 + 4)² ÷ (1² + 4²) = 25/17; t by scipy.stats.
    found = compare(FOUR, LITRES, Design.BETWEEN, Basis.MODELLED)
    half = student.ppf(0.975, 25 / 17) * math.sqrt(5)
    assert found.difference == pytest.approx((-5, -5 - half, -5 + half), abs=1e-9)
    assert (found.fitted.value.value, found.plain.value.value) == (5, 10)
    assert found.fitted.value.low == 0  # 5 − 12.7 is no litres
    assert (found.fitted.schools, found.fitted.units, found.fitted.used, found.fitted.first) == (2, 2, 1 + 1, week(1))
    figure = difference_figure(found)
    assert (figure.value, figure.unit, figure.used, figure.expected) == (-5, "L per visit", 4, 4)
    assert figure.basis == Basis.MODELLED
    assert arm_figure(found.plain, found).value == 10


def test_one_side_alone_has_the_limits_of_a_ratio_of_school_totals():
    # Without any spread on the other side, what is left is the published formula for one ratio (intervals, RAT-*).
    litres = [400_000, 600_000, 450_000]
    rows = [(s, s, 1, True, True, ml, 100 + s) for s, ml in enumerate(litres)]
    rows += [(s, s, 1, False, True, 900_000, 100) for s in (7, 8, 9)]
    found = compare(rows_of(*rows), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    alone = ratio_of_totals([ml / 1000 for ml in litres], [100, 101, 102])
    assert found.high - found.value == pytest.approx(alone.high - alone.value, rel=1e-12)


def test_weeks_as_if_independent_would_be_far_too_sure():
    # Ten alike weeks of every school: the trap is to take 40 weeks as 40 independent ones.
    many = pd.concat([FOUR.assign(week=FOUR["week"] + pd.Timedelta(weeks=n)) for n in range(10)])
    honest = compare(many, LITRES, Design.BETWEEN, Basis.MODELLED).difference
    naive = compare(many.assign(school_id=range(40)), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    assert honest == pytest.approx(compare(FOUR, LITRES, Design.BETWEEN, Basis.MODELLED).difference)
    assert (naive.high - naive.low) < (honest.high - honest.low) / 5


def test_blank_weeks_are_left_out_and_counted():
    rows = FOUR.copy()
    rows.loc[0, "ml"] = float("nan")
    found = compare(rows, LITRES, Design.BETWEEN, Basis.MODELLED)
    assert (found.fitted.value.value, found.fitted.used, found.fitted.expected) == (6, 1, 2)
    assert found.difference == (-4, None, None)  # one school: no interval
    nothing = compare(rows.assign(ml=float("nan")), LITRES, Design.BETWEEN, Basis.MODELLED)
    assert nothing.difference == (None, None, None)
    assert difference_figure(nothing).value is None
    assert nothing.fitted.first is None


PAIRED = st.lists(
    st.tuples(*[st.integers(100, 900)] * 4), min_size=2, max_size=9
)  # a school with it and one without, before and after


@given(PAIRED)
@settings(max_examples=40, deadline=None)
def test_difference_in_differences_agrees_with_the_formula_of_school_changes(rows):
    # Same visits everywhere: the mean changes, their variance and Welch's degrees of freedom are the textbook ones.
    made, ours, theirs = [], [], []
    for s, (a, b, c, d) in enumerate(rows):
        made += [(s, s, 1, True, False, a * 1e5, 100), (s, s, 9, True, True, b * 1e5, 100)]
        made += [(100 + s, 100 + s, 1, False, False, c * 1e5, 100), (100 + s, 100 + s, 9, False, True, d * 1e5, 100)]
        ours.append((a, b))
        theirs.append((c, d))
    found = compare(rows_of(*made), LITRES, Design.BOTH, Basis.MODELLED).difference
    other = difference_in_differences(ours, theirs)
    assert found.value == pytest.approx(other.value, abs=1e-9)
    if other.low is not None:
        assert (found.low, found.high) == pytest.approx((other.low, other.high), rel=1e-6, abs=1e-9)


def test_a_school_with_both_kinds_of_units_is_its_own_comparison():
    # Three schools with one unit of each kind: differences 4, 5, 6 on alike visits: mean 5, s = 1, t with 2: 4.302653.
    rows = [(s, 10 * s + k, 1, k == 0, True, 1e5 * (8 + k * (4 + s)), 100) for s in range(3) for k in (0, 1)]
    found = compare(rows_of(*rows), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    half = 4.302653 / math.sqrt(3)
    assert found == pytest.approx((-5, -5 - half, -5 + half), abs=1e-6)
    # A fourth school with one kind only: the sides overlap in part, t on the fewest schools of a side − 1.
    more = rows_of(*rows, (9, 99, 1, True, True, 8e5, 100))
    wider = compare(more, LITRES, Design.BETWEEN, Basis.MODELLED).difference
    assert wider.value == -5
    assert wider.high - wider.low >= 2 * half - 1e-6


def test_before_and_after_uses_units_with_both_sides_only():
    rows = rows_of(
        (1, 1, 1, True, False, 900_000, 100),
        (1, 1, 9, True, True, 500_000, 100),
        (2, 2, 1, True, False, 700_000, 100),
        (2, 2, 9, True, True, 500_000, 100),
        (3, 3, 9, True, True, 9_000_000, 100),  # was never seen before
        (4, 4, 1, False, False, 100_000, 100),
    )
    found = compare(rows, LITRES, Design.BEFORE_AFTER, Basis.MODELLED)
    assert (found.plain.value.value, found.fitted.value.value, found.difference.value) == (8, 5, -3)
    # Each school is its own comparison: changes −4 and −2, se = √(2/1 · (0.5² + 0.5²)) = 1; t 12.7062.
    assert found.difference.high == pytest.approx(-3 + 12.7062, abs=1e-3)
    assert (found.units, found.plain_units) == ({1, 2}, frozenset())


def test_with_thirty_schools_a_side_whole_schools_are_drawn():
    random = np.random.default_rng(5)
    rows = [(s, s, 1, s < 30, True, 100 * 1000 * m, 100) for s, m in enumerate(random.normal(6, 1, 60))]
    found = compare(rows_of(*rows), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    again = compare(rows_of(*rows), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    means = np.array([row[5] / 100_000 for row in rows])
    se = math.sqrt(np.var(means[:30]) / 30 + np.var(means[30:]) / 30)
    assert found == again
    assert found.high - found.low == pytest.approx(2 * 1.96 * se, rel=0.08)


@given(st.lists(st.tuples(st.integers(1, 5), st.integers(1, 900), st.integers(1, 90)), min_size=4, max_size=12))
@settings(max_examples=40, deadline=None)
def test_turning_the_sides_round_turns_the_difference_round(rows):
    made = rows_of(*[(s, n, 1, n % 2 == 0, True, ml, v) for n, (s, ml, v) in enumerate(rows)])
    one = compare(made, LITRES, Design.BETWEEN, Basis.MODELLED).difference
    other = compare(made.assign(ever=~made["ever"]), LITRES, Design.BETWEEN, Basis.MODELLED).difference
    assert one.value == pytest.approx(-other.value)
    if one.low is not None:
        assert (one.low, one.high) == pytest.approx((-other.high, -other.low))


def test_availability_stays_a_share():
    rows = [(s, s, 1, s < 3, True, up, 1800) for s, up in enumerate((1800, 1800, 1200, 900, 1000, 1100))]
    found = compare(
        rows_of(*rows, top="up_min", bottom="scheduled_min"), Measure.AVAILABILITY, Design.BETWEEN, Basis.COUNTED
    )
    assert found.fitted.value.value == pytest.approx(4800 / 5400)
    assert found.fitted.value.high == 1
    assert found.unit == "share"


# ------------------------------------------------------------------ outages: published values


def outages(first, first_visits, second, second_visits):
    rows = [(1, 1, 1, True, True, first, first_visits), (2, 2, 1, False, True, second, second_visits)]
    return rows_of(*rows, top="outages")


def test_poi_02_outages_per_1000_visits_of_one_side_have_exact_limits():
    # POI-02, tolerance 1e-12: 15 events in 400, as printed by R DescTools (read). Times 1,000.
    found = compare(outages(15, 400, 1, 400), Measure.OUTAGES_PER_1000_VISITS, Design.BETWEEN, Basis.COUNTED)
    assert found.fitted.value.low == pytest.approx(20.9884653319583, abs=1e-9)
    assert found.fitted.value.high == pytest.approx(61.8505471787146, abs=1e-9)


def test_poi_03_and_05_ratio_of_the_rates_with_exact_limits():
    # POI-03 value, tolerance 1e-4: 41 in 28 010 against 15 in 19 017, R episheet (read). POI-05 limits, tolerance 1e-5:
    # derived by hand, no outside source.
    found = compare(outages(41, 28_010, 15, 19_017), Measure.OUTAGES_PER_1000_VISITS, Design.BETWEEN, Basis.COUNTED)
    assert found.ratio.value == pytest.approx(1.8557587, abs=1e-4)
    assert (found.ratio.low, found.ratio.high) == pytest.approx((1.005684, 3.609300), abs=1e-5)
    # POI-04 value: 67.4995 per 100,000, tolerance 0.01 (read): the difference of the rates, here per 1,000.
    assert found.difference.value * 100 == pytest.approx(67.4995, abs=0.01)


def test_without_any_outage_the_rate_still_has_a_high_limit():
    # POI-01, x = 0: 3.688879 (read); over 400 visits.
    found = compare(outages(0, 400, 0, 400), Measure.OUTAGES_PER_1000_VISITS, Design.BETWEEN, Basis.COUNTED)
    assert found.fitted.value == pytest.approx((0, 0, 3.688879 / 0.4), abs=1e-5)
    assert found.ratio == (None, None, None)


def test_a_ratio_of_rates_is_for_two_sides_only():
    rows = [(s, s, n, s < 3, n > 5, 3 + n, 100) for s in range(6) for n in (1, 9)]
    found = compare(rows_of(*rows, top="outages"), Measure.OUTAGES_PER_1000_VISITS, Design.BOTH, Basis.COUNTED)
    assert found.ratio == (None, None, None)
    assert found.difference.value == pytest.approx(0)


def test_prp_01_units_without_an_outage_between_units():
    # PRP-01, tolerance 1e-6: 56 of 70 against 48 of 80, Newcombe 1998, table II (a) (read).
    clear = [(True, 56, 70), (False, 48, 80)]
    rows = [(1, 1000 * ever + n, 1, ever, True, int(n >= k), 10) for ever, k, size in clear for n in range(size)]
    found = units_without_outage(rows_of(*rows, top="outages"), Design.BETWEEN)
    assert found == pytest.approx((0.2, 0.0524315, 0.3338727), abs=1e-6)


def test_prp_08_units_without_an_outage_before_and_after():
    # PRP-08, tolerance 1e-6: pairs 36, 12, 2, 0, Newcombe 1998, paired (from memory, unconfirmed).
    pairs = [(0, 0)] * 36 + [(1, 0)] * 12 + [(0, 1)] * 2
    rows = [
        (1, n, number, True, number > 5, out, 10)
        for n, pair in enumerate(pairs)
        for number, out in zip((1, 9), pair)  # noqa: B905
    ]
    found = units_without_outage(rows_of(*rows, top="outages"), Design.BEFORE_AFTER)
    assert found == pytest.approx((0.2, 0.0569296, 0.3404276), abs=1e-6)
    with pytest.raises(ValueError, match="between units, or before and after"):
        units_without_outage(rows_of(*rows, top="outages"), Design.BOTH)


# ------------------------------------------------------------------ money, bad input


def test_cost_per_visit_names_its_currency_and_never_mixes_two():
    rows = rows_of(*[(s, s, 1, s < 3, True, 900 + s, 100) for s in range(6)], top="cost_minor").assign(currency="XTS")
    found = compare(rows, Measure.COST_PER_VISIT, Design.BETWEEN, Basis.COUNTED)
    assert found.unit == "minor units of XTS per visit"
    assert found.difference.value == pytest.approx(-0.03)
    rows.loc[0, "currency"] = "XXX"
    with pytest.raises(ValueError, match="different currencies"):
        compare(rows, Measure.COST_PER_VISIT, Design.BETWEEN, Basis.COUNTED)


def test_a_negative_total_is_refused():
    with pytest.raises(ValueError, match="negative"):
        compare(FOUR.assign(visits=-1.0), LITRES, Design.BETWEEN, Basis.MODELLED)


# ------------------------------------------------------------------ weeks and designs


def weeks_of(unit, *numbers, school=1):
    made = pd.DataFrame({"school_id": school, "unit_id": unit, "week": [week(number) for number in numbers]})
    return made.assign(week=pd.to_datetime(made["week"]).astype("datetime64[us]"))


def test_the_week_of_the_change_is_neither_before_nor_after():
    # Vacuum on Wednesday of week 2; unit 2 never has it, its "after" begins with the first whole week from that day.
    fitted = fittings({"kind": "vacuum", "from_day": week(2) + timedelta(days=2)}, {"unit_id": 2})
    rows = pd.concat([weeks_of(1, 1, 2, 3), weeks_of(2, 1, 2, 3)])
    found = label_weeks(rows, fitted, "vacuum")
    table = {
        (unit, at.date()): (ever, after) for unit, at, ever, after in found[["unit_id", "week", "ever", "after"]].values
    }
    assert table == {
        (1, week(1)): (True, False),
        (1, week(3)): (True, True),
        (2, week(1)): (False, False),
        (2, week(2)): (False, False),
        (2, week(3)): (False, True),
    }
    assert possible_design(found) is Design.BOTH


def test_a_fitting_that_was_replaced_in_a_week_by_its_like_covers_the_week_for_nobody():
    # Taken out on Sunday of week 1: week 1 is whole, week 2 is without.
    fitted = fittings({"kind": "vacuum", "until_day": week(1) + timedelta(days=6)})
    found = label_weeks(weeks_of(1, 1, 2), fitted, "vacuum")
    assert found["fitted"].tolist() == [True, False]


@pytest.mark.parametrize(
    ("cells", "design"),
    [
        ({(True, True), (False, True)}, Design.BETWEEN),
        ({(True, True), (True, False)}, Design.BEFORE_AFTER),
        ({(True, True), (True, False), (False, True)}, Design.BETWEEN),
        ({(True, True), (True, False), (False, False), (False, True)}, Design.BOTH),
        ({(True, True)}, None),
        ({(False, False), (False, True)}, None),
        (set(), None),
    ],
)
def test_the_fullest_design_that_the_weeks_allow(cells, design):
    assert possible_design(pd.DataFrame(sorted(cells), columns=["ever", "after"])) is design


def test_without_any_such_fitting_there_is_nothing_to_compare():
    assert possible_design(label_weeks(weeks_of(1, 1, 2), fittings({}), "vacuum")) is None


# ------------------------------------------------------------------ declarations and evidence


def trial(**more):
    base = {
        "question": "Do cabins with the vacuum take fewer litres for a visit?",
        "units": frozenset(range(12)),
        "comparison_units": frozenset(range(100, 112)),
        "from_day": week(5),
        "until_day": week(13),
        "measure": LITRES,
        "better": Better.LOWER,
        "at_least": 1.0,
        "declared_on": week(1),
    }
    return Declaration(**(base | more))


def both(schools=12, before=(9.0, 9.0), after=(5.0, 9.0), late=0):
    made = []
    for s in range(schools):
        spread = (s % 3) / 10
        for unit, side in ((s, 0), (100 + s, 1)):
            shift = late if side else 0
            made.append((unit, unit, 1, side == 0, False, 1e5 * (before[side] + spread), 100))
            made.append((unit, unit, 9 + shift, side == 0, True, 1e5 * (after[side] - spread), 100))
    return rows_of(*made)


def judged(rows, declaration, design=Design.BOTH):
    return evidence(compare(rows, LITRES, design, Basis.MODELLED), declaration)


def test_a_declared_trial_in_enough_alike_schools_is_fair_and_met():
    found = judged(both(), trial())
    assert found == Evidence(Strength.FAIR, (), Outcome.MET)
    assert "not chosen by lot" in found.sentences()[0]


@pytest.mark.parametrize(
    ("rows", "declaration", "design", "strength", "doubt"),
    [
        (both(), None, Design.BOTH, Strength.WEAK, Doubt.NOT_DECLARED),
        (both(), trial(declared_on=week(5)), Design.BOTH, Strength.WEAK, Doubt.LATE),
        (both(), trial(measure=Measure.AVAILABILITY), Design.BOTH, Strength.WEAK, Doubt.OTHER),
        (both(), trial(units=frozenset({1})), Design.BOTH, Strength.WEAK, Doubt.OTHER),
        (both(), trial(until_day=week(8)), Design.BOTH, Strength.WEAK, Doubt.OTHER),
        (both(), trial(), Design.BEFORE_AFTER, Strength.WEAK, Doubt.NO_COMPARISON),
        (both(late=4), trial(), Design.BOTH, Strength.WEAK, Doubt.APART),
        (both(schools=9), trial(), Design.BOTH, Strength.LIMITED, Doubt.FEW),
        (both(schools=3), trial(), Design.BOTH, Strength.WEAK, Doubt.FEW),
        (both(), trial(), Design.BETWEEN, Strength.LIMITED, Doubt.BASELINE_UNKNOWN),
        (both(before=(7.0, 9.0)), trial(), Design.BOTH, Strength.LIMITED, Doubt.BASELINE_UNLIKE),
        (both(schools=1), trial(), Design.BOTH, Strength.NONE, Doubt.NO_LIMITS),
        (both().assign(visits=float("nan")), trial(), Design.BOTH, Strength.NONE, Doubt.NO_VALUE),
    ],
)
def test_every_doubt_lowers_the_strength_and_is_said(rows, declaration, design, strength, doubt):
    found = judged(rows, declaration, design)
    assert found.strength is strength
    assert doubt in found.doubts
    assert doubt.value in found.sentences()


def test_many_blank_weeks_are_a_doubt():
    rows = both()
    more = rows[rows["after"]].assign(ml=float("nan"))
    assert judged(pd.concat([rows, more]), trial()).doubts == (Doubt.INCOMPLETE,)


def test_a_late_or_a_different_declaration_has_no_outcome():
    assert judged(both(), trial(declared_on=week(6))).outcome is None
    assert judged(both(), None).outcome is None
    assert judged(both(), trial(at_least=6.0)).outcome is Outcome.NOT_MET
    assert judged(both(schools=1), trial()).outcome is Outcome.UNDECIDED


def test_success_needs_the_whole_interval_on_its_side():
    up = trial(better=Better.HIGHER, at_least=0.05)
    assert success(up, Interval(0.1, 0.05, 0.2)) is Outcome.MET
    assert success(up, Interval(0.1, 0.04, 0.2)) is Outcome.UNDECIDED
    assert success(up, Interval(-0.1, -0.2, 0.04)) is Outcome.NOT_MET
    assert success(up, Interval(0.1, None, None)) is Outcome.UNDECIDED


CLAIMS = re.compile(
    r"\b(because|caused?|effects?|led to|thanks to|due to|reduc\w+|improv\w+|saved|proves?|proven)\b", re.I
)


@pytest.mark.parametrize("design", list(Design))
@pytest.mark.parametrize("declaration", [None, trial(), trial(declared_on=date(2031, 12, 1))])
def test_no_sentence_claims_that_the_fitting_did_it(design, declaration):
    found = compare(both(), LITRES, design, Basis.MODELLED)
    said = [*evidence(found, declaration).sentences(), found.unit, found.design.value, difference_figure(found).note]
    said += [
        Strength.NONE.value,
        *[doubt.value for doubt in Doubt],
        *[text for pair in declaration_lines(None) for text in pair],
    ]
    assert [text for text in said if CLAIMS.search(text)] == []
    assert CLAIMS.search("The vacuum reduced litres")  # the search itself works


def test_the_declaration_is_printed_whole():
    lines = dict(declaration_lines(trial()))
    assert lines["Declared"] == "2031-01-06, in time"
    assert lines["Question"] == "Do cabins with the vacuum take fewer litres for a visit?"
    assert (lines["Units with the fitting"], lines["Comparison units"]) == ("12", "12")
    assert (lines["From"], lines["Until"]) == ("2031-02-03", "2031-03-31")
    assert (lines["Measure"], lines["Success"]) == ("litres per visit", "lower by at least 1")
    late = dict(declaration_lines(trial(declared_on=week(6), comparison_units=frozenset())))
    assert late["Declared"].endswith("after it had started")
    assert late["Comparison units"] == "none"


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"until_day": week(4)}, "end before"),
        ({"units": frozenset()}, "at least one unit"),
        ({"question": " "}, "question"),
        ({"comparison_units": frozenset({3})}, "at the same time"),
        ({"at_least": -1.0}, "at least 0"),
        ({"at_least": float("nan")}, "at least 0"),
    ],
)
def test_a_declaration_that_does_not_hold_together_is_refused(wrong, message):
    with pytest.raises(ValueError, match=message):
        replace(trial(), **wrong)
