"""What writers and readers of fact rows share: the walk over a payload, and the day and time of reading."""

from __future__ import annotations

from typing import Protocol

from tracker.intake.week_cells import Cells
from tracker.intake.week_layout import Layout

Filled = dict[str, str] | None


class Reading(Protocol):
    """What a reader needs of the walk."""

    layout: Layout
    cells: dict[str, str]
    session_of: dict[str, int]

    def next_number(self, kind: str) -> int:
        """Number of the next row of a growing table."""


def read_on(layout: Layout, cells: Cells) -> tuple[str, str]:
    """Day and time of reading as typed, else as the sheet suggests."""
    defaults = layout.defaults()
    return tuple(cells.get(f"read:{p}", "") or defaults.get(f"read:{p}", "") for p in ("day", "time"))  # type: ignore[return-value]


def at_reading(walk: Reading, day: str, time: str | None = None) -> bool:
    """Whether something was read on the sheet's own day (and time)."""
    return walk.cells.get("read:day") == day and (time is None or walk.cells.get("read:time") == time)
