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


def by_urgency(
    out: pd.DataFrame, breaks_a_day: Mapping[int, float], means: pd.DataFrame, units: pd.DataFrame
) -> pd.DataFrame:
    """Faults, the most urgent first, with breaks and visits lost for each school day that they last longer.

    A unit loses B breaks a school day and B × its mean visits at a break. Of a unit without two tallied breaks while
    it worked the mean of units like it at the school is taken; where there is none, its visits are not known. The
    interval holds the spread of B breaks and the uncertainty of the mean of n: Σ s²·(B + B²/n), normal 95 %.

    Args:
        out: one row for each unit that is out: fault (a number; units out together share it), unit_id, school_id,
            kind, group, danger, only_accessible, since.
        breaks_a_day: breaks of a school day by school_id; a school that is not named has none.
        means: unit_id, mean, var, n of ``lost.mean_visits``. units: unit_id, school_id, kind, group of all units.
    Returns:
        fault, school_id, units, danger, only_accessible, breaks_a_day (unit breaks), visits_a_day, low, high (NaN
        where no unit's visits are known), known and like (units with their own mean, with that of like units), since.
        Order: danger; no accessible cabin left; visits lost, not known ones by their breaks after those known;
        breaks; out longest; number.
    """
    rows = out.merge(means[["unit_id", "mean", "var", "n"]], on="unit_id", how="left")
    rows = rows.merge(like_units(means, units), on=LIKE, how="left")
    own = rows["n"].notna()
    rows = rows.assign(
        breaks=rows["school_id"].map(breaks_a_day).astype("float64").fillna(0.0),
        own=own.astype("int64"),
        borrowed=(~own & rows["like_n"].notna()).astype("int64"),
    )
    for name in ("mean", "var", "n"):
        rows[name] = rows[name].astype("float64").where(own, rows[f"like_{name}"].astype("float64"))
    rows["visits"] = rows["breaks"] * rows["mean"]
    rows["error"] = rows["var"] * (rows["breaks"] + rows["breaks"] ** 2 / rows["n"])
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
