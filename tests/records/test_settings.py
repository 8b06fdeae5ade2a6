"""Settings are dated, bounded, and have a default."""

from datetime import date

import pytest

from tests.make import make_programme
from tracker.models.programme import ProgrammeSetting
from tracker.records.settings import KEYS, all_settings, refusal, setting


def test_a_value_holds_from_its_day_on_and_the_default_before(session):
    programme = make_programme(session)
    for day, value in ((date(2026, 1, 10), 48), (date(2026, 2, 1), 24)):
        session.add(ProgrammeSetting(programme_id=programme.id, key="promise_restore_hours", from_day=day, value=value))
    session.flush()
    days = (date(2026, 1, 9), date(2026, 1, 10), date(2026, 1, 31), date(2026, 2, 1))
    assert [setting(session, programme.id, "promise_restore_hours", day) for day in days] == [72, 48, 48, 24]


def test_another_programmes_settings_do_not_count(session):
    mine, other = make_programme(session), make_programme(session)
    session.add(ProgrammeSetting(programme_id=other.id, key="sheet_due_days", from_day=date(2026, 1, 1), value=9))
    session.flush()
    assert all_settings(session, mine.id, date(2026, 6, 1))["sheet_due_days"] == 3


def test_the_smallest_count_may_be_raised_and_never_lowered():
    assert refusal("small_count_min", 20) is None
    assert refusal("small_count_min", 10) is None
    assert refusal("small_count_min", 9) is not None


def test_an_unknown_key_is_an_error(session):
    with pytest.raises(KeyError):
        setting(session, 1, "colour", date(2026, 1, 1))


def test_every_default_lies_in_its_bounds():
    assert [one.key for one in KEYS if refusal(one.key, one.default)] == []
