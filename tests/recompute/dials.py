"""What counters and meters turned, by week (docs/measures_parts/dials.md)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from tests.recompute.files import SOURCES, WEEK, Asked, Row, local, week_of
from tests.recompute.school_time import Calendar


@dataclass
class Interval:
    """What was turned between two readings: whole steps, the weeks it is about, and the dials it ran on."""

    steps: int
    weeks: list[date]  # with school days; the week of the last reading where none has
    shares: list[int]
    parts: list[tuple[str, int, Row]]  # installation, steps, dial
    number: int  # of the reading that ends it
    after: date  # the week of the reading before, or the week before the installation
    installed: date | None  # the day, where it starts with an installation


def intervals(asked: Asked, held: Calendar, unit: Row, quantity: str) -> list[Interval]:
    """Intervals between the readings of one unit and quantity up to the period's last day, in order."""
    readings = one_source(asked, unit, quantity)
    dials = [row for row in asked.mine("dials") if row["unit"] == unit["unit"] and row["quantity"] == quantity]
    found = []
    for number, reading in enumerate(readings):
        dial = dial_at(asked, dials, reading)
        if number == 0:
            parts = [turned(dial, int(dial["first_value"]), int(reading["value"]))]
            installed = local(dial["from_local_time"], asked.zone).astimezone(asked.zone).date()
            after = week_of(installed, asked.weekday) - WEEK
        else:
            before = readings[number - 1]
            parts = between(asked, dials, before, reading)
            after, installed = week_of(when(asked, before).date(), asked.weekday), None
        if parts:
            week = week_of(when(asked, reading).date(), asked.weekday)
            weeks = [one for one in sorted(held.school_days) if after < one <= week] or [week]
            found.append(Interval(0, weeks, [], parts, number, after, installed))
            share_out(found[-1], held)
    return found


def one_source(asked: Asked, unit: Row, quantity: str) -> list[Row]:
    """The unit's readings from one source: the preferred one, else device, tally, officer, engineer."""
    rows = []
    for row in asked.mine("readings"):
        if row["unit"] == unit["unit"] and row["quantity"] == quantity and when(asked, row).date() <= asked.last:
            rows.append(row)
    for source in [unit["preferred_source"], *SOURCES]:
        mine = [row for row in rows if row["source"] == source]
        if mine:
            return sorted(mine, key=lambda row: when(asked, row))
    return []


def when(asked: Asked, reading: Row) -> datetime:
    """The local time of a reading."""
    return local(reading["at_local_time"], asked.zone).astimezone(asked.zone)


def dial_at(asked: Asked, dials: list[Row], reading: Row) -> Row:
    """The dial that was in place when a reading was taken."""
    at = local(reading["at_local_time"], asked.zone)
    for dial in dials:
        ended = dial["until_local_time"] != "" and local(dial["until_local_time"], asked.zone) <= at
        if local(dial["from_local_time"], asked.zone) <= at and not ended:
            return dial
    raise ValueError(f"no dial for {reading}")


def turned(dial: Row, start: int, end: int) -> tuple[str, int, Row]:
    """What one dial turned, in whole steps, over its roll-over."""
    return dial["from_local_time"], (end - start) % 10 ** int(dial["digits"]), dial


def between(asked: Asked, dials: list[Row], before: Row, reading: Row) -> list[tuple[str, int, Row]]:
    """What dials turned between two readings; nothing is known where an old dial's last value is not."""
    old, new = dial_at(asked, dials, before), dial_at(asked, dials, reading)
    if old is new:
        return [turned(new, int(before["value"]), int(reading["value"]))]
    if old["last_value"] == "":
        return []
    first = turned(old, int(before["value"]), int(old["last_value"]))
    return [first, turned(new, int(new["first_value"]), int(reading["value"]))]


def share_out(interval: Interval, held: Calendar) -> None:
    """Share an interval's steps by school days over its weeks."""
    interval.steps = sum(part[1] for part in interval.parts)
    days = [held.school_days.get(week, 0) for week in interval.weeks]
    if sum(days) == 0:
        interval.shares = [0] * (len(days) - 1) + [interval.steps]
        return
    interval.shares = [interval.steps * number // sum(days) for number in days]
    order = sorted(range(len(days)), key=lambda place: (-(interval.steps * days[place] % sum(days)), place))
    for place in order[: interval.steps - sum(interval.shares)]:
        interval.shares[place] += 1


def by_week(found: list[Interval]) -> dict[date, tuple[int, str]]:
    """Week → steps and basis."""
    weeks: dict[date, tuple[int, str]] = {}
    for interval in found:
        basis = "counted" if len(interval.weeks) == 1 else "modelled"
        for week, share in zip(interval.weeks, interval.shares, strict=True):
            steps, so_far = weeks.get(week, (0, "counted"))
            weeks[week] = (steps + share, "modelled" if "modelled" in (basis, so_far) else "counted")
    return weeks
