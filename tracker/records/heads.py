"""What a page or a report is about: programme, terms, targets, rounds, agreements. Plain values, no frames."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session as Session  # noqa: PLC0414 - reports name its type and see nothing else of SQL

from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.programme import Programme, Target, Term
from tracker.models.school import School
from tracker.models.supplies import PlannedRound
from tracker.models.units import Unit


@dataclass(frozen=True, slots=True)
class ProgrammeHead:
    """A programme's own facts."""

    id: int
    code: str
    name: str
    zone: str
    currency: str
    first_weekday: int
    is_demo: bool


@dataclass(frozen=True, slots=True)
class TermHead:
    """A term; its first and last day included."""

    id: int
    code: str
    name: str
    first_day: date
    last_day: date


@dataclass(frozen=True, slots=True)
class TargetHead:
    """What a figure should reach, and the day on which that was set."""

    value: float
    set_at: date


@dataclass(frozen=True, slots=True)
class AgreementHead:
    """An agreement with its units: unit_id → serial number."""

    id: int
    code: str
    buyer: str
    programme_id: int
    school_id: int
    accepted_on: date | None
    warranty_from: date | None
    warranty_until: date | None
    clock_stops: str
    promise_hours: int
    visit_every_days: int
    serials: dict[int, str]
    price_minor: int = 0  # a year


def programme(session: Session, programme_id: int) -> ProgrammeHead:
    """A programme by its id.

    Raises:
        LookupError: there is none.
    """
    row = session.get(Programme, programme_id)
    if row is None:
        raise LookupError(f"there is no programme {programme_id}")
    return ProgrammeHead(row.id, row.code, row.name, row.zone, row.currency, row.first_weekday, row.is_demo)


def programme_of_school(session: Session, school_id: int) -> int:
    """The programme of a school.

    Raises:
        LookupError: there is no such school.
    """
    found = session.scalar(select(School.programme_id).where(School.id == school_id))
    if found is None:
        raise LookupError(f"there is no school {school_id}")
    return found


def terms(session: Session, programme_id: int) -> tuple[TermHead, ...]:
    """Terms of a programme in order of time."""
    query = select(Term.id, Term.code, Term.name, Term.first_day, Term.last_day)
    rows = session.execute(query.where(Term.programme_id == programme_id).order_by(Term.first_day))
    return tuple(TermHead(*row) for row in rows)


def targets(session: Session, programme_id: int, term_id: int) -> dict[str, TargetHead]:
    """Targets of a term by figure; of one that was set again the latest."""
    query = select(Target.figure, Target.thousandths, Target.set_at)
    rows = session.execute(
        query.where(Target.programme_id == programme_id, Target.term_id == term_id).order_by(Target.set_at)
    )
    return {figure: TargetHead(thousandths / 1000, set_at) for figure, thousandths, set_at in rows}


def rounds_after(session: Session, programme_id: int, day: date) -> tuple[date, ...]:
    """Days of the planned restocking rounds after a day, in order."""
    query = select(PlannedRound.day).where(PlannedRound.programme_id == programme_id, PlannedRound.day > day)
    return tuple(session.scalars(query.order_by(PlannedRound.day)))


def agreements(session: Session, programme_id: int) -> tuple[AgreementHead, ...]:
    """Agreements of a programme with the units under them, in two queries."""
    rows = session.scalars(select(Agreement).where(Agreement.programme_id == programme_id).order_by(Agreement.code))
    serials: dict[int, dict[int, str]] = {}
    query = select(AgreementUnit.agreement_id, AgreementUnit.unit_id, AgreementUnit.serial)
    query = query.join(Agreement, Agreement.id == AgreementUnit.agreement_id).join(
        Unit, Unit.id == AgreementUnit.unit_id
    )
    for agreement, unit, serial in session.execute(
        query.where(Agreement.programme_id == programme_id).order_by(Unit.code)
    ):
        serials.setdefault(agreement, {})[unit] = serial
    return tuple(
        AgreementHead(
            row.id,
            row.code,
            row.buyer,
            row.programme_id,
            row.school_id,
            row.accepted_on,
            row.warranty_from,
            row.warranty_until,
            row.clock_stops,
            row.promise_hours,
            row.visit_every_days,
            serials.get(row.id, {}),
            row.price_minor,
        )
        for row in rows
    )
