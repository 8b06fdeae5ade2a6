"""Rounds through the officer's pages and the driver's. Bad input keeps what was typed and says what to do."""

from __future__ import annotations

import re
from datetime import date

import pytest
from sqlalchemy import select

from tests.browse import browser_with, make_app, open_login
from tests.make import make_area, make_block, make_person, make_unit
from tests.records.rounds_world import World, add
from tracker import models as m
from tracker.db import make_engine, reading, writing
from tracker.demo_data import DEMO_NOW
from tracker.records import rounds_roads
from tracker.vocabulary import Cause, LeftOut, Role, RoundState, Source, StopState

WEDNESDAY = date(2026, 2, 4)  # today, on the tests' clock


class Office:
    """The world of rounds with school days, minutes of driving, an officer and an engineer."""

    def __init__(self, session, login_as):
        self.session = session
        self.world = World(session)
        self.area = self.world.schools[0].area_id
        for school in self.world.schools:
            shift = session.scalar(select(m.school.Shift.id).where(m.school.Shift.school_id == school.id))
            add(session, m.school.SchoolDay(school_id=school.id, shift_id=shift, day=WEDNESDAY, week=date(2026, 2, 2),
                                            opens_min=480, closes_min=720))  # fmt: skip
        rounds_roads.write_minutes(session, self.world.programme.id, {(self.area, self.area): 25})
        rounds_roads.set_site(session, self.world.store.id, self.area)
        self.made = self.world.made(day=WEDNESDAY)
        self.id, self.day = self.made.id, self.world.day.id
        self.stops = [stop.id for stop in self.world.stops]
        self.p = f"p-{self.world.napkin.id}"
        self.why = f"why-{self.world.napkin.id}"
        people = [make_person(session, self.world.programme, role) for role in (Role.OFFICER, Role.ENGINEER)]
        self.officer, self.engineer = (login_as(one) for one in people)

    def fresh(self, model, key):
        """A row as another session reads it."""
        with reading(self.session.get_bind()) as other:
            return other.get(model, key)

    def rows(self, query):
        with reading(self.session.get_bind()) as other:
            return other.scalars(query).all()

    def set_out(self):
        return self.officer.post(f"/programmes/rounds/days/{self.day}/set-out")

    def hand(self, at=0, who="engineer", **sent):
        data = {self.p: "", "received_by": "Head teacher", "what": "handed"}
        return getattr(self, who).post(f"/deliveries/stops/{self.stops[at]}", data=data | sent)

    def page(self):
        return self.officer.get(f"/programmes/rounds/{self.id}").text

    def moves(self):
        return len(self.rows(select(m.supplies.StockMove.id).where(m.supplies.StockMove.ref.startswith("round-"))))


@pytest.fixture
def office(session, login_as):
    return Office(session, login_as)


def words(text: str) -> str:
    """A page's text without its tags, on one line."""
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_round_shows_its_stops_in_order_with_minutes_and_the_proof(office):
    # 07:30 and 25 minutes to the first, which opens at 08:00; 20 there, 25 on (08:45), 20 there, 25 back: 09:30.
    text = words(office.page())
    assert "1 at 07:55 School A" in text and "2 at 08:45 School B" in text
    assert "back at 09:30; 75 minutes of driving" in text
    assert "This is the best order: no other one is back sooner." in text


def test_what_waits_for_the_engineer_stands_at_its_stop_and_in_the_list(office):
    school = office.world.schools[1]
    unit = make_unit(office.session, school, make_block(office.session, school), accessible=True, name="Cabin 9")
    add(office.session, m.outages.Outage(
        programme_id=office.world.programme.id, ref="O", unit_id=unit.id, source=Source.OFFICER, cause=Cause.BROKEN,
        start_at=DEMO_NOW.replace(year=2026, month=2, day=3)))  # fmt: skip
    office.session.commit()
    text = words(office.page())
    assert text.count("Cabin 9: broken") == 2
    assert text.count("o accessible cabin is left") == 2
    assert "2.0 not known" in text  # two breaks of a school day; nobody counted visits there


def test_a_school_without_school_on_the_day_is_named(office):
    office.session.query(m.school.SchoolDay).filter_by(school_id=office.world.schools[1].id).delete()
    office.session.commit()
    assert "No school on this day: nobody receives goods." in office.page()
    answer = office.officer.post(f"/programmes/rounds/days/{office.day}/best")
    assert answer.status_code == 400
    assert "No order keeps the opening hours" in answer.text


def test_without_minutes_the_page_says_what_to_write_first(office):
    rounds_roads.write_minutes(office.session, office.world.programme.id, {(office.area, office.area): None})
    office.session.commit()
    assert "Write first how long the way takes, on the page of driving minutes: within" in office.page()


def test_the_officer_changes_the_order_takes_a_school_out_and_finds_the_best_again(office):
    one, two = office.stops
    sent = {f"on-{one}": office.day, f"no-{one}": "2", f"on-{two}": office.day, f"no-{two}": "1"}
    office.officer.post(f"/programmes/rounds/{office.id}/order", data=sent)
    assert [office.fresh(m.rounds.RoundStop, stop).place_no for stop in (one, two)] == [2, 1]
    office.officer.post(f"/programmes/rounds/{office.id}/order", data=sent | {f"on-{one}": ""})
    assert office.fresh(m.rounds.RoundStop, one).round_day_id is None
    assert "School A was taken out by hand" in words(office.page())
    office.officer.post(f"/programmes/rounds/days/{office.day}/best")
    assert office.fresh(m.rounds.RoundStop, two).arrive_min == 475


def test_a_number_that_is_none_is_refused_where_it_was_typed_and_kept(office):
    one, two = office.stops
    sent = {f"on-{one}": office.day, f"no-{one}": "first", f"on-{two}": office.day, f"no-{two}": "1"}
    answer = office.officer.post(f"/programmes/rounds/{office.id}/order", data=sent)
    assert answer.status_code == 400
    assert 'value="first"' in answer.text and f'id="no-{one}-error"' in answer.text
    assert office.fresh(m.rounds.RoundStop, two).place_no == 2


def days(office, **changed):
    sent = {"rows": "1", "vehicle-0": office.world.van.id, "day-0": "2026-02-04", "starts-0": "07:00", "hours-0": "8",
            "stops-0": "", "stay": "15"}  # fmt: skip
    return office.officer.post(f"/programmes/rounds/{office.id}/days", data=sent | changed)


def test_the_schools_are_divided_again_and_who_does_not_fit_is_named(office):
    days(office, **{"stops-0": "1"})
    rows = office.rows(select(m.rounds.RoundStop).order_by(m.rounds.RoundStop.id))
    assert [row.left_out and row.left_out.value for row in rows].count("no stops left") == 1
    assert office.fresh(m.rounds.Round, office.id).stay_min == 15
    assert "would be one stop too many" in office.page()


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"hours-0": "many"}, "hours-0", "Write the hours as a number"),
        ({"starts-0": "7"}, "starts-0", "Write a time of day"),
        ({"day-0": "4.2."}, "day-0", "Write a day as year-month-day"),
        ({"day-0": "2026-02-03"}, "day-0", "is over. Choose today or a later day."),
        ({"stops-0": "0"}, "stops-0", "at least 1"),
        ({"stay": ""}, "stay", "Write the minutes at a school"),
        ({"vehicle-0": ""}, "vehicle-0", "Choose at least one vehicle."),
    ],
)
def test_vehicle_days_that_cannot_be_are_refused_at_their_field_and_kept(office, changed, field, sentence):
    answer = days(office, **changed)
    assert answer.status_code == 400
    assert sentence in answer.text and f'href="#{field}"' in answer.text
    kept = next(iter(changed.values()))
    assert f'value="{kept}"' in answer.text
    assert office.fresh(m.rounds.RoundDay, office.day) is not None  # nothing was changed


def test_setting_out_twice_loads_once(office):
    office.set_out()
    first = office.moves()
    office.set_out()
    assert first == office.moves() == 2  # two lots
    assert office.fresh(m.rounds.Round, office.id).state is RoundState.UNDER_WAY


def test_a_vehicle_that_sets_out_on_another_day_than_planned_is_told_before_and_after(office):
    before = "Planned for 5 February 2026; today is 4 February 2026."
    after = "It set out on 4 February 2026, and was planned for 5 February 2026."
    assert "today is" not in words(office.page())
    office.session.get(m.rounds.RoundDay, office.day).day = date(2026, 2, 5)
    office.session.commit()
    assert before in words(office.page()) and after not in words(office.page())
    office.set_out()
    driven = words(office.engineer.get(f"/deliveries/{office.id}/{office.day}").text)
    assert after in words(office.page()) and after in driven and before not in words(office.page())


def test_a_vehicle_that_sets_out_as_planned_needs_no_word_about_it(office):
    office.set_out()
    assert "was planned for" not in words(office.page())


def test_too_little_in_the_store_says_so_with_figures_and_moves_nothing(office):
    for line in office.session.scalars(select(m.rounds.RoundLine)):
        line.planned = 100
    office.session.commit()
    answer = office.set_out()
    assert answer.status_code == 400
    assert "has 160 napkins of Day napkin that keep until the next round; this vehicle needs 200" in answer.text
    assert office.moves() == 0


def test_the_driver_records_a_stop_and_sending_it_again_moves_nothing_more(office):
    office.set_out()
    before = office.moves()
    assert office.hand(**{office.p: "80"}).status_code == 302
    once = office.moves()
    assert office.hand(**{office.p: "80"}).status_code == 302
    assert once == office.moves() == before + 2  # two lots
    stop = office.fresh(m.rounds.RoundStop, office.stops[0])
    assert (stop.state, stop.received_by) == (StopState.DONE, "Head teacher")


def test_all_of_it_as_planned_is_said_not_assumed(office):
    office.set_out()
    office.hand(**{"as": "planned"})
    line = office.rows(select(m.rounds.RoundLine).where(m.rounds.RoundLine.stop_id == office.stops[0]))[0]
    assert line.handed == 80
    answer = office.hand(1, **{"as": "planned", office.p: "39"})
    assert answer.status_code == 400 and "You wrote another number." in answer.text and 'value="39"' in answer.text


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({}, "Day napkin: write how many were handed over; 0 where nothing was."),
        ({"p": "eighty"}, "Day napkin: write a whole number, 0 or more."),
        ({"p": "79"}, "80 were planned. Choose why it was 79."),
        ({"p": "80", "received_by": ""}, "Write who received it"),
        ({"p": "121", "why": "the school asked for more"}, "The vehicle was loaded with 120 napkins of Day napkin"),
    ],
)
def test_what_cannot_be_handed_over_is_refused_kept_and_moves_nothing(office, sent, sentence):
    office.set_out()
    before = office.moves()
    names = {"p": office.p, "why": office.why}
    answer = office.hand(**{names.get(name, name): value for name, value in sent.items()})
    assert answer.status_code == 400
    assert sentence in answer.text
    assert f'value="{sent.get("p", "")}"' in answer.text
    assert office.moves() == before
    assert office.fresh(m.rounds.RoundStop, office.stops[0]).state is StopState.TO_DO


def test_a_school_that_was_not_reached_needs_a_reason(office):
    office.set_out()
    assert office.hand(what="missed", reason="").status_code == 400
    assert office.hand(what="missed", reason="Gate locked").status_code == 302
    assert office.fresh(m.rounds.RoundStop, office.stops[0]).reason == "Gate locked"


def test_at_the_stop_the_driver_is_told_when_nobody_receives_goods(office):
    office.set_out()
    address = f"/deliveries/stops/{office.stops[0]}"
    assert "Goods are received here from 08:00 to 12:00." in office.engineer.get(address).text  # it is 12:00
    office.session.query(m.school.SchoolDay).update({"closes_min": 721})
    office.session.commit()
    assert "Ask whether somebody" not in office.engineer.get(address).text
    office.session.query(m.school.SchoolDay).delete()
    office.session.commit()
    assert "There is no school here today." in office.engineer.get(address).text


def test_before_it_sets_out_the_driver_sees_the_stop_and_cannot_record(office):
    page = office.engineer.get(f"/deliveries/stops/{office.stops[0]}").text
    assert "has not set out yet" in page and '<form method="post">' not in page
    answer = office.hand(**{office.p: "80"})
    assert answer.status_code == 400 and "has not set out yet" in answer.text


def test_a_round_is_closed_when_every_piece_is_accounted_for(office):
    office.set_out()
    office.hand(**{office.p: "80"})
    assert office.officer.post(f"/programmes/rounds/{office.id}/close").status_code == 400
    back = f"/programmes/rounds/days/{office.day}/back"
    answer = office.officer.post(back, data={office.p: "40"})
    assert answer.status_code == 400 and "Nothing is recorded yet for School B" in answer.text
    office.hand(1, what="missed", reason="Nobody there")
    answer = office.officer.post(back, data={office.p: "38"})
    assert answer.status_code == 400
    assert "120 napkins loaded, 80 handed over, so 40 should have come back; 38 did" in answer.text
    assert 'value="38"' in answer.text
    office.officer.post(back, data={office.p: "38", office.why: "damaged on the way"})
    assert office.officer.post(f"/programmes/rounds/{office.id}/close").status_code == 302
    assert office.fresh(m.rounds.Round, office.id).state is RoundState.CLOSED
    text = words(office.page())
    assert "Day napkin 120 80 38 2 damaged on the way" in text
    assert "Closed on" in text


def test_the_pick_list_takes_the_first_expiry_first_before_and_after_loading(office):
    wanted = ["SOON", "1 June 2026", "60 napkins", "6 packs", "LATE", "1 January 2028", "60 napkins"]
    for _ in range(2):
        text = words(office.officer.get(f"/programmes/rounds/{office.id}/pick-list").text)
        places = [text.index(part) for part in wanted[:-1]]
        assert places == sorted(places)
        assert text.count("60 napkins") == 2
        office.set_out()


def test_delivery_notes_show_quantities_to_sign_and_nothing_about_pupils(office):
    page = office.officer.get(f"/programmes/rounds/{office.id}/notes").text
    text = words(page)
    assert "Delivery note R20260204-1-" in text and "80 napkins 8 packs" in text and "40 napkins 4 packs" in text
    assert "Signature" in text and "Received by (name and office)" in text
    assert not re.search(r"girl|pupil|enrol", text.split("Delivery note", 1)[1].split("Help:")[0], re.I)
    assert "Cleaning agents burn" not in text  # menstrual supplies only


def test_a_note_with_other_goods_carries_the_caution_about_cleaning_agents(office):
    soap = add(office.session, m.supplies.Product(programme_id=office.world.programme.id, code="D", name="Agent",
                                                  pack_size=6, unit_cost_minor=1))  # fmt: skip
    add(office.session, m.rounds.RoundLine(stop_id=office.stops[0], product_id=soap.id, planned=6))
    office.session.commit()
    text = words(office.officer.get(f"/programmes/rounds/{office.id}/notes").text)
    assert text.count("Cleaning agents burn") == 1


def test_minutes_of_driving_are_saved_and_refused_where_they_cannot_be(office):
    address = f"/programmes/{office.world.programme.id}/roads"
    name = f"m-{office.area}-{office.area}"
    answer = office.officer.post(address, data={name: "soon"})
    assert answer.status_code == 400 and 'value="soon"' in answer.text and "from 1 to 1440" in answer.text
    office.officer.post(address, data={name: "31", f"site-{office.world.store.id}": office.area})
    assert [row.minutes for row in office.rows(select(m.rounds.TravelMinutes))] == [31]
    assert 'value="31"' in office.officer.get(address).text


def test_a_round_that_nobody_began_is_taken_back(office):
    office.officer.post(f"/programmes/rounds/{office.id}/cancel")
    assert office.rows(select(m.rounds.Round)) == []
    assert office.rows(select(m.rounds.RoundLine)) == []


# --- from a plan --------------------------------------------------------------------------------------------------


@pytest.fixture
def demo(demo_copy, tmp_path):
    """The demo's officer in a browser, and its database."""
    engine = make_engine(f"sqlite:///{demo_copy}")
    app = make_app(engine, lambda: DEMO_NOW, tmp_path / "access.jsonl")
    with writing(engine) as session:
        person = session.scalar(select(m.people.Person).where(m.people.Person.email == "officer@ombari.example"))
        token = open_login(session, person.id, DEMO_NOW)
        session.commit()
    yield browser_with(app, token), engine
    engine.dispose()


PLAN = "/programmes/1/rounds/new?on=2026-07-17&until=2026-09-21&aim=fewest"


def new_round(demo, **changed):
    browser, engine = demo
    with reading(engine) as session:
        van = session.scalar(select(m.supplies.Vehicle.id).where(m.supplies.Vehicle.code == "VAN"))
    sent = {"rows": "2", "vehicle-0": van, "day-0": "2026-07-16", "starts-0": "07:00", "hours-0": "9", "stay": "20",
            "vehicle-1": van, "day-1": "2026-07-17", "starts-1": "07:00", "hours-1": "9", "key": "k" * 32}  # fmt: skip
    return browser.post(PLAN, data=sent | changed)


def test_a_plan_becomes_one_round_however_often_its_form_is_sent(demo):
    browser, engine = demo
    page = browser.get(PLAN).text
    assert "Make this plan a round" in page and "packs to 12 schools" in words(page)
    assert new_round(demo).status_code == 302
    assert new_round(demo).status_code == 302
    with reading(engine) as session:
        made = session.scalars(select(m.rounds.Round)).all()
        stops = session.scalars(select(m.rounds.RoundStop)).all()
        lines = session.scalars(select(m.rounds.RoundLine)).all()
        packs = {row.id: row.pack_size for row in session.scalars(select(m.supplies.Product))}
    assert [one.code for one in made] == ["R20260716-1"]
    assert len(stops) == 12 and sum(stop.round_day_id is not None for stop in stops) >= 10
    assert all(line.planned % packs[line.product_id] == 0 for line in lines)  # whole packs


def test_a_plan_that_cannot_be_leads_back_to_the_page_of_the_plan(demo):
    answer = demo[0].get("/programmes/1/rounds/new?on=2026-07-01&until=2026-09-21&aim=fewest")
    assert answer.status_code == 302 and "/restock?on=2026-07-01" in answer.location


def test_a_round_with_hours_that_cannot_be_is_not_made_and_keeps_what_was_typed(demo):
    answer = new_round(demo, **{"hours-1": "30"})
    assert answer.status_code == 400 and 'value="30"' in answer.text and "k" * 32 in answer.text
    with reading(demo[1]) as session:
        assert session.scalars(select(m.rounds.Round)).all() == []


def test_the_page_of_the_plan_leads_to_the_round(demo):
    assert "/programmes/1/rounds/new?" in demo[0].get("/programmes/1/restock").text


@pytest.mark.parametrize(
    ("address", "door"),
    [
        ("/programmes/{p}/stock", "Stock"),
        ("/programmes/{p}/stock/differences", "Stock"),
        ("/places/{store}/stock/move", "Stock"),
        ("/programmes/{p}/rounds", "Rounds"),
        ("/programmes/{p}/restock", "Rounds"),
        ("/programmes/{p}/roads", "Rounds"),
        ("/programmes/rounds/{round}", "Rounds"),
        ("/deliveries", "Rounds"),
        ("/programmes/{p}/today", "Today"),
    ],
)
def test_the_door_that_a_page_stands_behind_is_marked(office, address, door):
    names = {"p": office.world.programme.id, "store": office.world.store.id, "round": office.id}
    page = office.officer.get(address.format(**names)).text
    assert re.findall(r'aria-current="page">([^<]*)<', page) == [door]


def test_the_engineer_stands_behind_deliveries(office):
    assert re.findall(r'aria-current="page">([^<]*)<', office.engineer.get("/deliveries").text) == ["Deliveries"]


def test_rounds_and_deliveries_are_listed(office):
    text = words(office.officer.get(f"/programmes/{office.world.programme.id}/rounds").text)
    assert "Round R20260204-1" in text and "2 schools on 1 vehicle-day, 0 recorded" in text
    assert "not set out 2 stops" in words(office.engineer.get("/deliveries").text)
    office.set_out()
    assert "under way 2 stops, 2 to do" in words(office.engineer.get("/deliveries").text)


def test_who_holds_some_areas_drives_the_vehicles_whose_stops_lie_in_them(office, login_as):
    world = office.world
    mine = make_person(
        office.session, world.programme, Role.ENGINEER, area=office.session.get(m.programme.Area, office.area)
    )
    other = make_area(office.session, world.programme)
    theirs = make_person(office.session, world.programme, Role.ENGINEER, area=other)
    near, far = login_as(mine), login_as(theirs)
    address = f"/deliveries/{office.id}/{office.day}"
    assert (near.get(address).status_code, far.get(address).status_code) == (200, 404)
    left, taken = (office.session.get(m.rounds.RoundStop, stop) for stop in office.stops)
    office.session.get(m.school.School, taken.school_id).area_id = other.id
    office.session.commit()
    assert (near.get(address).status_code, far.get(address).status_code) == (404, 404)
    taken.round_day_id, taken.left_out = None, LeftOut.BY_HAND
    office.session.commit()
    assert (near.get(address).status_code, far.get(address).status_code) == (200, 404)
    assert "Van" in near.get("/deliveries").text and "that you may drive" in far.get("/deliveries").text
    assert left.round_day_id == office.day
