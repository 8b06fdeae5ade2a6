"""What devices send: who may send, the channels of a school, and what is kept of counters.

A pack's transaction holds the school's channels (locked in the order of their ids), so that two packs about one
channel come one after the other. Kept rows are maxima or plain facts; readings and outages with the source "device"
are made from them and can be made again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast
from zoneinfo import ZoneInfo

from sqlalchemy import Table, bindparam, func, insert, select, update
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.channels import Channel, ChannelUnit, DeviceCounter, FeedToken
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.units import Dial
from tracker.models.usage import Reading
from tracker.vocabulary import Cause, Quantity, Signal, Source

# Statements are built once: a busy feed runs each of them some hundred times a second.
SCHOOL_T, PROGRAMME_T, TOKEN_T = (cast(Table, one.__table__) for one in (School, Programme, FeedToken))
CHANNEL_T, CLOSES_T, DIAL_T = (cast(Table, one.__table__) for one in (Channel, ChannelUnit, Dial))
COUNTER_T, READING_T = (cast(Table, one.__table__) for one in (DeviceCounter, Reading))

COUNTERS = tuple(Signal(quantity.value) for quantity in Quantity)
STATES = (Signal.LOW_WATER, Signal.FAULT)


@dataclass(frozen=True, slots=True)
class Sender:
    """The school that a key belongs to, with its programme's calendar."""

    school_id: int
    programme_id: int
    zone: ZoneInfo
    first_weekday: int

    def local(self, at: datetime) -> datetime:
        """The local time of an instant."""
        return at.astimezone(self.zone)

    def week(self, day: date) -> date:
        """The programme's week that holds a day."""
        return week_of(day, self.first_weekday)


@dataclass(frozen=True, slots=True)
class DialSpan:
    """A dial as installed, as far as a counter needs it."""

    from_at: datetime
    until_at: datetime | None
    digits: int
    step: int

    def holds(self, at: datetime) -> bool:
        """Whether the dial was in place; at the moment of an exchange the new one is."""
        return self.from_at <= at and (self.until_at is None or at < self.until_at)


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """A channel: ``closes`` are the units that are out while it says so, its own first; ``dials`` earliest first."""

    id: int
    name: str
    unit_id: int
    signal: Signal
    cause: Cause
    from_day: date
    until_day: date | None
    closes: tuple[int, ...]
    dials: tuple[DialSpan, ...]

    def dial_at(self, at: datetime) -> DialSpan | None:
        """The dial that was in place at an instant."""
        return next((dial for dial in reversed(self.dials) if dial.holds(at)), None)


@dataclass(frozen=True, slots=True)
class Kept:
    """A counter's period on record, with the reading that was made of it (None: none was)."""

    until_at: datetime
    highest: int
    after_turn: int | None
    value: int | None


SENDER = (
    select(SCHOOL_T.c.id, PROGRAMME_T.c.id, PROGRAMME_T.c.zone, PROGRAMME_T.c.first_weekday)
    .join(TOKEN_T, TOKEN_T.c.school_id == SCHOOL_T.c.id)
    .join(PROGRAMME_T, PROGRAMME_T.c.id == SCHOOL_T.c.programme_id)
    .where(TOKEN_T.c.token_hash == bindparam("token_hash"), TOKEN_T.c.ended_at.is_(None))
)
CHANNELS = (
    select(CHANNEL_T)
    .where(CHANNEL_T.c.school_id == bindparam("school"), CHANNEL_T.c.name.in_(bindparam("names", expanding=True)))
    .order_by(CHANNEL_T.c.id)
    .with_for_update()
)
CLOSES = (
    select(CLOSES_T.c.channel_id, CLOSES_T.c.unit_id)
    .where(CLOSES_T.c.channel_id.in_(bindparam("ids", expanding=True)))
    .order_by(CLOSES_T.c.unit_id)
)
DIALS = (
    select(*(DIAL_T.c[name] for name in ("unit_id", "quantity", "from_at", "until_at", "digits", "step_ml")))
    .where(DIAL_T.c.unit_id.in_(bindparam("units", expanding=True)))
    .order_by(DIAL_T.c.from_at)
)


def sender_of(session: Session, token_hash: str) -> Sender | None:
    """The school whose devices send with this key; None for a key that is not, or no longer, in use."""
    row = session.connection().execute(SENDER, {"token_hash": token_hash}).first()
    return None if row is None else Sender(row[0], row[1], ZoneInfo(row[2]), row[3])


def channels_of(session: Session, school_id: int, names: Collection[str]) -> dict[str, ChannelInfo]:
    """The named channels of a school, by name; locked until the transaction ends."""
    rows = session.connection().execute(CHANNELS, {"school": school_id, "names": list(names)}).all()
    closes = _closes(session, [row.id for row in rows if row.signal in STATES])
    dials = _dials(session, [row.unit_id for row in rows if row.signal in COUNTERS])
    return {
        row.name: ChannelInfo(
            *(row.id, row.name, row.unit_id, row.signal, row.cause or Cause.LOW_WATER, row.from_day, row.until_day),
            (row.unit_id, *closes.get(row.id, ())),
            tuple(dials.get((row.unit_id, row.signal), ())),
        )
        for row in rows
    }


def _closes(session: Session, ids: Collection[int]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = defaultdict(list)
    if ids:
        for channel_id, unit_id in session.connection().execute(CLOSES, {"ids": ids}):
            found[channel_id].append(unit_id)
    return found


def _dials(session: Session, unit_ids: Collection[int]) -> dict[tuple[int, Signal], list[DialSpan]]:
    found: dict[tuple[int, Signal], list[DialSpan]] = defaultdict(list)
    if unit_ids:
        for row in session.connection().execute(DIALS, {"units": unit_ids}):
            span = DialSpan(row.from_at, row.until_at, row.digits, row.step_ml)
            found[row.unit_id, Signal(row.quantity.value)].append(span)
    return found


# --- counters -----------------------------------------------------------------------------------------------------

EARLIER_T = COUNTER_T.alias()
LAST_BEFORE = (
    select(func.max(EARLIER_T.c.until_at))
    .where(EARLIER_T.c.channel_id == bindparam("channel"), EARLIER_T.c.until_at < bindparam("since"))
    .scalar_subquery()
)
SAME_READING = (
    (READING_T.c.unit_id == bindparam("unit"))
    & (READING_T.c.quantity == bindparam("which"))
    & (READING_T.c.source == Source.DEVICE)
)
KEPT = (
    select(COUNTER_T.c.until_at, COUNTER_T.c.highest, COUNTER_T.c.after_turn, READING_T.c.value)
    .outerjoin(READING_T, SAME_READING & (READING_T.c.at == COUNTER_T.c.until_at))
    .where(
        COUNTER_T.c.channel_id == bindparam("channel"),
        COUNTER_T.c.until_at >= func.coalesce(LAST_BEFORE, bindparam("since")),
    )
    .order_by(COUNTER_T.c.until_at)
)
HELD = select(COUNTER_T.c.until_at, COUNTER_T.c.highest, COUNTER_T.c.after_turn).where(
    COUNTER_T.c.channel_id == bindparam("channel"), COUNTER_T.c.until_at.in_(bindparam("times", expanding=True))
)
CHANGE_PERIOD = (
    update(COUNTER_T)
    .where(COUNTER_T.c.channel_id == bindparam("channel"), COUNTER_T.c.until_at == bindparam("period"))
    .values(highest=bindparam("high"), after_turn=bindparam("low"))
)
NEW_PERIOD = insert(COUNTER_T)
CHANGE_READING = (
    update(READING_T).where(SAME_READING, READING_T.c.at == bindparam("when")).values(value=bindparam("shown"))
)
NEW_READING = insert(READING_T)


def held_at(session: Session, channel: ChannelInfo, times: Collection[datetime]) -> dict[datetime, Kept]:
    """Periods of a counter that end at these times, without the readings made of them."""
    rows = session.connection().execute(HELD, {"channel": channel.id, "times": list(times)})
    return {row.until_at: Kept(row.until_at, row.highest, row.after_turn, None) for row in rows}


def kept_since(session: Session, channel: ChannelInfo, since: datetime) -> list[Kept]:
    """Periods of a counter from the last one before ``since`` on, in order."""
    given = {"channel": channel.id, "since": since, "unit": channel.unit_id, "which": Quantity(channel.signal.value)}
    return [Kept(*row) for row in session.connection().execute(KEPT, given)]


def save_periods(session: Session, channel: ChannelInfo, known: Collection[datetime], periods: Iterable[Kept]) -> None:
    """Write a counter's periods; those ``known`` are changed."""
    new, changed = [], []
    for one in periods:
        if one.until_at in known:
            changed.append({"channel": channel.id, "period": one.until_at, "high": one.highest, "low": one.after_turn})
        else:
            new.append(
                {
                    "channel_id": channel.id,
                    "until_at": one.until_at,
                    "highest": one.highest,
                    "after_turn": one.after_turn,
                }
            )
    if changed:
        session.connection().execute(CHANGE_PERIOD, changed)
    if new:
        session.connection().execute(NEW_PERIOD, new)


def save_readings(
    session: Session, sender: Sender, channel: ChannelInfo, before: Mapping[datetime, int], now: Mapping[datetime, int]
) -> None:
    """Write the readings made of a counter's periods: value by instant, as they stood and as they are now."""
    quantity = Quantity(channel.signal.value)
    changed = [
        {"unit": channel.unit_id, "which": quantity, "when": at, "shown": value}
        for at, value in now.items()
        if at in before and before[at] != value
    ]
    new = [
        {
            "unit_id": channel.unit_id,
            "quantity": quantity,
            "source": Source.DEVICE,
            "at": at,
            "day": sender.local(at).date(),
            "week": sender.week(sender.local(at).date()),
            "value": value,
            "note": "",
        }
        for at, value in now.items()
        if at not in before
    ]
    if changed:
        session.connection().execute(CHANGE_READING, changed)
    if new:
        session.connection().execute(NEW_READING, new)
