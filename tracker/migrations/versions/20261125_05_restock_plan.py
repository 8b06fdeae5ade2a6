"""What a restocking plan needs to know of products, vehicles and schools."""

from __future__ import annotations

revision = "20261125_05"
down_revision = "20261125_04"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass


def downgrade() -> None:
    pass
