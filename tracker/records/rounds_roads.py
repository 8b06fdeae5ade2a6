"""What a round's way depends on: minutes of driving between areas, where stores and schools are, when they are open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.programme import Area
from tracker.models.rounds import DeliveryHours, StoreSite, TravelMinutes
from tracker.models.school import School, SchoolDay
from tracker.models.supplies import StockPlace
from tracker.records.history import SetupError
from tracker.vocabulary import PlaceKind

Openings = tuple[tuple[int, int], ...]
MOST_MINUTES = 1440


class RoadError(ValueError):
    """Minutes that cannot be; ``field`` is the pair they were written for."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Where:
    """Area and position (degrees; None: not recorded) of a store or a school."""

    area_id: int
    latitude: float | None
    longitude: float | None


def areas(session: Session, programme_id: int) -> list[Area]:
    """Areas of a programme, by name."""
    return list(session.scalars(select(Area).where(Area.programme_id == programme_id).order_by(Area.name)))


def stores(session: Session, programme_id: int) -> list[StockPlace]:
    """Central stores of a programme, by code."""
    query = select(StockPlace).where(StockPlace.programme_id == programme_id, StockPlace.kind == PlaceKind.STORE)
    return list(session.scalars(query.order_by(StockPlace.code)))


def minutes_written(session: Session, programme_id: int) -> dict[tuple[int, int], int]:
    """Minutes of driving that people wrote, by (from area, to area)."""
    query = select(TravelMinutes).where(TravelMinutes.programme_id == programme_id)
    return {(row.from_area_id, row.to_area_id): row.minutes for row in session.scalars(query)}


def write_minutes(session: Session, programme_id: int, written: Mapping[tuple[int, int], int | None]) -> int:
    """Set minutes of driving between areas; None takes a pair away. Gives how many pairs changed.

    Raises:
        RoadError: minutes outside 1 to 1440, or an area that is not the programme's.
    """
    known = {area.id for area in areas(session, programme_id)}
    rows = {
        (row.from_area_id, row.to_area_id): row
        for row in session.scalars(select(TravelMinutes).where(TravelMinutes.programme_id == programme_id))
    }
    changed = 0
    for (start, end), minutes in written.items():
        if start not in known or end not in known:
            raise RoadError(f"m-{start}-{end}", "This area is not on record. Open the page again.")
        if minutes is not None and not 1 <= minutes <= MOST_MINUTES:
            raise RoadError(f"m-{start}-{end}", "Write whole minutes from 1 to 1440, or leave it blank.")
        row = rows.get((start, end))
        if minutes is None and row is not None:
            session.delete(row)
        elif minutes is not None and row is None:
            session.add(TravelMinutes(programme_id=programme_id, from_area_id=start, to_area_id=end, minutes=minutes))
        elif minutes is not None and row is not None and row.minutes != minutes:
            row.minutes = minutes
        else:
            continue
        changed += 1
    session.flush()
    return changed


def site_of(session: Session, place_id: int) -> Where | None:
    """Where a store stands; None where nobody said it."""
    row = session.scalar(select(StoreSite).where(StoreSite.place_id == place_id))
    return None if row is None else Where(row.area_id, _degrees(row.latitude_udeg), _degrees(row.longitude_udeg))


def set_site(session: Session, place_id: int, area_id: int) -> None:
    """Say in which area a store stands; a position on record stays."""
    row = session.scalar(select(StoreSite).where(StoreSite.place_id == place_id))
    if row is None:
        session.add(StoreSite(place_id=place_id, area_id=area_id))
    else:
        row.area_id = area_id
    session.flush()


def schools_where(session: Session, school_ids: Collection[int]) -> dict[int, Where]:
    """Area and position of schools, by school_id."""
    query = select(School).where(School.id.in_(school_ids))
    return {
        school.id: Where(school.area_id, _degrees(school.latitude_udeg), _degrees(school.longitude_udeg))
        for school in session.scalars(query)
    }


def _degrees(millionths: int | None) -> float | None:
    return None if millionths is None else millionths / 1e6


def set_delivery_hours(
    session: Session, school: School, weekdays: Collection[int], times: tuple[int, int], day: date
) -> None:
    """From a day on a school receives goods between these times on some weekdays.

    Args:
        weekdays: 0 Monday. times: local minutes after midnight.
    Raises:
        SetupError: it ends before it begins.
    """
    opens, closes = times
    if opens >= closes:
        raise SetupError("closes", "This is before goods are received. Correct one of the times.")
    for weekday in sorted(weekdays):
        row = session.scalar(select(DeliveryHours).filter_by(school_id=school.id, weekday=weekday, from_day=day))
        if row is None:
            row = DeliveryHours(school_id=school.id, weekday=weekday, from_day=day)
            session.add(row)
        row.opens_min, row.closes_min = opens, closes
    session.flush()


def openings(session: Session, school_ids: Collection[int], days: Iterable[date]) -> dict[date, dict[int, Openings]]:
    """When schools receive goods, in local minutes after midnight, by day and school_id; no entry: closed that day.

    Closed is a day without school (weekend, holiday, closure, lost day). Otherwise the delivery hours of the weekday
    hold, where some are written, else the school hours of the day; shifts that touch are one opening. Two queries.
    """
    asked = sorted(set(days))
    written = _delivery_hours(session, school_ids)
    held: dict[date, dict[int, list[tuple[int, int]]]] = {one: defaultdict(list) for one in asked}
    query = select(SchoolDay).where(SchoolDay.school_id.in_(school_ids), SchoolDay.day.in_(asked))
    for row in session.scalars(query):
        held[row.day][row.school_id].append((row.opens_min, row.closes_min))
    found: dict[date, dict[int, Openings]] = {}
    for one, schools in held.items():
        found[one] = {school: _hours(written.get(school, ()), one) or _united(rows) for school, rows in schools.items()}
    return found


def _delivery_hours(session: Session, school_ids: Collection[int]) -> dict[int, list[DeliveryHours]]:
    found: dict[int, list[DeliveryHours]] = defaultdict(list)
    query = select(DeliveryHours).where(DeliveryHours.school_id.in_(school_ids)).order_by(DeliveryHours.from_day)
    for row in session.scalars(query):
        found[row.school_id].append(row)
    return found


def _hours(rows: Iterable[DeliveryHours], on: date) -> Openings:
    held = [row for row in rows if row.weekday == on.weekday() and row.from_day <= on]
    return ((held[-1].opens_min, held[-1].closes_min),) if held else ()


def _united(rows: list[tuple[int, int]]) -> Openings:
    found: list[tuple[int, int]] = []
    for opens, closes in sorted(rows):
        if found and opens <= found[-1][1]:
            found[-1] = found[-1][0], max(closes, found[-1][1])
        else:
            found.append((opens, closes))
    return tuple(found)
