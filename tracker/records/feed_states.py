"""What is kept of a device's yes and no, and of levels; outages with the source "device" are made of the first."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, cast

from sqlalchemy import Table, bindparam, delete, func, insert, select, update
from sqlalchemy.orm import Session

from tracker.models.channels import DeviceState
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.usage import Level
from tracker.records.feed import ChannelInfo, Sender
from tracker.vocabulary import Source

STATE_T, LEVEL_T = (cast(Table, one.__table__) for one in (DeviceState, Level))
OUTAGE_T, VISIT_T = (cast(Table, one.__table__) for one in (Outage, ServiceVisit))
OFF_BEFORE = select(func.max(STATE_T.c.at)).where(
    STATE_T.c.channel_id == bindparam("channel"), STATE_T.c.at < bindparam("moment"), STATE_T.c.on.is_(False)
)
STATES_SINCE = (
    select(STATE_T.c.at, STATE_T.c.on)
    .where(STATE_T.c.channel_id == bindparam("channel"), STATE_T.c.at >= bindparam("since"))
    .order_by(STATE_T.c.at)
)
STATES_AT = select(STATE_T.c.at, STATE_T.c.on).where(
    STATE_T.c.channel_id == bindparam("channel"), STATE_T.c.at.in_(bindparam("times", expanding=True))
)
TURN_ON = (
    update(STATE_T)
    .where(STATE_T.c.channel_id == bindparam("channel"), STATE_T.c.at == bindparam("moment"))
    .values(on=True)
)
NEW_STATE = insert(STATE_T)
OUTAGES_SINCE = select(OUTAGE_T.c.id, OUTAGE_T.c.ref, OUTAGE_T.c.start_at, OUTAGE_T.c.end_at).where(
    OUTAGE_T.c.unit_id.in_(bindparam("units", expanding=True)),
    OUTAGE_T.c.source == Source.DEVICE,
    OUTAGE_T.c.start_at >= bindparam("since"),
)
END_OUTAGE = update(OUTAGE_T).where(OUTAGE_T.c.id == bindparam("outage")).values(end_at=bindparam("ended"))
NEW_OUTAGE = insert(OUTAGE_T)
GONE: Any = bindparam("gone", expanding=True)
UNLINK = update(VISIT_T).where(VISIT_T.c.outage_id.in_(GONE)).values(outage_id=None)
TAKE_OUT = delete(OUTAGE_T).where(OUTAGE_T.c.id.in_(GONE))
LOWEST = select(LEVEL_T.c.day, LEVEL_T.c.quarters).where(
    LEVEL_T.c.unit_id == bindparam("unit"),
    LEVEL_T.c.source == Source.DEVICE,
    LEVEL_T.c.day.in_(bindparam("days", expanding=True)),
)
LOWER = (
    update(LEVEL_T)
    .where(
        LEVEL_T.c.unit_id == bindparam("unit"), LEVEL_T.c.source == Source.DEVICE, LEVEL_T.c.day == bindparam("when")
    )
    .values(quarters=bindparam("now"))
)
NEW_LEVEL = insert(LEVEL_T)
Wanted = tuple[int, datetime, datetime | None]  # unit, start, end
EVER = datetime(1970, 1, 1, tzinfo=UTC)


def off_before(session: Session, channel: ChannelInfo, at: datetime) -> datetime:
    """When the channel last said "off" before an instant: what it said earlier no longer matters from there on."""
    found = session.connection().execute(OFF_BEFORE, {"channel": channel.id, "moment": at}).scalar()
    return found or EVER


def states_at(session: Session, channel: ChannelInfo, times: Collection[datetime]) -> dict[datetime, bool]:
    """What a state channel said at these instants."""
    rows = session.connection().execute(STATES_AT, {"channel": channel.id, "times": list(times)})
    return {row.at: row.on for row in rows}


def states_since(session: Session, channel: ChannelInfo, since: datetime) -> dict[datetime, bool]:
    """What a state channel said from an instant on, in order."""
    rows = session.connection().execute(STATES_SINCE, {"channel": channel.id, "since": since})
    return {row.at: row.on for row in rows}


def save_states(
    session: Session, channel: ChannelInfo, held: Mapping[datetime, bool], now: Mapping[datetime, bool]
) -> None:
    """Keep what a state channel said, as it stood and as it is now."""
    turned = [{"channel": channel.id, "moment": at} for at, on in now.items() if on and held.get(at) is False]
    new = [{"channel_id": channel.id, "at": at, "on": on} for at, on in now.items() if at not in held]
    if turned:
        session.connection().execute(TURN_ON, turned)
    if new:
        session.connection().execute(NEW_STATE, new)


@dataclass(frozen=True, slots=True)
class Made:
    """An outage that was made of a state channel."""

    id: int
    ref: str
    start_at: datetime
    end_at: datetime | None


def outages_since(session: Session, channel: ChannelInfo, since: datetime) -> list[Made]:
    """The channel's outages that began at an instant or later."""
    rows = session.connection().execute(OUTAGES_SINCE, {"units": channel.closes, "since": since})
    return [Made(*row) for row in rows if row.ref.startswith(_mark(channel))]


def save_outages(
    session: Session,
    sender: Sender,
    channel: ChannelInfo,
    made: Sequence[Made],
    intervals: Sequence[tuple[datetime, datetime | None]],
) -> None:
    """Make the channel's outages ``made`` those of the intervals, one for each unit that it closes.

    A ref is made of the channel, the unit and the start, so that what stays the same keeps its row and its jobs.
    """
    by_ref = {outage.ref: outage for outage in made}
    wanted = {_ref(channel, unit, start): (unit, start, end) for start, end in intervals for unit in channel.closes}
    gone = [outage.id for outage in made if outage.ref not in wanted]
    if gone:  # a late pack made them part of an earlier one; visits that were asked for stay, without them
        session.connection().execute(UNLINK, {"gone": gone})
        session.connection().execute(TAKE_OUT, {"gone": gone})
    changed = [(by_ref[ref], end) for ref, (_, _, end) in wanted.items() if ref in by_ref and by_ref[ref].end_at != end]
    # what ends comes before what goes on, so that no two ever overlap on the way
    for outage, end in sorted(changed, key=lambda one: (one[1] is None, one[0].start_at)):
        session.connection().execute(END_OUTAGE, {"outage": outage.id, "ended": end})
    new = [_outage(sender, channel, ref, wanted[ref]) for ref in sorted(wanted) if ref not in by_ref]
    if new:
        session.connection().execute(NEW_OUTAGE, new)


def _outage(sender: Sender, channel: ChannelInfo, ref: str, wanted: Wanted) -> dict[str, object]:
    unit_id, start, end = wanted
    return {
        "programme_id": sender.programme_id,
        "ref": ref,
        "unit_id": unit_id,
        "source": Source.DEVICE,
        "cause": channel.cause,
        "start_at": start,
        "end_at": end,
        "event": f"{_mark(channel)}{_micros(start):x}" if len(channel.closes) > 1 else None,
        "said_by": f"device {channel.name}"[:80],
        "checked_by": "",
        "note": "",
    }


def _mark(channel: ChannelInfo) -> str:
    return f"feed-{channel.id}-"


def _ref(channel: ChannelInfo, unit_id: int, start: datetime) -> str:
    return f"{_mark(channel)}{unit_id}-{_micros(start):x}"


def _micros(at: datetime) -> int:
    return int(at.timestamp() * 1_000_000)


def save_levels(session: Session, sender: Sender, channel: ChannelInfo, lowest: Mapping[date, int]) -> None:
    """Keep the lowest level (quarters) of each day that the device said."""
    held = session.connection().execute(LOWEST, {"unit": channel.unit_id, "days": list(lowest)})
    known = {row.day: row.quarters for row in held}
    lower = [
        {"unit": channel.unit_id, "when": day, "now": quarters}
        for day, quarters in lowest.items()
        if quarters < known.get(day, quarters)
    ]
    new = [
        {"unit_id": channel.unit_id, "source": Source.DEVICE, "day": day, "quarters": quarters}
        for day, quarters in lowest.items()
        if day not in known
    ]
    if lower:
        session.connection().execute(LOWER, lower)
    if new:
        session.connection().execute(NEW_LEVEL, new)
