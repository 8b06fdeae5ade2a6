"""What a machine's counter moved on between two counts of the machine, where that can be told by one subtraction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.supplies import StockPlace
from tracker.models.units import Dial
from tracker.models.usage import Reading
from tracker.records.ledger_replay import StockDay
from tracker.vocabulary import PlaceKind, Quantity


class Shown(NamedTuple):
    """A reading of a vend counter."""

    day: date
    at: datetime
    value: int


def add(
    session: Session, places: Mapping[int, StockPlace], stories: Mapping[tuple[int, int], Mapping[date, StockDay]]
) -> None:
    """Write ``vends`` on the counted days of machines that count, in place.

    A counter tells of one product only: machines that hold several are left as they are. Where the dial rolled over
    or was exchanged between two counts, or was not read, ``vends`` stays None.
    """
    units = {place.id: place.unit_id for place in places.values() if place.kind is PlaceKind.MACHINE and place.unit_id}
    several: dict[int, int] = defaultdict(int)
    for place, _ in stories:
        several[place] += 1
    units = {place: unit for place, unit in units.items() if several[place] == 1}
    if not units:
        return
    readings, installed = _readings(session, set(units.values())), _installed(session, set(units.values()))
    for (place, _), days in stories.items():
        if place in units and units[place] in readings:
            _fill(days, readings[units[place]], installed[units[place]])


def _readings(session: Session, unit_ids: set[int]) -> dict[int, list[Shown]]:
    query = select(Reading.unit_id, Reading.day, Reading.at, Reading.value)
    query = query.where(Reading.unit_id.in_(unit_ids), Reading.quantity == Quantity.VENDS).order_by(Reading.at)
    found: dict[int, list[Shown]] = defaultdict(list)
    for unit, day, at, value in session.execute(query):
        found[unit].append(Shown(day, at, value))
    return found


def _installed(session: Session, unit_ids: set[int]) -> dict[int, list[datetime]]:
    query = select(Dial.unit_id, Dial.from_at).where(Dial.unit_id.in_(unit_ids), Dial.quantity == Quantity.VENDS)
    found: dict[int, list[datetime]] = defaultdict(list)
    for unit, at in session.execute(query):
        found[unit].append(at)
    return found


def _fill(days: Mapping[date, StockDay], readings: list[Shown], installed: list[datetime]) -> None:
    before: Shown | None = None
    for day in sorted(day for day, said in days.items() if said.counted is not None):
        seen = [one for one in readings if one.day <= day]
        now = seen[-1] if seen else None
        if before is not None and now is not None and _one_subtraction(before, now, installed):
            days[day].vends = now.value - before.value
        before = now


def _one_subtraction(before: Shown, now: Shown, installed: list[datetime]) -> bool:
    exchanged = any(before.at < at <= now.at for at in installed)
    return now.at > before.at and now.value >= before.value and not exchanged
