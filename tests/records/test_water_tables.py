"""Tables of tanks, energy and incinerators: what must always hold, and a migration that takes nothing with it."""

from datetime import date

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from tests.make import FIRST, make_programme, make_school, make_unit
from tracker import models as m
from tracker.db import writing
from tracker.migrate import downgrade, upgrade
from tracker.vocabulary import EnergySource, Every, LitresBasis, PowerPart

WEEK = date(2026, 2, 2)
BEFORE = "20261125_02"


@pytest.fixture
def db(any_engine):
    with writing(any_engine) as session:
        yield session


def refused(session, row) -> bool:
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except DatabaseError:
        return True
    return False


def test_a_tank_holds_something_and_ends_after_it_begins(db):
    unit = make_unit(db, make_school(db))

    def tank(**given):
        return m.water.Tank(
            **({"unit_id": unit.id, "capacity_ml": 1, "inflow_known": False, "from_day": FIRST} | given)
        )

    assert refused(db, tank(capacity_ml=0))
    assert refused(db, tank(until_day=date(2025, 12, 31)))
    assert not refused(db, tank())
    assert refused(db, tank()), "one row of a day"


def test_the_share_of_hand_flushes_lies_between_its_ends(db):
    unit = make_unit(db, make_school(db))

    def hand(low, share, high):
        row = m.water.HandFlush(unit_id=unit.id, ml=6000, share_seen=False, instead=True, from_day=FIRST)
        row.share_low_permille, row.share_permille, row.share_high_permille = low, share, high
        row.litres_basis = LitresBasis.CLAIM
        return row

    assert refused(db, hand(300, 200, 400))
    assert refused(db, hand(100, 200, 1001))
    assert not refused(db, hand(100, 200, 400))


def test_a_part_has_the_numbers_of_its_kind(db):
    unit = make_unit(db, make_school(db))

    def use(part, **numbers):
        return m.water.PowerUse(unit_id=unit.id, part=part, every_n=1, from_day=FIRST, **numbers)

    assert refused(db, use(PowerPart.LIGHT_FAN, watts=12))
    assert refused(db, use(PowerPart.LIGHT_FAN, wh_thousandths=5))
    assert refused(db, use(PowerPart.PUMP, watts=12, seconds=5))
    assert not refused(db, use(PowerPart.LIGHT_FAN, watts=12, seconds=150))
    assert not refused(db, use(PowerPart.PUMP, wh_thousandths=1500))


def test_a_plate_and_a_weeks_output_say_something(db):
    unit = make_unit(db, make_school(db))
    assert refused(db, m.disposal.IncineratorRating(unit_id=unit.id, from_day=FIRST))
    assert refused(db, m.disposal.IncineratorRating(unit_id=unit.id, from_day=FIRST, pads=0))
    assert not refused(db, m.disposal.IncineratorRating(unit_id=unit.id, from_day=FIRST, grams=800))
    assert refused(db, m.disposal.BurnOutput(unit_id=unit.id, week=WEEK))
    assert not refused(db, m.disposal.BurnOutput(unit_id=unit.id, week=WEEK, ash_g=0))


def test_cleaning_runs_at_least_once_and_energy_is_not_below_nothing(db):
    unit = make_unit(db, make_school(db))
    plan = {"unit_id": unit.id, "name": "rinse", "ml": 4000, "every": Every.WEEK, "from_day": FIRST}
    plan["litres_basis"] = LitresBasis.MEASURED
    assert refused(db, m.water.CleaningPlan(**plan, times=0))
    assert not refused(db, m.water.CleaningPlan(**plan, times=1))
    given = {"meter_id": unit.id, "week": WEEK, "origin": EnergySource.SOLAR, "u_permille": 30}
    assert refused(db, m.water.EnergyGiven(**given, wh=-1))
    assert not refused(db, m.water.EnergyGiven(**given, wh=0))
    assert refused(db, m.water.EnergyGiven(**given, wh=5)), "a source has one record a week"


def test_a_lesson_keeps_its_attendance_when_its_new_column_comes_and_goes(any_engine):
    with writing(any_engine) as session:
        programme = make_programme(session)
        school = make_school(session, programme)
        lesson = m.sessions.AwarenessSession(programme_id=programme.id, ref="L", school_id=school.id, topic="Hands")
        lesson.day = lesson.week = WEEK
        lesson.minutes = 40
        session.add(lesson)
        session.flush()
        session.add(m.sessions.Attendance(session_id=lesson.id, sex="girls", grade="6", present=30))
        session.commit()
    downgrade(any_engine, BEFORE)
    upgrade(any_engine)
    with any_engine.connect() as connection:
        assert connection.execute(text("SELECT present FROM attendance")).scalars().all() == [30]
        assert connection.execute(text("SELECT kind FROM awareness_session")).scalars().all() == [None]
