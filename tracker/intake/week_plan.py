"""What a week sheet asks of one school in one week: its units, days, breaks, places and what is still open.

Plain values only, so that screen, paper, workbook and feed are laid out from the same thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from tracker.vocabulary import CountWay, Group, PlaceKind, Quantity, UnitKind


@dataclass(frozen=True, slots=True)
class PlanDial:
    """A dial to be read: how many digits it has, and what it showed last (None: never read)."""

    quantity: Quantity
    digits: int
    last_value: int | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True)
class PlanUnit:
    """A unit that stands at the school in the week."""

    code: str
    name: str
    kind: UnitKind
    group: Group
    block: str
    way: CountWay = CountWay.NONE
    two_stage: bool = False
    accessible: bool = False
    dials: tuple[PlanDial, ...] = ()


@dataclass(frozen=True, slots=True)
class PlanDay:
    """A day of the week on which the school has hours. ``closed`` says why there is no school ("" = school)."""

    day: date
    closes_min: int
    slots: tuple[str, ...]
    closed: str = ""


@dataclass(frozen=True, slots=True)
class PlanBreak:
    """A break by its code, name and start."""

    code: str
    name: str
    start_min: int


@dataclass(frozen=True, slots=True)
class PlanStock:
    """A product at a place of the school. ``source`` is where refills come from; ``last_left`` the last count.

    ``outlet`` is where what is handed out goes in the ledger ("": that is not asked here).
    """

    place: str
    name: str
    kind: PlaceKind
    unit: str
    product: str
    product_name: str
    source: str
    last_left: int | None = None
    outlet: str = ""


@dataclass(frozen=True, slots=True)
class PlanOutage:
    """An outage that began before this sheet and is still open (or that this sheet ended)."""

    ref: str
    unit: str
    cause: str
    start: datetime  # local clock time of the programme's zone, without zone
    source: str = "tally"
    danger: bool = False


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """All that one week sheet asks for."""

    school: str
    week: date
    code: str
    days: tuple[PlanDay, ...]
    breaks: tuple[PlanBreak, ...]
    drawn: tuple[tuple[date, str], ...] = ()
    units: tuple[PlanUnit, ...] = ()
    stocks: tuple[PlanStock, ...] = ()
    outages: tuple[PlanOutage, ...] = ()
    last: Mapping[str, str] = field(default_factory=dict)  # last week's figure by cell key

    @property
    def last_day(self) -> date:
        """Last day of the week."""
        return self.week + timedelta(days=6)

    def break_name(self, slot: str) -> str:
        """A break's name; its code where it has none."""
        return next((item.name for item in self.breaks if item.code == slot), slot)

    def read_day(self) -> PlanDay | None:
        """The week's last school day, on which dials are read unless the sheet says otherwise."""
        held = [item for item in self.days if not item.closed]
        return held[-1] if held else (self.days[-1] if self.days else None)


def day_name(day: date) -> str:
    """A day as it stands in a column head: "Tue 3".

    >>> day_name(date(2026, 2, 3))
    'Tue 3'
    """
    return f"{day:%a} {day.day}"


def long_day(day: date) -> str:
    """A day in a sentence: "Tue 3 Feb".

    >>> long_day(date(2026, 2, 3))
    'Tue 3 Feb'
    """
    return f"{day:%a} {day.day} {day:%b}"


def clock(minute: int) -> str:
    """Minutes after midnight as a clock time.

    >>> clock(490)
    '08:10'
    """
    return f"{minute // 60:02d}:{minute % 60:02d}"
