"""What a programme sets: terms, areas, planned rounds, dated settings, targets."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.links import Baseline
from tracker.models.programme import Area, Programme, ProgrammeSetting, Target, Term
from tracker.models.supplies import PlannedRound
from tracker.records import calendar, settings
from tracker.records.history import SetupError, guard, put, unused
from tracker.vocabulary import Basis


def add_area(session: Session, programme: Programme, code: str, name: str) -> Area:
    """An area.

    Raises:
        SetupError: the code is taken.
    """
    unused(session, Area, "code", programme_id=programme.id, code=code)
    area = Area(programme_id=programme.id, code=code, name=name)
    session.add(area)
    session.flush()
    return area


def add_term(session: Session, programme: Programme, values: Mapping[str, Any]) -> Term:
    """A term (code, name, first_day, last_day); weeks, school days and drawn breaks follow from it.

    Raises:
        SetupError: the code is taken, it ends before it starts, or it overlaps another term.
    """
    unused(session, Term, "code", programme_id=programme.id, code=values["code"])
    first, last = values["first_day"], values["last_day"]
    if last < first:
        raise SetupError("last_day", "The term ends before it starts. Correct one of the days.")
    overlaps = (Term.programme_id == programme.id) & (Term.first_day <= last) & (Term.last_day >= first)
    other = session.scalar(select(Term).where(overlaps).limit(1))
    if other is not None:
        raise SetupError("first_day", f"It overlaps {other.name}. A day belongs to one term at most.")
    term = Term(programme_id=programme.id, **values)
    session.add(term)
    session.flush()  # the calendar reads it
    calendar.rebuild(session, programme.id)
    return term


def add_round(session: Session, programme: Programme, day: date) -> PlannedRound:
    """A planned restocking round.

    Raises:
        SetupError: one is planned for that day.
    """
    if session.scalar(select(PlannedRound.id).filter_by(programme_id=programme.id, day=day)) is not None:
        raise SetupError("day", "A round is planned for that day already.")
    made = PlannedRound(programme_id=programme.id, day=day)
    session.add(made)
    session.flush()
    return made


def drop_round(session: Session, programme: Programme, day: date, today: date) -> None:
    """Take a planned round off the list.

    Raises:
        SetupError: there is none on that day, or the day has come.
    """
    row = session.scalar(select(PlannedRound).filter_by(programme_id=programme.id, day=day))
    if row is None:
        raise SetupError("day", "No round is planned for that day.")
    if day <= today:
        raise SetupError("day", "This day has come. A round of the past stays on record.")
    session.delete(row)
    session.flush()


def change_setting(
    session: Session, programme: Programme, key: str, value: int, day: date, *, reason: str
) -> ProgrammeSetting:
    """A setting from a day on.

    Raises:
        SetupError: the value is out of bounds (small counts never below 10), or a reason is needed.
    """
    refusal = settings.refusal(key, value)
    if refusal is not None:
        raise SetupError("value", refusal)
    guard(session, programme.id, "", day, reason)
    rows = session.scalars(select(ProgrammeSetting).filter_by(programme_id=programme.id, key=key)).all()
    values = {"programme_id": programme.id, "key": key, "value": value}
    return put(session, ProgrammeSetting, rows, values, day, reason=reason)


def set_baseline(
    session: Session, programme: Programme, what: tuple[str, int], how: tuple[date, Basis, str], *, reason: str
) -> Baseline:
    """What a figure was before the programme worked: measured on a day, in thousandths of its unit.

    Args:
        how: the day, the basis, and in a sentence where and how it was measured.
    Raises:
        SetupError: it is on record already and no reason is given.
    """
    figure, thousandths = what
    measured_on, basis, note = how
    key = {"programme_id": programme.id, "figure": figure, "measured_on": measured_on}
    row = session.scalar(select(Baseline).filter_by(**key))
    if row is not None and not reason:
        raise SetupError("reason", "A baseline of this figure and day is on record. To correct it, write the reason.")
    if row is None:
        row = Baseline(**key)
        session.add(row)
    row.thousandths, row.basis, row.note = thousandths, basis, note
    session.flush()
    return row


def set_target(
    session: Session, programme: Programme, term_id: int, what: tuple[str, int], *, today: date, reason: str
) -> Target:
    """A target of a term's figure, set today. After the term began it needs a reason and is shown as set later.

    Args:
        what: the figure's key, and what it should reach in its unit times 1000.
    Raises:
        SetupError: the term is another programme's, or a reason is needed.
    """
    figure, thousandths = what
    term = session.get(Term, term_id)
    if term is None or term.programme_id != programme.id:
        raise SetupError("term_id", "Choose a term of this programme.")
    if today >= term.first_day and not reason:
        raise SetupError("reason", "The term has begun. Write why the target is set now; it is shown as set later.")
    key = {"programme_id": programme.id, "term_id": term.id, "figure": figure, "set_at": today}
    row = session.scalar(select(Target).filter_by(**key))
    if row is not None and not reason:
        raise SetupError("reason", "A target of this figure was set today. To correct it, write the reason.")
    if row is None:
        row = Target(**key, thousandths=thousandths)
        session.add(row)
    row.thousandths = thousandths
    session.flush()
    return row
