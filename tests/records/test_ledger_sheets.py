"""What a week sheet or a folder brings is never refused for the ledger's sake, and leaves no trace when it goes."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import select

from tests.records.test_ledger import FRIDAY, MONDAY, Stock
from tracker.db import make_engine, writing
from tracker.models.audit import Audit
from tracker.models.sheets import WeekSheet
from tracker.models.supplies import StockMove, StockPlace
from tracker.records import facts, ledger, ledger_pages
from tracker.vocabulary import MoveReason, SheetState, WorkedOut


def sheet_of(stock: Stock) -> WeekSheet:
    sheet = WeekSheet(school_id=stock.hill.id, week=MONDAY, code="C1", state=SheetState.SENT, version=1)
    sheet.first_sent_at = datetime(2026, 2, 7, 8, tzinfo=UTC)
    stock.session.add(sheet)
    stock.session.flush()
    return sheet


def brought(pieces: int, gave: int, day: date = MONDAY) -> list[dict[str, object]]:
    """What came from the store, and what was handed out; the sheet names no lot."""
    plain = {"product": "PAD", "lot": "unknown", "day": day, "note": ""}
    came = {"ref": "s-m", "from_place": "STORE", "to_place": "HILL", "quantity": pieces, "reason": MoveReason.DELIVERY}
    went = {"ref": "s-g", "from_place": "HILL", "to_place": "GIVEN", "quantity": gave, "reason": MoveReason.GIVEN_OUT}
    return [came | plain, went | plain]


def counted(pieces: int) -> list[dict[str, object]]:
    return [{"place": "HILL", "product": "PAD", "day": FRIDAY, "quantity": pieces}]


@pytest.fixture
def known(any_engine):
    """The small stock, with the lot "unknown" that sheets name."""
    with writing(any_engine) as session:
        stock = Stock(session)
        ledger.unknown_lot(session, stock.napkins.id)
        yield stock


def test_a_sheet_takes_the_first_lot_to_expire_and_what_is_missing_is_a_shortfall(known):
    """The store has 30 of lot A12; the sheet says that 50 came and 45 were handed out; 5 are left, and counted."""
    known.post(known.supplier, known.store, 30, lot_id=known.old.id)
    sheet = sheet_of(known)
    facts.replace_facts(known.session, sheet, {"stock_moves": brought(50, 45), "stock_counts": counted(5)})
    assert (known.held(known.store), known.held(known.cupboard)) == ({}, {"unknown": 5})
    short = [one for one in known.worked_out() if one[0] is WorkedOut.SHORTFALL]
    assert short == [(WorkedOut.SHORTFALL, MONDAY, 20)]
    lines = ledger_pages.differences(known.session, known.programme.id)
    assert [(one.place.code, one.day, one.pieces, one.shortfall) for one in lines] == [("STORE", MONDAY, 20, True)]
    assert ledger.check(known.session) == []


def test_a_new_version_settles_anew(known):
    """First 50 came, then it was 25 of the 30: no shortfall any more, and 20 handed out leave 5."""
    known.post(known.supplier, known.store, 30, lot_id=known.old.id)
    sheet = sheet_of(known)
    facts.replace_facts(known.session, sheet, {"stock_moves": brought(50, 45)})
    facts.replace_facts(known.session, sheet, {"stock_moves": brought(25, 20), "stock_counts": counted(5)})
    assert (known.held(known.store), known.held(known.cupboard)) == ({"A12": 5}, {"unknown": 5})
    assert ledger_pages.differences(known.session, known.programme.id) == []
    assert ledger.check(known.session) == []


def test_a_sheet_that_is_taken_out_leaves_the_stock_as_it_was(known):
    known.post(known.supplier, known.store, 30, lot_id=known.old.id)
    sheet = sheet_of(known)
    facts.replace_facts(known.session, sheet, {"stock_moves": brought(50, 45), "stock_counts": counted(9)})
    facts.remove_sheet_facts(known.session, sheet)
    assert (known.held(known.store), known.held(known.cupboard)) == ({"A12": 30}, {})
    assert known.worked_out() == []


def test_the_ledgers_own_moves_are_in_no_audit_row(known):
    facts.replace_facts(known.session, sheet_of(known), {"stock_moves": brought(50, 45)})
    assert known.worked_out() != []
    rows = known.session.scalars(select(Audit).where(Audit.table_name == "stock_move")).all()
    assert [(row.act, row.after) for row in rows] == [("loaded", '{"rows":2}')]


def test_the_demo_adds_up_and_what_was_written_as_a_difference_is_not_asked_about(demo_copy):
    with writing(make_engine(f"sqlite:///{demo_copy}")) as session:
        assert ledger.check(session) == []
        programme = session.scalars(select(StockPlace.programme_id).where(StockPlace.code == "OL-01-CUP")).one()
        assert ledger_pages.differences(session, programme) == []
        said = select(StockMove).where(StockMove.reason == MoveReason.COUNT_DIFFERENCE, StockMove.worked_out.is_(None))
        assert all(row.note for row in session.scalars(said))
        assert ledger.rebuild(session) == 0
        session.rollback()
