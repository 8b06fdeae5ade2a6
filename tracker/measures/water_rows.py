"""The rows of ``flush.unit_week_water`` as columns of numbers, so that sums over a whole programme are quick."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from datetime import date
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from tracker.measures.columns import Flags, Floats, Texts, Whole, day_numbers, keys, sums_by, text
from tracker.measures.figure import Part
from tracker.measures.flush import WaterPart
from tracker.measures.intervals import sum_u
from tracker.vocabulary import VISITED, UnitKind

Z95 = 1.96
ML = 1000  # millilitres in a litre

Totals: TypeAlias = dict[tuple[str, date], float]


def main_part(kind: str) -> WaterPart:
    """The part without which a unit's water is not known."""
    return WaterPart.HANDWASH if kind == UnitKind.TAP else WaterPart.FLUSH


@dataclass(frozen=True, slots=True)
class WaterRows:
    """Columns of water rows; ``visit_ml`` and so on as in ``flush.unit_week_water``, weeks as day numbers."""

    unit_id: Whole
    week: Whole
    school_id: Whole
    school: Texts
    block: Texts
    unit: Texts
    kind: Texts
    group: Texts
    part: Texts
    fitting: Texts
    visits: Floats
    u_visits: Floats
    visit_ml: Floats
    ml: Whole
    below_ml: Floats
    above_ml: Floats
    share_known: Flags
    u_rel: Floats
    whole: Flags

    def __len__(self) -> int:
        return len(self.ml)

    def take(self, chosen: Flags | Whole | slice) -> WaterRows:
        """Some of the rows."""
        return WaterRows(*(getattr(self, column.name)[chosen] for column in fields(self)))

    @property
    def unit_week(self) -> Whole:
        """One number per unit and week."""
        return keys(self.unit_id, self.week)

    @property
    def is_flush(self) -> Flags:
        """Whether a row is of the flush."""
        return np.asarray(self.part == WaterPart.FLUSH, dtype=bool)

    @property
    def flushed(self) -> float:
        """Visits that have a flush."""
        return math.fsum(self.visits[self.is_flush].tolist())

    def used(self) -> int:
        """Unit-weeks in which all visits have their main part."""
        tap = np.asarray(self.kind == UnitKind.TAP, dtype=bool)
        main = np.where(tap, self.part == WaterPart.HANDWASH, self.is_flush).astype(bool)
        return len(np.unique(self.unit_week[self.whole & main]))

    def saved(self, reference_ml: float | Floats) -> Floats:
        """mL of each row that a reference would have taken more; the reference counts on rows of the flush."""
        return np.where(self.is_flush, self.visits * reference_ml, 0.0) - self.ml

    def sums(self, ml: Floats | Whole | None = None) -> Totals:
        """mL (or what is given for each row) by school and week, in order."""
        return sums_by(self.school, self.week, self.ml if ml is None else ml)

    def limits(self, shift: float | Floats = 0.0) -> tuple[float, float]:
        """As ``water.uncertainty_ml``: distances (mL) of the 95 % limits, below and above."""
        each = self.visit_ml - np.where(self.is_flush, shift, 0.0)
        drawn = self.u_visits > 0
        of_week = keys(self.school_id, self.week)[drawn]
        by_week = _sums(np.unique(of_week, return_inverse=True)[1], (each * self.u_visits)[drawn])
        by_rule = _sums(pd.factorize(self.fitting)[0], self.ml * self.u_rel)
        random = Z95 * math.hypot(_root(by_week), _root(by_rule))
        known = self.share_known
        below, above = (
            sum_u([random, float(column[~known].sum()), _root(column[known])])
            for column in (self.below_ml, self.above_ml)
        )
        return below, above


def _sums(place: Any, amounts: Floats) -> Floats:
    return np.bincount(place, weights=amounts).astype(np.float64)


def _root(numbers: Floats) -> float:
    return math.sqrt(float(np.dot(numbers, numbers)))


def all_rows(water: pd.DataFrame) -> WaterRows:
    """All rows of ``flush.unit_week_water``."""
    return WaterRows(**{column.name: _column(water, column.name) for column in fields(WaterRows)})


def water_rows(water: pd.DataFrame, expected: pd.DataFrame) -> WaterRows:
    """The rows of cabins, urinals and taps in the unit-weeks that were expected."""
    rows = all_rows(water)
    due = keys(expected["unit_id"].to_numpy("int64"), day_numbers(expected["week"]))
    kinds = np.zeros(len(rows), dtype=bool)
    for kind in VISITED:
        kinds |= rows.kind == kind
    return rows.take(kinds & np.isin(rows.unit_week, due))


def _column(water: pd.DataFrame, name: str) -> Any:
    column = water[name]
    if name == "week":
        return day_numbers(column)
    return text(column) if isinstance(column.dtype, pd.StringDtype) else column.to_numpy()


def parts_of(sums: Totals) -> tuple[Part, ...]:
    """What each school and week brought, in litres."""
    return tuple(Part(school, week, ml / ML) for (school, week), ml in sums.items())
