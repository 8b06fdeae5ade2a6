"""Blocks, units, fittings, dials and agreements of a school: added, changed from a day on, ended."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.school import School
from tracker.models.units import Block, BlockGroup, Dial, Fitting, MeterScope, Unit, UnitWay
from tracker.records.history import DAY, SetupError, again, guard, put, stop, unused
from tracker.records.setup_facts import last_fact_day
from tracker.vocabulary import FLUSH_KINDS, VISITED, CountWay, FittingKind, Group, Quantity

NEEDS = {
    FittingKind.FLUSH_TWO_STAGE: {"long_ml": "a long visit's litres", "threshold_s": "seconds after which it is long"},
    FittingKind.FLOOR_WASH: {"every_n": "after how many visits it washes"},
    FittingKind.VACUUM: {"factor_permille": "the share of the flush it takes"},
}


def add_block(session: Session, school: School, values: Mapping[str, str], group: Group, day: date) -> Block:
    """A block (code, name) with whom it is for.

    Raises:
        SetupError: the code is taken.
    """
    unused(session, Block, "code", school_id=school.id, code=values["code"])
    block = Block(school_id=school.id, **values)
    session.add(block)
    session.flush()  # its group needs the id
    put(session, BlockGroup, [], {"block_id": block.id, "grp": group}, day)
    return block


def change_group(session: Session, school: School, block: Block, group: Group, day: date, *, reason: str) -> None:
    """From a day on a block is for another group.

    Raises:
        SetupError: a published report covers the day, or a change of that day exists, and no reason is given.
    """
    guard(session, school.programme_id, school.code, day, reason)
    rows = session.scalars(select(BlockGroup).where(BlockGroup.block_id == block.id)).all()
    put(session, BlockGroup, rows, {"block_id": block.id, "grp": group}, day, reason=reason)


def add_unit(session: Session, school: School, values: Mapping[str, Any], way: CountWay, *, reason: str) -> Unit:
    """A unit (block_id, code, name, kind, accessible, from_day) with the way its visits are counted.

    Raises:
        SetupError: the code is taken, the block is another school's, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, values["from_day"], reason)
    unused(session, Unit, "code", school_id=school.id, code=values["code"])
    block = session.get(Block, values["block_id"])
    if block is None or block.school_id != school.id:
        raise SetupError("block_id", "Choose a block of this school.")
    unit = Unit(school_id=school.id, **values)
    session.add(unit)
    session.flush()  # the way of counting needs the id
    counted = way if unit.kind in VISITED else CountWay.NONE
    put(session, UnitWay, [], {"unit_id": unit.id, "way": counted}, unit.from_day)
    return unit


def end_unit(session: Session, school: School, unit: Unit, last_day: date, *, reason: str) -> None:
    """A unit's last day in use; what is fitted to it ends with it.

    Raises:
        SetupError: before its first day, after an end on record, before something was recorded of it, or a reason
            is needed.
    """
    guard(session, school.programme_id, school.code, last_day, reason)
    _not_denied(session, unit, last_day)
    stop(session, unit, last_day)
    for fitting in session.scalars(select(Fitting).where(Fitting.unit_id == unit.id, Fitting.from_day <= last_day)):
        if fitting.until_day is None or fitting.until_day > last_day:
            fitting.until_day = last_day
    session.flush()


def _not_denied(session: Session, unit: Unit, last_day: date) -> None:
    """Refuse an end before the last day on which something was recorded of the unit."""
    last = last_fact_day(session, unit.id)
    if last is not None and last_day < last:
        raise SetupError(
            "last_day",
            f"Something was counted, read or seen at {unit.name} on {last.day} {last:%B %Y}. "
            "Write that day or a later one, or have that record corrected first.",
        )


def unit_again(session: Session, school: School, unit: Unit, last_day: date | None, *, reason: str) -> None:
    """Correct a unit's end: another last day, or None where it stands. What ended with it goes on as long.

    Raises:
        SetupError: it has not ended, no reason is given, or it would end before its start or its records.
    """
    ended = unit.until_day
    again(session, unit, last_day, reason=reason)
    if last_day is not None:
        _not_denied(session, unit, last_day)
    for fitting in session.scalars(select(Fitting).where(Fitting.unit_id == unit.id, Fitting.until_day == ended)):
        fitting.until_day = last_day
    for scope in session.scalars(select(MeterScope).where(MeterScope.unit_id == unit.id)):
        if last_day is not None and scope.until_day is None and scope.from_day <= last_day:
            scope.until_day = last_day
    session.flush()


def change_way(session: Session, school: School, unit: Unit, way: CountWay, day: date, *, reason: str) -> None:
    """From a day on a unit's visits are counted another way.

    Raises:
        SetupError: the unit has no counter, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    if way is CountWay.COUNTER and not _has_counter(session, unit):
        raise SetupError("way", "This unit has no visit counter on record. Add the counter first.")
    rows = session.scalars(select(UnitWay).where(UnitWay.unit_id == unit.id)).all()
    put(session, UnitWay, rows, {"unit_id": unit.id, "way": way}, day, reason=reason)


def _has_counter(session: Session, unit: Unit) -> bool:
    query = select(Dial.id).where(Dial.unit_id == unit.id, Dial.quantity == Quantity.VISITS)
    return session.scalar(query.limit(1)) is not None


def add_fitting(
    session: Session, school: School, unit: Unit, values: Mapping[str, Any], day: date, *, reason: str
) -> Fitting:
    """A part fitted from a day on; the former one of its kind (for a flush: any flush) ends the day before.

    Raises:
        SetupError: its kind needs a number that is missing, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, day, reason)
    kind = values["kind"]
    for name, what in NEEDS.get(kind, {}).items():
        if values.get(name) is None:
            raise SetupError(name, f"This kind needs {what}. Write a number.")
    if values.get("long_ml") is not None and values["long_ml"] < values["ml"]:
        raise SetupError("long_litres", "A long visit takes at least as much as a short one. Correct one of them.")
    kinds = FLUSH_KINDS if kind in FLUSH_KINDS else (kind,)
    rows = session.scalars(select(Fitting).where(Fitting.unit_id == unit.id, Fitting.kind.in_(kinds))).all()
    return put(session, Fitting, rows, {"unit_id": unit.id} | dict(values), day, reason=reason)


def end_fitting(session: Session, school: School, fitting: Fitting, last_day: date, *, reason: str) -> None:
    """A fitting's last day.

    Raises:
        SetupError: before its first day, after an end on record, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, last_day, reason)
    stop(session, fitting, last_day)


def fitting_again(session: Session, school: School, fitting: Fitting, last_day: date | None, *, reason: str) -> None:
    """Correct a fitting's end: another last day, or None where it is fitted still.

    Raises:
        SetupError: it has not ended, no reason is given, it would end before its start or after its unit, or another
            one took its place by then.
    """
    unit = session.get_one(Unit, fitting.unit_id)
    again(session, fitting, last_day, reason=reason, flush=False)
    if unit.until_day is not None and (last_day is None or last_day > unit.until_day):
        raise SetupError("last_day", f"The unit itself stood until {unit.until_day:%d %B %Y}. Write a day up to that.")
    kinds = FLUSH_KINDS if fitting.kind in FLUSH_KINDS else (fitting.kind,)
    later = select(Fitting).where(
        Fitting.unit_id == unit.id,
        Fitting.kind.in_(kinds),
        Fitting.from_day > fitting.from_day,
        Fitting.id != fitting.id,
    )
    with session.no_autoflush:
        following = session.scalar(later.order_by(Fitting.from_day).limit(1))
    if following is not None and (last_day is None or last_day >= following.from_day):
        latest = following.from_day - DAY
        raise SetupError("last_day", f"Another one took its place. Write a day up to {latest:%d %B %Y}.")
    session.flush()


def put_dial(
    session: Session, unit: Unit, values: Mapping[str, Any], at: datetime, last_value: int | None = None
) -> Dial:
    """A dial installed at an instant; the one there before is taken out at that moment with what it showed last.

    Args:
        values: quantity, digits, step_ml, u_permille, first_value.
    Raises:
        SetupError: there is a dial and its last value is missing or does not fit; a later dial is on record.
    """
    rows = select(Dial).where(Dial.unit_id == unit.id, Dial.quantity == values["quantity"]).order_by(Dial.from_at)
    there = list(session.scalars(rows))
    if there and there[-1].from_at >= at:
        raise SetupError("day", "A dial from a later time is on record. Look at the day and the time.")
    if values["first_value"] >= 10 ** values["digits"]:
        raise SetupError("first_value", "This does not fit on so many digits. Correct the value or the digits.")
    for old in there:
        if old.until_at is None:
            if last_value is None:
                raise SetupError("last_value", "Write what the old dial showed last.")
            if last_value >= 10**old.digits:
                raise SetupError("last_value", f"The old dial has {old.digits} digits. Correct the value.")
            old.until_at, old.last_value = at, last_value
    session.flush()
    dial = Dial(unit_id=unit.id, from_at=at, **values)
    session.add(dial)
    session.flush()
    return dial


def change_scope(session: Session, meter: Unit, served: Sequence[int], whole: bool, day: date) -> None:
    """From a day on a meter serves these units; what it served before ends the day before.

    Raises:
        SetupError: a change of the same day exists.
    """
    rows = list(session.scalars(select(MeterScope).where(MeterScope.meter_id == meter.id)))
    if any(row.from_day >= day for row in rows):
        raise SetupError("from_day", "A change from this day or a later one is on record. Choose a later day.")
    for row in rows:
        if row.until_day is None or row.until_day >= day:
            row.until_day = date.fromordinal(day.toordinal() - 1)
    session.flush()
    for unit_id in served:
        session.add(MeterScope(meter_id=meter.id, unit_id=unit_id, whole=whole, from_day=day))
    session.flush()


def put_agreement(
    session: Session, school: School, values: Mapping[str, Any], serials: Mapping[int, str], row: Agreement | None
) -> Agreement:
    """An agreement of a school, new or with new dates; ``serials`` by unit_id are the units under it.

    Raises:
        SetupError: the code is taken, the warranty ends before it starts, or a serial number is another unit's.
    """
    first, last = values.get("warranty_from"), values.get("warranty_until")
    if last is not None and (first is None or last < first):
        raise SetupError("warranty_until", "The warranty ends before it starts. Write both days.")
    if row is None:
        unused(session, Agreement, "code", programme_id=school.programme_id, code=values["code"])
        row = Agreement(programme_id=school.programme_id, school_id=school.id, **values)
        session.add(row)
    else:
        for name, value in values.items():
            setattr(row, name, value)
    session.flush()  # its units need the id
    there = {one.unit_id: one for one in session.scalars(select(AgreementUnit).filter_by(agreement_id=row.id))}
    _serials_apart(session, school, serials)
    for unit_id, serial in serials.items():
        one = there.get(unit_id)
        if one is None:
            session.add(AgreementUnit(agreement_id=row.id, unit_id=unit_id, serial=serial))
        elif serial and one.serial != serial:
            one.serial = serial
    session.flush()
    return row


def _serials_apart(session: Session, school: School, serials: Mapping[int, str]) -> None:
    """Refuse a serial number that another unit of the school has."""
    query = (
        select(Unit.id, Unit.name, AgreementUnit.serial)
        .join(AgreementUnit, AgreementUnit.unit_id == Unit.id)
        .where(Unit.school_id == school.id, AgreementUnit.serial.in_([one for one in serials.values() if one]))
    )
    for unit_id, name, serial in session.execute(query):
        if any(said == serial and other != unit_id for other, said in serials.items()):
            raise SetupError("serial", f"{name} has the serial number {serial}. Look at the plate of both units again.")
