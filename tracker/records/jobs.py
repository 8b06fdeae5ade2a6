"""The service engineer's jobs: asked, made, what was found and done; and what is due without being asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement
from tracker.models.outages import Outage, ServiceVisit, Sighting
from tracker.models.programme import Area
from tracker.models.school import School
from tracker.models.units import Block, Dial, Unit
from tracker.models.usage import Reading
from tracker.records import faults
from tracker.records.faults import OutageError, in_areas, stands
from tracker.records.settings import setting
from tracker.vocabulary import Cause, Source, State, VisitPurpose

INTERVAL = "service_visit_days"
NOTHING_DONE = "looked at, nothing done"
FINDINGS = 3


class JobError(ValueError):
    """What was said of a visit does not hold together; the message says what to do, ``field`` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Due:
    """A school whose service visit is due. ``last``: day of the last one (None: none on record)."""

    school: School
    last: date | None
    every_days: int
    since: date


@dataclass(frozen=True, slots=True)
class Place:
    """Where a school is: its area, and its position where one is recorded."""

    area: str
    latitude: float | None
    longitude: float | None


@dataclass(frozen=True, slots=True)
class UnitLine:
    """A unit of a school on the engineer's page: its block, its last service visit and whether it is out."""

    unit: Unit
    block: str
    last: date | None
    out: bool


@dataclass(frozen=True, slots=True)
class Said:
    """What the engineer says of a visit to a unit.

    ``state``: what the unit does now. ``cause``: why, where it is out of service and nothing was on record.
    ``event_too``: the other units of the same event can be used again too.
    """

    at: datetime
    day: date
    person_id: int
    person: str
    found: str
    done: str
    parts: str
    state: State
    cause: Cause | None = None
    checked_by: str = ""
    checked_on: date | None = None
    event_too: bool = False


# --- asking -------------------------------------------------------------------------------------------------------


def ask(session: Session, school: School, unit: Unit, purpose: VisitPurpose, on: date) -> tuple[ServiceVisit, bool]:
    """Make a job for the engineer; one of the same purpose that still waits is given back instead.

    Returns:
        The job, and whether it is new. A repair names the unit's oldest open outage.
    """
    waiting = select(ServiceVisit).where(
        ServiceVisit.unit_id == unit.id, ServiceVisit.purpose == purpose, ServiceVisit.done_at.is_(None)
    )
    there = session.scalar(waiting.order_by(ServiceVisit.asked_on).limit(1))
    if there is not None:
        return there, False
    outage = next(iter(faults.open_of_unit(session, unit.id)), None) if purpose is VisitPurpose.REPAIR else None
    visit = ServiceVisit(
        programme_id=school.programme_id,
        ref=_free_ref(session, unit, on),
        unit_id=unit.id,
        outage_id=outage.id if outage else None,
        purpose=purpose,
        asked_on=on,
    )
    session.add(visit)
    session.flush()  # the caller may show its number
    return visit, True


def withdraw(session: Session, visit: ServiceVisit, reason: str) -> None:
    """Take back a job that nobody has done; the audit trail keeps what it was, and why it was withdrawn.

    Raises:
        JobError: it is done, or no reason is given.
    """
    if visit.done_at is not None:
        raise JobError("reason", "This job is done. A visit that was made stays on record.")
    if not reason:
        raise JobError("reason", "Write why the job is withdrawn.")
    session.delete(visit)
    session.flush()


def _free_ref(session: Session, unit: Unit, on: date) -> str:
    """A reference no other job of the programme has: the unit, the day, and how many there were before."""
    start = f"job-{unit.id}-{on:%Y%m%d}-"
    there = select(ServiceVisit.ref).where(ServiceVisit.unit_id == unit.id, ServiceVisit.ref.startswith(start))
    used = [int(ref.removeprefix(start)) for ref in session.scalars(there)]  # one of them may have been withdrawn
    return f"{start}{max(used, default=0) + 1}"


# --- the list -----------------------------------------------------------------------------------------------------


def service_due(session: Session, programme_id: int, day: date, area_ids: Collection[int] | None = None) -> list[Due]:
    """Schools whose last service visit is longer ago than their agreement's interval, longest overdue first.

    Without an agreement the programme's setting counts; without any visit the days run from the school's first
    day. Four queries.
    """
    agreed = (
        select(Agreement.school_id, func.min(Agreement.visit_every_days))
        .where(Agreement.programme_id == programme_id)
        .group_by(Agreement.school_id)
    )
    every: dict[int, int] = {school_id: days for school_id, days in session.execute(agreed)}  # noqa: C416 - rows, not pairs
    last_days = _last_visits(session, programme_id)
    default = setting(session, programme_id, INTERVAL, day)
    query = select(School).where(School.programme_id == programme_id, in_areas(area_ids), School.from_day <= day)
    found = []
    for school in session.scalars(query.order_by(School.name)):
        if school.until_day is not None and school.until_day < day:
            continue
        last, days = last_days.get(school.id), every.get(school.id, default)
        since = last or school.from_day
        if (day - since).days > days:
            found.append(Due(school, last, days, since))
    return sorted(found, key=lambda one: ((one.since - day).days + one.every_days, one.school.name))


def _last_visits(session: Session, programme_id: int) -> dict[int, date]:
    """UTC day of the last service visit to each school that had one."""
    query = (
        select(Unit.school_id, func.max(ServiceVisit.done_at))
        .join(Unit, Unit.id == ServiceVisit.unit_id)
        .where(
            ServiceVisit.programme_id == programme_id,
            ServiceVisit.done_at.is_not(None),
            ServiceVisit.purpose == VisitPurpose.SERVICE,
        )
        .group_by(Unit.school_id)
    )
    return {school_id: at.date() for school_id, at in session.execute(query) if at is not None}


def places(session: Session, programme_id: int) -> dict[int, Place]:
    """Where each school of a programme is, by school_id."""
    query = (
        select(School.id, Area.name, School.latitude_udeg, School.longitude_udeg)
        .join(Area, Area.id == School.area_id)
        .where(School.programme_id == programme_id)
    )
    return {
        school_id: Place(area, None if lat is None else lat / 1e6, None if lon is None else lon / 1e6)
        for school_id, area, lat, lon in session.execute(query)
    }


def findings(session: Session, unit_ids: Iterable[int], most: int = FINDINGS) -> dict[int, list[ServiceVisit]]:
    """The last visits that were made to each unit, newest first, at most ``most``; one query."""
    query = select(ServiceVisit).where(
        ServiceVisit.unit_id.in_(sorted(set(unit_ids))), ServiceVisit.done_at.is_not(None)
    )
    found: dict[int, list[ServiceVisit]] = defaultdict(list)
    for visit in session.scalars(query.order_by(ServiceVisit.done_at.desc(), ServiceVisit.id.desc())):
        if len(found[visit.unit_id]) < most:
            found[visit.unit_id].append(visit)
    return found


def units_of(session: Session, school_id: int, day: date) -> list[UnitLine]:
    """Units of a school in use on a day, by block and code; three queries."""
    out = set(
        session.scalars(
            select(Outage.unit_id)
            .join(Unit, Unit.id == Outage.unit_id)
            .where(Unit.school_id == school_id, Outage.end_at.is_(None), Outage.cause != Cause.EMPTY)
        )
    )
    last = {
        unit_id: at.date()
        for unit_id, at in session.execute(
            select(ServiceVisit.unit_id, func.max(ServiceVisit.done_at))
            .join(Unit, Unit.id == ServiceVisit.unit_id)
            .where(Unit.school_id == school_id, ServiceVisit.done_at.is_not(None))
            .group_by(ServiceVisit.unit_id)
        )
        if at is not None
    }
    query = (
        select(Unit, Block.name)
        .join(Block, Block.id == Unit.block_id)
        .where(Unit.school_id == school_id, stands(Unit, day))
        .order_by(Block.name, Unit.code)
    )
    return [UnitLine(unit, block, last.get(unit.id), unit.id in out) for unit, block in session.execute(query)]


def dials_of(session: Session, unit_id: int, at: datetime) -> list[Dial]:
    """Dials of a unit that are installed at an instant."""
    query = select(Dial).where(Dial.unit_id == unit_id, Dial.from_at <= at)
    return [
        dial for dial in session.scalars(query.order_by(Dial.quantity)) if dial.until_at is None or dial.until_at > at
    ]


def open_job(session: Session, unit_id: int) -> ServiceVisit | None:
    """The unit's oldest job that waits; None where there is none."""
    query = select(ServiceVisit).where(ServiceVisit.unit_id == unit_id, ServiceVisit.done_at.is_(None))
    return session.scalar(query.order_by(ServiceVisit.asked_on, ServiceVisit.id).limit(1))


# --- the visit ----------------------------------------------------------------------------------------------------


def finish(session: Session, school: School, unit: Unit, said: Said, visit: ServiceVisit | None) -> ServiceVisit:
    """Write a visit that was made: the visit, the unit's outages ended (or one begun), and what was seen.

    Args:
        visit: the job that this was; None makes one (a repair where the unit was out, else a service visit).
    Raises:
        JobError: a danger without the competent person's name and day of the check; out of service without
            a cause where nothing was on record.
    """
    waiting = faults.open_of_unit(session, unit.id)
    if visit is None:
        purpose = VisitPurpose.REPAIR if waiting else VisitPurpose.SERVICE
        visit, _ = ask(session, school, unit, purpose, said.day)
    visit.found, visit.done, visit.parts = said.found, said.done or NOTHING_DONE, said.parts
    visit.done_at, visit.by_person_id = said.at, said.person_id
    visit.back_in_service = said.state is not State.OUT
    if visit.outage_id is None and waiting:
        visit.outage_id = waiting[0].id
    try:
        if said.state is State.OUT:
            _stays_out(session, school, unit, said, waiting)
        else:
            _back(session, said, waiting)
    except OutageError as wrong:
        raise JobError(wrong.field, str(wrong)) from wrong
    seen(session, unit, said.day, said.state)
    session.flush()  # rules of the database speak here
    return visit


def _stays_out(session: Session, school: School, unit: Unit, said: Said, waiting: Sequence[Outage]) -> None:
    if waiting:
        return
    if said.cause is None:
        raise JobError("cause", "Choose why it is out of service.")
    words = faults.OutageSaid(said.cause, said.at, said.person, source=Source.ENGINEER, note=said.found)
    faults.record(session, school, [unit], words)


def _back(session: Session, said: Said, waiting: Sequence[Outage]) -> None:
    ended = faults.Ended(said.at, said.checked_by, said.checked_on)
    all_open = {outage.id: outage for outage in waiting}
    if said.event_too:
        for outage in waiting:
            all_open |= {one.id: one for one in faults.with_event(session, outage) if one.end_at is None}
    faults.end(session, list(all_open.values()), ended)


def seen(session: Session, unit: Unit, day: date, state: State, source: Source = Source.ENGINEER) -> Sighting:
    """Note what somebody saw of a unit on a day; what the same source saw later that day counts."""
    query = select(Sighting).where(Sighting.unit_id == unit.id, Sighting.day == day, Sighting.source == source)
    there = session.scalar(query)
    if there is None:
        there = Sighting(unit_id=unit.id, day=day, source=source, state=state)
        session.add(there)
    there.state = state
    return there


def service_school(session: Session, school: School, units: Sequence[Unit], said: Said) -> list[ServiceVisit]:
    """A service visit to several units of a school that were all seen working: one visit a unit.

    Raises:
        JobError: a unit of them is on record as out of service; its own page says what became of it.
    """
    made = []
    for unit in units:
        if faults.open_of_unit(session, unit.id):
            raise JobError("units", f"{unit.name} is on record as out of service. Open it and say what became of it.")
        visit, _ = ask(session, school, unit, VisitPurpose.SERVICE, said.day)
        made.append(finish(session, school, unit, said, visit))
    return made


def read_dial(session: Session, dial: Dial, value: int, at: datetime, *, day: date, week: date) -> Reading:
    """Keep what the engineer read of a dial on a local day; it must have passed the checks of intake."""
    reading = Reading(
        unit_id=dial.unit_id,
        quantity=dial.quantity,
        source=Source.ENGINEER,
        at=at,
        day=day,
        week=week,
        value=value,
    )
    session.add(reading)
    return reading
