"""Setting up what devices report: channels of a school's units, and the keys that its devices send with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from tracker.models.channels import Channel, ChannelUnit, DeviceCounter, DeviceState, FeedToken
from tracker.models.school import School
from tracker.models.units import Dial, Unit
from tracker.models.usage import Level
from tracker.records.feed import COUNTERS, STATES
from tracker.records.history import SetupError
from tracker.vocabulary import Cause, Quantity, Signal, Source, UnitKind


@dataclass(frozen=True, slots=True)
class Wanted:
    """A channel to be set up. ``also``: other units that are out of use while it says so."""

    name: str
    unit_id: int
    signal: Signal
    cause: Cause | None
    also: tuple[int, ...]
    from_day: date


@dataclass(frozen=True, slots=True)
class ChannelLine:
    """A channel with its unit, the other units it closes, and the latest time for which something was heard."""

    channel: Channel
    unit: Unit
    also: tuple[Unit, ...]
    heard: datetime | date | None


def channels_of(session: Session, school: School) -> list[ChannelLine]:
    """A school's channels by name, ended ones too."""
    rows = session.execute(
        select(Channel, Unit).join(Unit, Unit.id == Channel.unit_id).where(Channel.school_id == school.id)
    ).all()
    ids = [channel.id for channel, _ in rows]
    also: dict[int, list[Unit]] = {}
    units = select(ChannelUnit.channel_id, Unit).join(Unit, Unit.id == ChannelUnit.unit_id)
    for channel_id, unit in session.execute(units.where(ChannelUnit.channel_id.in_(ids)).order_by(Unit.code)):
        also.setdefault(channel_id, []).append(unit)
    heard = _heard(session, ids) | _levels(session, [channel for channel, _ in rows])
    lines = [
        ChannelLine(channel, unit, tuple(also.get(channel.id, ())), heard.get(channel.id)) for channel, unit in rows
    ]
    return sorted(lines, key=lambda line: line.channel.name)


def _heard(session: Session, ids: Sequence[int]) -> dict[int, datetime | date]:
    found: dict[int, datetime | date] = {}
    for model, at in ((DeviceCounter, DeviceCounter.until_at), (DeviceState, DeviceState.at)):
        latest = select(model.channel_id, func.max(at)).where(model.channel_id.in_(ids)).group_by(model.channel_id)
        found |= {row[0]: row[1] for row in session.execute(latest)}
    return found


def _levels(session: Session, channels: Sequence[Channel]) -> dict[int, datetime | date]:
    of_unit = {channel.unit_id: channel.id for channel in channels if channel.signal is Signal.LEVEL}
    which = (Level.unit_id.in_(of_unit), Level.source == Source.DEVICE)
    latest = select(Level.unit_id, func.max(Level.day)).where(*which).group_by(Level.unit_id)
    return {of_unit[unit_id]: day for unit_id, day in session.execute(latest)}


def add_channel(session: Session, school: School, wanted: Wanted) -> Channel:
    """Set up a channel.

    Raises:
        SetupError: the name is taken, the unit has no such dial, or another channel reports the same.
    """
    unit = session.get(Unit, wanted.unit_id)
    if unit is None or unit.school_id != school.id:
        raise SetupError("unit_id", "Choose a unit of this school.")
    _name_is_free(session, school, wanted.name)
    _fits(session, unit, wanted)
    _said_once(session, school, wanted)
    channel = Channel(
        school_id=school.id,
        name=wanted.name,
        unit_id=unit.id,
        signal=wanted.signal,
        cause=wanted.cause if wanted.signal is Signal.FAULT else None,
        from_day=wanted.from_day,
    )
    session.add(channel)
    session.flush()
    if wanted.signal in STATES:
        session.add_all(
            ChannelUnit(channel_id=channel.id, unit_id=unit_id) for unit_id in wanted.also if unit_id != unit.id
        )
    session.flush()
    return channel


def _name_is_free(session: Session, school: School, name: str) -> None:
    if session.scalar(select(Channel.id).where(Channel.school_id == school.id, Channel.name == name)) is not None:
        raise SetupError("name", "This name is taken at the school. Give another, even if the channel has ended.")


def _fits(session: Session, unit: Unit, wanted: Wanted) -> None:
    if wanted.signal in COUNTERS:
        quantity = Quantity(wanted.signal.value)
        dial = select(Dial.id).where(Dial.unit_id == unit.id, Dial.quantity == quantity).limit(1)
        if session.scalar(dial) is None:
            raise SetupError("unit_id", "This unit has no dial or counter of that kind. Record the dial first.")
    if wanted.signal is Signal.LOW_WATER and unit.kind is not UnitKind.TANK:
        raise SetupError("unit_id", "Low water is reported of a tank. Choose the tank, and below what it feeds.")
    if wanted.signal is Signal.LEVEL and unit.kind not in (UnitKind.TANK, UnitKind.INCINERATOR):
        raise SetupError("unit_id", "A level is reported of a tank, or of the bin beside an incinerator.")
    if wanted.signal is Signal.FAULT and wanted.cause is None:
        raise SetupError("cause", "Choose the cause that the fault stands for.")


def _said_once(session: Session, school: School, wanted: Wanted) -> None:
    """Two devices that report the same would be counted twice, or open the same outage twice."""
    in_use = (
        Channel.school_id == school.id,
        or_(Channel.until_day.is_(None), Channel.until_day >= wanted.from_day),
    )
    if wanted.signal not in STATES:
        same = select(Channel.name).where(*in_use, Channel.unit_id == wanted.unit_id, Channel.signal == wanted.signal)
        name = session.scalar(same)
    else:
        units = {wanted.unit_id, *wanted.also}
        cause = wanted.cause if wanted.signal is Signal.FAULT else Cause.LOW_WATER
        closes = select(ChannelUnit.channel_id).where(ChannelUnit.unit_id.in_(units))
        by_cause = Channel.cause == cause
        if cause is Cause.LOW_WATER:
            by_cause = or_(by_cause, Channel.signal == Signal.LOW_WATER)
        which = (Channel.signal.in_(STATES), by_cause, or_(Channel.unit_id.in_(units), Channel.id.in_(closes)))
        name = session.scalar(select(Channel.name).where(*in_use, *which))
    if name is not None:
        raise SetupError("signal", f"The channel {name} reports this already. End it first.")


def find_channel(session: Session, school: School, channel_id: int) -> Channel | None:
    """A channel of the school."""
    channel = session.get(Channel, channel_id)
    return channel if channel is not None and channel.school_id == school.id else None


def end_channel(channel: Channel, last_day: date) -> None:
    """From the day after the last nothing is taken for this channel.

    Raises:
        SetupError: the day is before the first.
    """
    if last_day < channel.from_day:
        raise SetupError("last_day", "The last day cannot be before the first.")
    channel.until_day = last_day


# --- keys ---------------------------------------------------------------------------------------------------------


def keys_of(session: Session, school: School) -> list[FeedToken]:
    """A school's keys, newest first."""
    rows = select(FeedToken).where(FeedToken.school_id == school.id).order_by(FeedToken.made_at.desc(), FeedToken.id)
    return list(session.scalars(rows))


def make_key(session: Session, school: School, label: str, token_hash: str, at: datetime) -> FeedToken:
    """Note a new key of a school's devices by its hash."""
    key = FeedToken(school_id=school.id, label=label, token_hash=token_hash, made_at=at)
    session.add(key)
    session.flush()
    return key


def find_key(session: Session, school: School, key_id: int) -> FeedToken | None:
    """A key of the school."""
    key = session.get(FeedToken, key_id)
    return key if key is not None and key.school_id == school.id else None


def end_key(key: FeedToken, at: datetime) -> None:
    """From now on nothing is taken with this key."""
    key.ended_at = key.ended_at or at
