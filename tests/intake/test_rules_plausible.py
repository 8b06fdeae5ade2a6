"""Visits beside pupils, and what is left beside what came: asked once at the boundary, never refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.intake.small_folder import small, write
from tracker.intake.folder import load_folder
from tracker.intake.rules import check_facts, parse_facts
from tracker.models.school import School
from tracker.records.context import Brought, school_context

NOW = datetime(2026, 3, 28, 9, tzinfo=UTC)
WEEK = date(2026, 1, 19)


@pytest.fixture
def loaded(session, tmp_path):
    load_folder(session, write(tmp_path / "folder", small()), now=NOW)
    session.commit()
    return session


def context_of(session, **more):
    """The school's second week."""
    context = school_context(session, session.query(School.id).scalar(), WEEK, WEEK + timedelta(days=6))
    return replace(context, **more)


def asked(context, rule, **rows):
    facts, problems = parse_facts(rows)
    assert problems == []
    return [one for one in check_facts(context, facts, now=NOW) if one.rule == rule]


def total(unit, visits, note=""):
    return {"unit": unit, "first_day": "2026-01-19", "days": "5", "slot": "all", "source": "tally",
            "how": "week_total", "visits": str(visits), "note": note}  # fmt: skip


@pytest.mark.parametrize(("second", "asks"), [(599, 0), (600, 0), (601, 1)])
def test_visits_of_all_toilets_beyond_three_a_pupil_and_day_are_asked_about(loaded, second, asks):
    # 40 girls and 40 boys; 3 a school day (the setting's default): 80 x 3 x 5 = 1200 in the week; 600 and 600, by hand
    found = asked(context_of(loaded), "more_than_pupils_make", usage_counts=[total("G1", 600), total("G2", second)])
    assert len(found) == asks
    assert all(one.soft and "1201 visits" in one.message and "80 pupils" in one.message for one in found)


def left(pieces, place="S1-M1"):
    return {"place": place, "product": "PAD", "day": "2026-01-23", "quantity": str(pieces)}


def move(pieces, start="S1-C", to="S1-M1", reason="refill"):
    return {"ref": f"R-{start}-{to}", "from_place": start, "to_place": to, "product": "PAD", "lot": "unknown",
            "quantity": str(pieces), "day": "2026-01-21", "reason": reason, "note": ""}  # fmt: skip


@pytest.mark.parametrize(("pieces", "asks"), [(24, 0), (25, 0), (26, 1)])
def test_more_left_than_stood_and_came_is_asked_about(loaded, pieces, asks):
    # the machine held 20 on 16 January (tests/intake/small_folder.py) and 5 were put in: 25 at most, by hand
    found = asked(context_of(loaded), "more_left_than_came", stock_counts=[left(pieces)], stock_moves=[move(5)])
    assert len(found) == asks
    assert all(one.soft and "26 pieces are left" in one.message and "can be 25." in one.message for one in found)


def test_what_a_round_brought_counts_too_and_a_place_never_counted_is_not_asked_about(loaded):
    brought = {Brought("S1-M1", "PAD", date(2026, 1, 22)): 4}
    context = context_of(loaded, brought=brought)
    assert asked(context, "more_left_than_came", stock_counts=[left(24)]) == []
    assert len(asked(context, "more_left_than_came", stock_counts=[left(25)])) == 1
    assert asked(context, "more_left_than_came", stock_counts=[left(500, "S1-C")]) == []
