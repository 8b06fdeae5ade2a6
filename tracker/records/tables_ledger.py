"""Files of the exchange format about the ledger's cash: coin boxes of machines that sell."""

from __future__ import annotations

from tracker import models as m
from tracker.records.columns import REF, UNIT, Table, day, text, whole

LEDGER: tuple[Table, ...] = (
    Table(
        "coin_emptyings",
        m.ledger.CoinEmptying,
        "Coin boxes emptied, counted by two of the staff.",
        ("ref",),
        (
            REF,
            day("day"),
            whole("counter_value", 0, required=False, doc="the vend counter's digits; blank: nobody read it"),
            whole("cash_minor", 0, 100_000_000, doc="coins found, in minor units"),
            text("first_name", 80, doc="who counted"),
            text("second_name", 80, doc="who counted with them, somebody else"),
            text("note", 200, required=False),
        ),
        (UNIT,),
    ),
)
