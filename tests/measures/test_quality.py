"""Completeness and timeliness of week sheets, counted by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pandas as pd
import pytest

from tracker.measures.quality import (
    completeness,
    due_sheets,
    meter_agreement,
    open_queries,
    query_table,
    sheet_table,
    timeliness,
)
from tracker.vocabulary import Basis

WEEK = date(2026, 1, 12)
AS_OF = datetime(2026, 2, 1, tzinfo=UTC)


def make_sheets(*rows):
    """Rows of (school_id, week number, state, hours that it was sent after it was due or None, expected).

    A week's sheet is due a week after its first day, at 12:00.
    """
    due = [pd.Timestamp(WEEK, tz="UTC") + pd.Timedelta(weeks=row[1] + 1) + pd.Timedelta(hours=12) for row in rows]
    sent = [
        pd.NaT if row[3] is None else when + pd.Timedelta(hours=row[3]) for row, when in zip(rows, due, strict=True)
    ]
    return pd.DataFrame(
        {
            "school_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "week": pd.Series([WEEK + timedelta(weeks=row[1]) for row in rows], dtype="datetime64[us]"),
            "state": pd.Series([row[2] for row in rows], dtype="str"),
            "version": pd.Series([1] * len(rows), dtype="int64"),
            "first_sent": pd.Series(sent, dtype="datetime64[us, UTC]"),
            "due": pd.Series(due, dtype="datetime64[us, UTC]"),
            "expected": pd.Series([row[4] for row in rows], dtype="bool"),
        }
    )


SHEETS = make_sheets(
    (1, 0, "accepted", -1, True),
    (1, 1, "sent", 0, True),  # in the very minute: on time
    (2, 0, "queried", 1, True),  # late
    (2, 1, "draft", None, True),  # a draft never counts
    (3, 0, None, None, True),  # nothing begun
    (3, 1, None, None, False),  # no school that week: no sheet to expect
    (1, 9, "sent", -900, True),  # due after the report
)


def test_sheets_received_of_those_due():
    found = completeness(SHEETS, AS_OF)
    assert found.value == pytest.approx(3 / 5)
    assert (found.used, found.expected, found.records, found.unit) == (3, 5, "school-weeks", "share")
    assert found.basis is Basis.COUNTED


def test_a_sheet_is_on_time_when_it_was_first_sent_by_its_due_instant():
    found = timeliness(SHEETS, AS_OF)
    assert found.value == pytest.approx(2 / 5)
    assert (found.used, found.expected) == (3, 5)


def test_a_draft_that_was_sent_once_is_still_a_draft():
    sheets = make_sheets((1, 0, "draft", -1, True))
    assert due_sheets(sheets, AS_OF)[["received", "on_time"]].values.tolist() == [[0, 0]]


def test_before_anything_is_due_nothing_is_complete_or_late():
    early = datetime(2026, 1, 13, tzinfo=UTC)
    assert completeness(SHEETS, early).value is None
    assert timeliness(SHEETS, early).value is None
    assert sheet_table(SHEETS, early).empty


def test_sheets_by_week_and_by_school():
    weeks = sheet_table(SHEETS, AS_OF)
    assert weeks[["expected", "received", "on_time"]].values.tolist() == [[3, 2, 1], [2, 1, 1]]
    schools = sheet_table(SHEETS, AS_OF, by="school_id")
    assert schools["received_share"].tolist() == [1, 0.5, 0]
    assert schools["on_time_share"].tolist() == [1, 0, 0]
    assert schools["expected"].sum() == weeks["expected"].sum() == completeness(SHEETS, AS_OF).expected


def make_queries(*rows):
    return pd.DataFrame(
        {
            "school_id": pd.Series([row[0] for row in rows], dtype="int64"),
            "week": pd.Series([WEEK for _ in rows], dtype="datetime64[us]"),
            "open": pd.Series([row[1] for row in rows], dtype="bool"),
        }
    )


def test_open_queries_of_those_raised():
    queries = make_queries((1, True), (1, False), (2, False))
    found = open_queries(queries)
    assert (found.value, found.used, found.expected, found.unit) == (1, 3, 3, "queries")
    assert query_table(queries)[["school_id", "raised", "open"]].values.tolist() == [[1, 2, 1], [2, 1, 0]]


def test_no_query_raised_is_none_open():
    assert open_queries(make_queries()).value == 0
    assert query_table(make_queries()).empty


def test_meters_that_agree_of_those_compared():
    found = meter_agreement(9, 12, 15)
    assert (found.value, found.used, found.expected, found.records) == (0.75, 12, 15, "meter-weeks")
    assert meter_agreement(0, 0, 4).value is None
    assert meter_agreement(0, 0, 4).expected == 4


@pytest.mark.parametrize("counts", [(-1, 2, 3), (3, 2, 3), (1, 4, 3)])
def test_counts_of_meters_that_do_not_fit_are_refused(counts):
    with pytest.raises(ValueError, match="do not fit"):
        meter_agreement(*counts)
