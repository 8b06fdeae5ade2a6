"""Orders to suppliers and what was received of them."""

from __future__ import annotations

revision = "20261125_07"
down_revision = "20261125_06"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
