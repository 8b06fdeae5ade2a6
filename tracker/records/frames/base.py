"""How a query's rows become a frame: fixed columns and types, also when nothing was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import ColumnElement, Select, String, select, type_coerce
from sqlalchemy.orm import Session

from tracker.models.school import School
from tracker.records.asked import AnyQuery, cells_of

DAY = "datetime64[us]"
INSTANT = "datetime64[us, UTC]"


@dataclass(frozen=True, slots=True)
class Scope:
    """What is asked for: the days from ``first_day`` to ``last_day``, at some schools or (None) at all of them."""

    programme_id: int
    first_day: date
    last_day: date
    school_ids: tuple[int, ...] | None = None


def schools_in(scope: Scope) -> Select[int]:
    """The ids of the scope's schools, as a subquery."""
    chosen = select(School.id).where(School.programme_id == scope.programme_id)
    return chosen if scope.school_ids is None else chosen.where(School.id.in_(scope.school_ids))


def week_in(column: Any, scope: Scope) -> ColumnElement[bool]:
    """Weeks that have a day in the scope; a week is named by its first day."""
    found: ColumnElement[bool] = column.between(scope.first_day - timedelta(days=6), scope.last_day)
    return found


def day_in(column: Any, scope: Scope) -> ColumnElement[bool]:
    """Days of the scope."""
    found: ColumnElement[bool] = column.between(scope.first_day, scope.last_day)
    return found


def holds_in(row: Any, scope: Scope) -> ColumnElement[bool]:
    """Dated rows (from_day, until_day inclusive or empty) that hold on a day of the scope."""
    found: ColumnElement[bool] = (row.from_day <= scope.last_day) & (
        row.until_day.is_(None) | (row.until_day >= scope.first_day)
    )
    return found


def words(column: Any) -> ColumnElement[str]:
    """A column of the vocabulary as plain text, without making an enum of every cell."""
    return type_coerce(column, String)


def stored(column: Any) -> ColumnElement[Any]:
    """A day or an instant as the database's driver gives it: text from SQLite, which numpy reads at once."""
    return type_coerce(column, String)


def _days(values: Sequence[date | str | None]) -> Any:
    return np.array(values, dtype=DAY)


def _utc(values: Sequence[datetime | str | None]) -> Any:
    naive = [
        value if value is None or isinstance(value, str) else value.astimezone(UTC).replace(tzinfo=None)
        for value in values
    ]
    return pd.DatetimeIndex(np.array(naive, dtype=DAY)).tz_localize("UTC")


_MAKERS: dict[str, Callable[[Sequence[Any]], Any]] = {
    "str": lambda values: pd.array(["" if value is None else value for value in values], dtype="str"),
    DAY: _days,
    INSTANT: _utc,
}


def to_frame(columns: Mapping[str, str], rows: Sequence[Sequence[Any]]) -> pd.DataFrame:
    """A frame of these columns and types; an empty cell is "" in text, NaN in floats, NaT in days and instants.

    >>> to_frame({"unit_id": "int64", "day": "datetime64[us]"}, []).dtypes.astype(str).tolist()
    ['int64', 'datetime64[us]']
    """
    return _from_cells(columns, [[row[place] for row in rows] for place in range(len(columns))])


def _from_cells(columns: Mapping[str, str], cells: Sequence[Sequence[Any]]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            name: _MAKERS[kind](values) if kind in _MAKERS else np.array(values, dtype=kind)
            for (name, kind), values in zip(columns.items(), cells, strict=True)
        }
    )


def read(session: Session, columns: Mapping[str, str], query: AnyQuery) -> pd.DataFrame:
    """Run one query whose columns stand in the order of ``columns``."""
    if session.autoflush:
        session.flush()
    # As the driver gives them: ``to_frame`` knows both drivers' days and instants.
    return _from_cells(columns, cells_of(session, query, len(columns)))
