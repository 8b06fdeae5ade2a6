"""How long until a unit is restored: outages that are still open count for as long as they have lasted.

Leaving open outages out makes repairs look quicker than they are, and so does counting them as restored today. The
product-limit estimator (Kaplan–Meier) uses each outage for as long as it was followed.

Sources: E. L. Kaplan and P. Meier 1958 and M. Greenwood 1926 (from memory), checked against the published table of
Freireich et al., Blood 21 (1963) 699-716; limits on the log scale and of the median as in R's survival package
(from memory). Frames as in DEVELOPERS.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.figure import Figure, not_recorded
from tracker.measures.intervals import NOTHING, Interval, check_confidence, wilson
from tracker.vocabulary import Basis

Floats = npt.NDArray[np.float64]
HAIR = 1e-12  # products of shares miss a half by less than this
OPEN_NOTE = "Outages that are still open count as not restored for as long as they have lasted."
NOT_REACHED = "The median was not reached: too many outages are still open."
NO_UPPER = "The median has no upper limit: too many outages are still open."
TOO_SHORT = "No outage was followed for so long, so the share is not known yet."
WITHOUT = "none"


@dataclass(frozen=True, slots=True)
class Survival:
    """Share not yet restored, as a step function of time.

    time: times at which something ended, rising. at_risk, ended: outages followed to just before that time, and
    those that ended at it. share, se, low, high: the share not restored from that time on, Greenwood's standard
    error, limits on the log scale (NaN where the share is 0). followed: the longest time of any outage.
    times, ends: the outages themselves.
    """

    time: Floats
    at_risk: npt.NDArray[np.int64]
    ended: npt.NDArray[np.int64]
    share: Floats
    se: Floats
    low: Floats
    high: Floats
    followed: float
    confidence: float
    times: Floats
    ends: npt.NDArray[np.bool_]

    def within(self, hours: float) -> Interval:
        """Share restored within so many hours (exactly on time counts), with limits.

        Limits: 1 − those of the share not restored. Where everything or nothing was restored by then, Greenwood's
        error is 0 and says nothing: Wilson's limits of the outages whose state at that time is known stand in its
        place (the project's own choice). Nothing where the longest outage is open and was not followed so long.
        """
        place = int(np.searchsorted(self.time, hours, side="right")) - 1
        share = float(self.share[place]) if place >= 0 else 1.0
        if not len(self.times) or (hours > self.followed and share > HAIR):
            return NOTHING
        if place < 0 or share <= HAIR:
            return self.known(hours)
        return Interval(1 - share, 1 - float(self.high[place]), 1 - float(self.low[place]))

    def known(self, hours: float) -> Interval:
        """Share restored within so many hours, of the outages for which that is known, with Wilson's limits.

        Known: ended, or open for more than the hours. It leaves out those that are not due, so it is no better than
        their absence is harmless.
        """
        kept = self.ends & (self.times <= hours)
        return wilson(int(kept.sum()), int((self.ends | (self.times > hours)).sum()), self.confidence)

    def quantile(self, share: float = 0.5) -> Interval:
        """Hours by which this share was restored: the first time at which no more than 1 − share is left.

        Limits: the first times at which the low and the high limit are no more than 1 − share. None where that
        is not reached.

        Raises:
            ValueError: the share is not between 0 and 1.
        """
        if not 0 < share < 1:
            raise ValueError(f"a share must lie between 0 and 1, got {share}")
        left = 1 - share + HAIR
        return Interval(
            *(self._first(curve <= left) for curve in (self.share, self._ends_at_zero(self.low), self.high))
        )

    def _ends_at_zero(self, curve: Floats) -> Floats:
        return np.where(self.share <= HAIR, 0.0, curve)

    def _first(self, reached: npt.NDArray[np.bool_]) -> float | None:
        return float(self.time[int(np.argmax(reached))]) if reached.any() else None


def kaplan_meier(times: Sequence[float], ended: Sequence[bool], confidence: float = 0.95) -> Survival:
    """The product-limit estimator: S(t) = Π over times ≤ t of (1 − d ÷ n).

    Greenwood: se = S·√Σ d ÷ (n(n − d)). Limits: S·exp(±z·se ÷ S), no more than 1. At the same time, ends come
    before those still open.

    Args:
        times: how long each outage lasted, or has lasted so far; at least 0. ended: whether it is over.
    Raises:
        ValueError: different lengths, a time that is negative or not a number.

    >>> found = kaplan_meier([1, 2, 2, 4], [True, True, False, True])
    >>> found.share.round(3).tolist(), found.at_risk.tolist(), found.quantile().value
    ([0.75, 0.5, 0.0], [4, 3, 1], 2.0)
    """
    from scipy.special import ndtri

    check_confidence(confidence)
    lasted, over = np.asarray(times, dtype=np.float64), np.asarray(ended, dtype=np.bool_)
    if lasted.shape != over.shape:
        raise ValueError(f"every outage needs a time and whether it ended, got {len(lasted)} and {len(over)}")
    if not (np.isfinite(lasted) & (lasted >= 0)).all():
        raise ValueError("the time of an outage must be a number of at least 0")
    at, counts = np.unique(lasted[over], return_counts=True)
    risk = len(lasted) - np.searchsorted(np.sort(lasted), at, side="left")
    left = (risk - counts).astype(np.float64)
    share = np.cumprod(left / risk).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.sqrt(np.cumsum(counts / (risk * left)))  # relative: se ÷ share
        se = np.where(share > 0, share * spread, 0.0)
        factor = np.exp(float(ndtri((1 + confidence) / 2)) * spread)
        low = np.where(share > 0, share / factor, np.nan)
        high = np.where(share > 0, np.minimum(1.0, share * factor), np.nan)
    longest = float(lasted.max()) if len(lasted) else 0.0
    return Survival(at, risk, counts, share, se, low, high, longest, confidence, lasted, over)


def _curve(faults: pd.DataFrame) -> Survival:
    return kaplan_meier(faults["hours"].tolist(), faults["ended"].tolist())


def time_to_restore(faults: pd.DataFrame) -> Figure:
    """Median hours until a unit was restored (nights and holidays included), open outages censored.

    Args:
        faults: hours, ended, from ``begun_faults`` (each fault once; filter it to a cause, a kind, a school).
    Returns:
        Unit "hours", counted; used: ended faults, expected: all. Without a value, or without limits, where too
        many are open; ``note`` says so.
    """
    n, over = len(faults), int(faults["ended"].sum())
    if not n:
        return not_recorded("hours", Basis.COUNTED, records="outages")
    value, low, high = _curve(faults).quantile()
    note = OPEN_NOTE if over < n else ""
    if value is None:
        note = NOT_REACHED
    elif high is None:
        note = NO_UPPER
    whole = value is not None and low is not None and high is not None
    limits = (low, high) if whole else (None, None)
    return Figure(value, "hours", Basis.COUNTED, *limits, used=over, expected=n, records="outages", note=note)


def restored_within(faults: pd.DataFrame, hours: float) -> Figure:
    """Share of faults restored within the promised hours, open ones used for as long as they have lasted.

    Args:
        faults: see ``time_to_restore``. hours: above 0; exactly on time is restored within it.
    Returns:
        Unit "share"; used: faults whose state at that time is known, expected: all. ``known_within`` is its
        companion of the known ones alone.
    Raises:
        ValueError: the promise is not above 0.
    """
    _check_promise(hours)
    curve = _curve(faults)
    value, low, high = curve.within(hours)
    used = int((curve.ends | (curve.times > hours)).sum())
    note = OPEN_NOTE if used < len(faults) else ""
    if value is None and len(faults):
        note = TOO_SHORT
    return Figure(value, "share", Basis.COUNTED, low, high, used, len(faults), records="outages", note=note)


def known_within(faults: pd.DataFrame, hours: float) -> Figure:
    """Share restored within the promised hours, of faults that ended or are late, with Wilson's limits.

    Raises:
        ValueError: the promise is not above 0.
    """
    _check_promise(hours)
    curve = _curve(faults)
    share, low, high = curve.known(hours)
    used = int((curve.ends | (curve.times > hours)).sum())
    return Figure(share, "share", Basis.COUNTED, low, high, used, len(faults), records="outages")


def _check_promise(hours: float) -> None:
    if not 0 < hours < math.inf:
        raise ValueError(f"a promise needs a time above 0 hours, got {hours}")


def with_fittings(faults: pd.DataFrame, fittings: pd.DataFrame) -> pd.DataFrame:
    """The faults with column ``fitting``: each once for every kind of fitting in force when it began.

    The fittings are those of the unit that went out first. A unit without any is "none". A unit may carry several
    fittings, so the groups overlap and do not add up to all faults.

    Args:
        faults: from ``begun_faults``.
        fittings: unit_id, kind, from_day, until_day (the last day; NaT: still there).
    """
    rows = faults.assign(fault=range(len(faults)), began=faults["day"])
    carried = fittings[["unit_id", "kind", "from_day", "until_day"]].rename(columns={"kind": "fitting"})
    pairs = rows[["fault", "unit_id", "began"]].merge(carried, on="unit_id")
    there = (pairs["began"] >= pairs["from_day"]) & (pairs["until_day"].isna() | (pairs["began"] <= pairs["until_day"]))
    kinds = pairs.loc[there, ["fault", "fitting"]].drop_duplicates()
    found = rows.merge(kinds, on="fault", how="left").drop(columns=["fault", "began"])
    return found.assign(fitting=found["fitting"].fillna(WITHOUT))


def restore_by(faults: pd.DataFrame, by: str, promise_hours: float) -> pd.DataFrame:
    """Time to restore of every group: by "cause", "kind", "school_id", or "fitting" (after ``with_fittings``).

    Returns:
        ``by``; outages, ended; median_h, median_low_h, median_high_h (NaN: not reached); within_share,
        within_low, within_high (NaN: not known); known, known_share, known_low, known_high (of those known);
        basis. Most outages first.
    Raises:
        ValueError: the promise is not above 0.
    """
    _check_promise(promise_hours)
    found = []
    for name, rows in faults.groupby(by):
        curve = _curve(rows)
        known = int((curve.ends | (curve.times > promise_hours)).sum())
        spans = (*curve.quantile(), *curve.within(promise_hours), known, *curve.known(promise_hours))
        found.append((name, len(rows), int(rows["ended"].sum()), *spans, Basis.COUNTED.value))
    columns = [by, "outages", "ended", "median_h", "median_low_h", "median_high_h", "within_share", "within_low"]
    columns += ["within_high", "known", "known_share", "known_low", "known_high", "basis"]
    table = pd.DataFrame(found, columns=columns)
    numbers = [name for name in columns if name.endswith(("_h", "_share", "_low", "_high"))]
    table[numbers] = table[numbers].astype("float64")
    return table.sort_values(["outages", by], ascending=[False, True], ignore_index=True)
