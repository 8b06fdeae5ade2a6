"""Rules about what stands where: what the database would refuse is said here first, with what to do."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import combinations, pairwise
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tracker.intake.rulebook import no_such, spoken
from tracker.measures.calendar import week_of
from tracker.records.settings import refusal
from tracker.vocabulary import (
    ALL_DAY,
    FLUSH_KINDS,
    OTHER_TIMES,
    ClosureScope,
    FittingKind,
    GivenWay,
    PlaceKind,
    Role,
    SheetState,
)

ORIGINS = ("tanker", "rain", "recovered")
YOUNGEST_YEARS = 3
FOREVER = date.max


class Said(NamedTuple):
    """What is wrong with a row: the column and the message."""

    column: str
    message: str


@dataclass(frozen=True, slots=True)
class SetupRule:
    """A rule of docs/checks.md about single rows of a file."""

    name: str
    tables: tuple[str, ...]
    says: str
    check: Callable[[Mapping[str, Any]], Iterator[Said]]


def zone_known(row: Mapping[str, Any]) -> Iterator[Said]:
    """The zone is a name of the time zone database, the currency three letters."""
    try:
        ZoneInfo(row["zone"] or "")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        yield Said("zone", "There is no such time zone. Write its IANA name, for example Etc/GMT-3.")
    currency = row["currency"] or ""
    if len(currency) != 3 or not currency.isascii() or not currency.isupper():
        yield Said("currency", "Write the three capital letters of ISO 4217.")


def setting_allowed(row: Mapping[str, Any]) -> Iterator[Said]:
    """The setting exists and its value lies in its bounds."""
    if row["key"] is not None and row["value"] is not None:
        said = refusal(row["key"], row["value"])
        if said:
            yield Said("value" if said.startswith(row["key"]) else "key", said)


PAIRS = (
    ("first_day", "last_day", True),
    ("from_day", "until_day", True),
    ("opens", "closes", False),
    ("starts", "ends", False),
    ("from_local_time", "until_local_time", False),
    ("warranty_from", "warranty_until", True),
    ("visit_ml", "long_visit_ml", True),
)


def in_order(row: Mapping[str, Any]) -> Iterator[Said]:
    """What begins ends later."""
    for low, high, may_be_equal in PAIRS:
        first, last = row.get(low), row.get(high)
        if first is None or last is None or first < last or (may_be_equal and first == last):
            continue
        yield Said(high, f"{high} comes before {low}. Correct one of them.")


def closure_whom(row: Mapping[str, Any]) -> Iterator[Said]:
    """A closure names the area or the school that its scope asks for, and nothing else."""
    needed = {ClosureScope.AREA: "area", ClosureScope.SCHOOL: "school"}.get(row["scope"])
    for column in ("area", "school"):
        if column == needed and row[column] is None:
            yield Said(column, f"The scope is {needed}. Write which one.")
        if column != needed and row[column] is not None and row["scope"] is not None:
            yield Said(column, f"The scope is {row['scope'].value}. Leave this cell blank.")


def break_code(row: Mapping[str, Any]) -> Iterator[Said]:
    """A break is not called other or all."""
    if row["break"] in (OTHER_TIMES, ALL_DAY):
        yield Said("break", "The words other and all have a meaning of their own. Give the break another code.")


def age_range(row: Mapping[str, Any]) -> Iterator[Said]:
    """An age is -1 (not known) or at least 3 years."""
    if row["age_years"] is not None and -1 < row["age_years"] < YOUNGEST_YEARS:
        yield Said("age_years", "Write an age from 3 to 25, or -1 where it is not known.")


def fitting_whole(row: Mapping[str, Any]) -> Iterator[Said]:
    """A fitting has the numbers that its kind needs."""
    needs = {
        FittingKind.FLUSH_TWO_STAGE: ("long_visit_ml", "long_after_s"),
        FittingKind.FLOOR_WASH: ("every_visits",),
        FittingKind.VACUUM: ("factor_permille",),
    }.get(row["kind"], ())
    for column in needs:
        if row[column] is None:
            yield Said(column, f"A fitting of kind {row['kind'].value} needs {column}. Write a number.")


def dial_whole(row: Mapping[str, Any]) -> Iterator[Said]:
    """A dial that was taken out has a last value, and its values fit on its digits."""
    if (row["until_local_time"] is None) != (row["last_value"] is None):
        column = "last_value" if row["last_value"] is None else "until_local_time"
        yield Said(column, "Write both the time when the dial was taken out and its last value, or neither.")
    for column in ("first_value", "last_value"):
        if row[column] is not None and row["digits"] is not None and row[column] >= 10 ** row["digits"]:
            yield Said(column, f"This dial has {row['digits']} digits. Correct the value or the digits.")


def place_whole(row: Mapping[str, Any]) -> Iterator[Said]:
    """A machine's place names its unit; machine and cupboard name their school."""
    kind = row["kind"]
    if kind is PlaceKind.MACHINE and row["unit"] is None:
        yield Said("unit", "A place of kind machine is a unit. Write the unit's code.")
    if kind in (PlaceKind.MACHINE, PlaceKind.CUPBOARD) and row["school"] is None:
        yield Said("school", f"A place of kind {kind.value} is at a school. Write the school's code.")


def free_is_free(row: Mapping[str, Any]) -> Iterator[Said]:
    """Only what is sold has a price."""
    if row["way"] is not None and row["way"] is not GivenWay.SOLD and row["price_minor"]:
        yield Said("price_minor", "Only what is sold has a price. Write 0, or way as sold.")


def room_for_minimum(row: Mapping[str, Any]) -> Iterator[Said]:
    """A school has room for what it keeps at the least."""
    if row["minimum"] is not None and row["room"] is not None and row["room"] < row["minimum"]:
        yield Said("room", f"There is less room than the {row['minimum']} pieces to keep. Correct one of them.")


def email_lower(row: Mapping[str, Any]) -> Iterator[Said]:
    """An address is written in small letters."""
    email = row["email"] or ""
    if email != email.lower() or "@" not in email:
        yield Said("email", "Write the address in small letters, for example name@school.example.")


def grant_scope(row: Mapping[str, Any]) -> Iterator[Said]:
    """A coordinator has a school; nobody has both a school and an area."""
    if row["role"] is Role.COORDINATOR and row["school"] is None:
        yield Said("school", "A coordinator belongs to a school. Write the school's code.")
    if row["area"] is not None and row["school"] is not None:
        yield Said("area", "Write an area or a school, not both.")


def sheet_sent(row: Mapping[str, Any]) -> Iterator[Said]:
    """A draft is no record, and nothing is sent before its week begins."""
    if row["state"] is SheetState.DRAFT:
        yield Said("state", "A draft is not exchanged. Write sent, queried or accepted.")
    sent = row["first_sent_local_time"]
    if sent is not None and row["week"] is not None and sent.date() < row["week"]:
        yield Said("first_sent_local_time", "This is before the week began. Correct one of them.")


def origin_known(row: Mapping[str, Any]) -> Iterator[Said]:
    """Water came by tanker, as rain, or was recovered."""
    if row["origin"] is not None and row["origin"] not in ORIGINS:
        yield Said("origin", f"Write one of: {', '.join(ORIGINS)}.")


def visit_told(row: Mapping[str, Any]) -> Iterator[Said]:
    """A visit that is over says what was done."""
    if row["done_local_time"] is not None and row["done"] is None:
        yield Said("done", "Write what was done, for example looked, nothing to do.")


ORDERED = (
    "terms", "schools", "closures", "school_hours", "breaks", "enrolment", "units", "fittings", "dials",
    "meter_scopes", "agreements", "disposal_routes", "tanks", "tank_scopes", "cleaning_plans", "hand_flushes",
    "power_uses", "incinerator_ratings", "trials", "grants", "grant_shares", "delivery_hours",
)  # fmt: skip

SETUP_RULES = (
    SetupRule("zone_known", ("programme",), "The zone and the currency exist.", zone_known),
    SetupRule("setting_allowed", ("settings",), "The setting exists and lies in its bounds.", setting_allowed),
    SetupRule("in_order", ORDERED, "What begins ends later; a long visit takes no less water.", in_order),
    SetupRule("closure_whom", ("closures",), "A closure names whom its scope asks for.", closure_whom),
    SetupRule("break_code", ("breaks",), "A break is not called other or all.", break_code),
    SetupRule("age_range", ("enrolment",), "An age is -1 or from 3 to 25 years.", age_range),
    SetupRule("fitting_whole", ("fittings",), "A fitting has the numbers its kind needs.", fitting_whole),
    SetupRule("dial_whole", ("dials",), "A dial's end has time and value; values fit its digits.", dial_whole),
    SetupRule(
        "place_whole", ("places",), "Machines name their unit, machines and cupboards their school.", place_whole
    ),
    SetupRule(
        "room_for_minimum", ("stock_rules",), "A school has room for what it keeps at the least.", room_for_minimum
    ),
    SetupRule("free_is_free", ("given_how",), "Only what is sold has a price.", free_is_free),
    SetupRule("email_lower", ("people",), "An address is in small letters.", email_lower),
    SetupRule("grant_scope", ("role_grants",), "A coordinator has a school; nobody a school and an area.", grant_scope),
    SetupRule("sheet_sent", ("week_sheets",), "A sheet is no draft and is sent after its week began.", sheet_sent),
    SetupRule("origin_known", ("water_deliveries",), "Water came by tanker, as rain, or was recovered.", origin_known),
    SetupRule("visit_told", ("service_visits",), "A visit that is over says what was done.", visit_told),
)

Merged = Mapping[str, Mapping[tuple[Any, ...], tuple[int, Mapping[str, Any]]]]


class Clash(NamedTuple):
    """A problem between two rows: table, line of the newer one (0: on record), column, message."""

    table: str
    line: int
    column: str
    message: str


@dataclass(frozen=True, slots=True)
class ClashRule:
    """A rule of docs/checks.md about rows that must agree with each other. ``needs``: other files that it looks at."""

    name: str
    tables: tuple[str, ...]
    says: str
    check: Callable[[Merged], Iterator[Clash]]
    needs: tuple[str, ...] = ()


def _spans(merged: Merged, table: str, start: str, end: str, alike: Callable[[Mapping[str, Any]], object]) -> Any:
    groups: dict[object, list[tuple[date, date, int, Mapping[str, Any]]]] = defaultdict(list)
    for line, row in merged.get(table, {}).values():
        if row.get(start) is not None:
            groups[alike(row)].append((row[start], row.get(end) or FOREVER, line, row))
    for rows in groups.values():
        for one, other in combinations(sorted(rows, key=lambda row: (row[0], row[2])), 2):
            if other[0] <= one[1]:
                yield one, other


def terms_apart(merged: Merged) -> Iterator[Clash]:
    """Terms do not overlap."""
    for one, other in _spans(merged, "terms", "first_day", "last_day", lambda _row: None):
        message = f"This term overlaps term {one[3]['term']}, which ends on {spoken(one[1])}. Correct the days."
        yield Clash("terms", other[2] or one[2], "first_day", message)


def fittings_apart(merged: Merged) -> Iterator[Clash]:
    """A unit has one fitting of a kind, and one flush, at a time."""

    def alike(row: Mapping[str, Any]) -> object:
        return row["school"], row["unit"], "flush" if row["kind"] in FLUSH_KINDS else row["kind"]

    for one, other in _spans(merged, "fittings", "from_day", "until_day", alike):
        message = f"Unit {other[3]['unit']} still has the fitting of {spoken(one[0])}. Write its last day first."
        yield Clash("fittings", other[2] or one[2], "from_day", message)


def dials_apart(merged: Merged) -> Iterator[Clash]:
    """A unit has one dial for a quantity at a time; a new one may come at the moment the old one goes."""
    groups: dict[object, list[tuple[Any, Any, int, Mapping[str, Any]]]] = defaultdict(list)
    for line, row in merged.get("dials", {}).values():
        if row.get("from_local_time") is not None:
            key = row["school"], row["unit"], row["quantity"]
            groups[key].append((row["from_local_time"], row["until_local_time"], line, row))
    for rows in groups.values():
        ordered = sorted(rows, key=lambda row: row[0])
        for one, other in pairwise(ordered):
            if one[1] is None or other[0] < one[1]:
                message = f"Unit {other[3]['unit']} still has a dial for this. Write when the old one was taken out."
                yield Clash("dials", other[2] or one[2], "from_local_time", message)


def break_codes_apart(merged: Merged) -> Iterator[Clash]:
    """Two shifts of a school do not call a break of one weekday the same."""

    def alike(row: Mapping[str, Any]) -> object:
        return row["school"], row["break"], row["weekday"]

    for one, other in _spans(merged, "breaks", "from_day", "until_day", alike):
        if one[3]["shift"] != other[3]["shift"]:
            message = f"Shift {one[3]['shift']} has a break {other[3]['break']} on this weekday. Give one another code."
            yield Clash("breaks", other[2] or one[2], "break", message)


def sheet_weeks(merged: Merged) -> Iterator[Clash]:
    """A sheet's week is one of the programme's: it begins on the first weekday."""
    programmes = list(merged.get("programme", {}).values())
    if len(programmes) != 1 or programmes[0][1].get("first_weekday") is None:
        return
    first_weekday = programmes[0][1]["first_weekday"]
    for line, row in merged.get("week_sheets", {}).values():
        week = row.get("week")
        if week is not None and week_of(week, first_weekday) != week:
            right = week_of(week, first_weekday).isoformat()
            yield Clash("week_sheets", line, "week", f"A week is named by its first day. Write {right}.")


def drawn_known(merged: Merged) -> Iterator[Clash]:
    """A drawn break is one of the school's breaks."""
    known: dict[object, set[str]] = defaultdict(set)
    for _, row in merged.get("breaks", {}).values():
        known[row.get("school")].add(str(row.get("break")))
    for line, row in merged.get("drawn_breaks", {}).values():
        code = row.get("break")
        if line and code is not None and code not in known[row.get("school")]:
            message = no_such("break", code, known[row.get("school")], "at this school")
            yield Clash("drawn_breaks", line, "break", message)


CLASH_RULES = (
    ClashRule("terms_apart", ("terms",), "Terms do not overlap.", terms_apart),
    ClashRule("fittings_apart", ("fittings",), "One fitting of a kind, and one flush, at a time.", fittings_apart),
    ClashRule("dials_apart", ("dials",), "One dial for a quantity at a time.", dials_apart),
    ClashRule(
        "break_codes_apart", ("breaks",), "Two shifts do not share a break's code on a weekday.", break_codes_apart
    ),
    ClashRule(
        "drawn_known", ("drawn_breaks",), "A drawn break is one of the school's breaks.", drawn_known, ("breaks",)
    ),
    ClashRule("sheet_weeks", ("week_sheets",), "A sheet's week begins on the programme's first weekday.", sheet_weeks),
)
