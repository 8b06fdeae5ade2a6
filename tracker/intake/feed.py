"""A pack of readings from a school's devices: checked whole, then kept whole, or refused whole with its reasons.

Kept is never finer than needed: water, energy and visits by the hour, vends by the day, long visits by the week.
Whatever the order in which packs come, and however often, the database ends up the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

from sqlalchemy.orm import Session

from tracker.intake.senml import Entry
from tracker.measures.feed_counter import Period, Run, low_part, readings_of, run_on
from tracker.records import feed, feed_states
from tracker.records.feed import ChannelInfo, Kept, Sender
from tracker.vocabulary import Signal

AHEAD: Final = timedelta(minutes=15)  # a device's clock may be wrong by so much
HOUR: Final = timedelta(hours=1)
MINUTE: Final = timedelta(minutes=1)
ML: Final = {"l": 1000, "m3": 1_000_000}
WATT_HOURS: Final = {"Wh": 1.0, "kWh": 1000.0, "J": 1 / 3600}
COUNTS: Final = ("", "count")
SHARES: Final = {"/": 1.0, "%": 100.0}
QUARTERS: Final = 4
UNITS: Final = {
    Signal.WATER: tuple(ML),
    Signal.ENERGY: tuple(WATT_HOURS),
    Signal.LEVEL: tuple(SHARES),
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a record cannot be taken, and what to do."""

    record: int
    name: str
    message: str


class RefusedPackError(ValueError):
    """A pack with records that cannot be taken; nothing of it was kept."""

    def __init__(self, refusals: list[Refusal]) -> None:
        super().__init__("nothing of the pack was kept")
        self.refusals = refusals


Found = dict[str, list[tuple[Entry, float | bool]]]


def take(session: Session, sender: Sender, entries: list[Entry], now: datetime) -> None:
    """Keep a pack's entries.

    Raises:
        RefusedPackError: with a sentence for each record that cannot be taken.
    """
    channels = feed.channels_of(session, sender.school_id, {entry.name for entry in entries})
    refusals: list[Refusal] = []
    values: Found = defaultdict(list)
    for entry in entries:
        message, value = _checked(sender, channels.get(entry.name), entry, now)
        if message:
            refusals.append(Refusal(entry.record, entry.name, message))
        values[entry.name].append((entry, value))
    if refusals:
        raise RefusedPackError(refusals)
    for name, said in sorted(values.items()):
        _keep(session, sender, channels[name], said)


def _keep(session: Session, sender: Sender, channel: ChannelInfo, said: list[tuple[Entry, float | bool]]) -> None:
    if channel.signal in feed.STATES:
        _keep_states(session, sender, channel, said)
    elif channel.signal is Signal.LEVEL:
        lowest: dict[date, int] = {}
        for entry, value in said:
            day = sender.local(entry.at).date()
            lowest[day] = min(int(value), lowest.get(day, QUARTERS))
        feed_states.save_levels(session, sender, channel, lowest)
    else:
        _keep_counter(session, sender, channel, said)


# --- checks -------------------------------------------------------------------------------------------------------


def _checked(sender: Sender, channel: ChannelInfo | None, entry: Entry, now: datetime) -> tuple[str, float | bool]:
    """What is wrong with an entry ("" for nothing), and its value in the channel's own terms."""
    if channel is None:
        return "No channel of this school has this name. Ask the programme to set it up, or correct the name.", 0
    message = _time(channel, sender.local(entry.at).date(), entry.at - now)
    if message:
        return message, 0
    if channel.signal in feed.STATES:
        return ("", entry.value) if isinstance(entry.value, bool) else ("This channel says yes or no. Send vb.", 0)
    if isinstance(entry.value, bool):
        return "This channel reports a number. Send v, not vb.", 0
    if entry.unit not in UNITS.get(channel.signal, COUNTS):
        return f"The unit does not fit. Send {_either(UNITS.get(channel.signal, COUNTS))}.", 0
    return _level(entry) if channel.signal is Signal.LEVEL else _count(sender, channel, entry)


def _either(units: Iterable[str]) -> str:
    return " or ".join(unit or "no unit" for unit in units)


def _time(channel: ChannelInfo, day: date, ahead: timedelta) -> str:
    if ahead > AHEAD:
        minutes = round(ahead.total_seconds() / 60)
        return f"The time is {minutes} minutes ahead. Set the device's clock, then send again."
    if day < channel.from_day or (channel.until_day is not None and day > channel.until_day):
        return "The channel was not in use on that day. Correct the time, or the days of the channel."
    return ""


def _level(entry: Entry) -> tuple[str, float | bool]:
    share = entry.value / SHARES[entry.unit]
    if not 0 <= share <= 1:
        return "A level is a share of full, from 0 to 1 (or 0 to 100 %).", 0
    return "", int(share * QUARTERS + 0.5)


def _count(sender: Sender, channel: ChannelInfo, entry: Entry) -> tuple[str, float | bool]:
    dial = channel.dial_at(period_end(sender, channel.signal, entry.at))
    if dial is None:
        return "No dial of this unit is on record for that time. Ask the programme to record the dial.", 0
    if entry.value < 0:
        return "A counter does not go below 0. Send what the counter shows.", 0
    steps = _steps(channel.signal, entry, dial.step)
    if steps is None:
        return "A counter shows whole numbers. Send what the counter shows.", 0
    if steps >= 10**dial.digits:
        return f"The dial on record has {dial.digits} digits. Send what the counter shows, or correct the dial.", 0
    return "", steps


def _steps(signal: Signal, entry: Entry, step: int) -> int | None:
    """Whole dial steps, cut down; None where a count is no whole number. A hair's breadth below a step is the step."""
    if signal is Signal.WATER:
        return int(entry.value * ML[entry.unit] / step + 1e-6)
    if signal is Signal.ENERGY:
        return int(entry.value * WATT_HOURS[entry.unit] / step + 1e-6)
    return int(entry.value) if entry.value == int(entry.value) else None


# --- counters -----------------------------------------------------------------------------------------------------


def period_end(sender: Sender, signal: Signal, at: datetime) -> datetime:
    """The last minute of the hour, day or week that a reading is kept under."""
    if signal not in (Signal.VENDS, Signal.LONG_VISITS):
        hour = at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        return hour + HOUR - MINUTE
    day = sender.local(at).date()
    if signal is Signal.LONG_VISITS:
        day = sender.week(day) + timedelta(days=6)
    return datetime.combine(day, time(23, 59), sender.zone).astimezone(UTC)


def _keep_counter(session: Session, sender: Sender, channel: ChannelInfo, said: Iterable[tuple[Entry, float]]) -> None:
    sent: dict[datetime, Kept] = {}
    for entry, value in said:
        until_at = period_end(sender, channel.signal, entry.at)
        dial = channel.dial_at(until_at)
        digits = dial.digits if dial is not None else 1
        one = Kept(until_at, int(value), low_part(int(value), digits), None)
        sent[until_at] = _both(sent[until_at], one) if until_at in sent else one
    held = feed.held_at(session, channel, sent)
    if all(at in held and _both(held[at], one) == held[at] for at, one in sent.items()):
        return  # a pack that came before: what is on record is not read again
    known = {one.until_at: one for one in feed.kept_since(session, channel, min(sent))}
    merged = {at: _both(known[at], one) if at in known else one for at, one in sent.items()}
    changed = [one for at, one in sorted(merged.items()) if one != known.get(at)]
    feed.save_periods(session, channel, known, changed)
    rows = [one for _, one in sorted({**known, **merged}.items())]
    before = {at: one.value for at, one in known.items() if one.value is not None}
    feed.save_readings(session, sender, channel, before, _values(channel, rows, changed[0].until_at))


def _both(held: Kept, sent: Kept) -> Kept:
    low = [one for one in (held.after_turn, sent.after_turn) if one is not None]
    return Kept(held.until_at, max(held.highest, sent.highest), max(low) if low else None, held.value)


def _values(channel: ChannelInfo, rows: list[Kept], since: datetime) -> Mapping[datetime, int]:
    """The dial's value at the end of each period from ``since`` on; a new dial begins with what it shows."""
    found: dict[datetime, int] = {}
    run: Run | None = None
    dial_before = None
    for one in rows:
        dial = channel.dial_at(one.until_at)
        if dial is None:
            continue
        period = Period(one.highest, one.after_turn)
        if one.until_at < since and one.value is not None:
            run = Run(one.value, readings_of(period, dial.digits)[-1])
        else:
            start = run if dial is dial_before else None
            run = list(run_on(start, [period], dial.digits))[-1]
            found[one.until_at] = run.value
        dial_before = dial
    return found


# --- states -------------------------------------------------------------------------------------------------------


def _keep_states(session: Session, sender: Sender, channel: ChannelInfo, said: Iterable[tuple[Entry, float]]) -> None:
    at: dict[datetime, bool] = {}
    for entry, value in said:
        at[entry.at] = at.get(entry.at, False) or bool(value)
    said_before = feed_states.states_at(session, channel, at)
    if all(said_before.get(moment) in (on, True) for moment, on in at.items()):
        return
    since = feed_states.off_before(session, channel, min(at))
    held = feed_states.states_since(session, channel, since)
    made = feed_states.outages_since(session, channel, since)
    # where the engineer has said "back in service", the channel must say anew that it is on
    by_people = {outage.end_at for outage in made if outage.end_at is not None} - {
        at for at, on in held.items() if not on
    }
    at |= {ended: at.get(ended, False) for ended in by_people}
    now = held | {moment: on or held.get(moment, False) for moment, on in at.items()}
    feed_states.save_states(session, channel, held, now)
    feed_states.save_outages(session, sender, channel, made, intervals(sorted(now.items())))


def intervals(states: Iterable[tuple[datetime, bool]]) -> list[tuple[datetime, datetime | None]]:
    """From when to when a state was on; None: it still is.

    >>> intervals([(1, False), (2, True), (3, True), (5, False), (8, True)])
    [(2, 5), (8, None)]
    """
    found: list[tuple[datetime, datetime | None]] = []
    for at, on in states:
        is_open = bool(found) and found[-1][1] is None
        if on and not is_open:
            found.append((at, None))
        elif not on and is_open:
            found[-1] = (found[-1][0], at)
    return found
