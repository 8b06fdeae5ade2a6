"""Everything a report needs to know, gathered once: a constant number of queries for one school or for all.

``gather`` reads the frames for a term and the one before it; ``TermFacts`` is one term's share of them, with what
the measures make of it worked out once, when it is first asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import Any, Protocol, TypeVar
from zoneinfo import ZoneInfo

import pandas as pd

from tracker.measures import balance, sessions, supplies, visits
from tracker.measures.calendar import Scope, Span, week_of, weeks_covering
from tracker.measures.cleaning_water import beside_visits
from tracker.records import frames
from tracker.records.asked import listening
from tracker.records.stamp import Stamp, stamp
from tracker.reports import closed, term_rows
from tracker.reports.gathered import Days, Gathered, read
from tracker.reports.memory import Memory
from tracker.vocabulary import CABIN_LIKE, Quantity, UnitKind

MEMORY = Memory()
T = TypeVar("T")


class TermLike(Protocol):
    """A term as a row or as a head: what a report needs of it."""

    @property
    def id(self) -> int: ...
    @property
    def code(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def first_day(self) -> date: ...
    @property
    def last_day(self) -> date: ...


def end_of(last: date, as_of: datetime, zone: ZoneInfo) -> datetime:
    """The report's instant, or the end of a day where that was earlier: open outages run to it."""
    after = datetime.combine(last + timedelta(days=1), time(0), tzinfo=zone)
    return min(as_of, after.astimezone(UTC))


@dataclass(frozen=True, slots=True)
class Pair:
    """A term beside the one before it, where there is one, as known at ``as_of``; ``year``: the same term last year,
    where there is one and it is not the term before."""

    now: TermFacts
    last: TermFacts | None
    as_of: datetime
    year: TermFacts | None = None


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Whose facts are wanted, of which term (up to a day), and of which term before it."""

    programme_id: int
    school_ids: tuple[int, ...] | None
    term: frames.TermHead
    last_day: date
    previous: frames.TermHead | None


def gather(
    session: frames.Session,
    programme_id: int,
    term: TermLike,
    as_of: datetime,
    school_ids: tuple[int, ...] | None = None,
) -> Pair:
    """Read all frames once and lay them out for the term and the one before.

    While nothing is written, what was read for the same question is taken from memory; after a write only where the
    database answers as before.

    Args:
        as_of: the report's instant (aware). A running term is reported to that day; an ended one to its last.
    Raises:
        ValueError: the term has not begun by ``as_of``.
    """
    seen = stamp(session)
    head = frames.programme(session, programme_id)
    last_day = min(term.last_day, as_of.astimezone(ZoneInfo(head.zone)).date())
    if last_day < term.first_day:
        raise ValueError(f"term {term.code} has not begun; its first day is {term.first_day}")
    this = frames.TermHead(term.id, term.code, term.name, term.first_day, term.last_day)
    earlier = [other for other in frames.terms(session, programme_id) if other.last_day < term.first_day]
    wanted = _Wanted(programme_id, school_ids, this, last_day, earlier[-1] if earlier else None)

    found = _kept(session, seen, head, wanted).pair(as_of)
    year = term_rows.same_term_last_year(term.first_day, earlier[:-1])
    if year is None:
        return found
    alone = _Wanted(programme_id, school_ids, year, year.last_day, None)
    return replace(found, year=_kept(session, seen, head, alone).pair(as_of).now)


def _kept(session: frames.Session, seen: Stamp | None, head: frames.ProgrammeHead, wanted: _Wanted) -> _Kept:
    def renew(older: _Kept) -> _Kept:
        return older if older.asked.same(session) else _Kept(session, head, wanted, older)

    return MEMORY.get(seen, (head, wanted), lambda: _Kept(session, head, wanted), renew)


class _Kept:
    """What was read for one question. A pair is laid out anew only where the instant of the report matters."""

    def __init__(
        self, session: frames.Session, head: frames.ProgrammeHead, wanted: _Wanted, older: _Kept | None = None
    ) -> None:
        self.wanted = wanted
        first = wanted.previous.first_day if wanted.previous else wanted.term.first_day
        with listening(session) as self.asked:
            wide = frames.Scope(head.id, first, wanted.last_day, wanted.school_ids)
            self.all = read(session, head, wide, wanted.term.first_day)
            self.now = _known(session, wanted, wanted.term, wanted.last_day)
            self.last = _known(session, wanted, wanted.previous, wanted.previous.last_day) if wanted.previous else None
        due = self.all.sheets["due"]
        # Once every sheet was due, a later instant changes nothing.
        self.settled = due.max().to_pydatetime() if len(due) else None
        self.laid_out: tuple[datetime, TermFacts, TermFacts | None] | None = None
        self.closed: tuple[closed.Source, TermFacts] | None = older.closed if older else None

    def pair(self, as_of: datetime) -> Pair:
        """Both terms as known at an instant."""
        instant = as_of if self.settled is None else min(as_of, self.settled)
        found = self.laid_out
        if found is None or found[0] != instant:
            self.laid_out = found = (instant, *self._lay_out(instant))
        return Pair(found[1], found[2], as_of)

    def _lay_out(self, instant: datetime) -> tuple[TermFacts, TermFacts | None]:
        wanted = self.wanted
        days = Days(self.all, end_of(wanted.last_day, instant, self.all.zone))
        now = TermFacts(self.all, days, wanted.term, Span(wanted.term.first_day, wanted.last_day), instant, *self.now)
        if wanted.previous is None or self.last is None:
            return now, None
        before = Span(wanted.previous.first_day, wanted.previous.last_day)
        if self.laid_out is not None and self._all_due(before, min(instant, self.laid_out[0])):
            return now, self.laid_out[2]
        source = closed.source(self.all, days, before.last, self.last)
        found = self.closed
        if not (found and self._all_due(before, min(instant, found[1].as_of)) and found[0].same(source)):
            made = TermFacts(source.all, source.days, wanted.previous, before, instant, *self.last)
            self.closed = found = (source, made)
        return now, found[1]

    def _all_due(self, period: Span, instant: datetime) -> bool:
        """Whether every sheet of a period was due by an instant."""
        sheets = self.all.sheets
        due = sheets.loc[sheets["week"] <= pd.Timestamp(period.last), "due"]
        return bool((due <= pd.Timestamp(instant)).all())


def _known(
    session: frames.Session, wanted: _Wanted, term: frames.TermHead, last: date
) -> tuple[tuple[frames.SchoolHead, ...], pd.DataFrame, pd.DataFrame]:
    scope = frames.Scope(wanted.programme_id, term.first_day, last, wanted.school_ids)
    return frames.schools(session, scope), frames.units(session, scope), frames.on_hand(session, scope)


@dataclass(frozen=True, eq=False)
class TermFacts:
    """One term of a scope: its weeks, its units and its share of every frame.

    A running term's weekly records are those of the weeks whose last school day has come; what is kept by day runs
    to the day of the report.
    """

    all: Gathered
    days: Days
    term: TermLike
    period: Span
    as_of: datetime
    schools: tuple[frames.SchoolHead, ...]
    units: pd.DataFrame
    stock: pd.DataFrame

    @cached_property
    def figures(self) -> dict[str, Any]:
        """Figures that were worked out, by the key of their headline."""
        return {}

    @cached_property
    def _made(self) -> dict[str, Any]:
        return {}

    def once(self, key: str, make: Callable[[], T]) -> T:
        """What was made under this key, or is made now: tables that are opened again cost nothing."""
        if key not in self._made:
            self._made[key] = make()
        found: T = self._made[key]
        return found

    @property
    def zone(self) -> ZoneInfo:
        """The programme's zone."""
        return self.all.zone

    @property
    def settings(self) -> dict[str, int]:
        """The programme's settings in force on the report's day."""
        return self.all.settings

    @property
    def until(self) -> datetime:
        """The instant to which open outages run: the report's, or the end of the term's last day."""
        return end_of(self.period.last, self.as_of, self.zone)

    def days_of(self, frame: pd.DataFrame, column: str = "day") -> pd.DataFrame:
        """The rows of a frame whose day lies in the period."""
        first, last = pd.Timestamp(self.period.first), pd.Timestamp(self.period.last)
        return frame[(frame[column] >= first) & (frame[column] <= last)]

    def weeks_of(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The rows of a frame whose school and week belong to the period's whole weeks."""
        return frame.merge(self.occasions[["school_id", "week"]], on=["school_id", "week"])

    @cached_property
    def occasions(self) -> pd.DataFrame:
        """Frame ``occasions``: school-weeks with a school day, whole by the period's last day."""
        rows = self.all.calendar.occasions
        first = pd.Timestamp(self.period.first)
        inside = (rows["last_school_day"] >= first) & (rows["last_school_day"] <= pd.Timestamp(self.period.last))
        ids = {school.id for school in self.schools}
        return rows[inside & rows["school_id"].isin(ids)].reset_index(drop=True)

    @cached_property
    def weeks(self) -> list[date]:
        """The period's weeks by their first day, those without school included."""
        first = week_of(self.period.first, self.all.programme.first_weekday)
        return weeks_covering(first, self.period.last, self.all.programme.first_weekday)

    @cached_property
    def school_days(self) -> pd.DataFrame:
        """school_id, day, week of the period's school days."""
        ids = [school.id for school in self.schools]
        days = self.days_of(self.all.calendar.school_days)
        return days[days["school_id"].isin(ids)]

    @cached_property
    def scope(self) -> Scope:
        """What the uptime measures look at; school time of both terms, cut to the period by the measures."""
        return Scope(self.period, self.days.scope.times, self.zone, self.until)

    @cached_property
    def expected(self) -> pd.DataFrame:
        """Unit-weeks that should have visits: cabins, urinals and taps."""
        return visits.expected_unit_weeks(self.units, self.occasions)

    @cached_property
    def outages(self) -> pd.DataFrame:
        """Outages that touched the period, uncut."""
        rows = self.all.outages
        first = datetime.combine(self.period.first, time(0), tzinfo=self.zone)
        touched = (rows["start"] < pd.Timestamp(self.until)) & (
            rows["end"].isna() | (rows["end"] > pd.Timestamp(first))
        )
        return rows[touched]

    def _of_units(self, frame: pd.DataFrame) -> pd.DataFrame:
        return self.days_of(frame[frame["unit_id"].isin(self.units["unit_id"])])

    @cached_property
    def unit_days(self) -> pd.DataFrame:
        """One row per unit and school day of the period."""
        return self._of_units(self.days.unit_days)

    @cached_property
    def cabin_days(self) -> pd.DataFrame:
        """The same of cabins and urinals."""
        return self.of_kinds(self.unit_days, CABIN_LIKE)

    @cached_property
    def down(self) -> pd.DataFrame:
        """School minutes lost by unit, day and cause."""
        return self._of_units(self.days.down)

    @cached_property
    def water(self) -> pd.DataFrame:
        """Water by unit, week and part of the period's unit-weeks, from ``flush.unit_week_water``."""
        return self.all.water.merge(self.expected[["unit_id", "week"]], on=["unit_id", "week"])

    @cached_property
    def unit_weeks(self) -> pd.DataFrame:
        """Visits by unit and week of the period's unit-weeks, from ``visits.unit_weeks``."""
        return self.all.unit_weeks.merge(self.expected[["unit_id", "week"]], on=["unit_id", "week"])

    @cached_property
    def pupil_days(self) -> pd.DataFrame:
        """Pupils × school days by school and week."""
        return visits.pupil_days(self.all.enrolment, self.occasions)

    @cached_property
    def reach(self) -> pd.DataFrame:
        """Bounds of the pupils reached, from ``sessions.reach_by_group``."""
        return sessions.reach_by_group(self.sessions, self.attendance, self.all.enrolment)

    @staticmethod
    def of_kinds(frame: pd.DataFrame, kinds: Iterable[UnitKind]) -> pd.DataFrame:
        """Rows of units of these kinds."""
        return frame[frame["kind"].isin([kind.value for kind in kinds])]

    @cached_property
    def breaks(self) -> pd.DataFrame:
        """Frame ``breaks`` of the period."""
        return self.days_of(self.all.calendar.breaks)

    @cached_property
    def tallies(self) -> pd.DataFrame:
        """Frame ``tallies`` of the period's whole weeks."""
        weeks = set(self.occasions["week"])
        return self.all.tallies[self.all.tallies["week"].isin(weeks)]

    @cached_property
    def given(self) -> pd.DataFrame:
        """What each machine gave out in each week, from ``supplies.given_out_weeks``, with the school's code."""
        return self.weeks_of(self.all.given)

    @cached_property
    def machine_weeks(self) -> pd.DataFrame:
        """Frame ``machine_weeks`` of the period's whole weeks."""
        return self.weeks_of(self.all.machine_weeks)

    @cached_property
    def demand(self) -> pd.DataFrame:
        """Napkins asked for by school and school day, from ``supplies.demand_by_school``."""
        return supplies.demand_by_school(self.given, self.machine_weeks)

    @cached_property
    def cover(self) -> pd.DataFrame:
        """Per school with a machine or cupboard on record: on_hand, per_day, days_per_week, pack_size (NaN: not
        recorded)."""
        known = (self.stock, self.units, self.demand)
        return term_rows.cover(*known, self.occasions)

    @cached_property
    def balances(self) -> list[balance.MeterBalance]:
        """Meters of which everything they serve is listed, against the model."""
        rows = self.all.scopes
        first, last = pd.Timestamp(self.period.first), pd.Timestamp(self.period.last)
        served = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= first))]
        of_energy = self.all.readings.loc[self.all.readings["quantity"] == Quantity.ENERGY.value, "unit_id"]
        served = served[~served["meter_id"].isin(of_energy)]
        readings = self.all.readings[self.all.readings["day"] <= last]
        known = (self.units, served, readings, beside_visits(self.all.water, self.all.cleaning), self.occasions)
        return balance.meter_balance(*known, around=self.all.calendar.occasions, since=self.all.since)

    @cached_property
    def codes(self) -> dict[int, str]:
        """School id → code."""
        return {school.id: school.code for school in self.schools}

    @cached_property
    def route_states(self) -> pd.DataFrame:
        """What is known of each school day's disposal; a school without any route on record is not known."""
        return term_rows.route_states(self.all.routes, self.school_days, self.units, self.unit_days)

    @cached_property
    def sessions(self) -> pd.DataFrame:
        """Frame ``sessions`` of the period."""
        return self.days_of(self.all.sessions)

    @cached_property
    def attendance(self) -> pd.DataFrame:
        """Frame ``attendance`` of the period's lessons."""
        return self.all.attendance[self.all.attendance["session_id"].isin(self.sessions["session_id"])]

    @cached_property
    def sheets(self) -> pd.DataFrame:
        """Frame ``sheets`` of the period's whole weeks."""
        return self.weeks_of(self.all.sheets)

    @cached_property
    def queries(self) -> pd.DataFrame:
        """Frame ``queries`` of the period's whole weeks."""
        return self.weeks_of(self.all.queries)

    def school_name(self, school_id: int) -> str:
        """A school's name; its id where it has left the programme."""
        names = self.once("names of schools", lambda: {school.id: school.name for school in reversed(self.schools)})
        return names.get(school_id, str(school_id))
