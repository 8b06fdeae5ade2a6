"""What was declared of a trial before it started, and whether what counts as success was seen."""

from __future__ import annotations

import re
from typing import Final

from tracker.measures import comparison, trials
from tracker.measures.comparison import Comparison
from tracker.measures.figure import Figure
from tracker.measures.trials import Declaration, Doubt, Outcome
from tracker.records.frames import TrialHead
from tracker.reports.printing import day
from tracker.reports.report import Cell, Table
from tracker.reports.rows import as_points, words
from tracker.vocabulary import Measure

POINTS: Final = "percentage points"
SAID: Final = {
    Outcome.MET: "Met: the whole range of the difference reaches what was declared.",
    Outcome.NOT_MET: "Not met: no part of the range of the difference reaches what was declared.",
    Outcome.UNDECIDED: "Not decided: the range reaches what was declared in part only, or there is no range.",
}
NOT_SAID: Final = "Nothing is said about success."
NOTHING_YET: Final = "There is nothing to compare yet: no unit of the trial has weeks before and with the fitting."


def key_part(code: str) -> str:
    """A code as it stands in the key of a table, which names files.

    >>> key_part("VAC-1")
    'vac_1'
    """
    return re.sub(r"[^a-z0-9]+", "_", code.lower())


def declaration_of(trial: TrialHead) -> Declaration:
    """A trial as the measure takes it."""
    return Declaration(
        trial.question,
        trial.units,
        trial.comparison_units,
        trial.from_day,
        trial.until_day,
        trial.measure,
        trial.better,
        trial.at_least,
        trial.declared_on,
    )


def difference(one: Comparison) -> Figure:
    """The difference of a comparison, shares in percentage points."""
    found = comparison.difference_figure(one)
    return as_points(found) if one.measure is Measure.AVAILABILITY else found


def declaration_table(key: str, trial: TrialHead, declared: Declaration, found: Comparison | None) -> Table:
    """The declaration line by line, then the result beside what would count as success.

    Args:
        found: the comparison of the declared measure; None where there is nothing to compare yet.
    """
    lines: dict[str, Cell] = dict(trials.declaration_lines(declared))
    lines["Declared"] = f"{day(trial.declared_on)}, {_when(declared)}; by {trial.declared_by}"
    lines |= {"From": trial.from_day, "Until": trial.until_day}
    lines["Would count as success"] = success_words(trial)
    del lines["Success"]
    lines["Difference found"] = NOTHING_YET if found is None else difference(found)
    if found is not None:
        lines["Against what was declared"] = outcome_words(found, declared)
    columns = (words("what", "What"), words("declared", "As declared and as found"))
    return Table(f"{key}_declared", f"Trial {trial.code}: what was declared", columns, tuple(lines.items()))


def _when(declared: Declaration) -> str:
    return "before it started" if declared.in_time else "not declared before it started"


def success_words(trial: TrialHead) -> str:
    """What would count as success, with its unit."""
    if trial.measure is Measure.AVAILABILITY:
        return f"{trial.measure.value} {trial.better.value} by at least {trial.at_least * 100:g} {POINTS}"
    unit = comparison.RATIOS[trial.measure].unit
    return f"{trial.measure.value} {trial.better.value} by at least {trial.at_least:g} {unit}"


def outcome_words(found: Comparison, declared: Declaration) -> str:
    """Whether the declared success was seen, or why nothing is said about it."""
    evidence = trials.evidence(found, declared)
    if evidence.outcome is not None:
        return SAID[evidence.outcome]
    silent = (doubt.value for doubt in evidence.doubts if doubt in (Doubt.LATE, Doubt.OTHER, Doubt.NO_VALUE))
    return " ".join((NOT_SAID, *silent))
