"""Cautions have four parts, say stop and whom to tell, and hold nothing that only a person on the site can know."""

from __future__ import annotations

import html
import re
from datetime import date, timedelta

import pytest
from flask import render_template_string

from tracker.cautions import CAUTIONS, DEFER, Signal, overdue

# Pairs of number and unit, doses and verdicts: what a caution must never hold.
SETTINGS = re.compile(r"\d|°|\bml\b|per cent|%|\bis safe\b|\bsafe to\b|\bset (it|the) to\b|\brepair\b", re.IGNORECASE)


@pytest.mark.parametrize("key", CAUTIONS)
def test_each_caution_has_its_four_parts_an_owner_and_a_day_to_look_again(key):
    caution = CAUTIONS[key]
    assert isinstance(caution.signal, Signal)
    assert caution.hazard
    assert caution.harm
    assert caution.steps
    assert caution.owner
    assert caution.version >= 1
    assert caution.defer == DEFER
    assert "not checked for this site" in caution.standing


@pytest.mark.parametrize("key", CAUTIONS)
def test_no_caution_gives_settings_doses_repairs_or_a_verdict(key):
    caution = CAUTIONS[key]
    assert not SETTINGS.search(" ".join((caution.hazard, caution.harm, *caution.steps)))


def test_the_signal_word_matches_how_bad_it_may_end():
    """DANGER will kill or badly hurt, WARNING could, CAUTION less (idea of ANSI Z535.4, from memory)."""
    assert {key for key, it in CAUTIONS.items() if it.signal is Signal.DANGER} == {"live_parts", "smoke"}
    assert CAUTIONS["bins"].signal is Signal.CAUTION


def test_a_caution_past_its_day_is_listed():
    last = max(caution.review_by for caution in CAUTIONS.values())
    assert overdue(last) == [key for key, it in CAUTIONS.items() if it.review_by < last]
    assert set(overdue(last + timedelta(days=1))) == set(CAUTIONS)
    assert overdue(date(2026, 11, 25)) == []


def test_the_macro_prints_all_parts_in_order(app):
    with app.test_request_context():
        made = render_template_string('{% import "macros/cautions.html" as cautions %}{{ cautions.caution("bins") }}')
    page = html.unescape(made)
    caution = CAUTIONS["bins"]
    parts = (caution.signal.value, caution.hazard, caution.harm, *caution.steps, DEFER, "General advice")
    places = [page.rindex(part) if part == caution.signal.value else page.index(part) for part in parts]
    assert places == sorted(places)
