"""A store, schools with cupboards and one product, small enough to plan by hand.

Term from Monday 12 January 2026; school on Monday to Friday. Counts on the Fridays 16, 23 and 30 January. Today is
Wednesday 4 February; the round is on Monday 9, the next on Monday 23 February: ten school days.
"""

from __future__ import annotations

from datetime import date, timedelta

from tests import make
from tracker import models as m
from tracker.records import calendar
from tracker.records.restock_inputs import Asked
from tracker.vocabulary import MoveReason, PlaceKind

TODAY, ON, UNTIL = date(2026, 2, 4), date(2026, 2, 9), date(2026, 2, 23)
FRIDAYS = (date(2026, 1, 16), date(2026, 1, 23), date(2026, 1, 30))
STEADY = (40, 30, 20)  # two pieces used a school day


class World:
    """A programme that is built row by row."""

    def __init__(self, session) -> None:
        self.session = session
        self.programme = make.make_programme(session)
        self.area = make.make_area(session, self.programme)
        make.make_term(session, self.programme)
        self.store = self._place("STORE", PlaceKind.STORE)
        self.supplier = self._place("SUPPLIER", PlaceKind.SUPPLIER)

    def _place(self, code: str, kind: PlaceKind, school=None):
        row = m.supplies.StockPlace(programme_id=self.programme.id, code=code, name=code.title(), kind=kind)
        row.school_id = school.id if school else None
        return make._add(self.session, row)

    def product(self, code: str = "SOAP", pack: int = 4, **given):
        """A product; no volume unless it is given."""
        fields = {"name": code.title(), "menstrual": False, "pack_size": pack, "unit_cost_minor": 90} | given
        row = m.supplies.Product(programme_id=self.programme.id, code=code, **fields)
        return make._add(self.session, row)

    def stored(self, product, pieces: int, lot: str = "L1", expires: date | None = None) -> None:
        """A lot in the central store."""
        row = make._add(self.session, m.supplies.Lot(product_id=product.id, code=lot, expires_on=expires))
        self.move(self.supplier, self.store, row, date(2026, 1, 5), pieces, MoveReason.RECEIPT)

    def move(self, source, target, lot, day: date, pieces: int, reason: MoveReason) -> None:
        """Pieces from place to place."""
        week = day - timedelta(days=day.weekday())
        row = m.supplies.StockMove(programme_id=self.programme.id, ref=f"M{next(make._numbers)}")
        row.from_place_id, row.to_place_id, row.lot_id = source.id, target.id, lot.id
        row.quantity, row.day, row.week, row.reason = pieces, day, week, reason
        make._add(self.session, row)

    def school(self, product, left=STEADY, area=None):
        """A school whose cupboard was counted on the three Fridays; returns the school and its cupboard."""
        school = make.make_school(self.session, self.programme, area or self.area)
        cupboard = self._place(f"{school.code}-CUP", PlaceKind.CUPBOARD, school)
        for day, pieces in zip(FRIDAYS, left, strict=False):
            week = day - timedelta(days=4)
            row = m.supplies.StockCount(place_id=cupboard.id, product_id=product.id, day=day, week=week)
            row.quantity = pieces
            make._add(self.session, row)
        return school, cupboard

    def rule(self, school, product, minimum: int, room: int | None = None) -> None:
        """What the school keeps and has room for."""
        row = m.supplies.StockRule(school_id=school.id, product_id=product.id, from_day=make.FIRST)
        row.minimum, row.room = minimum, room
        make._add(self.session, row)

    def ready(self) -> None:
        """School days."""
        calendar.rebuild(self.session, self.programme.id)
        self.session.flush()

    def asked(self, **given) -> Asked:
        """What is asked for unless something else is given."""
        return Asked(**({"programme_id": self.programme.id, "today": TODAY, "on": ON, "until": UNTIL} | given))
