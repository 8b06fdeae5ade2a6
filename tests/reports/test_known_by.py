"""The instant a report is made for: the last full hour, or the newest change since."""

from datetime import UTC, datetime, timedelta

from tests.make import make_programme
from tracker.reports.build import known_by

NOON = datetime(2026, 7, 15, 12, tzinfo=UTC)


def test_without_a_change_since_the_hour_it_is_the_hour(session):
    assert known_by(session, NOON + timedelta(minutes=59)) == NOON
    session.info["now"] = NOON - timedelta(minutes=5)
    make_programme(session)
    assert known_by(session, NOON + timedelta(minutes=20)) == NOON


def test_a_change_since_the_hour_is_in_it(session):
    session.info["now"] = NOON + timedelta(minutes=7)
    make_programme(session)
    assert known_by(session, NOON + timedelta(minutes=20)) == NOON + timedelta(minutes=7)


def test_a_change_of_a_clock_that_runs_ahead_is_not_waited_for(session):
    session.info["now"] = NOON + timedelta(hours=3)
    make_programme(session)
    assert known_by(session, NOON + timedelta(minutes=20)) == NOON + timedelta(minutes=20)
