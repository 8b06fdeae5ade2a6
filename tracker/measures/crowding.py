"""Crowded breaks: is everyone served before the bell if all come at once, and how many cabins would it take?

Every figure of this model is the worst case: all pupils expected stand there when the break begins. Its bounds are
what the range of the time per visit allows, nothing more. What was seen at the bell on drawn breaks stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.burst import burst_table, finished
from tracker.measures.burst_times import Until, clear_time, wait
from tracker.measures.columns import Floats
from tracker.measures.crowding_breaks import ENDS, PROXY, RESULTS, TimeRange
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.intervals import Interval, ratio_of_totals, wilson
from tracker.vocabulary import Basis, Group

OCCASION: Final = ["school_id", "week", "day", "slot", "group"]
NO_CABIN: Final = "No cabin was usable."
SHARE: Final = "share of breaks"


def worst_case(source: str = PROXY) -> str:
    """The note on every figure of the model: what it assumes, and where the time per visit is from."""
    return (
        "Worst case: everyone comes at the start of the break. "
        f"The range is from a shorter to a longer time per visit ({source})."
    )


@dataclass(frozen=True, slots=True)
class OneBreak:
    """The worst case of one break, each figure with the bounds of the time per visit."""

    all_done: Figure
    all_entered: Figure
    served: Figure
    waiting: Figure
    mean_wait: Figure
    p95_wait: Figure
    mean_clear: Figure
    p95_clear: Figure


def occasions_of(bursts: pd.DataFrame, group: Group) -> pd.DataFrame:
    """The breaks of a group: its cabins and urinals taken together.

    Everyone is served where both queues are (they are independent); those who wait are added. A break of which
    one queue has no arrivals has none.

    Args:
        bursts: from ``crowding_breaks.burst_breaks``.
    Returns:
        One row a break: school_id, week, day, slot, group, minutes, standing, usable (cabins and urinals),
        arrivals, and the results of ``burst_breaks``.
    """
    rows = bursts[bursts["group"] == group.value]
    grouped = rows.groupby(OCCASION, sort=True)
    added = ["standing", "usable", "arrivals", *("waiting" + end for end in ENDS)]
    chances = [result + end for end in ENDS for result in RESULTS if result != "waiting"]
    found = grouped[["minutes"]].first()
    for name in added:
        found[name] = grouped[name].sum(min_count=1)
    for name in chances:
        found[name] = grouped[name].prod(min_count=1)
    blank = grouped["arrivals"].count() < grouped["arrivals"].size()
    estimates = ["arrivals", *(result + end for end in ENDS for result in RESULTS)]
    found.loc[blank, estimates] = np.nan
    return found.reset_index()


def share_served(bursts: pd.DataFrame, group: Group, until: Until = "done", source: str = PROXY) -> Figure:
    """Share of breaks in which everyone of a group is done (or has entered) before the bell, if all come at once.

    The mean over the breaks of that probability, with cabins taken away by outages break by break. low is at the
    longer time per visit, high at the shorter. Breaks without arrivals lower completeness.

    Args:
        bursts: from ``crowding_breaks.burst_breaks``.
        source: where the times per visit are from, for the note.
    """
    return served_share(occasions_of(bursts, group), until, source)


def served_share(occasions: pd.DataFrame, until: Until = "done", source: str = PROXY) -> Figure:
    """``share_served`` of breaks from ``occasions_of``, where those of several schools are asked about in turn."""
    return _mean(occasions, until, SHARE, source)


def still_waiting(bursts: pd.DataFrame, group: Group, source: str = PROXY) -> Figure:
    """Pupils left over: those expected to stand in the queue still at the bell, the mean over a group's breaks."""
    return left_over(occasions_of(bursts, group), source)


def left_over(occasions: pd.DataFrame, source: str = PROXY) -> Figure:
    """``still_waiting`` of breaks from ``occasions_of``."""
    return _mean(occasions, "waiting", "pupils per break", source)


def _mean(rows: pd.DataFrame, result: str, unit: str, source: str) -> Figure:
    arrivals = rows["arrivals"].to_numpy("float64")
    return mean_of(arrivals, [rows[result + end].to_numpy("float64") for end in ENDS], unit, source)


def mean_of(arrivals: Floats, results: Sequence[Floats], unit: str, source: str) -> Figure:
    """The mean over breaks of a result at the middle time per visit and at both ends, in the order of ``ENDS``.

    Breaks without arrivals (NaN) lower completeness.
    """
    known = ~np.isnan(arrivals)
    used = int(known.sum())
    if not used:
        return not_recorded(unit, Basis.MODELLED, expected=len(arrivals), records="breaks")
    values = [math.fsum(result[known].tolist()) / used for result in results]
    return modelled(values, unit, used, len(arrivals), source)


def modelled(values: Sequence[float], unit: str, used: int, expected: int, source: str) -> Figure:
    """A figure of the model from its values at the middle time per visit and at both ends of the range."""
    return Figure(
        values[0],
        unit,
        Basis.MODELLED,
        low=min(values),
        high=max(values),
        used=used,
        expected=expected,
        records="breaks",
        note=worst_case(source),
    )


def worst_breaks(bursts: pd.DataFrame, group: Group, most: int = 10) -> pd.DataFrame:
    """The breaks of a group that were least likely to serve everyone; then those with most left over, then by day.

    Returns:
        At most ``most`` rows of ``occasions_of`` with ``out``: cabins and urinals that were out of service then.
    """
    return least_served(occasions_of(bursts, group), most)


def least_served(occasions: pd.DataFrame, most: int = 10) -> pd.DataFrame:
    """``worst_breaks`` of breaks from ``occasions_of``."""
    rows = occasions[occasions["arrivals"].notna()].assign(out=lambda found: found["standing"] - found["usable"])
    rows = rows.sort_values(["done", "waiting", "day", "slot"], ascending=[True, False, True, True], kind="stable")
    return rows.head(most).reset_index(drop=True)


def one_break(pupils: int, cabins: int, minutes: float, times: TimeRange) -> OneBreak:
    """The worst case of one break of one queue.

    all_done, all_entered: probability by the bell. served: pupils expected to have left again by the bell.
    waiting: pupils expected to stand in the queue still. Waits (min) are of a pupil picked at random who stays;
    clear (min) is the time until the last has left; p95 is what 95 % do not exceed. Nobody came: all of them are
    0. Somebody came and no cabin was usable: waits and clearing times have no value, and the note says why.

    >>> from tracker.measures.crowding_breaks import TimeRange
    >>> found = one_break(30, 4, 15, TimeRange(1.5, 1.5, 1.5, "an example"))
    >>> round(found.all_done.value, 4), round(found.mean_clear.value, 3)
    (0.8058, 12.875)
    """
    three = times.times()
    tables = [burst_table(pupils, cabins, minutes, time) for time in three]
    served = [float(finished(pupils, cabins, minutes, time) @ np.arange(pupils + 1)) for time in three]

    def made(values: Sequence[float], unit: str) -> Figure:
        return modelled(values, unit, 1, 1, times.source)

    waits = _waits(pupils, cabins, times)
    return OneBreak(
        made([float(table.all_done[pupils]) for table in tables], "probability"),
        made([float(table.all_entered[pupils]) for table in tables], "probability"),
        made(served, "pupils"),
        made([float(table.waiting[pupils]) for table in tables], "pupils"),
        *(made(values, "min") if values else _no_cabin() for values in waits),
    )


def _waits(pupils: int, cabins: int, times: TimeRange) -> tuple[list[float], list[float], list[float], list[float]]:
    if pupils == 0:
        return [0.0] * 3, [0.0] * 3, [0.0] * 3, [0.0] * 3
    if cabins == 0:
        return [], [], [], []
    waits = [wait(pupils, cabins, time) for time in times.times()]
    clears = [clear_time(pupils, cabins, time) for time in times.times()]
    return (
        [found.mean_min for found in waits],
        [found.p95_min for found in waits],
        [found.mean_min for found in clears],
        [found.p95_min for found in clears],
    )


def _no_cabin() -> Figure:
    return replace(not_recorded("min", Basis.MODELLED, expected=1, records="breaks"), note=NO_CABIN)


def seen_waiting(bell_counts: pd.DataFrame, breaks: pd.DataFrame, group: Group) -> Figure:
    """Pupils of a group who were seen waiting still at the bell, the mean over the drawn breaks.

    Args:
        bell_counts: frame ``bell_counts``; ``waiting`` NaN: not recorded.
        breaks: frame ``breaks``; its drawn breaks are those expected.
    Returns:
        Pupils per break, basis sampled; 95 % limits by the schools as clusters (t, n − 1), with one school by
        its drawn breaks, never below 0. A count of pupils.
    """
    seen, expected = _seen(bell_counts, breaks, group)
    limits = _over_clusters(seen, seen["waiting"])
    low = None if limits.low is None else max(0.0, limits.low)
    return _sampled(limits._replace(low=low), "pupils per break", len(seen), expected, about_people=True)


def seen_nobody_waiting(bell_counts: pd.DataFrame, breaks: pd.DataFrame, group: Group) -> Figure:
    """Share of the drawn breaks at whose bell nobody of a group was seen waiting. Arguments: ``seen_waiting``.

    Limits: schools as clusters (t, n − 1), cut to 0 and 1; with one school, or when all breaks were alike, Wilson's.
    """
    seen, expected = _seen(bell_counts, breaks, group)
    nobody = (seen["waiting"] == 0).astype(float)
    limits = _over_clusters(seen, nobody)
    if seen["school_id"].nunique() == 1 or nobody.nunique() == 1:
        limits = wilson(int(nobody.sum()), len(nobody))
    elif limits.low is not None and limits.high is not None:
        limits = limits._replace(low=max(0.0, limits.low), high=min(1.0, limits.high))
    return _sampled(limits, "share of breaks", len(seen), expected, about_people=False)


def _seen(bell_counts: pd.DataFrame, breaks: pd.DataFrame, group: Group) -> tuple[pd.DataFrame, int]:
    drawn = breaks[breaks["drawn"]][["school_id", "day", "slot"]].drop_duplicates()
    rows = bell_counts[(bell_counts["group"] == group.value) & bell_counts["waiting"].notna()]
    return rows.merge(drawn, on=["school_id", "day", "slot"]), len(drawn)


def _over_clusters(seen: pd.DataFrame, values: pd.Series[float]) -> Interval:
    if seen["school_id"].nunique() == 1:
        return ratio_of_totals(values.tolist(), [1.0] * len(values))
    sums = pd.DataFrame({"school": seen["school_id"], "value": values}).groupby("school")["value"].agg(["sum", "size"])
    return ratio_of_totals(sums["sum"].tolist(), sums["size"].tolist())


def _sampled(limits: Interval, unit: str, used: int, expected: int, *, about_people: bool) -> Figure:
    return Figure(
        limits.value,
        unit,
        Basis.SAMPLED,
        low=limits.low,
        high=limits.high,
        used=used,
        expected=expected,
        records="drawn breaks",
        about_people=about_people,
    )
