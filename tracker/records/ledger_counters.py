"""Periods between two counts of a machine that counts: what was there, put in, given by the counter, taken, left."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from sqlalchemy.orm import Session

from tracker.models.supplies import StockPlace
from tracker.records import ledger_vends
from tracker.records.ledger_replay import StockDay
from tracker.records.ledger_settle import stories
from tracker.vocabulary import PlaceKind


class CounterPeriod(NamedTuple):
    """Pieces of a machine from the day after one count to the next. ``issued`` None: the counter cannot tell.

    What somebody wrote as a difference is left out of ``received`` and ``lost``: it is what is looked for.
    """

    place_id: int
    product_id: int
    from_day: date
    until_day: date
    opening: int
    received: int
    issued: int | None
    lost: int
    closing: int


def periods(session: Session, places: Mapping[int, StockPlace], since: date) -> list[CounterPeriod]:
    """Periods that end on or after ``since``, of the machines among these places that have a counter read once."""
    machines = {key: place for key, place in places.items() if place.kind is PlaceKind.MACHINE}
    told = stories(session, machines)
    ledger_vends.add(session, machines, told)
    found = []
    for (place, product), days in sorted(told.items()):
        if any(said.vends is not None for said in days.values()):
            found += [one for one in _between_counts(place, product, days) if one.until_day >= since]
    return found


def _between_counts(place: int, product: int, days: Mapping[date, StockDay]) -> list[CounterPeriod]:
    found: list[CounterPeriod] = []
    opened: tuple[date, int] | None = None
    received = lost = 0
    for day in sorted(days):
        said = days[day]
        received += sum(said.came.values()) - said.found
        lost += sum(said.left.values()) - said.given_out - said.missed
        if said.counted is None:
            continue
        if opened is not None:
            first = opened[0]
            found.append(CounterPeriod(place, product, first, day, opened[1], received, said.vends, lost, said.counted))
        opened, received, lost = (day, said.counted), 0, 0
    return found
