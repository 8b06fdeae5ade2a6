"""A school's term on one sheet of paper, cut from its term report: for the head teacher, and for the wall.

The sheets hold figures of the report and nothing else, so they cannot say anything that it does not say. The wall's
has nothing about menstrual supplies, their disposal or single lessons: pupils, boys and visitors read it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final, TypeAlias, TypeVar

from tracker.reports.leaving import protected
from tracker.reports.report import Chart, Line, Report, Section, Table

HEAD_TEACHER: Final = (
    *("visits", "availability_share", "promise_kept_share", "less_than_cistern_l", "given_out", "sold_out_days"),
    *("route_days_share", "pupils_reached", "completeness_share"),
)
WALL: Final = (
    "visits",
    "availability_share",
    "breaks_lost",
    "water_taken_l",
    "less_than_cistern_l",
    "litres_per_visit",
)
SHEET_CHARTS: Final = ("visits_week_chart", "cause_chart")
WALL_CHARTS: Final = ("visits_week_chart", "water_week_chart")
NEXT: Final = "What the school can do next"
WALL_NOTE: Final = "Counted and logged by the school; the whole report is with the head teacher."
MORE: Final = "This sheet is cut from the term report, which holds every table, chart and note."


def head_teacher(report: Report) -> Report:
    """The sheet for the head teacher: the term in nine figures, two charts, and what the school can do next."""
    title = f"{report.title}, in one page"
    next_steps = [table for table in report.tables() if table.key == "next_steps"]
    return _cut(report, title, (HEAD_TEACHER, SHEET_CHARTS, next_steps), MORE)


def wall(report: Report, threshold: int) -> Report:
    """The sheet for the wall: what pupils may be proud of or ask about; small counts of people are withheld."""
    name = report.title.partition(":")[0]
    made = _cut(report, f"{name}: our toilets this term", (WALL, WALL_CHARTS, []), WALL_NOTE)
    return protected(made, threshold)


Keyed = TypeVar("Keyed", Line, Chart)
Parts: TypeAlias = tuple[Iterable[str], Iterable[str], Iterable[Table]]


def _cut(report: Report, title: str, parts: Parts, note: str) -> Report:
    """A report of some headlines, charts and some tables of another."""
    keys, charts, tables = parts
    lines = _chosen(report.lines(), keys)
    drawn = _chosen((chart for section in report.sections for chart in section.charts), charts)
    first = Section("short", "The term in short", lines=lines, charts=drawn)
    rest = [Section(table.key, NEXT, tables=(replace(table, title=""),)) for table in tables if table.rows]
    return replace(report, title=title, sections=(first, *rest), notes=(note,), unwithheld=None)


def _chosen(found: Iterable[Keyed], keys: Iterable[str]) -> tuple[Keyed, ...]:
    by_key = {one.key: one for one in found}
    return tuple(by_key[key] for key in keys if key in by_key)
