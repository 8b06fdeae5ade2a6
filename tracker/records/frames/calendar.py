"""School days, breaks and school time of many schools at once, from the stored school days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.measures.calendar import SchoolDay as HeldDay
from tracker.measures.calendar import SchoolTime, local_minute, school_time
from tracker.models.school import DrawnBreak, SchoolBreak, SchoolDay, Shift
from tracker.records.frames.base import DAY, INSTANT, Scope, day_in, holds_in, read, schools_in, stored

Whole: TypeAlias = npt.NDArray[np.int64]
EPOCH = date(1970, 1, 1)
DAYS = 100_000  # more than any day number
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
        rows = rows.sort_values(["school_id", "day", "opens_min"], kind="stable")
        days = rows["day"].to_numpy("datetime64[D]")
        starts, ends = (
            _minutes(days.astype(np.int64), rows[name].to_numpy("int64"), self.zone)
            for name in ("opens_min", "closes_min")
        )
        schools, begin = np.unique(rows["school_id"].to_numpy("int64"), return_index=True)
        found = dict.fromkeys(school_ids, school_time([], self.zone))
        for school, (at, until) in zip(schools.tolist(), pairwise([*begin.tolist(), len(rows)]), strict=True):
            mine = slice(at, until)
            if (ends[mine] <= starts[mine]).any() or (days[mine][1:] == days[mine][:-1]).any():
                found[school] = _united(rows.iloc[mine], self.zone)  # two shifts on a day, or hours the clock swallowed
            else:
                before = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(ends[mine] - starts[mine])])
                found[school] = SchoolTime(starts[mine], ends[mine], before, days[mine], self.zone)
        return found


def _united(rows: pd.DataFrame, zone: ZoneInfo) -> SchoolTime:
    days = rows["day"].to_numpy("datetime64[D]").tolist()
    cells = zip(days, rows["shift"].tolist(), rows["opens_min"].tolist(), rows["closes_min"].tolist(), strict=True)
    return school_time([HeldDay(*cell) for cell in cells], zone)


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
    """Break occasions: every school day of a shift with every rule of its weekday that holds and fits its hours."""
    order = rules.sort_values(["shift_id", "weekday", "from_day"], kind="stable")
    day, rule = _pairs(held, order)
    days, first, until = (
        frame[name].to_numpy("datetime64[D]")[at]
        for frame, name, at in ((held, "day", day), (order, "from_day", rule), (order, "until_day", rule))
    )
    holds = (first <= days) & (np.isnat(until) | (days <= until))
    day, rule = day[holds], rule[holds]
    slots, names = pd.factorize(order["slot"])
    # Of two rules of one shift and code the later one holds: it comes last.
    same = (day * (len(names) + 1) + slots[rule])[::-1]
    last = np.sort(len(same) - 1 - np.unique(same, return_index=True)[1])
    day, rule = day[last], rule[last]
    start, end = (order[name].to_numpy("int64")[rule] for name in ("start_min", "end_min"))
    fits = (held["opens_min"].to_numpy("int64")[day] <= start) & (end <= held["closes_min"].to_numpy("int64")[day])
    day, rule, start, end = day[fits], rule[fits], start[fits], end[fits]
    rows = held[["school_id", "week", "day"]].take(day).reset_index(drop=True)
    rows = rows.assign(slot=order["slot"].take(rule).array)
    numbers = rows["day"].to_numpy("datetime64[D]").astype(np.int64)
    made = rows.assign(
        start=_instants(numbers, start, zone), end=_instants(numbers, end, zone), drawn=_marked(rows, drawn)
    )
    return made[list(BREAKS)].sort_values(["school_id", "start", "slot"], ignore_index=True)


def _pairs(held: pd.DataFrame, rules: pd.DataFrame) -> tuple[Whole, Whole]:
    """Row numbers of each school day of a shift with each rule of its weekday; rules in order of shift and weekday."""
    weekday = (held["day"].to_numpy("datetime64[D]").astype(np.int64) + 3) % 7  # 1970 began on a Thursday
    wanted = held["shift_id"].to_numpy("int64") * 7 + weekday
    known = rules["shift_id"].to_numpy("int64") * 7 + rules["weekday"].to_numpy("int64")
    first = np.searchsorted(known, wanted, side="left")
    count = np.searchsorted(known, wanted, side="right") - first
    day = np.repeat(np.arange(len(held)), count)
    within = np.arange(len(day)) - np.repeat(np.cumsum(count) - count, count)
    return day, first[day] + within


def _minutes(days: Whole, minutes: Whole, zone: ZoneInfo) -> Whole:
    """Minutes since 1970 of local clock minutes of days; each distinct one is worked out once."""
    known, place = np.unique(days * 10_000 + minutes, return_inverse=True)
    found = [local_minute(EPOCH + timedelta(days=key // 10_000), key % 10_000, zone) for key in known.tolist()]
    return np.array(found, dtype=np.int64)[place]


def _instants(days: Whole, minutes: Whole, zone: ZoneInfo) -> pd.DatetimeIndex:
    micros = _minutes(days, minutes, zone) * 60_000_000
    return pd.DatetimeIndex(micros.astype(DAY)).tz_localize("UTC")


def _marked(rows: pd.DataFrame, drawn: pd.DataFrame) -> npt.NDArray[np.bool_]:
    slots, _ = pd.factorize(pd.concat([rows["slot"], drawn["slot"]], ignore_index=True))
    days = np.concatenate([frame["day"].to_numpy("datetime64[D]").astype(np.int64) for frame in (rows, drawn)])
    schools = np.concatenate([frame["school_id"].to_numpy("int64") for frame in (rows, drawn)])
    places = (schools * DAYS + days) * (len(slots) + 1) + slots
    return np.isin(places[: len(rows)], places[len(rows) :])


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
