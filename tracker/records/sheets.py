"""Week sheets: drafts, sending a version in one transaction, accepting, and where each week stands.

A draft is a payload of raw cells and never counts. A sent sheet has immutable versions; its fact rows project
the latest one. Every function takes the session first and never commits.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from tracker.models.programme import Programme, Term
from tracker.models.publications import Publication
from tracker.models.school import Mark, School
from tracker.models.sheets import RequestKey, SheetDraft, SheetVersion, WeekSheet
from tracker.records import calendar
from tracker.records import facts as fact_rows
from tracker.records.sheet_queries import (
    SheetError,
    accept,
    answer,
    ask,
    close_query,
    find_query,
    queries_of,
    state_by_queries,
)
from tracker.records.sheet_states import (
    NotReported,
    OlderOutage,
    WeekState,
    not_reported,
    older_outages,
    state_of,
    week_overview,
)
from tracker.vocabulary import SheetState

__all__ = [
    "Confirmed",
    "KeyReusedError",
    "NotReported",
    "OlderOutage",
    "ReasonNeededError",
    "Sending",
    "Sent",
    "SheetError",
    "StaleError",
    "WeekState",
    "accept",
    "answer",
    "answered_before",
    "ask",
    "canonical",
    "close_query",
    "drop_draft",
    "find_draft",
    "find_payload",
    "find_query",
    "find_sheet",
    "find_version",
    "not_reported",
    "older_outages",
    "payload_hash",
    "payload_of",
    "published_covers",
    "queries_of",
    "reference_for",
    "save_draft",
    "send",
    "sending_hash",
    "sheet_code",
    "state_by_queries",
    "state_of",
    "week_overview",
]

ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # no letter or digit that is read as another
CODE_LENGTH = 10
REFERENCE_LENGTH = 8
WEEK = timedelta(days=7)


class StaleError(SheetError):
    """Somebody else sent a version after this one was opened."""


class KeyReusedError(SheetError):
    """The form's key was already used for other content."""


class ReasonNeededError(SheetError):
    """A publication covers the week, so a change needs a reason."""


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A question that a check asked about a cell, and the note it was answered with ("" = not answered yet)."""

    cell: str
    question: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Sending:
    """One act of sending. ``rows``: typed fact rows by table, as ``records.facts`` takes them."""

    school: School
    week: date
    payload: Mapping[str, Any]
    rows: Mapping[str, list[dict[str, Any]]]
    at: datetime
    person_id: int | None
    key: str
    base_version: int
    confirmed: tuple[Confirmed, ...] = ()
    reason: str = ""
    from_paper: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """What sending answers. ``again``: the same form was already received; nothing was written anew."""

    reference: str
    number: int
    at: datetime
    again: bool = field(default=False, compare=False)


def _spell(digest: bytes, length: int) -> str:
    number = int.from_bytes(digest, "big")
    letters = []
    for _ in range(length):
        number, place = divmod(number, len(ALPHABET))
        letters.append(ALPHABET[place])
    return "".join(letters)


def sheet_code(programme_code: str, school_code: str, week: date) -> str:
    """The sheet's code, known before anything is sent, so that it can stand on paper: ten clear characters.

    >>> sheet_code("lakes", "S1", date(2026, 2, 2)) == sheet_code("lakes", "S1", date(2026, 2, 2))
    True
    """
    said = f"{programme_code}|{school_code}|{week.isoformat()}"
    return _spell(hashlib.sha256(said.encode()).digest(), CODE_LENGTH)


def canonical(payload: Mapping[str, Any]) -> str:
    """A payload as JSON that is the same for the same content.

    >>> canonical({"b": 1, "a": "2"})
    '{"a":"2","b":1}'
    """
    return json.dumps(payload, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def payload_hash(payload: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical payload, in hexadecimal."""
    return hashlib.sha256(canonical(payload).encode()).hexdigest()


def reference(code: str, number: int, digest: str, salt: int = 0) -> str:
    """A version's reference, the same each time; another ``salt`` gives another one."""
    return _spell(hashlib.sha256(f"{code}|{number}|{digest}|{salt}".encode()).digest(), REFERENCE_LENGTH)


def reference_for(session: Session, code: str, number: int, digest: str) -> str:
    """A short reference that no other version has: written on paper, it finds the record."""
    salt = 0
    while True:
        made = reference(code, number, digest, salt)
        if session.scalar(select(SheetVersion.id).where(SheetVersion.reference == made)) is None:
            return made
        salt += 1


# --- finding ------------------------------------------------------------------------------------------------------


def find_sheet(session: Session, school_id: int, week: date) -> WeekSheet | None:
    """A school's sheet of a week; None while nothing was sent."""
    return session.scalar(select(WeekSheet).where(WeekSheet.school_id == school_id, WeekSheet.week == week))


def find_version(session: Session, sheet: WeekSheet, number: int | None = None) -> SheetVersion | None:
    """A sheet's version; the latest without a number. None where there is no such version."""
    wanted = sheet.version if number is None else number
    return session.scalar(select(SheetVersion).where(SheetVersion.sheet_id == sheet.id, SheetVersion.number == wanted))


def find_payload(session: Session, school_id: int, week: date) -> dict[str, Any]:
    """The latest payload of a school's week; empty while nothing was sent."""
    text = session.scalar(
        select(SheetVersion.payload)
        .join(WeekSheet, WeekSheet.id == SheetVersion.sheet_id)
        .where(WeekSheet.school_id == school_id, WeekSheet.week == week, SheetVersion.number == WeekSheet.version)
    )
    return dict(json.loads(text)) if text else {}


def find_draft(session: Session, person_id: int, school_id: int, week: date) -> SheetDraft | None:
    """A person's own draft of a school's week; drafts of others are never shown."""
    return session.scalar(
        select(SheetDraft).where(
            SheetDraft.person_id == person_id, SheetDraft.school_id == school_id, SheetDraft.week == week
        )
    )


def save_draft(
    session: Session, person_id: int, school_id: int, week: date, *, cells: Mapping[str, str], base: int, at: datetime
) -> SheetDraft:
    """Keep cells exactly as typed, also wrong ones; a draft counts in no report."""
    draft = find_draft(session, person_id, school_id, week)
    if draft is None:
        draft = SheetDraft(person_id=person_id, school_id=school_id, week=week)
        session.add(draft)
    draft.cells, draft.base_version, draft.saved_at = canonical(cells), base, at
    return draft


def drop_draft(session: Session, person_id: int, school_id: int, week: date) -> None:
    """Forget a person's draft of a week."""
    draft = find_draft(session, person_id, school_id, week)
    if draft is not None:
        session.delete(draft)


def published_covers(session: Session, school: School, week: date) -> bool:
    """Whether a published report of the school or its programme covers days of the week."""
    return session.scalar(_covering(school, week).limit(1)) is not None


def _covering(school: School, week: date) -> Select[int]:
    return (
        select(Publication.id)
        .join(Term, Term.id == Publication.term_id)
        .where(
            Publication.programme_id == school.programme_id,
            Publication.scope.in_(("", school.code)),
            Term.first_day < week + WEEK,
            Term.last_day >= week,
        )
    )


def payload_of(version: SheetVersion) -> dict[str, Any]:
    """What a version holds."""
    return dict(json.loads(version.payload))


# --- sending ------------------------------------------------------------------------------------------------------


def sending_hash(sending: Sending) -> str:
    """What a form's key stands for: the same content for the same school and week, made from the same version."""
    about = {"school": sending.school.id, "week": sending.week.isoformat(), "base": sending.base_version}
    notes = [[one.cell, one.note] for one in sending.confirmed]
    return payload_hash({"payload": sending.payload, "about": about, "notes": notes, "reason": sending.reason})


def answered_before(session: Session, key: str, digest: str) -> Sent | None:
    """The answer already given to a form's key; None where the key is new.

    Raises:
        KeyReusedError: the key came with other content.
    """
    found = session.scalar(select(RequestKey).where(RequestKey.key == key))
    if found is None:
        return None
    if found.payload_hash != digest:
        raise KeyReusedError("This form was already sent with other figures. Open the week again and look at it.")
    result = json.loads(found.result)
    return Sent(result["reference"], result["number"], datetime.fromisoformat(result["at"]), again=True)


def send(session: Session, sending: Sending) -> Sent:
    """Write a new version and its facts, or give the same answer to a form that was already received.

    In one transaction: the request key, the sheet, the immutable version, the old facts out, the new ones in,
    older outages ended (and those that the version before had ended opened again), the questions of checks.

    Raises:
        KeyReusedError: the key came with other content.
        StaleError: a version was sent after the one this form was made from.
        ReasonNeededError: a publication covers the week and no reason is given.
    """
    digest = sending_hash(sending)
    before = answered_before(session, sending.key, digest)
    if before is not None:
        return before
    session.scalar(select(School.id).where(School.id == sending.school.id).with_for_update())  # one sender at a time
    sheet = find_sheet(session, sending.school.id, sending.week)
    if (sheet.version if sheet else 0) != sending.base_version:
        raise StaleError("Somebody else sent this week after you opened it. Look at both and send again.")
    if not sending.reason and published_covers(session, sending.school, sending.week):
        raise ReasonNeededError("A published report covers this week. Write why the figures change.")
    if sending.reason:
        session.info["reason"] = sending.reason
    sheet = _next(session, sheet, sending)
    version = _version(session, sheet, sending)
    _replace_facts(session, sheet, sending)
    _ask_confirmed(session, sheet, sending)
    sheet.state = state_by_queries(session, sheet)
    sent = Sent(version.reference, version.number, version.sent_at)
    result = json.dumps({"reference": sent.reference, "number": sent.number, "at": sent.at.isoformat()})
    session.add(RequestKey(key=sending.key, payload_hash=digest, result=result, at=sending.at))
    session.flush()  # a second writer with the same key must fail here, inside the caller's transaction
    return sent


def _next(session: Session, sheet: WeekSheet | None, sending: Sending) -> WeekSheet:
    if sheet is None:
        programme = session.get_one(Programme, sending.school.programme_id)
        sheet = WeekSheet(
            school_id=sending.school.id,
            week=sending.week,
            code=sheet_code(programme.code, sending.school.code, sending.week),
            first_sent_at=sending.at,
            version=0,
        )
        session.add(sheet)
    sheet.version += 1
    sheet.state = SheetState.SENT
    sheet.accepted_at = sheet.accepted_by_id = None
    session.flush()  # facts and the version need the sheet's id
    return sheet


def _version(session: Session, sheet: WeekSheet, sending: Sending) -> SheetVersion:
    digest = payload_hash(sending.payload)
    version = SheetVersion(
        sheet_id=sheet.id,
        number=sheet.version,
        reference=reference_for(session, sheet.code, sheet.version, digest),
        sent_at=sending.at,
        sent_by_id=sending.person_id,
        payload=canonical(sending.payload),
        payload_hash=digest,
        reason=sending.reason[:200],
        from_paper=sending.from_paper,
    )
    session.add(version)
    return version


def _replace_facts(session: Session, sheet: WeekSheet, sending: Sending) -> None:
    had_marks = session.scalar(select(func.count()).where(Mark.sheet_id == sheet.id))
    fact_rows.replace_facts(session, sheet, sending.rows)
    if had_marks or sending.rows.get("day_marks"):
        calendar.rebuild(session, sending.school.programme_id, [sending.school.id])


def _ask_confirmed(session: Session, sheet: WeekSheet, sending: Sending) -> None:
    """Keep what checks asked, with the note as answer; the same question with the same answer is kept once."""
    old = {(q.cell, q.question): q for q in queries_of(session, sheet.id) if q.raised_by_check}
    asked = {(one.cell, one.question[:200]) for one in sending.confirmed}
    for name, query in old.items():
        if name not in asked and query.answered_at is None and query.closed_at is None:
            query.closed_at = sending.at  # the figure was changed, so the question is settled
    for one in sending.confirmed:
        found = old.get((one.cell, one.question[:200]))
        if found is None:
            found = ask(session, sheet, one.cell, one.question, at=sending.at, person_id=None)
        if one.note and found.answer != one.note[:200]:
            answer(session, found, one.note, at=sending.at, person_id=sending.person_id)
