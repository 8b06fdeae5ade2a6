"""Open outages as people act on them: units that are out together are one fault, listed by need.

A danger is no ordinary fault: it stands in ``records.dangers`` and ends only with the name of who checked.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import ColumnElement, Integer, cast, distinct, func, literal_column, or_, select
from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.school import School, SchoolBreak, SchoolHours, Shift
from tracker.models.units import Unit
from tracker.records.settings import setting
from tracker.vocabulary import Cause, Source, UnitKind

PROMISE = "promise_restore_hours"
NO_FAULT = (Cause.PLANNED, Cause.EMPTY, Cause.DANGER)  # planned work, a supply matter, and what has its own list


class OutageError(ValueError):
    """An outage cannot be recorded or ended as said; the message says what to do, ``field`` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Fault:
    """Units of a school that are out together: those of one event, or one unit.

    ``only_accessible``: no accessible cabin of the school is left. ``breaks_a_day``: breaks of a school day,
    summed over the units. ``promise_hours``: elapsed hours within which it must end. ``job``: asked of the
    engineer and not yet done.
    """

    outages: tuple[Outage, ...]
    units: tuple[Unit, ...]
    school: School
    since: datetime
    promise_hours: int
    only_accessible: bool
    breaks_a_day: float
    job: ServiceVisit | None

    @property
    def cause(self) -> Cause:
        """The cause that was said first."""
        return self.outages[0].cause

    @property
    def promised_until(self) -> datetime:
        """The end of the promise."""
        return self.since + timedelta(hours=self.promise_hours)

    def is_late(self, at: datetime) -> bool:
        """Whether the promise has passed; exactly on time is kept."""
        return at > self.promised_until


def in_areas(area_ids: Collection[int] | None) -> ColumnElement[bool]:
    """The condition that a school lies in one of the areas; None is everywhere."""
    return School.id.is_not(None) if area_ids is None else School.area_id.in_(area_ids)


def stands(unit: type[Unit], day: date) -> ColumnElement[bool]:
    """The condition that a unit is in use on a day."""
    return (unit.from_day <= day) & or_(unit.until_day.is_(None), unit.until_day >= day)


def open_faults(
    session: Session, programme_id: int, at: datetime, day: date, area_ids: Collection[int] | None = None
) -> list[Fault]:
    """Open outages by need: no accessible cabin left first, then breaks lost a day, then the longest open.

    Planned work, sold-out machines and dangers are left out. Six queries, whatever the number of schools.

    Args:
        at: this instant. day: today in the programme's zone. area_ids: only schools of these areas; None: all.
    """
    rows = _open_rows(session, programme_id, at, area_ids)
    if not rows:
        return []
    promise = _promises(session, programme_id, day)
    accessible = _accessible(session, programme_id, day)
    breaks = breaks_a_day(session, programme_id, day)
    jobs = open_jobs(session, programme_id)
    out = {unit.id for _, unit, _ in rows}
    found = []
    for together in _together(rows):
        units = tuple({unit.id: unit for _, unit, _ in together}.values())
        school = together[0][2]
        held = accessible.get(school.id, set())
        found.append(
            Fault(
                outages=tuple(outage for outage, _, _ in together),
                units=units,
                school=school,
                since=together[0][0].start_at,
                promise_hours=min(promise(unit) for unit in units),
                only_accessible=bool(held) and held <= out and any(unit.id in held for unit in units),
                breaks_a_day=len(units) * breaks.get(school.id, 0.0),
                job=next((jobs[unit.id] for unit in units if unit.id in jobs), None),
            )
        )
    return sorted(found, key=lambda one: (not one.only_accessible, -one.breaks_a_day, one.since, one.outages[0].id))


Row = tuple[Outage, Unit, School]


def _open_rows(session: Session, programme_id: int, at: datetime, area_ids: Collection[int] | None) -> list[Row]:
    query = (
        select(Outage, Unit, School)
        .join(Unit, Unit.id == Outage.unit_id)
        .join(School, School.id == Unit.school_id)
        .where(
            Outage.programme_id == programme_id,
            or_(Outage.end_at.is_(None), Outage.end_at > at),
            Outage.start_at <= at,
            Outage.cause.not_in(NO_FAULT),
            in_areas(area_ids),
        )
        .order_by(Outage.start_at, Unit.code, Outage.id)
    )
    return [(outage, unit, school) for outage, unit, school in session.execute(query)]


def _together(rows: Iterable[Row]) -> list[list[Row]]:
    """Rows of one event of a school, else of one unit; each group begins with its earliest outage."""
    groups: dict[tuple[int, str], list[Row]] = {}
    event_of: dict[int, tuple[int, str]] = {}
    rows = list(rows)
    for outage, unit, school in rows:
        if outage.event:
            event_of.setdefault(unit.id, (school.id, outage.event))
    for row in rows:
        outage, unit, school = row
        key = (school.id, outage.event) if outage.event else event_of.get(unit.id, (school.id, f"unit {unit.id}"))
        groups.setdefault(key, []).append(row)
    return list(groups.values())


class _Promises:
    """The promise of a unit: of its agreement, else of an agreement that names no units, else the programme's."""

    def __init__(self, of_unit: Mapping[int, int], of_school: Mapping[int, int], default: int) -> None:
        self.of_unit, self.of_school, self.default = of_unit, of_school, default

    def __call__(self, unit: Unit) -> int:
        return self.of_unit.get(unit.id) or self.of_school.get(unit.school_id) or self.default


def _promises(session: Session, programme_id: int, day: date) -> _Promises:
    named = func.coalesce(AgreementUnit.unit_id, literal_column("0"))  # 0: the agreement names no units
    query = (
        select(Agreement.school_id, named, func.min(Agreement.promise_hours))
        .outerjoin(AgreementUnit, AgreementUnit.agreement_id == Agreement.id)
        .where(Agreement.programme_id == programme_id)
        .group_by(Agreement.school_id, named)
    )
    of_unit: dict[int, int] = {}
    of_school: dict[int, int] = {}
    for school_id, unit_id, hours in session.execute(query):
        if not unit_id:
            of_school[school_id] = hours
        else:
            of_unit[unit_id] = hours
    return _Promises(of_unit, of_school, setting(session, programme_id, PROMISE, day))


def _accessible(session: Session, programme_id: int, day: date) -> dict[int, set[int]]:
    """Accessible cabins in use on a day, by school."""
    found: dict[int, set[int]] = defaultdict(set)
    query = (
        select(Unit.school_id, Unit.id)
        .join(School, School.id == Unit.school_id)
        .where(School.programme_id == programme_id, Unit.kind == UnitKind.CABIN, Unit.accessible, stands(Unit, day))
    )
    for school_id, unit_id in session.execute(query):
        found[school_id].add(unit_id)
    return found


def breaks_a_day(session: Session, programme_id: int, day: date) -> dict[int, float]:
    """Breaks of an ordinary school day by school: those of a week ÷ weekdays with school, as in force on a day."""
    hours = (
        select(Shift.school_id, func.count(distinct(SchoolHours.weekday)).label("days"))
        .join(SchoolHours, SchoolHours.shift_id == Shift.id)
        .where(_in_force(SchoolHours, day))
        .group_by(Shift.school_id)
        .subquery()
    )
    query = (
        select(School.id, func.count(SchoolBreak.id), func.max(cast(hours.c.days, Integer)))
        .join(Shift, Shift.school_id == School.id)
        .join(SchoolBreak, SchoolBreak.shift_id == Shift.id)
        .join(hours, hours.c.school_id == School.id)
        .where(School.programme_id == programme_id, _in_force(SchoolBreak, day))
        .group_by(School.id)
    )
    return {school_id: breaks / days for school_id, breaks, days in session.execute(query)}


def _in_force(row: type[SchoolHours] | type[SchoolBreak], day: date) -> ColumnElement[bool]:
    return (row.from_day <= day) & or_(row.until_day.is_(None), row.until_day >= day)


def open_jobs(session: Session, programme_id: int) -> dict[int, ServiceVisit]:
    """The oldest job that waits for the engineer, by unit."""
    query = (
        select(ServiceVisit)
        .where(ServiceVisit.programme_id == programme_id, ServiceVisit.done_at.is_(None))
        .order_by(ServiceVisit.asked_on.desc(), ServiceVisit.id.desc())
    )
    return {visit.unit_id: visit for visit in session.scalars(query)}


# --- acts ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OutageSaid:
    """An outage as somebody said it, for example by phone."""

    cause: Cause
    start_at: datetime
    said_by: str
    end_at: datetime | None = None
    source: Source = Source.OFFICER
    note: str = ""


def record(session: Session, school: School, units: Sequence[Unit], said: OutageSaid) -> list[Outage]:
    """Record that units are (or were) out of use; several units share one event.

    Raises:
        OutageError: a unit did not stand then, the end is not after the start, or the same source already
            says so for this time.
    """
    if said.end_at is not None and said.end_at <= said.start_at:
        raise OutageError("end_day", "The end is not after the start. Look at both days and times.")
    stamp = int(said.start_at.timestamp())
    event = f"said-{school.id}-{said.source.value}-{stamp}" if len(units) > 1 else None
    made = []
    for unit in units:
        _refuse_overlap(session, unit, said)
        ref = f"said-{unit.id}-{said.source.value}-{stamp}-{said.cause.name.lower()}"[:40]
        made.append(
            Outage(
                programme_id=school.programme_id,
                ref=ref,
                unit_id=unit.id,
                source=said.source,
                cause=said.cause,
                start_at=said.start_at,
                end_at=said.end_at,
                event=event,
                said_by=said.said_by[:80],
                note=said.note[:200],
            )
        )
    session.add_all(made)
    session.flush()  # the database's own rule against overlaps speaks here, not at the commit
    return made


def _refuse_overlap(session: Session, unit: Unit, said: OutageSaid) -> None:
    query = select(Outage).where(
        Outage.unit_id == unit.id,
        Outage.source == said.source,
        Outage.cause == said.cause,
        or_(Outage.end_at.is_(None), Outage.end_at > said.start_at),
    )
    if said.end_at is not None:
        query = query.where(Outage.start_at < said.end_at)
    if session.scalar(query.limit(1)) is not None:
        raise OutageError(
            "units", f"{unit.name} is already on record as out of use with this cause at that time. End that one first."
        )


@dataclass(frozen=True, slots=True)
class Ended:
    """That units can be used again: when, and for a danger who (competent) checked on which day."""

    at: datetime
    checked_by: str = ""
    checked_on: date | None = None


NOT_AFTER = "The end is not after the start. Look at the day and the time."
MINUTE = timedelta(minutes=1)


def end_problems(outages: Sequence[Outage], ended: Ended) -> list[OutageError]:
    """All that keeps open outages from ending so: the end before a start, a danger without who checked it and when.

    An end in the minute of the start is none: people write minutes, the record keeps seconds.
    """
    waiting = [outage for outage in outages if outage.end_at is None]
    found = []
    if any(ended.at <= outage.start_at and not _same_minute(ended.at, outage.start_at) for outage in waiting):
        found.append(OutageError("end_day", NOT_AFTER))
    if any(outage.cause is Cause.DANGER for outage in waiting):
        if not ended.checked_by.strip():
            found.append(OutageError("checked_by", "Write the name of the competent person who checked it."))
        if ended.checked_on is None:
            found.append(OutageError("checked_on", "Write the day of the check."))
    return found


def _same_minute(one: datetime, other: datetime) -> bool:
    return one.replace(second=0, microsecond=0) == other.replace(second=0, microsecond=0)


def end(session: Session, outages: Sequence[Outage], ended: Ended) -> bool:
    """End open outages at an instant. One that was ended already stays as it is.

    Returns:
        Whether one of them began in the very minute of its end: it is kept as one minute long.
    Raises:
        OutageError: the end is not after a start; a danger without the name and day of the competent person's check.
    """
    for wrong in end_problems(outages, ended):
        raise wrong
    at_least_a_minute = False
    for outage in [outage for outage in outages if outage.end_at is None]:
        short = _same_minute(ended.at, outage.start_at)
        at_least_a_minute = at_least_a_minute or short
        outage.end_at = outage.start_at + MINUTE if short else ended.at
        if outage.cause is Cause.DANGER:
            outage.checked_by, outage.checked_on = ended.checked_by.strip()[:80], ended.checked_on
    session.flush()
    return at_least_a_minute


def with_event(session: Session, outage: Outage) -> list[Outage]:
    """The outage and the open ones of its event, by unit."""
    if not outage.event:
        return [outage]
    query = (
        select(Outage)
        .where(Outage.programme_id == outage.programme_id, Outage.event == outage.event, Outage.end_at.is_(None))
        .order_by(Outage.unit_id, Outage.id)
    )
    return list(session.scalars(query)) or [outage]


def open_of_unit(session: Session, unit_id: int) -> list[Outage]:
    """Every open outage of a unit, dangers too, oldest first."""
    query = select(Outage).where(Outage.unit_id == unit_id, Outage.end_at.is_(None))
    return list(session.scalars(query.order_by(Outage.start_at, Outage.id)))


def open_of_school(session: Session, school_id: int) -> list[tuple[Outage, Unit]]:
    """Every open outage of a school with its unit, dangers first, then oldest first."""
    query = (
        select(Outage, Unit)
        .join(Unit, Unit.id == Outage.unit_id)
        .where(Unit.school_id == school_id, Outage.end_at.is_(None))
        .order_by(Outage.start_at, Outage.id)
    )
    rows = [(outage, unit) for outage, unit in session.execute(query)]
    return sorted(rows, key=lambda row: row[0].cause is not Cause.DANGER)
