"""Faults: outages that belong together, each fault counted once.

Several people report the same fault, and one empty tank closes six cabins: neither makes two faults of one. Frames
as in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.calendar import Scope, local_minute, minute_of, minutes_of
from tracker.vocabulary import Cause

CAUSE_RANK = {cause.value: rank for rank, cause in enumerate(Cause)}
FAULTS = ("unit_id", "school_id", "kind", "cause", "units", "start", "day", "hours", "ended")


@dataclass(slots=True)
class Spell:
    """A stretch in which units were out without a gap; several units when they share an event.

    start, end: minutes since the epoch; end None: open. rows: positions of its outages in the frame.
    """

    units: set[int]
    start: int
    end: int | None
    events: set[str]
    rows: list[int] = field(default_factory=list)


def spells(outages: pd.DataFrame, as_of: datetime) -> list[Spell]:
    """Faults, each counted once: overlapping or touching outages of a unit are one, and so is a common event.

    Args:
        outages: unit_id, start, end (NaT: open), event (empty: none). Outages that begin after ``as_of`` are
        left out; one that ends after it is still open.
    """
    stop = minute_of(as_of)
    never = np.iinfo(np.int64).max
    rows = zip(
        outages["unit_id"].tolist(),
        minutes_of(outages["start"].to_numpy("datetime64[us]")).tolist(),
        minutes_of(outages["end"].to_numpy("datetime64[us]"), blank=int(never)).tolist(),
        outages["event"].fillna("").astype(str).tolist(),
        range(len(outages)),
        strict=True,
    )
    found: list[Spell] = []
    for unit, start, end, event, row in sorted(rows):
        if start > stop:
            continue
        last = found[-1] if found and unit in found[-1].units else None
        open_or_end = None if end > stop else end
        if last is None or (last.end is not None and start > last.end):
            found.append(Spell({unit}, start, open_or_end, {event} - {""}, [row]))
            continue
        last.end = None if last.end is None or open_or_end is None else max(last.end, open_or_end)
        last.events |= {event} - {""}
        last.rows.append(row)
    return _join_events(found)


def _join_events(found: list[Spell]) -> list[Spell]:
    """Unite spells that share an event, also through a chain of events."""
    alone = [spell for spell in found if not spell.events]
    holder: dict[str, Spell] = {}
    for spell in found:
        whole = spell
        for other in {id(holder[name]): holder[name] for name in spell.events if name in holder}.values():
            whole = _united(whole, other)
        holder.update(dict.fromkeys(whole.events, whole))
    return alone + list({id(spell): spell for spell in holder.values()}.values())


def _united(one: Spell, other: Spell) -> Spell:
    end = None if one.end is None or other.end is None else max(one.end, other.end)
    events, rows = one.events | other.events, one.rows + other.rows
    return Spell(one.units | other.units, min(one.start, other.start), end, events, rows)


def begun_faults(outages: pd.DataFrame, units: pd.DataFrame, scope: Scope, *, planned: bool = False) -> pd.DataFrame:
    """The faults that began in the period, one row each, with the time that they lasted so far.

    Only faults that began in the period (local midnight to local midnight, up to ``scope.as_of``) take part: of
    those that began before it, only the long ones are still in the frame. "Sold out" is supply and never a fault.
    Planned work and faults are chosen before outages are joined, so that neither lengthens the other.

    Args:
        outages: unit_id, cause, planned, start, end, event. Outages of units that are not in ``units`` are left
        out.
        units: unit_id, school_id, kind.
        planned: planned work instead of faults.
    Returns:
        unit_id, school_id, kind and cause of the outage that began first (in the same minute: the cause first in
        the list of causes, then the lower unit_id); units (how many the fault took), start (UTC), day (local
        day of the start), hours (elapsed, up to ``as_of`` while open), ended.
    """
    is_planned = outages["planned"].astype(bool) | outages["cause"].eq(Cause.PLANNED.value)
    meant = outages["cause"].ne(Cause.EMPTY.value) & outages["unit_id"].isin(units["unit_id"]) & (is_planned == planned)
    rows = outages[meant].reset_index(drop=True)
    first, last = local_minute(scope.period.first, 0, scope.zone), local_minute(scope.period.last, 24 * 60, scope.zone)
    stop = minute_of(scope.as_of)
    begun = [spell for spell in spells(rows, scope.as_of) if first <= spell.start < last]
    owners = _owners(rows, begun)
    table = pd.DataFrame(
        {
            "unit_id": pd.Series([unit for unit, _ in owners], dtype="int64"),
            "cause": pd.Series([cause for _, cause in owners], dtype="str"),
            "units": pd.Series([len(spell.units) for spell in begun], dtype="int64"),
            "start": pd.to_datetime(
                pd.Series([spell.start for spell in begun], dtype="int64") * 60, unit="s", utc=True
            ),
            "hours": pd.Series([((stop if s.end is None else s.end) - s.start) / 60 for s in begun], dtype="float64"),
            "ended": pd.Series([spell.end is not None for spell in begun], dtype="bool"),
        }
    )
    named = table.merge(units[["unit_id", "school_id", "kind"]].drop_duplicates("unit_id"), on="unit_id")
    named["start"] = named["start"].astype("datetime64[us, UTC]")
    local = named["start"].dt.tz_convert(scope.zone).dt.tz_localize(None).dt.normalize()
    named["day"] = local.astype("datetime64[us]")
    return named[list(FAULTS)].sort_values(["start", "unit_id"], ignore_index=True)


def _owners(rows: pd.DataFrame, found: Iterable[Spell]) -> list[tuple[int, str]]:
    """Unit and cause of the outage that began first in each spell."""
    starts = minutes_of(rows["start"].to_numpy("datetime64[us]")).tolist()
    causes, units = rows["cause"].tolist(), rows["unit_id"].tolist()

    def order(row: int) -> tuple[Any, ...]:
        return starts[row], CAUSE_RANK[causes[row]], units[row]

    firsts = [min(spell.rows, key=order) for spell in found]
    return [(units[row], causes[row]) for row in firsts]
