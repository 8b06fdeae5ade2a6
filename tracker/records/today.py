"""What needs the officer today, one function for each need. Constant numbers of queries, never row by row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import Select, case, func, or_, select
from sqlalchemy.orm import Session

from tracker.models.disposal import DisposalRoute
from tracker.models.outages import ServiceVisit
from tracker.models.people import Person, RoleGrant
from tracker.models.programme import Programme, Term
from tracker.models.school import School
from tracker.models.sheets import Query, SheetVersion, WeekSheet
from tracker.models.units import Unit
from tracker.records import sheets
from tracker.records.dangers import OpenDanger, open_dangers
from tracker.records.faults import in_areas
from tracker.vocabulary import Role, SheetState

PAPERS_DAYS = 30
LAST_OF_WEEK = timedelta(days=6)


@dataclass(frozen=True, slots=True)
class Contact:
    """A coordinator to call."""

    name: str
    phone: str


@dataclass(frozen=True, slots=True)
class Silent:
    """A school with weeks that are due and not reported.

    ``weeks``: those since its last sheet. ``gaps``: earlier ones of the term that was last begun. ``due``: last day
    in time for the first of ``weeks``, else of ``gaps``.
    """

    school: School
    weeks: tuple[date, ...]
    gaps: tuple[date, ...]
    due: date
    has_draft: bool
    contacts: tuple[Contact, ...]


@dataclass(frozen=True, slots=True)
class Waiting:
    """A sheet to accept or to ask about. ``odd``: figures that a check asked about and a note confirmed."""

    sheet: WeekSheet
    school: School
    reference: str
    sent_at: datetime
    from_paper: bool
    odd: int
    answered: int


@dataclass(frozen=True, slots=True)
class WaitingPage:
    """Some of the sheets that wait, and how many there are."""

    rows: list[Waiting]
    total: int


@dataclass(frozen=True, slots=True)
class SentVersion:
    """A version of a sheet and who sent it."""

    version: SheetVersion
    by: str


@dataclass(frozen=True, slots=True)
class WaitingJob:
    """A job that was asked of the engineer and is not done."""

    visit: ServiceVisit
    unit: Unit
    school: School


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper of a disposal route that ends soon or has ended: ``what`` is "permit" or "operator"."""

    route: DisposalRoute
    school: School
    what: str
    until: date


@dataclass(frozen=True, slots=True)
class Warned:
    """Units of a school closed by one danger, with whom to call there."""

    dangers: tuple[OpenDanger, ...]
    contacts: tuple[Contact, ...]


def contacts(session: Session, programme_id: int) -> dict[int, tuple[Contact, ...]]:
    """Coordinators who hold their role now, by school."""
    query = (
        select(RoleGrant.school_id, Person.name, Person.phone)
        .join(Person, Person.id == RoleGrant.person_id)
        .where(
            RoleGrant.programme_id == programme_id,
            RoleGrant.role == Role.COORDINATOR,
            RoleGrant.school_id.is_not(None),
            RoleGrant.ended_at.is_(None),
            Person.active,
        )
        .order_by(Person.name)
    )
    found: dict[int, tuple[Contact, ...]] = defaultdict(tuple)
    for school_id, name, phone in session.execute(query):
        found[int(school_id or 0)] += (Contact(name, phone),)
    return found


def dangers(session: Session, programme_id: int, area_ids: Collection[int] | None = None) -> list[Warned]:
    """Open dangers, newest first; units that one report closed stand together. Two queries."""
    whom = contacts(session, programme_id)
    groups: dict[tuple[int, str], list[OpenDanger]] = {}
    for one in open_dangers(session, programme_id=programme_id):
        if area_ids is None or one.school.area_id in area_ids:
            groups.setdefault((one.school.id, one.outage.event or one.outage.ref), []).append(one)
    return [Warned(tuple(group), whom.get(school_id, ())) for (school_id, _), group in groups.items()]


def silent_schools(
    session: Session, programme_id: int, day: date, due_days: int, area_ids: Collection[int] | None = None
) -> list[Silent]:
    """Schools with weeks due and not reported: silent longest first, then those with gaps in the term. Six queries.

    Args:
        day: today in the programme's zone. due_days: the setting ``sheet_due_days``.
    """
    missing: dict[int, list[sheets.NotReported]] = defaultdict(list)
    for one in sheets.not_reported(session, programme_id, as_of=day, due_days=due_days):
        missing[one.school_id].append(one)
    last_sent = _last_sent(session, programme_id)
    begun = session.scalar(
        select(func.max(Term.first_day)).where(Term.programme_id == programme_id, Term.first_day <= day)
    )
    schools = select(School).where(School.programme_id == programme_id, in_areas(area_ids)).order_by(School.name)
    whom = contacts(session, programme_id)
    found = []
    for school in session.scalars(schools):
        after = last_sent.get(school.id, date.min)
        named = [one.week for one in missing.get(school.id, [])]
        weeks = tuple(week for week in named if week > after)
        gaps = tuple(week for week in named if week < after and begun is not None and week + LAST_OF_WEEK >= begun)
        if weeks or gaps:
            due = (weeks or gaps)[0] + LAST_OF_WEEK + timedelta(days=due_days)
            draft = any(one.has_draft for one in missing[school.id])
            found.append(Silent(school, weeks, gaps, due, draft, whom.get(school.id, ())))
    return sorted(found, key=lambda one: (not one.weeks, one.due, one.school.name))


def _last_sent(session: Session, programme_id: int) -> dict[int, date]:
    """The latest week of which each school sent a sheet."""
    query = (
        select(WeekSheet.school_id, func.max(WeekSheet.week))
        .join(School, School.id == WeekSheet.school_id)
        .where(School.programme_id == programme_id)
        .group_by(WeekSheet.school_id)
    )
    return {school_id: week for school_id, week in session.execute(query) if week is not None}


def sheets_waiting(
    session: Session, programme_id: int, area_ids: Collection[int] | None = None, *, first: int = 0, count: int = 10
) -> WaitingPage:
    """Sheets that wait for the officer: those with odd figures first, then the oldest. Two queries.

    A sheet waits while it is sent and not accepted; one with a question that the school has not answered waits
    for the school and is not here.
    """
    mine = (School.programme_id == programme_id) & in_areas(area_ids) & (WeekSheet.state == SheetState.SENT)
    unsettled = Query.answered_at.is_not(None) & Query.closed_at.is_(None)
    odd = func.coalesce(func.sum(case((unsettled & Query.raised_by_check, 1), else_=0)), 0)
    answered = func.coalesce(func.sum(case((unsettled & ~Query.raised_by_check, 1), else_=0)), 0)
    counted = (
        select(WeekSheet.id.label("sheet_id"), odd.label("odd"), answered.label("answered"))
        .outerjoin(Query, Query.sheet_id == WeekSheet.id)
        .group_by(WeekSheet.id)
        .subquery()
    )
    query: Select[WeekSheet, School, SheetVersion, int, int] = (
        select(WeekSheet, School, SheetVersion, counted.c.odd, counted.c.answered)
        .join(School, School.id == WeekSheet.school_id)
        .join(counted, counted.c.sheet_id == WeekSheet.id)
        .join(SheetVersion, (SheetVersion.sheet_id == WeekSheet.id) & (SheetVersion.number == WeekSheet.version))
        .where(mine)
        .order_by((counted.c.odd + counted.c.answered).desc(), WeekSheet.week, School.name)
        .offset(first)
        .limit(count)
    )
    rows = [
        Waiting(sheet, school, version.reference, version.sent_at, version.from_paper, int(odd), int(answered))
        for sheet, school, version, odd, answered in session.execute(query)
    ]
    total = session.scalar(select(func.count()).select_from(WeekSheet).join(School).where(mine)) or 0
    return WaitingPage(rows, total)


def asked_back(session: Session, programme_id: int, area_ids: Collection[int] | None = None) -> int:
    """How many sheets wait for an answer of their school."""
    mine = (School.programme_id == programme_id) & in_areas(area_ids) & (WeekSheet.state == SheetState.QUERIED)
    return session.scalar(select(func.count()).select_from(WeekSheet).join(School).where(mine)) or 0


def jobs_waiting(session: Session, programme_id: int, area_ids: Collection[int] | None = None) -> list[WaitingJob]:
    """Jobs that were asked and have no visit yet, longest waiting first."""
    query = (
        select(ServiceVisit, Unit, School)
        .join(Unit, Unit.id == ServiceVisit.unit_id)
        .join(School, School.id == Unit.school_id)
        .where(ServiceVisit.programme_id == programme_id, ServiceVisit.done_at.is_(None), in_areas(area_ids))
        .order_by(ServiceVisit.asked_on, School.name, Unit.code, ServiceVisit.id)
    )
    return [WaitingJob(visit, unit, school) for visit, unit, school in session.execute(query)]


def papers_ending(
    session: Session, programme_id: int, day: date, area_ids: Collection[int] | None = None, within: int = PAPERS_DAYS
) -> list[Paper]:
    """Permits and operators' certificates of routes in use that have ended or end within some days, soonest first."""
    last = day + timedelta(days=within)
    query = (
        select(DisposalRoute, School)
        .join(School, School.id == DisposalRoute.school_id)
        .where(
            School.programme_id == programme_id,
            in_areas(area_ids),
            DisposalRoute.from_day <= day,
            or_(DisposalRoute.until_day.is_(None), DisposalRoute.until_day >= day),
            or_(DisposalRoute.permit_until <= last, DisposalRoute.operator_until <= last),
        )
    )
    found = []
    for route, school in session.execute(query):
        for what, until in (("permit", route.permit_until), ("operator", route.operator_until)):
            if until is not None and until <= last:
                found.append(Paper(route, school, what, until))
    return sorted(found, key=lambda one: (one.until, one.school.name, one.what))


def programmes(session: Session, ids: Collection[int]) -> list[Programme]:
    """Programmes by their ids, by name."""
    return list(session.scalars(select(Programme).where(Programme.id.in_(ids)).order_by(Programme.name)))


def versions(session: Session, sheet_id: int) -> list[SentVersion]:
    """Versions of a sheet with who sent them ("" where an installation loaded them), newest first."""
    query = (
        select(SheetVersion, Person.name)
        .outerjoin(Person, Person.id == SheetVersion.sent_by_id)
        .where(SheetVersion.sheet_id == sheet_id)
        .order_by(SheetVersion.number.desc())
    )
    return [SentVersion(version, name or "") for version, name in session.execute(query)]
