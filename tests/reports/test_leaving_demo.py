"""The demo's impact summaries under attack: with a raised smallest count, no hidden number follows from the others.

The relations between printed numbers are written here by hand from what the tables mean, not taken from the program;
linear bounds (scipy's linprog) then say between which ends each hidden number could lie. Protection as the criterion
asks: no hidden number may be known more closely than "fewer than the smallest count".
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from scipy.optimize import linprog

from tracker.db import make_engine, reading
from tracker.records import heads, people
from tracker.reports import build
from tracker.reports.leaving import protected

AT = datetime(2026, 7, 15, 7, tzinfo=UTC)
# a total, and the parts that make it: headlines by key, cells by (table, row, column)
RELATIONS = (
    ("attendances", (("attendances_by_sex", 0, 1), ("attendances_by_sex", 1, 1))),
    ("given_out", tuple(("given_by_area", row, 1) for row in range(3))),
    ("visits", tuple(("visits_by_area", row, 1) for row in range(3))),
    (("grants", 3, 2), tuple(("grants", row, 2) for row in range(3))),
)


@pytest.fixture(scope="module")
def summaries(demo_file):
    """The impact summaries of the demo's terms before anything is hidden."""
    engine = make_engine(f"sqlite:///{demo_file}")
    with reading(engine) as session:
        programme = people.programme_ids(session)[0]
        found = [build.impact(session, programme, term, AT) for term in heads.terms(session, programme)[:3]]
    engine.dispose()
    return [report.unwithheld for report in found]


def printed(report, place) -> int | None:
    """The whole number that is printed at a place; None where it is hidden."""
    cell = report.line(place).figure if isinstance(place, str) else _cell(report, *place)
    value = getattr(cell, "value", cell)
    return round(value) if isinstance(value, int | float) else None


def _cell(report, table: str, row: int, column: int):
    found = next(one for one in report.tables() if one.key == table)
    return found.rows[row][column]


def bounds(known: dict, place) -> tuple[float, float]:
    """Between which ends a hidden number lies, given all that is printed."""
    hidden = [name for name, value in known.items() if value is None]
    rows, right = [], []
    for total, parts in RELATIONS:
        row = [0.0] * len(hidden)
        rest = 0.0
        for name, sign in [(total, 1.0), *((part, -1.0) for part in parts)]:
            if known[name] is None:
                row[hidden.index(name)] += sign
            else:
                rest -= sign * known[name]
        if any(row):
            rows.append(row)
            right.append(rest)
    ends = []
    for sign in (1.0, -1.0):
        goal = [sign if name == place else 0.0 for name in hidden]
        found = linprog(goal, A_eq=rows or None, b_eq=right or None, bounds=[(0, None)] * len(hidden))
        ends.append(sign * found.fun if found.status == 0 else float("inf"))
    return ends[0], ends[1]


@pytest.mark.parametrize("threshold", [10, 2_400, 2_700, 3_500, 5_000])
def test_no_hidden_number_of_the_demo_can_be_worked_out(summaries, threshold):
    hidden_at_all = 0
    for whole in summaries:
        shown = protected(whole, threshold)
        places = {name for total, parts in RELATIONS for name in (total, *parts)}
        known = {place: printed(shown, place) for place in places}
        for place in (name for name, value in known.items() if value is None):
            hidden_at_all += 1
            low, high = bounds(known, place)
            truth = printed(whole, place)
            assert low <= truth <= high
            assert high - low >= threshold - 2, (place, low, high)
    assert hidden_at_all or threshold == 10, "a test that hides nothing shows nothing"


def test_the_attack_finds_what_one_hidden_part_gives_away(summaries):
    whole = summaries[0]
    places = {name for total, parts in RELATIONS for name in (total, *parts)}
    known = {place: printed(whole, place) for place in places}
    known["attendances_by_sex", 0, 1] = None
    low, high = bounds(known, ("attendances_by_sex", 0, 1))
    assert low == high == printed(whole, ("attendances_by_sex", 0, 1))
