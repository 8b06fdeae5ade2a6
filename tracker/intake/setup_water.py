"""Rules about tanks, cleaning by the clock, hand flushes, energy and what an incinerator is rated for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from datetime import date
from itertools import pairwise
from typing import Any

from tracker.intake.rulebook import spoken
from tracker.intake.setup_rules import FOREVER, Clash, ClashRule, Merged, Said, SetupRule
from tracker.measures.calendar import week_of
from tracker.vocabulary import CABIN_LIKE, VISITED, PowerPart, UnitKind

# what may hold only once at a time: the columns that say what it is
ONE_AT_A_TIME: dict[str, tuple[str, ...]] = {
    "tanks": ("school", "unit"),
    "tank_scopes": ("school", "tank", "unit"),
    "cleaning_plans": ("school", "unit", "cycle"),
    "hand_flushes": ("school", "unit"),
    "power_uses": ("school", "unit", "part"),
    "incinerator_ratings": ("school", "unit"),
}
OF_KIND: dict[tuple[str, str], tuple[UnitKind, ...]] = {
    ("tanks", "unit"): (UnitKind.TANK,),
    ("tank_scopes", "tank"): (UnitKind.TANK,),
    ("tank_scopes", "unit"): VISITED,
    ("hand_flushes", "unit"): CABIN_LIKE,
    ("incinerator_ratings", "unit"): (UnitKind.INCINERATOR,),
    ("burn_outputs", "unit"): (UnitKind.INCINERATOR,),
    ("energy_given", "meter"): (UnitKind.METER,),
}
BY_WEEK = ("energy_given", "burn_outputs")


def power_whole(row: Mapping[str, Any]) -> Iterator[Said]:
    """Light and fan have watts and seconds of a visit, every other part has watt-hours."""
    if row["part"] is None:
        return
    light = row["part"] is PowerPart.LIGHT_FAN
    needed = ("watts", "visit_seconds") if light else ("wh_thousandths",)
    for column in ("watts", "visit_seconds", "wh_thousandths"):
        if column in needed and row[column] is None:
            yield Said(column, f"The part {row['part'].value} needs {column}. Write a number.")
        if column not in needed and row[column] is not None:
            yield Said(column, f"The part {row['part'].value} has no {column}. Leave this cell blank.")


def hand_share(row: Mapping[str, Any]) -> Iterator[Said]:
    """The share of visits that are flushed by hand lies between its bounds."""
    low, share, high = (row[f"share_{name}permille"] for name in ("low_", "", "high_"))
    if None not in (low, share, high) and not low <= share <= high:
        yield Said("share_permille", "The share lies between its low and its high end. Correct one of the three.")


def rating_told(row: Mapping[str, Any]) -> Iterator[Said]:
    """A rating says at least one thing."""
    if all(row[name] is None for name in ("burn_pads", "burn_g", "burns_a_day")):
        yield Said("burn_pads", "Write at least one number of the maker's plate, or leave the row out.")


def output_told(row: Mapping[str, Any]) -> Iterator[Said]:
    """A week's ash or energy is said, or both."""
    if row["ash_g"] is None and row["energy_wh"] is None:
        yield Said("ash_g", "Write the ash, the energy or both, or leave the row out.")


def one_at_a_time(merged: Merged) -> Iterator[Clash]:
    """Two rows that say the same thing of a unit do not hold on the same day."""
    for table, names in ONE_AT_A_TIME.items():
        groups: dict[object, list[tuple[date, date, int]]] = defaultdict(list)
        for line, row in merged.get(table, {}).values():
            if row.get("from_day") is not None:
                key = tuple(row.get(name) for name in names)
                groups[key].append((row["from_day"], row.get("until_day") or FOREVER, line))
        for rows in groups.values():
            for one, other in pairwise(sorted(rows)):
                if other[0] <= one[1]:
                    message = f"Another row holds from {spoken(one[0])}. Give it a last day before this one begins."
                    yield Clash(table, other[2] or one[2], "from_day", message)


def _kinds(merged: Merged) -> dict[tuple[Any, Any], Any]:
    return {(row["school"], row["unit"]): row["kind"] for _, row in merged.get("units", {}).values()}


def _of_other_kinds(merged: Merged, tables: Collection[str]) -> Iterator[Clash]:
    kinds = _kinds(merged)
    for (table, column), wanted in OF_KIND.items():
        for line, row in merged.get(table, {}).values() if table in tables else ():
            kind = kinds.get((row.get("school"), row.get(column)))
            if line and kind is not None and kind not in wanted:
                words = " or a ".join(one.value for one in wanted)
                yield Clash(table, line, column, f"Unit {row[column]} is a {kind.value}. Name a {words} here.")


def noted_at_its_unit(merged: Merged) -> Iterator[Clash]:
    """Ash is an incinerator's, energy that did not pass a meter is a meter's."""
    yield from _of_other_kinds(merged, BY_WEEK)


def fits_its_unit(merged: Merged) -> Iterator[Clash]:
    """A tank is a tank, an incinerator an incinerator; a burn's energy is an incinerator's."""
    kinds = _kinds(merged)
    yield from _of_other_kinds(merged, ONE_AT_A_TIME)
    for line, row in merged.get("power_uses", {}).values():
        kind = kinds.get((row.get("school"), row.get("unit")))
        burn = row.get("part") is PowerPart.BURN
        if line and kind is not None and row.get("part") is not None and burn is not (kind is UnitKind.INCINERATOR):
            message = "Energy of burns is an incinerator's, the other parts are of what is visited. Correct one."
            yield Clash("power_uses", line, "part", message)


def week_of_water(merged: Merged) -> Iterator[Clash]:
    """A week is named by its first day."""
    programmes = list(merged.get("programme", {}).values())
    if len(programmes) != 1 or programmes[0][1].get("first_weekday") is None:
        return
    first_weekday = programmes[0][1]["first_weekday"]
    for table in BY_WEEK:
        for line, row in merged.get(table, {}).values():
            week = row.get("week")
            if line and week is not None and week_of(week, first_weekday) != week:
                right = week_of(week, first_weekday).isoformat()
                yield Clash(table, line, "week", f"A week is named by its first day. Write {right}.")


WATER_RULES = (
    SetupRule("power_whole", ("power_uses",), "Light and fan have watts and seconds, others watt-hours.", power_whole),
    SetupRule("hand_share", ("hand_flushes",), "The share of hand flushes lies between its bounds.", hand_share),
    SetupRule("rating_told", ("incinerator_ratings",), "A rating says at least one thing.", rating_told),
    SetupRule("output_told", ("burn_outputs",), "A week's ash or energy is said.", output_told),
)
WATER_CLASHES = (
    ClashRule("one_at_a_time", tuple(ONE_AT_A_TIME), "Such rows of a unit follow each other.", one_at_a_time),
    ClashRule(
        "fits_its_unit",
        ("tanks", "tank_scopes", "hand_flushes", "incinerator_ratings", "power_uses"),
        "What is said of a unit fits its kind.",
        fits_its_unit,
        ("units",),
    ),
    ClashRule("noted_at_its_unit", BY_WEEK, "What was noted of a unit fits its kind.", noted_at_its_unit, ("units",)),
    ClashRule("week_of_water", BY_WEEK, "A week is named by its first day.", week_of_water),
)
