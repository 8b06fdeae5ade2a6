"""Rules across rows, one place for all ways in: form, folder, workbook and feed refuse the same with one sentence.

docs/checks.md lists them. A soft problem asks once: a note in the row, or its key among the confirmed ones,
settles it; it is then kept as a question about the figure (``noted``), not forgotten.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from tracker.intake import (
    rules_counts,
    rules_devices,
    rules_dials,
    rules_outages,
    rules_plausible,
    rules_stock,
    rules_units,
    rules_usual,
)
from tracker.intake.problems import Problem, shown
from tracker.intake.rows import parse_row
from tracker.intake.rulebook import FactRow, Facts, Finding, Rule, view_of
from tracker.intake.tables import BY_NAME
from tracker.records.context import SchoolContext
from tracker.records.lookups import key_of

__all__ = ["RULES", "FactRow", "Facts", "check_facts", "noted", "parse_facts"]

RULES: tuple[Rule, ...] = (
    *rules_units.RULES,
    *rules_counts.RULES,
    *rules_dials.RULES,
    *rules_outages.RULES,
    *rules_stock.RULES,
    *rules_usual.RULES,
    *rules_plausible.RULES,
    *rules_devices.RULES,
)


def parse_facts(raw: Mapping[str, Sequence[Mapping[str, str]]]) -> tuple[dict[str, list[FactRow]], list[Problem]]:
    """Typed facts of a sheet's payload, and the problems of single cells; rows are numbered from 1 in each table.

    Rows with a problem are given back too, without the cells that could not be read: rules pass over those.
    """
    facts: dict[str, list[FactRow]] = {}
    problems: list[Problem] = []
    for name, rows in raw.items():
        facts[name] = []
        for number, row in enumerate(rows, start=1):
            values, wrong = parse_row(BY_NAME[name], row, number)
            facts[name].append(FactRow(number, values))
            problems += wrong
    return facts, problems


def check_facts(
    context: SchoolContext, facts: Facts, *, now: datetime | None = None, confirmed: Collection[str] = ()
) -> list[Problem]:
    """What is wrong with the facts of one school, in the order of tables and rows.

    Args:
        context: the school as it stands without these facts.
        facts: rows by table, as ``parse_row`` types them.
        now: an aware instant; facts dated later are refused. None: not looked for.
        confirmed: keys of soft problems that were confirmed.
    Returns:
        hard problems, and soft ones that neither a note nor a confirmation settles.
    """
    return [one for one in _found(context, facts, now) if not _settled(one, facts, confirmed)]


def noted(context: SchoolContext, facts: Facts, confirmed: Collection[str] = ()) -> list[Problem]:
    """Soft problems that a note or a confirmation settles: questions to keep beside the sheet."""
    return [one for one in _found(context, facts, None) if _settled(one, facts, confirmed)]


def _found(context: SchoolContext, facts: Facts, now: datetime | None) -> list[Problem]:
    view = view_of(context, facts, now)
    problems = [_problem(rule, finding) for rule in RULES for finding in rule.check(view)]
    order = {name: place for place, name in enumerate(BY_NAME)}
    return sorted(problems, key=lambda one: (order[one.table], one.row))


def _problem(rule: Rule, finding: Finding) -> Problem:
    table, row, column, message = finding
    key = "/".join(shown(part) for part in key_of(BY_NAME[table], row.values))
    value = shown(row.values.get(column))
    return Problem(table, row.row, column, value, message, rule.soft, rule.name, f"{rule.name}:{table}:{key}")


def _settled(problem: Problem, facts: Facts, confirmed: Collection[str]) -> bool:
    if not problem.soft:
        return False
    if problem.key in confirmed:
        return True
    rows = facts.get(problem.table, ())
    return any(row.row == problem.row and str(row.values.get("note") or "").strip() for row in rows)
