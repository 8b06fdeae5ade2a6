"""Rules about outages: their order, their overlaps, and who checked after a danger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations

from tracker.intake.rulebook import Finding, OutView, Rule, View, spoken
from tracker.vocabulary import Cause


def outage_order(view: View) -> Iterator[Finding]:
    """An outage ends after it starts."""
    for table, row in view.rows("outages"):
        start, end = row.values.get("start_local_time"), row.values.get("end_local_time")
        if start is not None and end is not None and end <= start:
            message = f"This ends before it starts. Write a time after {start:%Y-%m-%dT%H:%M}, or none while it lasts."
            yield Finding(table, row, "end_local_time", message)


def outage_overlap(view: View) -> Iterator[Finding]:
    """Outages of one unit, source and cause do not overlap."""
    alike: dict[tuple[object, ...], list[OutView]] = defaultdict(list)
    for one in view.outages:
        alike[one.unit, one.source, one.cause].append(one)
    for group in alike.values():
        for earlier, later in combinations(sorted(group, key=lambda one: (one.start_at, one.ref)), 2):
            new = later if later.row is not None else earlier
            if new.row is None or (earlier.end_at is not None and earlier.end_at <= later.start_at):
                continue
            other = earlier if new is later else later
            since = other.start_at.astimezone(view.context.zone)
            message = (
                f"Unit {new.unit} is already logged as out of service for this cause since {spoken(since.date())} "
                f"at {since:%H:%M}. End that outage first, or correct the times."
            )
            yield Finding("outages", new.row, "start_local_time", message)


def danger_checked(view: View) -> Iterator[Finding]:
    """After a danger a unit is opened again by the name of the competent person who checked it."""
    for table, row in view.rows("outages"):
        values = row.values
        if values.get("cause") is Cause.DANGER and values.get("end_local_time") and not values.get("checked_by"):
            message = "Write the name of the competent person who checked the unit before it was opened again."
            yield Finding(table, row, "checked_by", message)


RULES = (
    Rule("outage_order", ("outages",), "An outage ends after it starts.", outage_order),
    Rule("outage_overlap", ("outages",), "Outages of one unit, source and cause do not overlap.", outage_overlap),
    Rule(
        "danger_checked",
        ("outages",),
        "A danger ends with the name of the competent person who checked.",
        danger_checked,
    ),
)
