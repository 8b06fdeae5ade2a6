"""The rows of ``flush.unit_week_water`` as columns of numbers, so that sums over a whole programme are quick."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from datetime import date
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from tracker.measures.columns import DAY_KEY, Flags, Floats, Texts, Whole, day_numbers, distinct, is_in, keys, text
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
    """Columns of water rows; ``visit_ml`` and so on as in ``flush.unit_week_water``, weeks as day numbers.

    school: the place of its name among ``schools``, which are in order. rule: one number per fitting rule. flush:
    the row is of the flush. main: it is of the part without which the unit's water is not known.
    """

    schools: Texts
    unit_id: Whole
    week: Whole
    school_id: Whole
    school: Whole
    block: Texts
    unit: Texts
    kind: Texts
    group: Texts
    part: Texts
    rule: Whole
    visits: Floats
    u_visits: Floats
    visit_ml: Floats
    ml: Whole
    below_ml: Floats
    above_ml: Floats
    share_known: Flags
    u_rel: Floats
    whole: Flags
    flush: Flags
    main: Flags

    def __len__(self) -> int:
        return len(self.ml)

    def take(self, chosen: Flags | Whole | slice) -> WaterRows:
        """Some of the rows."""
        if isinstance(chosen, np.ndarray) and chosen.dtype == np.bool_ and chosen.all():
            return self
        return WaterRows(self.schools, *(getattr(self, name)[chosen] for name in ROW_WISE))

    def named(self, by: str) -> Any:
        """A column as it stands in the frame, a week as its day number."""
        return self.schools[self.school] if by == "school" else getattr(self, by)

    @property
    def unit_week(self) -> Whole:
        """One number per unit and week."""
        return keys(self.unit_id, self.week)

    @property
    def flushed(self) -> float:
        """Visits that have a flush."""
        return math.fsum(self.visits[self.flush].tolist())

    def used(self) -> int:
        """Unit-weeks in which all visits have their main part."""
        return len(distinct(self.unit_week[self.whole & self.main]))

    def saved(self, reference_ml: float | Floats) -> Floats:
        """mL of each row that a reference would have taken more; the reference counts on rows of the flush."""
        return np.where(self.flush, self.visits * reference_ml, 0.0) - self.ml

    def sums(self, ml: Floats | Whole | None = None) -> Totals:
        """mL (or what is given for each row) by school and week, in order."""
        wanted, place = np.unique(keys(self.school, self.week), return_inverse=True)
        totals = np.bincount(place, weights=self.ml if ml is None else ml, minlength=len(wanted)).tolist()
        days = (wanted % DAY_KEY).astype("datetime64[D]").tolist()
        names = self.schools[wanted // DAY_KEY].tolist()
        return dict(zip(zip(names, days, strict=True), totals, strict=True))

    def limits(self, shift: float | Floats = 0.0) -> tuple[float, float]:
        """Distances (mL) from Σ ml − shift × visits to its 95 % limits, below and above.

        visits: Σ (visit_ml − shift)·u_visits, added side by side within a school and week, because units tallied in
        the same breaks err together, and in quadrature across. litres: Σ ml·u_rel, added side by side within one
        fitting rule (kind, litres and their basis: one error), in quadrature across. u² = visits² + litres², times
        1.96². Long share: assumed bounds added side by side (one assumption), limits of weeks that were looked at
        in quadrature. All in quadrature.

        Args:
            shift: mL per visit that is taken off, on the rows of the flush.
        """
        each = self.visit_ml - np.where(self.flush, shift, 0.0)
        drawn = self.u_visits > 0
        of_week = keys(self.school_id, self.week)[drawn]
        by_week = _sums(np.unique(of_week, return_inverse=True)[1], (each * self.u_visits)[drawn])
        by_rule = _sums(self.rule, self.ml * self.u_rel)
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


ROW_WISE = tuple(column.name for column in fields(WaterRows) if column.name != "schools")


def all_rows(water: pd.DataFrame) -> WaterRows:
    """All rows of ``flush.unit_week_water``."""
    school, schools = pd.factorize(text(water["school"]), sort=True)
    part, kind = text(water["part"]), text(water["kind"])
    flush = np.asarray(part == WaterPart.FLUSH, dtype=bool)
    made = {
        "school": school.astype(np.int64),
        "rule": pd.factorize(text(water["fitting"]))[0].astype(np.int64),
        "flush": flush,
        "main": np.where(kind == UnitKind.TAP, part == WaterPart.HANDWASH, flush).astype(bool),
        "week": day_numbers(water["week"]),
    }
    columns = {name: made[name] if name in made else _column(water[name]) for name in ROW_WISE}
    return WaterRows(schools=np.asarray(schools, dtype=object), **columns)


def water_rows(water: pd.DataFrame, expected: pd.DataFrame) -> WaterRows:
    """The rows of cabins, urinals and taps in the unit-weeks that were expected."""
    rows = all_rows(water)
    due = keys(expected["unit_id"].to_numpy("int64"), day_numbers(expected["week"]))
    kinds = np.zeros(len(rows), dtype=bool)
    for kind in VISITED:
        kinds |= rows.kind == kind
    return rows.take(kinds & is_in(rows.unit_week, distinct(due)))


def _column(column: pd.Series[Any]) -> Any:
    return text(column) if isinstance(column.dtype, pd.StringDtype) else column.to_numpy()


def parts_of(sums: Totals) -> tuple[Part, ...]:
    """What each school and week brought, in litres."""
    return tuple(Part(school, week, ml / ML) for (school, week), ml in sums.items())
