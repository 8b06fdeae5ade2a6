"""Questions about a sheet's cells, raised by a check or an officer; question and answer both stay."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.sheets import Query, WeekSheet
from tracker.vocabulary import SheetState


class SheetError(ValueError):
    """A sheet cannot be sent as it is; the message says what to do."""


def ask(session: Session, sheet: WeekSheet, cell: str, question: str, *, at: datetime, person_id: int | None) -> Query:
    """Raise a query on a cell ("" is the whole sheet). ``person_id`` None: a check asks."""
    number = session.scalar(select(func.max(Query.number)).where(Query.sheet_id == sheet.id)) or 0
    query = Query(
        sheet_id=sheet.id,
        number=number + 1,
        cell=cell,
        question=question[:200],
        raised_by_check=person_id is None,
        asked_by_id=person_id,
        asked_at=at,
    )
    session.add(query)
    sheet.state = SheetState.QUERIED
    sheet.accepted_at = sheet.accepted_by_id = None
    session.flush()  # the next number and the sheet's state are read from the table
    return query


def answer(session: Session, query: Query, text: str, *, at: datetime, person_id: int | None) -> None:
    """Answer a query; question and answer both stay. The last open one lets the sheet be "sent" again.

    Raises:
        SheetError: the answer is blank.
    """
    said = " ".join(text.split())[:200]
    if not said:
        raise SheetError("Write an answer, for example “We counted again; it is right.”")
    query.answer, query.answered_at, query.answered_by_id = said, at, person_id
    _settle(session, query)


def close_query(session: Session, query: Query, *, at: datetime) -> None:
    """The officer is content; question and answer stay."""
    query.closed_at = at
    _settle(session, query)


def _settle(session: Session, query: Query) -> None:
    session.flush()  # the count below reads the table
    sheet = session.get_one(WeekSheet, query.sheet_id)
    if sheet.state is not SheetState.ACCEPTED:
        sheet.state = state_by_queries(session, sheet)


def state_by_queries(session: Session, sheet: WeekSheet) -> SheetState:
    """Queried while a question waits for an answer, else sent."""
    session.flush()  # questions of this transaction count too
    waiting = select(func.count()).where(
        Query.sheet_id == sheet.id, Query.answered_at.is_(None), Query.closed_at.is_(None)
    )
    return SheetState.QUERIED if session.scalar(waiting) else SheetState.SENT


def accept(session: Session, sheet: WeekSheet, *, at: datetime, person_id: int) -> None:
    """The officer accepts the sheet as it is.

    Raises:
        SheetError: a query still waits for an answer.
    """
    if state_by_queries(session, sheet) is SheetState.QUERIED:
        raise SheetError("A question on this sheet has no answer yet. Close it or wait for the answer, then accept.")
    for query in queries_of(session, sheet.id):
        if query.closed_at is None:
            query.closed_at = at
    sheet.state, sheet.accepted_at, sheet.accepted_by_id = SheetState.ACCEPTED, at, person_id


def queries_of(session: Session, sheet_id: int) -> list[Query]:
    """All queries of a sheet, oldest first; closed ones too."""
    return list(session.scalars(select(Query).where(Query.sheet_id == sheet_id).order_by(Query.number)))


def find_query(session: Session, sheet_id: int, number: int) -> Query | None:
    """A sheet's query by its number."""
    return session.scalar(select(Query).where(Query.sheet_id == sheet_id, Query.number == number))
