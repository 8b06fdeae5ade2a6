"""Dated rows of many units, grouped once, from which those between two days are then cut without a search of all."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.dials import rows_of


@dataclass(frozen=True, slots=True)
class ByDay:
    """Rows of one unit in order of their days."""

    days: list[date]
    rows: list[Any]

    def between(self, first: date, last: date) -> list[Any]:
        """Rows from one day to another, both counted."""
        return self.rows[bisect_left(self.days, first) : bisect_right(self.days, last)]

    def after(self, first: date, last: date) -> list[Any]:
        """Rows after one day, up to another."""
        return self.rows[bisect_right(self.days, first) : bisect_right(self.days, last)]


NOTHING = ByDay([], [])


def by_day(frame: pd.DataFrame, unit: str, columns: Sequence[str]) -> dict[int, ByDay]:
    """Unit → its rows (day, a ``date``, and these columns) in order of days; rows of one day keep their order.

    Args:
        unit: name of the column of unit ids. ``frame`` also has a column day.

    >>> days = pd.to_datetime(["2031-01-02", "2031-01-01", "2031-01-01"])
    >>> frame = pd.DataFrame({"tank_id": [7, 7, 8], "day": days, "ml": [5, 6, 9]})
    >>> found = by_day(frame, "tank_id", ["ml"])
    >>> [row.ml for row in found[7].rows], [row.ml for row in found[7].after(date(2031, 1, 1), date(2031, 1, 2))]
    ([6, 5], [5])
    """
    ids, days = frame[unit].to_numpy("int64"), frame["day"].to_numpy("datetime64[D]")
    order = np.lexsort((days, ids))
    ids, days = ids[order], days[order].tolist()
    cells = frame[list(columns)].iloc[order].assign(day=pd.Series(days, index=frame.index[order], dtype=object))
    rows = list(rows_of(cells))
    starts = [0, *(np.flatnonzero(ids[1:] != ids[:-1]) + 1).tolist(), len(ids)]
    spans = pairwise(starts) if rows else ()
    return {int(ids[begin]): ByDay(days[begin:end], rows[begin:end]) for begin, end in spans}
