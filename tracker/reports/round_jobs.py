"""What waits for the engineer at the schools of a round, so that one trip serves both where it can."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from tracker.measures import lost
from tracker.measures.calendar import Scope, Span
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.urgency import by_urgency, day_means
from tracker.measures.visits import unit_weeks
from tracker.records import dangers, faults, frames, jobs
from tracker.vocabulary import Basis, Source

PER_DAY = "visits"
RECORDS = "units out"
WEEK = pd.Timedelta(days=6)


@dataclass(frozen=True, slots=True)
class WaitingFault:
    """An open fault: its units, what it is, since when, and what each school day of delay costs.

    breaks_a_day: unit breaks lost a school day. visits: visits that cannot be made there a school day (modelled), with
    its interval; no value where no unit like it was tallied.
    """

    school_id: int
    school: str
    units: tuple[str, ...]
    what: str
    danger: bool
    only_accessible: bool
    since: datetime
    breaks_a_day: float
    visits: Figure


@dataclass(frozen=True, slots=True)
class WaitingVisit:
    """A school whose visit under its agreement is due."""

    school_id: int
    school: str
    last: date | None
    every_days: int


@dataclass(frozen=True, slots=True)
class EngineerSide:
    """Open faults by urgency and visits due; ``on_way``: ids of the schools that the round comes to."""

    faults: tuple[WaitingFault, ...]
    due: tuple[WaitingVisit, ...]
    on_way: frozenset[int]


@dataclass(slots=True)
class _Open:
    school_id: int
    school: str
    unit_ids: list[int]
    units: tuple[str, ...]
    what: str
    danger: bool
    only_accessible: bool
    since: datetime


def engineer_side(
    session: frames.Session,
    programme_id: int,
    at: datetime,
    schools: Collection[int],
    area_ids: set[int] | None = None,
) -> EngineerSide:
    """Open outages of a programme, the most urgent first, and visits due; a constant number of queries.

    Mean visits come from the tallied breaks, else the counted weeks, of the running term (in holidays: of the last one)
    while a unit worked.
    """
    zone = ZoneInfo(frames.programme(session, programme_id).zone)
    today = at.astimezone(zone).date()
    waiting = _open(session, programme_id, at, today, area_ids)
    due = tuple(
        WaitingVisit(one.school.id, one.school.name, one.last, one.every_days)
        for one in jobs.service_due(session, programme_id, today, area_ids)
    )
    ordered = _ordered(session, programme_id, at, zone, waiting) if waiting else ()
    return EngineerSide(ordered, due, frozenset(schools))


def _open(
    session: frames.Session, programme_id: int, at: datetime, today: date, area_ids: set[int] | None
) -> list[_Open]:
    found = []
    for fault in faults.open_faults(session, programme_id, at, today, area_ids):
        ids, names = [unit.id for unit in fault.units], tuple(unit.name for unit in fault.units)
        found.append(
            _Open(fault.school.id, fault.school.name, ids, names, fault.cause.value, False, fault.only_accessible,
                  fault.since)
        )  # fmt: skip
    groups: dict[tuple[int, str], list[dangers.OpenDanger]] = {}
    for one in dangers.open_dangers(session, programme_id=programme_id):
        if area_ids is None or one.school.area_id in area_ids:
            groups.setdefault((one.school.id, one.outage.event or one.outage.ref), []).append(one)
    for group in groups.values():
        first = group[0]
        what = first.outage.danger.value if first.outage.danger else "danger"
        ids, names = [one.unit.id for one in group], tuple(one.unit.name for one in group)
        found.append(_Open(first.school.id, first.school.name, ids, names, what, True, False, first.outage.start_at))
    return found


def _ordered(
    session: frames.Session, programme_id: int, at: datetime, zone: ZoneInfo, waiting: list[_Open]
) -> tuple[WaitingFault, ...]:
    today = at.astimezone(zone).date()
    begun = [term for term in frames.terms(session, programme_id) if term.first_day <= today]
    first = begun[-1].first_day if begun else today
    last = min(begun[-1].last_day, today) if begun else today
    scope = frames.Scope(programme_id, first, last, tuple(sorted({one.school_id for one in waiting})))
    units = frames.units(session, scope)
    means, days = _means(session, scope, zone, at, units)
    out = _out(waiting, units)
    table = by_urgency(out, faults.breaks_a_day(session, programme_id, today), means, units, days)
    return tuple(_fault(row, waiting[row.fault]) for row in rows_of(table))


def _means(
    session: frames.Session, scope: frames.Scope, zone: ZoneInfo, at: datetime, units: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Mean visits of units at a tallied break, and on a school day, while they worked."""
    tallies, outages = frames.tallies(session, scope), frames.outages(session, scope, zone)
    held = frames.school_calendar(session, scope, zone)
    seen = tallies[["unit_id", "day"]].drop_duplicates()
    seen = seen.merge(units[["unit_id", "school_id", "school"]], on="unit_id").assign(observed=True)
    looked = Scope(Span(scope.first_day, scope.last_day), {}, zone, at)
    table = lost.unit_breaks(outages, held.breaks, seen, looked)
    usage, readings = frames.usage(session, scope), frames.readings(session, scope, zone)
    preferred = {int(unit): Source(source) for unit, source in zip(units["unit_id"], units["source"], strict=True)}
    weeks = unit_weeks(units, usage, tallies, held.occasions, readings, preferred=preferred, since=scope.first_day)
    weeks = weeks.merge(units[["unit_id", "school_id"]], on="unit_id")
    whole = held.occasions[held.occasions["week"] <= pd.Timestamp(scope.last_day) - WEEK]
    return lost.mean_visits(table, tallies), day_means(weeks, whole, outages)


def _out(waiting: list[_Open], units: pd.DataFrame) -> pd.DataFrame:
    known = units.drop_duplicates("unit_id").set_index("unit_id")
    rows = [
        {
            "fault": number,
            "unit_id": unit,
            "school_id": one.school_id,
            "kind": str(known["kind"].get(unit, "")),
            "group": str(known["group"].get(unit, "")),
            "danger": one.danger,
            "only_accessible": one.only_accessible,
            "since": one.since,
        }
        for number, one in enumerate(waiting)
        for unit in one.unit_ids
    ]
    return pd.DataFrame(rows)


def _fault(row: Any, one: _Open) -> WaitingFault:
    known = int(row.known) + int(row.like)
    visits = not_recorded(PER_DAY, Basis.MODELLED, expected=int(row.units), records=RECORDS)
    if known:
        visits = Figure(
            float(row.visits_a_day), PER_DAY, Basis.MODELLED, float(row.low), float(row.high), known, int(row.units),
            RECORDS,
        )  # fmt: skip
    return WaitingFault(
        one.school_id, one.school, one.units, one.what, one.danger, one.only_accessible, one.since,
        float(row.breaks_a_day), visits,
    )  # fmt: skip
