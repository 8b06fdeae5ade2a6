"""Pupils who are at school at the same time, and the usual ages of grades."""

from __future__ import annotations

import pandas as pd
from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from tracker.models.programme import GradeAge
from tracker.models.school import Enrolment, Shift
from tracker.records.asked import rows_of
from tracker.records.frames.base import Scope, read, schools_in, words

SHIFT_PUPILS = {"school_id": "int64", "shift_id": "int64", "sex": "str", "pupils": "int64"}


def shift_pupils(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``shift_pupils``: pupils of each shift by sex, enrolled on the scope's last day.

    A school that works in shifts has its cabins for those of one shift at a time.
    """
    row = Enrolment
    held = (row.from_day <= scope.last_day) & or_(row.until_day.is_(None), row.until_day >= scope.last_day)
    query = select(Shift.school_id, Shift.id, words(row.sex), func.sum(row.pupils)).join(
        Shift, Shift.id == row.shift_id
    )
    query = query.where(Shift.school_id.in_(schools_in(scope)), held).group_by(Shift.school_id, Shift.id, row.sex)
    return read(session, SHIFT_PUPILS, query.order_by(Shift.school_id, Shift.id, row.sex))


def grade_ages(session: Session, scope: Scope) -> dict[str, int]:
    """Grade → the age that most of its pupils have, by the latest row in force on the scope's last day."""
    row = GradeAge
    query = select(row.grade, row.age).where(row.programme_id == scope.programme_id, row.from_day <= scope.last_day)
    # The last one of a grade stays: the latest day, on it the largest share.
    rows = rows_of(session, query.order_by(row.from_day, row.permille, row.age.desc()))
    return {found.grade: found.age for found in rows}
