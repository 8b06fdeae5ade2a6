"""Rules about what a person logged beside what the device counted: both are kept, a difference is asked about."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, time, timedelta

from tracker.intake.rulebook import Finding, Rule, View, spoken
from tracker.intake.rules_dials import dial_at
from tracker.intake.rules_usual import tallied
from tracker.records.context import ReadingInfo, UnitInfo
from tracker.vocabulary import Quantity, Source

NEAR = timedelta(hours=48)  # a device's reading this near says something about a person's
SLACK = 5  # steps that two looks at one dial may differ by (common practice, no published source)
SHARE = 0.1  # of a week's count that a tally may miss or add (common practice, no published source)
ASK = "Look at the unit again, or write in the note why it is right. Both are kept."


def reading_unlike_device(view: View) -> Iterator[Finding]:
    """A dial read by a person shows more than the device counted later, or less than it had counted before."""
    for table, row, unit in view.at_units("readings"):
        value, local, quantity = (row.values.get(name) for name in ("value", "at_local_time", "quantity"))
        if row.values.get("source") is Source.DEVICE or value is None or local is None or quantity is None:
            continue
        at = view.instant(local)
        before, after = _around(view.context.readings.get((unit.code, quantity, Source.DEVICE), ()), at)
        if before is not None and not _same_dial(unit, quantity, before.at, at):
            before = None
        if after is not None and (not _same_dial(unit, quantity, at, after.at) or _turned_over(before, after)):
            after = None
        told = _told(view, before, after, value)
        if told:
            yield Finding(table, row, "value", f"{value} was read, but {told}. {ASK}")


def _around(readings: Sequence[ReadingInfo], at: datetime) -> tuple[ReadingInfo | None, ReadingInfo | None]:
    """The device's last reading before and first after, if they are near."""
    before = [one for one in readings if at - NEAR <= one.at <= at]
    after = [one for one in readings if at < one.at <= at + NEAR]
    return (before[-1] if before else None), (after[0] if after else None)


def _same_dial(unit: UnitInfo, quantity: Quantity, first: datetime, last: datetime) -> bool:
    dial = dial_at(unit, quantity, last)
    return dial is not None and dial is dial_at(unit, quantity, first)


def _turned_over(before: ReadingInfo | None, after: ReadingInfo) -> bool:
    return before is not None and after.value < before.value


def _told(view: View, before: ReadingInfo | None, after: ReadingInfo | None, value: int) -> str:
    if after is not None and value > after.value + SLACK:
        return f"the device showed {after.value} afterwards ({_when(view, after.at)})"
    if before is not None and value < before.value - SLACK:
        return f"the device had shown {before.value} before ({_when(view, before.at)})"
    return ""


def _when(view: View, at: datetime) -> str:
    local = at.astimezone(view.context.zone)
    return f"{spoken(local.date())}, {local:%H:%M}"


def week_unlike_device(view: View) -> Iterator[Finding]:
    """A whole week's tally far from what the unit's device counted in the same week."""
    for week in tallied(view):
        counted = _device_week(view, view.context.units[week.unit])
        if counted is not None and abs(week.visits - counted) > max(SLACK, SHARE * max(week.visits, counted)):
            message = f"{week.visits} visits were tallied this week; the device counted {counted}. {ASK}"
            yield Finding(week.table, week.row, week.column, message)


def _device_week(view: View, unit: UnitInfo) -> int | None:
    """What the device counted over the week; None unless it was heard within a day of both ends, on one dial."""
    readings = view.context.readings.get((unit.code, Quantity.VISITS, Source.DEVICE), ())
    span = view.context.span
    if span.last - span.first != timedelta(days=6):
        return None  # a folder of many weeks says nothing about one
    first = datetime.combine(span.first, time(), view.context.zone).astimezone(UTC)
    last = datetime.combine(span.last + timedelta(days=1), time(), view.context.zone).astimezone(UTC)
    day = timedelta(days=1)
    starts = [one for one in readings if first - day <= one.at < first]
    ends = [one for one in readings if last - day <= one.at < last]
    if not starts or not ends or not _same_dial(unit, Quantity.VISITS, starts[-1].at, ends[-1].at):
        return None
    dial = dial_at(unit, Quantity.VISITS, ends[-1].at)
    return None if dial is None else (ends[-1].value - starts[-1].value) % int(10**dial.digits)


RULES = (
    Rule(
        "reading_unlike_device",
        ("readings",),
        f"A dial read by a person more than {SLACK} steps above what the unit's device showed next, or below what it "
        "had shown, within 48 hours.",
        reading_unlike_device,
        soft=True,
    ),
    Rule(
        "week_unlike_device",
        ("usage_counts",),
        f"A whole week's tally more than 10 % (and {SLACK} visits) from what the unit's device counted that week (week "
        "sheet only).",
        week_unlike_device,
        soft=True,
    ),
)
