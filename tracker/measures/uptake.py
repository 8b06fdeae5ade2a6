"""Uptake around a lesson: napkins asked for before and after it, beside schools without one. A plain description.

Given out per 100 girls and school day, so that schools of different size and weeks with fewer school days can
stand side by side. Each school is one observation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from tracker.measures.changes import CANNOT_SHOW, BeforeAfter, difference_in_differences
from tracker.measures.figure import Figure
from tracker.vocabulary import Basis

UNIT: Final = "napkins per 100 girls and school day"
WEEK: Final = pd.Timedelta(days=7)
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


def uptake_around(weeks: pd.DataFrame, lessons: pd.DataFrame, girls: Mapping[int, float], span: int = WEEKS) -> Uptake:
    """Given out before and after lessons, with the difference in differences to schools without any.

    Of each school with a lesson its first one counts: ``span`` weeks before the lesson's week against as many after
    it, the week itself left out. A comparison school has no lesson in ``lessons``; its change is the mean of its
    changes over the same weeks as the schools with one. A school is used when it has a week recorded on both
    sides. Difference: mean change − mean change, t limits by school (Welch).

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
    first = lessons.groupby("school_id", sort=True)["week"].min()
    rows = weeks[weeks["given_out"].notna() & (weeks["school_days"] > 0)]
    by_school = {int(school): frame for school, frame in rows.groupby("school_id", sort=True)}
    empty = rows.iloc[:0]
    found = [_around(by_school.get(int(s), empty), int(s), week, girls, span) for s, week in first.items()]
    schools = pd.DataFrame(found, columns=COLUMNS)
    changed = [BeforeAfter(row["before"], row["after"]) for row in found if _both(row)]
    others = sorted({int(school) for school in weeks["school_id"]} - {int(school) for school in first.index})
    compared = [_mean_change(by_school.get(s, empty), s, list(first), girls, span) for s in others]
    known = [change for change in compared if change is not None]
    limits = difference_in_differences(changed, known)
    return Uptake(
        _change(changed, len(first)),
        _change(known, len(others)),
        Figure(
            limits.value,
            UNIT,
            Basis.MODELLED,
            low=limits.low,
            high=limits.high,
            used=len(changed) + len(known),
            expected=len(first) + len(others),
            records="schools",
            about_people=True,
            note=CANNOT_SHOW,
        ),
        schools,
    )


def _around(
    rows: pd.DataFrame, school: int, lesson: pd.Timestamp, girls: Mapping[int, float], span: int
) -> dict[str, float]:
    sides = (
        rows[(rows["week"] >= lesson - span * WEEK) & (rows["week"] < lesson)],
        rows[(rows["week"] > lesson) & (rows["week"] <= lesson + span * WEEK)],
    )
    before, after = (_rate(side, girls.get(school, 0.0)) for side in sides)
    return {
        "school_id": school,
        "lesson": lesson,
        "before": before,
        "after": after,
        "weeks_before": len(sides[0]),
        "weeks_after": len(sides[1]),
        "sold_out_weeks": sum(int(side["sold_out"].sum()) for side in sides),
    }


def _rate(side: pd.DataFrame, girls: float) -> float:
    """Napkins per 100 girls and school day: sums first, one division; NaN without a week or without girls."""
    if side.empty or girls <= 0:
        return math.nan
    return float(side["given_out"].sum()) / float(side["school_days"].sum()) / girls * 100


def _both(row: Mapping[str, float]) -> bool:
    return not (math.isnan(row["before"]) or math.isnan(row["after"]))


def _mean_change(
    rows: pd.DataFrame, school: int, lessons: list[pd.Timestamp], girls: Mapping[int, float], span: int
) -> BeforeAfter | None:
    found = [_around(rows, school, lesson, girls, span) for lesson in lessons]
    known = [row for row in found if _both(row)]
    if not known:
        return None
    before, after = (math.fsum(row[side] for row in known) / len(known) for side in ("before", "after"))
    return BeforeAfter(before, after)


def _change(schools: list[BeforeAfter], expected: int) -> Figure:
    changes = [after - before for before, after in schools]
    return Figure(
        math.fsum(changes) / len(changes) if changes else None,
        UNIT,
        Basis.MODELLED,
        used=len(changes),
        expected=expected,
        records="schools",
        about_people=True,
        note=CANNOT_SHOW,
    )
