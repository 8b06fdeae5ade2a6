"""Rules about a school's calendar and units: what may not lie over or outside one another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from itertools import combinations
from typing import Any

from tracker.intake.rulebook import spoken
from tracker.intake.setup_evidence import EVIDENCE_CLASHES, EVIDENCE_RULES
from tracker.intake.setup_ledger import LEDGER_CLASHES, LEDGER_RULES
from tracker.intake.setup_rounds import ROUNDS_CLASHES
from tracker.intake.setup_rules import CLASH_RULES, FOREVER, SETUP_RULES, Clash, ClashRule, Merged
from tracker.intake.setup_water import WATER_CLASHES, WATER_RULES

Row = tuple[int, Mapping[str, Any]]


def _same_days(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    first: date = max(one["from_day"], other["from_day"])
    last: date = min(one["until_day"] or FOREVER, other["until_day"] or FOREVER)
    return first <= last


def _by_weekday(merged: Merged, table: str) -> dict[object, list[Row]]:
    """Rows with all their times, by school, shift and weekday."""
    found: dict[object, list[Row]] = {}
    for line, row in merged.get(table, {}).values():
        times = ("starts", "ends") if table == "breaks" else ("opens", "closes")
        if None not in (row["from_day"], row["weekday"], *(row[name] for name in times)):
            found.setdefault((row["school"], row["shift"], row["weekday"]), []).append((line, row))
    return found


def breaks_apart(merged: Merged) -> Iterator[Clash]:
    """Two breaks of a shift are not at the same time; one may begin when the other ends."""
    for rows in _by_weekday(merged, "breaks").values():
        for (line, one), (other_line, other) in combinations(rows, 2):
            if one["starts"] < other["ends"] and other["starts"] < one["ends"] and _same_days(one, other):
                new, old = (one, other) if line else (other, one)
                message = f"{new['name']} is at the same time as {old['name']}. Correct the times of one of them."
                yield Clash("breaks", line or other_line, "starts", message)


def breaks_within_hours(merged: Merged) -> Iterator[Clash]:
    """A break lies within the hours of its shift."""
    hours = _by_weekday(merged, "school_hours")
    for key, rows in _by_weekday(merged, "breaks").items():
        for line, row in rows:
            for hours_line, open_ in hours.get(key, ()):
                if (open_["opens"] <= row["starts"] and row["ends"] <= open_["closes"]) or not _same_days(row, open_):
                    continue
                message = f"{row['name']} would lie outside the school's hours. Change the break or the hours first."
                if line:
                    yield Clash("breaks", line, "starts", message)
                elif hours_line:
                    yield Clash("school_hours", hours_line, "opens", message)


def unit_with_its_school(merged: Merged) -> Iterator[Clash]:
    """A unit stands only while its school takes part."""
    schools = {row["school"]: row for _, row in merged.get("schools", {}).values()}
    for line, row in merged.get("units", {}).values():
        school = schools.get(row["school"])
        if not line or school is None or row["from_day"] is None or school["from_day"] is None:
            continue
        if row["from_day"] < school["from_day"]:
            message = f"The school joined on {spoken(school['from_day'])}. Write that day or a later one."
            yield Clash("units", line, "from_day", message)
        if school["until_day"] is not None and row["from_day"] > school["until_day"]:
            message = f"The school took part until {spoken(school['until_day'])}. Write that day or an earlier one."
            yield Clash("units", line, "from_day", message)


def closures_apart(merged: Merged) -> Iterator[Clash]:
    """Days without school of the same school, area or programme are said once."""
    groups: dict[object, list[Row]] = {}
    for line, row in merged.get("closures", {}).values():
        if row["first_day"] is not None and row["last_day"] is not None:
            groups.setdefault((row["scope"], row["area"], row["school"]), []).append((line, row))
    for rows in groups.values():
        for (line, one), (other_line, other) in combinations(rows, 2):
            if one["first_day"] <= other["last_day"] and other["first_day"] <= one["last_day"]:
                old = other if line else one
                message = (
                    f"Days from {spoken(old['first_day'])} to {spoken(old['last_day'])} are on record as without "
                    "school already. Write only the days that are missing."
                )
                yield Clash("closures", line or other_line, "first_day", message)


APART_RULES = (
    ClashRule("breaks_apart", ("breaks",), "Two breaks of a shift are not at the same time.", breaks_apart),
    ClashRule(
        "breaks_within_hours",
        ("breaks", "school_hours"),
        "A break lies within the hours of its shift.",
        breaks_within_hours,
    ),
    ClashRule(
        "unit_with_its_school",
        ("units",),
        "A unit stands only while its school takes part.",
        unit_with_its_school,
        ("schools",),
    ),
    ClashRule("closures_apart", ("closures",), "Days without school are said once.", closures_apart),
)

# every rule about single rows, and about rows that do not go together, for a folder and for a form alike
ALL_SINGLE = (*SETUP_RULES, *EVIDENCE_RULES, *WATER_RULES, *LEDGER_RULES)
ALL_CLASHES = (*CLASH_RULES, *APART_RULES, *EVIDENCE_CLASHES, *WATER_CLASHES, *LEDGER_CLASHES, *ROUNDS_CLASHES)
