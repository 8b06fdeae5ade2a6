"""Counting devices that send readings by themselves."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db

revision = "20261125_08"
down_revision = "20261125_07"
branch_labels = None
depends_on = None

SIGNALS = ("water", "visits", "long_visits", "vends", "energy", "level", "low water", "fault")
CAUSES = (
    *("broken", "drain blocked", "low water", "no power", "locked", "dirty", "danger", "planned work", "sold out"),
    "not known",
)


def _words(name: str, words: tuple[str, ...]) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=24)


def upgrade() -> None:
    op.create_table(
        "channel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("signal", _words("signal", SIGNALS), nullable=False),
        sa.Column("cause", _words("cause", CAUSES), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_channel_order")),
        sa.CheckConstraint("(signal = 'fault') = (cause IS NOT NULL)", name=op.f("ck_channel_fault_cause")),
        sa.CheckConstraint(
            "cause IS NULL OR cause NOT IN ('danger', 'planned work', 'sold out')", name=op.f("ck_channel_cause_kind")
        ),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_channel_school_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_channel_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel")),
        sa.UniqueConstraint("school_id", "name", name=op.f("uq_channel_school_id_name")),
    )
    op.create_table(
        "channel_unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["channel_id"], ["channel.id"], name=op.f("fk_channel_unit_channel_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_channel_unit_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel_unit")),
        sa.UniqueConstraint("channel_id", "unit_id", name=op.f("uq_channel_unit_channel_id_unit_id")),
    )
    op.create_table(
        "feed_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=60), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("ended_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_feed_token_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feed_token")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_feed_token_token_hash")),
    )
    op.create_index(op.f("ix_feed_token_school_id"), "feed_token", ["school_id"])
    op.create_table(
        "device_counter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("until_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("highest", sa.BigInteger(), nullable=False),
        sa.Column("after_turn", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("highest >= 0", name=op.f("ck_device_counter_highest")),
        sa.CheckConstraint("after_turn IS NULL OR after_turn <= highest", name=op.f("ck_device_counter_after_turn")),
        sa.ForeignKeyConstraint(["channel_id"], ["channel.id"], name=op.f("fk_device_counter_channel_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device_counter")),
        sa.UniqueConstraint("channel_id", "until_at", name=op.f("uq_device_counter_channel_id_until_at")),
    )
    op.create_table(
        "device_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("on", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["channel_id"], ["channel.id"], name=op.f("fk_device_state_channel_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device_state")),
        sa.UniqueConstraint("channel_id", "at", name=op.f("uq_device_state_channel_id_at")),
    )


def downgrade() -> None:
    for table in ("device_state", "device_counter", "feed_token", "channel_unit", "channel"):
        op.drop_table(table)
