"""What devices send: who may send, the channels of a school, and the periods, states and levels that are kept.

A pack's transaction holds the school's channels (locked in the order of their ids), so that two packs about one
channel come one after the other. Kept rows are maxima or plain facts; readings and outages with the source "device"
are made from them and can be made again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session, aliased

from tracker.measures.calendar import week_of
from tracker.models.channels import Channel, ChannelUnit, DeviceCounter, DeviceState, FeedToken
from tracker.models.outages import Outage, ServiceVisit
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.units import Dial
from tracker.models.usage import Level, Reading
from tracker.vocabulary import Cause, Quantity, Signal, Source

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


def sender_of(session: Session, token_hash: str) -> Sender | None:
    """The school whose devices send with this key; None for a key that is not, or no longer, in use."""
    row = session.execute(
        select(School.id, Programme.id, Programme.zone, Programme.first_weekday)
        .join(FeedToken, FeedToken.school_id == School.id)
        .join(Programme, Programme.id == School.programme_id)
        .where(FeedToken.token_hash == token_hash, FeedToken.ended_at.is_(None))
    ).first()
    return None if row is None else Sender(row[0], row[1], ZoneInfo(row[2]), row[3])


def channels_of(session: Session, school_id: int, names: Collection[str]) -> dict[str, ChannelInfo]:
    """The named channels of a school, by name; locked until the transaction ends."""
    rows = session.execute(
        select(Channel.__table__)
        .where(Channel.school_id == school_id, Channel.name.in_(names))
        .order_by(Channel.id)
        .with_for_update()
    ).all()
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
        rows = select(ChannelUnit.channel_id, ChannelUnit.unit_id).where(ChannelUnit.channel_id.in_(ids))
        for channel_id, unit_id in session.execute(rows.order_by(ChannelUnit.unit_id)):
            found[channel_id].append(unit_id)
    return found


def _dials(session: Session, unit_ids: Collection[int]) -> dict[tuple[int, Signal], list[DialSpan]]:
    found: dict[tuple[int, Signal], list[DialSpan]] = defaultdict(list)
    if unit_ids:
        columns = (Dial.unit_id, Dial.quantity, Dial.from_at, Dial.until_at, Dial.digits, Dial.step_ml)
        rows = select(*columns).where(Dial.unit_id.in_(unit_ids)).order_by(Dial.from_at)
        for row in session.execute(rows):
            span = DialSpan(row.from_at, row.until_at, row.digits, row.step_ml)
            found[row.unit_id, Signal(row.quantity.value)].append(span)
    return found


# --- counters -----------------------------------------------------------------------------------------------------


def kept_since(session: Session, channel: ChannelInfo, since: datetime) -> list[Kept]:
    """Periods of a counter from the last one before ``since`` on, in order."""
    earlier = aliased(DeviceCounter)
    last_before = (
        select(func.max(earlier.until_at))
        .where(earlier.channel_id == channel.id, earlier.until_at < since)
        .scalar_subquery()
    )
    rows = (
        select(DeviceCounter.until_at, DeviceCounter.highest, DeviceCounter.after_turn, Reading.value)
        .outerjoin(
            Reading,
            (Reading.unit_id == channel.unit_id)
            & (Reading.quantity == Quantity(channel.signal.value))
            & (Reading.source == Source.DEVICE)
            & (Reading.at == DeviceCounter.until_at),
        )
        .where(DeviceCounter.channel_id == channel.id, DeviceCounter.until_at >= func.coalesce(last_before, since))
        .order_by(DeviceCounter.until_at)
    )
    return [Kept(*row) for row in session.execute(rows)]


def save_periods(session: Session, channel: ChannelInfo, known: Collection[datetime], periods: Iterable[Kept]) -> None:
    """Write a counter's periods; those ``known`` are changed."""
    new = []
    for one in periods:
        values = {"highest": one.highest, "after_turn": one.after_turn}
        if one.until_at not in known:
            new.append({"channel_id": channel.id, "until_at": one.until_at, **values})
            continue
        which = (DeviceCounter.channel_id == channel.id) & (DeviceCounter.until_at == one.until_at)
        session.execute(update(DeviceCounter).where(which).values(**values), execution_options=_QUIET)
    if new:
        session.execute(insert(DeviceCounter), new)


def save_readings(
    session: Session, sender: Sender, channel: ChannelInfo, before: Mapping[datetime, int], now: Mapping[datetime, int]
) -> None:
    """Write the readings made of a counter's periods: value by instant, as they stood and as they are now."""
    quantity = Quantity(channel.signal.value)
    which = (Reading.unit_id == channel.unit_id) & (Reading.quantity == quantity) & (Reading.source == Source.DEVICE)
    for at, value in now.items():
        if at in before and before[at] != value:
            session.execute(
                update(Reading).where(which, Reading.at == at).values(value=value), execution_options=_QUIET
            )
    new = [
        {
            "unit_id": channel.unit_id,
            "quantity": quantity,
            "source": Source.DEVICE,
            "at": at,
            "day": sender.local(at).date(),
            "week": sender.week(sender.local(at).date()),
            "value": value,
        }
        for at, value in now.items()
        if at not in before
    ]
    if new:
        session.execute(insert(Reading), new)


# --- states and levels --------------------------------------------------------------------------------------------


def save_states(session: Session, channel: ChannelInfo, said: Mapping[datetime, bool]) -> None:
    """Keep what a state channel said; where it said both at one instant, on."""
    held = select(DeviceState.at, DeviceState.on).where(
        DeviceState.channel_id == channel.id, DeviceState.at.in_(list(said))
    )
    known = {row.at: row.on for row in session.execute(held)}
    for at in (at for at, on in said.items() if on and known.get(at) is False):
        which = (DeviceState.channel_id == channel.id) & (DeviceState.at == at)
        session.execute(update(DeviceState).where(which).values(on=True), execution_options=_QUIET)
    new = [{"channel_id": channel.id, "at": at, "on": on} for at, on in said.items() if at not in known]
    if new:
        session.execute(insert(DeviceState), new)


def _take_out(session: Session, ids: list[int]) -> None:
    """Outages that a late pack makes part of an earlier one; visits that were asked for them stay, without them."""
    if ids:
        visits = update(ServiceVisit).where(ServiceVisit.outage_id.in_(ids)).values(outage_id=None)
        session.execute(visits, execution_options=_QUIET)
        session.execute(delete(Outage).where(Outage.id.in_(ids)), execution_options=_QUIET)


def off_before(session: Session, channel: ChannelInfo, at: datetime) -> datetime | None:
    """When the channel last said "off" before an instant: what it said earlier no longer matters from there on."""
    off = select(func.max(DeviceState.at)).where(
        DeviceState.channel_id == channel.id, DeviceState.at < at, DeviceState.on.is_(False)
    )
    return session.scalar(off)


def states_of(session: Session, channel: ChannelInfo, since: datetime | None) -> list[tuple[datetime, bool]]:
    """What a state channel said from an instant on (None: ever), in order."""
    rows = select(DeviceState.at, DeviceState.on).where(DeviceState.channel_id == channel.id)
    if since is not None:
        rows = rows.where(DeviceState.at >= since)
    return [(at, on) for at, on in session.execute(rows.order_by(DeviceState.at))]


def save_outages(
    session: Session,
    sender: Sender,
    channel: ChannelInfo,
    since: datetime | None,
    intervals: Sequence[tuple[datetime, datetime | None]],
) -> None:
    """Make the channel's outages that began at ``since`` or later those of the intervals, for each unit it closes.

    A ref is made of the channel, the unit and the start, so that what stays the same keeps its row and its jobs.
    """
    mark = _mark(channel)
    by_ref = {outage.ref: outage for outage in _outages(session, channel, since)}
    wanted = {_ref(mark, unit, start): (unit, start, end) for start, end in intervals for unit in channel.closes}
    _take_out(session, [outage.id for ref, outage in by_ref.items() if ref not in wanted])
    changed = [(by_ref[ref], end) for ref, (_, _, end) in wanted.items() if ref in by_ref and by_ref[ref].end_at != end]
    # what ends or is cut comes before what goes on, so that no two ever overlap on the way
    for outage, end in sorted(changed, key=lambda one: (one[1] is None, one[0].start_at)):
        session.execute(update(Outage).where(Outage.id == outage.id).values(end_at=end), execution_options=_QUIET)
    new = [
        {
            "programme_id": sender.programme_id,
            "ref": ref,
            "unit_id": unit,
            "source": Source.DEVICE,
            "cause": channel.cause,
            "start_at": start,
            "end_at": end,
            "event": f"{mark}{int(start.timestamp() * 1_000_000):x}" if len(channel.closes) > 1 else None,
            "said_by": f"device {channel.name}"[:80],
        }
        for ref, (unit, start, end) in sorted(wanted.items())
        if ref not in by_ref
    ]
    if new:
        session.execute(insert(Outage), new)
    session.expire_all()


def people_ended(session: Session, channel: ChannelInfo, since: datetime | None) -> list[datetime]:
    """When people said that an outage of this channel was over, of which the channel itself has said nothing."""
    ends = {outage.end_at for outage in _outages(session, channel, since) if outage.end_at is not None}
    return sorted(ends - {at for at, on in states_of(session, channel, since) if not on})


def _outages(session: Session, channel: ChannelInfo, since: datetime | None) -> Sequence[Outage]:
    made = (Outage.source == Source.DEVICE) & Outage.ref.startswith(_mark(channel), autoescape=True)
    rows = select(Outage).where(Outage.unit_id.in_(channel.closes), made)
    return session.scalars(rows if since is None else rows.where(Outage.start_at >= since)).all()


def _mark(channel: ChannelInfo) -> str:
    return f"feed-{channel.id}-"


def _ref(mark: str, unit_id: int, start: datetime) -> str:
    return f"{mark}{unit_id}-{int(start.timestamp() * 1_000_000):x}"


def save_levels(session: Session, sender: Sender, channel: ChannelInfo, lowest: Mapping[date, int]) -> None:
    """Keep the lowest level (quarters) of each day that the device said."""
    held = select(Level.day, Level.quarters).where(
        Level.unit_id == channel.unit_id, Level.source == Source.DEVICE, Level.day.in_(list(lowest))
    )
    known = {row.day: row.quarters for row in session.execute(held)}
    for day in (day for day, quarters in lowest.items() if quarters < known.get(day, quarters)):
        which = (Level.unit_id == channel.unit_id) & (Level.source == Source.DEVICE) & (Level.day == day)
        session.execute(update(Level).where(which).values(quarters=lowest[day]), execution_options=_QUIET)
    new = [
        {"unit_id": channel.unit_id, "source": Source.DEVICE, "day": day, "quarters": quarters}
        for day, quarters in lowest.items()
        if day not in known
    ]
    if new:
        session.execute(insert(Level), new)


_QUIET = {"synchronize_session": False}
