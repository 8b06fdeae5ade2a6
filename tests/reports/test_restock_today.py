"""Who runs out today, by the small reading, against the term report's own list read the long way."""

from __future__ import annotations

from datetime import date

import pytest

from tests import demo_file
from tests.make import make_programme, make_school, make_term
from tracker.db import make_engine, reading
from tracker.demo_data import DEMO_NOW
from tracker.measures.dials import rows_of
from tracker.measures.reorder import RestockReason
from tracker.records import frames
from tracker.records.people import schools_of
from tracker.reports import facts
from tracker.reports.restock_list import needs_of
from tracker.reports.restock_today import NOW, runs_out


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    engine = make_engine(f"sqlite:///{demo_file.copy_to(tmp_path_factory.mktemp('demo'))}")
    with reading(engine) as session:
        yield session
    engine.dispose()


def test_the_days_list_names_the_schools_of_the_reports_list_with_the_same_numbers(demo):
    term = next(one for one in frames.terms(demo, 1) if one.first_day <= DEMO_NOW.date() <= one.last_day)
    found = runs_out(demo, 1, DEMO_NOW)
    term_facts = facts.gather(demo, 1, term, DEMO_NOW).now
    coming = frames.school_days_ahead(demo, frames.Scope(1, date(2026, 7, 16), found.rounds[1]))
    needs = rows_of(needs_of(term_facts, coming, found.rounds))
    wanted = {(row.school_id, row.on_hand, row.packs) for row in needs if RestockReason(row.reason) in NOW}
    assert {(one.school_id, one.on_hand, one.packs) for one in found.at_risk} == wanted
    assert wanted, "the demo has a school that runs out"


def test_an_area_sees_its_own_schools_only(demo):
    at_risk = {one.school_id for one in runs_out(demo, 1, DEMO_NOW).at_risk}
    areas = {school.id: school.area_id for school in schools_of(demo, 1)}
    others = set(areas.values()) - {areas[one] for one in at_risk}
    assert runs_out(demo, 1, DEMO_NOW, others).at_risk == []


def test_without_two_rounds_planned_nothing_is_judged(session, clock):
    programme = make_programme(session)
    make_school(session, programme)
    make_term(session, programme)
    found = runs_out(session, programme.id, clock())
    assert (found.at_risk, found.rounds) == ([], ())
