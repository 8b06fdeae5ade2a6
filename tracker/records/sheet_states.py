"""Where each week of a school stands, what is not reported, and which older outages a sheet asks about."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import false, func, or_, select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage
from tracker.models.school import School, SchoolDay
from tracker.models.sheets import Query, SheetDraft, WeekSheet
from tracker.models.units import Unit
from tracker.vocabulary import Cause, SheetState, Source

WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class WeekState:
    """Where a school's week stands. ``due``: last day on which the sheet is in time."""

    week: date
    state: SheetState | None
    version: int = 0
    open_queries: int = 0
    has_draft: bool = False


def state_of(session: Session, school_id: int, week: date) -> SheetState | None:
    """State of a school's week: draft while only drafts exist, None while nobody typed anything."""
    state = session.scalar(select(WeekSheet.state).where(WeekSheet.school_id == school_id, WeekSheet.week == week))
    if state is not None:
        return state
    draft = select(SheetDraft.id).where(SheetDraft.school_id == school_id, SheetDraft.week == week).limit(1)
    return SheetState.DRAFT if session.scalar(draft) is not None else None


def week_overview(session: Session, school_id: int, *, until: date) -> list[WeekState]:
    """Weeks of a school that have a school day or a sheet, up to the week of ``until``, newest first.

    Three queries, whatever the number of weeks. A week without school day needs no sheet and is left out
    unless one was sent.
    """
    with_school = set(session.scalars(select(SchoolDay.week).where(SchoolDay.school_id == school_id).distinct()))
    waiting = (Query.answered_at.is_(None)) & (Query.closed_at.is_(None))
    counted = (
        select(WeekSheet.week, WeekSheet.state, WeekSheet.version, func.count(Query.id))
        .outerjoin(Query, (Query.sheet_id == WeekSheet.id) & waiting)
        .where(WeekSheet.school_id == school_id)
        .group_by(WeekSheet.id, WeekSheet.week, WeekSheet.state, WeekSheet.version)
    )
    sent = {week: (state, version, number) for week, state, version, number in session.execute(counted)}
    drafts = set(session.scalars(select(SheetDraft.week).where(SheetDraft.school_id == school_id)))
    states = []
    for week in sorted(with_school | set(sent), reverse=True):
        if week > until:
            continue
        state, version, number = sent.get(week, (SheetState.DRAFT if week in drafts else None, 0, 0))
        states.append(WeekState(week, state, version, number, week in drafts))
    return states


@dataclass(frozen=True, slots=True)
class NotReported:
    """A school whose sheet of a week is due and was not sent."""

    school_id: int
    school: str
    week: date
    has_draft: bool


def not_reported(session: Session, programme_id: int, *, as_of: date, due_days: int) -> list[NotReported]:
    """Weeks whose sheet is past due and not sent, by week and school; two queries.

    Args:
        as_of: today in the programme's zone.
        due_days: a sheet is due so many days after its week's last day; the setting ``sheet_due_days``.
    """
    latest = as_of - timedelta(days=due_days) - WEEK  # weeks that began by then were due before today
    rows = session.execute(
        select(School.id, School.name, SchoolDay.week)
        .join(SchoolDay, SchoolDay.school_id == School.id)
        .outerjoin(WeekSheet, (WeekSheet.school_id == School.id) & (WeekSheet.week == SchoolDay.week))
        .where(
            School.programme_id == programme_id,
            SchoolDay.week <= latest,
            WeekSheet.id.is_(None),
            or_(School.until_day.is_(None), School.until_day >= SchoolDay.week),
        )
        .distinct()
        .order_by(SchoolDay.week, School.name)
    ).all()
    drafts = set(
        session.execute(
            select(SheetDraft.school_id, SheetDraft.week)
            .join(School, School.id == SheetDraft.school_id)
            .where(School.programme_id == programme_id)
        ).all()
    )
    return [NotReported(school_id, name, week, (school_id, week) in drafts) for school_id, name, week in rows]


@dataclass(frozen=True, slots=True)
class OlderOutage:
    """An outage that began before a sheet's own and still goes on, or that the sheet ended."""

    ref: str
    unit: str
    source: Source
    cause: Cause
    start_at: datetime


def older_outages(session: Session, school_id: int, *, before: datetime, sheet_id: int | None) -> list[OlderOutage]:
    """Outages of a school's units that began before an instant and are open, or were ended by this sheet.

    Args:
        before: the week's end (UTC); later ones are of later weeks.
        sheet_id: the sheet being filled in; what itself brought is left out, what it ended is in.
    """
    ended_here = Outage.end_sheet_id == sheet_id if sheet_id is not None else false()
    query = (
        select(Outage.ref, Unit.code, Outage.source, Outage.cause, Outage.start_at)
        .join(Unit, Unit.id == Outage.unit_id)
        .where(Unit.school_id == school_id, Outage.start_at < before, or_(Outage.end_at.is_(None), ended_here))
        .order_by(Outage.start_at, Outage.id)
    )
    if sheet_id is not None:
        query = query.where(or_(Outage.sheet_id.is_(None), Outage.sheet_id != sheet_id))
    return [OlderOutage(*row) for row in session.execute(query)]
