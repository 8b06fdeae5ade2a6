"""How complete, timely and settled the records are that every other figure rests on. Frames as in DEVELOPERS.md.

Only school-weeks with a school day can have a sheet, and only those count whose sheet was due by the report's
instant. A draft is a payload, not a record: it never counts.
"""

from __future__ import annotations

from datetime import datetime

import pandas as pd

from tracker.measures.figure import Figure, not_recorded
from tracker.vocabulary import Basis, SheetState

RECEIVED = (SheetState.SENT.value, SheetState.QUERIED.value, SheetState.ACCEPTED.value)
SHEET_SUMS = ["expected", "received", "on_time"]


def due_sheets(sheets: pd.DataFrame, as_of: datetime) -> pd.DataFrame:
    """The school-weeks that count, with what became of their sheet.

    Args:
        sheets: school_id, week, state (empty: nothing begun), first_sent, due (instants, UTC), expected.
        as_of: weeks due after this instant are left out, also those already sent, so that early sheets do not
            make the share look better than it is.
    Returns:
        The rows with ``expected`` 1, ``received`` (state sent, queried or accepted) and ``on_time`` (received, and
        first sent no later than due) as 0 or 1.
    """
    rows = sheets[sheets["expected"].astype(bool) & (sheets["due"] <= pd.Timestamp(as_of))]
    received = rows["state"].isin(RECEIVED)
    on_time = received & (rows["first_sent"] <= rows["due"])
    return rows.assign(expected=1, received=received.astype("int64"), on_time=on_time.astype("int64"))


def completeness(sheets: pd.DataFrame, as_of: datetime) -> Figure:
    """Week sheets received ÷ expected; no value where none was due yet. For the columns see ``due_sheets``."""
    return _share(due_sheets(sheets, as_of), "received")


def timeliness(sheets: pd.DataFrame, as_of: datetime) -> Figure:
    """Week sheets first sent by their due instant ÷ expected (a missing sheet is not on time)."""
    return _share(due_sheets(sheets, as_of), "on_time")


def _share(due: pd.DataFrame, column: str) -> Figure:
    if due.empty:
        return not_recorded("share", Basis.COUNTED)
    expected = len(due)
    share = int(due[column].sum()) / expected
    return Figure(share, "share", Basis.COUNTED, used=int(due["received"].sum()), expected=expected)


def sheet_table(sheets: pd.DataFrame, as_of: datetime, by: str = "week") -> pd.DataFrame:
    """Sheets by "week" or "school_id".

    Returns:
        The ``by`` column, expected, received, on_time, received_share, on_time_share, used and basis. Groups of
        which nothing was due are absent.
    """
    table = due_sheets(sheets, as_of).groupby(by, as_index=False)[SHEET_SUMS].sum()
    return table.assign(
        received_share=table["received"] / table["expected"],
        on_time_share=table["on_time"] / table["expected"],
        used=table["received"],
        basis=Basis.COUNTED.value,
    )


def open_queries(queries: pd.DataFrame) -> Figure:
    """Queries not yet answered, of all that were raised; 0 is a count, for the list of queries is always whole.

    Args:
        queries: school_id, week, open.
    """
    raised = len(queries)
    return Figure(
        value=int(queries["open"].astype(bool).sum()),
        unit="queries",
        basis=Basis.COUNTED,
        used=raised,
        expected=raised,
        records="queries",
    )


def query_table(queries: pd.DataFrame, by: str = "school_id") -> pd.DataFrame:
    """Queries by "school_id" or "week": the ``by`` column, raised, open, used, basis; without any, absent."""
    rows = queries.assign(raised=1, open=queries["open"].astype(bool).astype("int64"))
    table = rows.groupby(by, as_index=False)[["raised", "open"]].sum()
    return table.assign(used=table["raised"], basis=Basis.COUNTED.value)


def meter_agreement(agreeing: int, compared: int, possible: int) -> Figure:
    """Share of meter-weeks in which meter and model agree, of those that could be compared.

    Args:
        agreeing: meter-weeks whose unexplained litres lie within their 95 % range (water measure).
        compared: meter-weeks with both a metered and a modelled quantity.
        possible: meter-weeks whose meter says what it serves, compared or not.
    Raises:
        ValueError: not 0 ≤ agreeing ≤ compared ≤ possible.

    >>> meter_agreement(9, 12, 15).value
    0.75
    """
    if not 0 <= agreeing <= compared <= possible:
        raise ValueError(f"agreeing, compared and possible do not fit: {agreeing}, {compared}, {possible}")
    if compared == 0:
        return not_recorded("share", Basis.METERED, expected=possible, records="meter-weeks")
    return Figure(agreeing / compared, "share", Basis.METERED, used=compared, expected=possible, records="meter-weeks")
