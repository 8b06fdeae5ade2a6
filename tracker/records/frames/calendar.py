"""School days, breaks and school time of many schools at once, from the stored school days."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.measures.calendar import SchoolDay as HeldDay
from tracker.measures.calendar import SchoolTime, local_minute, school_time
from tracker.models.school import DrawnBreak, SchoolBreak, SchoolDay, Shift
from tracker.records.frames.base import DAY, INSTANT, Scope, day_in, holds_in, read, schools_in, stored

HELD = {
    "school_id": "int64",
    "shift_id": "int64",
    "shift": "str",
    "day": DAY,
    "week": DAY,
    "opens_min": "int64",
    "closes_min": "int64",
}
RULES = {
    "shift_id": "int64",
    "slot": "str",
    "name": "str",
    "weekday": "int64",
    "start_min": "int64",
    "end_min": "int64",
    "from_day": DAY,
    "until_day": DAY,
}
DRAWN = {"school_id": "int64", "day": DAY, "slot": "str"}
BREAKS = {
    "school_id": "int64",
    "week": DAY,
    "day": DAY,
    "slot": "str",
    "start": INSTANT,
    "end": INSTANT,
    "drawn": "bool",
}
OCCASIONS = {"school_id": "int64", "week": DAY, "breaks": "int64", "school_days": "int64", "last_school_day": DAY}
SCHOOL_DAYS = {"school_id": "int64", "day": DAY, "week": DAY}


@dataclass(frozen=True, slots=True)
class SchoolCalendar:
    """What the stored school days say: ``held`` by shift, ``school_days``, ``breaks``, ``occasions`` (frames)."""

    held: pd.DataFrame
    school_days: pd.DataFrame
    breaks: pd.DataFrame
    occasions: pd.DataFrame
    zone: ZoneInfo

    def times(self, first: date, last: date, school_ids: tuple[int, ...]) -> dict[int, SchoolTime]:
        """School time of each school between two days; a school without school days has an empty one."""
        rows = self.held[(self.held["day"] >= pd.Timestamp(first)) & (self.held["day"] <= pd.Timestamp(last))]
        found: dict[int, list[HeldDay]] = {school: [] for school in school_ids}
        days = rows["day"].dt.date
        for school, day, shift, opens, closes in zip(
            rows["school_id"], days, rows["shift"], rows["opens_min"], rows["closes_min"], strict=True
        ):
            found.setdefault(int(school), []).append(HeldDay(day, shift, int(opens), int(closes)))
        return {school: school_time(held, self.zone) for school, held in found.items()}


def school_calendar(session: Session, scope: Scope, zone: ZoneInfo) -> SchoolCalendar:
    """School days, break occasions and their instants, in three queries.

    A break takes place where its rule is in force on the weekday and lies within its shift's hours of the day;
    of two rules of one shift and code the later ``from_day`` holds. Frames: ``school_days`` (school_id, day,
    week), ``breaks`` and ``occasions`` as in DEVELOPERS.md; ``occasions`` also has the week's last_school_day.
    """
    held = read(
        session,
        HELD,
        select(
            SchoolDay.school_id,
            SchoolDay.shift_id,
            Shift.code,
            stored(SchoolDay.day),
            stored(SchoolDay.week),
            SchoolDay.opens_min,
            SchoolDay.closes_min,
        )
        .join(Shift, Shift.id == SchoolDay.shift_id)
        .where(SchoolDay.school_id.in_(schools_in(scope)), day_in(SchoolDay.day, scope))
        .order_by(SchoolDay.school_id, SchoolDay.day, SchoolDay.opens_min),
    )
    school_days = held[list(SCHOOL_DAYS)].drop_duplicates(ignore_index=True)
    breaks = _breaks(held, _rules(session, scope), _drawn(session, scope), zone)
    return SchoolCalendar(held, school_days, breaks, _occasions(school_days, breaks), zone)


def _rules(session: Session, scope: Scope) -> pd.DataFrame:
    columns = (SchoolBreak.shift_id, SchoolBreak.code, SchoolBreak.name, SchoolBreak.weekday, SchoolBreak.start_min)
    rest = (SchoolBreak.end_min, SchoolBreak.from_day, SchoolBreak.until_day)
    query = select(*columns, *rest).join(Shift, Shift.id == SchoolBreak.shift_id)
    return read(session, RULES, query.where(Shift.school_id.in_(schools_in(scope)), holds_in(SchoolBreak, scope)))


def _drawn(session: Session, scope: Scope) -> pd.DataFrame:
    query = select(DrawnBreak.school_id, stored(DrawnBreak.day), DrawnBreak.slot)
    return read(session, DRAWN, query.where(DrawnBreak.school_id.in_(schools_in(scope)), day_in(DrawnBreak.day, scope)))


def _breaks(held: pd.DataFrame, rules: pd.DataFrame, drawn: pd.DataFrame, zone: ZoneInfo) -> pd.DataFrame:
    by_weekday: dict[tuple[int, int], list[Any]] = {}
    for rule in _rows(rules.sort_values("from_day")):
        until = pd.Timestamp.max if pd.isna(rule.until_day) else rule.until_day
        by_weekday.setdefault((rule.shift_id, rule.weekday), []).append((rule, until))
    marked = set(zip(drawn["school_id"], drawn["day"], drawn["slot"], strict=True))
    instants: dict[tuple[date, int], int] = {}
    rows = []
    for day in _rows(held):
        known = by_weekday.get((day.shift_id, day.day.weekday()), [])
        # Of two rules of one shift and code the later one holds: it comes last.
        for rule in {rule.slot: rule for rule, until in known if rule.from_day <= day.day <= until}.values():
            if day.opens_min <= rule.start_min and rule.end_min <= day.closes_min:
                ends = [_instant(instants, day.day.date(), minute, zone) for minute in (rule.start_min, rule.end_min)]
                place = (day.school_id, day.day, rule.slot)
                rows.append((day.school_id, day.week, day.day, rule.slot, *ends, place in marked))
    columns = zip(*sorted(rows, key=lambda row: (row[0], row[4], row[3])), strict=True) if rows else [()] * len(BREAKS)
    return pd.DataFrame(
        {name: _column(kind, cells) for (name, kind), cells in zip(BREAKS.items(), columns, strict=True)}
    )


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return frame.itertuples(index=False)


def _instant(known: dict[tuple[date, int], int], day: date, minute: int, zone: ZoneInfo) -> int:
    """Microseconds since 1970 of a local clock minute; each distinct one is worked out once."""
    if (day, minute) not in known:
        known[day, minute] = local_minute(day, minute, zone) * 60_000_000
    return known[day, minute]


def _column(kind: str, cells: Sequence[Any]) -> Any:
    if kind == INSTANT:
        return pd.DatetimeIndex(np.array(cells, dtype="int64").astype(DAY)).tz_localize("UTC")
    return pd.array(list(cells), dtype="str") if kind == "str" else np.array(cells, dtype=kind)


def _occasions(school_days: pd.DataFrame, breaks: pd.DataFrame) -> pd.DataFrame:
    key = ["school_id", "week"]
    weeks = school_days.groupby(key, as_index=False).agg(school_days=("day", "size"), last_school_day=("day", "max"))
    counts = breaks.groupby(key, as_index=False).agg(breaks=("slot", "size"))
    rows = weeks.merge(counts, on=key, how="left")
    rows["breaks"] = rows["breaks"].fillna(0)
    return rows[list(OCCASIONS)].astype(OCCASIONS)


def school_days_ahead(session: Session, scope: Scope) -> pd.DataFrame:
    """School days that are planned in the scope: school_id, day, week; one query. For what is still to come."""
    query = select(SchoolDay.school_id, SchoolDay.day, SchoolDay.week).distinct()
    return read(
        session,
        SCHOOL_DAYS,
        query.where(SchoolDay.school_id.in_(schools_in(scope)), day_in(SchoolDay.day, scope)).order_by(
            SchoolDay.school_id, SchoolDay.day
        ),
    )


def break_names(session: Session, scope: Scope) -> dict[tuple[int, str], str]:
    """(school_id, slot) → the break's name, of rules in force in the scope."""
    query = select(Shift.school_id, SchoolBreak.code, SchoolBreak.name).join(Shift, Shift.id == SchoolBreak.shift_id)
    query = query.where(Shift.school_id.in_(schools_in(scope)), holds_in(SchoolBreak, scope))
    return {(school, code): name for school, code, name in session.execute(query.order_by(SchoolBreak.from_day))}
