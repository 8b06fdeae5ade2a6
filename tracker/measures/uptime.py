"""Were the units working while school was on? Silence is not uptime.

Scheduled time is the school time of the unit's school, on days on which the unit stood, up to the report's
instant. Outages are merged and clipped to it; days on which nobody looked are told apart from days observed.
"Sold out" is supply, not repair, and never counts as down; planned work counts and is shown apart. Frames as
in DEVELOPERS.md.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from tracker.measures.calendar import Scope, local_minute, minute_of, minutes_of
from tracker.measures.columns import DAY_KEY, Whole, day_numbers, distinct, is_in, keys, matches
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.lost import unit_breaks
from tracker.measures.parts import school_week_parts
from tracker.vocabulary import Basis, Cause, State

PIECES = ["unit_id", "cause", "planned", "start", "end"]
DOWN = ["unit_id", "day", "cause", "planned", "down_min"]
UNIT_DAYS = [
    *("unit_id", "school_id", "school", "kind", "day"),
    *("scheduled_min", "down_min", "planned_min", "observed"),
]
TABLE = [
    *("scheduled_min", "observed_min", "down_min", "planned_min"),
    *("share", "low", "high", "used", "expected", "basis"),
]
CAUSE_ORDER = {cause.value: rank for rank, cause in enumerate(Cause)}
APART = 10**9  # minutes; more than lie between any two school days
RANGE_NOTE = "The range is what the days on which nobody looked allow."


def _instants(minutes: list[int]) -> pd.Series[pd.Timestamp]:
    return pd.Series(pd.to_datetime(np.array(minutes, dtype=np.int64) * 60, unit="s", utc=True)).astype(
        "datetime64[us, UTC]"
    )


def merge(outages: pd.DataFrame, units: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """Disjoint pieces of down time per unit, each minute owned by the outage that began first.

    Args:
        outages: unit_id, cause, planned, start, end (NaT: open, it ends at ``scope.as_of``).
        units: unit_id, from_day, until_day (NaT: still there). Outages of other units are left out.
    Returns:
        unit_id, cause, planned, start, end (UTC), sorted; cut to the unit's days, the period and ``as_of``.
        Of outages that began in the same minute, the cause first in the list of causes owns. Causes keep
        pieces of their own where they touch, so that cause shares add up; "sold out" is left out.
    """
    down = outages[outages["cause"] != Cause.EMPTY.value]
    return _pieces(down, units, scope)


def _pieces(outages: pd.DataFrame, units: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    bounds = _unit_bounds(units, scope)
    stop = minute_of(scope.as_of)
    rows = sorted(
        zip(
            outages["unit_id"].tolist(),
            minutes_of(outages["start"].to_numpy("datetime64[us]")).tolist(),
            [CAUSE_ORDER[cause] for cause in outages["cause"].tolist()],
            minutes_of(outages["end"].to_numpy("datetime64[us]"), blank=stop).tolist(),
            (outages["planned"].astype(bool) | (outages["cause"] == Cause.PLANNED.value)).tolist(),
            outages["cause"].tolist(),
            strict=True,
        )
    )
    reach: dict[int, int] = {}
    kept: list[tuple[int, str, bool, int, int]] = []
    for unit, start, _, end, planned, cause in rows:
        if unit not in bounds:
            continue
        first, last = bounds[unit]
        begin, finish = max(start, reach.get(unit, first)), min(end, last)
        if finish > begin:
            kept.append((unit, cause, planned, begin, finish))
            reach[unit] = finish
    return _piece_frame(kept)


def _piece_frame(kept: list[tuple[int, str, bool, int, int]]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit_id": pd.Series([row[0] for row in kept], dtype="int64"),
            "cause": pd.Series([row[1] for row in kept], dtype="str"),
            "planned": pd.Series([row[2] for row in kept], dtype="bool"),
            "start": _instants([row[3] for row in kept]),
            "end": _instants([row[4] for row in kept]),
        }
    )


def _unit_bounds(units: pd.DataFrame, scope: Scope) -> dict[int, tuple[int, int]]:
    """First and last minute of each unit in the scope; units that were never there in it are left out."""
    stop = minute_of(scope.as_of)
    found = {}
    for unit, from_day, until_day in zip(
        units["unit_id"].tolist(), units["from_day"].tolist(), units["until_day"].tolist(), strict=True
    ):
        first = max(from_day.date(), scope.period.first)
        last = scope.period.last if pd.isna(until_day) else min(until_day.date(), scope.period.last)
        end = min(local_minute(last, 24 * 60, scope.zone), stop)
        start = local_minute(first, 0, scope.zone)
        if start < end:
            found[unit] = (start, end)
    return found


def down_minutes(outages: pd.DataFrame, units: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """Scheduled minutes lost, by unit, day and cause; sum them as needed (by week, by cause, by unit).

    Args: see ``merge``; ``units`` also needs school_id. A school without school time has no minutes to lose.
    Returns:
        unit_id, day, cause, planned, down_min (above 0); the sum is each unit's down time, no minute twice.
    """
    return _spread(merge(outages, units, scope), units, scope)


def _spread(pieces: pd.DataFrame, units: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """Lay pieces over the school time of their units: one row per unit, day, cause and planned."""
    found = _overlaps(pieces.merge(units[["unit_id", "school_id"]], on="unit_id"), scope)
    return found.groupby(DOWN[:-1], as_index=False)[["down_min"]].sum() if len(found) else _no_down()


def _no_down() -> pd.DataFrame:
    kinds = ("int64", "datetime64[us]", "str", "bool", "int64")
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in zip(DOWN, kinds, strict=True)})


def _overlaps(pieces: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """Whole that each piece takes from each school interval it meets, all schools on one line one after another."""
    schools = np.array(sorted(scope.times), dtype=np.int64)
    known = np.isin(pieces["school_id"].to_numpy("int64"), schools)
    pieces = pieces[known].sort_values(["school_id"], kind="stable")
    if pieces.empty:
        return _no_down()
    at = np.searchsorted(schools, pieces["school_id"].to_numpy("int64"))
    own = [scope.times[school] for school in schools.tolist()]
    shift = np.repeat(np.arange(len(own)), [len(time.starts) for time in own]) * APART
    school_starts = np.concatenate([time.starts for time in own]) + shift
    school_ends = np.concatenate([time.ends for time in own]) + shift
    days = np.concatenate([time.days for time in own])
    starts, ends = (minutes_of(pieces[name].to_numpy("datetime64[us]")) + at * APART for name in ("start", "end"))
    first = np.searchsorted(school_ends, starts, side="right")
    count = np.maximum(np.searchsorted(school_starts, ends, side="left") - first, 0)
    row = np.repeat(np.arange(len(pieces)), count)
    slot = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    minutes = np.minimum(ends[row], school_ends[slot]) - np.maximum(starts[row], school_starts[slot])
    found = pieces[["unit_id", "cause", "planned"]].iloc[row].reset_index(drop=True)
    return found.assign(day=days[slot].astype("datetime64[us]"), down_min=minutes)


def evidence_days(*frames: pd.DataFrame) -> pd.DataFrame:
    """Days on which somebody vouches for a unit, from sightings and other frames of (unit_id, day).

    A sighting with ``state`` "out of service" vouches for nothing: it is the outage's record that counts, and
    without one the day stays unobserved instead of counting as up. "partly working" is a unit in use.
    Returns: unit_id, day, each pair once.
    """
    kept = []
    for frame in frames:
        rows = frame[frame["state"] != State.OUT.value] if "state" in frame.columns else frame
        kept.append(rows[["unit_id", "day"]].astype({"unit_id": "int64", "day": "datetime64[us]"}))
    if not kept:
        return _no_down()[["unit_id", "day"]]
    return pd.concat(kept, ignore_index=True).drop_duplicates(ignore_index=True)


def unit_days(units: pd.DataFrame, outages: pd.DataFrame, evidence: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """One row per unit and school day up to ``scope.as_of``: what the availability figures are made of.

    Args:
        units: unit_id, school_id, school, kind, from_day, until_day; other columns are carried along.
        outages: see ``merge``.
        evidence: unit_id, day, from ``evidence_days``.
    Returns:
        The units' columns with day, scheduled_min (school minutes before ``as_of``), down_min, planned_min
        (the part of down_min that was planned work), observed: evidence that day, or an outage of any cause
        in school time.
    """
    columns = [name for name in units.columns if name not in {"from_day", "until_day"}]
    standing = units.sort_values("unit_id", kind="stable")
    held = _school_days(scope)
    unit, place = matches(standing["school_id"].to_numpy("int64"), held["school_id"].to_numpy("int64"))
    day = held["day"].to_numpy("datetime64[us]")[place]
    first, last = (standing[name].to_numpy("datetime64[us]")[unit] for name in ("from_day", "until_day"))
    there = (day >= first) & (np.isnat(last) | (day <= last))
    unit, place = unit[there], place[there]
    days = standing[columns].take(unit).reset_index(drop=True)
    days = days.assign(day=day[there], scheduled_min=held["scheduled_min"].to_numpy("int64")[place])
    down = down_minutes(outages, units, scope)
    sold_out = _spread(_pieces(outages[outages["cause"] == Cause.EMPTY.value], units, scope), units, scope)
    mine = _keys(days)
    seen = distinct(np.concatenate([_keys(evidence), _keys(down), _keys(sold_out)]))
    return days.assign(
        down_min=_minutes_at(mine, down),
        planned_min=_minutes_at(mine, down[down["planned"]]),
        observed=is_in(mine, seen),
    )


def _keys(frame: pd.DataFrame) -> Whole:
    return keys(frame["unit_id"].to_numpy("int64"), day_numbers(frame["day"]))


def _minutes_at(mine: Whole, down: pd.DataFrame) -> Whole:
    """Down minutes of each unit and day."""
    known, place = np.unique(_keys(down), return_inverse=True)
    totals = np.bincount(place, weights=down["down_min"].to_numpy("float64"), minlength=len(known)).astype(np.int64)
    found = np.zeros(len(mine), dtype=np.int64)
    hit = is_in(mine, known)
    found[hit] = totals[np.searchsorted(known, mine[hit])]
    return found


def _school_days(scope: Scope) -> pd.DataFrame:
    """School_id, day, scheduled_min of every school day in the period that began before ``as_of``, in order."""
    stop = minute_of(scope.as_of)
    first, last = np.datetime64(scope.period.first, "D"), np.datetime64(scope.period.last, "D")
    schools, days, minutes = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for school, time in sorted(scope.times.items()):
        held = (time.days >= first) & (time.days <= last) & (time.starts < stop)
        days.append(time.days[held].astype(np.int64))
        minutes.append(np.minimum(time.ends[held], stop) - time.starts[held])
        schools.append(np.full(len(days[-1]), school, dtype=np.int64))
    known, place = np.unique(keys(np.concatenate(schools), np.concatenate(days)), return_inverse=True)
    totals = np.bincount(place, weights=np.concatenate(minutes), minlength=len(known)).astype(np.int64)
    day = (known % DAY_KEY).astype("datetime64[D]").astype("datetime64[us]")
    return pd.DataFrame({"school_id": known // DAY_KEY, "day": day, "scheduled_min": totals})


def availability(days: pd.DataFrame) -> Figure:
    """Share of scheduled time in which the units were usable, over the days on which somebody looked.

    value = 1 − down ÷ scheduled, both on observed days; low = up minutes of observed days ÷ all scheduled;
    high = (all scheduled − down) ÷ all scheduled. Units are pooled by minutes. Nothing observed: no value.

    Args:
        days: scheduled_min, down_min, observed, from ``unit_days`` (choose units and days by filtering it).
    Source: scheduled availability over the union of outages; the observed range is the project's own.

    >>> days = pd.DataFrame({"scheduled_min": [360, 360], "down_min": [90, 0], "observed": [True, False]})
    >>> figure = availability(days)
    >>> figure.value, figure.low, figure.high, figure.used, figure.expected
    (0.75, 0.375, 0.875, 1, 2)
    """
    seen = days["observed"].astype(bool)
    total, looked = int(days["scheduled_min"].sum()), int(days.loc[seen, "scheduled_min"].sum())
    down = int(days.loc[seen, "down_min"].sum())
    if not looked:
        return not_recorded("share", Basis.COUNTED, expected=len(days), records="unit school days")
    up = looked - down
    return Figure(
        value=up / looked,
        unit="share",
        basis=Basis.COUNTED,
        low=up / total,
        high=(total - down) / total,
        used=int(seen.sum()),
        expected=len(days),
        records="unit school days",
        note=RANGE_NOTE if looked < total else "",
    )


def availability_by(days: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """The availability figure for every group of ``by`` (["unit_id"], ["kind"], ["school_id", "kind"] …),
    pooled.

    Returns:
        The ``by`` columns, scheduled_min, observed_min, down_min, planned_min, share, low, high (NaN where
        nothing was observed), used and expected unit school days, basis.
    """
    rows = days.assign(
        observed_min=days["scheduled_min"].where(days["observed"], 0),
        used=days["observed"].astype("int64"),
        expected=1,
    )
    sums = ["scheduled_min", "observed_min", "down_min", "planned_min", "used", "expected"]
    table = rows.groupby(by, as_index=False)[sums].sum()
    looked = table["observed_min"].where(table["observed_min"] > 0)
    up = looked - table["down_min"]
    total = table["scheduled_min"]
    table = table.assign(
        share=up / looked,
        low=up / total,
        high=(total - table["down_min"]).where(looked.notna()) / total,
        basis=Basis.COUNTED.value,
    )
    return table[[*by, *TABLE]]


def by_cause(down: pd.DataFrame) -> pd.DataFrame:
    """Down time by cause, most first; the shares add up to 1 because no minute has two causes.

    Args:
        down: cause, down_min, from ``down_minutes``.
    Returns:
        cause, down_min, down_h, share (of all down minutes), basis. Empty where nothing was down.
    """
    table = down.groupby("cause", as_index=False)[["down_min"]].sum()
    table = table.sort_values(["down_min", "cause"], ascending=[False, True], ignore_index=True)
    total = table["down_min"].sum()
    return table.assign(down_h=table["down_min"] / 60, share=table["down_min"] / total, basis=Basis.COUNTED.value)


def outage_hours(days: pd.DataFrame, column: str = "down_min") -> Figure:
    """School hours in which units could not be used, summed over units; ``column`` may be "planned_min".

    Returns: unit "unit school hours"; no value where nobody looked on any day. A lower bound where days are
    missing.
    """
    used = int(days["observed"].sum())
    if not used:
        return not_recorded("unit school hours", Basis.COUNTED, expected=len(days), records="unit school days")
    return Figure(
        value=int(days[column].sum()) / 60,
        unit="unit school hours",
        basis=Basis.COUNTED,
        used=used,
        expected=len(days),
        records="unit school days",
    )


def breaks_lost(outages: pd.DataFrame, breaks: pd.DataFrame, days: pd.DataFrame, scope: Scope) -> Figure:
    """Unit × break occasions at whose start the unit was out; "sold out" does not count, planned work does.

    Args:
        outages: see ``merge``.
        breaks: school_id, week, day, start; only occasions that started before ``scope.as_of`` count.
        days: unit_id, school_id, school, day, observed, from ``unit_days`` (filter it to cabins, or to a
        group).
    Returns:
        Unit "unit breaks"; used: those on observed days, expected: all; parts by school and week.
    """
    pairs = unit_breaks(outages, breaks, days, scope)
    used = int(pairs["observed"].sum())
    if not used:
        return not_recorded("unit breaks", Basis.COUNTED, expected=len(pairs), records="unit breaks")
    return Figure(
        value=float(pairs["lost"].sum()),
        unit="unit breaks",
        basis=Basis.COUNTED,
        used=used,
        expected=len(pairs),
        records="unit breaks",
        parts=school_week_parts(pairs, "lost"),
    )
