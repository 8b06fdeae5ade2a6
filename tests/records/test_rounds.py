"""Rounds on record: made once, loaded by expiry, handed over without doubling, and every piece accounted for."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import select

from tests.make import make_area, make_school
from tests.records.rounds_world import AT, DAY, World, add
from tracker import models as m
from tracker.db import writing
from tracker.records import ledger, rounds, rounds_close, rounds_drive, rounds_ledger, rounds_roads
from tracker.records.rounds import Division, Place, PlannedDay, PlannedLine, RoundError
from tracker.records.rounds_drive import Handed, Missed
from tracker.vocabulary import HandWhy, LeftOut, MoveReason, RoundState, StopState


@pytest.fixture
def world(any_engine):
    with writing(any_engine) as session:
        session.expire_on_commit = False
        yield World(session)


def test_a_round_is_made_once_however_often_its_form_is_sent(world):
    first = world.made()
    again = rounds.create(world.session, world.programme, world.plan(), world.division(), DAY)
    assert again.id == first.id
    assert len(world.session.scalars(select(m.rounds.Round)).all()) == 1
    assert (first.code, first.state) == ("R20260203-1", RoundState.PLANNED)
    assert [(stop.place_no, stop.arrive_min) for stop in world.stops] == [(1, 481), (2, 482)]


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"day": date(2026, 2, 2)}, "day", "over"),
        ({"next_day": DAY}, "next_day", "later day"),
        ({"pieces": (0, 0)}, "lines", "nothing to any school"),
        ({"pieces": (-1, 5)}, "lines", "fewer than 0"),
        ({"budget_minor": -1}, "budget", "below 0"),
        ({"store_id": 999}, "store", "not on record"),
        ({"days": (PlannedDay(999, DAY, 450, 480),)}, "vehicle", "not on record"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence_at_its_field(world, changed, field, words):
    pieces = {name: changed[name] for name in ("pieces",) if name in changed}
    plan = replace(world.plan(**pieces), **{name: value for name, value in changed.items() if name != "pieces"})
    with pytest.raises(RoundError, match=words) as wrong:
        rounds.create(world.session, world.programme, plan, world.division(), DAY)
    assert wrong.value.field == field


@pytest.mark.parametrize(
    ("starts", "limit", "most", "field"),
    [(1440, 60, None, "starts"), (450, 0, None, "hours"), (450, 1441, None, "hours"), (450, 60, 0, "most_stops")],
)
def test_hours_that_cannot_be_are_refused(world, starts, limit, most, field):
    plan = replace(world.plan(), days=(PlannedDay(world.van.id, DAY, starts, limit, most),))
    with pytest.raises(RoundError) as wrong:
        rounds.create(world.session, world.programme, plan, world.division(), DAY)
    assert wrong.value.field == field


def test_a_vehicle_goes_once_a_day_and_never_in_the_past(world):
    once = PlannedDay(world.van.id, DAY, 450, 480)
    for days, field in (((once, once), "vehicle"), ((replace(once, day=date(2026, 2, 2)),), "day")):
        with pytest.raises(RoundError) as wrong:
            rounds.create(world.session, world.programme, replace(world.plan(), days=days), world.division(), DAY)
        assert wrong.value.field == field


def test_a_school_of_another_programme_is_refused(world):
    other = make_school(world.session)
    plan = replace(world.plan(), lines=(PlannedLine(other.id, world.napkin.id, 5),))
    with pytest.raises(RoundError, match="not on record any more"):
        rounds.create(world.session, world.programme, plan, Division({}, {}), DAY)


def test_setting_out_loads_the_first_expiry_first_and_once(world):
    made = world.under_way()  # 120 of 60 that expire soon and 100 that expire late
    rounds_drive.set_out(world.session, made, world.day, AT, DAY)
    assert world.held(world.vehicle()) == {"SOON": 60, "LATE": 60}
    assert world.held(world.store) == {"LATE": 40}
    assert made.state is RoundState.UNDER_WAY


def test_too_little_in_the_store_is_told_with_figures_and_nothing_is_loaded(world):
    made = world.made(pieces=(100, 100))
    with pytest.raises(
        RoundError, match="has 160 napkins of Day napkin that keep until the next round; this vehicle needs 200"
    ):
        rounds_drive.set_out(world.session, made, world.day, AT, DAY)
    assert world.held(world.store) == {"SOON": 60, "LATE": 100}
    assert made.state is RoundState.PLANNED


def test_expired_lots_are_not_loaded(world):
    world.lots[1].expires_on = date(2026, 2, 2)
    made = world.made(pieces=(80, 40))
    with pytest.raises(RoundError, match="has 100 napkins"):
        rounds_drive.set_out(world.session, made, world.day, AT, DAY)


def test_a_stop_said_twice_moves_once_and_the_last_word_counts(world):
    world.under_way()
    world.hand(0, 80)
    world.hand(0, 80)
    assert sum(world.held(world.cupboards[0]).values()) == 80
    world.hand(0, 70, HandWhy.NO_PLACE)
    assert sum(world.held(world.cupboards[0]).values()) == 70
    assert sum(world.held(world.vehicle()).values()) == 50
    line = rounds.lines_of(world.session, [world.stops[0].id])[world.stops[0].id][0][0]
    assert (line.planned, line.handed, line.why) == (80, 70, HandWhy.NO_PLACE)


def test_what_is_handed_over_leaves_by_first_expiry(world):
    world.under_way()
    world.hand(0, 80)
    assert world.held(world.cupboards[0]) == {"SOON": 60, "LATE": 20}


def test_more_than_is_on_the_vehicle_is_refused_with_figures(world):
    world.under_way()
    world.hand(0, 80)
    with pytest.raises(RoundError, match="with 120 napkins of Day napkin, and 40 are not handed over elsewhere; 41"):
        world.hand(1, 41, HandWhy.MORE_ASKED)
    world.hand(1, 40)
    assert world.held(world.vehicle()) == {}


def test_blank_is_not_zero_a_difference_needs_a_reason_and_somebody_receives(world):
    world.under_way()
    stop, nobody = world.stops[0], Handed({}, {}, "x", AT, DAY, world.driver())
    with pytest.raises(RoundError, match="0 where nothing was"):
        rounds_drive.hand_over(world.session, world.day, stop, nobody)
    with pytest.raises(RoundError, match="80 were planned"):
        world.hand(0, 0)
    with pytest.raises(RoundError, match="who received it"):
        world.hand(0, 80, who="")
    assert stop.state is StopState.TO_DO and world.held(world.cupboards[0]) == {}


def test_a_stop_that_was_not_reached_says_why_and_takes_back_what_was_recorded(world):
    world.under_way()
    world.hand(0, 80)
    with pytest.raises(RoundError, match="Write why"):
        rounds_drive.not_reached(world.session, world.day, world.stops[0], Missed("", AT, world.driver()))
    rounds_drive.not_reached(world.session, world.day, world.stops[0], Missed("Gate locked", AT, world.driver()))
    assert world.held(world.cupboards[0]) == {}
    assert sum(world.held(world.vehicle()).values()) == 120
    assert (world.stops[0].state, world.stops[0].reason) == (StopState.NOT_REACHED, "Gate locked")


def test_nothing_is_handed_over_before_setting_out_or_after_coming_back(world):
    made = world.made()
    with pytest.raises(RoundError, match="not set out yet"):
        world.hand(0, 80)
    rounds_drive.set_out(world.session, made, world.day, AT, DAY)
    world.hand(0, 80)
    world.hand(1, 40)
    world.back(made, 0)
    with pytest.raises(RoundError, match="is back"):
        world.hand(0, 70, HandWhy.OTHER)


def test_a_closed_round_leaves_the_vehicle_empty_and_every_piece_accounted_for(world):
    made = world.under_way()
    world.hand(0, 80)
    world.hand(1, 30, HandWhy.NO_PLACE)
    with pytest.raises(RoundError, match="still out"):
        rounds_close.close(world.session, made, AT)
    with pytest.raises(RoundError, match="120 napkins loaded, 110 handed over, so 10 should have come back; 7 did"):
        world.back(made, 7)
    world.back(made, 7, HandWhy.DAMAGED)
    world.back(made, 7, HandWhy.DAMAGED)  # sent again
    rounds_close.close(world.session, made, AT)
    assert made.state is RoundState.CLOSED
    assert world.held(world.vehicle()) == {}
    assert sum(world.held(world.store).values()) == 40 + 7
    lost = world.session.scalars(select(m.supplies.StockMove).where(m.supplies.StockMove.reason == MoveReason.DAMAGE))
    assert [(move.quantity, move.note) for move in lost] == [(3, "damaged on the way")]
    assert ledger.check(world.session) == []


def test_more_that_comes_back_than_should_is_a_named_difference_too(world):
    made = world.under_way()
    world.hand(0, 80)
    world.hand(1, 30, HandWhy.NO_PLACE)
    world.back(made, 12, HandWhy.MISCOUNT)
    rounds_close.close(world.session, made, AT)
    assert world.held(world.vehicle()) == {} and sum(world.held(world.store).values()) == 52
    kept = world.session.scalar(select(m.rounds.RoundReturn))
    assert (kept.loaded, kept.handed, kept.returned, kept.why) == (120, 110, 12, HandWhy.MISCOUNT)


def test_a_vehicle_is_not_counted_while_a_stop_has_no_record(world):
    made = world.under_way()
    world.hand(0, 80)
    with pytest.raises(RoundError, match="Nothing is recorded yet for School B"):
        world.back(made, 40)


def test_closing_is_refused_where_pieces_are_not_accounted_for(world):
    made = world.under_way()
    world.hand(0, 80)
    world.hand(1, 40)
    world.back(made, 0)
    with ledger.reported(world.session, world.programme.id, {world.vehicle().id, world.cupboards[1].id}):
        for move in rounds_ledger.moves_of(world.session, world.day, "hand", world.stops[1].id):
            world.session.delete(move)  # somebody changed the ledger by hand
    with pytest.raises(RoundError, match="40 are not accounted for"):
        rounds_close.close(world.session, made, AT)


def test_a_vehicle_that_is_out_does_not_set_out_again_with_another_round(world):
    world.under_way(pieces=(10, 10))
    first = world.day
    other = rounds.create(
        world.session,
        world.programme,
        world.plan(key="other-key-0123", pieces=(10, 10)),
        world.division(),
        DAY,
    )
    day = rounds.days_of(world.session, other)[0]
    assert day.id != first.id
    with pytest.raises(RoundError, match="Van is still out with round R20260203-1"):
        rounds_drive.set_out(world.session, other, day, AT, DAY)


def test_a_planned_round_can_be_divided_again_rearranged_and_taken_back(world):
    made = world.made()
    one, two = world.stops
    rounds.rearrange(world.session, made, {world.day.id: [two.id, one.id]}, {one.id: 600, two.id: 500})
    assert [(stop.id, stop.place_no, stop.arrive_min) for stop in rounds.stops_of(world.session, made)] == [
        (two.id, 1, 500),
        (one.id, 2, 600),
    ]
    rounds.rearrange(world.session, made, {world.day.id: [two.id]}, {})
    assert (one.round_day_id, one.left_out) == (None, LeftOut.BY_HAND)
    days = [PlannedDay(world.van.id, DAY, 400, 300, 5), PlannedDay(world.van.id, date(2026, 2, 4), 400, 300)]
    division = Division({world.schools[0].id: Place(1, 1, 430)}, {world.schools[1].id: LeftOut.NO_ROOM})
    rows = rounds.set_days(world.session, made, days, division, DAY)
    assert (one.round_day_id, two.left_out) == (rows[1].id, LeftOut.NO_ROOM)
    rounds_close.cancel(world.session, made)
    assert world.session.scalars(select(m.rounds.RoundStop)).all() == []


def test_stops_of_a_vehicle_that_set_out_stay_and_the_round_cannot_be_taken_back(world):
    made = world.under_way()
    with pytest.raises(RoundError, match="has set out"):
        rounds.rearrange(world.session, made, {world.day.id: [world.stops[0].id]}, {})
    with pytest.raises(RoundError, match="under way"):
        rounds_close.cancel(world.session, made)
    with pytest.raises(RoundError, match="under way"):
        rounds.set_days(world.session, made, [], Division({}, {}), DAY)


def test_closing_a_round_that_never_set_out_says_so_at_its_stops(world):
    made = world.made()
    rounds_close.close(world.session, made, AT)
    assert {stop.reason for stop in world.stops} == {rounds_close.DID_NOT_SET_OUT}


# --- roads and openings ------------------------------------------------------------------------------------------


def school_day(session, school, on, opens=480, closes=900, shift=None):
    shift = shift or session.scalar(select(m.school.Shift.id).where(m.school.Shift.school_id == school.id))
    add(session, m.school.SchoolDay(school_id=school.id, shift_id=shift, day=on, week=on, opens_min=opens,
                                    closes_min=closes))  # fmt: skip


def test_a_school_is_open_on_school_days_in_its_delivery_hours_else_its_school_hours(world):
    one, two = world.schools
    school_day(world.session, one, DAY)
    school_day(world.session, two, DAY)
    for opens, start in ((500, date(2026, 1, 1)), (540, date(2026, 2, 1)), (700, date(2026, 3, 1))):
        add(world.session, m.rounds.DeliveryHours(
            school_id=one.id, weekday=1, opens_min=opens, closes_min=720, from_day=start))  # fmt: skip
    found = rounds_roads.openings(world.session, [one.id, two.id], [DAY, date(2026, 2, 7)])
    assert found[DAY] == {one.id: ((540, 720),), two.id: ((480, 900),)}
    assert found[date(2026, 2, 7)] == {}  # a Saturday


def test_two_shifts_are_one_opening_where_they_touch(world):
    one = world.schools[0]
    late = add(world.session, m.school.Shift(school_id=one.id, code="late", name="Late"))
    school_day(world.session, one, DAY, 450, 720)
    school_day(world.session, one, DAY, 720, 1000, late.id)
    assert rounds_roads.openings(world.session, [one.id], [DAY])[DAY] == {one.id: ((450, 1000),)}


def test_minutes_are_written_changed_and_taken_away_and_what_cannot_be_is_refused(world):
    session, programme = world.session, world.programme.id
    one, two = (make_area(session, world.programme).id for _ in range(2))
    assert rounds_roads.write_minutes(session, programme, {(one, two): 40, (one, one): 15, (two, two): None}) == 2
    assert rounds_roads.minutes_written(session, programme) == {(one, two): 40, (one, one): 15}
    assert rounds_roads.write_minutes(session, programme, {(one, two): 45, (one, one): None}) == 2
    assert rounds_roads.minutes_written(session, programme) == {(one, two): 45}
    for wrong in ({(one, two): 0}, {(one, two): 1441}, {(one, 999): 5}):
        with pytest.raises(rounds_roads.RoadError):
            rounds_roads.write_minutes(session, programme, wrong)


def test_a_store_stands_in_an_area(world):
    area = make_area(world.session, world.programme)
    assert rounds_roads.site_of(world.session, world.store.id) is None
    rounds_roads.set_site(world.session, world.store.id, area.id)
    rounds_roads.set_site(world.session, world.store.id, area.id)
    assert rounds_roads.site_of(world.session, world.store.id).area_id == area.id


# --- two people at once -------------------------------------------------------------------------------------------


def at_once(engine, acts):
    """Each act in a thread and a session of its own, begun together; what each ended with (None: well)."""
    ready, ended = threading.Barrier(len(acts)), [None] * len(acts)

    def run(number, act):
        ready.wait()
        with writing(engine) as session:
            try:
                act(session)
                session.commit()
            except RoundError as refused:
                ended[number] = str(refused)

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=60)
    return ended


def test_four_who_set_the_same_vehicle_under_way_at_once_load_it_once(world, any_engine):
    made, day = world.made().id, world.day.id
    world.session.commit()

    def act(session):
        here = session.get_one(m.rounds.RoundDay, day)
        rounds_drive.set_out(session, session.get_one(m.rounds.Round, made), here, AT, DAY)

    assert at_once(any_engine, [act] * 4) == [None] * 4
    world.session.expire_all()
    assert sum(world.held(world.vehicle()).values()) == 120
    assert ledger.check(world.session) == []


def test_two_stops_that_together_ask_for_more_than_is_on_board_are_not_both_written(world, any_engine):
    world.under_way()
    day, stops, driver = world.day.id, [stop.id for stop in world.stops], world.driver()
    product = world.napkin.id
    world.session.commit()

    def take(stop):
        said = Handed({product: 100}, {product: HandWhy.MORE_ASKED}, "Head teacher", AT, DAY, driver)

        def act(session):
            here = session.get_one(m.rounds.RoundDay, day)
            rounds_drive.hand_over(session, here, session.get_one(m.rounds.RoundStop, stop), said)

        return act

    ended = at_once(any_engine, [take(stop) for stop in stops])
    assert sorted(one is None for one in ended) == [False, True]
    assert "20 are not handed over elsewhere" in next(one for one in ended if one)
    world.session.expire_all()
    assert sum(world.held(world.vehicle()).values()) == 20
    assert ledger.check(world.session) == []
