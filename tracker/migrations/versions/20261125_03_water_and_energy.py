"""Tanks, cleaning plans, hand flushes, power and what an incinerator is rated for."""

from __future__ import annotations

revision = "20261125_03"
down_revision = "20261125_02"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
