"""Disposal of used menstrual supplies, by route: a route is a way out with its papers, not only a machine.

Nobody counts or weighs used supplies, so napkins burnt is not computed here, and given out minus burnt is no
backlog: girls bring their own and take some home. Nothing here says that a route is safe; it says that its
papers are in force and that somebody saw it working.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.columns import Flags, Whole
from tracker.measures.figure import Figure, Part
from tracker.measures.parts import school_week_parts
from tracker.vocabulary import Basis, Route

FULL_QUARTERS: Final = 4
Days: TypeAlias = npt.NDArray[np.datetime64]


class RouteState(StrEnum):
    """What is known of a school's disposal on a school day."""

    STANDS = "stands"  # a permitted route, and for burning a working incinerator that was seen
    NONE = "none"
    NOT_SEEN = "not seen"  # papers in force, but nobody looked at the incinerator


RANKED: Final = (RouteState.NONE, RouteState.NOT_SEEN, RouteState.STANDS)


@dataclass(frozen=True, slots=True)
class RouteDays:
    """School days with a permitted, working route: as a count and as a share of the days observed."""

    days: Figure
    share: Figure


def route_day_states(
    routes: pd.DataFrame,
    school_days: pd.DataFrame,
    incinerators: pd.DataFrame,
    out_days: pd.DataFrame,
    seen_days: pd.DataFrame,
) -> pd.DataFrame:
    """What is known of each school day's disposal.

    A route stands on a day from ``from_day`` to ``until_day`` (both included; NaT = still) when its permit is in
    force (``permit_until`` ≥ day; no date = not permitted). Burning also needs a trained operator
    (``operator_until`` ≥ day) and an incinerator that stood that day and was not out of service: seen that day →
    "stands", not looked at → "not seen". The best of a school's routes counts.

    Args:
        routes: frame ``routes``.
        school_days: ``school_id``, ``day``, one row a school day.
        incinerators: ``unit_id``, ``school_id``, ``from_day``, ``until_day``.
        out_days: ``unit_id``, ``day``: days on which an incinerator was out of service.
        seen_days: ``unit_id``, ``day``: days on which somebody looked at it or that such a look speaks for.
    Returns:
        ``school_id``, ``day``, ``state`` (a code of ``RouteState``), in the order of ``school_days``.
    Source: own definition; permits, training and checks follow local rules.
    """
    schools, days = school_days["school_id"].to_numpy("int64"), school_days["day"].to_numpy("datetime64[D]")
    order = np.argsort(schools, kind="stable")
    known, begin = np.unique(schools[order], return_index=True)
    burning = _by_school(incinerators, out_days, seen_days)
    by_school: dict[int, list[Mapping[str, Any]]] = {}
    for route in routes.to_dict("records"):
        by_school.setdefault(int(route["school_id"]), []).append({str(key): route[key] for key in route})
    best = np.zeros(len(days), dtype=np.int64)
    for school, (first, last) in zip(known.tolist(), pairwise([*begin.tolist(), len(days)]), strict=True):
        at = order[first:last]
        for papers in by_school.get(school, ()):
            best[at] = np.maximum(best[at], _of_route(papers, days[at], burning.get(school, [])))
    states = pd.array([RANKED[place].value for place in best.tolist()], dtype="str")
    return pd.DataFrame({"school_id": schools, "day": school_days["day"].to_numpy(), "state": states})


@dataclass(frozen=True, slots=True)
class _Incinerator:
    from_day: Any
    until_day: Any
    out: Days
    seen: Days

    def states(self, days: Days) -> Whole:
        """Places among ``RANKED``: there and not out; seen, or not looked at."""
        there = _covers(self.from_day, self.until_day, days) & ~np.isin(days, self.out)
        return np.where(there, np.where(np.isin(days, self.seen), 2, 1), 0)


def _covers(first: Any, last: Any, days: Days) -> Flags:
    begun = days >= _day(first)
    return begun if pd.isna(last) else begun & (days <= _day(last))


def _day(value: Any) -> np.datetime64:
    return np.datetime64("NaT") if pd.isna(value) else pd.Timestamp(value).to_datetime64().astype("datetime64[D]")


def _by_school(
    incinerators: pd.DataFrame, out_days: pd.DataFrame, seen_days: pd.DataFrame
) -> dict[int, list[_Incinerator]]:
    out, seen = _days_by_unit(out_days), _days_by_unit(seen_days)
    none = np.zeros(0, dtype="datetime64[D]")
    found: dict[int, list[_Incinerator]] = {}
    for row in incinerators.to_dict("records"):
        unit = row["unit_id"]
        machine = _Incinerator(row["from_day"], row["until_day"], out.get(unit, none), seen.get(unit, none))
        found.setdefault(int(row["school_id"]), []).append(machine)
    return found


def _days_by_unit(frame: pd.DataFrame) -> dict[Any, Days]:
    return {unit: days.to_numpy("datetime64[D]") for unit, days in frame.groupby("unit_id")["day"]}


def _of_route(route: Mapping[str, Any], days: Days, incinerators: list[_Incinerator]) -> Whole:
    # A comparison with a missing date is false: no permit on record is no permit.
    stands = _covers(route["from_day"], route["until_day"], days) & (days <= _day(route["permit_until"]))
    if str(route["kind"]) != Route.BURN.value:
        return np.where(stands, 2, 0)
    stands &= days <= _day(route["operator_until"])
    machines = [machine.states(days) for machine in incinerators]
    return np.where(stands, np.max(machines, axis=0) if machines else 0, 0)


def route_days(states: pd.DataFrame, school_days: pd.DataFrame | None = None) -> RouteDays:
    """School days with a permitted, working disposal route, from ``route_day_states``.

    ``days``: value = low = days that stand; high = those + the days not seen. ``share``: value = days that stand
    ÷ days observed; low = ÷ all school days; high = (stand + not seen) ÷ all school days. ``used`` is the days
    observed, ``expected`` all school days. None where no day was observed. ``school_days`` with a ``week``
    column gives the days their parts by school and week.

    >>> frame = pd.DataFrame({"school_id": [1] * 4, "day": pd.date_range("2030-01-07", periods=4),
    ...     "state": ["stands", "stands", "none", "not seen"]})
    >>> found = route_days(frame)
    >>> found.days.value, found.days.high, found.days.used, found.days.expected
    (2.0, 3.0, 3, 4)
    >>> round(found.share.value, 4), found.share.low, found.share.high
    (0.6667, 0.5, 0.75)
    """
    stands = states["state"] == RouteState.STANDS.value
    yes, total = int(stands.sum()), len(states)
    observed = total - int((states["state"] == RouteState.NOT_SEEN.value).sum())
    high = yes + total - observed
    open_days = observed < total
    note = "from no day to all days standing among the days on which nobody looked" if open_days else ""
    days = Figure(
        float(yes) if observed else None,
        "school days",
        Basis.COUNTED,
        low=float(yes) if open_days else None,
        high=float(high) if open_days else None,
        used=observed,
        expected=total,
        records="school days",
        note=note,
        parts=_day_parts(states[stands], school_days),
    )
    share = Figure(
        yes / observed if observed else None,
        "share of school days",
        Basis.COUNTED,
        low=yes / total if open_days else None,
        high=high / total if open_days else None,
        used=observed,
        expected=total,
        records="school days",
        note=note,
    )
    return RouteDays(days, share)


def _day_parts(standing: pd.DataFrame, school_days: pd.DataFrame | None) -> tuple[Part, ...]:
    if school_days is None or "week" not in school_days.columns:
        return ()
    rows = standing.merge(school_days, on=["school_id", "day"], how="left")
    return school_week_parts(rows.assign(number=1.0), "number")


def burns_total(burns: pd.DataFrame, schools: Mapping[int, int | str], expected: int) -> Figure:
    """Burns started, as written in the week sheets.

    Args:
        burns: frame ``burns`` (unit_id, week, burns; NaN = not recorded).
        schools: the school of each incinerator, by unit_id.
        expected: incinerator-weeks that should have been recorded.
    Returns:
        Unit "burns", counted, records "incinerator-weeks". None where no week was recorded.
    """
    known = burns[burns["burns"].notna()]
    rows = known.assign(school=known["unit_id"].map(dict(schools)))
    return Figure(
        float(known["burns"].sum()) if len(known) else None,
        "burns",
        Basis.COUNTED,
        used=len(known),
        expected=max(expected, len(known)),
        records="incinerator-weeks",
        parts=school_week_parts(rows, "burns"),
    )


def bin_full_days(bin_levels: pd.DataFrame, expected: int) -> Figure:
    """Readings at which a used-supply bin or tank was full (level 4 of 4 quarters).

    Args:
        bin_levels: frame ``bin_levels`` (unit_id, school_id, day, quarters; NaN = not recorded).
        expected: readings that should have been made.
    Returns:
        Unit "bin days" (one bin on one day it was read), counted; ``used`` is the readings made.
    Raises:
        ValueError: a level outside 0 to 4.
    """
    known = bin_levels[bin_levels["quarters"].notna()]
    if not known["quarters"].between(0, FULL_QUARTERS).all():
        raise ValueError("a level is 0 to 4 quarters")
    full = int((known["quarters"] == FULL_QUARTERS).sum())
    return Figure(
        float(full) if len(known) else None,
        "bin days",
        Basis.COUNTED,
        used=len(known),
        expected=max(expected, len(known)),
        records="bin readings",
    )
