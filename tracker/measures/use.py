"""What was used between two counts of a stock, and the demand that this shows; any product at any place.

Used = left at the count before + what came in − what went elsewhere − left now. A period at the end of which nothing
was left is one in which at least so much was wanted.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
import pandas as pd

from tracker.measures.censored import fit_groups
from tracker.measures.columns import day_numbers, keys
from tracker.measures.forecast import dispersion
from tracker.measures.intermittent import DemandClass, croston, demand_pattern

NOW_AND_THEN: Final = (DemandClass.INTERMITTENT, DemandClass.LUMPY)
PERIOD_COLUMNS: Final = ["place_id", "product_id", "school_id", "since", "day", "days", "used", "given", "ran_out"]
DEMAND_TYPES: Final = {
    "place_id": "int64",
    "product_id": "int64",
    "school_id": "int64",
    "per_day": "float64",
    "se": "float64",
    "ratio": "float64",
    "at_least": "float64",
    "periods": "int64",
    "ran_out": "int64",
    "kind": "str",
}
PAIR: Final = ["school_id", "product_id"]
LINE: Final = ["place_id", "product_id"]


def used_between_counts(
    counts: pd.DataFrame, moves: pd.DataFrame, places: pd.DataFrame, days_held: pd.DataFrame
) -> pd.DataFrame:
    """What was used at each place of each product between one count and the next, on how many school days.

    Args:
        counts: ``place_id``, ``product_id``, ``day``, ``left`` (pieces at the end of the day).
        moves: ``place_id``, ``product_id``, ``day``, ``pieces`` (in less out, without what was used) and ``given``
            (of what was used, what was written down by name).
        places: ``place_id``, ``school_id``. days_held: ``school_id``, ``day``: the school days.
    Returns:
        ``place_id``, ``product_id``, ``school_id``, ``since`` (day of the earlier count), ``day`` (of the later one),
        ``days`` (school days after the one up to the other), ``used``, ``given`` (pieces), ``ran_out`` (1 where nothing
        was left).
        Periods without a school day, and those that come out below 0 (something was not written down), are left out.
    Source: stock identity (arithmetic).
    """
    rows = counts.merge(places[["place_id", "school_id"]], on="place_id").sort_values([*LINE, "day"], ignore_index=True)
    line = keys(rows["place_id"].to_numpy("int64"), rows["product_id"].to_numpy("int64"))
    before = np.concatenate([[False], line[1:] == line[:-1]]) if len(line) else np.zeros(0, dtype=bool)
    came, given = _running(moves, rows, LINE, ("pieces", "given"))
    (held,) = _running(days_held.assign(one=1.0), rows, ["school_id"], ("one",))
    left = rows["left"].to_numpy("float64")
    rows = rows.assign(
        since=rows["day"].shift(),
        days=_step(held),
        used=-_step(left) + _step(came),
        given=_step(given),
        ran_out=(left <= 0).astype("int64"),
    )
    found = rows[before & (rows["days"] > 0) & (rows["used"] >= 0)]
    return found[PERIOD_COLUMNS].reset_index(drop=True)


def _step(running: Any) -> Any:
    return np.diff(running, prepend=running[:1])


def _running(facts: pd.DataFrame, at: pd.DataFrame, names: list[str], sums: tuple[str, ...]) -> list[Any]:
    """Running sums of ``facts`` up to and including the day of each row of ``at``, by the columns named.

    The sums run on over all groups; only differences inside a group mean something.
    """
    numbers, _ = pd.factorize(_joined(pd.concat([facts[names], at[names]], ignore_index=True)))
    facts_at, wanted = (
        keys(part.astype("int64"), day_numbers(frame["day"]))
        for part, frame in ((numbers[: len(facts)], facts), (numbers[len(facts) :], at))
    )
    order = np.argsort(facts_at, kind="stable")
    place = np.searchsorted(facts_at[order], wanted, side="right")
    columns = (facts[name].to_numpy("float64")[order] for name in sums)
    return [np.concatenate([[0.0], np.cumsum(column)])[place] for column in columns]


def _joined(rows: pd.DataFrame) -> Any:
    if rows.shape[1] == 1:
        return rows.iloc[:, 0].to_numpy("int64")
    return keys(rows.iloc[:, 0].to_numpy("int64"), rows.iloc[:, 1].to_numpy("int64"))


def place_demand(periods: pd.DataFrame) -> pd.DataFrame:
    """Pieces asked for a school day of each product at each place, from periods between counts.

    Demand that comes in most periods: the likeliest rate, periods that ran out as "at least" (``censored``). Demand
    that comes now and then (``intermittent``): Croston's forecast with Syntetos and Boylan's correction, from the
    periods that did not run out.

    Returns:
        One row a place and product: ``per_day`` (NaN = no finite estimate), ``se``, ``ratio`` (variance ÷ mean),
        ``at_least`` (used a school day), ``periods``, ``ran_out`` (of them), ``kind`` (``DemandClass``).
    """
    groups = periods.groupby(LINE, sort=True)
    numbers = groups.ngroup().to_numpy("int64")
    heads = groups["school_id"].first().reset_index()
    fits = fit_groups(
        periods["used"].to_numpy("float64"),
        periods["days"].to_numpy("float64"),
        periods["ran_out"].to_numpy("float64"),
        numbers.astype(np.intp),
        len(heads),
    )
    rows = []
    for (_, mine), head, fit in zip(groups, heads.to_dict("records"), fits, strict=True):
        per_day, se, ratio, kind = _rate(mine, fit)
        named = {**head, "per_day": per_day, "se": se, "ratio": ratio, "at_least": fit.at_least}
        rows.append({**named, "periods": len(mine), "ran_out": int(mine["ran_out"].sum()), "kind": kind.value})
    return pd.DataFrame(rows, columns=list(DEMAND_TYPES)).astype(DEMAND_TYPES)


def _rate(mine: pd.DataFrame, fit: Any) -> tuple[float, float, float, DemandClass]:
    whole = mine[mine["ran_out"] == 0]
    used, days = whole["used"].tolist(), whole["days"].tolist()
    kind = demand_pattern(used).kind
    if kind in NOW_AND_THEN:
        seen = math.fsum(days)
        per_day = croston(used).corrected * len(used) / seen
        ratio = dispersion(used, days)
        return per_day, math.sqrt(ratio * per_day / seen), ratio, kind
    if fit.per_day is None:
        return math.nan, math.nan, 1.0, kind
    return fit.per_day, 0.0 if fit.se is None else fit.se, fit.ratio, kind


def school_use(places: pd.DataFrame) -> pd.DataFrame:
    """Demand of each product at each school: the sum over its places.

    Args:
        places: ``school_id``, ``product_id``, ``per_day``, ``se``, ``ratio``, ``at_least``, ``periods``, ``ran_out``,
            ``kind``; a place without a finite estimate adds what was used there, and the sum is then a least one.
    Returns:
        ``school_id``, ``product_id``, ``per_day``, ``se``, ``ratio``, ``periods``, ``ran_out`` (of the place with
        most demand), ``kind`` (of it), ``least`` (whether per_day is a lower bound), ``finite`` (whether any place
        has a finite estimate). Standard errors add in quadrature; ``ratio`` is Σ variance ÷ Σ mean.
    """
    known = places["per_day"].notna()
    per_day = places["per_day"].where(known, places["at_least"])
    rows = places.assign(
        per_day=per_day,
        variance=places["ratio"] * per_day,
        se2=places["se"].fillna(0.0) ** 2,
        least=~known & (places["at_least"] > 0),
        finite=known,
    ).sort_values([*PAIR, "per_day"], ascending=[True, True, False])
    grouped = rows.groupby(PAIR, sort=True)
    sums = grouped[["per_day", "variance", "se2"]].sum()
    found = grouped.agg(
        periods=("periods", "first"),
        ran_out=("ran_out", "first"),
        kind=("kind", "first"),
        least=("least", "any"),
        finite=("finite", "any"),
    )
    ratio = (sums["variance"] / sums["per_day"]).where(sums["per_day"] > 0, 1.0)
    return found.assign(per_day=sums["per_day"], se=sums["se2"] ** 0.5, ratio=ratio).reset_index()
