"""All files of the exchange format, in loading order: what stands where, then what happened."""

from __future__ import annotations

from tracker.records.columns import Table
from tracker.records.tables_evidence import EVIDENCE
from tracker.records.tables_facts import HAPPENED
from tracker.records.tables_ledger import LEDGER
from tracker.records.tables_orders import ORDERS
from tracker.records.tables_restock import RESTOCK
from tracker.records.tables_rounds import ROADS
from tracker.records.tables_setup import SETUP
from tracker.records.tables_water import WATER_HAPPENED, WATER_SETUP

FILES: tuple[Table, ...] = (
    SETUP + RESTOCK + ORDERS + ROADS + WATER_SETUP + EVIDENCE + HAPPENED + LEDGER + WATER_HAPPENED
)
