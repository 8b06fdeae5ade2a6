"""Every headline of the demo's reports opens to sums whose formula gives exactly what is printed (arithmetic)."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from tests.demo_file import prepared
from tracker.db import make_engine
from tracker.demo_data import DEMO_NOW
from tracker.reports import build, opened
from tracker.reports.printing import bare

NO_RECORD = {"school": {"unexplained_water_l", "burns"}}  # OL-03 has no meter and buries: nothing stands behind them
CONSTANT = 2.995732  # ln 20, where no failure was recorded


@pytest.fixture(scope="module")
def session():
    engine = make_engine(f"sqlite:///{prepared()}")
    with Session(engine) as found:
        yield found
    engine.dispose()


@pytest.mark.parametrize("term", ["2025-T1", "2025-T2"])
@pytest.mark.parametrize("kind", ["school", "programme", "impact"])
def test_the_opened_records_give_every_headline_as_it_is_printed(session, kind, term):
    made = build.by_code(session, kind, term, now=DEMO_NOW, school_code="OL-03" if kind == "school" else None)
    closed = set()
    for line in made.lines():
        found = opened.headline(made, line.key)
        if found is None:
            closed.add(line.key)
            continue
        totals = [float(sum(part.digits for part in one.parts)) for one in found.sums]
        divisor = totals[1] if len(totals) > 1 else CONSTANT if found.sums[0].key else 1.0
        assert bare(totals[0] / divisor, line.figure.unit) == bare(line.figure.value, line.figure.unit), line.key
    assert closed == NO_RECORD.get(kind, set())
