"""A round's way and papers: room on a vehicle, ways that are guesses, lots that two vehicles share."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import select

from tests.records.rounds_world import AT, DAY, World, add
from tracker import models as m
from tracker.db import make_engine, reading
from tracker.demo_data import DEMO_NOW
from tracker.records import rounds, rounds_drive, rounds_read, rounds_roads
from tracker.records.rounds import PlannedDay, RoundError
from tracker.reports import round_jobs, round_papers, round_way
from tracker.vocabulary import LeftOut


@pytest.fixture
def world(session):
    """The world of rounds with school days on two days, its store in the schools' area, 25 minutes within it."""
    made = World(session)
    made.area = made.schools[0].area_id
    for school in made.schools:
        shift = session.scalar(select(m.school.Shift.id).where(m.school.Shift.school_id == school.id))
        for day in (DAY, date(2026, 2, 4)):
            row = {"school_id": school.id, "shift_id": shift, "day": day, "week": date(2026, 2, 2)}
            add(session, m.school.SchoolDay(**row, opens_min=480, closes_min=720))
    rounds_roads.set_site(session, made.store.id, made.area)
    rounds_roads.write_minutes(session, made.programme.id, {(made.area, made.area): 25})
    return made


def divide(world, plan):
    return round_way.divide(world.session, world.programme.id, plan)


def test_packs_and_litres_both_limit_a_vehicle(world):
    # 80 and 40 napkins are 8 and 4 packs of 10; a pack of 900 mL makes 7,200 and 3,600 mL.
    plan = replace(world.plan(), needs={world.schools[0].id: 5, world.schools[1].id: 1})
    world.van.room_packs = 11
    assert divide(world, plan).division.left_out == {world.schools[1].id: LeftOut.NO_ROOM}
    world.van.room_packs, world.van.room_ml = 12, 10_800
    world.napkin.pack_ml = 900
    assert divide(world, plan).division.left_out == {}
    world.van.room_ml = 10_799
    assert divide(world, plan).division.left_out == {world.schools[1].id: LeftOut.NO_ROOM}
    world.van.room_ml = 3_600
    found = divide(world, plan).division
    assert found.left_out == {world.schools[0].id: LeftOut.TOO_LARGE} and world.schools[1].id in found.places


def test_a_begun_pack_takes_the_room_of_a_pack(world):
    world.van.room_packs = 2
    found = divide(world, world.plan(pieces=(11, 1)))  # two packs and one
    assert list(found.division.left_out.values()) == [LeftOut.NO_ROOM]


def test_ways_that_nobody_wrote_are_guesses_and_those_that_cannot_be_guessed_are_named(world):
    assert divide(world, world.plan()).guessed == 0
    rounds_roads.write_minutes(world.session, world.programme.id, {(world.area, world.area): None})
    with pytest.raises(RoundError, match="how long the way takes, on the page of driving minutes: within Area"):
        divide(world, world.plan())
    for at, school in enumerate(world.schools):
        school.latitude_udeg, school.longitude_udeg = 8_000_000 + at * 100_000, 60_000_000
    site = world.session.scalar(select(m.rounds.StoreSite))
    site.latitude_udeg, site.longitude_udeg = 8_000_000, 60_000_000
    world.session.flush()
    found = divide(world, world.plan())
    # 0.1 degree is 11.12 km: 27 minutes at 25 km an hour, rounded up; 5 minutes to the school beside the store.
    assert (found.guessed, found.travel_min) == (3, 5 + 27 + 27)
    assert found.travel_bound == found.travel_min


def test_a_store_that_stands_nowhere_is_asked_for(world):
    world.session.delete(world.session.scalar(select(m.rounds.StoreSite)))
    world.session.flush()
    with pytest.raises(RoundError, match="in which area the store stands"):
        divide(world, world.plan())


def test_a_chosen_order_beyond_the_hours_is_shown_with_the_minutes_over(world):
    ids = [school.id for school in world.schools]
    day = PlannedDay(world.van.id, DAY, 450, 110)
    way = round_way.day_way(world.session, world.programme.id, world.plan(), day, ids)
    # 07:30, wait at 07:55 to 08:00, 08:20, 08:45, 09:05, back at 09:30: 120 minutes, 10 over.
    assert (way.back_min, way.over_min, way.best_back) == (570, 10, None)
    with pytest.raises(RoundError, match="Take a school out"):
        round_way.best_order(world.session, world.programme.id, world.plan(), day, ids)


def test_a_lot_that_one_vehicle_takes_is_not_offered_to_the_next(world):
    van = add(world.session, m.supplies.Vehicle(programme_id=world.programme.id, code="BIKE", name="Bike"))
    days = (PlannedDay(van.id, DAY, 450, 480, 1), PlannedDay(world.van.id, DAY, 450, 480, 1))
    plan = replace(world.plan(pieces=(50, 120)), days=days)
    made = rounds.create(world.session, world.programme, plan, divide(world, plan).division, DAY)
    lists = round_papers.pick_lists(world.session, rounds_read.view(world.session, made))
    taken = [(one.day.vehicle.name, line.lot, line.pieces) for one in lists for line in one.lines]
    by_lot = {lot: sum(pieces for _, named, pieces in taken if named == lot) for _, lot, _ in taken}
    assert by_lot == {"SOON": 60, "LATE": 100}  # the store has 60 and 100; 170 are planned
    assert sum(len(one.short) for one in lists) == 1


def test_a_lot_that_expires_before_the_day_is_not_picked(world):
    day = PlannedDay(world.van.id, date(2026, 7, 1), 450, 480)
    plan = replace(world.plan(), day=date(2026, 7, 1), next_day=date(2026, 8, 1), days=(day,))
    made = rounds.create(world.session, world.programme, plan, world.division(), DAY)
    (found,) = round_papers.pick_lists(world.session, rounds_read.view(world.session, made))
    assert [(line.lot, line.pieces) for line in found.lines] == [("LATE", 100)]  # SOON expired on 1 June
    assert found.short == (
        "120 napkins of Day napkin are planned, and the store has 100 that keep until the next round. "
        "Take schools out, or count the store.",
    )


def test_a_lot_that_expires_before_the_next_round_is_neither_picked_nor_loaded(world):
    # The plan leaves it in the store (docs/restock.md: "only lots that do not go off before the next round").
    world.lots[1].expires_on = date(2026, 3, 2)  # SOON; the next round is on 3 March
    made = world.made(pieces=(60, 30))
    (found,) = round_papers.pick_lists(world.session, rounds_read.view(world.session, made))
    assert [(line.lot, line.pieces) for line in found.lines] == [("LATE", 90)]
    rounds_drive.set_out(world.session, made, world.day, AT, DAY)
    assert world.held(world.vehicle()) == {"LATE": 90}


def test_a_lot_that_expires_on_the_day_of_the_next_round_is_taken_first(world):
    world.lots[1].expires_on = date(2026, 3, 3)
    made = world.made(pieces=(60, 30))
    (found,) = round_papers.pick_lists(world.session, rounds_read.view(world.session, made))
    assert [(line.lot, line.pieces) for line in found.lines] == [("SOON", 60), ("LATE", 30)]


def test_in_the_demo_the_engineers_side_is_in_order_of_urgency_with_its_ranges(demo_file):
    engine = make_engine(f"sqlite:///{demo_file}")
    with reading(engine) as session:
        programme = session.scalar(select(m.programme.Programme.id))
        side = round_jobs.engineer_side(session, programme, DEMO_NOW, [])
        near = round_jobs.engineer_side(session, programme, DEMO_NOW, [], {-1})
    engine.dispose()
    keys = [(not one.danger, not one.only_accessible, -(one.visits.value or 0.0)) for one in side.faults]
    assert keys == sorted(keys)
    assert side.faults[0].danger and any(one.only_accessible for one in side.faults)
    known = [one.visits for one in side.faults if one.visits.value is not None]
    assert known and all(one.low < one.value < one.high for one in known)
    assert all(one.breaks_a_day >= len(one.units) for one in side.faults)  # every unit loses breaks on a school day
    assert near.faults == () and near.due == ()  # somebody whose areas hold no school
