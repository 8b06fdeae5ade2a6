"""What a file of the exchange format is made of: columns, links to rows of other files, keys."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in the file, what may stand in it, and the attribute it fills.

    kind: text, whole, date (2026-02-03), local_time (2026-02-03T08:10, in the programme's zone), clock (08:10),
    yes_no, word (of ``words``), degrees (decimal). ``low`` and ``high`` bound whole numbers.
    """

    name: str
    kind: str
    attr: str
    required: bool = True
    words: type[StrEnum] | None = None
    low: int | None = None
    high: int | None = None
    length: int | None = None
    doc: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """Columns that together name a row of another table ("area"; "school" + "unit")."""

    columns: tuple[str, ...]
    target: str
    attr: str
    required: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """One file. ``key``: columns that name a row. ``fact``: brought by week sheets, so it belongs to one."""

    name: str
    model: type[Any]
    doc: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    links: tuple[Link, ...] = ()
    fact: bool = False


def text(name: str, length: int, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """A text column."""
    return Column(name, "text", attr or name, required, length=length, doc=doc)


def whole(
    name: str, low: int | None = 0, high: int | None = None, *, attr: str = "", required: bool = True, doc: str = ""
) -> Column:
    """A whole-number column."""
    return Column(name, "whole", attr or name, required, low=low, high=high, doc=doc)


def day(name: str, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """A calendar day."""
    return Column(name, "date", attr or name, required, doc=doc)


def moment(name: str, attr: str, *, required: bool = True, doc: str = "") -> Column:
    """A local time in the programme's zone."""
    return Column(name, "local_time", attr, required, doc=doc)


def clock(name: str, attr: str) -> Column:
    """A time of day, kept as minutes after midnight."""
    return Column(name, "clock", attr)


def yes(name: str, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """Yes or no."""
    return Column(name, "yes_no", attr or name, required, doc=doc)


def word(name: str, words: type[StrEnum], *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """One word of a list."""
    return Column(name, "word", attr or name, required, words=words, doc=doc)


AREA = Link(("area",), "areas", "area_id")
AREA_OR_NONE = Link(("area",), "areas", "area_id", required=False)
SCHOOL = Link(("school",), "schools", "school_id")
SCHOOL_OR_NONE = Link(("school",), "schools", "school_id", required=False)
SHIFT = Link(("school", "shift"), "shifts", "shift_id")
UNIT = Link(("school", "unit"), "units", "unit_id")
UNIT_OR_NONE = Link(("school", "unit"), "units", "unit_id", required=False)
FROM = day("from_day")
UNTIL = day("until_day", required=False, doc="last day; blank: still so")
REF = text("ref", 40)
NOTE = text("note", 200, required=False, doc="needed where a check asks whether the figure is right")
