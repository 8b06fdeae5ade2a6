"""The engineer's service visits and what was agreed on how often they come; money by school and day."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import and_, func, select
from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement
from tracker.models.outages import ServiceVisit
from tracker.models.school import School
from tracker.models.supplies import MoneyEntry
from tracker.models.units import Unit
from tracker.records.frames.base import DAY, INSTANT, Scope, day_in, read, schools_in, stored, words
from tracker.vocabulary import VisitPurpose

VISITS = {"school_id": "int64", "at": INSTANT, "purpose": "str"}
INTERVALS = {"school_id": "int64", "school_from": DAY, "agreed_from": DAY, "every_days": "float64"}
MONEY = {"school_id": "int64", "school": "str", "day": DAY, "kind": "str", "minor": "int64"}


def engineer_visits(session: Session, scope: Scope, zone: ZoneInfo) -> pd.DataFrame:
    """Frame ``engineer_visits``: service visits up to the scope's last day, also those before it, by local day.

    The visits before are needed for the first gap. Repairs, looks and meter readings are not in it.
    """
    after = datetime.combine(scope.last_day + timedelta(days=1), time(0), tzinfo=zone)
    query = (
        select(Unit.school_id, stored(ServiceVisit.done_at), words(ServiceVisit.purpose))
        .join(Unit, Unit.id == ServiceVisit.unit_id)
        .where(
            Unit.school_id.in_(schools_in(scope)),
            ServiceVisit.purpose == VisitPurpose.SERVICE,
            ServiceVisit.done_at < after,
        )
        .distinct()
    )
    frame = read(session, VISITS, query.order_by(Unit.school_id, ServiceVisit.done_at))
    local = frame["at"].dt.tz_convert(zone).dt.tz_localize(None).dt.normalize()
    return frame.assign(day=local.astype(DAY))[["school_id", "day", "purpose"]]


def service_intervals(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``service_intervals``: how often the engineer was agreed to come to each school, and from which day.

    Of several agreements that were accepted by the scope's last day, the shortest interval and the first day. Without
    one ``every_days`` is NaN, and ``from_day`` is the school's first day in the programme.
    """
    accepted = and_(Agreement.school_id == School.id, Agreement.accepted_on <= scope.last_day)
    query = (
        select(
            School.id,
            School.from_day,
            func.min(Agreement.accepted_on),
            func.min(Agreement.visit_every_days),
        )
        .outerjoin(Agreement, accepted)
        .where(School.id.in_(schools_in(scope)))
        .group_by(School.id, School.from_day)
    )
    frame = read(session, INTERVALS, query.order_by(School.id))
    from_day = frame["agreed_from"].fillna(frame["school_from"])
    return frame.assign(from_day=from_day)[["school_id", "from_day", "every_days"]]


def money(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``money``: costs and income of the scope's days as they were entered, in minor units."""
    row = MoneyEntry
    query = select(row.school_id, School.code, row.day, words(row.kind), row.minor)
    query = query.join(School, School.id == row.school_id)
    query = query.where(row.school_id.in_(schools_in(scope)), day_in(row.day, scope))
    return read(session, MONEY, query.order_by(School.code, row.day, row.id))
