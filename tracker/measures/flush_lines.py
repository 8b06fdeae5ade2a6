"""Millilitres of many unit-weeks at once: the rules that hold in each week as lines, their arithmetic by column."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from tracker.measures.flush_plan import Plan, Stretch, WaterPart, half_up, rules_of
from tracker.measures.intervals import wilson
from tracker.vocabulary import FittingKind

Floats: TypeAlias = npt.NDArray[np.float64]
Whole: TypeAlias = npt.NDArray[np.int64]
Flags: TypeAlias = npt.NDArray[np.bool_]
EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Table:
    """Lines of the plan: one per set of rules, part and stretch. first: the first stretch of its part and week."""

    part: list[str]
    label: list[str]
    kind: npt.NDArray[np.object_]
    ml: Floats
    long_ml: Floats
    every_n: Whole
    factor: Floats
    u_rel: Floats
    number: Whole
    share: Floats
    first: Flags
    whole: Flags


class Lines(NamedTuple):
    """For every line of every unit-week: the row of the unit-week, the line of the table, its share of the week."""

    row: Whole
    line: Whole
    share: Floats
    table: Table


class Shares(NamedTuple):
    """Long share of each unit-week with its bounds; known = looked at in that week."""

    share: Floats
    low: Floats
    high: Floats
    known: Flags


def half_up_all(numbers: Floats) -> Whole:
    """``half_up`` of many numbers."""
    return np.floor(np.round(numbers, 6) + 0.5).astype(np.int64)


def week_lines(rows: pd.DataFrame, units: pd.DataFrame, fittings: pd.DataFrame, school_days: pd.DataFrame) -> Lines:
    """The lines of unit-weeks; those of a unit are worked out once for all weeks between two changes of its fittings.

    Args:
        rows: unit_id, week, in order.
    """
    plan = Plan(rules_of(fittings), units, school_days)
    sets, of_row = _sets(rows, plan)
    table = _table(sets)
    counts = np.array([sum(len(stretches) for _, stretches in one) for one in sets], dtype=np.int64)
    starts = np.cumsum(counts) - counts
    times = counts[of_row] if len(sets) else np.zeros(0, dtype=np.int64)
    row = np.repeat(np.arange(len(rows)), times)
    within = np.arange(len(row)) - np.repeat(np.cumsum(times) - times, times)
    line = starts[of_row[row]] + within if len(sets) else row
    return Lines(row, line, table.share[line], table)


def _sets(rows: pd.DataFrame, plan: Plan) -> tuple[list[list[tuple[str, list[Stretch]]]], Whole]:
    """The different sets of rules, and which one holds in each row."""
    ids, weeks = rows["unit_id"].to_numpy("int64"), rows["week"].to_numpy("datetime64[D]").astype(np.int64)
    changes = np.array(
        sorted(unit * 100_000 + (day - EPOCH).days for unit, days in plan.changes.items() for day in days),
        dtype=np.int64,
    )
    at = ids * 100_000 + weeks
    before = np.searchsorted(changes, at, side="right")
    changed = before < np.searchsorted(changes, at + 6, side="right")
    # a week with a change has a set of its own; others share one per unit and number of changes before
    same = np.where(changed, -1 - np.arange(len(rows)), before)
    width = len(rows) + len(changes) + 2
    _, first, of_row = np.unique(ids * width + same + len(rows) + 1, return_index=True, return_inverse=True)
    sets = [
        plan.stretches(unit, EPOCH + timedelta(days=week))
        for unit, week in zip(ids[first].tolist(), weeks[first].tolist(), strict=True)
    ]
    return sets, of_row.astype(np.int64)


def _table(sets: list[list[tuple[str, list[Stretch]]]]) -> Table:
    lines = [
        (part, stretch, place == 0, math.isclose(sum(each.share for each in stretches), 1.0))
        for one in sets
        for part, stretches in one
        for place, stretch in enumerate(stretches)
    ]
    fits = [stretch.fitting for _, stretch, _, _ in lines]
    vacuums = [stretch.vacuum for _, stretch, _, _ in lines]
    both = list(zip(fits, vacuums, strict=True))
    return Table(
        [str(part) for part, _, _, _ in lines],
        [fit.label if vacuum is None else f"{fit.label}, {vacuum.label}" for fit, vacuum in both],
        np.array([str(fit.kind) for fit in fits], dtype=object),
        np.array([fit.ml for fit in fits], dtype=np.float64),
        np.array([fit.long_ml for fit in fits], dtype=np.float64),
        np.array([fit.every_n for fit in fits], dtype=np.int64),
        np.array([1.0 if vacuum is None else vacuum.factor for vacuum in vacuums], dtype=np.float64),
        np.array(
            [fit.u_rel if vacuum is None else math.hypot(fit.u_rel, vacuum.u_rel) for fit, vacuum in both],
            dtype=np.float64,
        ),
        np.array([fit.number for fit in fits], dtype=np.int64),
        np.array([stretch.share for _, stretch, _, _ in lines], dtype=np.float64),
        np.array([first for _, _, first, _ in lines], dtype=bool),
        np.array([whole for _, _, _, whole in lines], dtype=bool),
    )


def shares_of(rows: pd.DataFrame, long_weeks: pd.DataFrame, assumed: tuple[float, float, float]) -> Shares:
    """Long share of each unit-week: long ÷ seen where somebody looked, exact where at all visits, else the assumed."""
    looked = long_weeks[long_weeks["seen"] > 0][["unit_id", "week", "seen", "long"]]
    found = rows[["unit_id", "week", "visits"]].merge(looked, on=["unit_id", "week"], how="left")
    known = found["seen"].notna().to_numpy()
    share, low, high = (np.full(len(rows), end) for end in assumed)
    seen, long = (found[name].to_numpy("float64")[known] for name in ("seen", "long"))
    share[known] = low[known] = high[known] = long / seen
    part = known.copy()
    part[known] = seen < half_up_all(found["visits"].to_numpy("float64")[known])
    pairs, place = np.unique(found.loc[part, ["long", "seen"]].to_numpy("float64"), axis=0, return_inverse=True)
    ends = np.array([wilson(int(some), int(of))[1:] for some, of in pairs], dtype=np.float64).reshape(-1, 2)
    low[part], high[part] = ends[place.reshape(-1)].T
    return Shares(share, low, high, known)


def ml_of_lines(lines: Lines, visits: Floats, shares: Shares) -> dict[str, Any]:
    """visit_ml, ml, below_ml and above_ml of every line; floor washes are carried on from week to week."""
    table, line, row = lines.table, lines.line, lines.row
    middle, low, high = (_visit_ml(lines, at[row]) for at in (shares.share, shares.low, shares.high))
    amount = visits * middle
    ml = half_up_all(amount)
    for place in np.flatnonzero(~table.first[line]).tolist():  # a second fitting of one week takes what is left
        start = place
        while not table.first[line[start]]:
            start -= 1
        running = float(sum(amount[start:place].tolist()))
        ml[place] = half_up(running + float(amount[place])) - half_up(running)
    floor = table.kind[line] == FittingKind.FLOOR_WASH
    ml[floor] = _washes(table.number[line[floor]], visits[floor], table.every_n[line[floor]]) * half_up_all(
        table.ml[line[floor]]
    )
    return {
        "visit_ml": middle,
        "ml": ml,
        "below_ml": visits * (middle - np.minimum(low, high)),
        "above_ml": visits * (np.maximum(low, high) - middle),
    }


def _visit_ml(lines: Lines, share: Floats) -> Floats:
    """mL of a visit by the rule of each line, at a long share."""
    table, line = lines.table, lines.line
    kind, ml = table.kind[line], table.ml[line]
    each = ml.copy()
    two = kind == FittingKind.FLUSH_TWO_STAGE
    each[two] = ml[two] + share[two] * (table.long_ml[line][two] - ml[two])
    each[kind == FittingKind.FLUSH_NONE] = 0.0
    flush = np.isin(table.part, [WaterPart.FLUSH])[line]
    each[flush] *= table.factor[line][flush]
    floor = kind == FittingKind.FLOOR_WASH
    each[floor] = ml[floor] / table.every_n[line][floor]
    return each


def _washes(fitting: Whole, visits: Floats, every_n: Whole) -> Whole:
    """Whole floor washes of each line; lines of one fitting are in the order of their weeks."""
    order = np.argsort(fitting, kind="stable")
    running = np.cumsum(visits[order])
    first = np.ones(len(order), dtype=bool)
    first[1:] = fitting[order][1:] != fitting[order][:-1]
    begin = (running - visits[order])[first]
    after = running - begin[np.cumsum(first) - 1] if len(order) else running
    full = half_up_all(after) // every_n[order]
    before = np.where(first, 0, np.concatenate([[0], full[:-1]])) if len(order) else full
    washes = np.empty(len(order), dtype=np.int64)
    washes[order] = full - before
    return washes
