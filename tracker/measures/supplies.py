"""Menstrual supplies: what was given out, days sold out, and the demand that this shows.

Everything is kept by machine and week at the finest, so that no figure can point at a girl.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import Any, Final

import numpy as np
import pandas as pd

from tracker.measures.columns import day_numbers, keys
from tracker.measures.figure import Figure, not_recorded, weakest
from tracker.measures.parts import school_week_parts
from tracker.vocabulary import Basis, Quantity

KEY: Final = ["unit_id", "week"]
WEEK: Final = pd.Timedelta(days=7)
GIVEN_COLUMNS: Final = [
    "unit_id",
    "school_id",
    "week",
    "given_out",
    "basis",
    "used",
    "expected",
    "gap",
    "flag",
]
PER_DAY: Final = "napkins per school day"
SOLD_OUT_RANGE: Final = "from no sold-out day to all days sold out among the days not answered"


class Flag(StrEnum):
    """Why a machine's week is not used."""

    NONE = ""
    NEGATIVE = "negative"  # more left than there can be: a refill was not written down, or a slip of the pen
    NOT_RECORDED = "not recorded"


def given_out_weeks(
    machine_weeks: pd.DataFrame,
    vend_weeks: pd.DataFrame,
    units: pd.DataFrame | None = None,
    occasions: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Napkins that left each machine in each week.

    A machine that has any counter difference in ``vend_weeks`` is a counting machine in all its weeks: given
    out is the counter difference with its own basis (counted; modelled where readings were missed and shared
    out). A machine without one: left at the end of the week before + refilled − left now, over all its
    products, basis modelled. A week whose number is missing or negative is not used.

    The week before is the machine's row seven days earlier. Where ``occasions`` is given it may be an older
    row, if the school held no school day in the weeks between (holidays).

    Args:
        machine_weeks: frame ``machine_weeks`` (``left``, ``refilled`` in napkins, NaN = not recorded).
        vend_weeks: ``unit_id``, ``week``, ``steps`` (napkins, NaN = no reading) and, where the frame has
            them, ``quantity`` (only "vends" is read) and ``basis``.
        units: ``unit_id``, ``school_id`` of machines that have a counter but no row in ``machine_weeks``.
        occasions: ``school_id``, ``week``, ``school_days``.
    Returns:
        One row a machine and week: ``given_out`` (napkins, NaN when not used), ``basis``, ``used`` and
        ``expected`` (0 or 1; a week without a school day is not expected), ``gap`` (counter minus stock
        difference where both are known; shown, not judged), ``flag``.
    Raises:
        ValueError: a counter whose unit belongs to no school.
    Source: stock identity (arithmetic).
    """
    stock = _stock_weeks(machine_weeks, occasions)
    counter = _counter_weeks(vend_weeks)
    rows = stock.merge(counter, on=KEY, how="outer").sort_values(KEY, ignore_index=True)
    rows["school_id"] = rows["unit_id"].map(_schools(machine_weeks, units))
    if rows["school_id"].isna().any():
        raise ValueError("a machine with a counter belongs to no school; give its unit in units")
    rows["school_id"] = rows["school_id"].astype("int64")
    counting = rows["unit_id"].isin(counter["unit_id"])
    amount = rows["steps"].where(counting, rows["stock_out"])
    rows["used"] = (amount >= 0).astype("int64")
    rows["given_out"] = amount.where(amount >= 0)
    rows["basis"] = rows["counter_basis"].where(counting, Basis.MODELLED.value).fillna(Basis.COUNTED.value)
    rows["expected"] = ((rows["school_days"] > 0) | (rows["used"] == 1)).astype("int64")
    rows["gap"] = rows["steps"] - rows["stock_out"]
    rows["flag"] = [_flag(number) for number in amount]
    return rows[GIVEN_COLUMNS].astype({"flag": "str", "basis": "str"})


def _flag(amount: float) -> str:
    if math.isnan(amount):
        return Flag.NOT_RECORDED.value
    return Flag.NEGATIVE.value if amount < 0 else Flag.NONE.value


def _stock_weeks(machine_weeks: pd.DataFrame, occasions: pd.DataFrame | None) -> pd.DataFrame:
    """Per machine and week: school_days and stock_out = left the week before + refilled − left (napkins)."""
    numbers = ["left", "refilled", "school_days"]
    rows = machine_weeks[[*KEY, "school_id", *numbers]].astype(dict.fromkeys(numbers, "float64"))
    grouped = rows.groupby(KEY, sort=True)
    # One product without a number makes the machine's sum unknown: blank is never zero.
    now = grouped[["left", "refilled"]].sum(skipna=False)
    now[["school_days", "school_id"]] = grouped[["school_days", "school_id"]].max()
    now = now.reset_index()
    empty = (now["school_days"] == 0) & now["left"].isna() & now["refilled"].isna()
    written = now[~empty].copy()
    before = written.groupby("unit_id")[["week", "left"]].shift(1)
    joined = _follows(before["week"], written, occasions)
    written["stock_out"] = before["left"].where(joined) + written["refilled"] - written["left"]
    now["stock_out"] = written["stock_out"]
    return now[[*KEY, "school_days", "stock_out"]]


def _follows(before: pd.Series[Any], rows: pd.DataFrame, occasions: pd.DataFrame | None) -> pd.Series[bool]:
    """Whether no week of school lies between a machine's row and its row before."""
    adjacent = rows["week"] - before == WEEK
    if occasions is None:
        return adjacent
    held = occasions[occasions["school_days"] > 0]
    known = np.unique(keys(held["school_id"].to_numpy("int64"), day_numbers(held["week"])))
    school = rows["school_id"].to_numpy("int64")
    first, last = (keys(school, day_numbers(days.fillna(rows["week"]))) for days in (before, rows["week"]))
    free = np.searchsorted(known, last, side="left") <= np.searchsorted(known, first, side="right")
    return adjacent | (before.notna() & pd.Series(free, index=rows.index, dtype="bool"))


def _counter_weeks(vend_weeks: pd.DataFrame) -> pd.DataFrame:
    """Per machine and week the counter difference in napkins, and its basis."""
    rows = vend_weeks
    if "quantity" in rows.columns:
        rows = rows[rows["quantity"] == Quantity.VENDS.value]
    counter = rows[[*KEY, "steps"]].astype({"steps": "float64"})
    counter["counter_basis"] = rows["basis"] if "basis" in rows.columns else Basis.COUNTED.value
    if not counter.duplicated(KEY).any():
        return counter.sort_values(KEY, ignore_index=True).astype({"counter_basis": "str"})
    grouped = counter.groupby(KEY, sort=True)
    found = grouped[["steps"]].sum(skipna=False)
    # "counted" sorts before "modelled", the only two a counter can have: the last is the weaker one.
    found["counter_basis"] = grouped["counter_basis"].max()
    return found.reset_index().astype({"counter_basis": "str"})


def _schools(machine_weeks: pd.DataFrame, units: pd.DataFrame | None) -> dict[int, int]:
    schools: dict[int, int] = {}
    for frame in (units, machine_weeks):
        if frame is not None:
            schools.update(zip(frame["unit_id"], frame["school_id"], strict=True))
    return schools


def given_out_total(weeks: pd.DataFrame) -> Figure:
    """Napkins given out over the rows of ``given_out_weeks``, with what each school and week brought.

    ``used`` and ``expected`` count machine-weeks; a week not used adds nothing, so completeness falls. The
    parts are summed by school and week; their sum is the value. Basis: the weakest of the weeks used.

    >>> frame = pd.DataFrame({"school_id": [1, 1], "week": pd.to_datetime(["2030-01-07", "2030-01-14"]),
    ...     "given_out": [40.0, float("nan")], "basis": ["counted", "modelled"],
    ...     "used": [1, 0], "expected": [1, 1]})
    >>> total = given_out_total(frame)
    >>> total.value, total.unit, total.basis.value, total.used, total.expected
    (40.0, 'napkins', 'counted', 1, 2)
    """
    expected = int(weeks["expected"].sum())
    known = weeks[weeks["used"] == 1]
    if known.empty:
        return Figure(None, "napkins", Basis.COUNTED, expected=expected, records="machine-weeks", about_people=True)
    return Figure(
        float(known["given_out"].sum()),
        "napkins",
        weakest(Basis(name) for name in known["basis"].unique()),
        used=len(known),
        expected=expected,
        records="machine-weeks",
        about_people=True,
        parts=school_week_parts(known, "given_out"),
    )


def days_sold_out(machine_weeks: pd.DataFrame) -> Figure:
    """Machine days on which a machine ran out, of the school days on which the question was answered.

    value = low = Σ ``sold_out_days``; high = value + school days not answered. ``used`` is the days answered,
    ``expected`` the school days. No interval where every day was answered. None where no day was answered.

    Raises:
        ValueError: more days sold out than answered, or more answered than there were school days.
    """
    unit = "machine days"
    # One row a machine and week, however many products it holds: its days are the machine's.
    keys = [*KEY, *(name for name in ("school_id", "school") if name in machine_weeks.columns)]
    rows = machine_weeks.groupby(keys, sort=True)[["sold_out_days", "asked_days", "school_days"]].max()
    rows = rows.reset_index()
    expected = int(rows["school_days"].fillna(0).sum())
    known = rows[(rows["asked_days"].fillna(0) > 0) & rows["sold_out_days"].notna()]
    if known.empty:
        return not_recorded(unit, Basis.COUNTED, expected=expected, records=unit)
    if ((known["sold_out_days"] > known["asked_days"]) | (known["asked_days"] > known["school_days"])).any():
        raise ValueError("a machine cannot be sold out on more days than were answered and had school")
    value, answered = float(known["sold_out_days"].sum()), int(known["asked_days"].sum())
    open_days = expected - answered
    return Figure(
        value,
        unit,
        Basis.COUNTED,
        low=value if open_days else None,
        high=value + open_days if open_days else None,
        used=answered,
        expected=expected,
        records=unit,
        note=SOLD_OUT_RANGE if open_days else "",
        parts=school_week_parts(known, "sold_out_days"),
    )


def demand_rate(given_out: Sequence[float], days_in_stock: Sequence[float]) -> float | None:
    """Napkins asked for per day in stock: Σ given out ÷ Σ days in stock (pooled, never a mean of rates).

    A period without a day in stock is left out of both sums. None where no day in stock is left.

    Source: average consumption corrected for stock-outs (derived; the unpooled idea is in The Logistics
    Handbook, USAID | DELIVER PROJECT, section 3.2).

    >>> demand_rate([120, 90, 60], [30, 30, 15])
    3.6
    """
    pairs = [(given, days) for given, days in zip(given_out, days_in_stock, strict=True) if days > 0]
    days = sum(days for _, days in pairs)
    return sum(given for given, _ in pairs) / days if days else None


def demand_per_day(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> Figure:
    """Napkins asked for per machine and school day in stock, corrected for sold-out days.

    Machine-weeks that are used in ``given_out_weeks`` and have a school day. Days in stock = school days −
    sold-out days; a day on which nobody answered counts as in stock, so the value is the low end; the high
    end counts those days as sold out (no interval where nothing is left to divide by). Where every day was
    sold out the value is None and the note says that demand was at least what was given out.
    """
    rows = _days_in_stock(weeks, machine_weeks)
    expected = int(weeks["expected"].sum())
    if rows.empty:
        return Figure(None, PER_DAY, Basis.MODELLED, expected=expected, records="machine-weeks", about_people=True)
    given = rows["given_out"].tolist()
    value = demand_rate(given, (rows["school_days"] - rows["sold"]).tolist())
    high = demand_rate(given, (rows["asked"] - rows["sold"]).tolist())
    bounded = value is not None and high is not None and high > value
    return Figure(
        value,
        PER_DAY,
        Basis.MODELLED,
        low=value if bounded else None,
        high=high if bounded else None,
        used=len(rows),
        expected=expected,
        records="machine-weeks",
        about_people=True,
        note="" if value is not None else "sold out on every school day: at least what was given out was wanted",
    )


def demand_by_school(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> pd.DataFrame:
    """Demand of each school per school day: the sum of ``demand_per_day`` over its machines.

    Returns ``school_id``, ``per_day`` (napkins; NaN where no machine has a known demand), ``machines`` and
    ``machines_known``; where the last two differ, ``per_day`` is a lower bound.
    """
    machine = ["school_id", "unit_id"]
    rows = _days_in_stock(weeks, machine_weeks)
    rows = rows[rows["school_days"] - rows["sold"] > 0]
    pooled = rows.assign(days=rows["school_days"] - rows["sold"]).groupby(machine, as_index=False)[
        ["given_out", "days"]
    ]
    known = pooled.sum()
    known["per_day"] = known["given_out"] / known["days"]
    frame = weeks[machine].drop_duplicates().merge(known[[*machine, "per_day"]], on=machine, how="left")
    grouped = frame.groupby("school_id", sort=True)["per_day"]
    sums = pd.DataFrame({"per_day": grouped.sum(min_count=1), "machines": grouped.size()})
    sums["machines_known"] = grouped.count()
    return sums.reset_index()


def _days_in_stock(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> pd.DataFrame:
    """Used machine-weeks with a school day, with school_days, sold and asked days of the machine."""
    days = machine_weeks.groupby(KEY, sort=True).agg(
        school_days=("school_days", "max"), sold=("sold_out_days", "max"), asked=("asked_days", "max")
    )
    rows = weeks[weeks["used"] == 1].merge(days.fillna(0.0).reset_index(), on=KEY, how="inner")
    return rows[rows["school_days"] > 0]
