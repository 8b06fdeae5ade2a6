"""Dangers reported at once: they close units the moment they are said, any day, without a week sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage
from tracker.models.school import School
from tracker.models.units import Block, Unit
from tracker.vocabulary import Cause, Danger, Source, UnitKind

CLOSABLE = tuple(kind for kind in UnitKind if kind is not UnitKind.METER)


@dataclass(frozen=True, slots=True)
class Said:
    """What was reported: the danger, when, by whom, through which door."""

    danger: Danger
    at: datetime
    person: str
    source: Source = Source.TALLY
    note: str = ""


@dataclass(frozen=True, slots=True)
class OpenDanger:
    """A unit closed by a danger that nobody has ended yet."""

    outage: Outage
    unit: Unit
    school: School


def units_at(session: Session, school_id: int, when: date | datetime) -> list[tuple[Unit, Block]]:
    """Units of a school that can be closed on a day, with their block, by block and code."""
    day = when.date() if isinstance(when, datetime) else when
    rows = session.execute(
        select(Unit, Block)
        .join(Block, Block.id == Unit.block_id)
        .where(
            Unit.school_id == school_id,
            Unit.kind.in_(CLOSABLE),
            Unit.from_day <= day,
            (Unit.until_day.is_(None)) | (Unit.until_day >= day),
        )
        .order_by(Block.name, Unit.code)
    )
    return [(unit, block) for unit, block in rows]


def report(session: Session, school: School, units: Sequence[Unit], said: Said) -> list[Outage]:
    """Close units at once. A unit that a danger closed already stays as it is; saying it twice changes nothing.

    Returns:
        The open outages of these units, old and new, in the order of the units.
    """
    there = {outage.unit_id: outage for outage in _open(session, [unit.id for unit in units])}
    stamp = int(said.at.timestamp())
    event = f"danger-{school.id}-{stamp}" if len(units) > 1 else None
    found = []
    for unit in units:
        outage = there.get(unit.id)
        if outage is None:
            outage = Outage(
                programme_id=school.programme_id,
                ref=f"danger-{unit.id}-{stamp}",
                unit_id=unit.id,
                source=said.source,
                cause=Cause.DANGER,
                start_at=said.at,
                event=event,
                said_by=said.person[:80],
                danger=said.danger,
                note=said.note[:200],
            )
            session.add(outage)
        found.append(outage)
    session.flush()  # the unique start of a danger must be held before the answer says "closed"
    return found


def _open(session: Session, unit_ids: Iterable[int]) -> list[Outage]:
    return list(
        session.scalars(
            select(Outage).where(
                Outage.unit_id.in_(list(unit_ids)), Outage.cause == Cause.DANGER, Outage.end_at.is_(None)
            )
        )
    )


def open_dangers(
    session: Session, *, programme_id: int | None = None, school_id: int | None = None
) -> list[OpenDanger]:
    """Dangers that are not ended, newest first, of a programme or a school; one query."""
    query = (
        select(Outage, Unit, School)
        .join(Unit, Unit.id == Outage.unit_id)
        .join(School, School.id == Unit.school_id)
        .where(Outage.cause == Cause.DANGER, Outage.end_at.is_(None))
        .order_by(Outage.start_at.desc(), Outage.id)
    )
    if programme_id is not None:
        query = query.where(Outage.programme_id == programme_id)
    if school_id is not None:
        query = query.where(Unit.school_id == school_id)
    return [OpenDanger(outage, unit, school) for outage, unit, school in session.execute(query)]
