"""What a headline that is no plain sum is made of: its sums by school and week, worked out when somebody opens it.

A share, a quotient or a count between bounds opens to one or two sums and the sentence of its formula. Nothing here is
worked out while a report is built.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Final, TypeAlias

import numpy as np
import pandas as pd

from tracker.measures import disposal, quality, repairs, visits
from tracker.measures.calendar import week_of
from tracker.measures.dials import rows_of
from tracker.measures.faults import Spell
from tracker.measures.water_rows import WaterRows, water_rows
from tracker.reports.facts import TermFacts
from tracker.vocabulary import CABIN_LIKE, Group

Totals: TypeAlias = dict[tuple[str, date | None], float]
NO_FAILURE: Final = -math.log(0.05)  # of the one-sided 95 % limit, where no failure was recorded


@dataclass(frozen=True, slots=True)
class Ingredient:
    """A sum over schools and weeks (week None: the whole term)."""

    label: str
    unit: str
    totals: Totals


@dataclass(frozen=True, slots=True)
class MadeOf:
    """The sums of a number: one, or a numerator and a denominator; ``divisor`` is a constant besides."""

    sums: tuple[Ingredient, ...]
    divisor: float = 1.0


FORMULAS: Final = {
    "visits_per_pupil_day": "Visits divided by pupil-days, over the school-weeks that have both. Units for staff only "
    "are left out.",
    "litres_per_visit": "Litres of flush, pre-wash and floor wash divided by the visits they belong to.",
    "litres_per_pupil_day": "Litres of all parts divided by pupil-days, over the school-weeks that have both. Units "
    "for staff only are left out.",
    "availability_share": "Usable minutes divided by the minutes of school time, both on days on which somebody "
    "looked.",
    "promise_kept_share": "Outages that ended within the promised time divided by the outages whose promise has "
    "passed or that have ended. An outage stands in the week in which it began.",
    "hours_between_failures": "School hours of running time divided by the failures that began in the term. Without a "
    "failure the hours are divided by 2.9957 (the natural logarithm of 20), which gives the lower limit.",
    "cover_weeks": "Napkins on hand divided by the napkins asked for in a school week, over the schools where both are "
    "known.",
    "route_days_share": "Days with a permitted, working route divided by the days on which that was seen.",
    "pupils_reached": "The largest attendance of one lesson, for each school, sex and grade, added up. Different "
    "schools, sexes and grades are different pupils; weeks are not, so this does not add up over weeks.",
    "completeness_share": "Week sheets received divided by week sheets due.",
    "timeliness_share": "Week sheets received on time divided by week sheets due.",
    "open_queries": "Queries not yet answered, by the week of their sheet.",
}


def made_of(facts: TermFacts, key: str) -> MadeOf | None:
    """The sums of a headline; None where it is a plain sum, or no such headline."""
    found = _MAKERS.get(key)
    return found(facts) if found else None


def _by_week(rows: pd.DataFrame, column: str, facts: TermFacts) -> Totals:
    """Sums of a column by school code and week."""
    names = rows["school"] if "school" in rows.columns else rows["school_id"].map(facts.codes)
    sums = rows.assign(of=names.astype("str")).groupby(["of", "week"], sort=True)[column].sum()
    found: Totals = {}
    for row in rows_of(sums.reset_index()):
        found[str(row.of), row.week.date()] = float(getattr(row, column))
    return found


def _pair(top: tuple[str, str, Totals], below: tuple[str, str, Totals], divisor: float = 1.0) -> MadeOf:
    return MadeOf((Ingredient(*top), Ingredient(*below)), divisor)


def _visits_per_pupil_day(facts: TermFacts) -> MadeOf:
    days = facts.pupil_days
    due = facts.expected[facts.expected["group"] != Group.STAFF]
    due = due.merge(days[["school_id", "week"]], on=["school_id", "week"])
    found = visits.visits_total(facts.unit_weeks, facts.tallies, facts.occasions, facts.units, expected=due)
    seen: Totals = {(part.school, part.week): part.value for part in found.parts}
    base = {at: total for at, total in _by_week(days, "pupil_days", facts).items() if at in seen}
    return _pair(("Visits", "visits", seen), ("Pupil-days", "pupil-days", base))


def _litres(rows: WaterRows) -> Totals:
    return {at: ml / 1000 for at, ml in rows.sums().items()}


def _litres_per_visit(facts: TermFacts) -> MadeOf:
    rows = water_rows(facts.water, facts.expected)
    rows = rows.take(np.isin(rows.kind, [kind.value for kind in CABIN_LIKE]))
    base: Totals = {}
    for at, seen in rows.sums(np.where(rows.flush, rows.visits, 0.0)).items():
        base[at] = seen
    return _pair(("Litres", "L", _litres(rows)), ("Visits", "visits", base))


def _litres_per_pupil_day(facts: TermFacts) -> MadeOf:
    rows = water_rows(facts.water, facts.expected)
    rows = rows.take(np.asarray(rows.group != Group.STAFF, dtype=bool))
    base, litres = _by_week(facts.pupil_days, "pupil_days", facts), _litres(rows)
    both = [at for at in litres if at in base]
    top, below = ({at: of[at] for at in both} for of in (litres, base))
    return _pair(("Litres", "L", top), ("Pupil-days", "pupil-days", below))


def _observed(facts: TermFacts) -> pd.DataFrame:
    """Observed days of cabins and urinals with their week."""
    rows = facts.cabin_days[facts.cabin_days["observed"].astype(bool)]
    weekday = facts.all.programme.first_weekday
    weeks = {day: pd.Timestamp(week_of(day.date(), weekday)) for day in rows["day"].unique()}
    return rows.assign(week=rows["day"].map(weeks), up=rows["scheduled_min"] - rows["down_min"])


def _availability(facts: TermFacts) -> MadeOf:
    rows = _observed(facts)
    up, held = (_by_week(rows, column, facts) for column in ("up", "scheduled_min"))
    return _pair(("Usable minutes", "minutes", up), ("Minutes of school time", "minutes", held))


def _by_start(faults: Iterable[Spell], facts: TermFacts) -> Totals:
    """Faults by the school of their first unit and the week in which they began."""
    units = facts.all.all_units
    codes = dict(zip(units["unit_id"].tolist(), units["school"].tolist(), strict=True))
    found: Totals = {}
    for fault in faults:
        began = datetime.fromtimestamp(fault.start * 60, UTC).astimezone(facts.zone).date()
        at = (str(codes[min(fault.units)]), week_of(began, facts.all.programme.first_weekday))
        found[at] = found.get(at, 0.0) + 1
    return found


def _promise(facts: TermFacts) -> MadeOf:
    due, _ = repairs.promised(facts.outages, facts.settings["promise_restore_hours"], facts.until)
    kept = _by_start((fault for fault, in_time in due if in_time), facts)
    counted = _by_start((fault for fault, _ in due), facts)
    return _pair(("Ended within the promised time", "outages", kept), ("Outages counted", "outages", counted))


def _between_failures(facts: TermFacts) -> MadeOf:
    hours = {at: minutes / 60 for at, minutes in _by_week(_observed(facts), "up", facts).items()}
    running = ("School hours of running time", "school hours", hours)
    mine = facts.outages[facts.outages["unit_id"].isin(facts.cabin_days["unit_id"].unique())]
    found = _by_start(repairs.failures(mine, facts.cabin_days, facts.scope), facts)
    if not found:
        return MadeOf((Ingredient(*running),), NO_FAILURE)
    return _pair(running, ("Failures", "failures", found))


def _cover(facts: TermFacts) -> MadeOf:
    known = facts.cover.dropna(subset=["on_hand", "per_day"])
    known = known[known["per_day"] > 0]
    stock: Totals = {}
    asked: Totals = {}
    for row in rows_of(known):
        at = (facts.codes.get(row.school_id, str(row.school_id)), None)
        stock[at], asked[at] = float(row.on_hand), float(row.per_day * row.days_per_week)
    return _pair(("Napkins on hand", "napkins", stock), ("Asked for in a school week", "napkins", asked))


def _route_share(facts: TermFacts) -> MadeOf:
    rows = facts.route_states.merge(facts.school_days, on=["school_id", "day"], how="left")
    rows = rows.assign(
        stands=(rows["state"] == disposal.RouteState.STANDS.value).astype("int64"),
        seen=(rows["state"] != disposal.RouteState.NOT_SEEN.value).astype("int64"),
    )
    stands, seen = (_by_week(rows, column, facts) for column in ("stands", "seen"))
    return _pair(("Days that stand", "school days", stands), ("Days observed", "school days", seen))


def _reached(facts: TermFacts) -> MadeOf:
    found: Totals = {}
    for row in rows_of(facts.reach):
        at = (facts.codes.get(row.school_id, str(row.school_id)), None)
        found[at] = found.get(at, 0.0) + row.low
    return MadeOf((Ingredient("Pupils reached, at least", "pupils", found),))


def _sheets(facts: TermFacts, column: str, label: str) -> MadeOf:
    rows = quality.due_sheets(facts.sheets, facts.as_of)
    top, below = (_by_week(rows, name, facts) for name in (column, "expected"))
    return _pair((label, "week sheets", top), ("Week sheets due", "week sheets", below))


def _queries(facts: TermFacts) -> MadeOf:
    rows = facts.queries.assign(number=facts.queries["open"].astype(bool).astype("int64"))
    return MadeOf((Ingredient("Open queries", "queries", _by_week(rows[rows["number"] > 0], "number", facts)),))


_MAKERS: Final[dict[str, Callable[[TermFacts], MadeOf]]] = {
    "visits_per_pupil_day": _visits_per_pupil_day,
    "litres_per_visit": _litres_per_visit,
    "litres_per_pupil_day": _litres_per_pupil_day,
    "availability_share": _availability,
    "promise_kept_share": _promise,
    "hours_between_failures": _between_failures,
    "cover_weeks": _cover,
    "route_days_share": _route_share,
    "pupils_reached": _reached,
    "completeness_share": lambda facts: _sheets(facts, "received", "Week sheets received"),
    "timeliness_share": lambda facts: _sheets(facts, "on_time", "Week sheets received on time"),
    "open_queries": _queries,
}
