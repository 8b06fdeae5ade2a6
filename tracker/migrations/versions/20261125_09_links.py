"""Links to published reports, and baselines."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db

revision = "20261125_09"
down_revision = "20261125_08"
branch_labels = None
depends_on = None

BASES = ("counted", "metered", "sampled", "modelled", "estimated")


def upgrade() -> None:
    op.create_table(
        "share_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("publication_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=60), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("expires_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("ended_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.CheckConstraint("expires_at > made_at", name=op.f("ck_share_link_expires")),
        sa.ForeignKeyConstraint(["publication_id"], ["publication.id"], name=op.f("fk_share_link_publication_id")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_share_link_made_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_share_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_share_link_token_hash")),
    )
    op.create_index(op.f("ix_share_link_publication_id"), "share_link", ["publication_id"])
    op.create_table(
        "baseline",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("figure", sa.String(length=60), nullable=False),
        sa.Column("thousandths", sa.Integer(), nullable=False),
        sa.Column("measured_on", sa.Date(), nullable=False),
        sa.Column(
            "basis",
            sa.Enum(*BASES, name="basis", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("note", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_baseline_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_baseline")),
        sa.UniqueConstraint(
            "programme_id", "figure", "measured_on", name=op.f("uq_baseline_programme_id_figure_measured_on")
        ),
    )


def downgrade() -> None:
    op.drop_table("baseline")
    op.drop_table("share_link")
