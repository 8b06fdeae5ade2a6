"""Counts and moves of places at schools: what nobody wrote down is blank, and only what was written is a number."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from sqlalchemy.orm import Session

from tests.make import make_programme, make_school
from tracker import models as m
from tracker.records import frames
from tracker.vocabulary import MoveReason, PlaceKind

MONDAY = date(2026, 1, 12)
FRIDAY = MONDAY + timedelta(days=4)


class World:
    """A school with cupboards, a supplier, and one product."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.programme = make_programme(session)
        self.school = make_school(session, self.programme)
        self.napkins = m.supplies.Product(
            programme_id=self.programme.id, code="NAP", name="Napkin", menstrual=True, pack_size=10, unit_cost_minor=5
        )
        session.add(self.napkins)
        session.flush()
        self.lot = m.supplies.Lot(product_id=self.napkins.id, code="L1")
        session.add(self.lot)
        self.supplier = self.place("SUPPLIER", PlaceKind.SUPPLIER, None)

    def place(self, code, kind=PlaceKind.CUPBOARD, school="mine"):
        school_id = self.school.id if school else None
        row = m.supplies.StockPlace(
            programme_id=self.programme.id, school_id=school_id, code=code, name=code, kind=kind
        )
        self.session.add(row)
        self.session.flush()
        return row

    def count(self, place, day, quantity):
        row = m.supplies.StockCount(
            place_id=place.id, product_id=self.napkins.id, day=day, week=MONDAY, quantity=quantity
        )
        self.session.add(row)
        self.session.flush()

    def bring(self, place, day, quantity):
        row = m.supplies.StockMove(
            **{"programme_id": self.programme.id, "ref": f"M{place.id}", "week": MONDAY, "reason": MoveReason.DELIVERY},
            **{"from_place_id": self.supplier.id, "to_place_id": place.id, "lot_id": self.lot.id},
            day=day,
            quantity=quantity,
        )
        self.session.add(row)
        self.session.flush()

    def spans(self):
        scope = frames.Scope(self.programme.id, MONDAY, FRIDAY)
        return frames.stock_spans(self.session, scope).set_index("place")


def test_a_place_without_any_move_or_second_count_is_blank_beside_one_that_has_them(engine):
    with Session(engine) as session:
        world = World(session)
        told, silent, once = (world.place(code) for code in ("A", "B", "C"))
        world.count(told, MONDAY, 100)
        world.bring(told, MONDAY + timedelta(days=1), 50)
        world.count(told, FRIDAY, 150)
        world.count(silent, MONDAY, 40)
        world.count(silent, FRIDAY, 40)
        world.count(once, MONDAY, 7)
        found = world.spans()
    # By hand, no outside source: A received 50, and a place with a move on record issued and lost none.
    assert found.loc["A", ["opening", "received", "issued", "lost", "closing"]].tolist() == [100, 50, 0, 0, 150]
    assert found.loc["B", ["opening", "closing"]].tolist() == [40, 40]
    assert found.loc["B", ["received", "issued", "lost"]].isna().all()
    assert found.loc["C", "opening"] == 7
    assert pd.isna(found.loc["C", "closing"])
    assert found.loc["C", ["received", "issued", "lost"]].isna().all()


def test_a_place_that_was_never_counted_has_no_row_and_no_zero(engine):
    with Session(engine) as session:
        world = World(session)
        world.bring(world.place("A"), MONDAY, 50)
        assert world.spans().empty
