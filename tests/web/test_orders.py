"""Orders to suppliers through the officer's pages: bad input keeps what was typed and says what to do."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from tests.make import make_person
from tests.records.rounds_world import World, add
from tracker import models as m
from tracker.db import reading
from tracker.vocabulary import OrderState, Role


class Office:
    """The world of rounds with terms for its napkin, and an officer. The tests' clock says 4 February 2026."""

    def __init__(self, session, login_as):
        self.session, self.world = session, World(session)
        terms = {"supplier": "Lake Supplies", "lead_days": 14, "review_days": 30, "min_packs": 5}
        add(session, m.orders.SupplierTerms(product_id=self.world.napkin.id, from_day=date(2026, 1, 1),
                                            pack_price_minor=50, **terms))  # fmt: skip
        self.name = f"packs-{self.world.napkin.id}"
        self.url = f"/programmes/{self.world.programme.id}/orders"
        self.officer = login_as(make_person(session, self.world.programme, Role.OFFICER))

    def rows(self, model):
        with reading(self.session.get_bind()) as other:
            return other.scalars(select(model)).all()

    def ordered(self):
        self.officer.post(self.url, data={self.name: "6", "key": "abc"})
        return self.rows(m.orders.SupplierOrder)[0].id

    def came(self, order, **changed):
        sent = {"key": "r1", "product": str(self.world.napkin.id), "pieces": "25", "lot": "L7", "day": "2026-02-04"}
        return self.officer.post(f"/orders/{order}/receive", data=sent | {"expires_on": "2028-06-30"} | changed)


@pytest.fixture
def office(session, login_as):
    return Office(session, login_as)


def test_without_a_demand_the_page_says_so_and_advises_nothing(office):
    text = office.officer.get(office.url).text
    assert ">not recorded<" in text and "unmet" not in text
    assert "The demand cannot be estimated" in text and 'data-head="On hand (pieces)">160<' in text


def test_a_lot_that_has_expired_is_named_and_not_counted(office):
    office.world.lots[1].expires_on = date(2026, 2, 3)  # 60 of the 160 pieces
    office.session.flush()
    office.session.commit()
    text = office.officer.get(office.url).text
    assert "Lot SOON: 60 napkins expired on 3 February 2026." in text
    assert 'data-head="On hand (pieces)">100<' in text


def test_an_order_goes_from_draft_to_received_and_the_page_names_the_rest(office):
    order = office.ordered()
    office.officer.post(office.url, data={office.name: "6", "key": "abc"})  # sent twice
    assert [row.state for row in office.rows(m.orders.SupplierOrder)] == [OrderState.DRAFT]
    office.officer.post(f"/orders/{order}/send")
    assert office.came(order).status_code == 302
    assert "Outstanding: 35 napkins of Day napkin" in office.officer.get(office.url).text
    office.came(order, key="r2", pieces="34")
    assert "Outstanding: 1 piece of Day napkin" in office.officer.get(office.url).text
    office.came(order, key="r3", pieces="1")
    assert [row.state for row in office.rows(m.orders.SupplierOrder)] == [OrderState.RECEIVED]
    page = office.officer.get(f"/orders/{order}").text
    assert (
        "34 pieces of Day napkin, lot L7, expires on" in page and "1 piece of Day napkin" in page and "3.00" in page
    )  # 6 packs at 50 minor units


@pytest.mark.parametrize(
    ("typed", "status", "words"),
    [
        ("", 200, "Not limited by a budget"),
        ("3.00", 200, "Within a budget of 3.00 XTS"),
        ("3.00 XTS", 200, "Within a budget of 3.00 XTS"),
        ("500 USD", 400, "The programme counts in XTS, and this amount says USD."),
        ("-5", 400, "Write a number of 0 or more, or leave it empty."),
        ("some", 400, "this amount says SOME"),
    ],
)
def test_a_budget_is_taken_in_the_programmes_currency_and_kept_as_typed(office, typed, status, words):
    answer = office.officer.get(office.url, query_string={"budget": typed})
    assert answer.status_code == status
    assert words in answer.text and f'value="{typed}"' in answer.text


def test_a_budget_stays_when_the_packs_are_sent_back(office):
    answer = office.officer.post(f"{office.url}?budget=3.00", data={office.name: "4", "key": "abc"})
    assert answer.status_code == 400
    assert 'value="4"' in answer.text and "Within a budget of 3.00 XTS" in answer.text


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("4", "at least 5 packs"),
        ("-1", "whole number"),
        ("6.5", "whole number"),
        ("x", "whole number"),
        ("", "no packs"),
    ],
)
def test_packs_that_cannot_be_are_kept_and_refused(office, typed, words):
    answer = office.officer.post(office.url, data={office.name: typed, "key": "abc"})
    assert answer.status_code == 400 and words in answer.text
    assert f'value="{typed}"' in answer.text
    assert office.rows(m.orders.SupplierOrder) == []


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"expires_on": "2026-02-03"}, "This lot has expired"),
        ({"pieces": "61"}, "61 pieces came and 60 were ordered"),
        ({"product": "999"}, "Choose from the list"),
        ({"day": "2026-02-05"}, "from the day the order was sent to today"),
        ({"lot": ""}, "Write the lot"),
    ],
)
def test_a_receipt_that_cannot_be_is_kept_and_refused(office, changed, words):
    order = office.ordered()
    office.officer.post(f"/orders/{order}/send")
    answer = office.came(order, **changed)
    assert answer.status_code == 400 and words in answer.text
    assert f'value="{changed.get("pieces", "25")}"' in answer.text
    assert office.rows(m.orders.OrderReceipt) == []


def test_an_officer_of_some_areas_neither_sees_nor_opens_orders(office, login_as):
    area = office.session.get(m.programme.Area, office.world.schools[0].area_id)
    of_area = login_as(make_person(office.session, office.world.programme, Role.OFFICER, area=area))
    stock = f"/programmes/{office.world.programme.id}/stock"
    assert "Orders to suppliers" in office.officer.get(stock).text
    assert "Orders to suppliers" not in of_area.get(stock).text
    assert of_area.get(office.url).status_code == 404


def test_closing_asks_why(office):
    order = office.ordered()
    assert office.officer.post(f"/orders/{order}/close", data={"why": ""}).status_code == 400
    office.officer.post(f"/orders/{order}/close", data={"why": "Too dear."})
    assert [row.state for row in office.rows(m.orders.SupplierOrder)] == [OrderState.CLOSED]
