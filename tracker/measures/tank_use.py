"""Modelled use of everything that draws on a tank, day by day, for its balance.

Litres are known by week: visits by rule, and cleaning by the clock. They are laid on the school days of the week in
equal parts, and days without school have none. A week in which something that draws on the tank is not known has no
days at all, so that a balance over it stays unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.columns import day_numbers, distinct, is_in, keys

Z95: Final = 1.96
SEVEN: Final = pd.Timedelta(days=6)
TANK_USE: Final = {"tank_id": "int64", "day": "datetime64[us]", "ml": "float64", "u_ml": "float64"}
MAIN_PARTS: Final = ("flush", "handwash")
KEY: Final = ["tank_id", "week"]


def tank_use(
    scopes: pd.DataFrame,
    units: pd.DataFrame,
    water: pd.DataFrame,
    cleaning: pd.DataFrame,
    school_days: pd.DataFrame,
    *,
    weeks: Sequence[date],
) -> pd.DataFrame:
    """Litres that were drawn on each tank on each day, by rule.

    A week counts where a scope holds all of it and lists all that draws on the tank, and where, if the school had
    school, every unit served that stood in it has litres for all its visits.

    Args:
        scopes: tank_id, unit_id, whole, from_day, until_day (NaT: still so).
        units: frame ``units``.
        water: from ``flush.unit_week_water``. cleaning: from ``cleaning_water.unit_week_cleaning``.
        school_days: school_id, day, week.
        weeks: the weeks to look at, by their first day.
    Returns:
        Columns of ``TANK_USE``, seven days for each tank and week that counts. u_ml is the standard uncertainty of a
        day: u of the week (counts side by side; litres side by side within a rule; rules, cycles and bounds of an
        assumed share in quadrature) shared like the litres.
    """
    spans = _spans(scopes, units, weeks)
    held = school_days.groupby(["school_id", "week"]).size().rename("held").reset_index()
    spans = spans.merge(held, on=["school_id", "week"], how="left").fillna({"held": 0})
    good = _known(spans, water)
    served = spans.loc[spans["there"], [*KEY, "unit_id"]].merge(good[KEY], on=KEY)
    totals = good.merge(_litres(served, water), on=KEY, how="left").merge(_cycles(served, cleaning), on=KEY, how="left")
    totals = totals.fillna({"ml": 0.0, "u2": 0.0, "cycle_ml": 0.0, "cycle_u2": 0.0})
    return _by_day(totals, school_days)


def _spans(scopes: pd.DataFrame, units: pd.DataFrame, weeks: Sequence[date]) -> pd.DataFrame:
    """Scope rows × weeks in which they hold on a day; ``broken``: not all week, or not all is listed."""
    stood = units[["unit_id", "school_id", "from_day", "until_day"]].rename(
        columns={"from_day": "unit_from", "until_day": "unit_until"}
    )
    all_weeks = pd.DataFrame({"week": pd.Series(list(weeks), dtype="datetime64[us]")})
    rows = scopes.merge(stood, on="unit_id").merge(all_weeks, how="cross")
    end = rows["week"] + SEVEN
    rows = rows[(rows["from_day"] <= end) & (rows["until_day"].isna() | (rows["until_day"] >= rows["week"]))]
    end = rows["week"] + SEVEN
    late, early = rows["from_day"] > rows["week"], rows["until_day"].notna() & (rows["until_day"] < end)
    there = (rows["unit_from"] <= end) & (rows["unit_until"].isna() | (rows["unit_until"] >= rows["week"]))
    return rows.assign(broken=~rows["whole"] | late | early, there=there)


def _known(spans: pd.DataFrame, water: pd.DataFrame) -> pd.DataFrame:
    """Tank-weeks that count: tank_id, week, school_id."""
    main = water[water["whole"] & water["part"].isin(MAIN_PARTS)][["unit_id", "week"]].drop_duplicates()
    rows = spans.merge(main.assign(known=True), on=["unit_id", "week"], how="left")
    unknown = rows["there"] & (rows["held"] > 0) & rows["known"].isna()
    weeks = rows.assign(bad=rows["broken"] | unknown).groupby(KEY, as_index=False)
    found = weeks.agg(bad=("bad", "any"), school_id=("school_id", "first"))
    return found[~found["bad"]].drop(columns="bad")


def _litres(served: pd.DataFrame, water: pd.DataFrame) -> pd.DataFrame:
    """ml and u2 (variance, mL²) by tank and week, of visits by rule."""
    rows = served.merge(water, on=["unit_id", "week"])
    assumed = rows[["below_ml", "above_ml"]].max(axis=1).to_numpy() / Z95
    seen = rows["share_known"].to_numpy(dtype=bool)
    rows = rows.assign(
        count_u=rows["visit_ml"] * rows["u_visits"],
        litres_u=rows["ml"] * rows["u_rel"],
        guess_u=np.where(seen, 0.0, assumed),
        share_u2=np.where(seen, assumed**2, 0.0),
    )
    sums = rows.groupby(KEY, as_index=False)[["ml", "count_u", "guess_u", "share_u2"]].sum()
    rules = _squares(rows, "fitting", "litres_u")
    found = sums.merge(rules, on=KEY, how="left")
    u2 = found["count_u"] ** 2 + found["guess_u"] ** 2 + found["share_u2"] + found["squares"]
    return found.assign(u2=u2)[[*KEY, "ml", "u2"]]


def _cycles(served: pd.DataFrame, cleaning: pd.DataFrame) -> pd.DataFrame:
    """The same of cleaning cycles."""
    rows = served.merge(cleaning, on=["unit_id", "week"])
    rows = rows.assign(cycle_ml=rows["ml"], cycle_u=rows["ml"] * rows["u_rel"])
    sums = rows.groupby(KEY, as_index=False)[["cycle_ml"]].sum()
    squares = _squares(rows, "cleaning", "cycle_u").rename(columns={"squares": "cycle_u2"})
    return sums.merge(squares, on=KEY, how="left")


def _squares(rows: pd.DataFrame, by: str, column: str) -> pd.DataFrame:
    """Σ of squares by tank and week, after adding side by side within one rule."""
    inside = rows.groupby([*KEY, by], as_index=False)[[column]].sum()
    return inside.assign(squares=inside[column] ** 2).groupby(KEY, as_index=False)[["squares"]].sum()


def _by_day(totals: pd.DataFrame, school_days: pd.DataFrame) -> pd.DataFrame:
    held = distinct(keys(school_days["school_id"].to_numpy("int64"), day_numbers(school_days["day"])))
    days = day_numbers(totals["week"])[:, None] + np.arange(7)
    on = is_in(keys(totals["school_id"].to_numpy("int64")[:, None], days), held)
    share = 1 / np.maximum(on.sum(axis=1), 1)
    ml = (totals["ml"] + totals["cycle_ml"]).to_numpy() * share
    u = np.sqrt((totals["u2"] + totals["cycle_u2"]).to_numpy()) * share
    rows = {
        "tank_id": np.repeat(totals["tank_id"].to_numpy(), 7),
        "day": days.ravel().astype("datetime64[D]").astype("datetime64[us]"),
        "ml": np.where(on, ml[:, None], 0.0).ravel(),
        "u_ml": np.where(on, u[:, None], 0.0).ravel(),
    }
    return pd.DataFrame(rows).astype(TANK_USE).sort_values(["tank_id", "day"], ignore_index=True)
