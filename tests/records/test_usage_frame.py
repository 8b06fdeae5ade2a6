"""Visits summed by the database: by unit, week, way and source, also where a week has several of them."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from sqlalchemy.orm import Session

from tests.make import make_programme, make_school, make_unit
from tracker.models.usage import UsageCount
from tracker.records import frames
from tracker.vocabulary import CountWay, Source

MONDAY = date(2026, 1, 12)


def count(unit, day, visits, *, source=Source.TALLY, how=CountWay.GRID, slot="B1"):
    week = day - timedelta(days=day.weekday())
    return UsageCount(
        unit_id=unit.id, week=week, first_day=day, days=1, slot=slot, source=source, how=how, visits=visits
    )


def test_tally_and_device_side_by_side_stay_apart_and_other_units_are_summed(any_engine):
    with Session(any_engine) as session:
        programme = make_programme(session)
        school = make_school(session, programme)
        one, two = make_unit(session, school), make_unit(session, school)
        tuesday, next_week = MONDAY + timedelta(days=1), MONDAY + timedelta(days=7)
        session.add_all(
            [
                count(one, MONDAY, 3),
                count(one, tuesday, 4),
                count(one, tuesday, 9, source=Source.DEVICE),
                count(one, next_week, 5, how=CountWay.DRAWN),
                count(two, MONDAY, 10),
                count(two, MONDAY, 20, slot="B2"),
                count(two, next_week, 1),
            ]
        )
        session.flush()
        scope = frames.Scope(programme.id, MONDAY, next_week + timedelta(days=4))
        found = frames.usage(session, scope)
        rows = [(r.unit_id, r.week, r.how, r.source, r.visits, r.cells) for r in found.itertuples()]
        first, second = pd.Timestamp(MONDAY), pd.Timestamp(next_week)
        assert rows == [
            (one.id, first, "grid", "device", 9, 1),
            (one.id, first, "grid", "tally", 7, 2),
            (one.id, second, "drawn", "tally", 5, 1),
            (two.id, first, "grid", "tally", 30, 2),
            (two.id, second, "grid", "tally", 1, 1),
        ]
        only_first = frames.Scope(programme.id, MONDAY, MONDAY + timedelta(days=4))
        assert frames.usage(session, only_first)["visits"].tolist() == [9, 7, 30]
        session.rollback()
