"""Small reports written by hand: every shape that pages, charts and files must print."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from tracker.measures.figure import Figure, Part
from tracker.reports.report import Chart, Column, Line, Report, Section, Table
from tracker.vocabulary import Basis, ReportKind

FIRST = date(2026, 1, 12)
WEEKS = [FIRST + timedelta(days=7 * place) for place in range(4)]


def parts(*values: float) -> tuple[Part, ...]:
    return tuple(Part("S1", week, value) for week, value in zip(WEEKS, values, strict=False))


VISITS = Figure(
    60.0, "visits", Basis.SAMPLED, low=40.0, high=90.0, used=3, expected=4, note="A note.", parts=parts(10, 20, 30)
)
SHARE = Figure(0.95, "share", Basis.COUNTED, low=0.9, high=1.0, used=57, expected=60, records="unit school days")
BLANK = Figure(None, "L", Basis.METERED, used=0, expected=4)
PUPILS = Figure(250.0, "pupils", Basis.COUNTED, used=3, expected=3, records="lessons", about_people=True)
SHEETS = Figure(0.75, "share", Basis.COUNTED, used=3, expected=4)


def table(*rows, key="by_school", columns=None) -> Table:
    columns = columns or (Column("school", "School", numeric=False), Column("visits", "Visits", "visits"))
    return Table(key, "Visits by school", columns, rows, note="Blank is not zero.")


def chart(kind: str, rows, unit="visits", key="a_chart", cells=(), title="Visits rose", about="Bars.") -> Chart:
    columns = (Column("name", "Name", numeric=False), Column("value", "Value", unit))
    return Chart(key, kind, title, about, tuple(rows), Table(key + "_table", title, columns, tuple(cells)))


def weekly(*values: float | None, expected=True, **given) -> Chart:
    rows = [{"week": week, "value": value, "expected": expected} for week, value in zip(WEEKS, values, strict=False)]
    return chart("weekly_bars", rows, **given)


def line(figure=VISITS, key="visits", **given) -> Line:
    return Line(key, given.pop("label", "Visits to cabins"), figure, **given)


def report(*lines: Line, tables=(), charts=(), kind=ReportKind.IMPACT, **given) -> Report:
    fields = {
        "title": "Lakes: impact summary",
        "programme": "Lakes",
        "scope": "",
        "term": "Term 1",
        "first_day": FIRST,
        "last_day": date(2026, 4, 3),
        "term_last_day": date(2026, 4, 3),
        "cutoff_at": datetime(2026, 4, 4, 9, 0, tzinfo=UTC),
        "code_version": "test",
        "notes": ("A week without a record adds nothing.",),
    }
    section = Section("visits", "Visits", "An intro.", lines or (line(),), tuple(tables), tuple(charts))
    return Report(kind=kind, sections=(section,), **(fields | given))
