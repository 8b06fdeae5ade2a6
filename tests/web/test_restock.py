"""The page on which a round is planned: it shows the plan at its address, and says at the field what is wrong."""

from __future__ import annotations

import json
import re
from datetime import date
from html import unescape
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest

from tests.browse import browser_with, make_app, open_login
from tests.make import make_area, make_person
from tests.reports.restock_world import World
from tests.web.office import count_queries
from tracker.db import writing
from tracker.demo import LOGINS
from tracker.demo_data import DEMO_NOW
from tracker.models.people import Person
from tracker.models.supplies import PlannedRound, Vehicle
from tracker.vocabulary import Role

ON, UNTIL = "2026-02-09", "2026-02-23"


@pytest.fixture
def world(session):
    found = World(session)
    soap = found.product(name="Soap, bar", pack_ml=500, unit_name="bars")
    found.stored(soap, 22)
    found.soap, (found.school_row, _) = soap, found.school(soap)
    session.add(Vehicle(programme_id=found.programme.id, code="VAN", name="Van", room_ml=900_000, room_packs=None))
    found.ready()
    return found


@pytest.fixture
def officer(world, session, login_as):
    return login_as(make_person(session, world.programme, Role.OFFICER))


def address(world, file: str = "", **given) -> str:
    query = urlencode({"on": ON, "until": UNTIL, "aim": "fewest"} | given, doseq=True)
    return f"/programmes/{world.programme.id}/restock{file}?{query}"


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace("\u202f", " ")


def test_the_plan_stands_under_what_was_asked_for(officer, world):
    page = officer.get(address(world))
    text = plain(page.text)
    assert page.status_code == 200
    assert "Restocking plan for 9 February 2026" in text
    assert "has to last until the next round on 23 February 2026" in text
    assert "this is the best there is" in text and "expected requests unmet" in text.lower()
    assert "limited by stock" in text and "girls without" not in text
    assert 'value="2026-02-09"' in page.text


def test_without_an_address_of_its_own_it_plans_the_next_two_rounds(officer, world, session):
    empty = officer.get(f"/programmes/{world.programme.id}/restock")
    assert empty.status_code == 200 and "What to plan for" in empty.text and 'role="alert"' not in empty.text
    for day in (date(2026, 2, 10), date(2026, 3, 10)):
        session.add(PlannedRound(programme_id=world.programme.id, day=day))
    session.commit()
    page = officer.get(f"/programmes/{world.programme.id}/restock").text
    assert "Restocking plan for 10 February 2026" in page and 'value="2026-03-10"' in page


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"budget": "500 USD"}, "The programme counts in XTS, and this amount says USD."),
        ({"on": "2026-02-03"}, "This day has passed."),
        ({"products": "TEA"}, "There is no product TEA."),
        ({"out": "ZZ"}, "There is no school ZZ to leave out."),
        ({"vehicle": "BOAT"}, "There is no vehicle BOAT."),
        ({"on": "2026-05-04", "until": "2026-05-18"}, "The calendar has no school day"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_what_was_typed_stays(officer, world, given, said):
    page = officer.get(address(world, litres="120", **given))
    assert page.status_code == 200
    (field,) = [name for name in given if f'id="{name}-error"' in page.text]
    assert said in page.text and f'href="#{field}"' in page.text
    assert 'value="120"' in page.text and "The plan in short" not in page.text
    assert given.get("budget", "") in page.text


def test_limits_that_the_minimums_break_are_said_with_the_figures(officer, world, session):
    world.rule(world.school_row, world.soap, minimum=22)
    session.commit()
    page = officer.get(address(world, budget="10")).text
    assert 'id="budget-error"' in page and "10.80 XTS, and the budget is 10.00 XTS: 0.80 XTS too little" in page


def test_files_hold_the_plan_of_the_address(officer, world):
    found = officer.get(address(world, "/files/report.json", packs="3"))
    assert found.status_code == 200 and "attachment" in found.headers["Content-Disposition"]
    tables = {table["key"]: table for section in json.loads(found.text)["sections"] for table in section["tables"]}
    assert [row[2] for row in tables["store"]["rows"]] == [3]
    lines = officer.get(address(world, "/files/lines.csv", packs="3")).text
    assert "limited by vehicle" in lines and "Soap, bar (bars)" in lines
    assert officer.get(address(world, "/files/none.csv")).status_code == 404
    assert "This day has passed" in officer.get(address(world, "/files/report.json", on="2026-02-03")).text


def test_the_plan_leads_to_making_it_the_round_with_all_that_was_asked_for(officer, world):
    page = officer.get(address(world, packs="3", vehicle="VAN")).text
    (link,) = re.findall(r'href="(/programmes/\d+/rounds/new[^"]*)"', page)
    asked = parse_qs(urlsplit(unescape(link)).query)
    assert asked == {"on": [ON], "until": [UNTIL], "aim": ["fewest"], "packs": ["3"], "vehicle": ["VAN"]}
    assert "Make this plan a round" in officer.get(unescape(link)).text
    nothing = officer.get(address(world, packs="0")).text
    assert "rounds/new" not in nothing and "No pack is brought" in nothing


def test_an_address_without_an_aim_plans_for_the_fewest_requests_unmet(officer, world):
    page = officer.get(f"/programmes/{world.programme.id}/restock?on={ON}&until={UNTIL}").text
    assert re.search(r'value="fewest" checked', page) and "this is the best there is" in plain(page)


def test_an_area_officer_plans_for_the_schools_of_the_area(world, session, login_as):
    elsewhere = make_area(session, world.programme)
    theirs, _ = world.school(world.soap, area=elsewhere)
    world.ready()
    browser = login_as(make_person(session, world.programme, Role.OFFICER, area=elsewhere))
    page = browser.get(address(world)).text
    assert theirs.name in page and world.school_row.name not in page
    assert "There is no school" in browser.get(address(world, out=world.school_row.code)).text


def test_it_asks_the_same_number_of_queries_for_one_school_and_for_several(officer, world, session, engine):
    one = count_queries(engine, lambda: officer.get(address(world)))
    for _ in range(5):
        world.school(world.soap)
    world.ready()
    session.commit()
    assert count_queries(engine, lambda: officer.get(address(world))) == one


def test_todays_page_leads_to_it(officer, world):
    page = officer.get(f"/programmes/{world.programme.id}/today").text
    assert f'href="/programmes/{world.programme.id}/restock"' in page


def test_pages_of_the_demo_name_no_girls_count(demo_copy, tmp_path):
    """The plan shows quantities of supplies only; how many girls a school has is not on it."""
    from tracker.db import make_engine

    engine = make_engine(f"sqlite:///{demo_copy}")
    with writing(engine) as session:
        email = next(email for role, email, _ in LOGINS if role is Role.OFFICER)
        person = session.query(Person).filter_by(email=email).one()
        token = open_login(session, person.id, DEMO_NOW)
        session.commit()
    app = make_app(engine, lambda: DEMO_NOW, tmp_path / "access.jsonl")
    text = plain(browser_with(app, token).get("/programmes/1/restock").text)
    assert "Restocking plan for 17 July 2026" in text
    assert re.findall(r"\d+ girls", text) == [] and "enrol" not in text
    engine.dispose()
