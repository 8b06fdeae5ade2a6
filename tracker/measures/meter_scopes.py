"""What a meter serves in a week, and whether everything it serves is known there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.columns import Flags, Whole, day_numbers, distinct, is_in, keys
from tracker.measures.water_rows import WaterRows
from tracker.vocabulary import VISITED

BLANK = np.iinfo(np.int64).min  # a day that was not given, as numpy counts it
EVER = 10_000_000  # a day after every day


@dataclass(frozen=True, slots=True)
class Scopes:
    """Scope rows in order of their meter, with the facts of the unit served. Days as numbers; stays: unit is counted.

    known: the unit-weeks in which all visits have their main part.
    """

    meter_id: Whole
    unit_id: Whole
    whole: Flags
    first: Whole
    last: Whole
    counted: Flags
    unit_first: Whole
    unit_last: Whole
    known: Whole

    def served(self, meter_id: int, days: Mapping[date, int]) -> dict[date, Whole | None]:
        """Week → units served in it; None where the week cannot be compared. ``days``: school days by week."""
        begin, end = np.searchsorted(self.meter_id, [meter_id, meter_id + 1])
        mine = slice(int(begin), int(end))
        weeks = np.array(list(days), dtype="datetime64[D]").astype(np.int64)
        first, last, unit = self.first[mine, None], self.last[mine, None], self.unit_id[mine, None]
        stands = (first <= weeks + 6) & (last >= weeks)
        broken = (stands & (~self.whole[mine, None] | (first > weeks) | (last < weeks + 6))).any(axis=0)
        there = (self.unit_first[mine, None] <= weeks + 6) & (self.unit_last[mine, None] >= weeks)
        wanted = stands & self.counted[mine, None] & there
        unknown = (wanted & ~is_in(keys(unit, weeks), self.known)).any(axis=0)
        held = np.array(list(days.values())) > 0
        good = stands.any(axis=0) & ~broken & ~(unknown & held)
        return {week: self.unit_id[mine][wanted[:, place]] if good[place] else None for place, week in enumerate(days)}

    def ever_whole(self, meter_id: int, days: Mapping[date, int]) -> bool:
        """Whether in any of these weeks a scope holds that lists everything."""
        begin, end = np.searchsorted(self.meter_id, [meter_id, meter_id + 1])
        mine = slice(int(begin), int(end))
        weeks = np.array(list(days), dtype="datetime64[D]").astype(np.int64)
        stands = (self.first[mine, None] <= weeks + 6) & (self.last[mine, None] >= weeks)
        return bool((stands & self.whole[mine, None]).any())


def scopes_of(scopes: pd.DataFrame, units: pd.DataFrame, rows: WaterRows) -> Scopes:
    """The scopes of all meters. A unit that is not in ``units`` is not counted."""
    order = scopes.sort_values("meter_id", kind="stable")
    facts = units.drop_duplicates("unit_id").set_index("unit_id").reindex(order["unit_id"])
    return Scopes(
        order["meter_id"].to_numpy("int64"),
        order["unit_id"].to_numpy("int64"),
        order["whole"].to_numpy(bool),
        _first(order["from_day"]),
        _last(order["until_day"]),
        facts["kind"].isin([str(kind) for kind in VISITED]).to_numpy(),
        _first(facts["from_day"]),
        _last(facts["until_day"]),
        distinct(rows.unit_week[rows.whole & rows.main]),
    )


def _first(column: pd.Series[Any]) -> Whole:
    days = day_numbers(column)
    return np.where(days == BLANK, -EVER, days)


def _last(column: pd.Series[Any]) -> Whole:
    days = day_numbers(column)
    return np.where(days == BLANK, EVER, days)
