"""How many cabins a break would need, beside the pupils-per-cabin norm and the wait if pupils came evenly."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple, TypeAlias

import numpy as np
import pandas as pd

from tracker.measures.burst import VisitTime, burst_table, visit_within
from tracker.measures.burst_times import Until
from tracker.measures.columns import Floats, alike
from tracker.measures.crowding import SHARE, mean_of, modelled, worst_case
from tracker.measures.crowding_breaks import ADULT_TIMES, ENDS, TimeRange, Times
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.norms import Ratio, fixtures_needed, pupils_per_fixture
from tracker.measures.steady import steady_queue
from tracker.vocabulary import Basis, Group, UnitKind

Alike: TypeAlias = tuple[tuple[int, float, int], ...]  # pupils, minutes, breaks alike
NO_NUMBER: Final = (
    "No number of cabins is enough: even with a cabin for each pupil, some visits last longer than the break."
)
NOT_AT_LONG: Final = "At the longer time per visit no number of cabins is enough."
NO_BALANCE: Final = "Even if pupils came evenly over the break, they would be more than the cabins can take."
EVENLY: Final = "If pupils came evenly over the break, as when classes are let out in turn. Times per visit: {source}."


@dataclass(frozen=True, slots=True)
class NoNumber:
    """There is no number of cabins that is enough; ``best`` is the share of breaks that can be reached at most."""

    best: Figure
    note: str = NO_NUMBER


@dataclass(frozen=True, slots=True)
class BesideNorm:
    """Pupils to a cabin and the cabins that a named norm would ask for; neither is a verdict on a school."""

    pupils_per_cabin: Figure
    needed: Figure
    norm: Ratio


@dataclass(frozen=True, slots=True)
class _Fewest:
    cabins: int | None
    share: float


def cabins_for_breaks(
    bursts: pd.DataFrame,
    group: Group,
    times: TimeRange,
    *,
    kind: UnitKind = UnitKind.CABIN,
    share: float = 0.95,
    until: Until = "done",
) -> Figure | NoNumber:
    """The fewest usable cabins with which everyone is done before the bell in this share of the breaks.

    Over the breaks of one school's queue with their own arrivals and lengths: the smallest c for which the mean
    probability reaches the share. low is at the shorter time per visit, high at the longer; where at the longer
    time no number is enough there are no bounds, and the note says so. ⌈n·m ÷ T⌉, by means alone, is far too few.

    Args:
        bursts: from ``crowding_breaks.burst_breaks``, of one school.
        times: the range that was used for this queue.
    Returns:
        A figure in cabins (or urinals); ``NoNumber`` where no number is enough at the middle time.
    Raises:
        ValueError: breaks of several schools, or a share outside 0 to 1.
    """
    rows = (bursts["group"].to_numpy(object) == group.value) & (bursts["kind"].to_numpy(object) == kind.value)
    if len(set(bursts["school_id"].to_numpy()[rows].tolist())) > 1:
        raise ValueError("cabins are needed by a school: ask for one school at a time")
    arrivals, minutes = (bursts[name].to_numpy("float64")[rows] for name in ("arrivals", "minutes"))
    return _needed(arrivals, minutes, "urinals" if kind is UnitKind.URINAL else "cabins", times, _Wanted(share, until))


def queues(
    bursts: pd.DataFrame, times: Times = ADULT_TIMES, *, share: float = 0.95, until: Until = "done"
) -> dict[tuple[int, str, str], tuple[Figure, Figure | NoNumber]]:
    """Of every queue (school, group, kind) the share of breaks that is served, and the fewest cabins it would take.

    The same as ``crowding.served_share`` and ``cabins_for_breaks`` of each, for many schools at once.

    Args:
        bursts: from ``crowding_breaks.burst_breaks`` with the same ``times``.
    Raises:
        ValueError: a share outside 0 to 1.
    """
    number, first = alike(bursts, ["school_id", "group", "kind"])
    order = np.argsort(number, kind="stable")
    ends = np.searchsorted(number[order], np.arange(len(first) + 1)).tolist()
    columns = ["arrivals", "minutes", *(until + end for end in ENDS)]
    arrivals, minutes, *results = (bursts[name].to_numpy("float64")[order] for name in columns)
    found: dict[tuple[int, str, str], tuple[Figure, Figure | NoNumber]] = {}
    names = bursts[["school_id", "group", "kind"]].take(first).itertuples(index=False, name=None)
    for (school, group, kind), (start, end) in zip(names, pairwise(ends), strict=True):
        mine, time = slice(start, end), times[group, kind]
        unit = "urinals" if kind == UnitKind.URINAL else "cabins"
        served = mean_of(arrivals[mine], [result[mine] for result in results], SHARE, time.source)
        needed = _needed(arrivals[mine], minutes[mine], unit, time, _Wanted(share, until))
        found[school, group, kind] = served, needed
    return found


class _Wanted(NamedTuple):
    share: float
    until: Until


def _needed(arrivals: Floats, minutes: Floats, unit: str, times: TimeRange, wanted: _Wanted) -> Figure | NoNumber:
    share, until = wanted
    if not 0 < share <= 1:
        raise ValueError(f"the share of breaks must be above 0 and at most 1, got {share}")
    known = ~np.isnan(arrivals)
    if not known.any():
        return not_recorded(unit, Basis.MODELLED, expected=len(arrivals), records="breaks")
    counts = Counter(zip(arrivals[known].tolist(), minutes[known].tolist(), strict=True))
    alike = tuple((int(n), float(t), breaks) for (n, t), breaks in sorted(counts.items()))
    used = int(known.sum())
    middle, short, long = (_fewest(alike, time, share, until) for time in times.times())
    if middle.cabins is None or short.cabins is None:
        best = [middle.share, short.share, long.share]
        return NoNumber(modelled(best, "share of breaks", used, len(arrivals), times.source))
    ends = [middle.cabins, short.cabins, middle.cabins if long.cabins is None else long.cabins]
    found = modelled([float(end) for end in ends], unit, used, len(arrivals), times.source)
    if long.cabins is None:
        return replace(found, low=None, high=None, note=f"{worst_case(times.source)} {NOT_AT_LONG}")
    return found


@lru_cache(maxsize=4096)
def _fewest(alike: Alike, time: VisitTime, share: float, until: Until) -> _Fewest:
    most = max(n for n, _, _ in alike)
    if most == 0:
        return _Fewest(0, 1.0)
    best = _best(alike, time, until)
    if best < share:
        return _Fewest(None, best)
    low, high = -1, 0
    while high < most and _served(alike, high, time, until) < share:
        low, high = high, min(most, max(1, 2 * high))
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _served(alike, middle, time, until) >= share else (middle, high)
    return _Fewest(high, _served(alike, high, time, until))


def _best(alike: Alike, time: VisitTime, until: Until) -> float:
    """With a cabin for each pupil everyone enters at once, and is done when each visit ends by the bell."""
    if until == "entered":
        return 1.0
    total = sum(breaks for _, _, breaks in alike)
    return math.fsum(breaks * visit_within(minutes, time) ** n for n, minutes, breaks in alike) / total


def _served(alike: Alike, cabins: int, time: VisitTime, until: Until) -> float:
    """Mean probability over the breaks, of (pupils, minutes, breaks alike)."""
    most = max(n for n, _, _ in alike)
    tables = {minutes: burst_table(most, cabins, minutes, time) for _, minutes, _ in alike}
    chance = {minutes: table.all_done if until == "done" else table.all_entered for minutes, table in tables.items()}
    total = sum(breaks for _, _, breaks in alike)
    return math.fsum(breaks * float(chance[minutes][n]) for n, minutes, breaks in alike) / total


def beside_norm(pupils: int, cabins: int, norm: Ratio) -> BesideNorm:
    """Pupils to one cabin, and the cabins that a norm asks for so many pupils (rounded up).

    Without a cabin, pupils per cabin has no value.

    Raises:
        ValueError: a negative number.

    >>> from tracker.measures.norms import RATIOS
    >>> beside_norm(320, 8, RATIOS["in.mh.g"]).pupils_per_cabin.value
    40.0
    """
    if pupils < 0 or cabins < 0:
        raise ValueError(f"pupils and cabins cannot be negative, got {pupils} and {cabins}")
    each = pupils_per_fixture(pupils, cabins)
    known = int(each is not None)
    source = norm.source if norm.confirmed else f"{norm.source} (from memory, not seen in the source)"
    return BesideNorm(
        Figure(each, "pupils per cabin", Basis.COUNTED, used=known, expected=1, records="schools"),
        Figure(
            float(fixtures_needed(pupils, norm.per)),
            f"{norm.fixture}s",
            Basis.ESTIMATED,
            used=1,
            expected=1,
            records="schools",
            note=f"1 {norm.fixture} for {norm.per} {norm.whom}: {source}.",
        ),
        norm,
    )


def wait_if_evenly(pupils: int, cabins: int, minutes: float, times: TimeRange) -> Figure:
    """Mean wait (min) if the same pupils came one by one, evenly over the break, exponential times per visit.

    Erlang's formula for a queue in balance, an upper end, for a break is too short to reach it. Where the pupils
    would be more than the cabins can take there is no value at the middle time, and no bounds at the longer.

    Raises:
        ValueError: negative pupils, or a break of no length.

    >>> from tracker.measures.crowding_breaks import TimeRange
    >>> round(wait_if_evenly(30, 4, 15, TimeRange(1.5, 1.5, 1.5, "an example")).value, 3)
    0.764
    """
    if pupils < 0 or minutes <= 0:
        raise ValueError(f"pupils cannot be negative and a break must last, got {pupils} and {minutes}")
    means = [time.mean_min for time in times.times()]
    queues = [steady_queue(pupils * mean / minutes, cabins, mean) if cabins else None for mean in means]
    waits = [None if queue is None else queue.mean_wait for queue in queues]
    note = EVENLY.format(source=times.source)
    blank = not_recorded("min", Basis.MODELLED, expected=1, records="breaks")
    if waits[0] is None:
        return replace(blank, note=NO_BALANCE)
    if any(found is None for found in waits):
        return replace(blank, value=waits[0], used=1, note=note)
    ends = sorted(found for found in waits if found is not None)
    return replace(blank, value=waits[0], low=ends[0], high=ends[-1], used=1, note=note)
