"""Cells of a week sheet to fact rows of the exchange format, and back.

``SheetFacts.rows`` holds text only, one dict a row, in the columns of ``intake.tables``. ``origin`` says which
cell a column came from, so that a problem lands at its cell. ``extra`` holds what was said but is no fact row:
the day and time of reading, and which older outages go on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.intake.week_layout import Layout, key
from tracker.vocabulary import Source

TALLY = Source.TALLY.value
NOTED = ("usage_counts", "readings")  # tables with a note column for a confirmed figure

Cells = Mapping[str, str]
FactRow = dict[str, str]


@dataclass(slots=True)
class SheetFacts:
    """Fact rows as text, where each column came from, and what is said beside them."""

    rows: dict[str, list[FactRow]] = field(default_factory=dict)
    origin: dict[tuple[str, int, str], str] = field(default_factory=dict)
    extra: dict[str, Any] = field(default_factory=dict)

    def add(self, table: str, row: FactRow, origin: Mapping[str, str] | None = None) -> None:
        """Append a row and remember the cells of its columns; no row names the school, it is the sheet's."""
        held = self.rows.setdefault(table, [])
        for column, cell in (origin or {}).items():
            self.origin[table, len(held), column] = cell
        held.append(row)

    def payload(self) -> dict[str, Any]:
        """What a sheet version stores."""
        return {**self.rows, **({"sheet": self.extra} if self.extra else {})}


def clean(text: str | None) -> str:
    """A cell's text without spaces around it and without a line break, a tab or a null inside.

    >>> clean("  12 ")
    '12'
    """
    return " ".join((text or "").replace("\x00", " ").split())


def plain(text: str) -> str:
    """The same with its decimal digits as 0 to 9, for figures that stand beside each other.

    >>> plain("٠٠٣٦٦٠")
    '003660'
    """
    return "".join(str(int(sign)) if sign.isdecimal() else sign for sign in text)


def cells_to_facts(layout: Layout, cells: Cells, kept: Mapping[str, list[FactRow]] | None = None) -> SheetFacts:
    """Turn typed cells into fact rows; a blank cell makes no row. Nothing is judged here.

    Args:
        layout: the sheet.
        cells: raw text by cell key.
        kept: rows of the version before that no cell of the sheet can show; they are sent again unchanged.
    """
    from tracker.intake import week_rows, week_totals

    typed = {name: clean(text) for name, text in cells.items()}
    made = SheetFacts()
    for write in week_rows.WRITERS:
        write(layout, typed, made)
    totals = week_totals.typed_totals(typed)
    if totals:
        made.extra["paper"] = totals
    for table, rows in (kept or {}).items():
        for row in rows:
            if table in {"attendance", "quizzes"} and not _has_session(made, row["session"]):
                continue
            made.add(table, dict(row))
    return made


def _has_session(made: SheetFacts, ref: str) -> bool:
    return any(row["ref"] == ref for row in made.rows.get("awareness_sessions", []))


def facts_to_cells(layout: Layout, payload: Mapping[str, Any]) -> tuple[dict[str, str], dict[str, list[FactRow]]]:
    """Turn a version's payload back into cells, and the rows that no cell can show.

    A row that would need a cell the sheet does not have (a second delivery, attendance by grade, another
    source) is kept whole, so that sending again never loses it.
    """
    reader = _Reader(layout, payload)
    return reader.cells, reader.kept


class _Reader:
    """Walks a payload once, filling cells."""

    def __init__(self, layout: Layout, payload: Mapping[str, Any]) -> None:
        self.layout = layout
        self.known = layout.by_key()
        self.cells: dict[str, str] = {}
        self.kept: dict[str, list[FactRow]] = {}
        self.numbers: dict[str, int] = {}
        self.session_of: dict[str, int] = {}
        self._extra(payload)
        for table, rows in payload.items():
            if table in {"sheet", "confirmed"} or not isinstance(rows, list):
                continue
            for row in rows:
                self._row(table, row)

    def _extra(self, payload: Mapping[str, Any]) -> None:
        extra = payload.get("sheet", {})
        read = extra.get("read") or _read_from(payload) or {}
        defaults = self.layout.defaults()
        for part in ("day", "time"):
            name = f"read:{part}"
            if name in self.known:
                self.cells[name] = read.get(part) or defaults.get(name, "")
        self.cells.update(
            {key("still", ref): "still" for ref in extra.get("still", []) if key("still", ref) in self.known}
        )
        paper = extra.get("paper", {})
        self.cells.update({name: text for name, text in paper.items() if name in self.known})
        self.cells.update(payload.get("confirmed", {}))

    def _row(self, table: str, row: FactRow) -> None:
        from tracker.intake import week_rows

        read = week_rows.READERS.get(table)
        filled = read(self, row) if read else None
        filled = {name: text for name, text in (filled or {}).items() if text != ""} if filled is not None else None
        fits = filled is not None and all(name in self.known and name not in self.cells for name in filled)
        if not fits or filled is None:
            self.kept.setdefault(table, []).append(dict(row))
            return
        self.cells.update(filled)
        note = row.get("note", "") if table in NOTED else ""
        if note:
            self.cells[f"note:{next(iter(filled))}"] = note

    def next_number(self, kind: str) -> int:
        """Number of the next row of a growing table."""
        self.numbers[kind] = self.numbers.get(kind, 0) + 1
        return self.numbers[kind]


def _read_from(payload: Mapping[str, Any]) -> dict[str, str]:
    """Day and time of reading as the facts tell it: the first reading, else the first level or count."""
    for row in payload.get("readings", []):
        if row.get("source") == TALLY:
            day, _, time = row["at_local_time"].partition("T")
            return {"day": day, "time": time[:5]}
    for table in ("levels", "stock_counts"):
        for row in payload.get(table, []):
            return {"day": row["day"]}
    return {}


def compare(old: Cells, new: Cells) -> list[tuple[str, str, str]]:
    """Cells that differ, as (key, old text, new text), sorted by key; a missing cell is blank.

    >>> compare({"a": "1", "b": ""}, {"a": "2"})
    [('a', '1', '2')]
    """
    names = sorted(set(old) | set(new))
    pairs = ((name, clean(old.get(name)), clean(new.get(name))) for name in names)
    return [(name, before, after) for name, before, after in pairs if before != after]


def ref_for(code: str, what: str, *parts: str) -> str:
    """A stable reference of a row made by a sheet: the sheet's code and what the row is.

    >>> ref_for("ABCD", "o1")
    'ABCD-o1'
    """
    if not parts:
        return f"{code}-{what}"
    return f"{code}-{what}{hashlib.sha256('|'.join(parts).encode()).hexdigest()[:8]}"
