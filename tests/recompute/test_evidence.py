"""Checks by another person and grants' pupils of the impact summary, worked out a second time from the CSV files.

Plain loops over ``seed_data/``, with no code of the project on this side.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from datetime import date

import pytest
from sqlalchemy.orm import Session

from tests.demo_file import prepared
from tracker import paths
from tracker.db import make_engine
from tracker.demo_data import DEMO_NOW
from tracker.reports import build
from tracker.reports.report import Report

TERM, FIRST, LAST = "2025-T2", date(2026, 1, 12), date(2026, 4, 3)


def rows(name: str) -> list[dict[str, str]]:
    with (paths.seed_data() / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def report() -> Report:
    with Session(make_engine(f"sqlite:///{prepared()}")) as session:
        return build.by_code(session, "impact", TERM, now=DEMO_NOW)


def cells(report: Report, key: str) -> list[tuple]:
    return list(next(one for one in report.tables() if one.key == key).rows)


def test_reported_and_found(report):
    drawn = {(row["school"], row["figure"]): int(row["reported"]) for row in rows("spot_checks")}
    found = {(row["school"], row["figure"]): int(row["found"]) for row in rows("spot_answers")}
    agree = sum(abs(found[key] - drawn[key]) <= max(1, 0.05 * found[key]) for key in found)
    ((_, number, checked, share, _),) = cells(report, "spot_draws")
    assert (number, checked) == (len(drawn), len(found))
    assert share.value == pytest.approx(agree / len(found))
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for (school, figure), value in found.items():
        sums[figure][0] += value
        sums[figure][1] += drawn[school, figure]
    for _, figure, factor in cells(report, "spot_factors"):
        above, below = sums[figure]
        assert factor.value == (pytest.approx(above / below) if below else None), figure


def enrolled() -> dict[str, int]:
    """Pupils on the last day."""
    found: dict[str, int] = defaultdict(int)
    for row in rows("enrolment"):
        if row["from_day"] <= LAST.isoformat() and (not row["until_day"] or row["until_day"] >= LAST.isoformat()):
            found[row["school"]] += int(row["pupils"])
    return found


def reached() -> dict[str, int]:
    """The largest lesson of each sex and grade; of each sex where a lesson of the school has no grades."""
    lessons = {row["ref"]: row["school"] for row in rows("awareness_sessions") if _inside(row["day"])}
    came = [row for row in rows("attendance") if row["session"] in lessons and row["present"]]
    pooled = {(lessons[row["session"]], row["sex"]) for row in came if not row["grade"]}
    sizes: dict[tuple[str, str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for row in came:
        school, sex = lessons[row["session"]], row["sex"]
        grade = "" if (school, sex) in pooled else row["grade"]
        sizes[school, sex, grade][row["session"]] += int(row["present"])
    found: dict[str, int] = defaultdict(int)
    for (school, *_), by_lesson in sizes.items():
        found[school] += max(by_lesson.values())
    return found


def _inside(day: str) -> bool:
    return FIRST.isoformat() <= day <= LAST.isoformat()


def test_each_grants_pupils_and_none_twice(report):
    """Every share of the demo holds all term, so a school's pupils are cut by its thousandths; a cut differs from the
    exact share by less than one pupil for each of the three that take part."""
    shown = {row[0]: row[2:] for row in cells(report, "grants")}
    shares = [(row["grant"], row["school"], int(row["permille"])) for row in rows("grant_shares")]
    for place, pupils in enumerate((enrolled(), reached())):
        exact: dict[str, float] = defaultdict(float)
        for grant, school, permille in shares:
            exact[grant] += pupils[school] * permille / 1000
        for grant, value in exact.items():
            assert abs(shown[grant][place].value - value) < 3
        total = sum(pupils.values())
        assert shown["All schools"][place].value == total
        assert sum(row[place].value for name, row in shown.items() if name != "All schools") == total
