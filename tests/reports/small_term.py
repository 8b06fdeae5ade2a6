"""A school with two weeks of term, small enough to work every figure out by hand.

School 08:00 to 15:00 on Monday to Friday (420 minutes a day), breaks at 10:00 and 12:00, zone three hours ahead of
UTC, 200 pupils. Term: Monday 12 to Friday 23 January 2026, ten school days, twenty break occasions.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from tests import make
from tracker import models as m
from tracker.records import calendar, frames
from tracker.vocabulary import (
    Cause,
    CountWay,
    FittingKind,
    GivenWay,
    LitresBasis,
    MoveReason,
    PlaceKind,
    Sex,
    SheetState,
    Source,
    State,
    UnitKind,
)

ZONE = ZoneInfo("Etc/GMT-3")
FIRST, LAST = date(2026, 1, 12), date(2026, 1, 23)
WEEK_1, WEEK_2 = date(2026, 1, 12), date(2026, 1, 19)
AFTER = datetime(2026, 2, 20, 12, tzinfo=UTC)  # the term is over and every sheet was due


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """A local clock time as an instant."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE).astimezone(UTC)


def programme_with_term(session, **given):
    """A programme and its term of two weeks."""
    programme = make.make_programme(session)
    term = make.make_term(session, programme, **({"first": FIRST, "last": LAST} | given))
    return programme, term


def school_of(session, programme, **given):
    """A school with its school days."""
    school = make.make_school(session, programme, **given)
    calendar.rebuild(session, programme.id)
    session.flush()
    return school


def head(session, programme, term) -> frames.TermHead:
    """The term as reports take it."""
    return next(one for one in frames.terms(session, programme.id) if one.id == term.id)


def sheet(session, school, week: date, *, sent: datetime | None = None) -> m.sheets.WeekSheet:
    """A week sheet that was sent on the Friday of its week."""
    sent = sent or at(week + timedelta(days=4), 16)
    row = m.sheets.WeekSheet(
        school_id=school.id,
        week=week,
        code=f"{school.id}-{week:%m%d}",
        state=SheetState.SENT,
        version=1,
        first_sent_at=sent,
    )
    return make._add(session, row)


def count(session, unit, day: date, visits: int, *, slot="B1", how=CountWay.GRID, sheet_id=None) -> None:
    """Visits of one break."""
    week = day - timedelta(days=day.weekday())
    row = m.usage.UsageCount(unit_id=unit.id, sheet_id=sheet_id, week=week, first_day=day, days=1, slot=slot)
    row.source, row.how, row.visits = Source.TALLY, how, visits
    make._add(session, row)


def fitting(session, unit, kind: FittingKind, ml: int, **given) -> None:
    """A fitting measured at commissioning, from the year's first day."""
    fields = {"from_day": make.FIRST, "litres_basis": LitresBasis.MEASURED}
    make._add(session, m.units.Fitting(unit_id=unit.id, kind=kind, ml=ml, **(fields | given)))


def outage(session, programme, unit, start: datetime, end: datetime | None = None, cause=Cause.BROKEN) -> None:
    """An outage said by the school."""
    row = m.outages.Outage(programme_id=programme.id, ref=f"O{next(make._numbers)}", unit_id=unit.id)
    row.source, row.cause, row.start_at, row.end_at = Source.TALLY, cause, start, end
    make._add(session, row)


def seen(session, unit, day: date, state: State = State.WORKING) -> None:
    """Somebody looked."""
    make._add(session, m.outages.Sighting(unit_id=unit.id, source=Source.TALLY, day=day, state=state))


def machine(session, programme, school):
    """A napkin machine with its place, product and lot; returns (unit, place, product, lot, store)."""
    unit = make.make_unit(session, school, way=CountWay.NONE, kind=UnitKind.MACHINE)
    number = next(make._numbers)
    product = m.supplies.Product(
        programme_id=programme.id, code=f"N{number}", name="Napkin", menstrual=True, pack_size=10, unit_cost_minor=5
    )
    make._add(session, product)
    lot = make._add(session, m.supplies.Lot(product_id=product.id, code="unknown"))
    places = [
        m.supplies.StockPlace(
            programme_id=programme.id,
            code=f"{name}{number}",
            name=name,
            kind=kind,
            school_id=school_id,
            unit_id=unit_id,
            settling=True,  # moves are written one by one here, in any order; the guard has tests of its own
        )
        for name, kind, school_id, unit_id in (
            ("Machine", PlaceKind.MACHINE, school.id, unit.id),
            ("Cupboard", PlaceKind.CUPBOARD, school.id, None),
        )
    ]
    place, cupboard = (make._add(session, one) for one in places)
    make._add(session, m.supplies.GivenHow(place_id=place.id, way=GivenWay.SOLD, price_minor=100, from_day=make.FIRST))
    return unit, place, product, lot, cupboard


def stock(session, place, product, day: date, quantity: int) -> None:
    """A count at the end of a day."""
    week = day - timedelta(days=day.weekday())
    row = m.supplies.StockCount(place_id=place.id, product_id=product.id, day=day, week=week, quantity=quantity)
    make._add(session, row)


def move(session, programme, places, lot, day: date, quantity: int, reason=MoveReason.REFILL) -> None:
    """Pieces from one place to another."""
    source, target = places
    row = m.supplies.StockMove(
        programme_id=programme.id,
        ref=f"M{next(make._numbers)}",
        from_place_id=source.id,
        to_place_id=target.id,
        lot_id=lot.id,
        quantity=quantity,
        day=day,
        week=day - timedelta(days=day.weekday()),
        reason=reason,
    )
    make._add(session, row)


def lesson(session, programme, school, day: date, present: dict[Sex, int], grade: str = "6") -> None:
    """A lesson and who was there."""
    row = m.sessions.AwarenessSession(
        programme_id=programme.id,
        ref=f"L{next(make._numbers)}",
        school_id=school.id,
        day=day,
        week=day - timedelta(days=day.weekday()),
        topic="Hand washing",
        minutes=40,
    )
    make._add(session, row)
    for sex, number in present.items():
        make._add(session, m.sessions.Attendance(session_id=row.id, sex=sex, grade=grade, present=number))
