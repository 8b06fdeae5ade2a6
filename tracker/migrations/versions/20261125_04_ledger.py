"""Balances that guard the ledger, and what a coin box held."""

from __future__ import annotations

revision = "20261125_04"
down_revision = "20261125_03"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
