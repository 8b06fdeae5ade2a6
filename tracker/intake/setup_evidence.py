"""Rules about trials, grants' shares and spot checks, and how a list of units is read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, TypeAlias

from tracker.intake.rulebook import no_such, spoken
from tracker.intake.setup_rules import FOREVER, Clash, ClashRule, Merged, Said, SetupRule
from tracker.records.evidence import SAME_PERSON, folded
from tracker.vocabulary import Measure, Role, TrialSide

WHOLE_PERMILLE = 1000
UNITS_WANTED = "Write one line a school: its code, a colon, the codes of units, for example S-01: G1, G2."
Row: TypeAlias = tuple[int, Mapping[str, Any]]


class UnitListError(ValueError):
    """A list of units cannot be read; the message says what to write."""


def read_units(typed: str, known: Mapping[tuple[str, str], int]) -> list[int]:
    """Ids of units from lines such as ``S-01: G1, G2``; blank lines are passed over.

    Args:
        known: ids by the codes of school and unit.
    Raises:
        UnitListError: a line has no colon or names no unit, or a code is not known.

    >>> read_units("S-01: G1 G2", {("S-01", "G1"): 7, ("S-01", "G2"): 8})
    [7, 8]
    """
    schools = {school for school, _ in known}
    found: list[int] = []
    for line in filter(None, map(str.strip, typed.splitlines())):
        school, _, rest = (part.strip() for part in line.partition(":"))
        codes = rest.replace(",", " ").split()
        if not codes:
            raise UnitListError(f"“{line}” cannot be read. {UNITS_WANTED}")
        if school not in schools:
            raise UnitListError(no_such("school", school, schools, "in this programme"))
        for code in codes:
            if (school, code) not in known:
                units = [unit for place, unit in known if place == school]
                raise UnitListError(no_such("unit", code, units, f"at school {school}"))
            found.append(known[school, code])
    return found


def trial_measure(row: Mapping[str, Any]) -> Iterator[Said]:
    """A trial compares what is kept by unit."""
    if row["measure"] is Measure.COST_PER_VISIT:
        yield Said("measure", "Cost is kept by school and not by unit. Choose another measure.")


def trial_has_units(merged: Merged) -> Iterator[Clash]:
    """A trial names at least one unit that gets the fitting."""
    fitted = {row["trial"] for _, row in merged.get("trial_units", {}).values() if row.get("side") is TrialSide.FITTED}
    for line, row in merged.get("trials", {}).values():
        if line and row["trial"] is not None and row["trial"] not in fitted:
            message = "No unit of this trial gets the fitting. Add one to trial_units, with side fitted."
            yield Clash("trials", line, "trial", message)


def _held(rows: list[Row], day: date) -> list[Row]:
    return [one for one in rows if one[1]["from_day"] <= day <= (one[1]["until_day"] or FOREVER)]


def shares_whole(merged: Merged) -> Iterator[Clash]:
    """The shares of a school are 1000 at most on every day, and a grant has one share of a school on a day."""
    by_school: dict[Any, list[Row]] = defaultdict(list)
    for line, row in merged.get("grant_shares", {}).values():
        if None not in (row["from_day"], row["permille"]):
            by_school[row["school"]].append((line, row))
    for school, rows in by_school.items():
        for day in sorted({row["from_day"] for _, row in rows}):  # a sum can only grow on a first day
            held = _held(rows, day)
            newest = max(line for line, _ in held)
            total = sum(row["permille"] for _, row in held)
            if total > WHOLE_PERMILLE:
                message = (
                    f"The shares of school {school} add up to {total / 10:g} % on {spoken(day)}. "
                    "Together they may be 100 % at most."
                )
                yield Clash("grant_shares", newest, "permille", message)
                break  # one sentence a school is enough
            grants = [row["grant"] for _, row in held]
            for grant in sorted({one for one in grants if grants.count(one) > 1}):
                message = f"Grant {grant} has two shares of school {school} on {spoken(day)}. End one of them first."
                yield Clash("grant_shares", newest, "from_day", message)


def share_within_grant(merged: Merged) -> Iterator[Clash]:
    """A share holds only while its grant runs."""
    grants = {row["grant"]: row for _, row in merged.get("grants", {}).values()}
    for line, row in merged.get("grant_shares", {}).values():
        grant = grants.get(row["grant"])
        if not line or grant is None or None in (row["from_day"], grant["from_day"]):
            continue
        if row["from_day"] < grant["from_day"]:
            message = f"Grant {row['grant']} begins on {spoken(grant['from_day'])}. Write that day or a later one."
            yield Clash("grant_shares", line, "from_day", message)
        if grant["until_day"] is not None and (row["until_day"] or FOREVER) > grant["until_day"]:
            message = f"Grant {row['grant']} ends on {spoken(grant['until_day'])}. Write that day or an earlier one."
            yield Clash("grant_shares", line, "until_day", message)


def checked_by_another(merged: Merged) -> Iterator[Clash]:
    """A figure is checked by somebody who does not report for the school."""
    names = {row["email"]: row["name"] for _, row in merged.get("people", {}).values()}
    reporters: dict[Any, set[str]] = defaultdict(set)
    for _, row in merged.get("role_grants", {}).values():
        if row.get("role") is Role.COORDINATOR and names.get(row["email"]):
            reporters[row["school"]].add(folded(names[row["email"]]))
    for line, row in merged.get("spot_answers", {}).values():
        if line and row["checked_by"] and folded(row["checked_by"]) in reporters[row["school"]]:
            yield Clash("spot_answers", line, "checked_by", SAME_PERSON.format(name=row["checked_by"]))


def checked_after_the_draw(merged: Merged) -> Iterator[Clash]:
    """A figure is checked on the day it was drawn or later."""
    drawn = {row["draw"]: row["drawn_local_time"] for _, row in merged.get("spot_draws", {}).values()}
    for line, row in merged.get("spot_answers", {}).values():
        at = drawn.get(row["draw"])
        if line and at is not None and row["checked_on"] is not None and row["checked_on"] < at.date():
            message = f"The figure was drawn on {spoken(at.date())}. Write that day or a later one."
            yield Clash("spot_answers", line, "checked_on", message)


EVIDENCE_RULES = (SetupRule("trial_measure", ("trials",), "A trial compares what is kept by unit.", trial_measure),)
EVIDENCE_CLASHES = (
    ClashRule(
        "trial_has_units", ("trials",), "A trial names a unit that gets the fitting.", trial_has_units, ("trial_units",)
    ),
    ClashRule(
        "shares_whole", ("grant_shares",), "A school's shares are 1000 at most; one of a grant at a time.", shares_whole
    ),
    ClashRule(
        "share_within_grant",
        ("grant_shares",),
        "A share holds only while its grant runs.",
        share_within_grant,
        ("grants",),
    ),
    ClashRule(
        "checked_by_another",
        ("spot_answers",),
        "Who checks does not report for the school.",
        checked_by_another,
        ("people", "role_grants"),
    ),
    ClashRule(
        "checked_after_the_draw",
        ("spot_answers",),
        "A figure is checked on the day it was drawn or later.",
        checked_after_the_draw,
        ("spot_draws",),
    ),
)
