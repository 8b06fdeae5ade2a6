"""Dials and counters: what was used between two readings, over roll-overs, exchanges and missed weeks.

Water meters, visit counters and machine counters all turn one way and start again at zero after their last
digit. Readings are whole dial steps. Nothing here knows what the dial counts.
"""

from __future__ import annotations

import math
from collections import namedtuple
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.vocabulary import Basis, Quantity, Source

SOURCE_ORDER = (Source.DEVICE, Source.TALLY, Source.OFFICER, Source.ENGINEER)
METERED = (Quantity.WATER, Quantity.ENERGY)
WEEK = timedelta(days=7)
Whole = npt.NDArray[np.int64]

DIAL_USES = {
    "unit_id": "int64",
    "quantity": "str",
    "source": "str",
    "interval": "int64",
    "start_at": "datetime64[us, UTC]",
    "end_at": "datetime64[us, UTC]",
    "start_day": "datetime64[us]",
    "end_day": "datetime64[us]",
    "after_week": "datetime64[us]",
    "week": "datetime64[us]",
    "dial": "datetime64[us]",
    "steps": "int64",
    "step_ml": "float64",
    "u_permille": "float64",
    "first_end": "bool",
}
INTERVALS = {
    "unit_id": "int64",
    "quantity": "str",
    "source": "str",
    "start_at": "datetime64[us, UTC]",
    "end_at": "datetime64[us, UTC]",
    "start_day": "datetime64[us]",
    "end_day": "datetime64[us]",
    "after_week": "datetime64[us]",
    "week": "datetime64[us]",
    "steps": "int64",
    "step_ml": "float64",
    "ml": "Int64",
    "exchanged": "bool",
    "interval": "int64",
}
SHARED = {
    "unit_id": "int64",
    "quantity": "str",
    "source": "str",
    "week": "datetime64[us]",
    "steps": "int64",
    "step_ml": "float64",
    "modelled": "bool",
}
WEEK_USES = {
    "unit_id": "int64",
    "quantity": "str",
    "source": "str",
    "week": "datetime64[us]",
    "steps": "int64",
    "ml": "Int64",
    "basis": "str",
}


def use_between(start: int, end: int, digits: int) -> int:
    """Steps that a dial turned from one reading to the next: (end − start) mod 10^digits.

    Whole extra rounds between two readings cannot be seen.

    Raises:
        ValueError: ``digits`` is below 1, or a reading does not fit on the dial.

    >>> use_between(99950, 120, 5)
    170
    """
    if digits < 1:
        raise ValueError(f"a dial has at least one digit, got {digits}")
    if not (0 <= start < 10**digits and 0 <= end < 10**digits):
        raise ValueError(f"readings {start} and {end} do not fit on a dial of {digits} digits")
    return (end - start) % int(10**digits)


def stood_in(row: Any, week: date) -> bool:
    """Whether a dated row (from_day; until_day its last day or NaT) holds on any day of a week."""
    begun = bool(pd.isna(row.from_day) or row.from_day.date() < week + WEEK)
    return begun and bool(pd.isna(row.until_day) or row.until_day.date() >= week)


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """The rows of a frame as named tuples, in order; their columns are known to the reader, not to the types.

    The same values as ``frame.itertuples(index=False)``, without its cost of a new class for every call and of
    reading text cell by cell.
    """
    columns = [_cells(column) for _, column in frame.items()]
    return map(_row_class(tuple(str(name) for name in frame.columns))._make, zip(*columns, strict=True))


@lru_cache(maxsize=256)
def _row_class(names: tuple[str, ...]) -> Any:
    return namedtuple("Row", names, rename=True)


def _cells(column: pd.Series[Any]) -> list[Any]:
    if isinstance(column.dtype, pd.StringDtype):
        return column.to_numpy(dtype=object).tolist()
    return column.tolist()


def share_out(total: int, weights: Sequence[int]) -> list[int]:
    """Share a whole number by weights so that the shares are whole and add up exactly (largest remainder).

    Everybody first gets the whole part of total × weight ÷ sum of weights; what is left goes one by one to
    the largest remainders, the earlier first where they are equal. Without any weight the last takes all.

    >>> share_out(10, [5, 5, 4])
    [4, 3, 3]
    >>> share_out(7, [0, 0])
    [0, 7]
    """
    if len(weights) == 1:
        return [total]
    base = sum(weights)
    if base == 0:
        return [0] * (len(weights) - 1) + [total]
    shares = [total * weight // base for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda place: (-(total * weights[place] % base), place))
    for place in by_remainder[: total - sum(shares)]:
        shares[place] += 1
    return shares


def dial_uses(
    readings: pd.DataFrame, *, period_from: date | None = None, preferred: Mapping[int, Source] | None = None
) -> pd.DataFrame:
    """What each single dial turned between consecutive readings; an exchange gives two rows of one interval.

    Args:
        readings: frame ``readings``. Of each unit and quantity one source is used (see ``interval_uses``).
        period_from: a dial installed earlier gives no interval up to its first reading; None takes all.
        preferred: unit_id → the source that counts there.
    Returns:
        unit_id, quantity, source, interval (number; two dials of one interval share it), start_at, end_at,
        start_day, end_day, after_week (week of the reading before; NaT after an installation), week (of the
        end reading), dial (its installation), steps, step_ml, u_permille, first_end (the interval starts at
        an installation, not at a reading).
    """
    order = _one_source(readings, preferred or {}).sort_values(["unit_id", "quantity", "at"], kind="stable")
    return _turned(order.reset_index(drop=True), period_from)


def interval_uses(
    readings: pd.DataFrame, *, period_from: date | None = None, preferred: Mapping[int, Source] | None = None
) -> pd.DataFrame:
    """Intervals between consecutive readings, per unit and quantity.

    Across an exchange the old dial runs to its last value and the new one from its first value:
    (last − a) mod + (b − first) mod. Where the last value of the old dial was not written down there is no
    interval. A dial's first reading closes the interval from its installation, if that lies in the period.

    One source counts per unit and quantity: ``preferred`` where it has readings, else device, tally, officer,
    engineer, in this order. Sources are never mixed, so that a slip of one cannot look like a roll-over.

    Returns:
        unit_id, quantity, source, start_at, end_at, start_day, end_day, after_week, week, steps, step_ml,
        ml (whole mL = steps × step_ml; <NA> where the dial does not show water), exchanged, interval. Where
        two dials of one interval have different steps, both are counted in their greatest common step.
    """
    return intervals_of(dial_uses(readings, period_from=period_from, preferred=preferred))


def intervals_of(uses: pd.DataFrame) -> pd.DataFrame:
    """The intervals of ``interval_uses`` from the rows of ``dial_uses``."""
    exchanged = uses["interval"].duplicated(keep=False)
    found = _single(uses[~exchanged])
    if not exchanged.any():
        return found
    parts: dict[int, list[Any]] = {}
    for use in rows_of(uses[exchanged]):
        parts.setdefault(use.interval, []).append(use)
    joined = _frame([_joined(both) for both in parts.values()], INTERVALS)
    return pd.concat([found, joined], ignore_index=True).sort_values("interval", ignore_index=True)


def _single(uses: pd.DataFrame) -> pd.DataFrame:
    """Intervals of one dial each."""
    step = uses["step_ml"].where(uses["step_ml"] > 0).apply(np.floor)
    rows = uses.assign(step_ml=step, ml=(uses["steps"] * step).astype("Int64"), exchanged=False)
    return rows[list(INTERVALS)].astype(INTERVALS).reset_index(drop=True)


def _joined(uses: Sequence[Any]) -> dict[str, Any]:
    """One interval of one dial, or of two in their greatest common step."""
    known = [int(use.step_ml) for use in uses if not math.isnan(use.step_ml) and use.step_ml > 0]
    step = math.gcd(*known) if len(known) == len(uses) else None
    factors = [size // step for size in known] if step else [1] * len(uses)
    steps = sum(use.steps * factor for use, factor in zip(uses, factors, strict=True))
    same = {name: getattr(uses[0], name) for name in INTERVALS if hasattr(uses[0], name)}
    litres = {"step_ml": step or math.nan, "ml": steps * step if step else None}
    return same | {"steps": steps, **litres, "exchanged": len(uses) > 1}


def weeks_of(interval: Any, weeks: Sequence[date]) -> list[date]:
    """The weeks that an interval is about, out of a school's weeks (first days, in order).

    A reading stands for the end of its week: the interval is about the weeks after the week of its first
    reading, up to the week of its last. After an installation it begins with the week of the installation.
    Two readings of one week are about that week.
    """
    last = interval.week.date()
    installed = bool(pd.isna(interval.after_week))
    start = interval.start_day.date() - WEEK if installed else interval.after_week.date()
    return [week for week in weeks if start < week < last] + [last]


def spread_over_weeks(intervals: pd.DataFrame, occasions: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """Dial use per unit and week; an interval over several weeks (missed readings) is shared by school days.

    Shares are whole steps by largest remainder (``share_out``), so the total stays. An interval about one
    week with school days keeps its basis (counted, or metered for water and energy), a shared one is
    modelled. Weeks without a school day get nothing, unless the interval has no other. ``occasions`` must
    hold every week that the readings are about; a week it does not hold gets no share.

    Args:
        intervals: from ``interval_uses``.
        occasions: frame ``occasions`` (school_id, week, school_days).
        units: frame ``units`` (unit_id, school_id).
    Returns:
        unit_id, quantity, source, week, steps, ml (<NA> where not water), basis.
    """
    calendar = school_calendar(occasions)
    schools: dict[Any, int] = dict(zip(units["unit_id"], units["school_id"], strict=True))
    one_week = _about_one_week(intervals, calendar, schools)
    sure = intervals.loc[one_week, ["unit_id", "quantity", "source", "week", "steps", "step_ml"]]
    rows = [
        (row.unit_id, row.quantity, row.source, week, steps, row.step_ml, basis is Basis.MODELLED)
        for row in rows_of(intervals[~one_week])
        for week, steps, basis in interval_shares(row, calendar.get(schools.get(row.unit_id, -1), {}))
    ]
    shared = pd.DataFrame(rows, columns=[*sure.columns, "modelled"]).astype(SHARED)
    return _week_uses(pd.concat([sure.assign(modelled=False).astype(SHARED), shared], ignore_index=True))


def _about_one_week(
    intervals: pd.DataFrame, calendar: Mapping[int, Mapping[date, int]], schools: Mapping[Any, int]
) -> npt.NDArray[np.bool_]:
    """Whether an interval falls to the week of its last reading alone: no week with school lies between."""
    last = intervals["week"].to_numpy("datetime64[D]")
    installed = intervals["after_week"].isna().to_numpy()
    begun = intervals["start_day"].to_numpy("datetime64[D]") - np.timedelta64(7, "D")
    after = np.where(installed, begun, intervals["after_week"].to_numpy("datetime64[D]"))
    school = np.array([schools.get(unit, -1) for unit in intervals["unit_id"].tolist()], dtype=np.int64)
    alone = np.ones(len(intervals), dtype=bool)
    for number in set(school.tolist()):
        held = np.array([week for week, days in calendar.get(number, {}).items() if days], dtype="datetime64[D]")
        mine = school == number
        between = np.searchsorted(held, last[mine], side="left") - np.searchsorted(held, after[mine], side="right")
        alone[mine] = between <= 0
    return alone


def _week_uses(rows: pd.DataFrame) -> pd.DataFrame:
    """Shares of intervals added up by unit, quantity, source and week."""
    key = ["unit_id", "quantity", "source", "week"]
    rows = rows.assign(ml=(rows["steps"] * rows["step_ml"]).astype("Int64"))
    if rows.duplicated(key).any():
        unknown = rows["ml"].isna()
        sums = rows.assign(unknown=unknown).groupby(key, as_index=False)
        rows = sums.agg(
            steps=("steps", "sum"), ml=("ml", "sum"), modelled=("modelled", "any"), unknown=("unknown", "any")
        )
        rows["ml"] = rows["ml"].mask(rows["unknown"])
    sure = np.where(rows["quantity"].isin(METERED), Basis.METERED.value, Basis.COUNTED.value)
    rows = rows.assign(basis=np.where(rows["modelled"], Basis.MODELLED.value, sure))
    return rows[list(WEEK_USES)].astype(WEEK_USES).sort_values(key, ignore_index=True)


def first_week(occasions: pd.DataFrame, since: date | None = None) -> date:
    """The first day that a frame ``occasions`` knows of: ``since``, the day from which it was read, where that is
    given (weeks without school have no row), else its earliest week; ``date.max`` where it knows none."""
    return since or min((week.date() for week in occasions["week"]), default=date.max)


def school_calendar(occasions: pd.DataFrame) -> dict[int, dict[date, int]]:
    """School id → week → school days, weeks in order."""
    calendar: dict[int, dict[date, int]] = {}
    weeks = occasions["week"].to_numpy("datetime64[D]").tolist()
    rows = zip(occasions["school_id"].tolist(), weeks, occasions["school_days"].tolist(), strict=True)
    for school, week, days in sorted(rows):
        calendar.setdefault(school, {})[week] = int(days)
    return calendar


def interval_shares(interval: Any, days: Mapping[date, int]) -> list[tuple[date, int, Basis]]:
    """Weeks that get a share of an interval, with their whole steps and the basis. ``days``: school days by week."""
    weeks = weeks_of(interval, list(days))
    open_weeks = [week for week in weeks if days.get(week)] or weeks[-1:]
    steps = share_out(int(interval.steps), [days.get(week, 0) for week in open_weeks])
    sure = Basis.METERED if interval.quantity in METERED else Basis.COUNTED
    basis = sure if len(open_weeks) == 1 else Basis.MODELLED
    return [(week, share, basis) for week, share in zip(open_weeks, steps, strict=True)]


def _one_source(readings: pd.DataFrame, preferred: Mapping[int, Source]) -> pd.DataFrame:
    kinds = readings[["unit_id", "quantity", "source"]].drop_duplicates()
    if not kinds.duplicated(["unit_id", "quantity"]).any():
        return readings
    chosen: dict[tuple[int, str], tuple[int, str]] = {}
    for unit, quantity, source in rows_of(kinds):
        rank = -1 if preferred.get(unit) == source else SOURCE_ORDER.index(Source(source))
        key = (unit, quantity)
        chosen[key] = min(chosen.get(key, (rank, source)), (rank, source))
    keep = [(*key, source) for key, (_, source) in chosen.items()]
    return readings.merge(pd.DataFrame(keep, columns=kinds.columns).astype(kinds.dtypes), on=list(kinds.columns))


def _turned(order: pd.DataFrame, period_from: date | None) -> pd.DataFrame:
    """What dials turned before each reading: from the reading before, over an exchange, or since installation.

    ``old`` and ``new`` are row numbers; a part runs on dial ``dial`` from ``start`` to ``end``.
    """
    value, first, last = (order[name].to_numpy("float64") for name in ("value", "first_value", "last_value"))
    installed = pd.to_datetime(order["install_from"], utc=True).astype("datetime64[us, UTC]")
    fitted = installed.to_numpy("datetime64[us]")
    number = np.arange(len(order))
    same = np.zeros(len(order), dtype=bool)
    same[1:] = np.logical_and.reduce([_as_before(order[name]) for name in ("unit_id", "quantity")])
    one = same & np.concatenate([[False], fitted[1:] == fitted[:-1]])[: len(order)]
    two = same & ~one & np.concatenate([[False], ~np.isnan(last[:-1])])[: len(order)]
    begun = ~same & ~np.isnat(fitted) & ~np.isnan(first)
    if period_from is not None:
        begun &= fitted >= np.datetime64(period_from)
    parts = [
        (number[one], number[one] - 1, number[one], value[number[one] - 1], value[one]),
        (number[two], number[two] - 1, number[two] - 1, value[number[two] - 1], last[number[two] - 1]),
        (number[two], number[two] - 1, number[two], first[two], value[two]),
        (number[begun], np.full(begun.sum(), -1), number[begun], first[begun], value[begun]),
    ]
    new, old, dial, start, end = (np.concatenate(column) for column in zip(*parts, strict=True))
    place = np.argsort(new, kind="stable")
    return _uses(order, installed, (new[place], old[place], dial[place]), (start[place], end[place]))


def _as_before(column: pd.Series[Any]) -> npt.NDArray[np.bool_]:
    cells = column.to_numpy(dtype=object if isinstance(column.dtype, pd.StringDtype) else None)
    return np.asarray(cells[1:] == cells[:-1], dtype=bool)


def _uses(
    order: pd.DataFrame, installed: pd.Series[Any], places: tuple[Any, Any, Any], ends: tuple[Any, Any]
) -> pd.DataFrame:
    new, old, dial = places
    row, before, on = order.iloc[new], order.iloc[old], order.iloc[dial]
    first_end = old < 0
    fitted = installed.iloc[dial].reset_index(drop=True)
    day = fitted.dt.tz_localize(None).dt.normalize()
    known = {
        **{name: row[name].to_numpy() for name in ("unit_id", "quantity", "source")},
        "interval": new,
        "start_at": fitted.where(first_end, before["at"].reset_index(drop=True)),
        "end_at": row["at"].to_numpy(),
        "start_day": day.where(first_end, before["day"].reset_index(drop=True)),
        "end_day": row["day"].to_numpy(),
        "after_week": before["week"].reset_index(drop=True).mask(first_end),
        "week": row["week"].to_numpy(),
        "dial": day,
        "steps": _steps(*ends, on["digits"].to_numpy("int64")),
        **{name: on[name].to_numpy("float64") for name in ("step_ml", "u_permille")},
        "first_end": first_end,
    }
    return pd.DataFrame(known).astype(DIAL_USES)


def _steps(start: npt.NDArray[np.float64], end: npt.NDArray[np.float64], digits: Whole) -> Whole:
    """``use_between`` of arrays; the first pair that does not fit its dial is refused."""
    begin, stop, size = start.astype(np.int64), end.astype(np.int64), 10 ** np.maximum(digits, 0)
    wrong = (digits < 1) | (begin < 0) | (begin >= size) | (stop < 0) | (stop >= size)
    if wrong.any():
        place = int(np.argmax(wrong))
        use_between(int(begin[place]), int(stop[place]), int(digits[place]))
    return np.asarray((stop - begin) % size, dtype=np.int64)


def _frame(rows: list[dict[str, Any]], columns: Mapping[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(columns)).astype(dict(columns))
