"""Tanks, cleaning, hand flushes, energy and plates of a school: said from a day on; deliveries, sun and ash noted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.disposal import BurnOutput, IncineratorRating
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.units import Unit
from tracker.models.usage import WaterDelivery
from tracker.models.water import CleaningPlan, EnergyGiven, HandFlush, PowerUse, Tank, TankScope
from tracker.records.history import DAY, SetupError, guard, put, stop
from tracker.vocabulary import EnergySource, PowerPart

# what is the same thing of a unit, so that a new row takes over from the one before
SAME: dict[type[Any], tuple[str, ...]] = {
    Tank: (),
    CleaningPlan: ("name",),
    HandFlush: (),
    PowerUse: ("part",),
    IncineratorRating: (),
}
LIGHT = ("watts", "seconds")


def say(
    session: Session,
    school: School,
    unit: Unit,
    model: type[Any],
    values: Mapping[str, Any],
    *,
    day: date,
    reason: str,
) -> None:
    """From a day on a tank, a cleaning cycle, a hand flush, a part's energy or a plate of a unit is so.

    Args:
        model: one of ``SAME``. values: its columns, without unit and days.
    Raises:
        SetupError: a number cannot be; or a published report covers the day, or a row of that day exists, and no
            reason is given.
    """
    _check(model, values)
    guard(session, school.programme_id, school.code, day, reason)
    alike = {name: values[name] for name in SAME[model]}
    rows = session.scalars(select(model).filter_by(unit_id=unit.id, **alike)).all()
    put(session, model, rows, {"unit_id": unit.id, **values}, day, reason=reason)


def _check(model: type[Any], values: Mapping[str, Any]) -> None:
    """What the database would refuse, said at its field.

    Raises:
        SetupError: as it says.
    """
    if model is Tank and values["capacity_ml"] <= 0:
        raise SetupError("litres", "Write how many litres it holds, more than 0.")
    shares = [int(values.get(f"share_{name}permille") or 0) for name in ("low_", "", "high_")]
    if model is HandFlush and shares != sorted(shares):
        raise SetupError("share", "The share lies between its low and its high end. Correct one of the three.")
    if model is IncineratorRating and all(number is None for number in values.values()):
        raise SetupError("pads", "Write at least one number of the maker's plate.")


def end(session: Session, school: School, row: Any, last_day: date, *, reason: str) -> None:
    """The last day of such a row.

    Raises:
        SetupError: it would end before it began, has ended earlier, or a reason is needed.
    """
    guard(session, school.programme_id, school.code, last_day, reason)
    stop(session, row, last_day)


def power_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """A part's numbers: light and fan have watts and seconds of a visit, the others energy; the rest is left out.

    Raises:
        SetupError: a number that the part needs is missing.
    """
    light = values["part"] is PowerPart.LIGHT_FAN
    for name in LIGHT if light else ("wh_thousandths",):
        if values[name] is None:
            field = "watt_hours" if name == "wh_thousandths" else name
            raise SetupError(field, "This part needs this number. Write what the plate or a measurement says.")
    left_out = ("wh_thousandths",) if light else LIGHT
    each = values["every_n"] if values["part"] is PowerPart.TREATMENT and values["every_n"] else 1
    return {**values, **dict.fromkeys(left_out), "every_n": each}


def tank_serves(session: Session, tank: Unit, served: Sequence[int], whole: bool, day: date) -> None:
    """From a day on these units draw on a tank; what drew on it before ends the day before.

    Raises:
        SetupError: a change of the same day or a later one exists.
    """
    rows = list(session.scalars(select(TankScope).where(TankScope.tank_id == tank.id)))
    if any(row.from_day >= day for row in rows):
        raise SetupError("from_day", "A change from this day or a later one is on record. Choose a later day.")
    for row in rows:
        if row.until_day is None or row.until_day >= day:
            row.until_day = day - DAY
    session.flush()
    session.add_all(TankScope(tank_id=tank.id, unit_id=one, whole=whole, from_day=day) for one in served)
    session.flush()


def note_delivery(
    session: Session, school: School, tank: Unit, came: tuple[str, int], *, day: date, today: date
) -> None:
    """Water (how it came, mL) that was brought to a tank, caught or recovered.

    Raises:
        SetupError: the day is not over yet, the tank did not stand, or nothing came.
    """
    origin, ml = came
    _noted_on(tank, day, today)
    if ml <= 0:
        raise SetupError("litres", "Write how many litres came, more than 0.")
    start = f"N-{school.code}-{tank.code}-{day:%y%m%d}-"
    query = select(func.count()).select_from(WaterDelivery).where(WaterDelivery.programme_id == school.programme_id)
    number = (session.scalar(query.where(WaterDelivery.ref.like(f"{start}%"))) or 0) + 1
    row = WaterDelivery(programme_id=school.programme_id, ref=f"{start}{number}", tank_id=tank.id)
    row.day, row.origin, row.ml = day, origin, ml
    session.add(row)
    session.flush()


def note_energy(
    session: Session, school: School, meter: Unit, given: tuple[EnergySource, int, int], *, day: date, today: date
) -> None:
    """Energy (from where, Wh, per mille of uncertainty) of the week of a day that did not pass the meter.

    Raises:
        SetupError: the day is not over yet, the meter did not stand, or this week's is on record.
    """
    _noted_on(meter, day, today)
    origin, wh, u_permille = given
    week = _week(session, school, day)
    _once(session, EnergyGiven, meter_id=meter.id, week=week, origin=origin)
    session.add(EnergyGiven(meter_id=meter.id, week=week, origin=origin, wh=wh, u_permille=u_permille))
    session.flush()


def note_output(
    session: Session,
    school: School,
    unit: Unit,
    numbers: tuple[int | None, int | None],
    *,
    day: date,
    today: date,
) -> None:
    """Ash (g) and energy (Wh) of an incinerator in the week of a day.

    Raises:
        SetupError: neither is given, the day is not over yet, it did not stand, or this week's is on record.
    """
    _noted_on(unit, day, today)
    if numbers == (None, None):
        raise SetupError("ash_g", "Write the ash, the energy or both.")
    week = _week(session, school, day)
    _once(session, BurnOutput, unit_id=unit.id, week=week)
    session.add(BurnOutput(unit_id=unit.id, week=week, ash_g=numbers[0], energy_wh=numbers[1]))
    session.flush()


def _week(session: Session, school: School, day: date) -> date:
    programme = session.get_one(Programme, school.programme_id)
    return week_of(day, programme.first_weekday)


def _noted_on(unit: Unit, day: date, today: date) -> None:
    if day > today:
        raise SetupError("day", "This lies in the future. Write the day on which it came or was read.")
    if day < unit.from_day or (unit.until_day is not None and day > unit.until_day):
        raise SetupError("day", "The unit did not stand on this day. Correct the day.")


def _once(session: Session, model: type[Any], **key: Any) -> None:
    if session.scalar(select(model.id).filter_by(**key).limit(1)) is not None:
        raise SetupError("day", "This week is on record already. Choose a day of another week.")
