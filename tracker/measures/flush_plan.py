"""Which fittings hold at a unit in a week, and for what share of its school days."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.vocabulary import FLUSH_KINDS, FittingKind, LitresBasis

MEASURED_U = 0.03  # relative standard uncertainty of litres measured at commissioning
CLAIM_U = 0.10  # and of a maker's claim


class WaterPart(StrEnum):
    """What water was taken for."""

    FLUSH = "flush"
    PRE_WASH = "pre-wash"
    FLOOR_WASH = "floor wash"
    HANDWASH = "handwash"


PART_OF = {
    **dict.fromkeys(FLUSH_KINDS, WaterPart.FLUSH),
    FittingKind.PRE_WASH: WaterPart.PRE_WASH,
    FittingKind.FLOOR_WASH: WaterPart.FLOOR_WASH,
    FittingKind.TAP: WaterPart.HANDWASH,
}


class Fitting(NamedTuple):
    """A fitting's rule in its period; ``until_day`` is its last day, None while it is in place."""

    kind: FittingKind
    ml: float
    long_ml: float
    every_n: int
    factor: float
    u_rel: float
    label: str
    from_day: date
    until_day: date | None
    number: int  # its place in the frame


class Stretch(NamedTuple):
    """The part of a week in which the same rule held: its share of the week's school days."""

    fitting: Fitting
    vacuum: Fitting | None
    share: float


def half_up(number: float) -> int:
    """Whole number, halves up. A millionth is cut first, so that binary fractions do not decide a half.

    >>> half_up(2.5), half_up(2.4999999999), half_up(2.49)
    (3, 3, 2)
    """
    return math.floor(round(number, 6) + 0.5)


def days_by_school(school_days: pd.DataFrame) -> dict[int, set[date]]:
    """School id → its school days."""
    days: dict[int, set[date]] = {}
    for school, day in zip(
        school_days["school_id"].tolist(), school_days["day"].to_numpy("datetime64[D]").tolist(), strict=True
    ):
        days.setdefault(school, set()).add(day)
    return days


class Plan:
    """Which fittings hold at a unit in a week; worked out once while nothing changes.

    units, school_days (school_id, day): looked at only where a fitting changes inside a week.
    """

    def __init__(
        self, rules: Mapping[int, Mapping[str, Sequence[Fitting]]], units: pd.DataFrame, school_days: pd.DataFrame
    ) -> None:
        self.rules, self._units, self._school_days = rules, units, school_days
        self.changes = {unit: _change_days(parts) for unit, parts in rules.items()}
        self.known: dict[tuple[int, int], list[tuple[str, list[Stretch]]]] = {}

    @cached_property
    def units(self) -> dict[int, Any]:
        """Unit id → its row."""
        return {row.unit_id: row for row in rows_of(self._units)}

    @cached_property
    def days(self) -> dict[int, set[date]]:
        """School id → its school days."""
        return days_by_school(self._school_days)

    def stretches(self, unit_id: int, week: date) -> list[tuple[str, list[Stretch]]]:
        """Per part of a unit the rules of a week, with the share of its school days."""
        changes = self.changes.get(unit_id, [])
        before = bisect_right(changes, week)
        if before < bisect_right(changes, week + timedelta(days=6)):
            unit = self.units[unit_id]
            return self._of(unit_id, _open_days(unit, week, self.days.get(unit.school_id, set())))
        key = (unit_id, before)
        if key not in self.known:
            self.known[key] = self._of(unit_id, [week])
        return self.known[key]

    def _of(self, unit_id: int, days: Sequence[date]) -> list[tuple[str, list[Stretch]]]:
        parts = self.rules.get(unit_id, {})
        return [(part, _stretches(fits, parts, days)) for part, fits in parts.items() if part != FittingKind.VACUUM]


def _change_days(parts: Mapping[str, Sequence[Fitting]]) -> list[date]:
    """Days on which a fitting of a unit begins to hold, or no longer holds."""
    fits = [fit for group in parts.values() for fit in group]
    ends = {fit.until_day + timedelta(days=1) for fit in fits if fit.until_day is not None}
    return sorted({fit.from_day for fit in fits} | ends)


def _stretches(
    fits: Sequence[Fitting], of_unit: Mapping[str, Sequence[Fitting]], days: Sequence[date]
) -> list[Stretch]:
    vacuums = of_unit.get(FittingKind.VACUUM, ())
    if len(days) > 1 and not any(_changes(fit, days) for fit in (*fits, *vacuums)):
        days = days[:1]  # the usual week: one day stands for all
    counts: dict[tuple[Fitting, Fitting | None], int] = {}
    for day in days:
        fitting = _in_force(fits, day)
        if fitting is None:
            continue
        vacuum = _in_force(vacuums, day) if fitting.kind in FLUSH_KINDS else None
        counts[fitting, vacuum] = counts.get((fitting, vacuum), 0) + 1
    return [Stretch(fitting, vacuum, count / len(days)) for (fitting, vacuum), count in counts.items()]


def _changes(fit: Fitting, days: Sequence[date]) -> bool:
    starts = days[0] < fit.from_day <= days[-1]
    return starts or (fit.until_day is not None and days[0] <= fit.until_day < days[-1])


def _in_force(fits: Sequence[Fitting], day: date) -> Fitting | None:
    """The latest fitting that holds on a day; ``fits`` are in order of their first day."""
    return next(
        (fit for fit in reversed(fits) if fit.from_day <= day and (fit.until_day is None or day <= fit.until_day)),
        None,
    )


def _open_days(unit: Any, week: date, school_days: set[date]) -> list[date]:
    """School days of the week on which the unit stood; without any, the week's school days, else all seven."""
    seven = [week + timedelta(days=number) for number in range(7)]
    open_days = [day for day in seven if day in school_days]
    first = date.min if pd.isna(unit.from_day) else unit.from_day.date()
    last = date.max if pd.isna(unit.until_day) else unit.until_day.date()
    return [day for day in open_days if first <= day <= last] or open_days or seven


def rules_of(fittings: pd.DataFrame) -> dict[int, dict[str, list[Fitting]]]:
    rules: dict[int, dict[str, list[Fitting]]] = {}
    for number, row in enumerate(rows_of(fittings.sort_values("from_day", kind="stable"))):
        kind = FittingKind(row.kind)
        part = FittingKind.VACUUM if kind is FittingKind.VACUUM else PART_OF[kind]
        rules.setdefault(row.unit_id, {}).setdefault(part, []).append(_fitting(row, kind, number))
    return rules


def _fitting(row: Any, kind: FittingKind, number: int) -> Fitting:
    numbers = (row.ml, row.long_ml, row.every_n, row.factor_permille, row.u_permille)
    rule = _rule(kind, str(row.litres_basis), tuple(map(_number, numbers)))
    until = None if row.until_day is None or row.until_day is pd.NaT else row.until_day.date()
    return Fitting(*rule, row.from_day.date(), until, number)


@lru_cache(maxsize=1024)
def _rule(
    kind: FittingKind, basis: str, numbers: tuple[float | None, ...]
) -> tuple[FittingKind, float, float, int, float, float, str]:
    """What fittings of the same numbers have in common, from kind to label: most units have the same few."""
    ml, long_ml, every_n, factor, u_permille = numbers
    given = {"ml": ml, "long_ml": long_ml, "every_n": every_n, "factor_permille": factor}
    needs = _needs(kind)
    missing = [name for name in needs if given[name] is None]
    if missing:
        raise ValueError(f"a fitting {kind} needs {' and '.join(missing)}")
    usual = MEASURED_U if basis == LitresBasis.MEASURED else CLAIM_U
    return (
        kind,
        ml or 0.0,
        long_ml or 0.0,
        int(every_n or 0),
        1.0 if factor is None else factor / 1000,
        usual if u_permille is None else u_permille / 1000,
        " ".join([str(kind), *(f"{name} {given[name]:g}" for name in needs), basis]),
    )


def _number(value: Any) -> float | None:
    return None if value is None or math.isnan(value) else float(value)


def _needs(kind: FittingKind) -> Iterable[str]:
    special = {
        FittingKind.FLUSH_TWO_STAGE: ("ml", "long_ml"),
        FittingKind.FLUSH_NONE: (),
        FittingKind.VACUUM: ("factor_permille",),
        FittingKind.FLOOR_WASH: ("ml", "every_n"),
    }
    return special.get(kind, ("ml",))
