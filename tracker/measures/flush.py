"""The rules of water use: visits of a unit and week → whole millilitres for flush, washes and hands.

Each fitting has a rule, in force from a day on. Every rule works on visits that are already counted; the
litres are therefore modelled, however well the visits are known.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from tracker.measures.dials import first_week, interval_uses, rows_of, spread_over_weeks
from tracker.measures.flush_lines import Lines, Shares, ml_of_lines, shares_of, week_lines
from tracker.measures.flush_plan import CLAIM_U, MEASURED_U, PART_OF, WaterPart, half_up
from tracker.vocabulary import FLUSH_KINDS, CountWay, FittingKind, Quantity, Source

__all__ = ["CLAIM_U", "MEASURED_U", "PART_OF", "WaterPart", "half_up"]  # asked here by other measures of water

WATER = {
    "unit_id": "int64",
    "week": "datetime64[us]",
    "school_id": "int64",
    "school": "str",
    "block": "str",
    "unit": "str",
    "kind": "str",
    "group": "str",
    "part": "str",
    "fitting": "str",
    "visits": "float64",
    "u_visits": "float64",
    "visit_ml": "float64",
    "ml": "int64",
    "below_ml": "float64",
    "above_ml": "float64",
    "share_known": "bool",
    "u_rel": "float64",
    "whole": "bool",
}
LONG_WEEKS = {"unit_id": "int64", "week": "datetime64[us]", "seen": "int64", "long": "int64"}


class LongShare(NamedTuple):
    """Share of visits that get the long flush, 0 to 1, with its bounds; known = looked at in that week."""

    share: float
    low: float
    high: float
    known: bool = False


def flush_ml(kind: FittingKind, ml: float, long_ml: float, long_share: float, factor: float = 1.0) -> float:
    """Millilitres of one visit's flush, on average.

    fixed, pour: ml; two-stage: ml + share × (long_ml − ml); none: 0; all × the vacuum factor.

    Raises:
        ValueError: the kind is no flush, or the share is outside 0 to 1.

    >>> flush_ml(FittingKind.FLUSH_TWO_STAGE, 3000, 6000, 1 / 3)
    4000.0
    """
    if kind not in FLUSH_KINDS:
        raise ValueError(f"{kind} is not a flush")
    if not 0 <= long_share <= 1:
        raise ValueError(f"a share lies between 0 and 1, got {long_share}")
    if kind is FittingKind.FLUSH_NONE:
        return 0.0
    extra = long_share * (long_ml - ml) if kind is FittingKind.FLUSH_TWO_STAGE else 0.0
    return (ml + extra) * factor


def floor_washes(before: float, after: float, every_n: int) -> int:
    """Floor washes while a unit's visits since the fitting was put in rose from ``before`` to ``after``.

    ⌊after ÷ N⌋ − ⌊before ÷ N⌋, sampled visits first rounded half up to whole ones. What is left over is carried,
    so the washes of any split of the visits add up to ⌊total ÷ N⌋.

    Raises:
        ValueError: N is below 1, or visits fall.

    >>> floor_washes(8, 21, 10)
    2
    """
    if every_n < 1:
        raise ValueError(f"a floor wash comes after at least 1 visit, got {every_n}")
    if not 0 <= before <= after:
        raise ValueError(f"visits cannot fall from {before} to {after}")
    return half_up(after) // every_n - half_up(before) // every_n


def with_long_counters(
    long_weeks: pd.DataFrame,
    readings: pd.DataFrame,
    unit_weeks: pd.DataFrame,
    occasions: pd.DataFrame,
    units: pd.DataFrame,
    *,
    preferred: Mapping[int, Source] | None = None,
    since: date | None = None,
) -> pd.DataFrame:
    """``long_weeks`` with the weeks of counters for long visits; a counter goes before what was looked at.

    seen is the week's visits where they come from a counter; a week whose visits do not is left out. A long
    count above the visits is taken as all visits. ``preferred`` and ``since``: as in ``visits.unit_weeks``.
    """
    long_reads = readings[readings["quantity"] == Quantity.LONG_VISITS]
    steps = interval_uses(long_reads, period_from=first_week(occasions, since), preferred=preferred)
    uses = {(row.unit_id, row.week): row.steps for row in rows_of(spread_over_weeks(steps, occasions, units))}
    rows = {(row.unit_id, row.week): (row.seen, row.long) for row in rows_of(long_weeks)}
    for row in rows_of(unit_weeks[unit_weeks["way"] == CountWay.COUNTER]):
        if (row.unit_id, row.week) in uses:
            rows[row.unit_id, row.week] = (int(row.visits), min(int(row.visits), uses[row.unit_id, row.week]))
    return pd.DataFrame([(*key, *rows[key]) for key in sorted(rows)], columns=list(LONG_WEEKS)).astype(LONG_WEEKS)


def unit_week_water(
    unit_weeks: pd.DataFrame,
    units: pd.DataFrame,
    fittings: pd.DataFrame,
    long_weeks: pd.DataFrame,
    school_days: pd.DataFrame,
    *,
    assumed: LongShare,
    period_from: date | None = None,
) -> pd.DataFrame:
    """Water of each unit and week by the fittings in force, in whole mL, one row per part and fitting.

    A fitting that changes inside a week shares that week's visits by the school days before and after (days on
    which the unit stood). mL are rounded half up once per unit, week and part; the fittings' rows take the
    differences of the rounded running sum, so they add up. Floor washes are whole washes, counted on over all
    weeks given since the fitting's first day: give also the weeks before the period.

    Args:
        unit_weeks: from ``visits.unit_weeks``, from the first day of the floor wash on.
        units, fittings: the frames; ``fittings`` also of the weeks before. Of two fittings of one part the later
            one is in force.
        long_weeks: visits looked at and of them long, per unit and week (see ``with_long_counters``).
        school_days: school_id, day; one row per school day.
        assumed: the long share where nobody looked, with bounds.
        period_from: rows of earlier weeks are computed and then left out.
    Returns:
        the unit's facts, week, part, fitting (kind, litres and their basis), visits (of those days), u_visits
        (standard uncertainty), visit_ml (mL per visit by the rule), ml, below_ml and above_ml (how much lower and
        higher with the bounds of the long share; Wilson limits where only some visits were looked at),
        share_known, u_rel (relative standard uncertainty of the fitting's mL), whole (all visits of the week have
        a fitting of this part). Visits on days without a fitting of the part have no mL and no row.
    """
    known = units["unit_id"].to_numpy("int64")
    rows = unit_weeks[unit_weeks["unit_id"].isin(known)].sort_values(["unit_id", "week"])
    lines = week_lines(rows, units, fittings, school_days)
    shares = shares_of(rows, long_weeks, (assumed.share, assumed.low, assumed.high))
    visits = rows["visits"].to_numpy("float64")[lines.row] * lines.share
    made = ml_of_lines(lines, visits, shares)
    made["visits"] = visits
    if period_from is not None:  # earlier weeks were only needed for the washes that are carried
        kept = (rows["week"].to_numpy("datetime64[us]") >= np.datetime64(period_from))[lines.row]
        lines = Lines(lines.row[kept], lines.line[kept], lines.share[kept], lines.table)
        made = {name: values[kept] for name, values in made.items()}
    return _water_frame(rows, units, lines, shares, made)


def _water_frame(
    rows: pd.DataFrame, units: pd.DataFrame, lines: Lines, shares: Shares, made: dict[str, Any]
) -> pd.DataFrame:
    row, line, share, table = lines
    at = pd.Index(units["unit_id"]).get_indexer(pd.Index(rows["unit_id"]))[row]
    facts = {name: units[name].take(at).array for name in ("school_id", "school", "block", "unit", "kind", "group")}
    columns = {
        "unit_id": rows["unit_id"].to_numpy()[row],
        "week": rows["week"].to_numpy()[row],
        **facts,
        "part": pd.array(table.part, dtype="str").take(line),
        "fitting": pd.array(table.label, dtype="str").take(line),
        **made,
        "u_visits": np.sqrt(rows["var"].to_numpy("float64"))[row] * share,
        "share_known": shares.known[row],
        "u_rel": table.u_rel[line],
        "whole": table.whole[line],
    }
    return pd.DataFrame({name: columns[name] for name in WATER}).astype(WATER)
