"""Small builders of tables and chart rows, so that every report lays the same thing out in the same way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pandas as pd

from tracker.measures import quality
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure, Part
from tracker.measures.uptime import RANGE_NOTE
from tracker.reports.facts import TermFacts
from tracker.reports.printing import NO_SCHOOL, NOT_DUE, NOT_REPORTED, amount, day
from tracker.reports.report import Cell, Chart, Column, Table
from tracker.vocabulary import Basis, CountWay, FittingKind, UnitKind

KIND_WORDS = {
    UnitKind.CABIN: "Cabins",
    UnitKind.URINAL: "Urinals",
    UnitKind.TAP: "Washing points",
    UnitKind.MACHINE: "Napkin machines",
    UnitKind.INCINERATOR: "Incinerators",
    UnitKind.TANK: "Tanks",
    UnitKind.METER: "Meters",
}
WAY_WORDS = {
    CountWay.COUNTER: "by a counter",
    CountWay.DRAWN: "two breaks drawn at random",
    CountWay.GRID: "every break",
    CountWay.WEEK_TOTAL: "a total for the week",
    CountWay.NONE: "not counted",
}
FITTING_WORDS = {kind: str(kind.value).replace("_", " ") for kind in FittingKind}


def kind_words(kind: str) -> str:
    """A kind of unit in the plural."""
    return KIND_WORDS[UnitKind(kind)]


def words(key: str, heading: str) -> Column:
    """A column of words or days."""
    return Column(key, heading, "", numeric=False)


def counts(key: str, heading: str, unit: str = "") -> Column:
    """A column of numbers or figures."""
    return Column(key, heading, unit)


def beside(key: str, title: str, rows: Sequence[tuple[str, Cell]], note: str = "", empty: str = "") -> Table:
    """A table of what stands beside the headlines: a label and its figure, with its unit."""
    return Table(key, title, (words("what", "What"), counts("figure", "Figure")), tuple(rows), note, empty)


def as_share(figure: Figure) -> Figure:
    """A figure that is a share, whatever it is a share of; it prints as percent."""
    return replace(figure, unit="share")


def as_points(figure: Figure) -> Figure:
    """A difference of shares in percentage points.

    >>> as_points(Figure(0.125, "difference of shares", Basis.COUNTED, low=0.1, high=0.15)).value
    12.5
    """
    value, low, high = (None if end is None else end * 100 for end in (figure.value, figure.low, figure.high))
    return replace(figure, unit="percentage points", value=value, low=low, high=high)


def limited(value: float, low: float, high: float) -> tuple[float | None, float | None, float | None]:
    """Value and limits of a frame's row: NaN is None, and an interval needs both of its ends.

    >>> limited(1.0, 0.5, float("nan"))
    (1.0, None, None)
    """
    whole = not any(math.isnan(end) for end in (value, low, high))
    return (None if math.isnan(value) else value, low if whole else None, high if whole else None)


def optional_day(value: Any) -> date | None:
    """A day of a frame; None where it is empty."""
    return None if value is None or pd.isna(value) else pd.Timestamp(value).date()


def count(value: Any) -> int | None:
    """A whole number of a frame; None where it is empty."""
    return None if pd.isna(value) else int(value)


def share_of(row: Any) -> Figure:
    """A row of ``uptime.availability_by`` as a figure."""
    known = not pd.isna(row.share)
    return Figure(
        float(row.share) if known else None,
        "share",
        Basis(row.basis),
        float(row.low) if known else None,
        float(row.high) if known else None,
        int(row.used),
        int(row.expected),
        "unit school days",
        note=RANGE_NOTE if known and row.used < row.expected else "",
    )


def count_share(part: int, used: int, expected: int) -> Figure:
    """part ÷ expected school-weeks as a figure; not recorded where nothing was expected."""
    value = part / expected if expected else None
    return Figure(value, "share", Basis.COUNTED, used=used, expected=expected)


ON_TIME, LATE, QUERIED = "received on time", "received late", "queried"


def sheet_state(row: Any, as_of: datetime) -> str:
    """What became of a school-week's sheet by an instant, in words."""
    if row.state == "queried":
        return QUERIED
    if row.state in quality.RECEIVED:
        return ON_TIME if row.first_sent <= row.due else LATE
    return NOT_REPORTED if row.due <= pd.Timestamp(as_of) else NOT_DUE


def week_silences(facts: TermFacts) -> dict[date, str]:
    """Why a week has no figure, where it has none: no school, no sheet due yet, or not reported yet."""
    found = dict.fromkeys(facts.weeks, NO_SCHOOL)
    states: dict[date, set[str]] = {}
    for row in rows_of(facts.all.sheets):
        states.setdefault(row.week.date(), set()).add(sheet_state(row, facts.as_of))
    for week in facts.weeks:
        if week in states:
            found[week] = NOT_DUE if states[week] == {NOT_DUE} else NOT_REPORTED
    return found


def weekly_rows(facts: TermFacts, by_week: Mapping[date, Figure]) -> tuple[dict[str, Any], ...]:
    """Chart rows of kind ``weekly_bars``: every week of the period; expected = some school had a school day."""
    held = {week.date() for week in facts.occasions["week"]}
    silences = week_silences(facts)
    return tuple(
        {
            "week": week,
            "value": by_week[week].value if week in by_week else None,
            "expected": week in held,
            "state": silences[week],
        }
        for week in facts.weeks
    )


def weekly_chart(facts: TermFacts, key: str, name: str, by_week: Mapping[date, Figure], unit: str) -> Chart:
    """A bar a week, with its table. A week with school and no record looks missing, not like nothing."""
    rows = weekly_rows(facts, by_week)
    columns = (words("week", "Week from"), counts("value", name, unit))
    cells = tuple((row["week"], by_week.get(row["week"]) if row["expected"] else row["state"]) for row in rows)
    table = Table(f"{key}_table", f"{name} by week", columns, cells)
    about = f"One bar for each week of the term: {name.lower()}. Weeks without a record say why."
    return Chart(f"{key}_chart", "weekly_bars", week_finding(name, rows, unit), about, rows, table)


def week_finding(name: str, rows: Sequence[Mapping[str, Any]], unit: str) -> str:
    """What a weekly chart shows, as a sentence.

    >>> rows = [{"week": date(2030, 1, 7), "value": 5.0, "state": NOT_REPORTED},
    ...         {"week": date(2030, 1, 14), "value": None, "state": NOT_REPORTED}]
    >>> week_finding("Visits", rows, "visits")
    'Visits: 5 visits in the week from 7 January 2030, the most of 1 week recorded; 1 week with school has no record.'
    """
    known = [row for row in rows if row["value"] is not None]
    silent = sum(1 for row in rows if row["state"] == NOT_REPORTED and row["value"] is None)
    if not known:
        return f"{name}: no week was recorded."
    most = max(known, key=lambda row: (row["value"], -row["week"].toordinal()))
    week = f"the week from {day(most['week'])}, the most of {_weeks(len(known))} recorded"
    found = f"{name}: {amount(most['value'], unit)} in {week}"
    return (
        f"{found}; {_weeks(silent)} with school {'has' if silent == 1 else 'have'} no record."
        if silent
        else f"{found}."
    )


def _weeks(number_of: int) -> str:
    return f"{number_of} week" if number_of == 1 else f"{number_of} weeks"


def name_rows(figures: Sequence[tuple[str, Figure]]) -> tuple[dict[str, Any], ...]:
    """Chart rows of kind ``bar_by_name``."""
    return tuple(
        {"name": name, "value": figure.value, "low": figure.low, "high": figure.high, "note": ""}
        for name, figure in figures
    )


def parts_of(frame: pd.DataFrame, column: str) -> tuple[Part, ...]:
    """Contributions by school and week, from columns school, week and a number."""
    return tuple(Part(str(row.school), row.week.date(), float(getattr(row, column))) for row in rows_of(frame))


def sentences(key: str, title: str, lines: Sequence[str], empty: str) -> Table:
    """A list of plain sentences as a table of one column."""
    rows: tuple[tuple[Cell, ...], ...] = tuple((line,) for line in lines)
    return Table(key, title, (words("what", "What"),), rows, empty=empty)
