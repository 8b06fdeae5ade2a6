"""Uptake around a lesson: napkins asked for before and after it, beside schools without one. A plain description.

Given out per 100 girls and school day, so that schools of different size and weeks with fewer school days can
stand side by side. Each school is one observation.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Mapping
from dataclasses import asdict, dataclass
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.changes import CANNOT_SHOW, BeforeAfter, difference_in_differences
from tracker.measures.figure import Figure
from tracker.measures.intervals import Interval
from tracker.vocabulary import Basis

Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
UNIT: Final = "napkins per 100 girls and school day"
WEEKS: Final = 4  # weeks looked at on each side of the lesson's week (own choice)
COLUMNS: Final = ["school_id", "lesson", "before", "after", "weeks_before", "weeks_after", "sold_out_weeks"]
STOCK_LIMIT: Final = "What was given out can rise only as far as there was stock."


@dataclass(frozen=True, slots=True)
class Uptake:
    """Change at the schools with a lesson, at comparison schools, their difference, and the schools behind them.

    cannot_show: the sentence to print with it.
    """

    with_lesson: Figure
    comparison: Figure
    difference: Figure
    schools: pd.DataFrame
    cannot_show: str = f"{CANNOT_SHOW} {STOCK_LIMIT}"


def uptake_around(
    weeks: pd.DataFrame, lessons: pd.DataFrame, girls: Mapping[Hashable, float], span: int = WEEKS
) -> Uptake:
    """Given out before and after lessons, with the difference in differences to schools without any.

    Of each school with a lesson its first one counts: ``span`` weeks before the lesson's week against as many after
    it. Comparison schools have no lesson; their change is the mean of their changes over the same weeks. A school
    needs a week recorded on both sides. Difference: mean change − mean change, t limits by school (Welch).

    Args:
        weeks: ``school_id``, ``week``, ``given_out`` (napkins of the school, NaN = not recorded), ``school_days``,
            ``sold_out`` (whether it ran out in the week).
        lessons: ``school_id``, ``week`` (of the lesson). girls: enrolled, by school_id; 0 or none = not used.
    Returns:
        Figures in napkins per 100 girls and school day, modelled; ``used`` schools, ``expected`` schools of that
        kind; and the frame of the schools with a lesson.
    Raises:
        ValueError: a span below 1.
    """
    if span < 1:
        raise ValueError("at least one week on each side is needed")
    rows = weeks[weeks["given_out"].notna() & (weeks["school_days"] > 0)]
    by_school: dict[Hashable, _Weeks] = {
        school: _Weeks.of(frame) for school, frame in rows.groupby("school_id", sort=True)
    }
    nothing = _Weeks.of(rows.iloc[:0])
    first = lessons.groupby("school_id", sort=True)["week"].min().to_dict()
    others = sorted(set(weeks["school_id"]) - set(first))

    def around(school: Hashable, lesson: pd.Timestamp) -> _Around:
        return _around(by_school.get(school, nothing), school, lesson, girls.get(school, 0.0), span)

    at_lessons = [around(school, lesson) for school, lesson in first.items()]
    changed = [one.change for one in at_lessons if one.change]
    times = Counter(first.values())
    beside = [_mean_change({around(school, lesson): times[lesson] for lesson in times}) for school in others]
    compared = [change for change in beside if change]
    return Uptake(
        _change(changed, len(first)),
        _change(compared, len(others)),
        _difference(changed, compared, len(first) + len(others)),
        pd.DataFrame([asdict(one) for one in at_lessons], columns=COLUMNS),
    )


@dataclass(frozen=True, slots=True)
class _Around:
    """One school around one lesson; NaN where a side has no week recorded."""

    school_id: Hashable
    lesson: pd.Timestamp
    before: float
    after: float
    weeks_before: int
    weeks_after: int
    sold_out_weeks: int

    @property
    def change(self) -> BeforeAfter | None:
        if math.isnan(self.before) or math.isnan(self.after):
            return None
        return BeforeAfter(self.before, self.after)


@dataclass(frozen=True, slots=True)
class _Weeks:
    """A school's weeks as arrays: filtering frames once a lesson and school would take most of the time."""

    week: Array
    numbers: Array  # rows: given out, school days, ran out

    @classmethod
    def of(cls, rows: pd.DataFrame) -> _Weeks:
        numbers = rows[["given_out", "school_days", "sold_out"]].to_numpy(dtype="float64").T
        return cls(_day_numbers(rows["week"]), numbers)


def _day_numbers(days: pd.Series[pd.Timestamp]) -> Array:
    return days.to_numpy(dtype="datetime64[D]").astype("float64")


def _around(weeks: _Weeks, school: Hashable, lesson: pd.Timestamp, girls: float, span: int) -> _Around:
    apart = weeks.week - np.datetime64(lesson, "D").astype("float64")
    sides = (
        weeks.numbers[:, (apart < 0) & (apart >= -7 * span)],
        weeks.numbers[:, (apart > 0) & (apart <= 7 * span)],
    )
    before, after = (_rate(side, girls) for side in sides)
    sold_out = int(sum(side[2].sum() for side in sides))
    return _Around(school, lesson, before, after, sides[0].shape[1], sides[1].shape[1], sold_out)


def _rate(side: Array, girls: float) -> float:
    """Napkins per 100 girls and school day: sums first, one division; NaN without a week or without girls."""
    given, days, _ = side.sum(axis=1)
    return float(given / days / girls * 100) if days > 0 and girls > 0 else math.nan


def _mean_change(found: Mapping[_Around, int]) -> BeforeAfter | None:
    """Mean of a school's changes around lessons elsewhere, each as often as there were such lessons."""
    known = [(one.change, times) for one, times in found.items() if one.change]
    total = sum(times for _, times in known)
    if not total:
        return None
    return BeforeAfter(
        math.fsum(change.before * times for change, times in known) / total,
        math.fsum(change.after * times for change, times in known) / total,
    )


def _change(schools: list[BeforeAfter], expected: int) -> Figure:
    value = math.fsum(after - before for before, after in schools) / len(schools) if schools else None
    return _figure(Interval(value, None, None), len(schools), expected)


def _difference(changed: list[BeforeAfter], compared: list[BeforeAfter], expected: int) -> Figure:
    return _figure(difference_in_differences(changed, compared), len(changed) + len(compared), expected)


def _figure(found: Interval, used: int, expected: int) -> Figure:
    return Figure(
        found.value,
        UNIT,
        Basis.MODELLED,
        low=found.low,
        high=found.high,
        used=used,
        expected=expected,
        records="schools",
        about_people=True,
        note=CANNOT_SHOW,
    )
