"""Rounds as they are driven: vehicle-days, stops, loads and hand-overs."""

from __future__ import annotations

revision = "20261125_06"
down_revision = "20261125_05"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
