"""Demand for menstrual supplies, corrected for sold-out days by their likelihood, by machine, school and in all.

A machine's week in which it ran out on any day answered is a week with "at least so many wanted"; see
``censored``. Requests are not girls: some bring their own, some ask twice, some ask nobody.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.censored import Demand, DemandFlag, fit_groups
from tracker.measures.censored_core import Index
from tracker.measures.figure import Figure
from tracker.vocabulary import Basis

KEY: Final = ["unit_id", "week"]
PER_DAY: Final = "napkins per school day"
OPEN_NOTE: Final = "from no day to all days sold out among the days not answered, with the 95 % limits of each"


def machine_demand(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> pd.DataFrame:
    """Requests per school day of each machine.

    A week that was not answered in full and names no sold-out day counts as a week that did not run out, in the
    value; the high limit is that of a fit in which all such weeks did. So a blank widens the limits.

    Args:
        weeks: from ``supplies.given_out_weeks``; only rows that are used and have a school day.
        machine_weeks: frame ``machine_weeks`` (``sold_out_days``, ``asked_days``, ``school_days``).
    Returns:
        One row a machine: ``per_day`` (NaN = no finite estimate), ``se``, ``low``, ``high`` (95 %),
        ``at_least`` (given out per school day, a lower bound), ``ratio`` (variance ÷ mean of requests),
        ``weeks`` used, ``sold_out_weeks``, ``open_weeks`` (not answered in full), ``flag`` (``DemandFlag``).
    """
    rows = _joined(weeks, machine_weeks)
    numbers, units = pd.factorize(rows["unit_id"], sort=True)
    found, high = _fits(rows, numbers, len(units))
    per_machine = rows.assign(weeks=1).groupby("unit_id", sort=True)
    sums = per_machine[["weeks", "ran_out", "open_week"]].sum().astype("int64")
    frame = pd.DataFrame(
        {
            "unit_id": units,
            "school_id": per_machine["school_id"].first().to_numpy(),
            "per_day": [_number(one.per_day) for one in found],
            "se": [_number(one.se) for one in found],
            "low": [_number(one.low) for one in found],
            "high": [_number(end) for end in high],
            "at_least": [one.at_least for one in found],
            "ratio": [one.ratio for one in found],
            "weeks": sums["weeks"].to_numpy(),
            "sold_out_weeks": sums["ran_out"].to_numpy(),
            "open_weeks": sums["open_week"].to_numpy(),
            "flag": [one.flag.value for one in found],
        }
    )
    floats = ["per_day", "se", "low", "high", "at_least", "ratio"]
    types = {**dict.fromkeys(floats, "float64"), "unit_id": "int64", "school_id": "int64", "flag": "str"}
    return frame.astype(types)


def _joined(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> pd.DataFrame:
    """Machine-weeks used, with their days: once a machine, however many products it holds."""
    names = {"days": ("school_days", "max"), "sold": ("sold_out_days", "max"), "asked": ("asked_days", "max")}
    days = machine_weeks.groupby(KEY, sort=True).agg(**names).fillna(0.0).reset_index()
    rows = weeks[weeks["used"] == 1].merge(days, on=KEY, how="inner")
    if (rows["sold"] > rows["asked"]).any():
        raise ValueError("a machine cannot be sold out on more days than were answered")
    rows = rows[rows["days"] > 0]
    open_week = (rows["asked"] < rows["days"]) & (rows["sold"] == 0)
    return rows.assign(ran_out=rows["sold"] > 0, open_week=open_week)


def _fits(rows: pd.DataFrame, group: Index, groups: int) -> tuple[list[Demand], list[float | None]]:
    """Demand of each group, and its high limit with the open weeks read as sold out (None = no limit)."""
    given = rows["given_out"].to_numpy(dtype="float64")
    days = rows["days"].to_numpy(dtype="float64")
    out = rows["ran_out"].to_numpy(dtype="float64")
    found = fit_groups(given, days, out, group, groups)
    if not rows["open_week"].any():
        return found, [one.high for one in found]
    out = (rows["ran_out"] | rows["open_week"]).to_numpy(dtype="float64")
    widest = fit_groups(given, days, out, group, groups)
    return found, [_higher(one.high, other.high) for one, other in zip(found, widest, strict=True)]


def _higher(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else max(one, other)


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def school_demand(machines: pd.DataFrame) -> pd.DataFrame:
    """Requests per school day of each school: the sum over its machines, from ``machine_demand``.

    ``per_day`` sums the machines with a finite estimate, ``at_least`` all; where ``machines_known`` is fewer than
    ``machines``, ``per_day`` is a lower bound. Standard errors add in quadrature (machines independent), and so do
    the distances of the limits; a machine without a limit leaves the school without one. ``ratio`` is the sum of
    variances ÷ the sum of means.
    """
    rows = machines.assign(
        variance=machines["ratio"] * machines["per_day"],
        se2=machines["se"] ** 2,
        below2=(machines["per_day"] - machines["low"]) ** 2,
        above2=(machines["high"] - machines["per_day"]) ** 2,
    )
    grouped = rows.groupby("school_id", sort=True)
    sums = grouped[["per_day", "at_least", "variance", "se2"]].sum(min_count=1)
    ends = grouped[["below2", "above2"]].sum(skipna=False) ** 0.5
    per_day = sums["per_day"]
    return pd.DataFrame(
        {
            "per_day": per_day,
            "se": sums["se2"] ** 0.5,
            "low": (per_day - ends["below2"]).clip(lower=0),
            "high": per_day + ends["above2"],
            "at_least": sums["at_least"],
            "ratio": (sums["variance"] / per_day).where(per_day > 0, 1.0),
            "machines": grouped.size(),
            "machines_known": grouped["per_day"].count(),
        }
    ).reset_index()


def demand_figure(weeks: pd.DataFrame, machine_weeks: pd.DataFrame) -> Figure:
    """Requests per machine and school day over all machines and weeks given, with 95 % limits.

    One rate for all; machines that differ show as clustering and widen the limits. ``used`` and ``expected`` are
    machine-weeks. Where every week ran out the value is None and the note says what was wanted at least.
    """
    rows = _joined(weeks, machine_weeks)
    (found,), (high,) = _fits(rows, np.zeros(len(rows), dtype=np.intp), 1)
    limited = found.low is not None and high is not None
    note = found.flag.value if found.flag is not DemandFlag.NOT_RECORDED else ""
    if found.flag is DemandFlag.NONE and rows["open_week"].any():
        note = OPEN_NOTE if limited else "some days were not answered: there may be no upper limit"
    return Figure(
        found.per_day,
        PER_DAY,
        Basis.MODELLED,
        low=found.low if limited else None,
        high=high if limited else None,
        used=len(rows),
        expected=int(weeks["expected"].sum()),
        records="machine-weeks",
        about_people=True,
        note=note,
    )
