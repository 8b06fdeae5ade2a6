"""The programme's calendar: weeks, school days and drawn breaks derived from terms, hours, closures and marks.

The number of queries is the same for one school and one week as for a thousand schools and a year.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, delete, insert, or_, select
from sqlalchemy.orm import Session

from tracker.measures import calendar as pure
from tracker.models import programme as p
from tracker.models import school as s
from tracker.models.sheets import WeekSheet
from tracker.records import audit
from tracker.records.settings import BY_KEY
from tracker.vocabulary import ClosureScope

DRAWN = "drawn_breaks_per_week"
CHUNK = 500  # ids in one statement; SQLite allows 32766 values, older ones 999
NO_SYNC = {"synchronize_session": False}  # derived rows are never kept in a session


@dataclass(frozen=True, slots=True)
class SchoolCalendar:
    """All that makes up the school days of one school: its dates, terms, hours, breaks, closures and marks."""

    school_id: int
    code: str
    zone: ZoneInfo
    first_weekday: int
    from_day: date
    until_day: date | None
    terms: Sequence[pure.Term] = ()
    hours: Sequence[pure.Hours] = ()
    breaks: Sequence[pure.BreakRule] = ()
    closures: Sequence[pure.Closure] = ()
    marks: Sequence[pure.Mark] = ()
    shift_ids: Mapping[str, int] = field(default_factory=dict)


def days_held(calendar: SchoolCalendar, marks: Iterable[pure.Mark] = ()) -> list[pure.SchoolDay]:
    """The school days of each shift, with ``marks`` added to those on record; only while the school takes part."""
    days = pure.school_days(calendar.terms, calendar.hours, calendar.closures, [*calendar.marks, *marks])
    return [held for held in days if _takes_part(calendar, held.day)]


def _takes_part(calendar: SchoolCalendar, day: date) -> bool:
    return calendar.from_day <= day and (calendar.until_day is None or day <= calendar.until_day)


def occasions(calendar: SchoolCalendar, days: Iterable[pure.SchoolDay]) -> list[pure.Occasion]:
    """The breaks of these school days."""
    return pure.break_occasions(days, calendar.breaks, calendar.zone)


def calendars(
    session: Session,
    programme_id: int,
    school_ids: Collection[int] | None = None,
    without_sheet: int | None = None,
) -> dict[int, SchoolCalendar]:
    """What makes up the school days of each school, by school_id.

    Marks of the sheet ``without_sheet`` are left out: its new version says them anew.
    """
    programme = session.get_one(p.Programme, programme_id)
    terms = _terms(session, programme_id)
    of_school = _chosen(programme_id, school_ids)
    hours, breaks, shift_ids = _hours(session, of_school)
    marks = _marks(session, of_school, without_sheet)
    schools = session.execute(select(s.School).where(of_school)).scalars().all()
    closures = session.execute(select(p.Closure).where(p.Closure.programme_id == programme_id)).scalars().all()
    return {
        one.id: SchoolCalendar(
            one.id,
            one.code,
            ZoneInfo(programme.zone),
            programme.first_weekday,
            one.from_day,
            one.until_day,
            terms,
            hours.get(one.id, []),
            breaks.get(one.id, []),
            [pure.Closure(closure.first_day, closure.last_day) for closure in closures if _concerns(closure, one)],
            marks.get(one.id, []),
            shift_ids.get(one.id, {}),
        )
        for one in schools
    }


def _chosen(programme_id: int, school_ids: Collection[int] | None) -> ColumnElement[bool]:
    inside = s.School.programme_id == programme_id
    return inside if school_ids is None else inside & s.School.id.in_(school_ids)


def _concerns(closure: p.Closure, school: s.School) -> bool:
    if closure.scope is ClosureScope.PROGRAMME:
        return True
    return closure.area_id == school.area_id if closure.scope is ClosureScope.AREA else closure.school_id == school.id


def _terms(session: Session, programme_id: int) -> list[pure.Term]:
    rows = session.execute(select(p.Term.first_day, p.Term.last_day).where(p.Term.programme_id == programme_id))
    return [pure.Term(first, last) for first, last in rows]


def _hours(
    session: Session, of_school: ColumnElement[bool]
) -> tuple[dict[int, list[pure.Hours]], dict[int, list[pure.BreakRule]], dict[int, dict[str, int]]]:
    hours: dict[int, list[pure.Hours]] = defaultdict(list)
    breaks: dict[int, list[pure.BreakRule]] = defaultdict(list)
    shift_ids: dict[int, dict[str, int]] = defaultdict(dict)
    shifts = select(s.Shift.school_id, s.Shift.code, s.Shift.id).join(s.School).where(of_school)
    for school_id, code, shift_id in session.execute(shifts):
        shift_ids[school_id][code] = shift_id
    of_hours = select(s.SchoolHours, s.Shift.code, s.Shift.school_id).join(s.Shift).join(s.School).where(of_school)
    for row, shift, school_id in session.execute(of_hours):
        hours[school_id].append(
            pure.Hours(row.weekday, row.opens_min, row.closes_min, row.from_day, row.until_day, shift)
        )
    of_breaks = select(s.SchoolBreak, s.Shift.code, s.Shift.school_id).join(s.Shift).join(s.School).where(of_school)
    for one, shift, school_id in session.execute(of_breaks):
        breaks[school_id].append(
            pure.BreakRule(
                one.code, one.name, one.weekday, one.start_min, one.end_min, one.from_day, one.until_day, shift
            )
        )
    return hours, breaks, shift_ids


def _marks(session: Session, of_school: ColumnElement[bool], without: int | None) -> dict[int, list[pure.Mark]]:
    found: dict[int, list[pure.Mark]] = defaultdict(list)
    query = select(s.Mark.school_id, s.Mark.day, s.Mark.mark).join(s.School, s.School.id == s.Mark.school_id)
    query = query.where(of_school)
    if without is not None:
        query = query.where(or_(s.Mark.sheet_id.is_(None), s.Mark.sheet_id != without))
    for school_id, day, mark in session.execute(query):
        found[school_id].append(pure.Mark(day, mark))
    return found


def rebuild(session: Session, programme_id: int, school_ids: Collection[int] | None = None) -> None:
    """Derive weeks and school days anew, and draw breaks for the weeks that have none.

    Drawn breaks stay as drawn; only in a week without a sent sheet is one that no longer takes place drawn
    again. Running it twice changes nothing.
    """
    known = calendars(session, programme_id, school_ids)
    _rebuild_weeks(session, programme_id)
    held = {school_id: days_held(calendar) for school_id, calendar in known.items()}
    of_school = _chosen(programme_id, school_ids)
    _rebuild_days(session, of_school, known, held)
    _rebuild_draws(session, of_school, known, _by_week_of_all(known, held), _draw_counts(session, programme_id))


def _rebuild_weeks(session: Session, programme_id: int) -> None:
    programme = session.get_one(p.Programme, programme_id)
    terms = _terms(session, programme_id)
    wanted: set[date] = set()
    if terms:
        first, last = min(term.first for term in terms), max(term.last for term in terms)
        wanted = set(pure.weeks_covering(first, last, programme.first_weekday))
    there = set(weeks(session, programme_id))
    if there - wanted:
        gone = p.Week.first_day.in_(there - wanted)
        session.execute(delete(p.Week).where(p.Week.programme_id == programme_id, gone), execution_options=NO_SYNC)
    if wanted - there:
        rows = [{"programme_id": programme_id, "first_day": week} for week in sorted(wanted - there)]
        session.execute(insert(p.Week), rows)


def _rebuild_days(
    session: Session,
    of_school: ColumnElement[bool],
    known: Mapping[int, SchoolCalendar],
    held: Mapping[int, Sequence[pure.SchoolDay]],
) -> None:
    wanted = {
        (known[school_id].shift_ids[one.shift], one.day): (school_id, one.opens_min, one.closes_min)
        for school_id, days in held.items()
        for one in days
    }
    d = s.SchoolDay
    query = select(d.id, d.shift_id, d.day, d.school_id, d.opens_min, d.closes_min).join(s.School).where(of_school)
    gone: list[int] = []
    for row_id, shift_id, day, *rest in session.execute(query):
        if wanted.get((shift_id, day)) == tuple(rest):
            del wanted[shift_id, day]
        else:
            gone.append(row_id)
    _delete(session, d, gone)
    rows = [
        {
            "school_id": school_id,
            "shift_id": shift_id,
            "day": day,
            "week": pure.week_of(day, known[school_id].first_weekday),
            "opens_min": opens,
            "closes_min": closes,
        }
        for (shift_id, day), (school_id, opens, closes) in sorted(wanted.items())
    ]
    if rows:
        session.execute(insert(d), rows)


def _delete(session: Session, model: type[s.SchoolDay] | type[s.DrawnBreak], ids: Sequence[int]) -> None:
    for start in range(0, len(ids), CHUNK):
        chunk = ids[start : start + CHUNK]
        session.execute(delete(model).where(model.id.in_(chunk)), execution_options=NO_SYNC)


def _rebuild_draws(
    session: Session,
    of_school: ColumnElement[bool],
    known: Mapping[int, SchoolCalendar],
    by_week: Mapping[tuple[int, date], Sequence[pure.Occasion]],
    counts: _DrawCounts,
) -> None:
    """Draw where nothing is drawn; in weeks without a sheet, draw again what no longer takes place."""
    there = _drawn(session, of_school)
    sent = set(session.execute(select(WeekSheet.school_id, WeekSheet.week).join(s.School).where(of_school)))
    new: list[dict[str, object]] = []
    gone: list[int] = []
    for school_id, week in sorted({*by_week, *there}):
        drawn, now = there.get((school_id, week), {}), by_week.get((school_id, week), ())
        stale = drawn.keys() - {(one.day, one.slot) for one in now}
        if drawn and (not stale or (school_id, week) in sent):
            continue
        gone += [drawn[key] for key in sorted(stale)]
        text = f"{counts.programme}|{known[school_id].code}|{week.isoformat()}"
        drawn_now = _draw(now, drawn.keys() - stale, counts.of(week), text)
        new += [{"school_id": school_id, "week": week, "day": one.day, "slot": one.slot} for one in drawn_now]
    _delete(session, s.DrawnBreak, gone)
    if new:
        session.execute(insert(s.DrawnBreak), new)
    if gone:
        audit.note(session, "removed", "drawn_break", "rebuild", before={"rows": len(gone)}, after={"rows": len(new)})


Drawn = dict[tuple[int, date], dict[tuple[date, str], int]]


def _drawn(session: Session, of_school: ColumnElement[bool]) -> Drawn:
    """Ids of the drawn breaks by day and slot, by school and week."""
    found: Drawn = defaultdict(dict)
    d = s.DrawnBreak
    for row in session.execute(select(d.id, d.school_id, d.week, d.day, d.slot).join(s.School).where(of_school)):
        found[row.school_id, row.week][row.day, row.slot] = row.id
    return found


@dataclass(frozen=True, slots=True)
class _DrawCounts:
    """How many breaks are drawn a week: the setting in force on the week's first day."""

    programme: str
    dated: Sequence[tuple[date, int]]

    def of(self, week: date) -> int:
        in_force = [count for from_day, count in self.dated if from_day <= week]
        return in_force[-1] if in_force else BY_KEY[DRAWN].default


def _draw_counts(session: Session, programme_id: int) -> _DrawCounts:
    row = p.ProgrammeSetting
    query = select(row.from_day, row.value).where(row.programme_id == programme_id, row.key == DRAWN)
    code = session.get_one(p.Programme, programme_id).code
    return _DrawCounts(code, [(day, count) for day, count in session.execute(query.order_by(row.from_day))])


def _by_week_of_all(
    known: Mapping[int, SchoolCalendar], held: Mapping[int, Sequence[pure.SchoolDay]]
) -> dict[tuple[int, date], list[pure.Occasion]]:
    found: dict[tuple[int, date], list[pure.Occasion]] = defaultdict(list)
    for school_id, days in held.items():
        for one in occasions(known[school_id], days):
            found[school_id, pure.week_of(one.day, known[school_id].first_weekday)].append(one)
    return found


def _draw(
    now: Sequence[pure.Occasion], kept: Collection[tuple[date, str]], count: int, text: str
) -> list[pure.Occasion]:
    """The draw of a week, or what is missing to it beside the kept ones, on days of their own where there are some."""
    if not kept:
        return pure.draw_breaks(now, count, text)
    others = [one for one in now if (one.day, one.slot) not in kept]
    free = [one for one in others if one.day not in {day for day, _ in kept}]
    missing = max(count - len(kept), 0)
    return pure.draw_breaks(free if len(free) >= missing else others, missing, text + "|again")


def weeks(session: Session, programme_id: int) -> list[date]:
    """First days of the programme's weeks, sorted."""
    query = select(p.Week.first_day).where(p.Week.programme_id == programme_id).order_by(p.Week.first_day)
    return list(session.scalars(query))


def term_of(session: Session, programme_id: int, day: date) -> p.Term | None:
    """The term that holds a day; None in the holidays."""
    holds = (p.Term.first_day <= day) & (p.Term.last_day >= day)
    return session.scalars(select(p.Term).where(p.Term.programme_id == programme_id, holds)).first()


def held_between(
    session: Session, programme_id: int, first: date, last: date, school_ids: Collection[int] | None = None
) -> dict[int, list[pure.SchoolDay]]:
    """School days on record from ``first`` to ``last`` (both included), by school_id; schools without any too."""
    of_school = _chosen(programme_id, school_ids)
    found: dict[int, list[pure.SchoolDay]] = {one: [] for one in session.scalars(select(s.School.id).where(of_school))}
    d = s.SchoolDay
    query = (
        select(d.school_id, d.day, s.Shift.code, d.opens_min, d.closes_min)
        .join(s.Shift, s.Shift.id == d.shift_id)
        .join(s.School, s.School.id == d.school_id)
        .where(of_school, d.day.between(first, last))
        .order_by(d.day, d.opens_min)
    )
    for school_id, day, shift, opens, closes in session.execute(query):
        found[school_id].append(pure.SchoolDay(day, shift, opens, closes))
    return found


def school_time(
    session: Session, programme_id: int, first: date, last: date, school_ids: Collection[int] | None = None
) -> dict[int, pure.SchoolTime]:
    """School time from ``first`` to ``last`` (both included) by school_id; an empty one where there was no school."""
    zone = ZoneInfo(session.get_one(p.Programme, programme_id).zone)
    held = held_between(session, programme_id, first, last, school_ids)
    return {school_id: pure.school_time(days, zone) for school_id, days in held.items()}


def break_occasions(
    session: Session, programme_id: int, first: date, last: date, school_ids: Collection[int] | None = None
) -> dict[int, list[pure.Occasion]]:
    """Breaks that took place from ``first`` to ``last`` (both included), by school_id."""
    zone = ZoneInfo(session.get_one(p.Programme, programme_id).zone)
    _, breaks, _ = _hours(session, _chosen(programme_id, school_ids))
    held = held_between(session, programme_id, first, last, school_ids)
    return {school_id: pure.break_occasions(days, breaks.get(school_id, []), zone) for school_id, days in held.items()}
