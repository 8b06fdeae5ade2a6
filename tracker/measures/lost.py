"""Breaks at which units were out, break by break, and the visits that could not be made there.

Frames as in DEVELOPERS.md.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.calendar import Minutes, Scope, minute_of, minutes_of
from tracker.measures.columns import alike, day_numbers, is_in, keys, matches
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.parts import school_week_parts
from tracker.vocabulary import Basis, Cause

Z95 = 1.959963984540054
LOST_NOTE = (
    "Visits that would have been made at these units had they worked, at their own mean of tallied breaks. Pupils may "
    "have used another unit or another time."
)
SOME_NOTE = " Units that lost breaks but have no two tallied breaks while working are left out."
UNIT_BREAKS = ("unit_id", "school_id", "school", "week", "day", "slot", "observed", "lost")


def out_at(outages: pd.DataFrame, units: npt.NDArray[np.int64], instants: Minutes, as_of: Minutes | int) -> Minutes:
    """1 for each unit and instant (minutes since the epoch) at which the unit is in an outage, else 0.

    An outage is out from its start to just before its end; an open one until ``as_of``. "Sold out" is no outage.
    """
    down = outages[outages["cause"] != Cause.EMPTY.value]
    starts = minutes_of(down["start"].to_numpy("datetime64[us]"))
    ends = np.where(down["end"].isna(), as_of, minutes_of(down["end"].to_numpy("datetime64[us]")))
    if not len(starts) or not len(instants):
        return np.zeros(len(instants), dtype=np.int64)
    known, owner = np.unique(down["unit_id"].to_numpy("int64"), return_inverse=True)
    # One axis for all units: each has a stretch of its own, so that one search serves all of them.
    base = min(int(starts.min()), int(instants.min()))
    width = max(int(ends.max()), int(starts.max()), int(instants.max())) - base + 2
    if width * (len(known) + 1) >= 2**62:
        raise ValueError("the instants are too far apart to be set on one axis")
    order = np.lexsort((starts, owner))
    offset = owner[order] * width - base
    begin = starts[order] + offset
    reach = np.maximum.accumulate(ends[order] + offset)
    asked = np.flatnonzero(is_in(units, known))  # units without any outage are never out
    where = instants[asked] - base + np.searchsorted(known, units[asked]) * width
    last = np.searchsorted(begin, where, side="right") - 1
    found = np.zeros(len(instants), dtype=np.int64)
    found[asked] = (last >= 0) & (reach[np.maximum(last, 0)] > where)
    return found


def unit_breaks(outages: pd.DataFrame, breaks: pd.DataFrame, days: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    """Every unit at every break that had begun: was it out when the bell rang for the break?

    Args:
        outages: unit_id, cause, start, end. Planned work counts, "sold out" does not.
        breaks: school_id, week, day, start, slot (where known); only those that started before ``scope.as_of``.
        days: unit_id, school_id, school, day, observed, and what else is to be carried along (kind, group).
    Returns:
        The columns of ``days`` named above, week, day, slot, observed, lost (1 or 0). On days on which nobody
        looked, 0 only says that no outage is known.
    """
    bells = minutes_of(breaks["start"].to_numpy("datetime64[us]"))
    begun, bells = breaks[bells < minute_of(scope.as_of)], bells[bells < minute_of(scope.as_of)]
    of_day = keys(begun["school_id"].to_numpy("int64"), day_numbers(begun["day"]))
    order = np.argsort(of_day, kind="stable")
    mine, at = matches(keys(days["school_id"].to_numpy("int64"), day_numbers(days["day"])), of_day[order])
    at = order[at]
    lost = out_at(outages, days["unit_id"].to_numpy("int64")[mine], bells[at], minute_of(scope.as_of))
    places = dict.fromkeys(("unit_id", "school_id", "school"), (days, mine))
    places |= {name: (begun, at) for name in ("week", "day", "slot") if name in begun.columns}
    places |= {name: (days, mine) for name in ("observed", "kind", "group") if name in days.columns}
    columns = {name: frame[name].array.take(rows) for name, (frame, rows) in places.items()}
    return pd.DataFrame({**columns, "lost": lost}, copy=False)


def usable_at_breaks(table: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Units standing and units usable at the breaks of observed days, by ``by`` (["school_id", "group"] …).

    A break takes part where every unit of the group was observed that day; usable = standing − lost.

    Args:
        table: from ``unit_breaks``, with the columns of ``by``, filtered to the kind of unit meant.
    Returns:
        ``by``, standing (most units at a break), usable_mean, usable_least, breaks (that took part),
        breaks_expected. Means are NaN where no break took part.
    """
    at = ["school_id", "day", "slot"]
    occasion, first = alike(table, [*by, *[name for name in at if name not in by]])
    units, seen, up = (
        np.bincount(occasion, weights=of, minlength=len(first)).astype(np.int64)
        for of in (None, table["observed"].to_numpy("float64"), 1 - table["lost"].to_numpy("float64"))
    )
    whole = seen == units
    breaks = table[by].take(first).assign(units=units, usable=np.where(whole, up, np.nan), part=whole.astype("int64"))
    found = breaks.groupby(by, as_index=False).agg(
        standing=("units", "max"),
        usable_mean=("usable", "mean"),
        usable_least=("usable", "min"),
        breaks=("part", "sum"),
        breaks_expected=("part", "size"),
    )
    return found.astype({"breaks": "int64", "breaks_expected": "int64", "standing": "int64"})


def mean_visits(table: pd.DataFrame, tallies: pd.DataFrame) -> pd.DataFrame:
    """Visits of a unit at a break, from the tallied breaks at which it was not out.

    Args:
        table: from ``unit_breaks``. tallies: unit_id, day, slot, visits.
    Returns:
        unit_id, mean, var (divisor n − 1), n; units with at least two such breaks.
    """
    key = ["unit_id", "day", "slot"]
    up = table.loc[table["lost"] == 0, key]
    seen = tallies[[*key, "visits"]].merge(up, on=key)
    stats = seen.groupby("unit_id", as_index=False).agg(
        mean=("visits", "mean"), var=("visits", "var"), n=("visits", "size")
    )
    return stats[stats["n"] >= 2].reset_index(drop=True)


def visits_lost(table: pd.DataFrame, tallies: pd.DataFrame) -> Figure:
    """Visits that could not be made: breaks lost × mean visits of that unit at a break, over all units.

    Variance: Σ over units of s²·(L + L²/n): the spread of the L breaks themselves and the uncertainty of the
    mean of n tallied breaks, units independent. Normal 95 % limits, the low one no lower than 0.

    Args:
        table: from ``unit_breaks`` (filter it to cabins, or to a group). tallies: see ``mean_visits``.
    Returns:
        Unit "visits", modelled; used: lost unit breaks of units whose mean is known, expected: all lost unit
        breaks; parts by school and week. No value where nobody looked, or where no mean is known.
    """
    blank = not_recorded("visits", Basis.MODELLED, expected=int(table["lost"].sum()), records="unit breaks lost")
    if not table["observed"].any():
        return blank
    if not blank.expected:
        return Figure(0.0, "visits", Basis.MODELLED, 0.0, 0.0, records=blank.records, note=LOST_NOTE)
    rows = table[table["lost"] == 1].merge(mean_visits(table, tallies), on="unit_id")
    if rows.empty:
        return blank
    units = rows.groupby("unit_id", as_index=False).agg(
        lost=("lost", "sum"), mean=("mean", "first"), var=("var", "first"), n=("n", "first")
    )
    parts = school_week_parts(rows, "mean")
    value = math.fsum(part.value for part in parts)
    half = Z95 * math.sqrt(float((units["var"] * (units["lost"] + units["lost"] ** 2 / units["n"])).sum()))
    note = LOST_NOTE + (SOME_NOTE if len(rows) < blank.expected else "")
    return Figure(
        value=value,
        unit="visits",
        basis=Basis.MODELLED,
        low=max(0.0, value - half),
        high=value + half,
        used=len(rows),
        expected=blank.expected,
        records=blank.records,
        note=note,
        parts=parts,
    )
