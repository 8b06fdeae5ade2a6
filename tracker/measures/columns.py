"""Columns of a frame as arrays: text as objects, days as whole numbers, one number for an id and a day."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats: TypeAlias = npt.NDArray[np.float64]
Whole: TypeAlias = npt.NDArray[np.int64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Texts: TypeAlias = npt.NDArray[np.object_]

DAY_KEY = 100_000  # more than any day number


def text(column: pd.Series[Any]) -> Texts:
    """A column of text as objects."""
    return column.to_numpy(dtype=object)


def day_numbers(column: pd.Series[Any]) -> Whole:
    """Days of a column as whole numbers, days since 1970.

    >>> day_numbers(pd.Series(pd.to_datetime(["1970-01-03"]))).tolist()
    [2]
    """
    return column.to_numpy("datetime64[D]").astype(np.int64)


def keys(ids: Whole, days: Whole) -> Whole:
    """One number for an id and a day, for days from 1970 to 2243.

    >>> keys(np.array([7]), np.array([20000])).tolist()
    [720000]
    """
    return ids * DAY_KEY + days


def distinct(numbers: Whole) -> Whole:
    """Each number once, in order; by sorting, which is quicker for long columns than looking each one up.

    >>> distinct(np.array([3, 1, 3])).tolist()
    [1, 3]
    """
    order = np.sort(numbers)
    first = np.ones(len(order), dtype=bool)
    first[1:] = order[1:] != order[:-1]
    return order[first]


def is_in(wanted: Whole, known: Whole) -> Flags:
    """Which numbers are among ``known``, which are in order; quick where few are asked of many.

    >>> is_in(np.array([[1, 5]]), np.array([1, 2, 3])).tolist()
    [[True, False]]
    """
    if not len(known):
        return np.zeros(wanted.shape, dtype=bool)
    at = np.minimum(np.searchsorted(known, wanted), len(known) - 1)
    return np.asarray(known[at] == wanted, dtype=bool)


def matches(wanted: Whole, known: Whole) -> tuple[Whole, Whole]:
    """Places of each wanted number and of each that is the same among ``known``, which are in order.

    >>> [places.tolist() for places in matches(np.array([5, 7]), np.array([5, 5, 6, 7]))]
    [[0, 0, 1], [0, 1, 3]]
    """
    first = np.searchsorted(known, wanted, side="left")
    count = np.searchsorted(known, wanted, side="right") - first
    place = np.repeat(np.arange(len(wanted)), count)
    return place, np.arange(len(place)) - np.repeat(np.cumsum(count) - count - first, count)


def alike(frame: pd.DataFrame, names: list[str]) -> tuple[Whole, Whole]:
    """A number for each row, the same where these columns are the same; and the first row of each number.

    Quicker than a groupby of several columns, whose order is not needed.

    >>> frame = pd.DataFrame({"a": [1, 1, 2, 1], "b": ["x", "y", "x", "x"]})
    >>> [places.tolist() for places in alike(frame, ["a", "b"])]
    [[0, 1, 2, 0], [0, 1, 2]]
    """
    number = np.zeros(len(frame), dtype=np.int64)
    for name in names:
        column = frame[name]
        values = text(column) if isinstance(column.dtype, pd.StringDtype) else column.to_numpy()
        codes, known = pd.factorize(values)
        number = pd.factorize(number * (len(known) + 1) + codes + 1)[0].astype(np.int64)
    first = np.zeros(int(number.max(initial=-1)) + 1, dtype=np.int64)
    first[number[::-1]] = np.arange(len(number) - 1, -1, -1)
    return number, first


def sums_by(names: Texts | Whole, days: Whole, amounts: Floats | Whole) -> dict[tuple[Any, Any], float]:
    """Sums by name and day (a ``date``), in order of both.

    >>> sums_by(np.array(["b", "a", "b"], dtype=object), np.array([1, 0, 1]), np.array([1.0, 2.0, 4.0]))
    {('a', datetime.date(1970, 1, 1)): 2.0, ('b', datetime.date(1970, 1, 2)): 5.0}
    """
    codes, known = pd.factorize(names, sort=True)
    wanted, place = np.unique(keys(codes.astype(np.int64), days), return_inverse=True)
    totals = np.bincount(place, weights=amounts, minlength=len(wanted)).tolist()
    found = (wanted % DAY_KEY).astype("datetime64[D]").tolist()
    named = np.asarray(known)[wanted // DAY_KEY].tolist()
    return dict(zip(zip(named, found, strict=True), totals, strict=True))


def named(name: Any, *, is_day: bool) -> Any:
    """A group's name as plain Python: a ``date`` for a day number."""
    if is_day:
        return np.datetime64(int(name), "D").item()
    return name.item() if isinstance(name, np.generic) else name
