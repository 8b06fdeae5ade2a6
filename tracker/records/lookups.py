"""Codes of files and ids of the database, in memory: rows of the exchange format go in and come out one way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Table, insert, inspect, or_, select, true, update
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.programme import Programme
from tracker.records.columns import Column
from tracker.records.columns import Table as FileTable
from tracker.records.tables import FILES

Codes = tuple[Any, ...]
FILE = {table.name: table for table in FILES}
TARGETS = tuple(
    table.name for table in FILES if any(link.target == table.name for other in FILES for link in other.links)
)
DAY_ATTRS = ("first_day", "day", "at")


@dataclass(slots=True)
class Lookups:
    """Ids by codes and codes by ids of one programme's rows, for each table that others name."""

    programme_id: int
    zone: ZoneInfo
    first_weekday: int
    ids: dict[str, dict[Codes, int]] = field(default_factory=dict)
    codes: dict[str, dict[int, Codes]] = field(default_factory=dict)

    def add(self, table: str, codes: Codes, row_id: int) -> None:
        """Remember a row that others may name."""
        self.ids.setdefault(table, {})[codes] = row_id
        self.codes.setdefault(table, {})[row_id] = codes

    def instant(self, local: datetime) -> datetime:
        """The instant of a local time of the programme."""
        return local.replace(tzinfo=self.zone).astimezone(UTC)

    def local(self, instant: datetime) -> datetime:
        """The local time of an instant, without its zone."""
        return instant.astimezone(self.zone).replace(tzinfo=None)


def within(table: Table, programme_id: int, school_id: int | None = None) -> ColumnElement[bool]:
    """The condition that a row belongs to a programme (and to a school, or to none), through its foreign keys."""
    if table.name == Programme.__tablename__:
        return table.c.id == programme_id
    if school_id is not None and table.name == "school":
        return table.c.id == school_id
    conditions: list[ColumnElement[bool]] = []
    if "programme_id" in table.c:
        conditions.append(table.c.programme_id == programme_id)
    if school_id is not None and "school_id" in table.c:
        conditions.append(or_(table.c.school_id == school_id, table.c.school_id.is_(None)))
    if not conditions:
        needed = (column for column in table.c if not column.nullable and column.foreign_keys)
        for column in list(needed)[:1]:
            parent = next(iter(column.foreign_keys)).column.table
            conditions.append(column.in_(select(parent.c.id).where(within(parent, programme_id, school_id))))
    found = true() if not conditions else conditions[0]
    for condition in conditions[1:]:
        found = found & condition
    return found


def lookups_of(
    session: Session, programme: Programme, targets: Iterable[str] = TARGETS, school_id: int | None = None
) -> Lookups:
    """Codes and ids of a programme's rows; with ``school_id`` only of what belongs to that school or to none."""
    found = Lookups(programme.id, ZoneInfo(programme.zone), programme.first_weekday)
    wanted = set(targets)
    for name in TARGETS:
        if name in wanted:
            for row_id, values, _ in existing(session, found, FILE[name], school_id):
                found.add(name, key_of(FILE[name], values), row_id)
    return found


def find_programme(session: Session, code: str) -> Programme | None:
    """A programme by its code."""
    return session.scalars(select(Programme).where(Programme.code == code)).first()


def key_of(table: FileTable, values: Mapping[str, Any]) -> Codes:
    """The key of a row, in the order of ``table.key``; a blank is None."""
    return tuple(values.get(name) for name in table.key)


@cache
def _attrs(name: str) -> tuple[str, ...]:
    table = FILE[name]
    attrs = [*(column.attr for column in table.columns), *(link.attr for link in table.links)]
    return (*attrs, "sheet_id") if hasattr(table.model, "sheet_id") else tuple(attrs)


def existing(
    session: Session, lookups: Lookups, table: FileTable, school_id: int | None = None
) -> Iterator[tuple[int, dict[str, Any], int | None]]:
    """Rows on record as (id, values by exchange column, sheet_id); the targets they name must be known by then."""
    model = table.model
    attrs = _attrs(table.name)
    query = select(model.id, *(getattr(model, attr) for attr in attrs))
    where = within(model.__table__, lookups.programme_id, school_id)
    for row_id, *cells in session.execute(query.where(where)):
        by_attr = dict(zip(attrs, cells, strict=True))
        yield row_id, _from_record(lookups, table, by_attr), by_attr.get("sheet_id")


def _from_record(lookups: Lookups, table: FileTable, by_attr: Mapping[str, Any]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for link in table.links:
        row_id = by_attr[link.attr]
        codes = lookups.codes.get(link.target, {}).get(row_id, (None,) * len(link.columns))
        for name, code in zip(link.columns, codes, strict=True):
            if code is not None or name not in values:
                values[name] = code
    for column in table.columns:
        value = by_attr[column.attr]
        if value is not None and column.kind == "local_time":
            value = lookups.local(value)
        values[column.name] = None if value == "" else value
    return values


def linked(lookups: Lookups, table: FileTable, values: Mapping[str, Any]) -> dict[str, int | None]:
    """Ids of the rows that a row names, by attribute; None where the link is blank.

    Raises:
        KeyError: a named row is not known.
    """
    found: dict[str, int | None] = {}
    for link in table.links:
        codes = tuple(values.get(name) for name in link.columns)
        found[link.attr] = None if codes[-1] is None else lookups.ids[link.target][codes]
    return found


@cache
def _blank_is_empty(name: str) -> frozenset[str]:
    """Attributes whose blank is the empty text, because the column may not be NULL."""
    table = FILE[name]
    columns = inspect(table.model).columns
    return frozenset(
        column.attr for column in table.columns if column.kind == "text" and not columns[column.attr].nullable
    )


def to_record(lookups: Lookups, table: FileTable, values: Mapping[str, Any]) -> dict[str, Any]:
    """A row as it is stored: attributes filled from columns and links, and the derived week, day and programme.

    Raises:
        KeyError: a named row is not known.
    """
    record: dict[str, Any] = dict(linked(lookups, table, values))
    empty = _blank_is_empty(table.name)
    for column in table.columns:
        record[column.attr] = _stored(lookups, column, values.get(column.name), column.attr in empty)
    attrs = inspect(table.model).columns.keys()
    if "programme_id" in attrs:
        record["programme_id"] = lookups.programme_id
    if ("week" in attrs and "week" not in record) or ("day" in attrs and "day" not in record):
        day = _day_of(table, values)
        record.setdefault("day", day)
        record.setdefault("week", week_of(day, lookups.first_weekday))
    return {attr: value for attr, value in record.items() if attr in attrs}


def _stored(lookups: Lookups, column: Column, value: Any, empty: bool) -> Any:
    if value is None:
        return "" if empty else None
    return lookups.instant(value) if column.kind == "local_time" else value


def _day_of(table: FileTable, values: Mapping[str, Any]) -> date:
    """The local day that a fact belongs to: its first day."""
    by_attr = {column.attr: values.get(column.name) for column in table.columns}
    found: Any = next(by_attr[attr] for attr in DAY_ATTRS if by_attr.get(attr) is not None)
    value: date = found
    return value.date() if isinstance(value, datetime) else value


def insert_rows(
    session: Session, lookups: Lookups, table: FileTable, rows: Sequence[Mapping[str, Any]], keys: Sequence[Codes] = ()
) -> None:
    """Insert stored rows in bulk; with ``keys`` (one for each row) remember their ids for the links of later rows."""
    if not rows:
        return
    if not keys:
        session.execute(insert(table.model), [dict(row) for row in rows])
        return
    returning = insert(table.model).returning(table.model.id, sort_by_parameter_order=True)
    ids = session.scalars(returning, [dict(row) for row in rows]).all()
    for row_id, key in zip(ids, keys, strict=True):
        lookups.add(table.name, key, row_id)


def change_row(session: Session, table: FileTable, row_id: int, record: Mapping[str, Any]) -> None:
    """Write new values over a row on record."""
    session.execute(
        update(table.model).where(table.model.id == row_id).values(**record),
        execution_options={"synchronize_session": False},
    )
