"""A flush worked by hand beside the automatic one: two rules side by side, with a stated share and its bounds.

Nobody counts which of the two was used, so the share is an assumption or what was seen on a spot check, and the
litres carry its bounds. Works on the rows of ``flush.unit_week_water`` and gives rows of the same kind, so that
every water figure can be made from them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from tracker.measures.flush import WATER, LongShare, WaterPart, half_up
from tracker.vocabulary import LitresBasis


@dataclass(frozen=True, slots=True)
class ManualFlush:
    """A second flush of a unit that is worked by hand.

    ml: of one manual flush. share: of the visits at which it was worked, with bounds. instead: the automatic flush
    then does not run; False: both run. u_rel: relative standard uncertainty of ml. until_day: its last day.
    """

    ml: float
    share: LongShare
    instead: bool = True
    litres_basis: LitresBasis = LitresBasis.CLAIM
    u_rel: float = 0.10
    from_day: date | None = None
    until_day: date | None = None

    def __post_init__(self) -> None:
        if self.ml < 0 or self.u_rel < 0:
            raise ValueError("litres and their uncertainty cannot be below 0")
        if not 0 <= self.share.low <= self.share.share <= self.share.high <= 1:
            raise ValueError("a share lies between its bounds, and those between 0 and 1")


def side_by_side_ml(automatic_ml: float, manual_ml: float, share: float, *, instead: bool = True) -> float:
    """Millilitres of a visit where a share of visits is flushed by hand.

    instead: (1 − share)·automatic + share·manual; else automatic + share·manual.

    Raises:
        ValueError: the share is outside 0 to 1.

    >>> side_by_side_ml(3000, 6000, 0.25), side_by_side_ml(3000, 6000, 0.25, instead=False)
    (3750.0, 4500.0)
    """
    if not 0 <= share <= 1:
        raise ValueError(f"a share lies between 0 and 1, got {share}")
    return automatic_ml * (1 - share * instead) + manual_ml * share


def with_manual_flush(water: pd.DataFrame, manual: Mapping[int, ManualFlush]) -> pd.DataFrame:
    """Water rows in which the flush of some units has a manual flush beside it.

    Args:
        water: from ``flush.unit_week_water``.
        manual: unit_id → its manual flush. It holds in the weeks whose first day lies in its period.
    Returns:
        The same rows; in those of the flush of such units: visit_ml by ``side_by_side_ml``, ml = visits × visit_ml
        rounded half up, below_ml and above_ml widened by the bounds of the share (added to those of the long share,
        one assumption with it), share_known only where both shares were seen, u_rel of both litres in quadrature.
    """
    flushed = (water["part"] == WaterPart.FLUSH) & water["unit_id"].isin(list(manual))
    places = np.flatnonzero(flushed.to_numpy())
    rows = water.iloc[places].to_dict("records")
    held = [_holds(manual[row["unit_id"]], row["week"].date()) for row in rows]
    made = [_beside(row, manual[row["unit_id"]]) for row, holds in zip(rows, held, strict=True) if holds]
    if not made:
        return water[list(WATER)].astype(WATER).reset_index(drop=True)
    changed = {}
    for name in made[0]:
        column = water[name].to_numpy(dtype=object) if name == "fitting" else water[name].to_numpy(copy=True)
        column = column.copy()
        column[places[held]] = [row[name] for row in made]
        changed[name] = column
    return water.assign(**changed)[list(WATER)].astype(WATER).reset_index(drop=True)


def _holds(rule: ManualFlush, week: date) -> bool:
    return (rule.from_day or date.min) <= week <= (rule.until_day or date.max)


def _beside(row: Mapping[Any, Any], rule: ManualFlush) -> dict[str, Any]:
    automatic, visits = float(row["visit_ml"]), float(row["visits"])
    middle, *ends = (
        side_by_side_ml(automatic, rule.ml, share, instead=rule.instead)
        for share in (rule.share.share, rule.share.low, rule.share.high)
    )
    by_hand = rule.share.share * rule.ml
    kept = 1 - rule.share.share * rule.instead
    u = math.hypot(kept * automatic * float(row["u_rel"]), by_hand * rule.u_rel)
    return {
        "fitting": f"{row['fitting']}, by hand ml {rule.ml:g} {rule.litres_basis}",
        "visit_ml": middle,
        "ml": half_up(visits * middle),
        "below_ml": kept * float(row["below_ml"]) + visits * (middle - min(ends)),
        "above_ml": kept * float(row["above_ml"]) + visits * (max(ends) - middle),
        "share_known": bool(row["share_known"]) and rule.share.known,
        "u_rel": u / middle if middle else 0.0,
    }
