"""Every module of measures runs in the large benchmark, or is named here with the reason why it does not."""

from __future__ import annotations

import sys
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.bench.bench_measures import STEPS
from tests.bench.big import build
from tests.bench.measured import Clock, Read, core
from tracker import measures
from tracker.db import make_engine, reading

FOLDER = Path(measures.__file__).parent
PLAN = "plans one restocking round, not a term"
TABLE = "hides small numbers in one table that leaves the programme; tables do not grow with schools"
SHAPES = "times per visit of another shape, asked for one break at a time"
APART = {
    "burst_gamma": SHAPES,
    "burst_times": SHAPES,
    "clusters": "whole schools are drawn from twenty schools on; this test has three",
    "coins": PLAN,
    "disclosure": TABLE,
    "disclosure_bounds": TABLE,
    "disclosure_document": TABLE,
    "disclosure_exact": TABLE,
    "feed_counter": "runs a device's counter on, reading by reading, when they come in",
    "steady": "a queue in balance from three numbers",
    "supplier_order": "says what to order from a supplier on one day; it grows with products, not with schools",
    "travel": PLAN,
    "urgency": PLAN,
}
PLANNING = ("restock", "stops")  # modules whose names begin so plan a round


@pytest.fixture
def run(tmp_path: Path) -> set[str]:
    """Names of the modules in which a function ran, over a term of three schools."""
    engine = make_engine(f"sqlite:///{tmp_path / 'small.db'}")
    build(engine, 3)
    seen: set[str] = set()

    def note(frame: FrameType, event: str, _: Any) -> None:
        path = Path(frame.f_code.co_filename)
        if event == "call" and path.parent == FOLDER and frame.f_code.co_name != "<module>":
            seen.add(path.stem)

    with reading(engine) as session:
        sys.setprofile(note)
        try:
            read = Read(session, Clock())
            made = core(read, Clock())
            for step in STEPS:
                step(read, made, Clock())
        finally:
            sys.setprofile(None)
    engine.dispose()
    return seen


def test_no_measure_is_left_out_of_the_large_benchmark(run: set[str]) -> None:
    there = {path.stem for path in FOLDER.glob("*.py")} - {"__init__"}
    planning = {name for name in there if name.startswith(PLANNING)}
    assert there - run - planning == set(APART)
