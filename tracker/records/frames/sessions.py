"""Lessons, attendance, enrolment; routes, burns and bins; sheets and queries."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.disposal import Burn, DisposalRoute
from tracker.models.school import Enrolment, School, Shift
from tracker.models.sessions import Attendance, AwarenessSession, Quiz
from tracker.models.sheets import Query, WeekSheet
from tracker.models.units import Unit
from tracker.models.usage import Level
from tracker.records.asked import rows_of
from tracker.records.frames.base import (
    DAY,
    INSTANT,
    Scope,
    day_in,
    holds_in,
    read,
    schools_in,
    to_frame,
    week_in,
    words,
)
from tracker.vocabulary import TopicKind

SESSIONS = {
    "session_id": "int64",
    "school_id": "int64",
    "school": "str",
    "day": DAY,
    "week": DAY,
    "topic": "str",
    "minutes": "float64",
    "kind": "str",
}
ATTENDANCE = {"session_id": "int64", "sex": "str", "grade": "str", "present": "float64"}
QUIZZES = {
    "session_id": "int64",
    "school_id": "int64",
    "school": "str",
    "day": DAY,
    "item": "str",
    "right_right": "int64",
    "right_wrong": "int64",
    "wrong_right": "int64",
    "wrong_wrong": "int64",
}
ENROLMENT = {
    "school_id": "int64",
    "sex": "str",
    "grade": "str",
    "age": "int64",
    "pupils": "int64",
    "from_day": DAY,
    "until_day": DAY,
}
BURNS = {"unit_id": "int64", "week": DAY, "burns": "float64"}
BIN_LEVELS = {"unit_id": "int64", "school_id": "int64", "day": DAY, "quarters": "float64"}
ROUTES = {
    "school_id": "int64",
    "kind": "str",
    "from_day": DAY,
    "until_day": DAY,
    "permit_until": DAY,
    "operator_until": DAY,
    "siting_checked": DAY,
    "flue_checked": DAY,
    "ash_route": "str",
}
SENT = {"school_id": "int64", "week": DAY, "state": "str", "version": "int64", "first_sent": INSTANT}
SHEETS = {
    "school_id": "int64",
    "week": DAY,
    "state": "str",
    "version": "int64",
    "first_sent": INSTANT,
    "due": INSTANT,
    "expected": "bool",
}
ABOUT: tuple[tuple[TopicKind, tuple[str, ...]], ...] = (
    (TopicKind.MENSTRUAL, ("menstrua",)),
    (TopicKind.HANDWASHING, ("hand wash", "handwash", "wash hands")),
    (TopicKind.TOILETS, ("toilet", "cabin", "latrine")),
)
QUERIES = {"school_id": "int64", "week": DAY, "open": "bool"}


def sessions(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``sessions``: lessons held in the scope, with the school's code.

    kind: what the lesson was about, as it was said; where nobody said, the words of the topic decide.
    """
    lesson = AwarenessSession
    said = (lesson.day, lesson.week, lesson.topic, lesson.minutes, words(lesson.kind))
    query = select(lesson.id, lesson.school_id, School.code, *said).join(School, School.id == lesson.school_id)
    query = query.where(lesson.school_id.in_(schools_in(scope)), day_in(lesson.day, scope))
    found = read(session, SESSIONS, query.order_by(School.code, lesson.day, lesson.id))
    silent = found["kind"] == ""
    return found.assign(kind=found["kind"].mask(silent, found["topic"].map(kind_of).astype("str")))


def kind_of(topic: str) -> str:
    """What a lesson was about by the words of its topic.

    >>> kind_of("Menstrual health and you"), kind_of("Hand washing"), kind_of("Games")
    ('menstrual health', 'hand washing', 'other')
    """
    said = topic.lower()
    return next((kind.value for kind, names in ABOUT if any(name in said for name in names)), TopicKind.OTHER.value)


def attendance(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``attendance`` of the scope's lessons."""
    lesson = AwarenessSession
    query = select(Attendance.session_id, words(Attendance.sex), Attendance.grade, Attendance.present)
    query = query.join(lesson, lesson.id == Attendance.session_id)
    query = query.where(lesson.school_id.in_(schools_in(scope)), day_in(lesson.day, scope))
    return read(session, ATTENDANCE, query.order_by(Attendance.session_id, Attendance.sex, Attendance.grade))


def quizzes(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``quizzes``: of an item of a lesson, how many pupils were right before and after, right before and wrong
    after, and so on: four totals, never one pupil's pair."""
    row, lesson = Quiz, AwarenessSession
    totals = (row.right_right, row.right_wrong, row.wrong_right, row.wrong_wrong)
    query = select(row.session_id, lesson.school_id, School.code, lesson.day, row.item, *totals)
    query = query.join(lesson, lesson.id == row.session_id).join(School, School.id == lesson.school_id)
    query = query.where(lesson.school_id.in_(schools_in(scope)), day_in(lesson.day, scope))
    return read(session, QUIZZES, query.order_by(row.item, School.code, lesson.day, row.session_id))


def enrolment(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``enrolment`` in force in the scope; a group that is taught in several shifts is added up.

    ``age`` is -1 where it is not known.
    """
    row = Enrolment
    query = select(
        Shift.school_id, Shift.id, words(row.sex), row.grade, row.age, row.pupils, row.from_day, row.until_day
    )
    query = query.join(Shift, Shift.id == row.shift_id)
    query = query.where(Shift.school_id.in_(schools_in(scope)), holds_in(row, scope))
    found = rows_of(session, query.order_by(Shift.school_id, row.sex, row.grade, row.age, row.from_day))
    groups: dict[tuple[Any, ...], list[Any]] = {}
    for school, shift, *key, pupils, first, last in found:
        groups.setdefault((school, *key), []).append((shift, pupils, first, last))
    rows = [(*key, *part) for key, parts in groups.items() for part in _over_shifts(parts)]
    return to_frame(ENROLMENT, rows)


def _over_shifts(rows: list[tuple[int, int, date, date | None]]) -> list[tuple[int, date, date | None]]:
    """Pupils of one group summed over shifts: a new row wherever one of the shifts changed."""
    if len({shift for shift, *_ in rows}) == 1:
        return [(pupils, first, last) for _, pupils, first, last in rows]
    one = timedelta(days=1)
    starts = sorted({first for *_, first, _ in rows} | {last + one for *_, last in rows if last is not None})
    found: list[tuple[int, date, date | None]] = []
    for place, start in enumerate(starts):
        latest: dict[int, tuple[date, int]] = {}
        for shift, pupils, first, last in rows:
            if first <= start and (last is None or start <= last):
                latest[shift] = max(latest.get(shift, (first, pupils)), (first, pupils))
        if latest:
            end = starts[place + 1] - one if place + 1 < len(starts) else None
            found.append((sum(pupils for _, pupils in latest.values()), start, end))
    return found


def burns(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``burns``: burns started by incinerator and week, summed in the database."""
    query = select(Burn.unit_id, Burn.week, func.sum(Burn.burns)).join(Unit, Unit.id == Burn.unit_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), week_in(Burn.week, scope))
    return read(session, BURNS, query.group_by(Burn.unit_id, Burn.week).order_by(Burn.unit_id, Burn.week))


def bin_levels(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``bin_levels``: levels of used-supply bins and tanks, in quarters; the unit's kind tells them apart."""
    query = select(Level.unit_id, Unit.school_id, Level.day, Level.quarters).join(Unit, Unit.id == Level.unit_id)
    query = query.where(Unit.school_id.in_(schools_in(scope)), day_in(Level.day, scope))
    return read(session, BIN_LEVELS, query.order_by(Level.unit_id, Level.day))


def routes(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``routes``: disposal routes in use on a day of the scope, with their papers."""
    row = DisposalRoute
    query = select(
        row.school_id,
        words(row.kind),
        row.from_day,
        row.until_day,
        row.permit_until,
        row.operator_until,
        row.siting_checked,
        row.flue_checked,
        row.ash_route,
    )
    query = query.where(row.school_id.in_(schools_in(scope)), holds_in(row, scope))
    return read(session, ROUTES, query.order_by(row.school_id, row.from_day, row.kind))


def sheets(session: Session, scope: Scope, occasions: pd.DataFrame, due_days: int, zone: ZoneInfo) -> pd.DataFrame:
    """Frame ``sheets``: school-weeks that should have a sheet, or have one.

    Args:
        occasions: frame ``occasions`` of the scope: a week with a school day is expected.
        due_days: a sheet is due at the end of the day so many days after the week's last day.
    Returns:
        state is "" where nothing was sent; a draft is not a sheet.
    """
    query = select(
        WeekSheet.school_id, WeekSheet.week, words(WeekSheet.state), WeekSheet.version, WeekSheet.first_sent_at
    )
    query = query.where(WeekSheet.school_id.in_(schools_in(scope)), week_in(WeekSheet.week, scope))
    sent = read(session, SENT, query)
    held = occasions.loc[occasions["school_days"] > 0, ["school_id", "week"]].assign(expected=True)
    rows = held.merge(sent, on=["school_id", "week"], how="outer").sort_values(["school_id", "week"], ignore_index=True)
    rows["expected"] = rows["expected"].eq(True)
    rows["version"] = rows["version"].fillna(0)
    rows["state"] = rows["state"].fillna("")
    weeks = list(rows["week"].dt.date)
    instants = {week: _end_of(week + timedelta(days=6 + due_days), zone) for week in set(weeks)}
    rows["due"] = pd.DatetimeIndex([instants[week] for week in weeks], dtype=INSTANT)
    return rows[list(SHEETS)].astype(SHEETS)


def _end_of(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(0), tzinfo=zone).astimezone(UTC)


def queries(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``queries``: questions about the scope's sheets; open until answered or closed."""
    is_open = Query.closed_at.is_(None) & Query.answered_at.is_(None)
    query = select(WeekSheet.school_id, WeekSheet.week, is_open).join(WeekSheet, WeekSheet.id == Query.sheet_id)
    query = query.where(WeekSheet.school_id.in_(schools_in(scope)), week_in(WeekSheet.week, scope))
    return read(session, QUERIES, query.order_by(WeekSheet.school_id, WeekSheet.week, Query.id))
