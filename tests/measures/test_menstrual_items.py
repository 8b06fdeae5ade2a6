"""Menstrual-health items of a school. Wording of the items: from memory, unconfirmed, except the emergency item."""

from __future__ import annotations

import itertools

import pytest

from tracker.measures.menstrual_items import ITEMS, Standing, menstrual_items, share_of_schools, standing

WASHING = ITEMS["washing"]


# jmp.exp.mhm (from memory, unconfirmed): water and soap in a private space. Blanks: arithmetic.
@pytest.mark.parametrize(
    ("private", "water", "soap", "found"),
    [
        ("yes", "yes", "yes", "yes"),
        ("yes", "yes", "no", "no"),
        ("no", "", "", "no"),
        ("yes", "yes", "", "not classified"),
        ("", "", "", "not classified"),
    ],
)
def test_water_and_soap_in_a_private_space(private, water, soap, found):
    answers = {"mh_wash_private": private, "mh_wash_water": water, "mh_wash_soap": soap}
    assert standing(WASHING, answers) == found


def test_a_blank_never_changes_what_all_its_answers_would_give():
    for given in itertools.product(("yes", "no", ""), repeat=3):
        found = standing(WASHING, dict(zip(WASHING.questions, given, strict=True)))
        if found != Standing.NOT_CLASSIFIED:
            filled = itertools.product(*[(answer,) if answer else ("yes", "no") for answer in given])
            assert {standing(WASHING, dict(zip(WASHING.questions, full, strict=True))) for full in filled} == {found}


def test_a_school_without_an_inspection_is_not_classified_in_anything():
    assert set(menstrual_items({}).values()) == {Standing.NOT_CLASSIFIED}
    assert set(menstrual_items({"water_source": "improved"}).values()) == {Standing.NOT_CLASSIFIED}


def test_only_the_emergency_item_was_read_in_its_source():
    # mhh.2, Hennegan et al. 2023, table 1 (read): emergency materials available ÷ schools.
    assert [key for key, item in ITEMS.items() if item.confirmed] == ["emergency"]


def test_share_of_schools_with_emergency_supplies_and_what_blanks_allow():
    # Indicator 2 over eight schools: 3 yes, 2 no, 3 not answered: 3/5; 3/8 to 6/8.
    schools = [{"mh_emergency": answer} for answer in ("yes", "yes", "yes", "no", "no", "")] + [{}, {"mh_bin": "no"}]
    found = share_of_schools("emergency", schools)
    assert (found.value, found.low, found.high) == (0.6, 0.375, 0.75)
    assert (found.used, found.expected, found.records) == (5, 8, "schools")
    assert "without an answer" in found.note


def test_a_missing_answer_is_not_a_no():
    assert share_of_schools("bin", [{}, {}]).value is None
    whole = share_of_schools("bin", [{"mh_bin": "no"}])
    assert (whole.value, whole.low, whole.high, whole.note) == (0, 0, 0, "")
    assert share_of_schools("bin", []).value is None


def test_an_answer_that_is_neither_yes_nor_no_is_refused():
    with pytest.raises(ValueError, match='"mh_bin" must be answered yes or no, got "maybe"'):
        menstrual_items({"mh_bin": "maybe"})
