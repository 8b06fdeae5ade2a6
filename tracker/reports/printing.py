"""The one place that turns figures into words: every page, table, file and command prints through here.

Numbers are rounded half up in decimal, never in binary; a missing value is "not recorded", never zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from tracker.measures.figure import Figure

NOT_RECORDED = "not recorded"
# What stands in the place of a week's number or sheet; no other words are used for it.
NO_SCHOOL, NOT_REPORTED, NOT_DUE = "no school", "not reported yet", "not due yet"
MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September"]
MONTHS += ["October", "November", "December"]
WEEKDAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
THIN_SPACE = "\u202f"  # narrow, and no line ends at it

# Decimals shown for a unit; a unit that is not listed shows whole numbers.
DECIMALS = {
    "share": 1,  # of a percent
    "L per visit": 2,
    "L per pupil and school day": 2,
    "visits per pupil and school day": 2,
    "weeks": 1,
    "terms": 1,
    "hours": 1,
    "napkins per school day": 1,
    "school hours": 1,
    "unit school hours": 1,
    "pupils per break": 1,
    "pupils per unit": 1,
    "usable units": 1,
    "visits per girl and school day": 2,
    "visits per boy and school day": 2,
    "napkins per 100 girls and school day": 1,
    "outages per 1,000 visits": 2,
    "percentage points": 1,
    "scaled error": 2,
    "requests": 1,
    "kWh": 1,
    "kg": 1,
    "kWh a burn": 2,
    "kg a burn": 3,
    "quarters a week": 1,
    "found ÷ reported": 2,
}
MINOR = "minor units of "  # money is kept in minor units; pages and files show the main ones
EACH = 3  # decimals of money for one visit or pupil
# One and many; a unit that is not listed is written the same for every number.
NAMES = {
    "visits": ("visit", "visits"),
    "napkins": ("napkin", "napkins"),
    "pupils": ("pupil", "pupils"),
    "burns": ("burn", "burns"),
    "sessions": ("session", "sessions"),
    "school days": ("school day", "school days"),
    "machine days": ("machine day", "machine days"),
    "weeks": ("week", "weeks"),
    "hours": ("hour", "hours"),
    "minutes": ("minute", "minutes"),
    "unit breaks": ("unit break", "unit breaks"),
    "outages": ("outage", "outages"),
    "queries": ("query", "queries"),
    "attendances": ("attendance", "attendances"),
    "packs": ("pack", "packs"),
    "cabins": ("cabin", "cabins"),
    "urinals": ("urinal", "urinals"),
    "breaks": ("break", "breaks"),
    "days": ("day", "days"),
    "girls": ("girl", "girls"),
    "requests": ("request", "requests"),
    "pieces": ("piece", "pieces"),
    "spans": ("span", "spans"),
    "cycles": ("cycle", "cycles"),
}


def rounded(value: float, decimals: int) -> Decimal:
    """Round half up, in decimal.

    >>> str(rounded(2.675, 2)), str(rounded(0.5, 0)), str(rounded(-0.5, 0))
    ('2.68', '1', '-1')
    """
    quantum = Decimal(1).scaleb(-decimals)
    return Decimal(str(value)).quantize(quantum, rounding=ROUND_HALF_UP)


def number(value: float, decimals: int = 0) -> str:
    """A number with thin spaces between thousands.

    >>> number(1234567.5, 1).replace(THIN_SPACE, " ")
    '1 234 567.5'
    """
    return f"{rounded(value, decimals) + 0:,}".replace(",", THIN_SPACE)  # + 0: there is no minus nothing


def amount(value: float, unit: str) -> str:
    """A value with its unit, a share as percent.

    >>> amount(0.98765, "share"), amount(1, "visits"), amount(3, "visits"), amount(12.5, "L")
    ('98.8 %', '1 visit', '3 visits', '13 L')
    >>> amount(123456, "minor units of XTS").replace(THIN_SPACE, " "), amount(37.5, "minor units of XTS per visit")
    ('1 234.56 XTS', '0.375 XTS per visit')
    """
    if unit == "share":
        return f"{number(value * 100, DECIMALS['share'])} %"
    if unit.startswith(MINOR):
        return f"{bare(value, unit)} {unit_words(unit)}"
    decimals = DECIMALS.get(unit, 0)
    one, many = NAMES.get(unit, (unit, unit))
    shown = number(value, decimals)
    return f"{shown} {one if shown == '1' else many}"


def bare(value: float | None, unit: str) -> str:
    """A table cell's digits, without the unit that its column names."""
    if value is None:
        return NOT_RECORDED
    if unit == "share":
        return f"{number(value * 100, DECIMALS['share'])} %"
    if unit.startswith(MINOR):
        return number(value / 100, _money_decimals(unit))
    return number(value, DECIMALS.get(unit, 0))


def unit_words(unit: str) -> str:
    """A unit as headings and files name it: money in its main unit.

    >>> unit_words("minor units of XTS per visit"), unit_words("L")
    ('XTS per visit', 'L')
    """
    return unit.removeprefix(MINOR)


def _money_decimals(unit: str) -> int:
    return EACH if " per " in unit else 2


def plain(value: float | None, unit: str) -> str:
    """The same digits for files: no thin spaces, a share as a share with three decimals, blank where not recorded.

    >>> plain(0.98765, "share"), plain(1234.5, "L"), plain(None, "L")
    ('0.988', '1235', '')
    """
    if value is None:
        return ""
    if unit.startswith(MINOR):
        return str(rounded(value / 100, _money_decimals(unit)))
    return str(rounded(value, 3 if unit == "share" else DECIMALS.get(unit, 0)))


@dataclass(frozen=True, slots=True)
class Printed:
    """A figure in words: what stands large, and what must stand beside it."""

    value: str
    interval: str
    basis: str
    completeness: str
    note: str

    @property
    def sentence(self) -> str:
        """All of it in one line."""
        beside = "; ".join(text for text in (self.interval, self.basis, self.completeness) if text)
        return f"{self.value} ({beside})" if beside else self.value


def interval_words(figure: Figure) -> str:
    """The range "a to b", or "" where the value is a plain count.

    >>> from tracker.vocabulary import Basis
    >>> interval_words(Figure(0.9, "share", Basis.COUNTED, low=0.8, high=0.95))
    '80.0 % to 95.0 %'
    """
    if figure.low is None or figure.high is None:
        return ""
    return f"{bare(figure.low, figure.unit)} to {amount(figure.high, figure.unit)}"


def print_figure(figure: Figure) -> Printed:
    """Put a figure into words: value with unit, interval, basis, how complete its records are, its note."""
    value = (figure.withheld or NOT_RECORDED) if figure.value is None else amount(figure.value, figure.unit)
    complete = f"{number(figure.used)} of {number(figure.expected)} {figure.records}" if figure.expected else ""
    return Printed(value, interval_words(figure), str(figure.basis.value), complete, figure.note)


def day(value: date) -> str:
    """A day with its month in words.

    >>> day(date(2026, 2, 3))
    '3 February 2026'
    """
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def short_day(value: date) -> str:
    """Weekday and day for a column heading.

    >>> short_day(date(2026, 2, 3))
    'Tue 3 Feb'
    """
    return f"{WEEKDAYS[value.weekday()][:3]} {value.day} {MONTHS[value.month - 1][:3]}"


def days(first: date, last: date) -> str:
    """A span of days.

    >>> days(date(2026, 2, 2), date(2026, 2, 8)), days(date(2026, 2, 23), date(2026, 3, 1))
    ('2 to 8 February 2026', '23 February to 1 March 2026')
    """
    if first.year != last.year:
        return f"{day(first)} to {day(last)}"
    if first.month != last.month:
        return f"{first.day} {MONTHS[first.month - 1]} to {day(last)}"
    return f"{first.day} to {day(last)}"


def moment(value: datetime, zone: str) -> str:
    """An instant in the programme's zone.

    >>> from datetime import UTC
    >>> moment(datetime(2026, 2, 3, 6, 5, tzinfo=UTC), "Etc/GMT-3")
    '3 February 2026, 09:05'
    """
    local = value.astimezone(ZoneInfo(zone))
    return f"{day(local.date())}, {local:%H:%M}"


def money(minor: int, currency: str) -> str:
    """An amount in minor units with its currency code, two decimals.

    >>> money(123456, "XTS").replace(THIN_SPACE, " ")
    '1 234.56 XTS'
    """
    return f"{number(minor / 100, 2)} {currency}"
