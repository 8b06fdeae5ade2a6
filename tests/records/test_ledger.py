"""The ledger: balances equal the sum of the moves whichever way they are written; nothing leaves that is not there."""

from datetime import date

import pytest
from sqlalchemy import delete, insert, select, text
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from tests.make import make_programme, make_school
from tracker.db import writing
from tracker.models.ledger import StockBalance
from tracker.models.supplies import Lot, Product, StockCount, StockMove, StockPlace
from tracker.records import ledger
from tracker.records.ledger import LedgerError, Move
from tracker.vocabulary import MoveReason, PlaceKind, WorkedOut

MONDAY, FRIDAY = date(2026, 2, 2), date(2026, 2, 6)


class Stock:
    """A programme with a store, the cupboards of two schools, and napkins of two lots."""

    def __init__(self, session: Session):
        self.session = session
        self.programme = make_programme(session)
        self.hill, self.lake = (make_school(session, self.programme, name=name) for name in ("Hill School", "Lake"))
        self.store = self._place("STORE", "Central store", PlaceKind.STORE)
        self.supplier = self._place("SUP", "Supplier", PlaceKind.SUPPLIER)
        self.given = self._place("GIVEN", "Given out", PlaceKind.GIVEN_OUT)
        self.cupboard = self._place("HILL", "Cupboard", PlaceKind.CUPBOARD, school_id=self.hill.id)
        self.other = self._place("LAKE", "Cupboard", PlaceKind.CUPBOARD, school_id=self.lake.id)
        self.napkins = Product(
            programme_id=self.programme.id, code="PAD", name="napkins", menstrual=True, pack_size=10, unit_cost_minor=5
        )
        session.add(self.napkins)
        session.flush()
        self.old = Lot(product_id=self.napkins.id, code="A12", expires_on=date(2026, 6, 30))
        self.new = Lot(product_id=self.napkins.id, code="B07", expires_on=date(2027, 6, 30))
        session.add_all([self.old, self.new])
        session.flush()
        self.refs = 0

    def _place(self, code, name, kind, **given):
        place = StockPlace(programme_id=self.programme.id, code=code, name=name, kind=kind, **given)
        self.session.add(place)
        self.session.flush()
        return place

    def move(self, start, end, quantity, day=MONDAY, reason=MoveReason.DELIVERY, **given) -> Move:
        self.refs += 1
        fields = {"ref": f"t{self.refs}", "from_place_id": start.id, "to_place_id": end.id, "quantity": quantity}
        return Move(**(fields | {"product_id": self.napkins.id, "day": day, "reason": reason} | given))

    def post(self, *args, **given):
        return ledger.post(self.session, self.move(*args, **given))

    def held(self, place, day=None) -> dict[str, int]:
        rows = ledger.balances(self.session, self.programme.id, day, [place.id])
        return {row.lot: row.quantity for row in rows}

    def count(self, place, quantity, day=FRIDAY):
        self.session.add(
            StockCount(place_id=place.id, product_id=self.napkins.id, day=day, week=MONDAY, quantity=quantity)
        )

    def row(self, start, end, quantity, lot=None, day=MONDAY, reason=MoveReason.DELIVERY):
        self.refs += 1
        return {
            "programme_id": self.programme.id,
            "ref": f"r{self.refs}",
            "from_place_id": start.id,
            "to_place_id": end.id,
            "lot_id": (lot or self.old).id,
            "quantity": quantity,
            "day": day,
            "week": MONDAY,
            "reason": reason,
            "note": "",
        }

    def worked_out(self):
        rows = self.session.scalars(select(StockMove).where(StockMove.worked_out.is_not(None)).order_by(StockMove.id))
        return [(row.worked_out, row.day, row.quantity) for row in rows]


@pytest.fixture
def stock(any_engine):
    with writing(any_engine) as session:
        session.expire_on_commit = False
        yield Stock(session)


def test_a_move_goes_from_one_balance_to_the_other(stock):
    stock.post(stock.supplier, stock.store, 100, reason=MoveReason.RECEIPT, lot_id=stock.old.id)
    stock.post(stock.store, stock.cupboard, 40)
    assert stock.held(stock.store) == {"A12": 60}
    assert stock.held(stock.cupboard) == {"A12": 40}
    assert ledger.check(stock.session) == []


def test_what_is_not_there_cannot_leave_and_the_sentence_has_the_figures(stock):
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    with pytest.raises(LedgerError) as refused:
        stock.post(stock.cupboard, stock.other, 60, reason=MoveReason.LOAN, lot_id=stock.old.id)
    assert refused.value.field == "quantity"
    assert str(refused.value) == (
        "The cupboard of Hill School has 40 pieces of napkins of lot A12; 60 cannot leave it. "
        "Count the place first, or record the difference with a reason."
    )
    assert stock.held(stock.cupboard) == {"A12": 40}


def test_a_difference_with_a_reason_comes_in_first(stock):
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    stock.post(stock.cupboard, stock.other, 60, reason=MoveReason.LOAN, shortfall_note="Two packs were not written.")
    assert stock.held(stock.cupboard) == {}
    assert sum(stock.held(stock.other).values()) == 60
    assert ledger.check(stock.session) == []


def test_the_first_expiry_leaves_first_and_one_ref_counts_once(stock):
    stock.post(stock.supplier, stock.store, 30, lot_id=stock.new.id)
    stock.post(stock.supplier, stock.store, 30, lot_id=stock.old.id)
    move = stock.move(stock.store, stock.cupboard, 40)
    first, again = ledger.post(stock.session, move), ledger.post(stock.session, move)
    assert [row.id for row in first] == [row.id for row in again]
    assert stock.held(stock.cupboard) == {"A12": 30, "B07": 10}
    assert ledger.take(stock.session, stock.store.id, stock.napkins.id, 50, MONDAY) == [(stock.new.id, 20)]
    with pytest.raises(LedgerError) as refused:
        ledger.post(stock.session, Move(**{**vars_of(move), "quantity": 41}))
    assert refused.value.field == "ref"


def vars_of(move):
    return {name: getattr(move, name) for name in Move.__slots__}


def test_expired_lots_are_not_taken(stock):
    stock.post(stock.supplier, stock.store, 30, lot_id=stock.old.id)
    assert ledger.take(stock.session, stock.store.id, stock.napkins.id, 5, date(2026, 6, 30)) == [(stock.old.id, 5)]
    assert ledger.take(stock.session, stock.store.id, stock.napkins.id, 5, date(2026, 7, 1)) == []


def test_a_move_written_by_another_way_meets_the_check(stock):
    stock.session.commit()
    with pytest.raises(IntegrityError, match="overdrawn"):
        stock.session.execute(insert(StockMove), [stock.row(stock.cupboard, stock.given, 1)])
    stock.session.rollback()


def test_bulk_inserts_updates_and_deletes_keep_the_balances(stock):
    rows = [stock.row(stock.supplier, stock.store, 50), stock.row(stock.store, stock.cupboard, 20)]
    stock.session.execute(insert(StockMove), rows)
    stock.session.execute(text("UPDATE stock_move SET quantity = 25 WHERE quantity = 20"))
    assert (stock.held(stock.store), stock.held(stock.cupboard)) == ({"A12": 25}, {"A12": 25})
    stock.session.execute(delete(StockMove).where(StockMove.quantity == 25))
    assert (stock.held(stock.store), stock.held(stock.cupboard)) == ({"A12": 50}, {})
    assert ledger.check(stock.session) == []


def test_what_was_reported_is_never_refused_and_the_shortfall_is_worked_out(stock):
    with ledger.reported(stock.session, stock.programme.id, [stock.cupboard.id, stock.other.id]):
        stock.session.execute(
            insert(StockMove), [stock.row(stock.cupboard, stock.given, 60, reason=MoveReason.GIVEN_OUT)]
        )
    assert stock.worked_out() == [(WorkedOut.SHORTFALL, MONDAY, 60)]
    with ledger.reported(stock.session, stock.programme.id, [stock.cupboard.id]):
        stock.session.execute(insert(StockMove), [stock.row(stock.supplier, stock.cupboard, 45)])
    assert stock.worked_out() == [(WorkedOut.SHORTFALL, MONDAY, 15)]
    assert stock.held(stock.cupboard) == {}
    assert ledger.check(stock.session) == []


def test_a_count_that_differs_makes_a_move_that_says_so(stock):
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    with ledger.reported(stock.session, stock.programme.id, [stock.cupboard.id]):
        stock.count(stock.cupboard, 33)
    assert stock.worked_out() == [(WorkedOut.COUNT, FRIDAY, 7)]
    assert stock.held(stock.cupboard) == {"A12": 33}


def test_a_move_before_a_count_changes_what_the_count_explains(stock):
    """40 came, 33 were counted: 7 went. That 5 of them were lent is written down later: 2 went."""
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    with ledger.reported(stock.session, stock.programme.id, [stock.cupboard.id]):
        stock.count(stock.cupboard, 33)
    stock.post(stock.cupboard, stock.other, 5, reason=MoveReason.LOAN)
    assert stock.worked_out() == [(WorkedOut.COUNT, FRIDAY, 2)]
    assert stock.held(stock.cupboard) == {"A12": 33}
    assert ledger.check(stock.session) == []


def test_a_move_into_the_past_is_refused_where_later_moves_need_the_pieces(stock):
    """40 came on Monday and 30 left on Friday: 20 cannot have left on Wednesday."""
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    stock.post(stock.cupboard, stock.other, 30, day=FRIDAY, reason=MoveReason.LOAN)
    with pytest.raises(LedgerError, match="10 pieces of napkins could leave it on that day; 20 cannot"):
        stock.post(stock.cupboard, stock.other, 20, day=date(2026, 2, 4), reason=MoveReason.LOAN)
    assert stock.worked_out() == []
    assert stock.held(stock.cupboard) == {"A12": 10}
    assert stock.held(stock.cupboard, MONDAY) == {"A12": 40}
    stock.post(stock.cupboard, stock.other, 10, day=date(2026, 2, 4), reason=MoveReason.LOAN)
    assert stock.held(stock.cupboard) == {}


def test_a_balance_that_was_changed_by_hand_is_found_and_made_anew(stock):
    stock.post(stock.supplier, stock.store, 50, lot_id=stock.old.id)
    stock.session.execute(text("UPDATE stock_balance SET quantity = 49"))
    found = ledger.check(stock.session)
    assert [(one.place, one.product, one.lot, one.balance, one.moves) for one in found] == [
        ("STORE", "PAD", "A12", 49, 50)
    ]
    assert ledger.rebuild(stock.session) == 0
    assert ledger.check(stock.session) == []
    assert stock.session.scalar(select(StockBalance.quantity)) == 50
