"""A school with devices: a cabin with a counter and a meter, a machine, a tank, and a key to send with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

from flask.testing import FlaskClient
from sqlalchemy.orm import Session

from tests.make import make_programme, make_school, make_unit
from tracker import models as m
from tracker.records import channels
from tracker.vocabulary import Cause, Quantity, Signal, UnitKind
from tracker.web.security import token_hash

KEY = "a-key-for-tests"
FIRST = date(2026, 1, 1)
NOON = int(datetime(2026, 2, 3, 9, 0, tzinfo=UTC).timestamp())  # Tuesday 12:00 in the programme's zone (UTC+3)


@dataclass
class Devices:
    """The school and its units."""

    school: m.school.School
    cabin: m.units.Unit
    other: m.units.Unit
    machine: m.units.Unit
    tank: m.units.Unit


NEW_YEAR = datetime(2026, 1, 1, tzinfo=UTC)


def dial(session: Session, unit, quantity: Quantity, digits: int, step: int = 1, from_at: datetime = NEW_YEAR) -> None:
    session.add(
        m.units.Dial(
            unit_id=unit.id,
            quantity=quantity,
            from_at=from_at,
            digits=digits,
            step_ml=step,
            first_value=0,
        )
    )


def build_devices(session: Session) -> Devices:
    """Fill the database; the caller commits."""
    school = make_school(session, make_programme(session))
    cabin, other = make_unit(session, school), make_unit(session, school)
    machine = make_unit(session, school, kind=UnitKind.MACHINE)
    tank = make_unit(session, school, kind=UnitKind.TANK)
    dial(session, cabin, Quantity.VISITS, 4)
    dial(session, cabin, Quantity.LONG_VISITS, 4)
    dial(session, cabin, Quantity.WATER, 5, 10_000)  # a step is 10 litres
    dial(session, machine, Quantity.VENDS, 4)
    for name, unit, signal, cause, also in (
        ("visits", cabin, Signal.VISITS, None, ()),
        ("long", cabin, Signal.LONG_VISITS, None, ()),
        ("water", cabin, Signal.WATER, None, ()),
        ("vends", machine, Signal.VENDS, None, ()),
        ("level", tank, Signal.LEVEL, None, ()),
        ("low", tank, Signal.LOW_WATER, None, (cabin.id, other.id)),
        ("fault", cabin, Signal.FAULT, Cause.BROKEN, ()),
    ):
        channels.add_channel(session, school, channels.Wanted(name, unit.id, signal, cause, also, FIRST))
    channels.make_key(session, school, "box", token_hash(KEY), NEW_YEAR)
    return Devices(school, cabin, other, machine, tank)


def send(client: FlaskClient, pack, key: str = KEY, **more):
    """Send a pack as a device does: no cookie, no form token."""
    return client.post(
        "/api/readings",
        json=pack,
        headers={"Authorization": f"Bearer {key}"} if key else {},
        with_token=False,
        **more,
    )


def record(name: str, value: float | bool, after_s: float = 0, unit: str = "") -> dict[str, object]:
    """A record at noon, or so many seconds after it."""
    said = {"vb": value} if isinstance(value, bool) else {"v": value}
    return {"n": name, "t": NOON + after_s, **said, **({"u": unit} if unit else {})}
