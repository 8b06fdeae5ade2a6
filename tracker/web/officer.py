"""The officer's door: what needs me today, reading sheets, what was phoned in, jobs for the engineer."""

from __future__ import annotations

from tracker.web import (
    officer_acts,
    officer_evidence,
    officer_money,
    officer_orders,
    officer_restock,
    officer_round,
    officer_round_acts,
    officer_sheet,
    officer_stock,
    officer_stock_acts,
    officer_today,
)
from tracker.web.officer_today import bp

__all__ = [
    "bp",
    "officer_acts",
    "officer_evidence",
    "officer_money",
    "officer_orders",
    "officer_restock",
    "officer_round",
    "officer_round_acts",
    "officer_sheet",
    "officer_stock",
    "officer_stock_acts",
    "officer_today",
]
