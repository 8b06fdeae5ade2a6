"""A small programme with a store, two schools with cupboards and a vehicle, and a round of it."""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import select

from tests.make import make_area, make_programme, make_school
from tracker import models as m
from tracker.records import ledger, rounds, rounds_close, rounds_drive, rounds_ledger
from tracker.records.rounds import Division, Place, PlannedDay, PlannedLine, RoundPlan
from tracker.records.rounds_close import Counted
from tracker.records.rounds_drive import Handed
from tracker.vocabulary import MoveReason, PlaceKind

DAY = date(2026, 2, 3)  # a Tuesday
NEXT = date(2026, 3, 3)
AT = datetime(2026, 2, 3, 8, 0, tzinfo=UTC)


def add(session, row):
    session.add(row)
    session.flush()
    return row


class World:
    """Two schools with cupboards, a store with two lots of 60 and 100 napkins, one vehicle."""

    def __init__(self, session):
        self.session = session
        self.programme = make_programme(session)
        area = make_area(session, self.programme)
        self.schools = [make_school(session, self.programme, area, name=f"School {letter}") for letter in "AB"]
        self.cupboards = [
            self.place(f"C{at}", PlaceKind.CUPBOARD, school_id=school.id) for at, school in enumerate(self.schools)
        ]
        self.store = self.place("STORE", PlaceKind.STORE, name="Central store")
        supplier = self.place("SUPPLIER", PlaceKind.SUPPLIER)
        fields = {"pack_size": 10, "unit_cost_minor": 5, "menstrual": True, "unit_name": "napkins"}
        self.napkin = add(
            session, m.supplies.Product(programme_id=self.programme.id, code="N", name="Day napkin", **fields)
        )
        self.lots = []
        for code, until, pieces in (("LATE", date(2028, 1, 1), 100), ("SOON", date(2026, 6, 1), 60)):
            lot = add(session, m.supplies.Lot(product_id=self.napkin.id, code=code, expires_on=until))
            self.lots.append(lot)
            move = ledger.Move(code, supplier.id, self.store.id, self.napkin.id, pieces, date(2026, 1, 12),
                               MoveReason.RECEIPT, lot.id)  # fmt: skip
            ledger.post(session, move)
        self.van = add(session, m.supplies.Vehicle(programme_id=self.programme.id, code="VAN", name="Van"))

    def place(self, code, kind, name="", **rest):
        row = m.supplies.StockPlace(programme_id=self.programme.id, code=code, name=name or code, kind=kind, **rest)
        return add(self.session, row)

    def plan(self, pieces=(80, 40), **rest):
        lines = tuple(
            PlannedLine(school.id, self.napkin.id, number) for school, number in zip(self.schools, pieces, strict=True)
        )
        day = PlannedDay(self.van.id, rest.get("day", DAY), 450, 480)
        fields = {"key": "a1b2c3d4e5f6a7b8", "day": DAY, "next_day": NEXT, "aim": "fewest", "days": (day,)}
        return RoundPlan(store_id=self.store.id, lines=lines, **(fields | rest))

    def division(self):
        return Division({school.id: Place(0, at, 480 + at) for at, school in enumerate(self.schools, start=1)}, {})

    def made(self, **rest):
        found = rounds.create(self.session, self.programme, self.plan(**rest), self.division(), DAY)
        self.day = rounds.days_of(self.session, found)[0]
        self.stops = rounds.stops_of(self.session, found)
        return found

    def under_way(self, **rest):
        found = self.made(**rest)
        rounds_drive.set_out(self.session, found, self.day, AT, DAY)
        return found

    def hand(self, at, pieces, why=None, who="Head teacher"):
        said = Handed({self.napkin.id: pieces}, {self.napkin.id: why}, who, AT, DAY, self.driver())
        rounds_drive.hand_over(self.session, self.day, self.stops[at], said)

    def driver(self):
        there = self.session.scalar(select(m.people.Person.id).limit(1))
        return there or add(self.session, m.people.Person(email="d@test.example", name="D")).id

    def back(self, made, pieces, why=None):
        said = Counted({self.napkin.id: pieces}, {self.napkin.id: why}, AT, DAY)
        rounds_close.bring_back(self.session, made, self.day, said)

    def held(self, place):
        rows = ledger.balances(self.session, self.programme.id, place_ids=[place.id])
        return {row.lot: row.quantity for row in rows}

    def vehicle(self):
        return rounds_ledger.vehicle_place(self.session, self.van)
