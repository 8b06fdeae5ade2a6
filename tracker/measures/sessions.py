"""Awareness sessions: held, minutes, attendances, pupils reached, and what a quiz showed before and after.

No pupil is recorded, only how many came by sex and grade. So the pupils reached are known between bounds, and a
quiz is four totals. A change after a session describes; it proves nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, not_recorded
from tracker.measures.parts import school_week_parts
from tracker.vocabulary import Basis, Sex

REACH_COLUMNS: Final = ["school_id", "sex", "grade", "low", "high"]
AT_LEAST: Final = "at least; from the same pupils at every session to different pupils at each"


def sessions_held(sessions: pd.DataFrame) -> Figure:
    """Sessions held, one row of frame ``sessions`` each; parts by school and week.

    ``used`` and ``expected`` are both the sessions written down: nobody knows how many were not.
    """
    return Figure(
        float(len(sessions)),
        "sessions",
        Basis.COUNTED,
        used=len(sessions),
        expected=len(sessions),
        records="sessions",
        parts=school_week_parts(sessions.assign(number=1.0), "number"),
    )


def minutes_taught(sessions: pd.DataFrame) -> Figure:
    """Σ ``minutes`` of the sessions whose minutes are recorded; the others lower completeness."""
    known = sessions[sessions["minutes"].notna()]
    if known.empty:
        return not_recorded("min", Basis.COUNTED, expected=len(sessions), records="sessions")
    return Figure(
        float(known["minutes"].sum()),
        "min",
        Basis.COUNTED,
        used=len(known),
        expected=len(sessions),
        records="sessions",
        parts=school_week_parts(known, "minutes"),
    )


def attendances(sessions: pd.DataFrame, attendance: pd.DataFrame, sex: Sex | None = None) -> Figure:
    """Attendances: a pupil at two sessions counts twice. Parts by school and week add up to the value.

    Args:
        sessions: frame ``sessions``.
        attendance: frame ``attendance`` (``present`` NaN = not recorded).
        sex: only these pupils; None = all.
    """
    rows = _present(sessions, attendance, sex)
    if rows.empty:
        return Figure(
            None,
            "attendances",
            Basis.COUNTED,
            expected=len(sessions),
            records="sessions",
            about_people=True,
        )
    return Figure(
        float(rows["present"].sum()),
        "attendances",
        Basis.COUNTED,
        used=rows["session_id"].nunique(),
        expected=len(sessions),
        records="sessions",
        about_people=True,
        parts=school_week_parts(rows, "present"),
    )


def reach_by_group(sessions: pd.DataFrame, attendance: pd.DataFrame, enrolment: pd.DataFrame) -> pd.DataFrame:
    """Bounds on the pupils reached, by school, sex and grade.

    low = the largest attendance of one session; high = Σ attendance, but no more than the pupils enrolled in
    the group, where known, and no less than low. Where a school wrote some attendance of a sex without a grade,
    all of that sex is one group (grade ""), its attendance first summed by session.

    Args:
        enrolment: frame ``enrolment``; of a group the largest number in force on a day of its sessions
            (``until_day`` included). No row = not known.
    Returns:
        ``school_id``, ``sex``, ``grade``, ``low``, ``high`` (pupils).
    Source: bounds of the size of a union of sets: max |A| ≤ |∪A| ≤ min(Σ|A|, |all|).
    """
    present = _present(sessions, attendance, None)
    pooled = {(row.school_id, row.sex) for row in rows_of(present) if not _grade(row)}
    groups: dict[tuple[int, str, str], dict[tuple[int, pd.Timestamp], float]] = {}
    for row in rows_of(present):
        grade = "" if (row.school_id, row.sex) in pooled else _grade(row)
        seen = groups.setdefault((row.school_id, row.sex, grade), {})
        seen[row.session_id, row.day] = seen.get((row.session_id, row.day), 0.0) + row.present
    rolls = _rolls(enrolment)
    found = []
    for (school, sex, grade), seen in sorted(groups.items()):
        low, total = float(max(seen.values())), float(math.fsum(seen.values()))
        enrolled = _enrolled(rolls.get((school, sex), []), grade, {day for _, day in seen})
        high = total if enrolled is None else max(low, min(total, enrolled))
        found.append((school, sex, grade, low, high))
    types = {"school_id": "int64", "sex": "str", "grade": "str", "low": "float64", "high": "float64"}
    return pd.DataFrame(found, columns=REACH_COLUMNS).astype(types)


def _grade(row: Any) -> str:
    return "" if pd.isna(row.grade) else str(row.grade)


def _rolls(enrolment: pd.DataFrame) -> dict[tuple[int, str], list[Any]]:
    """Rows of frame ``enrolment`` by school and sex."""
    rolls: dict[tuple[int, str], list[Any]] = {}
    for roll in rows_of(enrolment):
        rolls.setdefault((roll.school_id, roll.sex), []).append(roll)
    return rolls


def _enrolled(rolls: Iterable[Any], grade: str, days: Iterable[pd.Timestamp]) -> float | None:
    """The largest number enrolled on one of the days; None where no row holds on any of them."""
    mine = [roll for roll in rolls if not grade or roll.grade == grade]
    on_days = [
        [roll.pupils for roll in mine if roll.from_day <= day and (pd.isna(roll.until_day) or roll.until_day >= day)]
        for day in days
    ]
    return max((float(sum(pupils)) for pupils in on_days if pupils), default=None)


def pupils_reached(
    sessions: pd.DataFrame,
    attendance: pd.DataFrame,
    enrolment: pd.DataFrame,
    sex: Sex | None = None,
    *,
    bounds: pd.DataFrame | None = None,
) -> Figure:
    """Pupils reached: at least ``value`` (= ``low``), at most ``high``; the bounds are summed over groups.

    Different schools, sexes and grades are different pupils, so their bounds add. Weeks do not add: the same
    pupil may come again, so this figure has no parts by week. Its records are the attendance lists. ``bounds``:
    what ``reach_by_group`` gives for them, where it is at hand.
    """
    bounds = reach_by_group(sessions, attendance, enrolment) if bounds is None else bounds
    bounds = bounds if sex is None else bounds[bounds["sex"] == sex.value]
    listed = _listed(sessions, attendance, sex)
    recorded = not bounds.empty
    low, high = float(bounds["low"].sum()), float(bounds["high"].sum())
    return Figure(
        low if recorded else None,
        "pupils",
        Basis.COUNTED,
        low=low if recorded else None,
        high=high if recorded else None,
        used=listed,
        expected=len(sessions),
        records="sessions",
        about_people=True,
        note=AT_LEAST if recorded else "",
    )


def reach_by_sex_and_grade(
    bounds: pd.DataFrame, enrolment: pd.DataFrame | None = None, day: pd.Timestamp | None = None
) -> pd.DataFrame:
    """Pupils reached by sex and grade over all schools, with the share of those enrolled between bounds.

    Args:
        bounds: from ``reach_by_group``; groups of different schools add. Grade "" = lists without a grade.
        enrolment: frame ``enrolment`` as in force on ``day`` (``until_day`` included), only at schools that have
            the group in ``bounds``. None = no shares.
    Returns:
        ``sex``, ``grade``, ``low``, ``high`` (pupils), ``enrolled``, ``low_share``, ``high_share`` (0 to 1; NaN where
        a school's enrolment of the group is not known). More present than enrolled keeps a share above 1 out: the
        enrolment is then out of date, and the shares are NaN.
    Raises:
        ValueError: an enrolment without a day.
    """
    if enrolment is not None and day is None:
        raise ValueError("enrolment is read on a day")
    rolls = {} if enrolment is None else _rolls(enrolment)
    numbers = [
        math.nan if day is None else _known(_enrolled(rolls.get((school, sex), []), grade, [day]))
        for school, sex, grade in zip(bounds["school_id"], bounds["sex"], bounds["grade"], strict=True)
    ]
    rows = bounds.assign(enrolled=numbers)
    sums = rows.groupby(["sex", "grade"], sort=True)[["low", "high", "enrolled"]].sum(skipna=False).reset_index()
    base = sums["enrolled"].where((sums["enrolled"] > 0) & (sums["high"] <= sums["enrolled"]))
    return sums.assign(low_share=sums["low"] / base, high_share=sums["high"] / base)


def _known(number: float | None) -> float:
    return math.nan if number is None else number


def _listed(sessions: pd.DataFrame, attendance: pd.DataFrame, sex: Sex | None) -> int:
    """Sessions with an attendance list (of this sex)."""
    rows = attendance[attendance["present"].notna()]
    rows = rows if sex is None else rows[rows["sex"] == sex.value]
    return len(set(rows["session_id"]) & set(sessions["session_id"]))


def _present(sessions: pd.DataFrame, attendance: pd.DataFrame, sex: Sex | None) -> pd.DataFrame:
    rows = attendance[attendance["present"].notna()]
    rows = rows if sex is None else rows[rows["sex"] == sex.value]
    return rows.merge(sessions.drop(columns=["topic", "minutes", "kind"], errors="ignore"), on="session_id")


@dataclass(frozen=True, slots=True)
class Knowledge:
    """Shares of right answers before and after, among pupils who answered both times."""

    before: Figure
    after: Figure


def knowledge(totals: Mapping[str, int]) -> Knowledge:
    """Right answers before and after, from the four totals of a paired quiz item.

    before = (right_right + right_wrong) ÷ n; after = (right_right + wrong_right) ÷ n;
    n = the sum of the four. Described, not tested: no comparison, no claim that the session caused it.

    Args:
        totals: ``right_right``, ``right_wrong``, ``wrong_right``, ``wrong_wrong`` (pupils; before first).
    Raises:
        ValueError: a total is missing or negative.

    >>> found = knowledge({"right_right": 30, "right_wrong": 2, "wrong_right": 12, "wrong_wrong": 6})
    >>> found.before.value, found.after.value, found.before.used
    (0.64, 0.84, 50)
    """
    names = ("right_right", "right_wrong", "wrong_right", "wrong_wrong")
    if any(totals.get(name, -1) < 0 for name in names):
        raise ValueError(f"a quiz item needs four totals of 0 or more: {', '.join(names)}")
    both, before, after, wrong = (totals[name] for name in names)
    base = both + before + after + wrong
    return Knowledge(_quiz_share(both + before, base), _quiz_share(both + after, base))


def _quiz_share(right: int, base: int) -> Figure:
    return Figure(
        right / base if base else None,
        "share of pupils",
        Basis.COUNTED,
        used=base,
        expected=base,
        records="pupils",
        about_people=True,
        note="describes; does not show that the session was the cause",
    )
