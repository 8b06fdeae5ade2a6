"""Trials declared ahead, spot checks by somebody else, and shares of grants."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db
from tracker.migrations import triggers

revision = "20261125_02"
down_revision = "20261125_01"
branch_labels = None
depends_on = None

FROZEN = ("spot_draw", "spot_check")


def upgrade() -> None:
    op.create_table(
        "funding_grant",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("funder", sa.String(length=80), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_funding_grant_order")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_funding_grant_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_funding_grant")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_funding_grant_programme_id_code")),
    )
    op.create_table(
        "trial",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("question", sa.String(length=200), nullable=False),
        sa.Column(
            "fitting",
            sa.Enum(
                "flush_fixed",
                "flush_two_stage",
                "flush_pour",
                "flush_none",
                "vacuum",
                "pre_wash",
                "floor_wash",
                "tap",
                name="fittingkind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "measure",
            sa.Enum(
                "litres per visit",
                "availability",
                "outages per 1,000 visits",
                "cost per visit",
                name="measure",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "better",
            sa.Enum("lower", "higher", name="better", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("at_least_thousandths", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=False),
        sa.Column("declared_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("declared_by", sa.String(length=80), nullable=False),
        sa.CheckConstraint("at_least_thousandths >= 0", name=op.f("ck_trial_at_least")),
        sa.CheckConstraint("until_day >= from_day", name=op.f("ck_trial_order")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_trial_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_trial_programme_id_code")),
    )
    op.create_table(
        "spot_draw",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("drawn_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("drawn_by", sa.String(length=80), nullable=False),
        sa.Column("salt", sa.String(length=64), nullable=False),
        sa.Column("schools", sa.Integer(), nullable=False),
        sa.Column("figures_each", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=200), nullable=False),
        sa.CheckConstraint("number = 1 OR length(reason) > 0", name=op.f("ck_spot_draw_reason")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_spot_draw_number")),
        sa.CheckConstraint("schools >= 1 AND figures_each >= 1", name=op.f("ck_spot_draw_size")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_spot_draw_programme_id")),
        sa.ForeignKeyConstraint(["term_id"], ["term.id"], name=op.f("fk_spot_draw_term_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spot_draw")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_spot_draw_programme_id_code")),
        sa.UniqueConstraint("term_id", "number", name=op.f("uq_spot_draw_term_id_number")),
    )
    op.create_table(
        "grant_share",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("grant_id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("permille", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("permille BETWEEN 1 AND 1000", name=op.f("ck_grant_share_permille")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_grant_share_order")),
        sa.ForeignKeyConstraint(["grant_id"], ["funding_grant.id"], name=op.f("fk_grant_share_grant_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_grant_share_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grant_share")),
        sa.UniqueConstraint(
            "grant_id", "school_id", "from_day", name=op.f("uq_grant_share_grant_id_school_id_from_day")
        ),
    )
    with op.batch_alter_table("grant_share", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_grant_share_school_id"), ["school_id"], unique=False)

    op.create_table(
        "spot_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("draw_id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column(
            "figure",
            sa.Enum(
                "visits tallied",
                "burns started",
                "napkins left",
                "machine days sold out",
                "minutes of lessons",
                name="spotfigure",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("reported", sa.Integer(), nullable=False),
        sa.CheckConstraint("reported >= 0", name=op.f("ck_spot_check_reported")),
        sa.ForeignKeyConstraint(["draw_id"], ["spot_draw.id"], name=op.f("fk_spot_check_draw_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_spot_check_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spot_check")),
        sa.UniqueConstraint("draw_id", "school_id", "figure", name=op.f("uq_spot_check_draw_id_school_id_figure")),
    )
    with op.batch_alter_table("spot_check", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_spot_check_school_id"), ["school_id"], unique=False)

    op.create_table(
        "spot_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("found", sa.Integer(), nullable=False),
        sa.Column("checked_by", sa.String(length=80), nullable=False),
        sa.Column("checker_role", sa.String(length=80), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("found >= 0", name=op.f("ck_spot_answer_found")),
        sa.ForeignKeyConstraint(["check_id"], ["spot_check.id"], name=op.f("fk_spot_answer_check_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spot_answer")),
        sa.UniqueConstraint("check_id", name=op.f("uq_spot_answer_check_id")),
    )
    op.create_table(
        "trial_unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column(
            "side",
            sa.Enum("fitted", "comparison", name="trialside", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name=op.f("fk_trial_unit_trial_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_trial_unit_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trial_unit")),
        sa.UniqueConstraint("trial_id", "unit_id", name=op.f("uq_trial_unit_trial_id_unit_id")),
    )
    triggers.freeze(FROZEN)


def downgrade() -> None:
    triggers.thaw(FROZEN)
    op.drop_table("trial_unit")
    op.drop_table("spot_answer")
    with op.batch_alter_table("spot_check", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_spot_check_school_id"))

    op.drop_table("spot_check")
    with op.batch_alter_table("grant_share", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_grant_share_school_id"))

    op.drop_table("grant_share")
    op.drop_table("spot_draw")
    op.drop_table("trial")
    op.drop_table("funding_grant")
