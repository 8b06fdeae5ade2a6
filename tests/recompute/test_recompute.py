"""The school term report against a second, plain working-out from the CSV files, to the last printed digit.

``plain.py`` shares no code with the project. Both read ``seed_data/``; the report through the loaded database.

Not covered: estimates and models beside the headlines, the sentences of "next steps", notes, charts' titles and
drawings, parts by school and week. Queries are in no file: a queried sheet counts as one that is open.
"""

from __future__ import annotations

import ast
import math
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from tests.demo_file import copy_to
from tests.recompute.files import Fig
from tests.recompute.plain import Recomputed, recompute
from tracker import paths
from tracker.db import make_engine
from tracker.demo_data import DEMO_NOW
from tracker.measures.figure import Figure
from tracker.reports import build
from tracker.reports.printing import bare, print_figure
from tracker.reports.report import Report, Table
from tracker.vocabulary import Basis

HERE = Path(__file__).parent
# Counters, two-stage flushes, floor washes, a meter; drawn breaks, pour-flush, burial; every break, a meter.
# Term 1 begins with the dials; term 2 has ended; term 3 still runs on the demo's day.
CASES = [(school, term) for school in ("OL-01", "OL-03", "OL-11") for term in ("2025-T1", "2025-T2", "2025-T3")]
# A permit gap and a query; a meter exchange and counted taps; two shifts; a dial that rolls over and a maker's claim;
# low water at six cabins; four silent weeks; a week's total; a vacuum fitting in mid-week; a unit added.
CASES += [("OL-02", "2025-T3"), ("OL-04", "2025-T2"), ("OL-05", "2025-T3"), ("OL-06", "2025-T3"), ("OL-07", "2025-T3")]
CASES += [("OL-08", "2025-T2"), ("OL-09", "2025-T2"), ("OL-10", "2025-T2"), ("OL-12", "2025-T2")]
WORDS = {"next_steps"}  # sentences
TWICE = {"in_short"}  # headlines once more
# Estimates and models that stand beside the headlines; tests/reports/test_deeper.py works them out by hand.
BESIDE = {"visits_estimate", "visits_by_sex", "crowded_groups", "crowded_worst", "cabins_needed", "fixture_norms"}
BESIDE |= {"water_norms", "time_to_restore", "restore_by_cause", "restore_by_kind", "restore_by_fitting"}
BESIDE |= {"service_visits", "demand", "need", "need_assumptions", "knowledge"}
BESIDE |= {"stock_balanced", "stock_balance", "menstrual_items"}
# Where the school has such things; tests/reports/test_water_energy.py works them out by hand.
SOMETIMES = {"tank_levels", "water_sources", "tank_balance", "cleaning_water", "hand_flushes"}
SOMETIMES |= {"energy_by_part", "energy_meters", "burns_rated", "napkins_burnt", "burn_outputs", "used_bins"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    """The demo, as ``washbell load`` made it."""
    engine = make_engine(f"sqlite:///{copy_to(tmp_path_factory.mktemp('recompute'))}")
    yield engine
    engine.dispose()


_PLAIN: dict[tuple[str, str], Recomputed] = {}


def plainly(school: str, term: str) -> Recomputed:
    """The second working-out, once for each report."""
    if (school, term) not in _PLAIN:
        _PLAIN[school, term] = recompute(paths.seed_data(), school, term, DEMO_NOW)
    return _PLAIN[school, term]


_SHOWN: dict[tuple[str, str], Report] = {}


def report_of(demo: Engine, school: str, term: str) -> Report:
    """The report as pages and the command build it, once for each school and term."""
    if (school, term) not in _SHOWN:
        with Session(demo) as session:
            _SHOWN[school, term] = build.by_code(session, "school", term, school_code=school, now=DEMO_NOW)
    return _SHOWN[school, term]


def as_printed(figure: Figure) -> tuple[str, ...]:
    printed = print_figure(figure)
    return printed.value, printed.interval, printed.basis, printed.completeness


def same_unit(plain: Fig, shown: Figure) -> Figure:
    """The plain figure in the unit and with the kind of record of the report's, so that both print alike."""
    low_high = (plain.low, plain.high)
    basis = Basis(plain.basis)
    return Figure(plain.value, shown.unit, basis, *low_high, plain.used, plain.expected, shown.records)


def close(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=1e-7, abs_tol=1e-7)


def agrees(shown: Any, plain: Any, unit: str) -> bool:
    """Whether a cell of the report and of the plain working-out print alike, and are equal far beyond that."""
    if isinstance(shown, Figure):
        if not isinstance(plain, Fig) or as_printed(shown) != as_printed(same_unit(plain, shown)):
            return False
        numbers = zip((shown.value, shown.low, shown.high), plain[:3], strict=True)
        return all(close(*pair) for pair in numbers) and (shown.used, shown.expected) == (plain.used, plain.expected)
    if isinstance(shown, float):
        return bare(shown, unit) == bare(plain, unit) and close(shown, plain)
    return bool(shown == plain)


def differing_cells(table: Table, rows: list[tuple[Any, ...]]) -> list[Any]:
    assert len(table.rows) == len(rows), (table.key, table.rows, rows)
    return [
        (table.key, column.key, shown, plain)
        for cells, own in zip(table.rows, rows, strict=True)
        for column, shown, plain in zip(table.columns, cells, own, strict=True)
        if not agrees(shown, plain, column.unit)
    ]


@pytest.mark.parametrize(("school", "term"), CASES)
def test_every_headline_agrees_to_the_last_printed_digit(demo: Engine, school: str, term: str) -> None:
    report, plain = report_of(demo, school, term), plainly(school, term)
    assert sorted(line.key for line in report.lines()) == sorted(plain.lines)
    differing = [
        (line.key, line.figure, plain.lines[line.key])
        for line in report.lines()
        if not agrees(line.figure, plain.lines[line.key], line.figure.unit)
    ]
    assert not differing


@pytest.mark.parametrize(("school", "term"), CASES)
def test_every_cell_of_every_table_agrees_to_the_last_printed_digit(demo: Engine, school: str, term: str) -> None:
    report, plain = report_of(demo, school, term), plainly(school, term)
    tables = {table.key: table for table in report.tables()}
    assert set(tables) - WORDS - TWICE - BESIDE - SOMETIMES == set(plain.tables)
    assert set(tables) >= BESIDE
    assert not [cell for key, rows in plain.tables.items() for cell in differing_cells(tables[key], rows)]


def test_the_table_in_short_shows_this_term_and_the_last(demo: Engine) -> None:
    report = report_of(demo, "OL-01", "2025-T3")
    now, last = plainly("OL-01", "2025-T3").lines, plainly("OL-01", "2025-T2").lines
    keys = {line.label: line.key for line in report.lines()}
    table = next(table for table in report.tables() if table.key == "in_short")
    rows = [(label, now[keys[label]], last[keys[label]], "no target was set") for label, *_ in table.rows]
    assert len(rows) == 9
    assert not differing_cells(table, rows)


def test_the_period_is_the_term_or_its_part_up_to_the_report(demo: Engine) -> None:
    assert report_of(demo, "OL-01", "2025-T2").last_day == date(2026, 4, 3)
    assert report_of(demo, "OL-01", "2025-T3").last_day == date(2026, 7, 15)


def test_the_plain_working_out_imports_nothing_of_the_project() -> None:
    files = [path for path in HERE.glob("*.py") if not path.name.startswith("test_")]
    assert len(files) > 5
    for path in files:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                own = name == "tests.recompute" or name.startswith("tests.recompute.")
                assert own or name.split(".")[0] in sys.stdlib_module_names, (path.name, name)


def test_the_plain_working_out_reads_the_files(tmp_path: Path) -> None:
    # The last reading of term 2 of one counter, one visit higher: one visit more.
    for file in paths.seed_data().glob("*.csv"):
        (tmp_path / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    readings = tmp_path / "readings.csv"
    lines = readings.read_text(encoding="utf-8").splitlines()
    place = max(n for n, text in enumerate(lines) if text.startswith("OL-01,U2,visits,tally,2026-04-0"))
    cells = lines[place].split(",")
    cells[5] = str(int(cells[5]) + 1)
    lines[place] = ",".join(cells)
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    before, after = plainly("OL-01", "2025-T2"), recompute(tmp_path, "OL-01", "2025-T2", DEMO_NOW)
    assert before.lines["visits"].value is not None
    assert after.lines["visits"].value == before.lines["visits"].value + 1
