"""Trials declared ahead, spot checks by somebody else, and shares of grants."""

from __future__ import annotations

revision = "20261125_02"
down_revision = "20261125_01"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
