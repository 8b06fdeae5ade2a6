"""The officer's pages about money, with the demo."""

from __future__ import annotations

import csv
import io

import pytest
from sqlalchemy import select

from tests.demo_file import copy_to
from tracker.db import make_engine
from tracker.demo_data import DEMO_NOW
from tracker.models.people import Person, RoleGrant
from tracker.models.school import School
from tracker.vocabulary import Role

TERM = "2025-T2"


@pytest.fixture
def engine(tmp_path):
    engine = make_engine(f"sqlite:///{copy_to(tmp_path)}")
    yield engine
    engine.dispose()


@pytest.fixture
def officer(session, login_as, clock):
    clock.at = DEMO_NOW
    grant = session.scalars(select(RoleGrant).where(RoleGrant.role == Role.OFFICER)).first()
    return login_as(session.get(Person, grant.person_id))


@pytest.fixture
def place(session):
    return f"/programmes/{session.scalar(select(School.programme_id).limit(1))}/terms/{TERM}"


def page_of(browser, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def test_without_a_price_the_page_says_what_to_enter(officer, place):
    text = page_of(officer, f"{place}/pays-back")
    assert "Enter the price of 1,000 litres of water above" in text
    assert "cannot be told" in text


def test_a_price_that_cannot_be_read_is_kept_and_answered_at_the_field(officer, place):
    text = page_of(officer, f"{place}/pays-back?water=cheap")
    assert 'value="cheap"' in text and 'id="error-water"' in text


@pytest.mark.parametrize("typed", ["0", "-5", "1.5", "9" * 30])
def test_a_price_of_nothing_or_beyond_all_sense_is_refused_in_a_sentence(officer, place, typed):
    assert "Enter a whole number" in page_of(officer, f"{place}/pays-back?water={typed}")


def test_the_files_rest_on_the_prices_of_the_page(officer, place):
    page = page_of(officer, f"{place}/pays-back?water=450&vacuum=90000")
    assert "water=450" in page.split("report-csv.zip")[1].split('"')[0]
    answer = officer.get(f"{place}/pays-back/files/payback_vacuum.csv?water=450&vacuum=90000")
    rows = {row[0]: row[1] for row in csv.reader(io.StringIO(answer.get_data(as_text=True)))}
    assert rows["Price of 1,000 litres, as entered"] == "4.50"
    assert rows["Extra cost of a unit, as entered"] == "900.00"


def test_costs_list_every_school_in_the_order_of_its_code_and_can_be_taken_as_csv(officer, place, session):
    page = page_of(officer, f"{place}/open-costs")
    assert "Warranties" in page and "School days next term" in page
    answer = officer.get(f"{place}/open-costs/files/cost_for_each.csv")
    codes = [row[0] for row in csv.reader(io.StringIO(answer.get_data(as_text=True)))][1:]
    assert codes == sorted(codes) and set(codes) <= set(session.scalars(select(School.code)))


@pytest.mark.parametrize("page", ["pays-back", "open-costs"])
def test_the_money_pages_stand_behind_the_door_of_reports(officer, place, page):
    assert 'aria-current="page">Reports</a>' in page_of(officer, f"{place}/{page}")
