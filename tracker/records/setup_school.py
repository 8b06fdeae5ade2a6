"""A school's calendar, pupils, what was there before, disposal routes: changed from a day on, never written over."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.disposal import DisposalRoute
from tracker.models.programme import Area, Closure, Programme
from tracker.models.school import Before, Enrolment, School, SchoolBreak, SchoolHours, Shift, StaffCount
from tracker.models.supplies import StockPlace
from tracker.records import calendar
from tracker.records.history import DAY, SetupError, guard, put, stop, unused
from tracker.records.setup_facts import counted_on
from tracker.vocabulary import OTHER_TIMES, BeforeKind, ClosureScope, PlaceKind, Route

FIRST_SHIFT = ("day", "Day")


def add_school(session: Session, programme: Programme, values: Mapping[str, Any]) -> School:
    """A school (area_id, code, name, boarders, from_day, position) with its first shift and its cupboard.

    Raises:
        SetupError: the code is taken, or the area is another programme's.
    """
    unused(session, School, "code", programme_id=programme.id, code=values["code"])
    area = session.get(Area, values["area_id"])
    if area is None or area.programme_id != programme.id:
        raise SetupError("area_id", "Choose an area of this programme.")
    school = School(programme_id=programme.id, **values)
    session.add(school)
    session.flush()  # shift and cupboard need the id
    code, name = FIRST_SHIFT
    session.add(Shift(school_id=school.id, code=code, name=name))
    place = f"{school.code}-cupboard"[:48]
    if session.scalar(select(StockPlace.id).filter_by(programme_id=programme.id, code=place)) is None:
        session.add(
            StockPlace(
                programme_id=programme.id, code=place, name="Cupboard", kind=PlaceKind.CUPBOARD, school_id=school.id
            )
        )
    session.flush()
    return school


def change_school(session: Session, school: School, values: Mapping[str, Any], *, reason: str) -> None:
    """Name, boarders, position, last day in the programme.

    Raises:
        SetupError: the last day is before the first, or reaches into a published term without a reason.
    """
    last = values.get("until_day")
    if last is not None and last < school.from_day:
        raise SetupError("until_day", "This is before the school's first day. Write a later day.")
    if last != school.until_day:
        guard(session, school.programme_id, school.code, min(d for d in (last, school.until_day) if d), reason)
    for name, value in values.items():
        setattr(school, name, value)
    session.flush()
    calendar.rebuild(session, school.programme_id, [school.id])


Times = tuple[int, int] | None


def change_hours(
    session: Session, school: School, shift_id: int, hours: tuple[Collection[int], Times], day: date, *, reason: str
) -> None:
    """From a day on school is open so on some weekdays.

    Args:
        hours: the weekdays (0 Monday), and minutes after midnight when it opens and closes; None: no school on them.

    Raises:
        SetupError: it closes before it opens, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    weekdays, times = hours
    if times is not None and times[0] >= times[1]:
        raise SetupError("closes", "School closes before it opens. Correct one of the times.")
    for weekday in sorted(weekdays):
        rows = session.scalars(select(SchoolHours).filter_by(shift_id=shift_id, weekday=weekday)).all()
        if times is None:
            _stop_all(session, rows, day)
            continue
        values = {"shift_id": shift_id, "weekday": weekday, "opens_min": times[0], "closes_min": times[1]}
        put(session, SchoolHours, rows, values, day, reason=reason)
    calendar.rebuild(session, school.programme_id, [school.id])


def _stop_all(session: Session, rows: Collection[Any], day: date) -> None:
    """Rows in force on a day end the day before; one that begins on it or later is refused."""
    for row in rows:
        if row.from_day >= day:
            raise SetupError("from_day", "A change from this day or a later one is on record. Choose a later day.")
        if row.until_day is None or row.until_day >= day:
            stop(session, row, day - DAY)


def change_break(
    session: Session, school: School, values: Mapping[str, Any], weekdays: Collection[int], day: date, *, reason: str
) -> None:
    """From a day on a break (shift_id, code, name, start_min, end_min) takes place so on these weekdays.

    Raises:
        SetupError: it ends before it starts, its code means something else, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    if values["code"] in (OTHER_TIMES, "all"):
        raise SetupError("code", "The words other and all have a meaning of their own. Choose another code.")
    if values["start_min"] >= values["end_min"]:
        raise SetupError("ends", "The break ends before it starts. Correct one of the times.")
    for weekday in sorted(weekdays):
        key = {"shift_id": values["shift_id"], "code": values["code"], "weekday": weekday}
        rows = session.scalars(select(SchoolBreak).filter_by(**key)).all()
        put(session, SchoolBreak, rows, dict(values) | {"weekday": weekday}, day, reason=reason)
    calendar.rebuild(session, school.programme_id, [school.id])


def end_break(session: Session, school: School, row: SchoolBreak, last_day: date, *, reason: str) -> None:
    """The last day on which a break takes place, on all weekdays it has.

    Raises:
        SetupError: before its first day, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, last_day, reason)
    for one in session.scalars(select(SchoolBreak).filter_by(shift_id=row.shift_id, code=row.code)):
        if one.from_day <= last_day and (one.until_day is None or one.until_day > last_day):
            stop(session, one, last_day)
    calendar.rebuild(session, school.programme_id, [school.id])


def change_enrolment(session: Session, school: School, values: Mapping[str, Any], day: date, *, reason: str) -> None:
    """From a day on so many pupils of a sex and grade (and age, -1: not known) are enrolled in a shift.

    Raises:
        SetupError: a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    key = {name: values[name] for name in ("shift_id", "sex", "grade", "age")}
    rows = session.scalars(select(Enrolment).filter_by(**key)).all()
    put(session, Enrolment, rows, values, day, reason=reason)


def change_staff(session: Session, school: School, staff: int, day: date, *, reason: str) -> None:
    """From a day on so many adults work at the school."""
    rows = session.scalars(select(StaffCount).filter_by(school_id=school.id)).all()
    put(session, StaffCount, rows, {"school_id": school.id, "staff": staff}, day, reason=reason)


def change_before(session: Session, school: School, values: Mapping[str, Any], day: date, *, reason: str) -> None:
    """What stood at the school before (kind, ml, litres_basis), from a day on.

    Raises:
        SetupError: litres without how they are known, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    if values["kind"] is not BeforeKind.NOTHING and values["ml"] is not None and values["litres_basis"] is None:
        raise SetupError("litres_basis", "Say how the litres are known: measured, or a claim.")
    rows = session.scalars(select(Before).filter_by(school_id=school.id)).all()
    put(session, Before, rows, {"school_id": school.id} | dict(values), day, reason=reason)


def add_closure(
    session: Session,
    programme_id: int,
    values: Mapping[str, Any],
    whom: tuple[ClosureScope, int | None],
    *,
    reason: str,
    code: str = "",
) -> Closure:
    """Days without school (first_day, last_day, name) for the programme, an area or a school; school days follow.

    Raises:
        SetupError: the last day is before the first, or a reason is needed: visits were counted on one of the days,
            or a published report covers them.
    """
    guard(session, programme_id, code, values["first_day"], reason)
    if values["last_day"] < values["first_day"]:
        raise SetupError("last_day", "The last day is before the first. Correct one of them.")
    scope, row_id = whom
    if not reason:
        _nothing_counted(session, programme_id, values, whom)
    number = session.scalar(select(func.count()).where(Closure.programme_id == programme_id)) or 0
    ref = f"closure-{values['first_day']:%Y%m%d}-{scope.value}-{row_id or 0}-{number + 1}"[:40]
    closure = Closure(
        programme_id=programme_id,
        ref=ref,
        scope=scope,
        area_id=row_id if scope is ClosureScope.AREA else None,
        school_id=row_id if scope is ClosureScope.SCHOOL else None,
        **values,
    )
    session.add(closure)
    session.flush()  # the calendar reads it
    calendar.rebuild(session, programme_id, [row_id] if scope is ClosureScope.SCHOOL and row_id else None)
    return closure


def _nothing_counted(
    session: Session, programme_id: int, values: Mapping[str, Any], whom: tuple[ClosureScope, int | None]
) -> None:
    """Ask for a reason where a school counted visits on a day that would be without school."""
    scope, row_id = whom
    schools: list[int] | None = None
    if scope is ClosureScope.SCHOOL and row_id is not None:
        schools = [row_id]
    elif scope is ClosureScope.AREA:
        schools = list(session.scalars(select(School.id).where(School.area_id == row_id)))
    counted = counted_on(session, schools, programme_id, values["first_day"], values["last_day"])
    if not counted:
        return
    name, week, day = counted[0]
    raise SetupError(
        "reason",
        f"{name} counted visits on {day.day} {day:%B %Y}, in the sheet of the week of {week.day} {week:%B %Y}. "
        "Have that sheet corrected first, or write why these days are without school all the same.",
    )


def put_route(
    session: Session, school: School, kind: Route, papers: Mapping[str, Any], day: date, *, reason: str
) -> DisposalRoute:
    """A route for used supplies, or new papers of one, from a day on; the row of the same kind ends the day before.

    New papers are a new row too, so that days between an old permit and a new one stay without a permit.

    Raises:
        SetupError: a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    rows = session.scalars(select(DisposalRoute).filter_by(school_id=school.id, kind=kind)).all()
    values = {"school_id": school.id, "kind": kind} | dict(papers)
    return put(session, DisposalRoute, rows, values, day, reason=reason)
