"""Links to published reports, and baselines."""

from __future__ import annotations

revision = "20261125_09"
down_revision = "20261125_08"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
