"""A change of the set-up made by hand, held against the same rules as a folder's lines: one checker, both ways in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy.orm import Session

from tracker.intake.problems import Problem
from tracker.intake.rows import header, parse_row, written
from tracker.intake.setup_apart import ALL_CLASHES, ALL_SINGLE
from tracker.intake.tables import BY_NAME, Column
from tracker.records.lookups import Codes, existing, key_of, lookups_of

OF_SCHOOL = (
    *("programme", "areas", "terms", "schools", "closures", "shifts", "school_hours", "breaks", "enrolment", "staff"),
    *("before", "blocks", "block_groups", "units", "unit_ways", "fittings", "dials", "meter_scopes"),
    *("agreements", "agreement_units", "places", "disposal_routes"),
    *("tanks", "tank_scopes", "cleaning_plans", "hand_flushes", "power_uses", "incinerator_ratings"),
)
OF_PROGRAMME = ("programme", "settings", "areas", "terms", "schools", "closures", "targets", "rounds")
OF_TRIALS = ("programme", "areas", "schools", "blocks", "units", "trials", "trial_units")
OF_GRANTS = ("programme", "areas", "schools", "grants", "grant_shares")
OF_CHECKS = (
    *("programme", "areas", "terms", "schools", "people", "role_grants"),
    *("spot_draws", "spot_checks", "spot_answers"),
)
NEW = 1  # the line that stands for a row which the change added or altered; 0 for what was there

Rows = dict[str, dict[Codes, dict[str, Any]]]


def on_record(session: Session, programme: Any, school_id: int | None = None, names: tuple[str, ...] = ()) -> Rows:
    """The set-up as rows of the exchange format, by file and key: of one school, else of the programme itself.

    Args:
        programme: the programme's row. school_id: None for what belongs to no school. names: these files instead.
    """
    lookups = lookups_of(session, programme, (), school_id)
    found: Rows = {}
    for name in names or (OF_PROGRAMME if school_id is None else OF_SCHOOL):
        table = BY_NAME[name]
        found[name] = {}
        for row_id, values, _ in existing(session, lookups, table, school_id):
            key = key_of(table, values)
            found[name][key] = values
            lookups.add(name, key, row_id)
    return found


def check_change(before: Rows, after: Rows) -> list[Problem]:
    """What a folder would refuse of the rows that a change added or altered; empty where it would take them.

    Args:
        before, after: ``on_record`` before and after the change.
    """
    merged = {
        name: {key: (0 if before[name].get(key) == values else NEW, values) for key, values in rows.items()}
        for name, rows in after.items()
    }
    problems: list[Problem] = []
    for name, rows in merged.items():
        for values in (values for line, values in rows.values() if line):
            problems += _single(name, values)
    for rule in ALL_CLASHES:
        if set(rule.tables) <= merged.keys():
            for clash in rule.check(merged):
                if clash.line:
                    problems.append(Problem(clash.table, clash.line, clash.column, "", clash.message, rule=rule.name))
    return problems


def _single(name: str, values: Mapping[str, Any]) -> Iterator[Problem]:
    table = BY_NAME[name]
    own = {column.name: column for column in table.columns}
    raw = {one: written(own.get(one, TEXT), values.get(one)) for one in header(table)}
    unreadable = parse_row(table, raw, NEW)[1]
    yield from unreadable
    if unreadable:
        return
    for rule in (rule for rule in ALL_SINGLE if name in rule.tables):
        for said in rule.check(values):
            yield Problem(name, NEW, said.column, "", said.message, rule=rule.name)


TEXT = Column("code", "text", "")


def sentences(problems: Iterable[Problem]) -> list[tuple[str, str]]:
    """(column, sentence) of each problem, each sentence once."""
    return list({problem.message: (problem.column, problem.message) for problem in problems}.values())
