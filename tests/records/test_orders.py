"""Orders to suppliers: made once, sent once, received in parts, every piece in the ledger."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import select

from tests.records.rounds_world import World, add
from tracker import models as m
from tracker.db import writing
from tracker.records import ledger, orders
from tracker.records.orders import Came, OrderError, OrderPlan
from tracker.vocabulary import MoveReason, OrderState

TODAY = date(2026, 2, 3)
UNTIL = date(2028, 6, 30)


class Shop(World):
    """The world of rounds with terms: packs of 10 napkins at 50, at least 5 packs, 14 days."""

    def __init__(self, session):
        super().__init__(session)
        fields = {"lead_days": 14, "review_days": 30, "min_packs": 5, "pack_price_minor": 50}
        for day, supplier in ((date(2025, 1, 1), "Hill Trading"), (date(2026, 1, 1), "Lake Supplies")):
            add(session, m.orders.SupplierTerms(product_id=self.napkin.id, from_day=day, supplier=supplier, **fields))
        self.order_plan = OrderPlan("k1", self.store.id, "Lake Supplies", {self.napkin.id: 6})
        self.came = Came("r1", self.napkin.id, 25, "L7", UNTIL, TODAY)

    def sent(self):
        made = orders.create(self.session, self.programme, self.order_plan, TODAY)
        return orders.send(self.session, made.id, TODAY)

    def receive(self, order, **changed):
        return orders.receive(self.session, order.id, replace(self.came, **changed), TODAY)

    def in_store(self):
        return sum(row.quantity for row in ledger.balances(self.session, self.programme.id, place_ids=[self.store.id]))


@pytest.fixture
def shop(any_engine):
    with writing(any_engine) as session:
        session.expire_on_commit = False
        yield Shop(session)


def test_the_terms_in_force_are_the_newest_up_to_the_day(shop):
    found = [orders.terms(shop.session, shop.programme.id, day) for day in (date(2025, 12, 31), TODAY)]
    assert [one[shop.napkin.id].supplier for one in found] == ["Hill Trading", "Lake Supplies"]
    assert orders.terms(shop.session, shop.programme.id, date(2024, 12, 31)) == {}


def test_an_order_is_made_once_however_often_its_form_is_sent(shop):
    first, again = (orders.create(shop.session, shop.programme, shop.order_plan, TODAY) for _ in range(2))
    assert first.id == again.id
    assert (first.code, first.state) == ("P20260203-1", OrderState.DRAFT)
    line = shop.session.scalars(select(m.orders.OrderLine)).one()
    assert (line.packs, line.pack_size, line.pack_price_minor) == (6, 10, 50)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"store_id": 999}, "store is not on record"),
        ({"supplier": "Hill Trading"}, "No terms with Hill Trading"),
        ({"packs": {}}, "no packs"),
        ({"packs": {999: 5}}, "not on record"),
    ],
)
def test_an_order_that_cannot_be_is_refused(shop, changed, words):
    with pytest.raises(OrderError, match=words):
        orders.create(shop.session, shop.programme, replace(shop.order_plan, **changed), TODAY)


@pytest.mark.parametrize(("packs", "words"), [(4, "at least 5 packs"), (-1, "from 0"), (1_000_001, "from 0")])
def test_packs_outside_the_terms_are_refused_at_their_field(shop, packs, words):
    with pytest.raises(OrderError, match=words) as wrong:
        plan = replace(shop.order_plan, packs={shop.napkin.id: packs})
        orders.create(shop.session, shop.programme, plan, TODAY)
    assert wrong.value.field == f"packs-{shop.napkin.id}"


def test_part_deliveries_move_the_ledger_and_leave_the_rest_on_order(shop):
    order = shop.sent()
    assert (order.due_on, orders.on_order(shop.session, shop.programme.id)) == (date(2026, 2, 17), {shop.napkin.id: 60})
    shop.receive(order)
    assert order.state is OrderState.PART_RECEIVED
    assert (shop.in_store(), orders.on_order(shop.session, shop.programme.id)) == (185, {shop.napkin.id: 35})
    shop.receive(order, key="r2", pieces=35)
    assert (order.state, shop.in_store()) == (OrderState.RECEIVED, 220)
    assert orders.on_order(shop.session, shop.programme.id) == {}
    moves = shop.session.scalars(select(m.supplies.StockMove).where(m.supplies.StockMove.ref.startswith("o-"))).all()
    assert {(row.reason, row.note) for row in moves} == {(MoveReason.RECEIPT, "Order P20260203-1")}


def test_a_receipt_sent_twice_is_kept_once_and_with_other_figures_refused(shop):
    order = shop.sent()
    assert shop.receive(order).id == shop.receive(order).id
    assert shop.in_store() == 185
    with pytest.raises(OrderError, match="other figures"):
        shop.receive(order, pieces=26)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"product_id": 999}, "product"),
        ({"pieces": 0}, "pieces"),
        ({"pieces": 61}, "why"),
        ({"lot": " "}, "lot"),
        ({"expires_on": date(2026, 2, 2)}, "expires_on"),
        ({"lot": "LATE", "expires_on": UNTIL}, "expires_on"),
        ({"day": date(2026, 2, 4)}, "day"),
        ({"day": date(2026, 2, 2)}, "day"),
    ],
)
def test_a_receipt_that_cannot_be_is_refused_at_its_field_and_nothing_moves(shop, changed, field):
    order = shop.sent()
    with pytest.raises(OrderError) as wrong:
        shop.receive(order, **changed)
    assert (wrong.value.field, shop.in_store()) == (field, 160)


def test_what_goes_off_needs_its_expiry_and_more_than_ordered_needs_a_reason(shop):
    order = shop.sent()
    shop.receive(order, pieces=61, why="One box more, not charged.", expires_on=None)
    assert (order.state, shop.in_store()) == (OrderState.RECEIVED, 221)
    shop.napkin.shelf_life_days = 900
    with pytest.raises(OrderError, match="goes off"):
        shop.receive(order, key="r3", lot="L8", expires_on=None)


def test_a_draft_receives_nothing_and_is_sent_once(shop):
    made = orders.create(shop.session, shop.programme, shop.order_plan, TODAY)
    with pytest.raises(OrderError, match="not sent yet"):
        shop.receive(made)
    orders.send(shop.session, made.id, TODAY)
    with pytest.raises(OrderError, match="not a draft"):
        orders.send(shop.session, made.id, TODAY)


def test_closing_asks_why_and_ends_what_is_on_order(shop):
    order = shop.sent()
    with pytest.raises(OrderError, match="Write why"):
        orders.close(shop.session, order.id, " ")
    orders.close(shop.session, order.id, "The supplier has no more.")
    assert orders.on_order(shop.session, shop.programme.id) == {}
    with pytest.raises(OrderError, match="closed"):
        shop.receive(order)
    with pytest.raises(OrderError, match="closed already"):
        orders.close(shop.session, order.id, "Again.")
