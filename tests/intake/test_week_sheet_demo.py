"""Every sheet of the demo opens on screen and would be sent again exactly as it came in by the folder."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import select

from tests.demo_file import copy_to
from tracker.db import make_engine, reading
from tracker.intake import week_sheet
from tracker.intake.week_source import plan_for
from tracker.models.sheets import WeekSheet
from tracker.records import sheets
from tracker.web.week_view import version_cells


@pytest.fixture(scope="module")
def looking(tmp_path_factory):
    engine = make_engine(f"sqlite:///{copy_to(tmp_path_factory.mktemp('demo'))}")
    with reading(engine) as session:
        yield session
    engine.dispose()


def plain(payload) -> dict[str, list[list[tuple[str, str]]]]:
    """Rows by table without blank columns, in a steady order."""
    tables = {name: rows for name, rows in payload.items() if isinstance(rows, list) and rows}
    return {
        name: sorted(sorted((column, text) for column, text in row.items() if text) for row in rows)
        for name, rows in tables.items()
    }


def test_each_school_s_last_sheets_come_back_row_by_row_and_are_refused_nowhere(looking):
    # Outside check: the rows are those of seed_data/*.csv, read in by the folder loader, not by the form.
    seen = set()
    for sheet in looking.scalars(select(WeekSheet).where(WeekSheet.week >= date(2026, 5, 1)).order_by(WeekSheet.id)):
        context, plan = plan_for(looking, sheet.school_id, sheet.week)
        payload = sheets.find_payload(looking, sheet.school_id, sheet.week)
        cells, kept = version_cells(plan, payload)
        checked = week_sheet.check(context, week_sheet.sheet_of(plan, cells), cells, kept)
        assert plain(checked.facts.rows) == plain(payload), (sheet.school_id, sheet.week)
        assert checked.refusals == []
        seen |= set(payload)
    assert {"usage_counts", "readings", "outages", "sightings", "stock_moves", "attendance", "bell_counts"} <= seen
