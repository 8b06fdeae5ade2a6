"""Open outages by urgency: what a day more of waiting costs in breaks and in visits.

For the engineer's trip: dangers first, then the school whose last accessible cabin is out, then the most visits lost
for each school day of delay. Pupils may find another unit or another time; the figure is what could not be made here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import pandas as pd

Z95: Final = 1.959963984540054
COLUMNS: Final = (
    "fault", "school_id", "units", "danger", "only_accessible", "breaks_a_day", "visits_a_day", "low", "high", "known",
    "like", "since",
)  # fmt: skip
LIKE: Final = ["school_id", "kind", "group"]
DAY: Final = pd.Timedelta(days=1)


def like_units(means: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """Mean visits at a break of the units of the same kind and group at a school, for a unit without its own mean.

    Variance: the mean of their variances plus the spread between their means (0 for one unit).

    Args:
        means: unit_id, mean, var, n from ``lost.mean_visits``. units: unit_id, school_id, kind, group.
    Returns:
        school_id, kind, group, like_mean, like_var, like_n (units).
    """
    rows = means.merge(units[["unit_id", *LIKE]], on="unit_id")
    found = rows.groupby(LIKE, as_index=False).agg(
        like_mean=("mean", "mean"), within=("var", "mean"), between=("mean", "var"), like_n=("mean", "size")
    )
    found["like_var"] = found["within"] + found["between"].fillna(0.0)
    return found[[*LIKE, "like_mean", "like_var", "like_n"]]


def day_means(unit_weeks: pd.DataFrame, occasions: pd.DataFrame, outages: pd.DataFrame) -> pd.DataFrame:
    """Visits of a unit on a school day, from weeks in which it was never out; for units that nobody tallies.

    Args:
        unit_weeks: unit_id, school_id, week, visits (of ``visits.unit_weeks``). occasions: school_id, week,
            school_days. outages: unit_id, start, end (NaT: open); one that touches a week or the day beside it (the
            zone's offset) leaves the week out.
    Returns:
        unit_id, mean, var (of the weeks' daily means, divisor n − 1), n; units with at least two such weeks.
    """
    rows = unit_weeks.merge(occasions[["school_id", "week", "school_days"]], on=["school_id", "week"])
    rows = rows[(rows["school_days"] > 0) & rows["visits"].notna()]
    spans = rows[["unit_id", "week"]].merge(outages[["unit_id", "start", "end"]], on="unit_id")
    first = spans["week"].dt.tz_localize("UTC") - DAY
    touched = spans[(spans["start"] < first + 9 * DAY) & (spans["end"].isna() | (spans["end"] > first))]
    out = touched[["unit_id", "week"]].drop_duplicates().assign(out=1)
    rows = rows.merge(out, on=["unit_id", "week"], how="left")
    rows = rows[rows["out"].isna()].assign(daily=rows["visits"] / rows["school_days"])
    found = rows.groupby("unit_id", as_index=False).agg(
        mean=("daily", "mean"), var=("daily", "var"), n=("daily", "size")
    )
    return found[found["n"] >= 2].reset_index(drop=True)


def by_urgency(
    out: pd.DataFrame,
    breaks_a_day: Mapping[int, float],
    means: pd.DataFrame,
    units: pd.DataFrame,
    days: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Faults, the most urgent first, with breaks and visits lost for each school day that they last longer.

    A unit loses B breaks a school day and B × its mean visits at a break. A unit without two tallied breaks while it
    worked loses the mean visits of its school days (``days``); without these too, the mean of the breaks of units like
    it at the school is taken; where there is none, its visits are not known. The interval holds the spread of B breaks
    and the uncertainty of the mean of n: Σ s²·(B + B²/n), normal 95 %; by days the same with B = 1.

    Args:
        out: one row for each unit that is out: fault (a number; units out together share it), unit_id, school_id,
            kind, group, danger, only_accessible, since.
        breaks_a_day: breaks of a school day by school_id; a school that is not named has none.
        means: unit_id, mean, var, n of ``lost.mean_visits``. units: unit_id, school_id, kind, group of all units.
        days: unit_id, mean, var, n of ``day_means``; None: not looked at.
    Returns:
        fault, school_id, units, danger, only_accessible, breaks_a_day (unit breaks), visits_a_day, low, high (NaN
        where no unit's visits are known), known and like (units with a mean of their own, of like units), since.
        Order: danger; no accessible cabin left; visits lost, not known ones by their breaks after those known;
        breaks; out longest; number.
    """
    rows = out.merge(means[["unit_id", "mean", "var", "n"]], on="unit_id", how="left")
    rows = rows.merge(like_units(means, units), on=LIKE, how="left")
    by_day = means.iloc[:0] if days is None else days
    rows = rows.merge(by_day.rename(columns={name: f"day_{name}" for name in ("mean", "var", "n")}), "left", "unit_id")
    own = rows["n"].notna()
    daily = ~own & rows["day_n"].notna()
    breaks = rows["school_id"].map(breaks_a_day).astype("float64").fillna(0.0)
    for name in ("mean", "var", "n"):
        found = rows[name].astype("float64").where(~daily, rows[f"day_{name}"].astype("float64"))
        rows[name] = found.where(own | daily, rows[f"like_{name}"].astype("float64"))
    times = breaks.where(~daily, 1.0)
    rows = rows.assign(
        breaks=breaks,
        own=(own | daily).astype("int64"),
        borrowed=(~own & ~daily & rows["like_n"].notna()).astype("int64"),
        visits=times * rows["mean"],
        error=rows["var"] * (times + times**2 / rows["n"]),
    )
    return _summed(rows)


def _summed(rows: pd.DataFrame) -> pd.DataFrame:
    found = rows.groupby("fault", as_index=False).agg(
        school_id=("school_id", "first"),
        units=("unit_id", "nunique"),
        danger=("danger", "max"),
        only_accessible=("only_accessible", "max"),
        breaks_a_day=("breaks", "sum"),
        visits=("visits", "sum"),
        error=("error", "sum"),
        known=("own", "sum"),
        like=("borrowed", "sum"),
        since=("since", "min"),
    )
    some = found["known"] + found["like"] > 0
    half = Z95 * found["error"].map(math.sqrt)
    found["visits_a_day"] = found["visits"].where(some)
    found["low"] = (found["visits"] - half).clip(lower=0.0).where(some)
    found["high"] = (found["visits"] + half).where(some)
    down = ["danger", "only_accessible", "visits_a_day", "breaks_a_day"]
    ordered = found.sort_values(
        [*down, "since", "fault"], ascending=[False, False, False, False, True, True], na_position="last"
    )
    return ordered[list(COLUMNS)].reset_index(drop=True)
