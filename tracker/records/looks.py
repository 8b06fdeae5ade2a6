"""Units that nobody has looked at for longer than promised, as far as the schools have reported."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage, Sighting
from tracker.models.school import School, SchoolDay
from tracker.models.sheets import WeekSheet
from tracker.models.units import Unit
from tracker.records.faults import in_areas, stands
from tracker.vocabulary import SheetState, UnitKind

LOOKED_BACK = timedelta(days=28)  # further back it makes no difference: the unit is overdue
LOOKED_AT = (UnitKind.CABIN, UnitKind.URINAL, UnitKind.TAP, UnitKind.MACHINE, UnitKind.INCINERATOR)


@dataclass(frozen=True, slots=True)
class Unseen:
    """Units of a school that were not looked at in time. ``last``: the day each was seen last (None: never)."""

    school: School
    units: tuple[Unit, ...]
    last: tuple[date | None, ...]

    @property
    def since(self) -> date | None:
        """The earliest of the last days; None where one of the units was never seen."""
        known = [day for day in self.last if day is not None]
        return min(known) if len(known) == len(self.last) else None


def overdue_looks(
    session: Session, programme_id: int, day: date, every: int, area_ids: Collection[int] | None = None
) -> list[Unseen]:
    """Units with more than ``every`` school days since somebody saw them, by school; one query.

    Only school days before ``day``, of weeks up to the last one that the school has reported: what is not reported
    yet is no missed look. Units on record as out of service are left out, for that is known of them.
    """
    seen = select(Sighting.unit_id, func.max(Sighting.day).label("day")).group_by(Sighting.unit_id).subquery()
    sent = (
        select(WeekSheet.school_id, func.max(WeekSheet.week).label("week"))
        .where(WeekSheet.state != SheetState.DRAFT)
        .group_by(WeekSheet.school_id)
        .subquery()
    )
    out = select(Outage.unit_id).where(Outage.programme_id == programme_id, Outage.end_at.is_(None))
    missed = func.count(SchoolDay.day.distinct())
    query = (
        select(School, Unit, seen.c.day)
        .join(Unit, Unit.school_id == School.id)
        .join(sent, sent.c.school_id == School.id)
        .join(SchoolDay, SchoolDay.school_id == School.id)
        .outerjoin(seen, seen.c.unit_id == Unit.id)
        .where(School.programme_id == programme_id, in_areas(area_ids), stands(Unit, day))
        .where(Unit.kind.in_(LOOKED_AT), Unit.id.not_in(out))
        .where(SchoolDay.day < day, SchoolDay.day >= day - LOOKED_BACK, SchoolDay.week <= sent.c.week)
        .where(SchoolDay.day >= Unit.from_day, or_(seen.c.day.is_(None), SchoolDay.day > seen.c.day))
        .group_by(School.id, Unit.id, seen.c.day)
        .having(missed > every)
        .order_by(School.name, Unit.code)
    )
    groups: dict[int, list[tuple[School, Unit, date | None]]] = {}
    for school, unit, last in session.execute(query):
        groups.setdefault(school.id, []).append((school, unit, last))
    found = [
        Unseen(rows[0][0], tuple(unit for _, unit, _ in rows), tuple(last for _, _, last in rows))
        for rows in groups.values()
    ]
    return sorted(found, key=lambda one: (one.since or date.min, one.school.name))
