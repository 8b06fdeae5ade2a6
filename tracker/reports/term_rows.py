"""Rows that a term's facts are made of: cover by school, disposal by day; and which term was a year before."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final, Protocol, TypeVar

import pandas as pd

from tracker.measures import disposal
from tracker.vocabulary import UnitKind

DAYS_OF_YEAR: Final = 365
YEAR_APART_DAYS: Final = 42  # how far two years' terms may begin apart; common practice, no published source


class Begins(Protocol):
    """Anything with a first day."""

    @property
    def first_day(self) -> date: ...


T = TypeVar("T", bound=Begins)


def same_term_last_year(first_day: date, earlier: Sequence[T]) -> T | None:
    """The term that began nearest to a year before a day, at most ``YEAR_APART_DAYS`` off; None where there is none."""

    def apart(other: T) -> int:
        return abs((first_day - other.first_day).days - DAYS_OF_YEAR)

    return min((one for one in earlier if apart(one) <= YEAR_APART_DAYS), key=apart, default=None)


def cover(stock: pd.DataFrame, units: pd.DataFrame, demand: pd.DataFrame, occasions: pd.DataFrame) -> pd.DataFrame:
    """Per school with a machine or cupboard: on_hand, per_day, days_per_week, pack_size (NaN: not recorded)."""
    held = stock.groupby("school_id", as_index=False).agg(on_hand=("on_hand", "sum"), pack_size=("pack_size", "min"))
    machines = units.loc[units["kind"] == UnitKind.MACHINE.value, ["school_id"]].drop_duplicates()
    rows = machines.merge(held, on="school_id", how="outer")
    rows = rows.merge(demand[["school_id", "per_day"]], on="school_id", how="left")
    usual = occasions.groupby("school_id")["school_days"].median()
    return rows.assign(days_per_week=rows["school_id"].map(usual))


def route_states(
    routes: pd.DataFrame, school_days: pd.DataFrame, units: pd.DataFrame, unit_days: pd.DataFrame
) -> pd.DataFrame:
    """What is known of each school day's disposal, from ``disposal.route_day_states``."""
    incinerators, days = (one[one["kind"] == UnitKind.INCINERATOR.value] for one in (units, unit_days))
    down = days.loc[days["down_min"] > 0, ["unit_id", "day"]]
    seen = days.loc[days["observed"], ["unit_id", "day"]]
    states = disposal.route_day_states(routes, school_days, incinerators, down, seen)
    without = ~states["school_id"].isin(set(routes["school_id"]))
    return states.assign(state=states["state"].mask(without, disposal.RouteState.NOT_SEEN.value))
