"""One row of text becomes typed values, or problems that say what to write instead."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any

from tracker.intake.problems import Problem, shown
from tracker.intake.tables import BY_NAME, Column, Table

FORMULA_STARTS = ("=", "+", "-", "@")
FORMULA = "This cell holds a formula. Write its value instead."
MOST_DIGITS = 15
MICRODEGREES = Decimal(1_000_000)
ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
ISO_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:00)?")
CLOCK = re.compile(r"(\d{1,2}):(\d{2})")
PHONE = re.compile(r"\+?[\d ()/-]+")
MINUS_NUMBER = re.compile(r"[-−]\s*\d+([.,]\d+)?")

Read = Callable[[Column, str], Any]


class CellError(ValueError):
    """A cell cannot be read; the message says what to write."""


def link_columns(table: Table) -> dict[str, bool]:
    """Columns that name rows of other files, and whether they must be filled."""
    found: dict[str, bool] = {}
    for link in table.links:
        for name in link.columns:
            found[name] = found.get(name, False) or link.required
    return found


@cache
def header(table: Table) -> tuple[str, ...]:
    """The columns of a table's file, in order: key first, then links, then the rest.

    >>> from tracker.intake.tables import BY_NAME
    >>> header(BY_NAME["long_weeks"])
    ('school', 'unit', 'week', 'source', 'seen_visits', 'long_visits')
    """
    rest = [*link_columns(table), *(column.name for column in table.columns)]
    return tuple(dict.fromkeys([*table.key, *rest]))


@cache  # by name: hashing a whole table for every row would cost more than reading the row
def _plan(name: str) -> tuple[tuple[Column, Read], ...]:
    table = BY_NAME[name]
    own = {column.name: column for column in table.columns}
    links = link_columns(table)
    columns = [own.get(name) or Column(name, "text", "", links[name], length=60) for name in header(table)]
    return tuple((column, READERS[column.kind]) for column in columns)


def parse_row(table: Table, raw: Mapping[str, str], row: int) -> tuple[dict[str, Any], list[Problem]]:
    """Typed values by column, and what is wrong with the row.

    Args:
        table: one of ``tables.TABLES``.
        raw: text by column; surrounding blanks and a byte order mark are ignored. ``school`` may be left out
            where the school is known (a week sheet); any other missing column counts as blank.
        row: the line or row number to name in problems.
    Returns:
        values of the columns that could be read (blank: None): text ``str``, whole ``int``, date ``date``,
        local_time a naive local ``datetime``, clock ``int`` minutes after midnight, yes_no ``bool``, word its
        enum, degrees ``int`` millionths of a degree; and the problems, none of them soft.

    >>> from tracker.intake.tables import BY_NAME
    >>> values, problems = parse_row(BY_NAME["rounds"], {"day": "2026-02-03"}, 2)
    >>> values, problems
    ({'day': datetime.date(2026, 2, 3)}, [])
    """
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    for column, read in _plan(table.name):
        typed = raw.get(column.name)
        if typed is None and column.name == "school":
            continue
        cell = (typed or "").strip().strip("\ufeff").strip()
        try:
            values[column.name] = read(column, cell or _needed(column)) if cell or column.required else None
        except CellError as wrong:
            problems.append(Problem(table.name, row, column.name, shown(cell), str(wrong), rule="readable"))
    return values, problems


def _needed(column: Column) -> str:
    raise CellError(f"This cell is blank. {_what(column)}")


def _what(column: Column) -> str:
    """What to write in a column, with an example."""
    if column.kind == "whole":
        return _whole_number(column)
    if column.kind == "word":
        words = [str(item.value) for item in column.words or ()]
        return f"Write one of: {', '.join(words)}."
    return {
        "text": f"Write a text of at most {column.length} characters.",
        "date": "Write a day as year-month-day, for example 2026-02-03.",
        "local_time": "Write a local day and time, for example 2026-02-03T08:10.",
        "clock": "Write a time of day, for example 08:10.",
        "yes_no": "Write yes or no.",
        "degrees": "Write degrees with a decimal point, for example 12.345678.",
    }[column.kind]


def _whole_number(column: Column) -> str:
    low, high = column.low, column.high
    example = 12 if (low is None or low <= 12) and (high is None or high >= 12) else low if low is not None else high
    if low is not None and high is not None:
        return f"Write a whole number from {low} to {high}, for example {example}."
    if low is not None:
        return f"Write a whole number of {low} or more, for example {example}."
    return "Write a whole number, for example 12."


def _refuse_formula(cell: str) -> None:
    if cell.startswith(FORMULA_STARTS):
        raise CellError(FORMULA)


def _text(column: Column, cell: str) -> str:
    if not (column.name == "phone" and PHONE.fullmatch(cell)):
        _refuse_formula(cell)
    if not cell.isprintable():
        raise CellError("This cell holds signs that cannot be printed. Write it on one line, without tabs.")
    if column.length is not None and len(cell) > column.length:
        raise CellError(f"This text has {len(cell)} characters. {_what(column)}")
    return cell


def _whole(column: Column, cell: str) -> int:
    sign = -1 if MINUS_NUMBER.fullmatch(cell) else 1
    if sign < 0 and (column.low is None or column.low < 0):
        cell = cell[1:].strip()
    elif sign > 0:
        _refuse_formula(cell)
    if not cell.isdecimal() or len(cell) > MOST_DIGITS:
        raise CellError(_what(column))
    number = sign * int(cell)
    if (column.low is not None and number < column.low) or (column.high is not None and number > column.high):
        raise CellError(_what(column))
    return number


def _date(column: Column, cell: str) -> date:
    _refuse_formula(cell)
    try:
        return date.fromisoformat(_ascii(cell, ISO_DAY))
    except ValueError:
        raise CellError(_what(column)) from None


def _local_time(column: Column, cell: str) -> datetime:
    _refuse_formula(cell)
    try:
        return datetime.fromisoformat(_ascii(cell, ISO_MOMENT))
    except ValueError:
        raise CellError(_what(column)) from None


def _clock(column: Column, cell: str) -> int:
    found = CLOCK.fullmatch(cell)
    if found is None:
        raise CellError(_what(column))
    hours, minutes = int(found[1]), int(found[2])
    if minutes > 59 or hours * 60 + minutes > 1440:
        raise CellError(_what(column))
    return hours * 60 + minutes


def _yes_no(column: Column, cell: str) -> bool:
    if cell.casefold() not in ("yes", "no"):
        raise CellError(_what(column))
    return cell.casefold() == "yes"


def _word(column: Column, cell: str) -> Any:
    try:
        return column.words(cell) if column.words else None
    except ValueError:
        raise CellError(_what(column)) from None


def _degrees(column: Column, cell: str) -> int:
    bound = 90 if column.name.startswith("latitude") else 180
    try:
        degrees = Decimal(cell)
    except InvalidOperation:
        raise CellError(_what(column)) from None
    if not degrees.is_finite() or abs(degrees) > bound:
        raise CellError(f"Write degrees from -{bound} to {bound} with a decimal point, for example 12.345678.")
    return int((degrees * MICRODEGREES).to_integral_value())


def _ascii(cell: str, pattern: re.Pattern[str]) -> str:
    """The same with its decimal digits in ASCII, if it has the right shape."""
    if pattern.fullmatch(cell) is None:
        raise ValueError(cell)
    return "".join(str(int(sign)) if sign.isdecimal() else sign for sign in cell)


READERS: dict[str, Read] = {
    "text": _text,
    "whole": _whole,
    "date": _date,
    "local_time": _local_time,
    "clock": _clock,
    "yes_no": _yes_no,
    "word": _word,
    "degrees": _degrees,
}


def written(column: Column, value: Any) -> str:
    """A typed value as text of the exchange format: what ``parse_row`` reads back to the same value.

    >>> from tracker.intake.tables import BY_NAME
    >>> written(BY_NAME["breaks"].columns[3], 490)
    '08:10'
    """
    if value is None:
        return ""
    if column.kind == "clock":
        return f"{value // 60:02d}:{value % 60:02d}"
    if column.kind == "local_time":
        return f"{value:%Y-%m-%dT%H:%M}"
    if column.kind == "yes_no":
        return "yes" if value else "no"
    if column.kind == "degrees":
        return str((Decimal(value) / MICRODEGREES).quantize(Decimal("0.000001")))
    return value.isoformat() if isinstance(value, time | date) else str(value)
