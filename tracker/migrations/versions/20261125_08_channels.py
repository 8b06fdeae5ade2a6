"""Counting devices that send readings by themselves."""

from __future__ import annotations

revision = "20261125_08"
down_revision = "20261125_07"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
