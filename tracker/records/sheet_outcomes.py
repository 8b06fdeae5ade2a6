"""What a school's log led to, and the breaks it is to tally: what the coordinator's page shows first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage, ServiceVisit
from tracker.models.programme import Term
from tracker.models.school import DrawnBreak, SchoolBreak, Shift
from tracker.models.supplies import Lot as StockLot
from tracker.models.supplies import Product, StockMove, StockPlace
from tracker.models.units import Unit
from tracker.vocabulary import MoveReason


@dataclass(frozen=True, slots=True)
class Ended:
    """An outage that is over."""

    unit: str
    cause: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Delivered:
    """Supplies that came to a place of the school."""

    product: str
    quantity: int
    day: date


@dataclass(frozen=True, slots=True)
class Done:
    """A job of the engineer that is done."""

    unit: str
    done: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Drawn:
    """A break drawn for tallying, with its name and start in minutes after midnight (None: no such rule now)."""

    day: date
    slot: str
    name: str
    start_min: int | None


def ended_since(session: Session, school_id: int, since: datetime, until: datetime) -> list[Ended]:
    """Outages of the school's units that ended in a span of instants, oldest first."""
    rows = session.execute(
        select(Unit.code, Outage.cause, Outage.end_at)
        .join(Unit, Unit.id == Outage.unit_id)
        .where(Unit.school_id == school_id, Outage.end_at >= since, Outage.end_at <= until)
        .order_by(Outage.end_at, Outage.id)
    )
    return [Ended(unit, cause.value, at) for unit, cause, at in rows if at is not None]


def delivered_since(session: Session, school_id: int, since: date, until: date) -> list[Delivered]:
    """Deliveries to the school's places on the days of a span; "nothing received" is left out."""
    rows = session.execute(
        select(Product.name, StockMove.quantity, StockMove.day)
        .join(StockLot, StockLot.id == StockMove.lot_id)
        .join(Product, Product.id == StockLot.product_id)
        .join(StockPlace, StockPlace.id == StockMove.to_place_id)
        .where(
            StockPlace.school_id == school_id,
            StockMove.reason == MoveReason.DELIVERY,
            StockMove.quantity > 0,
            StockMove.day >= since,
            StockMove.day <= until,
        )
        .order_by(StockMove.day, StockMove.id)
    )
    return [Delivered(name, quantity, day) for name, quantity, day in rows]


def done_since(session: Session, school_id: int, since: datetime, until: datetime) -> list[Done]:
    """Jobs done at the school's units in a span of instants, oldest first."""
    rows = session.execute(
        select(Unit.code, ServiceVisit.done, ServiceVisit.done_at)
        .join(Unit, Unit.id == ServiceVisit.unit_id)
        .where(Unit.school_id == school_id, ServiceVisit.done_at >= since, ServiceVisit.done_at <= until)
        .order_by(ServiceVisit.done_at, ServiceVisit.id)
    )
    return [Done(unit, done, at) for unit, done, at in rows if at is not None]


def drawn_breaks(session: Session, school_id: int, first: date, last: date) -> list[Drawn]:
    """Breaks drawn for the days of a span, by day and start."""
    rules = session.scalars(
        select(SchoolBreak).join(Shift, Shift.id == SchoolBreak.shift_id).where(Shift.school_id == school_id)
    ).all()
    drawn = session.execute(
        select(DrawnBreak.day, DrawnBreak.slot).where(
            DrawnBreak.school_id == school_id, DrawnBreak.day >= first, DrawnBreak.day <= last
        )
    )
    found = [_named(rules, day, slot) for day, slot in drawn]
    return sorted(found, key=lambda one: (one.day, one.start_min or 0, one.slot))


def _named(rules: Sequence[SchoolBreak], day: date, slot: str) -> Drawn:
    held = [
        rule
        for rule in rules
        if rule.code == slot
        and rule.weekday == day.weekday()
        and rule.from_day <= day
        and (rule.until_day is None or rule.until_day >= day)
    ]
    latest = max(held, key=lambda rule: rule.from_day, default=None)
    return Drawn(day, slot, latest.name if latest else slot, latest.start_min if latest else None)


def latest_term(session: Session, programme_id: int, day: date) -> Term | None:
    """The term that began last by a day; None before the first."""
    return session.scalar(
        select(Term)
        .where(Term.programme_id == programme_id, Term.first_day <= day)
        .order_by(Term.first_day.desc())
        .limit(1)
    )
