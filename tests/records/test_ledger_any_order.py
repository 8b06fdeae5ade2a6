"""Whatever is posted, reported, counted, corrected or deleted, in whatever order: balances equal the sum of moves."""

from datetime import date, timedelta

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, insert, select, text
from sqlalchemy.orm import Session

from tests.records.test_ledger import Stock
from tracker.models.ledger import StockBalance
from tracker.models.supplies import StockCount, StockMove
from tracker.records import ledger, ledger_settle
from tracker.records.ledger import LedgerError
from tracker.records.ledger_replay import Shelf, StockDay, replay
from tracker.vocabulary import MoveReason, WorkedOut

FIRST = date(2026, 2, 2)
FIXTURE = [HealthCheck.function_scoped_fixture]  # every example is rolled back
ENDS = ("supplier", "store", "cupboard", "other", "given")
INNER = ("store", "cupboard", "other")
DAYS = st.integers(0, 4)
PIECES = st.integers(1, 50)
LOT = st.sampled_from(["old", "new", None])
TWO = st.tuples(st.sampled_from(ENDS), st.sampled_from(ENDS)).filter(lambda two: two[0] != two[1])
ACT = st.one_of(
    st.tuples(st.just("post"), TWO, PIECES, DAYS, LOT),
    st.tuples(st.just("report"), TWO, PIECES, DAYS, LOT),
    st.tuples(st.just("count"), st.sampled_from(INNER), st.integers(0, 50), DAYS),
    st.tuples(st.just("take out"), st.integers(0, 20)),
    st.tuples(st.just("no count"), st.sampled_from(INNER), DAYS),
)


def do(stock: Stock, act) -> None:
    """One act, as the pages, the week sheet and the folder do it."""
    places = {name: getattr(stock, name) for name in ENDS}
    every = [places[name].id for name in INNER]
    what = act[0]
    if what == "post":
        (start, end), pieces, day, lot = act[1:]
        lot_id = getattr(stock, lot).id if lot else None
        try:
            stock.post(places[start], places[end], pieces, day=FIRST + timedelta(day), lot_id=lot_id)
        except LedgerError:
            return
        return
    with ledger.reported(stock.session, stock.programme.id, every):
        if what == "report":
            (start, end), pieces, day, lot = act[1:]
            row = stock.row(places[start], places[end], pieces, day=FIRST + timedelta(day), reason=MoveReason.TRANSFER)
            row["lot_id"] = getattr(stock, lot).id if lot else ledger.unknown_lot(stock.session, stock.napkins.id)
            stock.session.execute(insert(StockMove), [row])
        elif what == "take out":
            refs = list(stock.session.scalars(select(StockMove.ref).where(StockMove.worked_out.is_(None))))
            stock.session.execute(delete(StockMove).where(StockMove.ref.in_(refs[act[1] : act[1] + 2])))
        else:
            place, day = places[act[1]], FIRST + timedelta(act[-1])
            same = (StockCount.place_id == place.id) & (StockCount.day == day)
            stock.session.execute(delete(StockCount).where(same))
            if what == "count":
                stock.count(place, act[2], day)


# a delivery posted on the day of a reported shortfall makes the shortfall smaller
@example([("report", ("cupboard", "supplier"), 5, 1, "old"), ("post", ("supplier", "cupboard"), 3, 1, "old")])
@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=FIXTURE)
@given(st.lists(ACT, min_size=1, max_size=10))
def test_balances_are_the_sum_of_the_moves_after_any_acts(session: Session, acts):
    stock = Stock(session)
    for act in acts:
        do(stock, act)
        assert ledger.check(session) == []
        low = select(StockBalance).where((StockBalance.quantity < 0) | ~StockBalance.guarded)
        assert session.scalars(low).all() == []
    # settling once more finds nothing to change, and what is on record does not depend on the order of arrival
    places = ledger_settle.lock(session, ledger_settle.inner_places(session, stock.programme.id))
    assert ledger_settle.settle(session, stock.programme.id, places) == 0
    for place, _, day, counted in session.execute(
        select(StockCount.place_id, StockCount.product_id, StockCount.day, StockCount.quantity)
    ).all():
        rows = ledger.balances(session, stock.programme.id, day, [place])
        assert sum(row.quantity for row in rows) == counted  # at the end of its day, what was counted is on record
    session.rollback()


SHELF = Shelf(9, {1: date(2026, 3, 1), 2: date(2027, 3, 1), 9: None}, machine=False)
LOTS = st.dictionaries(st.sampled_from([1, 2, 9]), PIECES, max_size=3)
DAY = st.builds(StockDay, came=LOTS, left=LOTS, counted=st.one_of(st.none(), st.integers(0, 60)))


@settings(derandomize=True, deadline=None)
@given(st.dictionaries(DAYS.map(lambda number: FIRST + timedelta(number)), DAY, max_size=5), st.booleans())
def test_no_day_of_a_replay_ends_below_nothing_in_any_lot(days, machine):
    shelf = Shelf(SHELF.unknown, SHELF.expires, machine)
    lines = replay(days, shelf)
    held = dict.fromkeys(SHELF.expires, 0)
    for day in sorted(days):
        for lot in held:
            held[lot] += days[day].came.get(lot, 0) - days[day].left.get(lot, 0)
            held[lot] += sum(pieces for (on, one, _), pieces in lines.items() if (on, one) == (day, lot))
        assert min(held.values()) >= 0
        if days[day].counted is not None:
            assert sum(held.values()) == days[day].counted
    assert all(pieces > 0 for (_, _, why), pieces in lines.items() if why is WorkedOut.SHORTFALL)


def test_a_machine_without_a_counter_gave_out_what_was_put_in_less_what_is_left():
    """30 there on Monday, 20 put in on Tuesday, 12 left on Friday: 38 were given out."""
    machine = Shelf(9, {9: None}, machine=True)
    days = {
        FIRST: StockDay(counted=30),
        FIRST + timedelta(1): StockDay(came={9: 20}),
        FIRST + timedelta(4): StockDay(counted=12),
    }
    assert replay(days, machine) == {
        (FIRST, 9, WorkedOut.OPENING): 30,
        (FIRST + timedelta(4), 9, WorkedOut.GIVEN_OUT): -38,
    }


def test_a_machine_with_a_counter_gives_out_by_the_counter_and_the_rest_is_a_difference():
    """30 there, 20 put in, the counter moved on by 36, 12 left: 30 + 20 − 36 = 14, so 2 are missing."""
    machine = Shelf(9, {9: None}, machine=True)
    friday = FIRST + timedelta(4)
    days = {FIRST: StockDay(counted=30), friday: StockDay(came={9: 20}, counted=12, vends=36)}
    assert replay(days, machine) == {
        (FIRST, 9, WorkedOut.OPENING): 30,
        (friday, 9, WorkedOut.GIVEN_OUT): -36,
        (friday, 9, WorkedOut.COUNT): -2,
    }


def test_what_was_said_to_be_given_out_leaves_the_rest_a_difference():
    """A week's 25 were written as given out of 30; 3 are left: 2 are missing."""
    machine = Shelf(9, {9: None}, machine=True)
    friday = FIRST + timedelta(4)
    days = {FIRST: StockDay(counted=30), friday: StockDay(left={9: 25}, given_out=25, counted=3)}
    assert replay(days, machine)[friday, 9, WorkedOut.COUNT] == -2


def test_where_nobody_named_the_lot_the_first_to_expire_left_and_an_expired_one_last():
    came = StockDay(came={1: 5, 2: 5})
    before, after = date(2026, 2, 10), date(2026, 3, 10)  # lot 1 expires on 1 March 2026
    assert replay({FIRST: came, before: StockDay(left={9: 5})}, SHELF) == {
        (before, 1, WorkedOut.LOT): -5,
        (before, 9, WorkedOut.LOT): 5,
    }
    assert replay({FIRST: came, after: StockDay(left={9: 6})}, SHELF) == {
        (after, 2, WorkedOut.LOT): -5,
        (after, 1, WorkedOut.LOT): -1,
        (after, 9, WorkedOut.LOT): 6,
    }


def test_a_shortfall_stays_where_a_later_delivery_would_hide_it(session):
    """60 left on Monday where 40 were on record, 100 came on Friday: 20 are unexplained and 100 are there, not 80."""
    stock = Stock(session)
    stock.post(stock.supplier, stock.cupboard, 40, lot_id=stock.old.id)
    friday = stock.row(stock.supplier, stock.cupboard, 100, day=FIRST + timedelta(4))
    monday = stock.row(stock.cupboard, stock.given, 60, reason=MoveReason.GIVEN_OUT)
    with ledger.reported(session, stock.programme.id, [stock.cupboard.id]):
        session.execute(insert(StockMove), [friday])
    with ledger.reported(session, stock.programme.id, [stock.cupboard.id]):
        session.execute(insert(StockMove), [monday])
    assert stock.worked_out() == [(WorkedOut.SHORTFALL, FIRST, 20)]
    assert stock.held(stock.cupboard) == {"A12": 100}
    assert session.scalar(text("SELECT COUNT(*) FROM stock_place WHERE settling")) == 0
