"""Were units working in school time, minute by minute (docs/measures_parts/uptime.md, repairs.md)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tests.recompute import chance
from tests.recompute.files import DAY, Asked, Fig, Row, day, holds, local, midnight, minute
from tests.recompute.school_time import Calendar, days_of_term

CAUSES = [
    "broken",
    "drain blocked",
    "low water",
    "no power",
    "locked",
    "dirty",
    "danger",
    "planned work",
    "sold out",
    "not known",
]


@dataclass
class UnitDay:
    """A unit's school day: school minutes, those lost by cause, and whether anybody vouches for the day."""

    unit: Row
    day: date
    scheduled: int
    lost: dict[str, int]
    observed: bool

    @property
    def down(self) -> int:
        """All minutes lost."""
        return sum(self.lost.values())


@dataclass
class Outage:
    """An outage in minutes since 1970; open ones have no end."""

    unit: str
    cause: str
    start: int
    end: int | None
    event: str
    row: Row


def outages(asked: Asked) -> list[Outage]:
    """Outages that touched the period."""
    first, stop = minute(midnight(asked.first, asked.zone)), minute(asked.until)
    found = []
    for row in asked.mine("outages"):
        start = minute(local(row["start_local_time"], asked.zone))
        end = minute(local(row["end_local_time"], asked.zone)) if row["end_local_time"] else None
        if start < stop and (end is None or end > first):
            found.append(Outage(row["unit"], row["cause"], start, end, row["event"], row))
    return found


def unit_days(asked: Asked, held: Calendar, units: list[Row]) -> list[UnitDay]:
    """Every school day of every unit that can be out of service, up to the report's instant."""
    stop = minute(asked.until)
    vouched = vouched_days(asked)
    known = outages(asked)
    found = []
    for unit in units:
        if unit["kind"] in ("tank", "meter"):
            continue
        mine = [outage for outage in known if outage.unit == unit["unit"]]
        mine.sort(key=lambda outage: (outage.start, CAUSES.index(outage.cause)))
        for today in days_of_term(asked, held):
            minutes = [m for m in held.minutes[today] if m < stop]
            if holds(unit, today) and minutes:
                found.append(one_day(unit, today, minutes, mine, stop, (unit["unit"], today) in vouched))
    return found


def one_day(unit: Row, today: date, minutes: list[int], mine: list[Outage], stop: int, seen: bool) -> UnitDay:
    """Each minute belongs to the outage that began first."""
    lost: dict[str, int] = {}
    touched = False
    near = [o for o in mine if o.start <= max(minutes) and (o.end is None or o.end > min(minutes))]
    for m in minutes if near else []:
        owner = None
        for outage in near:
            if outage.start <= m < (stop if outage.end is None else outage.end):
                touched = True
                if owner is None and outage.cause != "sold out":
                    owner = outage.cause
        if owner is not None:
            lost[owner] = lost.get(owner, 0) + 1
    return UnitDay(unit, today, len(minutes), lost, seen or touched)


def vouched_days(asked: Asked) -> set[tuple[str, date]]:
    """Unit and day where somebody saw it working or partly working, or where visits of that day were counted."""
    found = {(unit, on) for unit, on, state in looks(asked) if state != "out of service"}
    for row in asked.mine("usage_counts"):
        if row["days"] == "1" and int(row["visits"]) > 0:
            found.add((row["unit"], day(row["first_day"])))
    return found


def looks(asked: Asked) -> list[tuple[str, date, str]]:
    """What was seen at a unit on a day: by the school and the officer, and by the engineer's visits."""
    found = [(row["unit"], day(row["day"]), row["state"]) for row in asked.mine("sightings")]
    for row in asked.mine("service_visits"):
        if row["done_local_time"]:
            on = local(row["done_local_time"], asked.zone).astimezone(asked.zone).date()
            well = row["back_in_service"] == "yes" or row["outage"] == ""
            found.append((row["unit"], on, "working" if well else "out of service"))
    return found


def availability(days: list[UnitDay]) -> Fig:
    """Usable ÷ scheduled minutes of observed days, with the range that the other days allow."""
    everything = sum(one.scheduled for one in days)
    seen = [one for one in days if one.observed]
    looked, down = sum(one.scheduled for one in seen), sum(one.down for one in days)
    if not looked:
        return Fig(None, None, None, 0, len(days))
    return Fig(
        (looked - down) / looked, (looked - down) / everything, (everything - down) / everything, len(seen), len(days)
    )


def hours_out(days: list[UnitDay], cause: str | None = None) -> Fig:
    """Unit school hours lost, to one cause or to all."""
    lost = sum(one.lost.get(cause, 0) if cause else one.down for one in days)
    seen = sum(1 for one in days if one.observed)
    return Fig(lost / 60 if seen else None, None, None, seen, len(days))


def by_cause(days: list[UnitDay]) -> list[tuple[str, float, float]]:
    """Cause, hours and share of all that was lost, the largest first."""
    sums: dict[str, int] = {}
    for one in days:
        for cause, lost in one.lost.items():
            sums[cause] = sums.get(cause, 0) + lost
    rows = [(cause, lost / 60, lost / sum(sums.values())) for cause, lost in sums.items()]
    return sorted(rows, key=lambda row: (-row[1], row[0]))


def breaks_lost(asked: Asked, held: Calendar, days: list[UnitDay]) -> Fig:
    """Pairs of a unit and a break at whose start the unit was out."""
    stop = minute(asked.until)
    known = [outage for outage in outages(asked) if outage.cause != "sold out"]
    lost = seen = every = 0
    for one in days:
        mine = [outage for outage in known if outage.unit == one.unit["unit"]]
        for rest in held.breaks:
            if rest.day != one.day or rest.start >= stop:
                continue
            every += 1
            seen += one.observed
            lost += any(o.start <= rest.start < (stop if o.end is None else o.end) for o in mine)
    return Fig(lost if seen else None, None, None, seen, every)


def faults(found: list[Outage], stop: int) -> list[tuple[int, int | None]]:
    """Start and end (none: open) of faults: outages that overlap, touch or share an event are one."""
    groups: list[list[Outage]] = []
    for outage in found:
        if outage.start > stop:
            continue
        mine = [group for group in groups if any(belong(outage, other, stop) for other in group)]
        groups = [group for group in groups if group not in mine]
        groups.append([outage, *(other for group in mine for other in group)])
    rows: list[tuple[int, int | None]] = []
    for group in groups:
        ends = [outage.end for outage in group if outage.end is not None and outage.end <= stop]
        rows.append((min(o.start for o in group), max(ends) if len(ends) == len(group) else None))
    return rows


def belong(one: Outage, other: Outage, stop: int) -> bool:
    """Whether two outages are of one fault by themselves."""
    if one.event and one.event == other.event:
        return True
    end_one, end_other = (stop + 1 if o.end is None or o.end > stop else o.end for o in (one, other))
    return one.unit == other.unit and one.start <= end_other and other.start <= end_one


def promise_kept(asked: Asked) -> Fig:
    """Faults that ended within the promised hours, of those that ended or are past the promise."""
    stop, promise = minute(asked.until), asked.settings["promise_restore_hours"] * 60
    meant = [o for o in outages(asked) if o.cause not in ("planned work", "sold out")]
    due = [(start, end) for start, end in faults(meant, stop) if end is not None or stop - start > promise]
    kept = sum(1 for start, end in due if end is not None and end - start <= promise)
    share, low, high = chance.wilson(kept, len(due))
    return Fig(share, low, high, len(due), len(due))


def between_failures(asked: Asked, days: list[UnitDay]) -> Fig:
    """School hours that units ran between failures."""
    first, after = minute(midnight(asked.first, asked.zone)), minute(midnight(asked.last + DAY, asked.zone))
    units = {one.unit["unit"] for one in days}
    left_out = ("planned work", "sold out", "locked", "dirty")
    meant = [o for o in outages(asked) if o.cause not in left_out and o.unit in units]
    failures = sum(1 for start, _ in faults(meant, minute(asked.until)) if first <= start < after)
    seen = [one for one in days if one.observed]
    hours = sum(one.scheduled - one.down for one in seen) / 60
    if not hours:
        return Fig(None, None, None, 0, len(days))
    if failures == 0:
        return Fig(hours / 2.995732273553991, None, None, len(seen), len(days))  # −ln 0.05
    low = 2 * hours / chance.chi_squared(0.975, 2 * failures + 2)
    high = 2 * hours / chance.chi_squared(0.025, 2 * failures)
    return Fig(hours / failures, low, high, len(seen), len(days))


def waits(asked: Asked, days: list[UnitDay]) -> tuple[Fig, int]:
    """Gaps between looks within the limit, and the longest wait, in school days of each unit."""
    limit = asked.settings["look_every_school_days"]
    looked = {(unit, on) for unit, on, _ in looks(asked) if asked.first <= on <= asked.last}
    kept = gaps = longest = 0
    for code in sorted({one.unit["unit"] for one in days}):
        held = sorted(one.day for one in days if one.unit["unit"] == code)
        seen = sorted(on for unit, on in looked if unit == code and held[0] <= on <= held[-1])
        places = sorted({sum(1 for today in held if today <= on) for on in seen})
        last, found = 0, []
        for place in places:
            found.append(place - last)
            last = place
        longest = max(longest, len(held) - last, *found, 0)
        if len(held) - last > limit:
            found.append(len(held) - last)
        gaps += len(found)
        kept += sum(1 for gap in found if gap <= limit)
    return Fig(kept / gaps if gaps else None, None, None, gaps, gaps), longest
