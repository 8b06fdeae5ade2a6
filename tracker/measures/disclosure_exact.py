"""Small tables hidden exactly, and new versions of a published table hidden so that the two give nothing away.

Source: complementary suppression as a search for the least cost under linear bounds, European handbook on
statistical disclosure control.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from tracker.measures.disclosure import TableShown, filled_grid, table_shown
from tracker.measures.disclosure_bounds import (
    THRESHOLD,
    Earlier,
    Grid,
    Place,
    Shown,
    TableSystem,
    Withheld,
    is_small,
)

MOST_PLACES: Final = 16  # further places that may be hidden, up to which sets are tried: a table of 3 × 3


def withhold_exactly(
    cells: Sequence[Sequence[int | None]], threshold: int = THRESHOLD, *, told_apart: bool = True
) -> TableShown:
    """Hide as ``disclosure.withhold_table`` does, but with the smallest sum of hidden numbers there is.

    Exact for tables in which at most 16 places above zero (margins included) are not small; larger tables, and
    those where no set will do, are hidden step by step as there.

    Raises:
        ValueError: rows of different length, a negative count, or a threshold below 10.
    """
    system = TableSystem(filled_grid(cells), threshold, told_apart)
    return table_shown(cells, system.hide_least(MOST_PLACES), threshold)


def withhold_next_version(
    old: TableShown,
    old_cells: Sequence[Sequence[int | None]],
    new_cells: Sequence[Sequence[int | None]],
    threshold: int = THRESHOLD,
) -> TableShown:
    """Hide a new version of a published table so that the two side by side do not give a small count away.

    The reader is taken to know which numbers were not corrected. So, beside the rules of ``withhold_table``:

    - a number that was not changed and was hidden stays hidden; one that was shown counts as known, and hiding it
      now protects nothing;
    - a number that was shown and changed by 1 to 9 is hidden, and so are others until its change could be anything
      from 1 to 9.

    All hidden places have one wording. Both versions must have the same rows and columns.

    Raises:
        ValueError: tables of different shape, or what ``withhold_table`` refuses.
    """
    before, after = filled_grid(old_cells), filled_grid(new_cells)
    if [len(row) for row in before] != [len(row) for row in after]:
        raise ValueError("both versions need the same rows and columns")
    system = TableSystem(after, threshold, False, earlier=_earlier(_places(old), before, after, threshold))
    return table_shown(new_cells, system.hide(), threshold)


def _earlier(shown: Mapping[Place, Shown], before: Grid, after: Grid, threshold: int) -> Earlier:
    known, kept = set(), set()
    ranges: dict[Place, tuple[float, float]] = {}
    for place, cell in shown.items():
        old, new = before[place[0]][place[1]], after[place[0]][place[1]]
        if isinstance(cell, Withheld):
            kept |= {place} if old == new else set()
        elif old == new:
            known |= {place}
        elif is_small(abs(new - old), threshold) and new > 0:
            far = (threshold - 1) * (1 if new > old else -1)
            ends = sorted((old + far, old + far // abs(far)))
            ranges[place] = (max(0.0, ends[0]), float(ends[1]))
    return Earlier(frozenset(known), frozenset(kept), ranges)


def _places(shown: TableShown) -> dict[Place, Shown]:
    rows = [[*row, total] for row, total in zip(shown.cells, shown.row_totals, strict=True)]
    rows.append([*shown.column_totals, shown.total])
    return {(r, c): cell for r, row in enumerate(rows) for c, cell in enumerate(row)}


def versions_reveal(
    old: TableShown,
    old_cells: Sequence[Sequence[int | None]],
    new: TableShown,
    new_cells: Sequence[Sequence[int | None]],
    threshold: int = THRESHOLD,
) -> list[Place]:
    """Places at which two published tables side by side give a small count, or a small change, away.

    Checked with the linear bounds of the new table, the reader knowing which numbers were not corrected. An empty
    list is what may be published. Hidden places are read as "withheld", whatever their words.
    """
    before, after = filled_grid(old_cells), filled_grid(new_cells)
    earlier = _earlier(_places(old), before, after, threshold)
    system = TableSystem(after, threshold, False, earlier=earlier)
    hidden = [place for place, cell in _places(new).items() if isinstance(cell, Withheld)]
    kinds = {place: system.kind(place) for place in hidden}
    open_now = {place for place in earlier.kept if place not in kinds and after[place[0]][place[1]] > 0}
    narrow = {place for place in system.guarded if place not in kinds or not system.safe(kinds, place)}
    return sorted(open_now | narrow)
