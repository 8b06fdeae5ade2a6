"""The exchange format: one CSV file per kind of record, its columns, keys and links. Order is loading order.

The demo folder, the table schemas in ``datapackage.json`` and ``docs/exchange.md`` are all made from these lines.
A column is filled from the cell; a link is resolved from one or more columns to a row of an earlier file.
"""

from __future__ import annotations

from tracker.records.columns import Column, Link, Table
from tracker.records.tables import FILES

__all__ = ["BY_NAME", "TABLES", "Column", "Link", "Table"]

TABLES: tuple[Table, ...] = FILES

BY_NAME = {table.name: table for table in TABLES}
