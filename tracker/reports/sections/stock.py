"""Does the stock balance: what was there, came, was given on and was lost, against what was counted."""

from __future__ import annotations

from typing import Any

import pandas as pd

from tracker.measures.dials import rows_of
from tracker.measures.stock_balance import MOVES, Balance, balance_check, balanced_share
from tracker.reports.facts import TermFacts
from tracker.reports.report import Cell, Column, Table
from tracker.reports.rows import as_share, beside, count, counts, optional_day, words

NOTE = (
    "Counted and written down, from the last count before the term, or the first in it, to the last count in it. A gap "
    "says that something was not written down, not that somebody took something. Moves that only settle a count are "
    "left out. A machine without a counter gives out what is missing at its count, so it always balances."
)
PIECES = "pieces"


def stock_tables(facts: TermFacts, one_school: bool) -> tuple[Table, ...]:
    """How many stocks balance, and each place and product: of a school all, of the programme those that do not.

    Nothing where no place was counted.
    """
    spans = facts.all.stock_spans
    return () if spans.empty else facts.once("stock balance", lambda: _tables(spans, one_school))


def _tables(spans: pd.DataFrame, one_school: bool) -> tuple[Table, ...]:
    checked = balance_check(spans)
    share = as_share(balanced_share(checked))
    what: tuple[tuple[str, Cell], ...] = (("Places and products that balance, of those with every number", share),)
    in_all = beside("stock_balanced", "Stocks that balance", what, NOTE)
    shown = checked if one_school else checked[checked["state"] != Balance.BALANCED.value]
    note = "" if one_school else "Those that balance are not listed; a school's own report lists all of its own."
    title = "Stock from count to count, by place and product"
    rows = tuple(_cells(row) for row in rows_of(shown))
    return in_all, Table("stock_balance", title, _columns(), rows, note, "Every stock with all its numbers balances.")


def _columns() -> tuple[Column, ...]:
    moves = ("First count", "Came in", "Given on", "Lost", "Last count")
    return (
        words("place", "Place"),
        words("product", "Product"),
        words("from", "Counted on"),
        words("to", "and on"),
        *(counts(key, heading, PIECES) for key, heading in zip(MOVES, moves, strict=True)),
        counts("gap", "Counted less expected", PIECES),
        words("state", "The last count is"),
    )


def _cells(row: Any) -> tuple[Cell, ...]:
    days = (optional_day(row.first_day), optional_day(row.last_day))
    return (
        row.place,
        row.product,
        *days,
        *(count(getattr(row, name)) for name in (*MOVES, "gap")),
        row.state,
    )
