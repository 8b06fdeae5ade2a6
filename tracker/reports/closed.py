"""A term that is over beside the one that runs: what it is worked out from, so that it need not be worked out again.

A new week sheet of the running term leaves the term before as it was. Its facts are worked out from rows up to its
last day only, so where those rows are the same as before, so are its figures.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pandas as pd

from tracker.measures.calendar import Span
from tracker.reports.gathered import Days, Gathered

BY_WEEK = (
    *("tallies", "unit_weeks", "water", "machine_weeks", "given", "handed_out", "burns", "sheets", "queries"),
    *("cleaning", "energy_given", "burn_outputs"),
)
BY_DAY = (
    *("readings", "sightings", "used_days", "bell_counts", "sessions", "quizzes", "money", "engineer_visits"),
    *("deliveries", "levels"),
)


@dataclass(frozen=True, slots=True)
class Source:
    """Everything that a closed term's facts are made of."""

    all: Gathered
    days: Days
    own: tuple[Any, ...]

    def same(self, other: Source) -> bool:
        """Whether the facts made of both are the same."""
        mine, theirs = ((one.all, one.own, one.days.unit_days, one.days.down) for one in (self, other))
        return _alike(mine, theirs)


def source(everything: Gathered, days: Days, last: date, own: tuple[Any, ...]) -> Source:
    """The rows up to a term's last day; what has no day of its own (set-up, calendar) is kept whole.

    Args:
        own: the term's schools, units and stock on hand.
    """
    cut: dict[str, Any] = {name: _until(getattr(everything, name), "week", last) for name in BY_WEEK}
    cut |= {name: _until(getattr(everything, name), "day", last) for name in BY_DAY}
    after = datetime.combine(last + timedelta(days=1), time(0), tzinfo=everything.zone).astimezone(UTC)
    outages, attendance = everything.outages, everything.attendance
    cut["outages"] = outages[outages["start"] < pd.Timestamp(after)].reset_index(drop=True)
    there = attendance["session_id"].isin(cut["sessions"]["session_id"])
    cut["attendance"] = attendance[there].reset_index(drop=True)
    cut["stock_spans"] = everything.stock_spans.iloc[:0]  # those of the running term
    before = replace(everything, period=Span(everything.period.first, last), **cut)
    known = {name: _until(getattr(days, name), "day", last) for name in ("unit_days", "down")}
    return Source(before, days.known(before, **known), own)


def _until(frame: pd.DataFrame, column: str, last: date) -> pd.DataFrame:
    return frame[frame[column] <= pd.Timestamp(last)].reset_index(drop=True)


def _alike(mine: Any, theirs: Any) -> bool:
    if isinstance(mine, pd.DataFrame):
        return bool(mine.equals(theirs))
    if isinstance(mine, tuple):
        return len(mine) == len(theirs) and all(map(_alike, mine, theirs))
    if is_dataclass(mine) and type(mine) is type(theirs):
        return all(_alike(getattr(mine, one.name), getattr(theirs, one.name)) for one in fields(mine))
    return bool(mine == theirs)
