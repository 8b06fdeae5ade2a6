"""Outages, what somebody saw, and who still waited at the bell."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage, ServiceVisit, Sighting
from tracker.models.school import BellCount
from tracker.models.units import Unit
from tracker.records.frames.base import DAY, INSTANT, Scope, day_in, read, schools_in, stored, words
from tracker.vocabulary import Cause, State

OUTAGES = {
    "unit_id": "int64",
    "cause": "str",
    "source": "str",
    "start": INSTANT,
    "end": INSTANT,
    "event": "str",
    "planned": "bool",
    "dangerous": "bool",
}
SIGHTINGS = {"unit_id": "int64", "day": DAY, "state": "str"}
VISITS = {"unit_id": "int64", "at": INSTANT, "back": "bool", "repair_of": "float64"}
BELL_COUNTS = {
    "school_id": "int64",
    "day": DAY,
    "slot": "str",
    "group": "str",
    "waiting": "float64",
    "present": "float64",
}


def bounds(scope: Scope, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """First instant of the scope's first day, and of the day after its last."""
    first = datetime.combine(scope.first_day, time(0), tzinfo=zone)
    after = datetime.combine(scope.last_day + timedelta(days=1), time(0), tzinfo=zone)
    return first.astimezone(UTC), after.astimezone(UTC)


def outages(session: Session, scope: Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Frame ``outages``: those that touched the scope, uncut; ``end`` is empty while one is open."""
    first, after = bounds(scope, zone)
    query = (
        select(
            Outage.unit_id,
            words(Outage.cause),
            words(Outage.source),
            stored(Outage.start_at),
            stored(Outage.end_at),
            Outage.event,
            Outage.cause == Cause.PLANNED,
            or_(Outage.danger.is_not(None), Outage.cause == Cause.DANGER),
        )
        .join(Unit, Unit.id == Outage.unit_id)
        .where(
            Unit.school_id.in_(schools_in(scope)),
            Outage.start_at < after,
            or_(Outage.end_at.is_(None), Outage.end_at > first),
        )
    )
    return read(session, OUTAGES, query.order_by(Outage.unit_id, Outage.start_at, Outage.id))


def sightings(session: Session, scope: Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Frame ``sightings``: week sheet ticks and looks, and visits of the engineer as looks of their local day.

    A visit saw the unit working where it ended with the unit back in service, or was about no outage.
    """
    ticks = read(
        session,
        SIGHTINGS,
        select(Sighting.unit_id, stored(Sighting.day), words(Sighting.state))
        .join(Unit, Unit.id == Sighting.unit_id)
        .where(Unit.school_id.in_(schools_in(scope)), day_in(Sighting.day, scope))
        .order_by(Sighting.unit_id, Sighting.day),
    )
    visits = service_visits(session, scope, zone)
    well = visits["back"] | visits["repair_of"].isna()
    looks = pd.DataFrame(
        {
            "unit_id": visits["unit_id"],
            "day": visits["day"],
            "state": well.map({True: State.WORKING.value, False: State.OUT.value}).astype("str"),
        }
    )
    return pd.concat([ticks, looks], ignore_index=True).astype(SIGHTINGS)


def service_visits(session: Session, scope: Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Visits that the engineer made: unit_id, at (instant), back (in service again), repair_of, local day."""
    first, after = bounds(scope, zone)
    query = (
        select(ServiceVisit.unit_id, stored(ServiceVisit.done_at), ServiceVisit.back_in_service, ServiceVisit.outage_id)
        .join(Unit, Unit.id == ServiceVisit.unit_id)
        .where(Unit.school_id.in_(schools_in(scope)), ServiceVisit.done_at >= first, ServiceVisit.done_at < after)
    )
    frame = read(session, VISITS, query.order_by(ServiceVisit.unit_id, ServiceVisit.done_at))
    local = frame["at"].dt.tz_convert(zone).dt.tz_localize(None).dt.normalize()
    return frame.assign(day=local.astype(DAY))


def bell_counts(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``bell_counts``: who still waited at the bell of a drawn break, and pupils present that day."""
    query = select(
        BellCount.school_id,
        stored(BellCount.day),
        BellCount.slot,
        words(BellCount.grp),
        BellCount.waiting,
        BellCount.present,
    )
    query = query.where(BellCount.school_id.in_(schools_in(scope)), day_in(BellCount.day, scope))
    return read(session, BELL_COUNTS, query.order_by(BellCount.school_id, stored(BellCount.day), BellCount.slot))
