"""School time: weeks, school days, breaks, and how many school minutes lie between two instants.

Days are local calendar days of the programme's zone; minutes of the day are local clock minutes; instants are
UTC, in whole minutes since 1970-01-01 00:00 UTC where they are numbers. A ``from_day`` is the first day, an
``until_day`` the last day (inclusive; None: still so). Nothing here knows today.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from tracker.vocabulary import DayMark

Minutes = npt.NDArray[np.int64]
WEEK = timedelta(days=7)
MIDNIGHT_MIN = 1440


@dataclass(frozen=True, slots=True)
class Span:
    """Days from ``first`` to ``last``, both included."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"a span of days runs backwards: {self.first} to {self.last}")

    def __contains__(self, day: date) -> bool:
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True)
class Term(Span):
    """A term: days on which school is held, unless closed."""


@dataclass(frozen=True, slots=True)
class Closure(Span):
    """Days on which this school is closed; the caller has chosen those that concern the school."""


@dataclass(frozen=True, slots=True)
class Hours:
    """School hours of one shift on one weekday (0 = Monday), in local clock minutes after midnight."""

    weekday: int
    opens_min: int
    closes_min: int
    from_day: date
    until_day: date | None
    shift: str

    def __post_init__(self) -> None:
        if not 0 <= self.opens_min < self.closes_min <= MIDNIGHT_MIN:
            raise ValueError(f"school hours must open before they close, within one day: {self}")


@dataclass(frozen=True, slots=True)
class BreakRule:
    """A daily interval of one shift on one weekday in which pupils may leave class."""

    code: str
    name: str
    weekday: int
    start_min: int
    end_min: int
    from_day: date
    until_day: date | None
    shift: str


@dataclass(frozen=True, slots=True)
class Mark:
    """What the coordinator said about one day."""

    day: date
    kind: DayMark


@dataclass(frozen=True, slots=True, order=True)
class SchoolDay:
    """The hours that one shift really had on one day; ``exam`` changes nothing in them."""

    day: date
    shift: str
    opens_min: int
    closes_min: int
    exam: bool = False


@dataclass(frozen=True, slots=True, order=True)
class Occasion:
    """One break of one day, with its instants (aware, UTC)."""

    day: date
    start: datetime
    end: datetime
    slot: str


@dataclass(frozen=True, slots=True)
class SchoolTime:
    """School time of one school as sorted disjoint [start, end) intervals in minutes since the epoch.

    before: school minutes before each interval, with the total at the end (one longer than ``starts``).
    days: the local day of each interval, as ``datetime64[D]``.
    """

    starts: Minutes
    ends: Minutes
    before: Minutes
    days: npt.NDArray[np.datetime64]
    zone: ZoneInfo


@dataclass(frozen=True, slots=True)
class Scope:
    """What a report looks at: days of the period, school time by school_id, the zone, the report's instant."""

    period: Span
    times: Mapping[int, SchoolTime]
    zone: ZoneInfo
    as_of: datetime


def week_of(day: date, first_weekday: int) -> date:
    """First day of the programme's week that holds a day; ``first_weekday`` is 0 for Monday to 6 for Sunday.

    Never the ISO week: 1 January belongs to the week that began before it.

    Raises:
        ValueError: ``first_weekday`` is not 0 to 6.

    >>> week_of(date(2027, 1, 1), 6)  # a Friday; weeks from Sunday
    datetime.date(2026, 12, 27)
    """
    if not 0 <= first_weekday <= 6:
        raise ValueError(f"the first weekday must be 0 (Monday) to 6 (Sunday), got {first_weekday}")
    return day - timedelta(days=(day.weekday() - first_weekday) % 7)


def weeks_covering(first: date, last: date, first_weekday: int) -> list[date]:
    """First days of the contiguous weeks that cover all days from ``first`` to ``last``, holidays included.

    Raises:
        ValueError: ``last`` is before ``first``.

    >>> weeks_covering(date(2024, 12, 30), date(2025, 1, 6), 0)
    [datetime.date(2024, 12, 30), datetime.date(2025, 1, 6)]
    """
    if last < first:
        raise ValueError(f"the days run backwards: {first} to {last}")
    start = week_of(first, first_weekday)
    return [start + WEEK * number for number in range((last - start).days // 7 + 1)]


def school_days(
    terms: Iterable[Term], hours: Iterable[Hours], closures: Iterable[Closure], marks: Iterable[Mark]
) -> list[SchoolDay]:
    """The days and hours on which each shift of one school was held, sorted by day, opening and shift.

    A day in a term, with hours in force, that is not closed. "lost" removes the day; "half" keeps the first
    half of each shift's hours, rounded down to a whole minute; "exam" is noted; "out of hours" changes
    nothing. Where two rows of hours of one shift and weekday are in force, the later ``from_day`` holds.

    >>> monday = date(2026, 1, 12)
    >>> hours = Hours(0, 480, 841, monday, None, "day")
    >>> school_days([Term(monday, monday)], [hours], [], [Mark(monday, DayMark.HALF)])
    [SchoolDay(day=datetime.date(2026, 1, 12), shift='day', opens_min=480, closes_min=660, exam=False)]
    """
    rows, closed = list(hours), list(closures)
    marked: dict[date, set[DayMark]] = {}
    for mark in marks:
        marked.setdefault(mark.day, set()).add(mark.kind)
    dates = {term.first + timedelta(days=n) for term in terms for n in range((term.last - term.first).days + 1)}
    found = [
        _held(day, row, marked.get(day, set()))
        for day in dates
        if DayMark.LOST not in marked.get(day, set()) and not any(day in closure for closure in closed)
        for row in _hours_on(rows, day)
    ]
    some = (held for held in found if held.closes_min > held.opens_min)  # half of one minute is no school
    return sorted(some, key=lambda held: (held.day, held.opens_min, held.shift))


def _held(day: date, row: Hours, kinds: set[DayMark]) -> SchoolDay:
    length = row.closes_min - row.opens_min
    kept = length // 2 if DayMark.HALF in kinds else length
    return SchoolDay(day, row.shift, row.opens_min, row.opens_min + kept, DayMark.EXAM in kinds)


def _in_force(row: Hours | BreakRule, day: date) -> bool:
    return row.weekday == day.weekday() and row.from_day <= day and (row.until_day is None or day <= row.until_day)


def _hours_on(rows: Sequence[Hours], day: date) -> list[Hours]:
    latest: dict[str, Hours] = {}
    for row in rows:
        if _in_force(row, day) and (row.shift not in latest or row.from_day > latest[row.shift].from_day):
            latest[row.shift] = row
    return list(latest.values())


def minute_of(instant: datetime) -> int:
    """Whole minutes since 1970-01-01 00:00 UTC, seconds cut off.

    Raises:
        ValueError: the instant has no zone.

    >>> minute_of(datetime(1970, 1, 1, 1, 0, 59, tzinfo=UTC))
    60
    """
    if instant.tzinfo is None:
        raise ValueError(f"an instant needs its zone: {instant}")
    return int(instant.timestamp() // 60)


def minutes_of(instants: npt.NDArray[np.datetime64], blank: int = 0) -> Minutes:
    """The same for an array of UTC instants; an empty one (NaT) becomes ``blank``.

    >>> minutes_of(np.array(["1970-01-01T01:00:59", "NaT"], dtype="datetime64[us]"), blank=7).tolist()
    [60, 7]
    """
    seconds = instants.astype("datetime64[s]").astype(np.int64)
    return np.where(np.isnat(instants), blank, seconds // 60).astype(np.int64)


@lru_cache(maxsize=4096)
def local_minute(day: date, minute: int, zone: ZoneInfo) -> int:
    """The instant of a local clock minute of a day, in minutes since the epoch.

    A clock time that comes twice (clocks set back) is the first of the two; one that never comes (clocks set
    forward) is read with the offset before the change. Minute 1440 is the next midnight.

    >>> local_minute(date(1970, 1, 2), 0, ZoneInfo("UTC"))
    1440
    """
    return minute_of(datetime.combine(day, time(0), tzinfo=zone) + timedelta(minutes=minute))


def school_time(days: Iterable[SchoolDay], zone: ZoneInfo) -> SchoolTime:
    """School time of one school: hours of all shifts united day by day, daylight saving included."""
    pieces: list[tuple[int, int, date]] = []
    for held in sorted(days, key=lambda one: (one.day, one.opens_min, one.closes_min)):
        start, end = (local_minute(held.day, minute, zone) for minute in (held.opens_min, held.closes_min))
        if end <= start:  # hours swallowed by a change of the clock
            continue
        if pieces and pieces[-1][2] == held.day and start <= pieces[-1][1]:
            pieces[-1] = (pieces[-1][0], max(end, pieces[-1][1]), held.day)
        else:
            pieces.append((start, end, held.day))
    starts = np.array([piece[0] for piece in pieces], dtype=np.int64)
    ends = np.array([piece[1] for piece in pieces], dtype=np.int64)
    before = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(ends - starts)])
    return SchoolTime(starts, ends, before, np.array([piece[2] for piece in pieces], "datetime64[D]"), zone)


def minutes_before(time: SchoolTime, instants: Minutes) -> Minutes:
    """School minutes before each instant (minutes since the epoch): one search, however long the term."""
    if not len(time.starts):
        return np.zeros_like(instants, dtype=np.int64)
    at = np.searchsorted(time.starts, instants, side="right") - 1
    held = np.maximum(at, 0)
    within = np.minimum(instants, time.ends[held]) - time.starts[held]
    return np.where(at < 0, 0, time.before[held] + within).astype(np.int64)


def minutes_between(time: SchoolTime, starts: Minutes, ends: Minutes) -> Minutes:
    """School minutes between arrays of instants (minutes since the epoch), element by element.

    Raises:
        ValueError: an end is before its start.
    """
    if np.any(np.asarray(ends) < np.asarray(starts)):
        raise ValueError("an interval ends before it starts")
    return minutes_before(time, ends) - minutes_before(time, starts)


def scheduled_minutes(time: SchoolTime, start: datetime, end: datetime) -> int:
    """Scheduled school minutes between two instants (aware; seconds are cut off).

    Raises:
        ValueError: the end is before the start, or an instant has no zone.

    >>> held = school_time([SchoolDay(date(2026, 1, 12), "day", 480, 840)], ZoneInfo("UTC"))
    >>> seven, half_past_nine = (datetime(2026, 1, 12, *clock, tzinfo=UTC) for clock in ((7, 0), (9, 30)))
    >>> scheduled_minutes(held, seven, half_past_nine)
    90
    """
    ends = np.array([minute_of(start), minute_of(end)], dtype=np.int64)
    return int(minutes_between(time, ends[:1], ends[1:])[0])


def school_days_in_week(days: Iterable[SchoolDay], week: date) -> list[date]:
    """The distinct school days, sorted, of the seven days from ``week`` on (two shifts are one day)."""
    return sorted({held.day for held in days if week <= held.day < week + WEEK})


def break_occasions(days: Iterable[SchoolDay], rules: Iterable[BreakRule], zone: ZoneInfo) -> list[Occasion]:
    """The breaks that took place, sorted: those that lie within their shift's hours of the day.

    So a half day loses its later breaks. Where two rules of one shift, code and weekday are in force, the
    later ``from_day`` holds.

    Raises:
        ValueError: two shifts have a break of one code on one day; records could not tell them apart.
    """
    known = list(rules)
    found: dict[tuple[date, str], Occasion] = {}
    for held in sorted(days):
        for rule in _breaks_on(known, held):
            if (held.day, rule.code) in found:
                raise ValueError(f"two shifts have a break {rule.code!r} on {held.day}; give them different codes")
            start, end = (
                datetime.fromtimestamp(local_minute(held.day, minute, zone) * 60, UTC)
                for minute in (rule.start_min, rule.end_min)
            )
            found[held.day, rule.code] = Occasion(held.day, start, end, rule.code)
    return sorted(found.values())


def _breaks_on(rules: Sequence[BreakRule], held: SchoolDay) -> list[BreakRule]:
    latest: dict[str, BreakRule] = {}
    for rule in rules:
        if rule.shift != held.shift or not _in_force(rule, held.day):
            continue
        if rule.code not in latest or rule.from_day > latest[rule.code].from_day:
            latest[rule.code] = rule
    return [r for r in latest.values() if held.opens_min <= r.start_min < r.end_min <= held.closes_min]


def draw_breaks(occasions: Iterable[Occasion], count: int, seed_text: str) -> list[Occasion]:
    """Draw breaks of a week without replacement, the same every time, on different days as far as possible.

    Occasions are put in the order of the SHA-256 of ``seed_text|YYYY-MM-DD|slot`` (hexadecimal). The first of
    each day that has none yet is taken; when every day has one, the next round begins. Fewer occasions than
    ``count``: all of them. The drawn ones come sorted by day and start.

    Raises:
        ValueError: ``count`` is negative.
    """
    if count < 0:
        raise ValueError(f"the number of breaks to draw cannot be negative, got {count}")
    rounds: dict[date, int] = {}
    ranked: list[tuple[int, int, Occasion]] = []
    for rank, occasion in enumerate(sorted(occasions, key=lambda one: _draw_key(one, seed_text))):
        turn = rounds.get(occasion.day, 0)
        rounds[occasion.day] = turn + 1
        ranked.append((turn, rank, occasion))
    return sorted(occasion for _, _, occasion in sorted(ranked)[:count])


def _draw_key(occasion: Occasion, seed_text: str) -> str:
    return hashlib.sha256(f"{seed_text}|{occasion.day.isoformat()}|{occasion.slot}".encode()).hexdigest()
