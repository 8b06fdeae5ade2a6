"""Readings of devices: kept whole or refused whole, never finer than needed, the same in whatever order they come."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select

from tests.browse import Clock, make_app
from tests.make import make_person, make_school
from tests.web.feed_world import KEY, NOON, build_devices, dial, record, send
from tests.web.test_access import database_hash
from tracker import models as m
from tracker.db import reading, writing
from tracker.records import channels
from tracker.vocabulary import Cause, Quantity, Role, Signal, Source
from tracker.web.security import token_hash

HOUR, DAY = 3600, 86400


@pytest.fixture
def devices(session):
    world = build_devices(session)
    session.commit()
    return world


def kept(session, unit, quantity):
    rows = select(m.usage.Reading).where(
        m.usage.Reading.unit_id == unit.id,
        m.usage.Reading.quantity == quantity,
        m.usage.Reading.source == Source.DEVICE,
    )
    with reading(session.get_bind()) as look:
        return [(row.at, row.value) for row in look.scalars(rows.order_by(m.usage.Reading.at))]


def outages(session):
    rows = select(m.outages.Outage).order_by(m.outages.Outage.unit_id, m.outages.Outage.start_at)
    with reading(session.get_bind()) as look:
        return [(row.unit_id, row.cause, row.start_at, row.end_at) for row in look.scalars(rows)]


def at(seconds: float) -> datetime:
    return datetime.fromtimestamp(NOON + seconds, UTC)


def test_a_counter_is_kept_by_the_hour(client, session, devices):
    assert send(client, [record("visits", 100), record("visits", 112, 900), record("visits", 130, HOUR)]).json == {
        "taken": 3
    }
    assert kept(session, devices.cabin, Quantity.VISITS) == [
        (datetime(2026, 2, 3, 9, 59, tzinfo=UTC), 112),
        (datetime(2026, 2, 3, 10, 59, tzinfo=UTC), 130),
    ]


def test_of_vends_a_day_and_of_long_visits_a_week_is_the_finest_time_on_record(client, session, devices):
    sent = [record("vends", 7), record("vends", 9, 4 * HOUR), record("long", 3), record("long", 5, 20 * HOUR)]
    assert send(client, sent).status_code == 200
    # the day ends at midnight in UTC+3, the week (from Monday) on Sunday 8 February
    assert kept(session, devices.machine, Quantity.VENDS) == [(datetime(2026, 2, 3, 20, 59, tzinfo=UTC), 9)]
    assert kept(session, devices.cabin, Quantity.LONG_VISITS) == [(datetime(2026, 2, 8, 20, 59, tzinfo=UTC), 5)]
    with session.no_autoflush:
        times = session.scalars(select(m.channels.DeviceCounter.until_at)).all()
    assert {(one.minute, one.second) for one in times} == {(59, 0)}


def test_water_is_read_in_steps_of_the_dial(client, session, devices):
    send(client, [record("water", 1234.9, 0, "l"), record("water", 1.26, HOUR, "m3")])
    assert [value for _, value in kept(session, devices.cabin, Quantity.WATER)] == [123, 126]


def test_a_counter_runs_on_over_its_end_and_over_a_restart(client, session, devices):
    shown = [9990, 4, 20, 3]  # four digits: over the end to 4, then a restart from 20 to 0 and 3 counted since
    send(client, [record("visits", value, number * HOUR) for number, value in enumerate(shown)])
    assert [value for _, value in kept(session, devices.cabin, Quantity.VISITS)] == [9990, 4, 20, 23]


def test_a_late_reading_moves_what_came_after_it(client, session, devices):
    send(client, [record("visits", 500), record("visits", 10, 2 * HOUR)])
    assert [value for _, value in kept(session, devices.cabin, Quantity.VISITS)] == [500, 510]
    send(client, [record("visits", 540, HOUR)])
    assert [value for _, value in kept(session, devices.cabin, Quantity.VISITS)] == [500, 540, 550]


def test_a_new_dial_begins_with_what_it_shows(client, session, devices):
    old = session.scalars(
        select(m.units.Dial).where(m.units.Dial.quantity == Quantity.VISITS, m.units.Dial.unit_id == devices.cabin.id)
    ).one()
    old.until_at, old.last_value = at(HOUR), 700
    dial(session, devices.cabin, Quantity.VISITS, 6, from_at=at(HOUR))
    session.commit()
    send(client, [record("visits", 650), record("visits", 5, 2 * HOUR)])
    assert [value for _, value in kept(session, devices.cabin, Quantity.VISITS)] == [650, 5]


def test_the_lowest_level_of_a_day_is_kept_in_quarters(client, session, devices):
    send(client, [record("level", 0.8, 0, "/"), record("level", 30, HOUR, "%"), record("level", 0.9, 2 * HOUR, "/")])
    session.rollback()
    rows = session.execute(select(m.usage.Level.day, m.usage.Level.quarters, m.usage.Level.source)).all()
    assert rows == [(date(2026, 2, 3), 1, Source.DEVICE)]


def test_a_low_tank_closes_what_it_feeds_as_one_event_and_opens_it_again(client, session, devices):
    send(client, [record("low", True)])
    units = sorted([devices.cabin.id, devices.other.id, devices.tank.id])
    assert outages(session) == [(unit, Cause.LOW_WATER, at(0), None) for unit in units]
    with reading(session.get_bind()) as look:
        events = look.execute(select(m.outages.Outage.event, m.outages.Outage.said_by)).all()
    assert len(events) == 3 and len(set(events)) == 1
    assert events[0].said_by == "device low"
    send(client, [record("low", True, 600), record("low", False, 1200)])
    assert outages(session) == [(unit, Cause.LOW_WATER, at(0), at(1200)) for unit in units]


def test_a_late_start_makes_one_outage_of_what_was_said_before_and_keeps_the_job(client, session, devices):
    send(client, [record("fault", True, 600)])
    outage = session.scalars(select(m.outages.Outage)).one()
    session.add(
        m.outages.ServiceVisit(
            programme_id=devices.school.programme_id,
            ref="J1",
            unit_id=devices.cabin.id,
            outage_id=outage.id,
            purpose="repair",
            asked_on=date(2026, 2, 3),
        )
    )
    session.commit()
    send(client, [record("fault", True, 0)])
    assert outages(session) == [(devices.cabin.id, Cause.BROKEN, at(0), None)]
    assert session.scalars(select(m.outages.ServiceVisit)).one().ref == "J1"


def test_the_engineers_end_holds_until_the_device_says_it_is_out_again(client, session, devices):
    send(client, [record("fault", True)])
    outage = session.scalars(select(m.outages.Outage)).one()
    outage.end_at = at(1800)
    session.commit()
    send(client, [record("fault", True, 60)])  # said before the end, came late
    assert outages(session) == [(devices.cabin.id, Cause.BROKEN, at(0), at(1800))]
    send(client, [record("fault", True, 3000)])
    assert outages(session)[-1] == (devices.cabin.id, Cause.BROKEN, at(3000), None)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (record("unknown", 1), "No channel"),
        (record("visits", 1, DAY + HOUR), "ahead"),
        (record("visits", 1, -60 * DAY), "not in use"),
        (record("visits", 1.5), "whole numbers"),
        (record("visits", -1), "below 0"),
        (record("visits", 10_000), "4 digits"),
        (record("visits", True), "number"),
        (record("fault", 1), "yes or no"),
        (record("water", 1, 0, "kg"), "l or m3"),
        (record("water", 1), "l or m3"),
        (record("level", 1.2, 0, "/"), "share"),
    ],
)
def test_one_wrong_record_refuses_the_pack_and_nothing_is_kept(client, session, engine, devices, sent, said):
    before = database_hash(engine)
    answer = send(client, [record("visits", 100), sent])
    assert answer.status_code == 422 and answer.mimetype == "application/problem+json"
    assert [one["record"] for one in answer.json["problems"]] == [1]
    assert said in answer.json["problems"][0]["detail"]
    assert database_hash(engine) == before


@pytest.mark.parametrize(("key", "why"), [("", "none"), ("wrong", "not known"), (KEY + "x", "not known")])
def test_without_a_key_in_use_nothing_is_taken(client, session, engine, devices, key, why):
    before = database_hash(engine)
    answer = send(client, [record("visits", 100)], key)
    assert answer.status_code == 401, why
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert database_hash(engine) == before


def test_an_ended_key_and_a_key_of_another_school_reach_nothing(client, session, devices):
    elsewhere = build_elsewhere(session)
    assert send(client, [record("visits", 1)], elsewhere).status_code == 422  # no such channel there
    key = session.scalars(select(m.channels.FeedToken).where(m.channels.FeedToken.token_hash == token_hash(KEY))).one()
    channels.end_key(key, at(0))
    session.commit()
    assert send(client, [record("visits", 1)]).status_code == 401


def test_the_key_that_the_officer_is_shown_once_opens_the_feed(client, session, devices, login_as):
    officer = login_as(
        make_person(session, session.get(m.programme.Programme, devices.school.programme_id), Role.OFFICER)
    )
    address = f"/schools/{devices.school.id}/setup/devices"
    shown = officer.post(f"{address}/keys", data={"label": "new box"}).text
    key = re.search(r'class="newkey".*?<code>([^<]+)</code>', shown, re.DOTALL)[1]
    assert send(client, [record("visits", 100)], key).json == {"taken": 1}
    assert send(client, [record("visits", 101, HOUR)], key[:-1]).status_code == 401
    assert key not in officer.get(address).text
    with reading(session.get_bind()) as look:
        assert key not in " ".join(look.scalars(select(m.channels.FeedToken.token_hash)))


def build_elsewhere(session) -> str:
    school = make_school(session)
    channels.make_key(session, school, "box", token_hash("elsewhere"), at(0))
    session.commit()
    return "elsewhere"


def test_who_tries_many_keys_is_slowed(client, devices):
    answers = [send(client, [record("visits", 1)], f"wrong{number}").status_code for number in range(61)]
    assert answers[-1] == 429 and answers[0] == 401


@pytest.mark.parametrize(
    ("body", "media", "status"),
    [
        (b"[", "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b'[{"n":"visits","t":1770000000,"v":NaN}]', "application/json", 400),
        (b"n=visits", "application/x-www-form-urlencoded", 415),
        (b" " * (256 * 1024 + 1), "application/json", 413),
    ],
)
def test_what_is_no_pack_is_a_problem_in_words(client, devices, body, media, status):
    answer = client.post(
        "/api/readings", data=body, content_type=media, headers={"Authorization": f"Bearer {KEY}"}, with_token=False
    )
    assert answer.status_code == status and answer.mimetype == "application/problem+json"


def test_the_description_is_served_as_openapi(client):
    body = client.get("/api/openapi.json").json
    assert body["openapi"] == "3.1.0" and set(body["paths"]) == {"/api/readings"}


NAMES = ("visits", "vends", "water", "low", "fault", "level")


def records_of():
    counters = st.builds(
        lambda name, value, step: record(name, value, step * 700, "l" if name == "water" else ""),
        st.sampled_from(["visits", "vends", "water"]),
        st.integers(0, 9999),
        st.integers(-40, 40),
    )
    states = st.builds(
        lambda name, on, step: record(name, on, step * 700),
        st.sampled_from(["low", "fault"]),
        st.booleans(),
        st.integers(-40, 40),
    )
    levels = st.builds(lambda share, step: record("level", share, step * 700, "/"), st.floats(0, 1), st.integers(-9, 9))
    return st.lists(counters | states | levels, min_size=1, max_size=25)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(sent=records_of(), data=st.data())
def test_twice_and_shuffled_packs_leave_the_same_database(any_engine, tmp_path, sent, data):
    """The kept rows, readings, levels and outages are the same whatever the order, the packs and the repeats."""
    clock = Clock()
    app = make_app(any_engine, clock, tmp_path / "log.jsonl")
    client = app.test_client()
    with writing(any_engine) as session:
        if session.scalars(select(m.channels.Channel)).first() is None:
            build_devices(session)
            session.commit()
    outcomes = []
    shuffled = data.draw(st.permutations(sent + sent))
    cut = data.draw(st.integers(1, len(shuffled)))
    for packs in ([sent], [pack for pack in (shuffled[:cut], shuffled[cut:]) if pack]):
        for pack in packs:
            assert send(client, pack).status_code == 200
        with writing(any_engine) as session:
            outcomes.append(everything(session))
            empty(session)
            session.commit()
    assert outcomes[0] == outcomes[1]


MADE = (m.outages.Outage, m.usage.Reading, m.usage.Level, m.channels.DeviceCounter, m.channels.DeviceState)


def everything(session):
    """All rows that packs make, without their numbers."""
    found = []
    for model in MADE:
        columns = [column for column in model.__table__.columns if column.name != "id"]
        found.append(sorted(tuple(map(str, row)) for row in session.execute(select(*columns))))
    return found


def empty(session):
    for model in MADE:
        session.execute(delete(model))


def test_the_kept_times_are_not_later_than_the_period_they_stand_for(client, session, devices):
    """An hour's row is dated with its last minute, so that a week's last hour belongs to that week."""
    sunday = datetime(2026, 2, 1, 20, 30, tzinfo=UTC)  # Sunday 23:30 in UTC+3
    send(client, [{"n": "visits", "t": sunday.timestamp(), "v": 5}])
    row = session.scalars(select(m.usage.Reading)).one()
    assert row.week == date(2026, 1, 26) and row.day == date(2026, 2, 1)
    assert row.at - sunday < timedelta(hours=1)


def test_signals_that_count_bear_the_names_of_quantities():
    assert {quantity.value for quantity in Quantity} <= {signal.value for signal in Signal}
