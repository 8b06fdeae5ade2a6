"""The officer's stock pages: what stands where, and acts that are kept whole, once, or refused with the figures."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import select

from tests.make import make_area, make_person, make_programme, make_school, make_unit
from tests.web.office import DAY, count_queries
from tracker.db import reading
from tracker.models.audit import Audit
from tracker.models.ledger import CoinEmptying, StockDifference
from tracker.models.sheets import WeekSheet
from tracker.models.supplies import GivenHow, Lot, Product, StockCount, StockMove, StockPlace
from tracker.models.units import Dial
from tracker.models.usage import Reading
from tracker.records import ledger
from tracker.records.ledger import Move
from tracker.vocabulary import (
    GivenWay,
    MoveReason,
    PlaceKind,
    Quantity,
    Role,
    SheetState,
    Source,
    UnitKind,
    Why,
    WorkedOut,
)

MONDAY = date(2026, 2, 2)
KEY = "0" * 32
INSTALLED = datetime(2025, 9, 1, 6, tzinfo=UTC)


class Stock:
    def __init__(self, session, login_as):
        self.programme = make_programme(session)
        self.near, self.far = make_area(session, self.programme), make_area(session, self.programme)
        self.hill = make_school(session, self.programme, self.near, name="Hill School")
        self.lake = make_school(session, self.programme, self.far, name="Lake School")
        self.machine = make_unit(session, self.hill, kind=UnitKind.MACHINE, name="Napkin machine 1")
        dial = {"quantity": Quantity.VENDS, "from_at": INSTALLED, "digits": 5, "step_ml": 1, "first_value": 0}
        session.add(Dial(unit_id=self.machine.id, **dial))
        self.product = Product(
            programme_id=self.programme.id, code="PAD", name="Napkin", menstrual=True, pack_size=10, unit_cost_minor=5
        )
        session.add(self.product)
        session.flush()
        self.lot = Lot(product_id=self.product.id, code="A12", expires_on=date(2026, 1, 31))
        self.fresh = Lot(product_id=self.product.id, code="B07", expires_on=date(2027, 1, 31))
        session.add_all([self.lot, self.fresh])
        session.flush()
        kinds = {"STORE": PlaceKind.STORE, "SUP": PlaceKind.SUPPLIER}
        self.places = {code: self._place(session, code, kind) for code, kind in kinds.items()}
        self.places["HILL"] = self._place(session, "HILL", PlaceKind.CUPBOARD, self.hill)
        self.places["LAKE"] = self._place(session, "LAKE", PlaceKind.CUPBOARD, self.lake)
        self.places["M1"] = self._place(session, "M1", PlaceKind.MACHINE, self.hill, self.machine)
        session.add(
            GivenHow(place_id=self.places["M1"].id, way=GivenWay.SOLD, price_minor=5, from_day=date(2025, 9, 1))
        )
        self.post(session, "SUP", "STORE", 100, self.fresh)
        self.post(session, "SUP", "HILL", 40, self.fresh)
        self.post(session, "SUP", "LAKE", 12, self.lot)
        self.officer = login_as(make_person(session, self.programme, Role.OFFICER))
        self.of_far = login_as(make_person(session, self.programme, Role.OFFICER, area=self.far))

    def _place(self, session, code, kind, school=None, unit=None):
        name = {"STORE": "Central store", "M1": "Napkin machine 1"}.get(code, "Cupboard")
        place = StockPlace(programme_id=self.programme.id, code=code, name=name, kind=kind)
        place.school_id, place.unit_id = school.id if school else None, unit.id if unit else None
        session.add(place)
        session.flush()
        return place

    def post(self, session, start, end, quantity, lot):
        ids = (self.places[start].id, self.places[end].id, self.product.id)
        ledger.post(session, Move(f"{start}-{end}", *ids, quantity, MONDAY, MoveReason.RECEIPT, lot_id=lot.id))

    def address(self, code, act=""):
        return f"/places/{self.places[code].id}/stock{act}"

    def move(self, code="HILL", to="LAKE", quantity="10", **more):
        fields = {"key": KEY, "product": self.product.id, "quantity": quantity, "to_place": self.places[to].id}
        return self.officer.post(self.address(code, "/move"), data=fields | {"day": DAY.isoformat()} | more)


@pytest.fixture
def stock(session, login_as):
    return Stock(session, login_as)


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def held(saved, stock, code):
    saved.rollback()  # a new look
    rows = ledger.balances(saved, stock.programme.id, place_ids=[stock.places[code].id])
    return {row.lot: row.quantity for row in rows}


def test_the_page_shows_each_place_with_its_pieces_expiry_and_last_count(stock):
    page = stock.officer.get(f"/programmes/{stock.programme.id}/stock").text
    for said in ("Stores and vehicles", "Hill School", "Lake School", "31 January 2027", "12 expired", "never"):
        assert said in page


def test_an_officer_of_an_area_sees_the_store_and_the_schools_of_the_area(stock):
    page = stock.of_far.get(f"/programmes/{stock.programme.id}/stock").text
    assert "Lake School" in page
    assert "Central store" in page
    assert "Hill School" not in page
    assert stock.of_far.get(stock.address("HILL")).status_code == 404


def test_a_move_is_kept_once_however_often_the_form_is_sent(stock, saved):
    first, again = stock.move(loan="y"), stock.move(loan="y")
    assert (first.status_code, again.status_code) == (302, 302)
    assert held(saved, stock, "HILL") == {"B07": 30}
    row = saved.scalars(select(StockMove).where(StockMove.reason == MoveReason.LOAN)).one()
    assert (row.quantity, row.day, row.ref) == (10, DAY, f"p-{KEY}")
    written = saved.scalars(select(Audit).where(Audit.table_name == "stock_move", Audit.role == "officer")).all()
    assert len(written) == 1


def test_more_than_is_there_is_refused_with_the_figures_and_what_was_typed_stays(stock, saved):
    answer = stock.move(quantity="60", note="by bicycle")
    assert answer.status_code == 400
    assert "The cupboard of Hill School has 40 pieces of Napkin; 60 cannot leave it." in answer.text
    assert 'value="60"' in answer.text
    assert 'value="by bicycle"' in answer.text
    assert held(saved, stock, "HILL") == {"B07": 40}


def test_more_than_is_there_is_kept_as_a_difference_where_the_officer_says_why(stock, saved):
    assert stock.move(quantity="60", difference="Two packs were not written down.").status_code == 302
    assert held(saved, stock, "HILL") == {}
    row = saved.scalars(select(StockMove).where(StockMove.reason == MoveReason.COUNT_DIFFERENCE)).one()
    assert (row.quantity, row.note, row.worked_out) == (20, "Two packs were not written down.", None)
    assert "more left" not in stock.officer.get(f"/programmes/{stock.programme.id}/stock/differences").text


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("quantity", "0", "Write a whole number from 1 to 1000000."),
        ("quantity", "ten", "Write a whole number from 1 to 1000000."),
        ("day", "2026-02-05", "This day has not come yet."),
        ("day", "soon", "Write a day as year-month-day"),
        ("to_place", "999999", "Choose from the list."),
        ("product", "999999", "Choose from the list."),
    ],
)
def test_a_bad_field_says_what_to_do(stock, saved, field, typed, said):
    answer = stock.move(**{field: typed})
    assert answer.status_code == 400
    assert said in answer.text
    assert held(saved, stock, "HILL") == {"B07": 40}


def test_a_delivery_from_the_store_and_a_refill_are_called_so(stock, saved):
    stock.move("STORE", "HILL", key="1" * 32)
    stock.move("HILL", "M1", key="2" * 32)
    reasons = saved.scalars(select(StockMove.reason).where(StockMove.ref.like("p-%")).order_by(StockMove.id)).all()
    assert reasons == [MoveReason.DELIVERY, MoveReason.REFILL]


def test_a_count_that_differs_is_listed_until_somebody_says_why(stock, saved):
    data = {"key": KEY, "product": stock.product.id, "quantity": "33", "day": DAY.isoformat()}
    assert stock.officer.post(stock.address("HILL", "/count"), data=data).status_code == 302
    assert held(saved, stock, "HILL") == {"B07": 33}
    listed = f"/programmes/{stock.programme.id}/stock/differences"
    assert "7 pieces fewer were counted than was on record." in stock.officer.get(listed).text
    why = stock.address("HILL", f"/difference/{stock.product.id}/{DAY.isoformat()}")
    assert "Choose why." in stock.officer.post(why, data={}).text
    assert stock.officer.post(why, data={"why": "damage", "note": "wet box"}).status_code == 302
    saved.rollback()
    row = saved.scalars(select(StockDifference)).one()
    assert (row.quantity, row.why, row.note) == (-7, Why.DAMAGE, "wet box")
    assert "Everything on record adds up" in stock.officer.get(listed).text


def test_a_difference_that_changes_after_it_was_explained_is_listed_again(stock):
    count = {"key": KEY, "product": stock.product.id, "quantity": "33", "day": DAY.isoformat()}
    stock.officer.post(stock.address("HILL", "/count"), data=count)
    why = stock.address("HILL", f"/difference/{stock.product.id}/{DAY.isoformat()}")
    stock.officer.post(why, data={"why": "miscount"})
    stock.officer.post(stock.address("HILL", "/count"), data=count | {"quantity": "30"})
    page = stock.officer.get(f"/programmes/{stock.programme.id}/stock/differences").text
    assert "10 pieces fewer were counted" in page


def test_a_count_of_the_schools_own_sheet_is_not_written_over(stock, session, saved):
    sheet = WeekSheet(school_id=stock.hill.id, week=MONDAY, code="C1", state=SheetState.SENT, version=1)
    sheet.first_sent_at = INSTALLED
    session.add(sheet)
    session.flush()
    place = stock.places["HILL"].id
    session.add(
        StockCount(place_id=place, product_id=stock.product.id, sheet_id=sheet.id, day=DAY, week=MONDAY, quantity=40)
    )
    session.commit()
    data = {"key": KEY, "product": stock.product.id, "quantity": "33", "day": DAY.isoformat()}
    answer = stock.officer.post(stock.address("HILL", "/count"), data=data)
    assert answer.status_code == 400
    assert "The school&#39;s week sheet has a count of 40 pieces on that day." in answer.text
    assert saved.scalar(select(StockCount.quantity)) == 40


def test_expired_pieces_are_written_off(stock, saved):
    data = {"key": KEY, "lot": stock.lot.id, "quantity": "12", "why": "expired", "day": DAY.isoformat()}
    assert stock.officer.post(stock.address("LAKE", "/write-off"), data=data).status_code == 302
    assert held(saved, stock, "LAKE") == {}
    row = saved.scalars(select(StockMove).where(StockMove.reason == MoveReason.EXPIRED)).one()
    assert saved.get(StockPlace, row.to_place_id).kind is PlaceKind.LOSS


def test_a_loan_stays_listed_until_all_of_it_came_back(stock, saved):
    stock.move(loan="y")
    page = f"/programmes/{stock.programme.id}/stock"
    assert "has 10 pieces of Napkin from Hill School" in stock.officer.get(page).text
    back = stock.address("LAKE", f"/return/{stock.places['HILL'].id}/{stock.product.id}")
    fields = {"key": "3" * 32, "quantity": "4", "day": DAY.isoformat()}
    assert stock.officer.post(back, data=fields).status_code == 302
    assert "has 6 pieces of Napkin from Hill School" in stock.officer.get(page).text
    too_many = stock.officer.post(back, data=fields | {"key": "4" * 32, "quantity": "7"})
    assert "6 are still owed." in too_many.text
    stock.officer.post(back, data=fields | {"key": "5" * 32, "quantity": "6"})
    assert "Loans not given back" not in stock.officer.get(page).text
    assert stock.officer.get(back).status_code == 404
    assert sum(held(saved, stock, "HILL").values()) == 40


def test_a_place_shows_its_lots_and_its_moves_newest_first(stock):
    stock.move(loan="y", note="by bicycle")
    page = stock.officer.get(stock.address("HILL")).text
    assert page.index("−10") < page.index("+40")
    for said in ("lot B07", "to The cupboard of Lake School", "loan: by bicycle", "from Cupboard"):
        assert said in page


def test_a_coin_box_is_kept_with_two_names_and_stands_beside_the_counter(stock, saved):
    address = f"/units/{stock.machine.id}/coins"
    box = {"key": KEY, "day": "2026-01-05", "counter_value": "100", "cash_minor": "0"}
    names = {"first_name": "T. Orvane", "second_name": "L. Messik"}
    assert stock.officer.post(address, data=box | names).status_code == 302
    assert stock.officer.post(address, data=box | names).status_code == 302  # sent twice, kept once
    later = box | names | {"key": "6" * 32, "day": "2026-02-02", "counter_value": "160", "cash_minor": "290"}
    assert stock.officer.post(address, data=later).status_code == 302
    assert len(saved.scalars(select(CoinEmptying)).all()) == 2
    page = stock.officer.get(f"/programmes/{stock.programme.id}/stock/machines").text
    # 60 vends at 5 are 3.00; 2.90 were found
    for said in ("3.00 XTS", "2.90 XTS", "less than the counter says", "1 of 1 periods between emptyings"):
        assert said in page


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("second_name", "t. orvane", "Two different people count a coin box."),
        ("counter_value", "100000", "The counter has 5 digits."),
        ("cash_minor", "-1", "Write a whole number from 0"),
        ("first_name", "", "Write the name of a member of staff."),
        ("day", "2026-02-05", "This day has not come yet."),
    ],
)
def test_a_bad_coin_box_says_what_to_do(stock, saved, field, typed, said):
    box = {"key": KEY, "day": "2026-02-02", "counter_value": "100", "cash_minor": "10"}
    box |= {"first_name": "T. Orvane", "second_name": "L. Messik"}
    answer = stock.officer.post(f"/units/{stock.machine.id}/coins", data=box | {field: typed})
    assert answer.status_code == 400
    assert said in answer.text
    assert saved.scalars(select(CoinEmptying)).all() == []


def test_the_counter_of_a_machine_stands_beside_what_was_put_in_and_left(stock, session):
    """30 there, 20 put in, the counter moved on by 24, 25 left: 30 + 20 − 24 = 26, so 1 is missing."""
    machine = stock.places["M1"]
    for day, value, left in ((date(2026, 1, 30), 100, 30), (MONDAY, 124, 25)):
        at = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
        read = {"quantity": Quantity.VENDS, "source": Source.TALLY, "at": at, "day": day, "week": day, "value": value}
        session.add(Reading(unit_id=stock.machine.id, **read))
        with ledger.reported(session, stock.programme.id, [machine.id]):
            session.add(StockCount(place_id=machine.id, product_id=stock.product.id, day=day, week=day, quantity=left))
    ids = (stock.places["SUP"].id, machine.id, stock.product.id)
    ledger.post(session, Move("fill", *ids, 20, MONDAY, MoveReason.REFILL))
    session.commit()
    worked = session.scalars(select(StockMove).where(StockMove.worked_out.is_not(None)).order_by(StockMove.id)).all()
    said = {(row.worked_out, row.day): row.quantity for row in worked}
    assert said[WorkedOut.GIVEN_OUT, MONDAY] == 24
    assert said[WorkedOut.COUNT, MONDAY] == 1
    page = stock.officer.get(f"/programmes/{stock.programme.id}/stock/machines").text
    assert "31 January to 2 February 2026" in page
    assert "less than the records say" in page


def test_the_page_asks_the_same_number_of_queries_whatever_the_number_of_schools(stock, session, engine):
    address = f"/programmes/{stock.programme.id}/stock"
    before = count_queries(engine, lambda: stock.officer.get(address))
    for number in range(8):
        school = make_school(session, stock.programme, stock.near)
        stock.places[f"N{number}"] = stock._place(session, f"N{number}", PlaceKind.CUPBOARD, school)
        stock.post(session, "SUP", f"N{number}", 10, stock.fresh)
    session.commit()
    assert count_queries(engine, lambda: stock.officer.get(address)) == before


@pytest.mark.parametrize(
    ("act", "sentences"),
    [
        ("move", ["Choose what moved.", "Choose where the pieces went."]),
        ("count", ["Choose what was counted."]),
        ("write-off", ["Choose what is written off."]),
    ],
)
def test_nothing_is_taken_to_be_meant_because_it_stands_first_in_a_list(stock, act, sentences):
    address = f"/places/{stock.places['STORE'].id}/stock/{act}"
    page = stock.officer.get(address).text
    assert '<option value="">choose</option>' in page and "<option selected" not in page
    answer = stock.officer.post(
        address, data={"key": KEY, "quantity": "1", "day": DAY.isoformat(), "product": "", "to_place": "", "lot": ""}
    )
    assert answer.status_code == 400
    assert all(sentence in answer.text for sentence in sentences)
