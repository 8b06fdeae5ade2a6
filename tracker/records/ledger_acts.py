"""What people do with stock besides moving it: count it, say why it differs, give a loan back, empty a coin box."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.ledger import CoinEmptying, StockDifference
from tracker.models.programme import Programme
from tracker.models.supplies import StockCount, StockPlace
from tracker.models.units import Dial, Unit
from tracker.records.ledger import LedgerError, reported
from tracker.vocabulary import Quantity, Why


@dataclass(frozen=True, slots=True)
class Explained:
    """What somebody says of a difference of a day; ``pieces`` is signed as the difference was when they said it."""

    place_id: int
    product_id: int
    day: date
    pieces: int
    why: Why
    note: str
    person_id: int | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Box:
    """A coin box as two people found it. ``counter_value`` None: nobody read the counter."""

    ref: str
    day: date
    counter_value: int | None
    cash_minor: int
    first_name: str
    second_name: str
    note: str = ""


def count(session: Session, place: StockPlace, product_id: int, day: date, pieces: int) -> StockCount:
    """Record what somebody counted at the end of a day; what differs is settled. A second count of a day replaces it.

    Raises:
        LedgerError: the school's week sheet has a count of that day; it is corrected there.
    """
    found = session.scalar(
        select(StockCount).where(
            StockCount.place_id == place.id, StockCount.product_id == product_id, StockCount.day == day
        )
    )
    if found is not None and found.sheet_id is not None:
        said = f"The school's week sheet has a count of {found.quantity} pieces on that day."
        raise LedgerError(
            "day", f"{said} Ask the school to correct the sheet, or write your own count for another day."
        )
    first_weekday = session.get_one(Programme, place.programme_id).first_weekday
    with reported(session, place.programme_id, [place.id], product_id):
        if found is None:
            week = week_of(day, first_weekday)
            found = StockCount(place_id=place.id, product_id=product_id, day=day, week=week)
            session.add(found)
        found.quantity = pieces
    return found


def explain(session: Session, said: Explained) -> StockDifference:
    """Keep why a difference came about; said again for the same day, the later word stands."""
    query = select(StockDifference).where(
        StockDifference.place_id == said.place_id,
        StockDifference.product_id == said.product_id,
        StockDifference.day == said.day,
    )
    row = session.scalar(query)
    if row is None:
        row = StockDifference(place_id=said.place_id, product_id=said.product_id, day=said.day)
        session.add(row)
    row.quantity, row.why, row.note = said.pieces, said.why, said.note
    row.person_id, row.at = said.person_id, said.at
    return row


def empty_box(session: Session, unit: Unit, programme_id: int, box: Box) -> CoinEmptying:
    """Record a coin box; the same ref gives the same record again.

    Raises:
        LedgerError: one person counted alone, the reading does not fit on the counter, or the ref was used for
            another box.
    """
    if box.first_name.strip().casefold() == box.second_name.strip().casefold():
        raise LedgerError("second_name", "Two different people count a coin box. Write the name of the second one.")
    digits = counter_digits(session, unit.id)
    if box.counter_value is not None and digits is not None and box.counter_value >= 10**digits:
        raise LedgerError("counter_value", f"The counter has {digits} digits. Look at the reading again.")
    known = select(CoinEmptying).where(CoinEmptying.programme_id == programme_id, CoinEmptying.ref == box.ref)
    found = session.scalar(known)
    if found is not None:
        if (found.unit_id, found.day, found.cash_minor) != (unit.id, box.day, box.cash_minor):
            raise LedgerError("ref", "This form was already sent with other figures. Open it again.")
        return found
    row = CoinEmptying(
        programme_id=programme_id,
        ref=box.ref,
        unit_id=unit.id,
        day=box.day,
        counter_value=box.counter_value,
        cash_minor=box.cash_minor,
        first_name=box.first_name,
        second_name=box.second_name,
        note=box.note,
    )
    session.add(row)
    return row


def counter_digits(session: Session, unit_id: int) -> int | None:
    """Digits of a machine's vend counter; None where it has none on record."""
    return session.scalar(select(func.max(Dial.digits)).where(Dial.unit_id == unit_id, Dial.quantity == Quantity.VENDS))
