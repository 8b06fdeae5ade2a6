"""Small programmes for the tests of the officer's, the engineer's and the set-up pages."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from sqlalchemy import event

from tests.make import make_block, make_person, make_school, make_unit
from tracker.models.disposal import DisposalRoute
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.sheets import SheetVersion, WeekSheet
from tracker.models.supplies import PlannedRound, Product, StockCount, StockPlace
from tracker.records import calendar
from tracker.vocabulary import (
    Cause,
    CountWay,
    Danger,
    PlaceKind,
    Role,
    Route,
    SheetState,
    Source,
    UnitKind,
    VisitPurpose,
)

NOW = datetime(2026, 2, 4, 9, 0, tzinfo=UTC)  # what the tests' clock says
DAY = date(2026, 2, 4)


def count_queries(engine, act) -> int:
    """How many statements an act sends."""
    seen = []

    def note(_connection, _cursor, statement, *_rest):
        seen.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    try:
        act()
    finally:
        event.remove(engine, "before_cursor_execute", note)
    return len(seen)


def outage(session, programme, unit, cause=Cause.BROKEN, hours: int = 100, **given) -> Outage:
    """An open outage that began some hours ago."""
    row = Outage(
        programme_id=programme.id,
        ref=f"O{unit.id}{cause.name}",
        unit_id=unit.id,
        source=Source.TALLY,
        cause=cause,
        start_at=NOW - timedelta(hours=hours),
        **given,
    )
    session.add(row)
    session.flush()
    return row


def busy_school(session, programme, area):
    """A school with one line of every need."""
    school = make_school(session, programme, area)
    block = make_block(session, school)
    units = [make_unit(session, school, block) for _ in range(3)]
    machine = make_unit(session, school, block, CountWay.NONE, kind=UnitKind.MACHINE)
    outage(session, programme, units[0])
    outage(session, programme, units[1], Cause.DANGER, danger=Danger.FLOOD)
    asked = {"purpose": VisitPurpose.METER, "asked_on": DAY}
    session.add(ServiceVisit(programme_id=programme.id, ref=f"V{school.id}", unit_id=units[2].id, **asked))
    session.add(
        DisposalRoute(school_id=school.id, kind=Route.BURN, from_day=date(2025, 1, 1), permit_until=date(2026, 2, 10))
    )
    _sheet(session, school)
    _stock(session, programme, school, machine)
    make_person(session, programme, Role.COORDINATOR, school=school)
    return school


def _sheet(session, school) -> None:
    sheet = WeekSheet(
        school_id=school.id,
        week=date(2026, 1, 12),
        code=f"C{school.id}",
        state=SheetState.SENT,
        version=1,
        first_sent_at=NOW,
    )
    session.add(sheet)
    session.flush()
    version = {"number": 1, "reference": f"R{sheet.id}", "sent_at": NOW, "payload": "{}", "payload_hash": "0" * 64}
    session.add(SheetVersion(sheet_id=sheet.id, **version))


def _stock(session, programme, school, machine) -> None:
    product = session.query(Product).filter_by(programme_id=programme.id).first()
    if product is None:
        product = Product(
            programme_id=programme.id, code="PAD", name="Napkin", menstrual=True, pack_size=10, unit_cost_minor=5
        )
        session.add(product)
        session.add(PlannedRound(programme_id=programme.id, day=date(2026, 2, 10)))
        session.add(PlannedRound(programme_id=programme.id, day=date(2026, 3, 10)))
    place = StockPlace(
        programme_id=programme.id,
        code=f"M{machine.id}",
        name="Machine",
        kind=PlaceKind.MACHINE,
        school_id=school.id,
        unit_id=machine.id,
    )
    session.add(place)
    session.flush()
    for day, left in ((date(2026, 1, 16), 60), (date(2026, 1, 23), 30), (date(2026, 1, 30), 0)):
        week = day - timedelta(days=4)
        session.add(StockCount(place_id=place.id, product_id=product.id, day=day, week=week, quantity=left))
    session.flush()


def derive(session, programme) -> None:
    """Weeks, school days and drawn breaks."""
    calendar.rebuild(session, programme.id)
