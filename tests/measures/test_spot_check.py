"""Who is checked, and what the checks say. Worked by hand beside each test; no outside source unless named."""

from __future__ import annotations

import math
from collections import Counter
from datetime import date

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tracker.measures.spot_check import NOTHING_CHECKED, Tolerance, agreement, draw, draw_week
from tracker.vocabulary import Basis

NAN = math.nan
FIGURES = ["visits", "water", "napkins left", "days sold out"]


def programme(*sizes: int) -> dict[str, str]:
    """Schools of areas A, B, … of these sizes."""
    return {f"{chr(65 + area)}{n:02d}": chr(65 + area) for area, size in enumerate(sizes) for n in range(size)}


def all_figures(schools):
    return dict.fromkeys(schools, FIGURES)


def checks(*rows) -> pd.DataFrame:
    """(school, figure, reported, found)."""
    made = pd.DataFrame(rows, columns=["school", "figure", "reported", "found"])
    return made.astype({"reported": "float64", "found": "float64", "school": "str", "figure": "str"})


# The draw


@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(1, 9), min_size=1, max_size=5), st.integers(0, 20), st.text(max_size=8), st.integers(1, 5))
def test_a_draw_is_the_same_again_and_gives_every_area_its_share(sizes, count, seed, each):
    schools = programme(*sizes)
    found = draw(schools, all_figures(schools), count, seed, each=each)
    turned = dict(reversed(schools.items()))
    assert draw(turned, dict.fromkeys(turned, FIGURES[::-1]), count, seed, each=each) == found
    drawn, total = min(count, len(schools)), len(schools)
    assert len(set(found.schools)) == len(found.schools) == drawn
    by_area = Counter(schools[school] for school in found.schools)
    for area, size in Counter(schools.values()).items():
        assert math.floor(drawn * size / total) <= by_area[area] <= math.ceil(drawn * size / total)
    assert len(found.checks) == drawn * min(each, len(FIGURES))
    assert all(check.area == schools[check.school] and check.figure in FIGURES for check in found.checks)


def test_every_school_and_every_figure_has_the_chance_that_is_stated():
    # 3 of 7 schools, 2 of 4 figures: 3/7 and 3/14. Over 2,000 seeds a share lies within 4 standard errors,
    # 4·√(3/7·4/7/2000) = 0.044, of its chance. A draw that rounds each area for itself (3·2/7 of area A is 1 school
    # of 2, chance 1/2) is 0.071 away and would fail.
    schools, runs = programme(2, 4, 1), 2000
    seen: Counter[str] = Counter()
    figures: Counter[tuple[str, str]] = Counter()
    for number in range(runs):
        found = draw(schools, all_figures(schools), 3, f"term {number}", each=2)
        assert found.school_chance == pytest.approx(3 / 7)
        assert [check.chance for check in found.checks] == pytest.approx([3 / 14] * 6)
        seen.update(found.schools)
        figures.update((check.school, check.figure) for check in found.checks)
    assert all(abs(seen[school] / runs - 3 / 7) < 0.044 for school in schools)
    spread = 4 * math.sqrt(3 / 14 * 11 / 14 / runs)
    assert all(abs(figures[school, name] / runs - 3 / 14) < spread for school in schools for name in FIGURES)


def test_a_school_that_reports_nothing_is_not_drawn_from():
    schools = {"A1": "A", "A2": "A"}
    found = draw(schools, {"A1": [], "A2": ["visits"]}, 5, "x")
    assert (found.schools, found.school_chance) == (("A2",), 1.0)
    assert draw(schools, {}, 5, "x").checks == ()


def test_another_term_draws_others():
    schools = programme(10, 10)
    assert len({draw(schools, all_figures(schools), 4, f"term {n}").schools for n in range(10)}) > 5


def test_a_draw_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="0 schools or more"):
        draw({}, {}, -1, "x")
    with pytest.raises(ValueError, match="without an area: A9"):
        draw({"A1": "A"}, {"A9": ["visits"]}, 1, "x")


# Reported against found


def test_shares_and_factors_of_three_schools():
    # Within 5 % or 1: S1 100/104 (4 ≤ 5.2) yes, 10/11 yes (1); S2 50/80 no, 20/20 yes; S3 200/190 no (10 > 9.5), 0/0
    # yes.
    # Agreeing 2, 1, 1 of 2, 2, 2: R = 4/6; residuals 2/3, −1/3, −1/3, squares 2/3; se = √(3/2 · 2/3) ÷ 6 = 1/6;
    # t(2) = 4.302653: 0.667 ± 0.717, cut at 0 and 1.
    found = agreement(
        checks(
            ("S1", "visits", 100, 104),
            ("S2", "visits", 50, 80),
            ("S3", "visits", 200, 190),
            ("S1", "napkins", 10, 11),
            ("S2", "napkins", 20, 20),
            ("S3", "napkins", 0, 0),
        )
    )
    assert (found.within.value, found.within.low, found.within.high) == (pytest.approx(4 / 6), 0, 1)
    assert (found.within.used, found.within.expected, found.within.basis) == (6, 6, Basis.SAMPLED)
    assert "within 5 % of what was found, or within 1" in found.within.note
    # visits: R = 374/350; residuals y − R·x = −2.857, 26.571, −23.714.
    ratio = 374 / 350
    squares = sum((y - ratio * x) ** 2 for y, x in ((104, 100), (80, 50), (190, 200)))
    half = stats.t.ppf(0.975, 2) * math.sqrt(3 / 2 * squares) / 350
    visits = found.factors["visits"]
    assert (visits.value, visits.low, visits.high) == pytest.approx((ratio, ratio - half, ratio + half))
    assert (visits.used, visits.expected, visits.records) == (3, 3, "schools")
    assert found.differences[["school", "figure"]].values.tolist()[:2] == [["S2", "visits"], ["S1", "napkins"]]
    assert found.differences["apart"].tolist()[:2] == pytest.approx([30 / 80, 1 / 11])


def test_schools_that_differ_widen_the_limits_beyond_those_of_independent_checks():
    # Two schools all right, two all wrong, 10 checks each: Wilson over 40 checks would say 0.352 to 0.648.
    # By school: residuals ±5, se = √(4/3·100)/40 = 0.2887, t(3) = 3.182: 0.5 ± 0.919.
    rows = [(f"S{s}", f"f{n}", 100, 100 if s < 2 else 200) for s in range(4) for n in range(10)]
    share = agreement(checks(*rows)).within
    assert (share.value, share.low, share.high) == (0.5, 0, 1)


def test_agreement_everywhere_is_not_certainty():
    # 5 schools × 3 checks that all agree: Wilson 5 of 5, low = 5 ÷ (5 + 1.96²) = 0.5655; the spread of schools is 0.
    rows = [(f"S{s}", f"f{n}", 7, 7) for s in range(5) for n in range(3)]
    share = agreement(checks(*rows)).within
    assert (share.value, share.high) == (1, 1)
    assert share.low == pytest.approx(5 / (5 + stats.norm.ppf(0.975) ** 2))
    none = agreement(checks(*((s, f, 7, 70) for s, f, _, _ in rows))).within
    assert (none.value, none.low) == (0, 0) and none.high == pytest.approx(1 - share.low)


def test_one_school_is_said_to_be_one_and_has_no_limits_of_its_factor():
    found = agreement(checks(("S1", "visits", 100, 90), ("S1", "water", 40, 40)))
    assert "one school" in found.within.note
    assert (found.within.value, found.factors["visits"].value, found.factors["visits"].low) == (0.5, 0.9, None)


def test_what_was_not_checked_is_neither_agreement_nor_difference():
    found = agreement(checks(("S1", "visits", 100, NAN), ("S2", "visits", 100, 100)))
    assert (found.within.value, found.within.used, found.within.expected) == (1, 1, 2)
    nothing = agreement(checks(("S1", "visits", 100, NAN)))
    assert (nothing.within.value, nothing.within.note, nothing.within.expected) == (None, NOTHING_CHECKED, 1)
    assert nothing.factors["visits"].note == NOTHING_CHECKED and nothing.differences.empty
    assert agreement(checks()).within.note == NOTHING_CHECKED


def test_what_was_found_but_never_reported_is_counted_apart():
    found = agreement(checks(("S1", "visits", NAN, 30), ("S2", "visits", 100, 100)))
    assert (found.not_reported, found.within.used, found.factors["visits"].value) == (1, 1, 1)


def test_nothing_reported_in_total_has_no_factor():
    factor = agreement(checks(("S1", "visits", 0, 30), ("S2", "visits", 0, 0))).factors["visits"]
    assert factor.value is None and factor.used == 2 and "no factor" in factor.note


@pytest.mark.parametrize(("found", "agrees"), [(104.9, 1), (105.26, 1), (105.3, 0), (95.24, 1), (95.2, 0)])
def test_the_tolerance_is_a_share_of_what_was_found(found, agrees):
    # 105.26·0.05 = 5.263 ≥ 5.26; 105.3·0.05 = 5.265 < 5.3; 95.24·0.05 = 4.762 ≥ 4.76; 95.2·0.05 = 4.76 < 4.8.
    assert agreement(checks(("S1", "water", 100, found))).within.value == agrees


def test_tolerances_and_checks_that_make_no_sense_are_refused():
    with pytest.raises(ValueError, match="below 0"):
        Tolerance(share=-0.1)
    with pytest.raises(ValueError, match="negative"):
        agreement(checks(("S1", "visits", -1, 3)))
    with pytest.raises(ValueError, match="twice"):
        agreement(checks(("S1", "visits", 1, 3), ("S1", "visits", 2, 3)))


def test_every_week_of_a_drawn_figure_has_the_same_chance():
    # 3000 draws of one of three weeks: 1000 each, standard deviation sqrt(3000 * 1/3 * 2/3) = 25.8; 4 of them is 103
    weeks = [date(2031, 1, 6), date(2031, 1, 13), date(2031, 1, 20)]
    drawn = [draw_week("S1", "visits", weeks, f"term {number}") for number in range(3000)]
    assert all(abs(drawn.count(week) - 1000) < 103 for week in weeks)
    assert draw_week("S1", "visits", reversed(weeks), "term 7") == drawn[7]  # the order of the list does not matter


def test_a_figure_without_a_week_on_record_cannot_be_drawn():
    with pytest.raises(ValueError, match="no week on record"):
        draw_week("S1", "visits", [], "term 1")


def test_schools_that_all_came_out_alike_show_no_spread_and_give_no_range():
    # found = reported at three schools: every residual is 0, and limits of 1 to 1 would claim to know all other schools
    rows = pd.DataFrame({"school": ["A", "B", "C"], "figure": "visits", "reported": [10.0, 20.0, 30.0]})
    factor = agreement(rows.assign(found=rows["reported"])).factors["visits"]
    assert (factor.value, factor.low, factor.high) == (1.0, None, None)
    assert "show no spread" in factor.note
