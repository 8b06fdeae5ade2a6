"""What a new version changes: one line for each headline, and apart from them the cells of tables."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from tracker.reports.printing import NOT_RECORDED, THIN_SPACE, day

NEW, GONE = "not in the version before", "no longer shown"
SAME = "The number stays; what stands beside it changed."
SHORT = "in_short"  # the headlines once more


@dataclass(frozen=True, slots=True)
class Change:
    """A number that differs from the version before. ``headline`` is False for a table's cell."""

    where: str
    old: str
    new: str
    difference: str = ""
    reason: str = ""
    headline: bool = True


def changed(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Change]:
    """Numbers of two versions' content that differ, headlines first, in the order of the new one.

    Args:
        old, new: what ``export.content`` gave for each version.
    """
    for headline, take in ((True, _headlines), (False, _cells)):
        before, after = dict(take(old)), dict(take(new))
        for key in [*after, *(key for key in before if key not in after)]:
            was, now = before.get(key), after.get(key)
            if was is None or now is None or was.words != now.words:
                yield _change(was, now, headline)


@dataclass(frozen=True, slots=True)
class _Seen:
    """A number as a version shows it."""

    where: str
    words: str
    short: str
    figure: Mapping[str, Any] | None = None


def _change(was: _Seen | None, now: _Seen | None, headline: bool) -> Change:
    if was is None or now is None:
        named = now or was or _Seen("", "", "")
        return Change(named.where, was.short if was else NEW, now.short if now else GONE, headline=headline)
    whole = was.short == now.short  # then the difference stands beside the number
    old, new = (was.words, now.words) if whole else (was.short, now.short)
    return Change(now.where, old, new, SAME if whole else _difference(was, now), _reason(was, now), headline)


def _difference(was: _Seen, now: _Seen) -> str:
    """The new number less the old, in printed digits and the same unit.

    >>> share = {"value": 0.951, "unit": "share, 0 to 1"}
    >>> _difference(_Seen("", "", "", share | {"value": 0.95}), _Seen("", "", "", share))
    '+0.1 percentage points'
    """
    old, new = was.figure or {}, now.figure or {}
    if old.get("value") is None or new.get("value") is None or old.get("unit") != new.get("unit"):
        return ""
    step = Decimal(str(new["value"])) - Decimal(str(old["value"]))
    unit = str(new["unit"])
    if unit.startswith("share"):
        step, unit = (step * 100).quantize(Decimal("0.1")), "percentage points"
    return f"{step:+,} {unit}".replace(",", THIN_SPACE) if step else ""


def _reason(was: _Seen, now: _Seen) -> str:
    """What the records say about why: how many more or fewer it rests on."""
    old, new = was.figure or {}, now.figure or {}
    pairs = [(old.get(name), new.get(name)) for name in ("used", "expected")]
    if not old or not new or pairs[0][0] is None or all(a == b for a, b in pairs):
        return "" if not old or not new else "The same number of records; some were corrected."
    records = new.get("records") or "records"
    return f"Rests on {pairs[0][1]} of {pairs[1][1]} {records}; before, {pairs[0][0]} of {pairs[1][0]}."


def _of_figure(where: str, figure: Mapping[str, Any]) -> _Seen:
    printed = str(figure["printed"])
    return _Seen(where, printed, re.split(r" \(|; ", printed, maxsplit=1)[0], figure)


def _headlines(content: Mapping[str, Any]) -> Iterator[tuple[str, _Seen]]:
    for section in content.get("sections", []):
        for line in section["lines"]:
            key, label = line["key"], line["label"]
            yield key, _of_figure(label, line["figure"])
            if line["last_term"] is not None:
                yield f"{key} last", _of_figure(f"{label}, last term", line["last_term"])
            if line.get("year_before") is not None:
                yield f"{key} year", _of_figure(f"{label}, same term last year", line["year_before"])
            if line["target"] is not None:
                words = line.get("target_words") or str(line["target"])
                yield f"{key} target", _Seen(f"{label}, target", words, words)


def _cells(content: Mapping[str, Any]) -> Iterator[tuple[str, _Seen]]:
    for section in content.get("sections", []):
        for table in [*section["tables"], *(chart["table"] for chart in section["charts"])]:
            if table["key"] != SHORT:
                yield from _table_cells(table)


def _table_cells(table: Mapping[str, Any]) -> Iterator[tuple[str, _Seen]]:
    columns = table["columns"]
    for place, row in enumerate(table["rows"]):
        words = [value for value in row if isinstance(value, str)]
        named = ", ".join(_in_words(value) for value in words[:2]) or f"line {place + 1}"
        name = _in_words(row[0]) if row and isinstance(row[0], str) else named
        for at, (cell, column) in enumerate(zip(row, columns, strict=True)):
            if at == 0 and len(row) > 1:
                continue
            where = table["title"] if len(row) == 1 else f"{table['title']}: {name}, {column['heading']}"
            key = f"{table['key']} {place if len(row) == 1 else name} {column['key']}"
            yield key, _cell(where, cell, str(column.get("unit") or ""))


def _cell(where: str, cell: Any, unit: str) -> _Seen:
    if isinstance(cell, dict):
        return _of_figure(where, cell)
    if isinstance(cell, int | float):
        words = f"{cell:,}".replace(",", THIN_SPACE) + (f" {unit}" if unit else "")
        return _Seen(where, words, words, {"value": cell, "unit": unit})
    words = NOT_RECORDED if cell is None else _in_words(str(cell))
    return _Seen(where, words, words)


def _in_words(text: str) -> str:
    """A day with its month in words; other text as it is.

    >>> _in_words("2026-07-13"), _in_words("Girls")
    ('13 July 2026', 'Girls')
    """
    try:
        return day(date.fromisoformat(text))
    except ValueError:
        return text
