"""What a person logged beside what the device counted: a difference is asked about, and both are kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.intake.small_folder import small, write
from tracker.intake.folder import load_folder
from tracker.intake.rules import check_facts, noted, parse_facts
from tracker.models.school import School
from tracker.records.context import ReadingInfo, school_context
from tracker.records.context_rows import DialInfo
from tracker.vocabulary import Quantity, Source

NOW = datetime(2026, 3, 28, 9, tzinfo=UTC)
WEEK = date(2026, 1, 19)  # a Monday; the programme's zone is UTC+3
DIAL = DialInfo(Quantity.VISITS, datetime(2026, 1, 1, tzinfo=UTC), None, 5, 1, 0, None)
READ_AT = datetime(2026, 1, 23, 12, tzinfo=UTC)


@pytest.fixture
def context(session, tmp_path):
    load_folder(session, write(tmp_path / "folder", small()), now=NOW)
    found = school_context(session, session.query(School.id).scalar(), WEEK, WEEK + timedelta(days=6))
    unit = replace(found.units["G1"], dials=(DIAL,))
    return replace(found, units={**found.units, "G1": unit})


def heard(context, *readings: tuple[float, int]):
    """The school with a device that showed so much, so many hours from when the person read."""
    told = tuple(ReadingInfo(READ_AT + timedelta(hours=hours), value) for hours, value in readings)
    return replace(context, readings={**context.readings, ("G1", Quantity.VISITS, Source.DEVICE): told})


def reading(value: int, source: str = "tally", note: str = ""):
    return {
        "unit": "G1",
        "quantity": "visits",
        "source": source,
        "at_local_time": "2026-01-23T15:00",
        "value": str(value),
        "note": note,
    }


def asked(context, table, rows):
    facts, problems = parse_facts({table: rows})
    assert problems == []
    return [one for one in check_facts(context, facts, now=NOW) if one.rule.endswith("_unlike_device")]


@pytest.mark.parametrize("value", [495, 500, 515, 525])
def test_a_reading_between_the_device_s_is_not_asked_about(context, value):
    assert asked(heard(context, (-2, 500), (3, 520)), "readings", [reading(value)]) == []


@pytest.mark.parametrize(("value", "said"), [(494, "had shown 500 before"), (526, "showed 520 afterwards")])
def test_a_reading_outside_the_device_s_is_asked_about_once(context, value, said):
    (one,) = asked(heard(context, (-2, 500), (3, 520)), "readings", [reading(value)])
    assert one.soft and said in one.message and "Both are kept" in one.message
    assert asked(heard(context, (-2, 500), (3, 520)), "readings", [reading(value, note="looked twice")]) == []
    facts, _ = parse_facts({"readings": [reading(value, note="looked twice")]})
    kept = [question.rule for question in noted(heard(context, (-2, 500), (3, 520)), facts)]
    assert "reading_unlike_device" in kept, "the question stays beside the sheet"


@pytest.mark.parametrize("readings", [(), ((-49, 900),), ((49, 10),), ((-2, 99_990), (3, 40))])
def test_a_device_not_heard_near_or_over_its_end_says_nothing(context, readings):
    value = 99_995 if len(readings) == 2 else 500
    assert asked(heard(context, *readings), "readings", [reading(value)]) == []


def test_the_device_s_own_reading_is_not_held_against_itself(context):
    assert asked(heard(context, (-2, 500)), "readings", [reading(100, source="device")]) == []


def grid(total: int):
    row = {"unit": "G1", "first_day": "2026-01-20", "days": "1", "source": "tally", "how": "grid"}
    return [row | {"slot": "B1", "visits": "1"}, row | {"slot": "B2", "visits": str(total - 1)}]


def device_week(context, count: int, before_h: float = 2, after_h: float = 2):
    """The device heard so many hours before Monday 00:00 and before the next Monday 00:00, local time."""
    monday = datetime(2026, 1, 18, 21, tzinfo=UTC)
    told = (
        ReadingInfo(monday - timedelta(hours=before_h), 99_950),
        ReadingInfo(monday + timedelta(days=7) - timedelta(hours=after_h), (99_950 + count) % 100_000),
    )
    return replace(context, readings={**context.readings, ("G1", Quantity.VISITS, Source.DEVICE): told})


@pytest.mark.parametrize(("total", "counted", "is_asked"), [(100, 100, 0), (90, 100, 0), (89, 100, 1), (100, 89, 1)])
def test_a_week_of_tallies_is_held_against_the_device_s_count(context, total, counted, is_asked):
    # 10 % of the larger: 100 and 90 differ by 10, which is not more than 10; 100 and 89 by 11
    found = asked(device_week(context, counted), "usage_counts", grid(total))
    assert len(found) == is_asked
    if found:
        assert f"{total} visits were tallied" in found[0].message and f"counted {counted}" in found[0].message


def test_a_device_not_heard_at_both_ends_of_the_week_says_nothing(context):
    assert asked(device_week(context, 10, before_h=25), "usage_counts", grid(100)) == []
    assert asked(device_week(context, 10, after_h=25), "usage_counts", grid(100)) == []
