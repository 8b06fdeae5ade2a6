"""Rows of a sheet that no cell of it shows, said in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from tracker.reports import printing

TABLES = {
    "day_marks": "A mark of a day",
    "usage_counts": "Visits",
    "long_weeks": "Long visits of a week",
    "bell_counts": "At the bell",
    "readings": "A dial was read",
    "levels": "A level",
    "water_deliveries": "Water was brought",
    "outages": "Out of service",
    "sightings": "Somebody looked",
    "service_visits": "A visit of the engineer",
    "stock_moves": "Supplies moved",
    "stock_counts": "Supplies were counted",
    "machine_days": "A day of a machine",
    "burns": "Burns started",
    "awareness_sessions": "A lesson",
    "attendance": "Who was at a lesson",
    "quizzes": "A question of a lesson",
    "money": "Money",
}
PHRASES = {
    "unit": "unit {}",
    "slot": "break {}",
    "break": "break {}",
    "visits": "{} visits",
    "waiting": "{} still waited",
    "present": "{} present",
    "value": "it showed {}",
    "quarters": "{} quarters",
    "litres": "{} litres",
    "pieces": "{} pieces",
    "quantity_pieces": "{} pieces",
    "days": "over {} days",
    "burns": "{} burns",
    "from_place": "from {}",
    "to_place": "to {}",
    "note": "with the note “{}”",
    "start_local_time": "from {}",
    "end_local_time": "to {}",
    "said_by": "said by {}",
}
PLAIN = ("day", "first_day", "week", "at_local_time", "mark", "state", "cause", "quantity", "product", "group", "sex")
UNSAID = ("school", "ref", "source", "event")


def sentences(kept: Mapping[str, Iterable[Mapping[str, str]]]) -> list[str]:
    """One sentence for each row, in the order of the files.

    >>> sentences({"usage_counts": [{"unit": "G1", "first_day": "2026-01-27", "days": "1", "visits": "12"}]})
    ['Visits: unit G1, Tue 27 Jan, 12 visits.']
    """
    return [_sentence(name, row) for name, rows in kept.items() for row in rows]


def _sentence(name: str, row: Mapping[str, str]) -> str:
    said = [_phrase(column, value) for column, value in row.items() if value and column not in UNSAID]
    head = TABLES.get(name, name.replace("_", " ").capitalize())
    return f"{head}: {', '.join(one for one in said if one)}."


def _phrase(column: str, value: str) -> str:
    if column == "days" and value == "1":
        return ""
    spoken = _spoken(value)
    if column in PLAIN:
        return spoken
    return PHRASES.get(column, column.replace("_local_time", "").replace("_", " ") + " {}").format(spoken)


def _spoken(value: str) -> str:
    """A day or a time with its month in words; a key without its underscores."""
    try:
        if len(value) == len("2026-01-27"):
            return printing.short_day(date.fromisoformat(value))
        if len(value) >= len("2026-01-27T08:10") and value[4] == "-":
            at = datetime.fromisoformat(value)
            return f"{printing.short_day(at.date())} {at:%H:%M}"
    except ValueError:
        pass
    return value.replace("_", " ")
