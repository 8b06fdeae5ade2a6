"""What each school and week brought to a figure, from a frame of rows."""

from __future__ import annotations

import pandas as pd

from tracker.measures.columns import day_numbers, sums_by
from tracker.measures.figure import Part


def school_week_parts(rows: pd.DataFrame, column: str) -> tuple[Part, ...]:
    """Sums of ``column`` by school and week, in order; together they are the sum of the column.

    A school is named by column ``school`` where the frame has it, else by ``school_id``. Rows without a number
    must have been left out before.

    >>> frame = pd.DataFrame({"school_id": [2, 1, 1], "week": [pd.Timestamp("2030-01-07")] * 3, "n": [1, 2, 4]})
    >>> [(part.school, part.value) for part in school_week_parts(frame, "n")]
    [('1', 6.0), ('2', 1.0)]
    """
    name = "school" if "school" in rows.columns else "school_id"
    names = rows[name].to_numpy(dtype=object if name == "school" else "int64")
    sums = sums_by(names, day_numbers(rows["week"]), rows[column].to_numpy("float64"))
    return tuple(Part(str(school), week, total) for (school, week), total in sums.items())
