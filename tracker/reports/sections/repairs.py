"""Time to restore, visits lost, and how often the engineer came."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from tracker.measures import lost, repairs, restore
from tracker.measures.dials import rows_of
from tracker.measures.faults import begun_faults
from tracker.measures.figure import Figure
from tracker.measures.restore import WITHOUT
from tracker.reports.facts import TermFacts
from tracker.reports.printing import number
from tracker.reports.report import Cell, Table
from tracker.reports.rows import FITTING_WORDS, beside, counts, kind_words, limited, words
from tracker.reports.sections.crowding import unit_breaks
from tracker.vocabulary import Basis, FittingKind

OPEN: Final = "An outage that is still open counts as not restored for as long as it has lasted."
TALLIED: Final = (
    "Visits lost rest on breaks that were tallied while the unit worked; units whose visits a counter gives have none."
)
HEADINGS: Final = {"cause": "Cause", "kind": "Units", "fitting": "Fitting"}


def faults(facts: TermFacts) -> pd.DataFrame:
    """Faults that began in the period, each once, from ``faults.begun_faults``."""
    return facts.once("faults", lambda: begun_faults(facts.outages, facts.units, facts.scope))


def repair_tables(facts: TermFacts) -> tuple[Table, ...]:
    """What stands beside the headlines on working units: in all, by cause, by kind, by fitting; the engineer."""
    return facts.once("repair tables", lambda: _tables(facts))


def _tables(facts: TermFacts) -> tuple[Table, ...]:
    found = faults(facts)
    fitted = restore.with_fittings(found, facts.all.fittings)
    by = [_by(facts, found, "cause"), _by(facts, found, "kind"), _by(facts, fitted, "fitting")]
    return (restore_table(facts), *by, engineer_table(facts))


def restore_table(facts: TermFacts) -> Table:
    """Median time to restore, share within the promise, visits lost."""
    found, hours = faults(facts), facts.settings["promise_restore_hours"]
    within = restore.restored_within(found, hours)
    rows: list[tuple[str, Cell]] = [
        ("Half of the outages were restored within", restore.time_to_restore(found)),
        (f"Restored within the promised {number(hours)} hours", within),
        ("The same, of outages for which that is known", restore.known_within(found, hours)),
        ("Visits that could not be made in breaks", visits_lost(facts)),
    ]
    note = f"Outages that began in this period, each once. {OPEN} {TALLIED}"
    return beside("time_to_restore", "Time to restore, and visits lost", rows, note)


def visits_lost(facts: TermFacts) -> Figure:
    """Visits that could not be made at cabins and urinals that were out when a break began."""
    return facts.once("visits lost", lambda: lost.visits_lost(unit_breaks(facts), facts.tallies))


def _by(facts: TermFacts, found: pd.DataFrame, by: str) -> Table:
    hours = facts.settings["promise_restore_hours"]
    rows = tuple(_group_cells(row, by) for row in rows_of(restore.restore_by(found, by, hours)))
    columns = (
        words(by, HEADINGS[by]),
        counts("outages", "Outages begun", "outages"),
        counts("ended", "Ended", "outages"),
        counts("median", "Half restored within", "hours"),
        counts("within", f"Within {number(hours)} hours", "share"),
    )
    note = OPEN
    if by == "fitting":
        note = f"A unit may carry several fittings, so these groups do not add up. {OPEN}"
    title = f"Time to restore by {by if by != 'kind' else 'kind of unit'}"
    return Table(f"restore_by_{by}", title, columns, rows, note, "No outage began in this period.")


def _group_cells(row: Any, by: str) -> tuple[Cell, ...]:
    return (
        _name(getattr(row, by), by),
        int(row.outages),
        int(row.ended),
        _figure(row, "median{}_h", "hours", int(row.ended)) or "not reached: too many are open",
        _figure(row, "within_{}", "share", int(row.known)) or "not known yet",
    )


def _figure(row: Any, name: str, unit: str, used: int) -> Figure | None:
    """A value of a group with its limits; None where it is not reached."""
    value = row.median_h if unit == "hours" else row.within_share
    low, high = (getattr(row, name.format(end)) for end in (("_low", "_high") if unit == "hours" else ("low", "high")))
    ends = limited(value, low, high)
    if ends[0] is None:
        return None
    return Figure(ends[0], unit, Basis(row.basis), *ends[1:], used, int(row.outages), "outages")


def _name(name: str, by: str) -> str:
    if by == "kind":
        return kind_words(name)
    return FITTING_WORDS[FittingKind(name)] if by == "fitting" and name != WITHOUT else name


def engineer_table(facts: TermFacts) -> Table:
    """The engineer's service visits to each school against what was agreed, in the order of the schools' codes."""
    gaps = {row.school_id: row for row in rows_of(_gaps(facts))}
    agreed = set(_intervals(facts).dropna(subset=["every_days"])["school_id"])
    rows = tuple(
        _visit_cells(school.code, gaps[school.id], school.id in agreed) for school in facts.schools if school.id in gaps
    )
    columns = (
        words("school", "School"),
        counts("every", "A visit at least every", "days"),
        words("agreed", "By"),
        counts("visits", "Days with a visit", "days"),
        counts("longest", "Longest wait", "days"),
        counts("kept", "Waits no longer than that", "share"),
    )
    note = (
        "Service visits only: repairs, local looks and meter readings are apart. The first wait runs from the last "
        "visit before this period, or from the first day of the agreement."
    )
    return Table("service_visits", "Visits of the engineer", columns, rows, note)


def _intervals(facts: TermFacts) -> pd.DataFrame:
    return facts.all.service_intervals


def _gaps(facts: TermFacts) -> pd.DataFrame:
    rows = _intervals(facts)
    every = rows["every_days"].fillna(float(facts.settings["service_visit_days"]))
    return repairs.service_gaps(
        facts.all.engineer_visits,
        rows.assign(every_days=every),
        facts.period,
        facts.until.astimezone(facts.zone).date(),
    )


def _visit_cells(code: str, row: Any, agreed: bool) -> tuple[Cell, ...]:
    kept = row.kept / row.gaps if row.gaps else None
    return (
        code,
        int(row.every_days),
        "agreement" if agreed else "programme's setting",
        int(row.visits),
        int(row.longest_gap),
        Figure(kept, "share", Basis.COUNTED, used=int(row.gaps), expected=int(row.gaps), records="waits"),
    )
