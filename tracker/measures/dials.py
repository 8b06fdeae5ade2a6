"""Dials and counters: what was used between two readings, over roll-overs, exchanges and missed weeks.

Water meters, visit counters and machine counters all turn one way and start again at zero after their last
digit. Readings are whole dial steps. Nothing here knows what the dial counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from tracker.vocabulary import Basis, Quantity, Source

SOURCE_ORDER = (Source.DEVICE, Source.TALLY, Source.OFFICER, Source.ENGINEER)
METERED = (Quantity.WATER, Quantity.ENERGY)
WEEK = timedelta(days=7)

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
    """The rows of a frame as named tuples, in order; their columns are known to the reader, not to the types."""
    return iter(frame.itertuples(index=False))


def share_out(total: int, weights: Sequence[int]) -> list[int]:
    """Share a whole number by weights so that the shares are whole and add up exactly (largest remainder).

    Everybody first gets the whole part of total × weight ÷ sum of weights; what is left goes one by one to
    the largest remainders, the earlier first where they are equal. Without any weight the last takes all.

    >>> share_out(10, [5, 5, 4])
    [4, 3, 3]
    >>> share_out(7, [0, 0])
    [0, 7]
    """
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
    rows: list[dict[str, Any]] = []
    before: Any = None
    order = _one_source(readings, preferred or {}).sort_values(["unit_id", "quantity", "at"], kind="stable")
    for number, row in enumerate(rows_of(order)):
        same = before is not None and (before.unit_id, before.quantity) == (row.unit_id, row.quantity)
        turned = _turned(before, row) if same else _since_installation(row, period_from)
        rows += [_use(number, before if same else None, row, *part) for part in turned]
        before = row
    return _frame(rows, DIAL_USES)


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
    parts: dict[int, list[Any]] = {}
    for use in rows_of(dial_uses(readings, period_from=period_from, preferred=preferred)):
        parts.setdefault(use.interval, []).append(use)
    return _frame([_joined(uses) for uses in parts.values()], INTERVALS)


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
    found: dict[tuple[Any, ...], list[Any]] = {}
    for row in rows_of(intervals):
        days = calendar.get(schools.get(row.unit_id, -1), {})
        for week, steps, basis in interval_shares(row, days):
            cell = found.setdefault((row.unit_id, row.quantity, row.source, week), [0, 0, basis])
            cell[0] += steps
            cell[1] = None if pd.isna(row.step_ml) else cell[1] + steps * int(row.step_ml)
            cell[2] = Basis.MODELLED if Basis.MODELLED in (cell[2], basis) else basis
    rows = [dict(zip(WEEK_USES, (*key, *cell), strict=True)) for key, cell in sorted(found.items())]
    return _frame(rows, WEEK_USES)


def first_week(occasions: pd.DataFrame) -> date:
    """The earliest week that a frame ``occasions`` knows, ``date.max`` where it knows none."""
    return min((week.date() for week in occasions["week"]), default=date.max)


def school_calendar(occasions: pd.DataFrame) -> dict[int, dict[date, int]]:
    """School id → week → school days, weeks in order."""
    calendar: dict[int, dict[date, int]] = {}
    for school, week, days in sorted(
        zip(occasions["school_id"], occasions["week"], occasions["school_days"], strict=True)
    ):
        calendar.setdefault(school, {})[week.date()] = int(days)
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
    chosen: dict[tuple[int, str], tuple[int, str]] = {}
    for unit, quantity, source in zip(readings["unit_id"], readings["quantity"], readings["source"], strict=True):
        rank = -1 if preferred.get(unit) == source else SOURCE_ORDER.index(Source(source))
        key = (unit, quantity)
        chosen[key] = min(chosen.get(key, (rank, source)), (rank, source))
    keep = [
        chosen[unit, quantity][1] == source
        for unit, quantity, source in zip(readings["unit_id"], readings["quantity"], readings["source"], strict=True)
    ]
    return readings[pd.Series(keep, index=readings.index, dtype=bool)]


def _turned(before: Any, row: Any) -> list[tuple[Any, int]]:
    """(the reading whose dial turned, steps), one or two of them."""
    if before.install_from == row.install_from:
        return [(row, use_between(int(before.value), int(row.value), int(row.digits)))]
    if pd.isna(before.last_value):
        return []
    old = use_between(int(before.value), int(before.last_value), int(before.digits))
    return [(before, old), (row, use_between(int(row.first_value), int(row.value), int(row.digits)))]


def _since_installation(row: Any, period_from: date | None) -> list[tuple[Any, int]]:
    if pd.isna(row.install_from) or pd.isna(row.first_value):
        return []
    if period_from is not None and _day(row.install_from).date() < period_from:
        return []
    return [(row, use_between(int(row.first_value), int(row.value), int(row.digits)))]


def _use(number: int, before: Any, row: Any, dial: Any, steps: int) -> dict[str, Any]:
    installed = pd.Timestamp(dial.install_from)
    start_at = before.at if before is not None else _instant(installed)
    return {
        "unit_id": row.unit_id,
        "quantity": row.quantity,
        "source": row.source,
        "interval": number,
        "start_at": start_at,
        "end_at": row.at,
        "start_day": before.day if before is not None else _day(installed),
        "end_day": row.day,
        "after_week": before.week if before is not None else pd.NaT,
        "week": row.week,
        "dial": _day(installed),
        "steps": steps,
        "step_ml": dial.step_ml,
        "u_permille": dial.u_permille,
        "first_end": before is None,
    }


def _instant(moment: pd.Timestamp) -> pd.Timestamp:
    return moment.tz_localize("UTC") if moment.tzinfo is None else moment.tz_convert("UTC")


def _day(moment: pd.Timestamp) -> pd.Timestamp:
    return _instant(moment).tz_localize(None).normalize()


def _frame(rows: list[dict[str, Any]], columns: Mapping[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(columns)).astype(dict(columns))
