"""Crowded breaks as rows: usable cabins and pupils expected at each break, and what the worst case does to them.

A queue is the cabins, or the urinals, of one group (girls, boys, everyone) at one school. Staff are left out.
Frames as in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.burst import VisitTime, burst_table
from tracker.measures.calendar import Minutes, minute_of, minutes_of
from tracker.vocabulary import CABIN_LIKE, Basis, CountWay, Group, Sex, UnitKind

QUEUE: Final = ["school_id", "group", "kind"]
USABLE: Final = ["school_id", "week", "day", "slot", "group", "kind", "minutes", "standing", "usable"]
ARRIVALS: Final = {
    "school_id": "int64",
    "week": "datetime64[us]",
    "group": "str",
    "kind": "str",
    "arrivals": "float64",
    "basis": "str",
}
RANK: Final = {str(basis): rank for rank, basis in enumerate(Basis)}
RESULTS: Final = ("done", "entered", "waiting")
ENDS: Final = ("", "_short", "_long")  # at the middle, the shorter and the longer time per visit


@dataclass(frozen=True, slots=True)
class TimeRange:
    """Minutes per visit: shortest and longest mean that are plausible, the one between, and their spread.

    shape: as of ``burst.VisitTime``; 1 (exponential) is the heavy assumption, infinity (fixed) the light one.

    Raises:
        ValueError: means that are not above 0 and in order.
    """

    short_min: float
    middle_min: float
    long_min: float
    source: str
    shape: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.short_min <= self.middle_min <= self.long_min:
            raise ValueError("times per visit must be above 0 and in order: short, middle, long")

    def times(self) -> tuple[VisitTime, VisitTime, VisitTime]:
        """Middle, short, long: in the order of ``ENDS``."""
        middle, short, long = (VisitTime(x, self.shape) for x in (self.middle_min, self.short_min, self.long_min))
        return middle, short, long


Times = Mapping[tuple[str, str], TimeRange]
PROXY: Final = "adults in public toilets; no figure for schools was found"
_GIRLS = TimeRange(79 / 60, 84.5 / 60, 90 / 60, PROXY)
_BOYS = TimeRange(45 / 60, 52.5 / 60, 60 / 60, PROXY)
# Women 79 s and men 45 s: Ingram 1989 as quoted in a popular source (read there). Women 90 s and men 60 s: a
# queueing study of Ghent University, 2017 (read). No figure of its own was found for urinals.
ADULT_TIMES: Final[Times] = {
    (Group.GIRLS, UnitKind.CABIN): _GIRLS,
    (Group.BOYS, UnitKind.CABIN): _BOYS,
    (Group.BOYS, UnitKind.URINAL): _BOYS,
    (Group.EVERYONE, UnitKind.CABIN): TimeRange(45 / 60, 67.5 / 60, 90 / 60, PROXY),
    (Group.EVERYONE, UnitKind.URINAL): _BOYS,
}


def usable_cabins(units: pd.DataFrame, outages: pd.DataFrame, breaks: pd.DataFrame, as_of: datetime) -> pd.DataFrame:
    """Cabins and urinals of each group at each break: how many stood there and how many were usable.

    A unit is taken away from a break at whose start it is in an outage of any cause, planned work too (the same
    rule as for breaks lost). Outages that overlap take a unit once. A unit that is partly working is usable.

    Args:
        units: frame ``units``; until_day is the last day.
        outages: frame ``outages`` (``end`` NaT: still out).
        breaks: frame ``breaks``; those that begin at ``as_of`` or later are left out.
    Returns:
        school_id, week, day, slot, group, kind, minutes (length of the break), standing, usable; a queue without
        a unit on that day has no row.
    """
    begun = breaks[minutes_of(breaks["start"].to_numpy("datetime64[us]")) < minute_of(as_of)]
    begun = begun.sort_values(["school_id", "start", "slot"], ignore_index=True)
    starts, ends = (minutes_of(begun[name].to_numpy("datetime64[us]")) for name in ("start", "end"))
    days = begun["day"].to_numpy("datetime64[us]")
    places = {school: np.asarray(rows, np.intp) for school, rows in begun.groupby("school_id").indices.items()}
    spells = _spells(outages, blank=minute_of(as_of) + 1)
    kept = units[units["kind"].isin([str(k) for k in CABIN_LIKE]) & (units["group"] != Group.STAFF.value)]
    queues: dict[tuple[int, str, str], list[Stay]] = {}
    for school, group, kind, *stay in kept[[*QUEUE, "unit_id", "from_day", "until_day"]].itertuples(index=False):
        if school in places:
            queues.setdefault((school, group, kind), []).append(Stay(*stay))
    parts = [
        (key, rows, *_at_breaks(queues[key], spells, days[rows], starts[rows]))
        for key in sorted(queues)
        for rows in [places[key[0]]]
    ]
    return _queue_rows(begun.assign(minutes=(ends - starts).astype(float)), parts)


class Stay(NamedTuple):
    """A unit and the days on which it stood (until_day NaT: it still stands)."""

    unit_id: int
    from_day: pd.Timestamp
    until_day: pd.Timestamp


Part = tuple[tuple[int, str, str], npt.NDArray[np.intp], Minutes, Minutes]


def _queue_rows(begun: pd.DataFrame, parts: list[Part]) -> pd.DataFrame:
    """One row a break and queue: the break's columns beside the counts of the queue."""
    empty = np.zeros(0, dtype=np.int64)
    rows = np.concatenate([empty, *(part[1] for part in parts)]).astype(np.intp)
    stood = np.concatenate([empty, *(part[2] for part in parts)])
    out = np.concatenate([empty, *(part[3] for part in parts)])
    which = np.repeat(np.arange(len(parts)), [len(part[1]) for part in parts])
    names = np.array([part[0][1:] for part in parts], dtype=object).reshape(-1, 2)
    found = begun[["school_id", "week", "day", "slot", "minutes"]].iloc[rows].reset_index(drop=True)
    found["group"] = pd.Series(names[which, 0], dtype="str")
    found["kind"] = pd.Series(names[which, 1], dtype="str")
    found["standing"], found["usable"] = stood, stood - out
    return found.loc[stood > 0, USABLE].reset_index(drop=True)


def _spells(outages: pd.DataFrame, blank: int) -> dict[int, list[tuple[int, int]]]:
    found: dict[int, list[tuple[int, int]]] = {}
    begins = minutes_of(outages["start"].to_numpy("datetime64[us]")).tolist()
    ends = minutes_of(outages["end"].to_numpy("datetime64[us]"), blank=blank).tolist()
    for unit, begin, end in zip(outages["unit_id"].tolist(), begins, ends, strict=True):
        found.setdefault(unit, []).append((begin, end))
    return found


def _at_breaks(
    queue: list[Stay],
    spells: Mapping[int, list[tuple[int, int]]],
    days: npt.NDArray[np.datetime64],
    starts: Minutes,
) -> tuple[Minutes, Minutes]:
    """Units of a queue that stood there, and of these those that were out, at each of a school's breaks."""
    stood, out = np.zeros(len(starts), dtype=np.int64), np.zeros(len(starts), dtype=np.int64)
    for unit, from_day, until_day in queue:
        there = days >= from_day.to_datetime64()
        if not pd.isna(until_day):
            there &= days <= until_day.to_datetime64()
        stood += there
        gone = np.zeros(len(starts), dtype=bool)
        for begin, end in spells.get(unit, ()):
            first, last = np.searchsorted(starts, [begin, end], side="left")
            gone[first:last] = True
        out += there & gone
    return stood, out


def arrivals_from_visits(
    unit_weeks: pd.DataFrame, units: pd.DataFrame, occasions: pd.DataFrame, in_breaks: float = 1.0
) -> pd.DataFrame:
    """Pupils expected at a break of a queue: its visits of the week ÷ the week's breaks, as if all breaks were alike.

    Visits of drawn breaks are of breaks already; of the other ways of counting the share ``in_breaks`` is taken
    to fall in breaks (1: all of them, the high side). A week counts only where every unit of the queue that
    stood in it has visits recorded: nothing is filled in. The basis is the weakest.

    Args:
        unit_weeks: from ``visits.unit_weeks``.
        units, occasions: the frames of those names.
    Returns:
        school_id, week, group, kind, arrivals, basis.
    Raises:
        ValueError: a share outside 0 to 1.
    """
    if not 0 <= in_breaks <= 1:
        raise ValueError(f"the share of visits in breaks must lie between 0 and 1, got {in_breaks}")
    kept = units[units["kind"].isin([str(k) for k in CABIN_LIKE]) & (units["group"] != Group.STAFF.value)]
    weeks = occasions[occasions["breaks"] > 0][["school_id", "week", "breaks"]]
    rows = kept[["unit_id", *QUEUE, "from_day", "until_day"]].merge(weeks, on="school_id")
    last = rows["week"] + pd.Timedelta(days=6)
    rows = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= rows["week"]))]
    rows = rows.merge(unit_weeks[["unit_id", "week", "way", "visits", "basis"]], on=["unit_id", "week"], how="left")
    rows["rank"] = rows["basis"].map({str(basis): rank for rank, basis in enumerate(Basis)})
    rows["expected"] = rows["visits"] * np.where(rows["way"] == CountWay.DRAWN.value, 1.0, in_breaks) / rows["breaks"]
    sums = rows.groupby(["school_id", "week", "group", "kind"], as_index=False).agg(
        units=("unit_id", "size"), known=("expected", "count"), arrivals=("expected", "sum"), rank=("rank", "max")
    )
    sums = sums[sums["units"] == sums["known"]]
    bases = sums["rank"].map({float(rank): str(basis) for rank, basis in enumerate(Basis)})
    return sums.assign(basis=bases)[list(ARRIVALS)].astype(ARRIVALS).reset_index(drop=True)


def pupils_by_week(bell_counts: pd.DataFrame, enrolment: pd.DataFrame, breaks: pd.DataFrame) -> pd.DataFrame:
    """Girls and boys of a school and week: the mean of those present on its drawn days, else those enrolled.

    Of each school, sex, grade and age the row of ``enrolment`` with the latest from_day in force in the week counts.

    Returns:
        school_id, week, sex, pupils, basis (sampled, or estimated from enrolment).
    """
    key = ["school_id", "week", "sex"]
    days = breaks[["school_id", "day", "week"]].drop_duplicates()
    seen = bell_counts[bell_counts["present"].notna()].merge(days, on=["school_id", "day"])
    daily = seen.groupby(["school_id", "week", "day", "group"], as_index=False)[["present"]].mean()
    present = daily.groupby(["school_id", "week", "group"], as_index=False)[["present"]].mean()
    present = present.rename(columns={"group": "sex", "present": "pupils"}).assign(basis=str(Basis.SAMPLED))
    rolls = enrolment.merge(days[["school_id", "week"]].drop_duplicates(), on="school_id")
    last = rolls["week"] + pd.Timedelta(days=6)
    rolls = rolls[(rolls["from_day"] <= last) & (rolls["until_day"].isna() | (rolls["until_day"] >= rolls["week"]))]
    rolls = rolls.sort_values("from_day").drop_duplicates([*key, "grade", "age"], keep="last")
    enrolled = rolls.groupby(key, as_index=False)[["pupils"]].sum().assign(basis=str(Basis.ESTIMATED))
    both = pd.concat([present[[*key, "pupils", "basis"]], enrolled[[*key, "pupils", "basis"]]], ignore_index=True)
    return both.drop_duplicates(key, keep="first").sort_values(key, ignore_index=True)


def arrivals_from_pupils(
    pupils: pd.DataFrame, units: pd.DataFrame, share: float, urinal_share: float = 0.0
) -> pd.DataFrame:
    """Pupils expected at a break of a queue: pupils × the share of them that goes at one break.

    Pupils go to the cabins of their sex; where the school has none, to those for everyone. Of the boys,
    ``urinal_share`` use urinals where their group has any. Both shares are the caller's assumptions: no
    published figure for schools was found. For a school with shifts use ``arrivals_from_visits``.

    Args:
        pupils: from ``pupils_by_week``.
        units: frame ``units``.
    Returns:
        As ``arrivals_from_visits``; a school without any cabin for them has no row.
    Raises:
        ValueError: a share outside 0 to 1.
    """
    if not (0 <= share <= 1 and 0 <= urinal_share <= 1):
        raise ValueError(f"shares must lie between 0 and 1, got {share} and {urinal_share}")
    queues = set(zip(units["school_id"].tolist(), units["group"].tolist(), units["kind"].tolist(), strict=True))
    asked = pupils[["school_id", "sex"]].drop_duplicates()
    ways = [
        (school, sex, *way)
        for school, sex in asked.itertuples(index=False, name=None)
        for way in _where_they_go(queues, school, sex, urinal_share)
    ]
    kinds = {"school_id": "int64", "sex": "str", "group": "str", "kind": "str", "part": "float64"}
    rows = pupils.merge(pd.DataFrame(ways, columns=list(kinds)).astype(kinds), on=["school_id", "sex"])
    rows = rows.assign(arrivals=rows["pupils"] * share * rows["part"], rank=rows["basis"].map(RANK))
    sums = rows.groupby(["school_id", "week", "group", "kind"], as_index=False).agg(
        arrivals=("arrivals", "sum"), rank=("rank", "max")
    )
    words = sums["rank"].map({rank: basis for basis, rank in RANK.items()})
    return sums.assign(basis=words)[list(ARRIVALS)].astype(ARRIVALS)


def _where_they_go(
    queues: set[tuple[int, str, str]], school: int, sex: str, urinal_share: float
) -> list[tuple[str, str, float]]:
    cabin, urinal = UnitKind.CABIN.value, UnitKind.URINAL.value
    group = next((g for g in (sex, Group.EVERYONE.value) if (school, g, cabin) in queues), None)
    if group is None:
        return []
    if sex == Sex.BOYS.value and urinal_share and (school, group, urinal) in queues:
        return [(group, cabin, 1 - urinal_share), (group, urinal, urinal_share)]
    return [(group, cabin, 1.0)]


def burst_breaks(usable: pd.DataFrame, arrivals: pd.DataFrame, times: Times = ADULT_TIMES) -> pd.DataFrame:
    """The worst case of each break and queue: everyone expected stands there when the break begins.

    Args:
        usable: from ``usable_cabins``.
        arrivals: from ``arrivals_from_visits`` or ``arrivals_from_pupils``; rounded half up to whole pupils,
            and at least 1 where anybody is expected.
        times: time per visit by group and kind of unit.
    Returns:
        The rows of ``usable`` with arrivals, and done, entered (probability that everyone has finished, has
        entered, by the bell), waiting (pupils expected in the queue still), each at the middle time per visit
        and with ``_short`` and ``_long`` at the ends of its range. NaN where no arrivals are known.
    """
    keys = ["school_id", "week", "group", "kind"]
    rows = usable.merge(arrivals[[*keys, "arrivals"]], on=keys, how="left")
    rows["arrivals"] = _whole(rows["arrivals"])
    columns = [result + end for end in ENDS for result in RESULTS]
    found = {name: np.full(len(rows), np.nan) for name in columns}
    known = np.flatnonzero(rows["arrivals"].notna().to_numpy())
    pupils = rows["arrivals"].to_numpy()
    alike = rows.iloc[known].groupby(["group", "kind", "usable", "minutes"], sort=False).indices
    key: Any
    for key, places in alike.items():
        group, kind, cabins, minutes = key
        at = known[places]
        wanted = pupils[at].astype(np.int64)
        for end, time in zip(ENDS, times[group, kind].times(), strict=True):
            table = burst_table(int(wanted.max()), int(cabins), float(minutes), time)
            found["done" + end][at] = table.all_done[wanted]
            found["entered" + end][at] = table.all_entered[wanted]
            found["waiting" + end][at] = table.waiting[wanted]
    return rows.assign(**found)


def _whole(arrivals: pd.Series[float]) -> pd.Series[float]:
    half_up = (arrivals + 0.5) // 1
    return half_up.where(~(arrivals > 0) | (half_up >= 1), 1.0)
