"""Editing keeps history: a change is a new row from a day on, the row before ends the day before.

A row is written over only to correct what was entered for the very same day, with a reason; the audit trail keeps
what stood there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.db import Base
from tracker.models.programme import Term
from tracker.models.publications import Publication
from tracker.models.school import School
from tracker.records.lookups import within

Row = TypeVar("Row", bound=Base)
DAY = timedelta(days=1)
SAME_DAY = "A row from this day is on record. To correct it, write the reason."
PUBLISHED = "A published report covers this day. Write why the record changes."


class SetupError(ValueError):
    """A change that is refused; the message says what to do, ``field`` where."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


def guard(session: Session, programme_id: int, code: str, day: date, reason: str) -> None:
    """Refuse a change that reaches into a published term, unless it says why.

    Args:
        code: the school's code; "" for a change of the whole programme.
        day: the first day the change counts from. Publications of terms that end before it are not touched.
    Raises:
        SetupError: a publication covers days from this one on, and no reason is given.
    """
    query = (
        select(Publication.id)
        .join(Term, Term.id == Publication.term_id)
        .where(Publication.programme_id == programme_id, Term.last_day >= day)
    )
    if code:
        query = query.where(Publication.scope.in_(("", code)))
    if not reason and session.scalar(query.limit(1)) is not None:
        raise SetupError("reason", PUBLISHED)


def find(session: Session, model: type[Row], row_id: int, school: School) -> Row | None:
    """A row by its id, if it belongs to the school; None otherwise."""
    table: Any = model.__table__
    query = select(model).where(table.c.id == row_id, within(table, school.programme_id, school.id))
    return session.scalar(query)


def put(
    session: Session, model: type[Row], rows: Sequence[Any], values: Mapping[str, Any], day: date, *, reason: str = ""
) -> Row:
    """Let a thing be so from a day on.

    The row in force ends the day before; the new one lasts until the day before the next one, or until the row in
    force would have ended. Rows without an until_day (they end by the next one) are only added.

    Args:
        rows: the rows of the same thing, in any order.
        values: the new row's columns, without from_day and until_day.
    Raises:
        SetupError: a row from the same day exists and no reason is given.
    """
    known = sorted(rows, key=lambda row: row.from_day)
    same = next((row for row in known if row.from_day == day), None)
    if same is not None:
        if not reason:
            raise SetupError("reason", SAME_DAY)
        for name, value in values.items():
            setattr(same, name, value)
        session.flush()
        return same  # type: ignore[no-any-return]
    made = dict(values) | {"from_day": day}
    if hasattr(model, "until_day"):
        made["until_day"] = _take_over(known, day)
        session.flush()  # the row before must have ended when the new one comes: rows may not overlap
    row = model(**made)
    session.add(row)
    session.flush()  # the database's own rules speak here
    return row


def _take_over(known: Sequence[Any], day: date) -> date | None:
    """End the row in force the day before; the last day of the row that takes over."""
    last: date | None = None
    for row in known:
        if row.from_day < day and (row.until_day is None or row.until_day >= day):
            last, row.until_day = row.until_day, day - DAY
    following: date | None = next((row.from_day for row in known if row.from_day > day), None)
    if following is None:
        return last
    return following - DAY if last is None else min(last, following - DAY)


def stop(session: Session, row: Any, last_day: date) -> None:
    """End a row: ``last_day`` is the last day it counts.

    Raises:
        SetupError: it would end before it began, or it has ended earlier already.
    """
    if last_day < row.from_day:
        raise SetupError("last_day", "This is before its first day. Write a later day.")
    if row.until_day is not None and row.until_day < last_day:
        raise SetupError("last_day", "It has ended earlier already. Write a day up to that one.")
    row.until_day = last_day
    session.flush()


def again(session: Session, row: Any, last_day: date | None, *, reason: str, flush: bool = True) -> None:
    """Correct the end of a row that has ended: another last day, or None where it counts still.

    Raises:
        SetupError: it has not ended, no reason is given, or it would end before it began.
    """
    if row.until_day is None:
        raise SetupError("last_day", "It has not ended, so there is nothing to correct.")
    if not reason:
        raise SetupError("reason", "Write why the end on record was wrong.")
    if last_day is not None and last_day < row.from_day:
        raise SetupError("last_day", "This is before its first day. Write a later day.")
    row.until_day = last_day
    if flush:
        session.flush()


def unused(session: Session, model: type[Any], field: str, **key: Any) -> None:
    """Refuse a code that is taken.

    Raises:
        SetupError: a row with this key exists.
    """
    if session.scalar(select(model.id).filter_by(**key).limit(1)) is not None:
        raise SetupError(field, "This code is taken. Choose another one.")
