"""Repairs: was the promise kept, how long did units run between failures, how often did somebody look.

One fault counts once, however often it is reported and however many units one event takes out. Frames as in
DEVELOPERS.md.
"""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.calendar import Scope, Span, local_minute, minute_of
from tracker.measures.columns import DAY_KEY, Whole, day_numbers, distinct, is_in, keys
from tracker.measures.faults import Spell, spells
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.intervals import mean_time_between, wilson
from tracker.vocabulary import Basis, Cause, VisitPurpose

__all__ = [
    "LOOK_DAYS",
    "Spell",
    "days_between_looks",
    "days_between_visits",
    "failures",
    "looks",
    "promise_kept",
    "promised",
    "service_gaps",
    "spells",
    "time_between_failures",
]

LOOK_DAYS = 2  # no later than every second school day: common practice, no published source
NO_FAILURE = (Cause.PLANNED, Cause.EMPTY, Cause.LOCKED, Cause.DIRTY)
LATE_NOTE = "Open outages whose promise has not yet passed are left out."
NO_FAILURE_NOTE = "No failure was recorded. The value is the 95 % lower limit; the true value is higher."


def promise_kept(outages: pd.DataFrame, promise_hours: float, as_of: datetime) -> Figure:
    """Share of outages that ended within the promised elapsed hours (nights and holidays included).

    Counted: outages that have ended, and open ones whose promise has passed, which count as not kept. Exactly
    on time is kept. Planned work and "sold out" are no repairs and are left out; one fault counts once
    (``spells``).

    Args:
        outages: unit_id, cause, planned, start, end, event: those that touched the period, uncut.
    Returns:
        Share with Wilson's 95 % limits; used and expected: the outages counted.
    Raises:
        ValueError: the promise is not above 0.
    """
    due, faults = promised(outages, promise_hours, as_of)
    kept = sum(1 for _, in_time in due if in_time)
    share, low, high = wilson(kept, len(due))
    note = LATE_NOTE if len(due) < faults else ""
    return Figure(share, "share", Basis.COUNTED, low, high, len(due), len(due), records="outages", note=note)


def promised(outages: pd.DataFrame, promise_hours: float, as_of: datetime) -> tuple[list[tuple[Spell, bool]], int]:
    """The faults that ``promise_kept`` counts, each with whether it ended in time, and how many faults there were.

    Raises:
        ValueError: the promise is not above 0.
    """
    if promise_hours <= 0:
        raise ValueError(f"a promise needs a time above 0 hours, got {promise_hours}")
    repairs = outages[~outages["cause"].isin([Cause.PLANNED.value, Cause.EMPTY.value])]
    repairs = repairs[~repairs["planned"].astype(bool)]
    stop, allowed = minute_of(as_of), promise_hours * 60
    faults = spells(repairs, as_of)
    due = [fault for fault in faults if fault.end is not None or stop - fault.start > allowed]
    return [(fault, fault.end is not None and fault.end - fault.start <= allowed) for fault in due], len(faults)


def time_between_failures(outages: pd.DataFrame, days: pd.DataFrame, scope: Scope) -> Figure:
    """Mean school hours of running time between failures of the units, with exact 95 % limits.

    Running time: scheduled minutes of observed days, less those down. Failures: faults (``spells``) that
    began in the period up to ``as_of``, on a day on which the unit stood; planned work, sold out, locked and
    dirty are no failures of the unit. Without a failure the value is the one-sided 95 % lower limit, T ÷ (−ln
    0.05), and the note says so; there is no high limit.

    Args:
        outages: unit_id, cause, planned, start, end, event.
        days: from ``unit_days``, filtered to the units meant.
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1.
    """
    seen = days[days["observed"]]
    hours = int(seen["scheduled_min"].sum() - seen["down_min"].sum()) / 60
    value, low, high = mean_time_between(hours, len(failures(outages, days, scope)))
    base = not_recorded("school hours", Basis.COUNTED, expected=len(days), records="unit school days")
    if value is None and low is None:
        return base
    one_sided = value is None
    return Figure(
        value=low if one_sided else value,
        unit="school hours",
        basis=Basis.COUNTED,
        low=None if one_sided else low,
        high=high,
        used=len(seen),
        expected=len(days),
        records="unit school days",
        note=NO_FAILURE_NOTE if one_sided else "",
    )


def failures(outages: pd.DataFrame, days: pd.DataFrame, scope: Scope) -> list[Spell]:
    """The failures that ``time_between_failures`` counts: faults of the units that began in the period."""
    bounds = days.groupby("unit_id")["day"].agg(["min", "max"])
    rows = outages[~outages["cause"].isin([cause.value for cause in NO_FAILURE])]
    rows = rows[~rows["planned"].astype(bool) & rows["unit_id"].isin(bounds.index)]
    first = local_minute(scope.period.first, 0, scope.zone)
    last = local_minute(scope.period.last, 24 * 60, scope.zone)
    return [fault for fault in spells(rows, scope.as_of) if first <= fault.start < last]


def looks(sightings: pd.DataFrame, days: pd.DataFrame, limit: int = LOOK_DAYS) -> pd.DataFrame:
    """How long units waited for somebody to look, in school days.

    The school days of a unit are numbered 1 to N. A look on a day is at the number of school days up to that
    day; the first gap runs from 0 to the first look, the next ones from look to look (looked on Monday and
    Wednesday: 2). The time since the last look is a gap only when it is over the limit; before that it is not
    finished.

    Args:
        sightings: unit_id, day; a look with any state counts, looks outside the unit's days do not.
        days: unit_id, school_id, kind, day, from ``unit_days``.
        limit: 2: "no later than every second school day" (common practice, no published source).
    Returns:
        unit_id, school_id, kind, school_days, looks (distinct places), longest_gap, gaps, kept (gaps within
        the limit).
    """
    rows = days[["unit_id", "school_id", "kind"]].assign(key=_unit_days(days))
    rows = rows.drop_duplicates("key").sort_values("key", ignore_index=True)
    held = rows["key"].to_numpy("int64")
    units, first, count = np.unique(rows["unit_id"].to_numpy("int64"), return_index=True, return_counts=True)
    unit, place = _places(distinct(_unit_days(sightings)), held, (units, first, count))
    begin = np.ones(len(unit), dtype=bool)
    begin[1:] = unit[1:] != unit[:-1]
    gaps = np.where(begin, place, np.diff(place, prepend=0))
    looked, kept = (np.bincount(at, minlength=len(units)) for at in (unit, unit[gaps <= limit]))
    latest, longest = np.zeros(len(units), dtype=np.int64), np.zeros(len(units), dtype=np.int64)
    np.maximum.at(latest, unit, place)
    np.maximum.at(longest, unit, gaps)
    waiting = count - latest
    columns = {"school_days": count, "looks": looked, "longest_gap": np.maximum(longest, waiting)}
    columns |= {"gaps": looked + (waiting > limit), "kept": kept}
    return rows.loc[first, ["unit_id", "school_id", "kind"]].reset_index(drop=True).assign(**columns)


def _unit_days(frame: pd.DataFrame) -> Whole:
    return keys(frame["unit_id"].to_numpy("int64"), day_numbers(frame["day"]))


def _places(looks: Whole, held: Whole, units: tuple[Whole, Whole, Whole]) -> tuple[Whole, Whole]:
    """Unit (its place) and number of school days up to each look that lies within the unit's days, each pair once."""
    known, first, count = units
    looks = looks[is_in(looks // DAY_KEY, known)]
    unit = np.searchsorted(known, looks // DAY_KEY)
    within = (looks >= held[first[unit]]) & (looks <= held[first[unit] + count[unit] - 1])
    looks, unit = looks[within], unit[within]
    place = np.searchsorted(held, looks, side="right") - first[unit]
    pairs = distinct(unit * DAY_KEY + place)
    return pairs // DAY_KEY, pairs % DAY_KEY


def days_between_looks(table: pd.DataFrame) -> Figure:
    """Share of gaps between looks that were kept to the limit, over all units (from ``looks``)."""
    gaps = int(table["gaps"].sum())
    if not gaps:
        return not_recorded("share", Basis.COUNTED, records="gaps between looks")
    share = int(table["kept"].sum()) / gaps
    return Figure(share, "share", Basis.COUNTED, used=gaps, expected=gaps, records="gaps between looks")


def service_gaps(visits: pd.DataFrame, schools: pd.DataFrame, period: Span, as_of: date) -> pd.DataFrame:
    """Calendar days between the engineer's service visits to a school, against the interval of its agreement.

    A school is visited on a day on which at least one of its units was. Gaps run from the last visit on or before
    the period's first day (without one: from ``from_day``) to the first visit in it, then from visit to visit. The
    time since the last visit is a gap only once it is over the interval; before that it is not finished. The local
    look and the engineer's other visits (repair, meter reading) are no service visit.

    Args:
        visits: school_id, day, purpose; visits before the period are needed for the first gap.
        schools: school_id, from_day (the agreement's first day), every_days (its interval; NaN: none agreed).
        period: first and last day. as_of: the report's day; nothing after it counts.
    Returns:
        school_id, every_days, visits (days in the period), longest_gap, gaps, kept (gaps no longer than agreed;
        NaN without an agreed interval), gap_days (sum of the gaps).
    """
    service = visits[visits["purpose"] == VisitPurpose.SERVICE.value]
    by_school: dict[object, npt.NDArray[np.datetime64]] = {
        school: np.unique(rows.to_numpy("datetime64[D]")) for school, rows in service.groupby("school_id")["day"]
    }
    first, last = np.datetime64(period.first, "D"), np.datetime64(min(period.last, as_of), "D")
    found = []
    for school, since, every in schools[["school_id", "from_day", "every_days"]].itertuples(index=False, name=None):
        days = by_school.get(school, np.array([], dtype="datetime64[D]"))
        begin = np.datetime64(since.date(), "D")
        start = max([begin, *days[(days <= first) & (days >= begin)]])
        inside = days[(days > max(start, first - np.timedelta64(1, "D"))) & (days <= last)]
        ended = np.diff(np.concatenate([[start], inside])).astype(np.int64).tolist()
        waiting = max(0, int((last - (inside[-1] if len(inside) else start)).astype(np.int64)))
        agreed = not pd.isna(every)
        ended += [waiting] if agreed and waiting > every else []
        kept = float(sum(gap <= every for gap in ended)) if agreed else float("nan")
        held = int(((days >= first) & (days <= last)).sum())
        found.append((school, every, held, max([*ended, waiting]), len(ended), kept, sum(ended)))
    columns = ["school_id", "every_days", "visits", "longest_gap", "gaps", "kept", "gap_days"]
    return pd.DataFrame(found, columns=columns).astype({"every_days": "float64", "kept": "float64"})


def days_between_visits(table: pd.DataFrame) -> Figure:
    """Share of gaps between service visits that were no longer than agreed (from ``service_gaps``).

    Schools without an agreed interval are left out; used and expected: gaps.
    """
    agreed = table[table["every_days"].notna()]
    gaps = int(agreed["gaps"].sum())
    if not gaps:
        return not_recorded("share", Basis.COUNTED, records="gaps between service visits")
    share = float(agreed["kept"].sum()) / gaps
    return Figure(share, "share", Basis.COUNTED, used=gaps, expected=gaps, records="gaps between service visits")
