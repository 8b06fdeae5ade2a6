"""What the rules about input must know of a school, read once: no rule asks the database.

The number of queries is the same for one school and one week as for a thousand schools and a year.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from tracker.measures.calendar import Mark, Occasion, SchoolDay, Span
from tracker.models import school as s
from tracker.models import sheets
from tracker.models.programme import Programme
from tracker.models.units import Unit, UnitWay
from tracker.records import calendar
from tracker.records.context_rows import (
    Brought,
    CountKey,
    DialInfo,
    DialKey,
    Enrolled,
    OutageInfo,
    PlaceInfo,
    ReadingInfo,
    Scope,
    UnitInfo,
    brought_of,
    counts_of,
    drawn_of,
    enrolled_of,
    outages_of,
    places_of,
    products_of,
    readings_of,
    scope_of,
    sessions_of,
    units_of,
)
from tracker.records.past_weeks import PastWeeks, past_weeks
from tracker.records.settings import all_settings
from tracker.vocabulary import CountWay, Group, Sex

__all__ = [
    "Brought",
    "CountKey",
    "DialInfo",
    "DialKey",
    "Enrolled",
    "OutageInfo",
    "PlaceInfo",
    "ReadingInfo",
    "SchoolContext",
    "UnitInfo",
    "closure_days",
    "group_of",
    "held",
    "in_force",
    "is_counted",
    "occasions",
    "programme_contexts",
    "pupils",
    "school_context",
    "way_of",
]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class SchoolContext:
    """One school over a span of days, without the facts of the sheet that is being sent anew (``sheet_id``).

    readings: those in the span, with the last before and the first after it, by (unit, quantity, source), sorted.
    outages: open ones and those that touch the span. counts: keys in the span. sessions: day by ref.
    """

    school_id: int
    code: str
    name: str
    programme: str
    is_demo: bool
    zone: ZoneInfo
    first_weekday: int
    span: Span
    sheet_id: int | None
    calendar: calendar.SchoolCalendar
    units: Mapping[str, UnitInfo]
    drawn: frozenset[tuple[date, str]]
    enrolled: tuple[Enrolled, ...]
    places: Mapping[str, PlaceInfo]
    products: frozenset[str]
    outages: tuple[OutageInfo, ...]
    readings: Mapping[DialKey, tuple[ReadingInfo, ...]]
    counts: frozenset[CountKey]
    sessions: Mapping[str, date]
    settings: Mapping[str, int]
    brought: Mapping[Brought, int] = field(default_factory=dict)  # by rounds, in the span
    past: PastWeeks = field(default_factory=PastWeeks)  # of one sheet's school only


ByContext = dict[int, SchoolContext]


def held(context: SchoolContext, marks: Iterable[Mark] = ()) -> list[SchoolDay]:
    """School days in the span, with the sheet's own marks."""
    return [one for one in calendar.days_held(context.calendar, marks) if one.day in context.span]


def occasions(context: SchoolContext, days: Iterable[SchoolDay]) -> list[Occasion]:
    """The breaks of these school days."""
    return calendar.occasions(context.calendar, days)


def closure_days(context: SchoolContext) -> set[date]:
    """Days of the span on which the school is closed."""
    every = (context.span.first + timedelta(days=n) for n in range((context.span.last - context.span.first).days + 1))
    return {day for day in every if any(day in closure for closure in context.calendar.closures)}


def in_force(dated: Iterable[tuple[date, T]], day: date) -> T | None:
    """Of (from_day, value) pairs, earliest first, the value in force on a day."""
    found = [value for from_day, value in dated if from_day <= day]
    return found[-1] if found else None


def group_of(unit: UnitInfo, day: date) -> Group | None:
    """Whom a unit's block is for on a day."""
    return in_force(unit.groups, day)


def way_of(unit: UnitInfo, day: date) -> CountWay | None:
    """How a unit's visits are counted on a day."""
    return in_force(unit.ways, day)


def is_counted(session: Session, school_id: int, way: CountWay, day: date) -> bool:
    """Whether a unit that stands at a school on a day is counted in a way."""
    units = (
        select(Unit.id)
        .where(Unit.school_id == school_id, Unit.from_day <= day)
        .where(or_(Unit.until_day.is_(None), Unit.until_day >= day))
    )
    ways = select(UnitWay.unit_id, UnitWay.way).where(UnitWay.from_day <= day, UnitWay.unit_id.in_(units))
    latest = {one.unit_id: one.way for one in session.execute(ways.order_by(UnitWay.from_day))}
    return way in latest.values()


def pupils(context: SchoolContext, day: date, sex: Sex | None = None, grade: str | None = None) -> int:
    """Pupils enrolled on a day, of a sex and grade or of all."""
    return sum(
        one.pupils
        for one in context.enrolled
        if one.from_day <= day
        and (one.until_day is None or day <= one.until_day)
        and (sex is None or one.sex is sex)
        and (grade is None or one.grade == grade)
    )


def school_context(session: Session, school_id: int, first_day: date, last_day: date) -> SchoolContext:
    """What the rules must know of one school for a sheet from ``first_day`` to ``last_day``.

    Facts of the sheet of the week that begins on ``first_day`` are left out: a new version says them anew.
    """
    school = session.get_one(s.School, school_id)
    of_week = (sheets.WeekSheet.school_id == school_id, sheets.WeekSheet.week == first_day)
    sheet_id = session.scalars(select(sheets.WeekSheet.id).where(*of_week)).first()
    found = programme_contexts(session, school.programme_id, Span(first_day, last_day), [school_id], sheet_id)
    return replace(found[school_id], past=past_weeks(session, school_id, first_day))


def programme_contexts(
    session: Session,
    programme_id: int,
    span: Span | None = None,
    school_ids: Collection[int] | None = None,
    without_sheet: int | None = None,
) -> ByContext:
    """The same for every school of a programme, by school_id; without ``span`` over all weeks on record."""
    programme = session.get_one(Programme, programme_id)
    span = span or _all_weeks(session, programme_id)
    return _contexts(session, programme, scope_of(programme, span, school_ids, without_sheet), school_ids)


def _all_weeks(session: Session, programme_id: int) -> Span:
    weeks = calendar.weeks(session, programme_id)
    if not weeks:  # no term yet: a span in which nothing can have happened
        return Span(date(1970, 1, 1), date(1970, 1, 1))
    return Span(weeks[0], weeks[-1] + timedelta(days=6))


def _contexts(session: Session, programme: Programme, scope: Scope, school_ids: Collection[int] | None) -> ByContext:
    calendars = calendar.calendars(session, programme.id, school_ids, scope.without_sheet)
    unit_infos, drawn, enrolled = units_of(session, scope), drawn_of(session, scope), enrolled_of(session, scope)
    places, products = places_of(session, programme.id), products_of(session, programme.id)
    outages, readings = outages_of(session, scope), readings_of(session, scope)
    counts, sessions = counts_of(session, scope), sessions_of(session, scope)
    settings, brought = all_settings(session, programme.id, scope.span.last), brought_of(session, scope)
    return {
        school.id: SchoolContext(
            school_id=school.id,
            code=school.code,
            name=school.name,
            programme=programme.code,
            is_demo=programme.is_demo,
            zone=ZoneInfo(programme.zone),
            first_weekday=programme.first_weekday,
            span=scope.span,
            sheet_id=scope.without_sheet,
            calendar=calendars[school.id],
            units=unit_infos.get(school.id, {}),
            drawn=frozenset(drawn.get(school.id, ())),
            enrolled=tuple(enrolled.get(school.id, ())),
            places={
                code: PlaceInfo(code, kind, capacity, unit, school_id == school.id)
                for code, kind, capacity, unit, school_id in places
                if school_id in (None, school.id)
            },
            products=products,
            outages=tuple(outages.get(school.id, ())),
            readings={key: tuple(rows) for key, rows in readings.get(school.id, {}).items()},
            counts=frozenset(counts.get(school.id, ())),
            sessions=sessions.get(school.id, {}),
            settings=settings,
            brought=brought.get(school.id, {}),
        )
        for school in session.scalars(select(s.School).where(scope.of_school))
    }
