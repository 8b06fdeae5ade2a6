"""What is typed about rounds: vehicle-days, the order of stops, what was handed over, what came back.

Rows are many and their number is not known before, so they are read by name here; what was typed is kept as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from tracker.records.rounds import STAY_MIN, PlannedDay
from tracker.vocabulary import HandWhy
from tracker.web.forms.fields import DAY_WANTED, TIME_WANTED, clock_minutes, tidy

MOST_DAYS = 8  # vehicle-days of a round on one page
STARTS, HOURS = "07:30", "8"
WHOLE_WANTED = "Write a whole number, 0 or more."
NUMBER_WANTED = "write a whole number, 0 or more."
HOURS_WANTED = "Write the hours as a number, for example 8 or 6.5."
LONG_NAME = 80
LONG_REASON = 200


@dataclass
class Typed:
    """What was typed, by field, and the sentences about it, by field, in the order of the page."""

    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    def get(self, name: str, otherwise: str = "") -> str:
        """What stands in a field."""
        return self.values.get(name, otherwise)

    def wrong(self, name: str, sentence: str) -> None:
        """Note what is wrong with a field; the first sentence stays."""
        self.errors.setdefault(name, sentence)


def typed_from(sent: Mapping[str, str]) -> Typed:
    """What was sent, tidied."""
    return Typed({name: tidy(value) for name, value in sent.items()})


def whole(text: str) -> int | None:
    """A whole number of 0 or more; None where it is none.

    >>> whole("12"), whole(""), whole("-1"), whole("1.5")
    (12, None, None, None)
    """
    return int(text) if text.isdecimal() and text.isascii() and len(text) <= 9 else None


def hours_min(text: str) -> int | None:
    """Hours as minutes; None where it is no number of hours from above 0 to 24.

    >>> hours_min("8"), hours_min("6.5"), hours_min("6,5"), hours_min("25"), hours_min("x")
    (480, 390, 390, None, None)
    """
    parts = text.replace(",", ".").split(".")
    if not 1 <= len(parts) <= 2 or not all(part.isdecimal() and part.isascii() and len(part) <= 3 for part in parts):
        return None
    found = round(float(".".join(parts)) * 60)
    return found if 0 < found <= 1440 else None


def day_rows(days: Iterable[PlannedDay], blank: int = 1) -> Typed:
    """The fields of vehicle-days as they stand, with blank rows below."""
    values: dict[str, str] = {}
    count = 0
    for at, one in enumerate(days):
        values |= {
            f"vehicle-{at}": str(one.vehicle_id),
            f"day-{at}": one.day.isoformat(),
            f"starts-{at}": f"{one.starts_min // 60:02d}:{one.starts_min % 60:02d}",
            f"hours-{at}": f"{one.limit_min / 60:g}",
            f"stops-{at}": "" if one.most_stops is None else str(one.most_stops),
        }
        count = at + 1
    values["rows"] = str(min(count + blank, MOST_DAYS))
    return Typed(values)


def row_count(typed: Typed) -> int:
    """How many rows of vehicle-days the page has."""
    return min(whole(typed.get("rows")) or 1, MOST_DAYS)


def read_days(typed: Typed) -> tuple[PlannedDay, ...]:
    """Vehicle-days of the rows in which a vehicle is chosen; sentences at the fields that cannot be read."""
    found = []
    for at in range(row_count(typed)):
        vehicle = whole(typed.get(f"vehicle-{at}"))
        if not vehicle:
            continue
        day, starts = _day(typed, f"day-{at}"), clock_minutes(typed.get(f"starts-{at}"))
        if starts is None or starts >= 1440:
            typed.wrong(f"starts-{at}", TIME_WANTED)
        limit = hours_min(typed.get(f"hours-{at}"))
        if limit is None:
            typed.wrong(f"hours-{at}", HOURS_WANTED)
        most = whole(typed.get(f"stops-{at}"))
        if typed.get(f"stops-{at}") and not most:
            typed.wrong(f"stops-{at}", "Write how many stops are possible, at least 1, or leave it blank.")
        if day is not None and starts is not None and limit is not None:
            found.append(PlannedDay(vehicle, day, starts, limit, most or None))
    if not found and not typed.errors:
        typed.wrong("vehicle-0", "Choose at least one vehicle.")
    return tuple(found)


def _day(typed: Typed, name: str) -> date | None:
    try:
        return date.fromisoformat(typed.get(name))
    except ValueError:
        typed.wrong(name, DAY_WANTED)
        return None


def read_stay(typed: Typed) -> int:
    """Minutes at a school."""
    text = typed.get("stay")
    stay = whole(text)
    if stay is None or stay > 480:
        typed.wrong("stay", "Write the minutes at a school, from 0 to 480.")
        return STAY_MIN
    return stay


def read_order(typed: Typed, stops: Iterable[int], days: Iterable[int]) -> dict[int, list[int]]:
    """Stop ids in order by vehicle-day: each stop has a vehicle-day (blank: taken out) and a number.

    Equal numbers keep the order of the page. Sentences where a number cannot be read.
    """
    known = set(days)
    placed: dict[int, list[tuple[int, int, int]]] = {day: [] for day in known}
    for at, stop in enumerate(stops):
        day, text = whole(typed.get(f"on-{stop}")), typed.get(f"no-{stop}")
        if not day:
            continue
        number = whole(text)
        if number is None and text:
            typed.wrong(f"no-{stop}", WHOLE_WANTED)
        elif day in known:
            placed[day].append((10**9 if number is None else number, at, stop))
        else:
            typed.wrong(f"on-{stop}", "This vehicle and day are not of this round. Choose again.")
    return {day: [stop for _, _, stop in sorted(rows)] for day, rows in placed.items()}


def read_pieces(
    typed: Typed, products: Mapping[int, str], blank: str
) -> tuple[dict[int, int], dict[int, HandWhy | None]]:
    """Pieces and the reason of a difference by product; ``blank``: what is said where nothing was written (never 0)."""
    pieces: dict[int, int] = {}
    whys: dict[int, HandWhy | None] = {}
    for product, name in products.items():
        text = typed.get(f"p-{product}")
        number = whole(text)
        if number is None:
            typed.wrong(f"p-{product}", f"{name}: {NUMBER_WANTED if text else blank}")
        else:
            pieces[product] = number
        why = typed.get(f"why-{product}")
        whys[product] = HandWhy(why) if why in {one.value for one in HandWhy} else None
    return pieces, whys
