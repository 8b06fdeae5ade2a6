"""Tanks, cleaning plans, hand flushes, power and what an incinerator is rated for; what a lesson was about."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "20261125_03"
down_revision = "20261125_02"
branch_labels = None
depends_on = None

# Said as both databases understand it: a table made anew would take the rows that belong to it away (SQLite cascades).
KIND = (
    "ALTER TABLE awareness_session ADD COLUMN kind VARCHAR(24) CONSTRAINT ck_awareness_session_topickind "
    "CHECK (kind IN ('menstrual health', 'hand washing', 'toilet use', 'other'))"
)


def upgrade() -> None:
    op.create_table(
        "burn_output",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("ash_g", sa.Integer(), nullable=True),
        sa.Column("energy_wh", sa.Integer(), nullable=True),
        sa.CheckConstraint("ash_g >= 0", name=op.f("ck_burn_output_ash")),
        sa.CheckConstraint("ash_g IS NOT NULL OR energy_wh IS NOT NULL", name=op.f("ck_burn_output_something")),
        sa.CheckConstraint("energy_wh >= 0", name=op.f("ck_burn_output_energy")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_burn_output_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_burn_output")),
        sa.UniqueConstraint("unit_id", "week", name=op.f("uq_burn_output_unit_id_week")),
    )
    op.create_table(
        "cleaning_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("ml", sa.Integer(), nullable=False),
        sa.Column("times", sa.Integer(), nullable=False),
        sa.Column(
            "every",
            sa.Enum("school day", "week", name="every", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column(
            "litres_basis",
            sa.Enum("measured", "claim", name="litresbasis", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("u_permille", sa.Integer(), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("ml >= 0", name=op.f("ck_cleaning_plan_ml")),
        sa.CheckConstraint("times >= 1", name=op.f("ck_cleaning_plan_times")),
        sa.CheckConstraint("u_permille IS NULL OR u_permille BETWEEN 0 AND 1000", name=op.f("ck_cleaning_plan_u")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_cleaning_plan_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_cleaning_plan_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cleaning_plan")),
        sa.UniqueConstraint("unit_id", "name", "from_day", name=op.f("uq_cleaning_plan_unit_id_name_from_day")),
    )
    op.create_table(
        "energy_given",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("meter_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column(
            "origin",
            sa.Enum("solar", "recovered", name="energysource", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("wh", sa.Integer(), nullable=False),
        sa.Column("u_permille", sa.Integer(), nullable=False),
        sa.CheckConstraint("u_permille BETWEEN 0 AND 1000", name=op.f("ck_energy_given_u")),
        sa.CheckConstraint("wh >= 0", name=op.f("ck_energy_given_wh")),
        sa.ForeignKeyConstraint(["meter_id"], ["unit.id"], name=op.f("fk_energy_given_meter_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_energy_given")),
        sa.UniqueConstraint("meter_id", "week", "origin", name=op.f("uq_energy_given_meter_id_week_origin")),
    )
    op.create_table(
        "hand_flush",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("ml", sa.Integer(), nullable=False),
        sa.Column("share_permille", sa.Integer(), nullable=False),
        sa.Column("share_low_permille", sa.Integer(), nullable=False),
        sa.Column("share_high_permille", sa.Integer(), nullable=False),
        sa.Column("share_seen", sa.Boolean(), nullable=False),
        sa.Column("instead", sa.Boolean(), nullable=False),
        sa.Column(
            "litres_basis",
            sa.Enum("measured", "claim", name="litresbasis", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("u_permille", sa.Integer(), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("ml >= 0", name=op.f("ck_hand_flush_ml")),
        sa.CheckConstraint(
            "share_low_permille BETWEEN 0 AND share_permille AND share_permille <= share_high_permille AND share_high_permille <= 1000",
            name=op.f("ck_hand_flush_share"),
        ),
        sa.CheckConstraint("u_permille IS NULL OR u_permille BETWEEN 0 AND 1000", name=op.f("ck_hand_flush_u")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_hand_flush_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_hand_flush_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_flush")),
        sa.UniqueConstraint("unit_id", "from_day", name=op.f("uq_hand_flush_unit_id_from_day")),
    )
    op.create_table(
        "incinerator_rating",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("pads", sa.Integer(), nullable=True),
        sa.Column("grams", sa.Integer(), nullable=True),
        sa.Column("burns_a_day", sa.Integer(), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("burns_a_day > 0", name=op.f("ck_incinerator_rating_burns_a_day")),
        sa.CheckConstraint("grams > 0", name=op.f("ck_incinerator_rating_grams")),
        sa.CheckConstraint("pads > 0", name=op.f("ck_incinerator_rating_pads")),
        sa.CheckConstraint(
            "pads IS NOT NULL OR grams IS NOT NULL OR burns_a_day IS NOT NULL",
            name=op.f("ck_incinerator_rating_something"),
        ),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_incinerator_rating_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_incinerator_rating_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_incinerator_rating")),
        sa.UniqueConstraint("unit_id", "from_day", name=op.f("uq_incinerator_rating_unit_id_from_day")),
    )
    op.create_table(
        "power_use",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column(
            "part",
            sa.Enum(
                "light and fan",
                "pump",
                "seat or floor treatment",
                "incinerator",
                name="powerpart",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("watts", sa.Integer(), nullable=True),
        sa.Column("seconds", sa.Integer(), nullable=True),
        sa.Column("wh_thousandths", sa.Integer(), nullable=True),
        sa.Column("every_n", sa.Integer(), nullable=False),
        sa.Column("u_permille", sa.Integer(), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint(
            "(part = 'light and fan') = (watts IS NOT NULL) AND (watts IS NULL) = (seconds IS NULL) AND (watts IS NULL) = (wh_thousandths IS NOT NULL)",
            name=op.f("ck_power_use_rule"),
        ),
        sa.CheckConstraint("every_n >= 1", name=op.f("ck_power_use_every_n")),
        sa.CheckConstraint("u_permille IS NULL OR u_permille BETWEEN 0 AND 1000", name=op.f("ck_power_use_u")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_power_use_order")),
        sa.CheckConstraint("watts >= 0 AND seconds >= 0", name=op.f("ck_power_use_light")),
        sa.CheckConstraint("wh_thousandths >= 0", name=op.f("ck_power_use_wh")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_power_use_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_power_use")),
        sa.UniqueConstraint("unit_id", "part", "from_day", name=op.f("uq_power_use_unit_id_part_from_day")),
    )
    op.create_table(
        "tank",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("capacity_ml", sa.Integer(), nullable=False),
        sa.Column("inflow_known", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("capacity_ml > 0", name=op.f("ck_tank_capacity")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_tank_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_tank_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tank")),
        sa.UniqueConstraint("unit_id", "from_day", name=op.f("uq_tank_unit_id_from_day")),
    )
    op.create_table(
        "tank_scope",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_tank_scope_order")),
        sa.ForeignKeyConstraint(["tank_id"], ["unit.id"], name=op.f("fk_tank_scope_tank_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_tank_scope_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tank_scope")),
        sa.UniqueConstraint("tank_id", "unit_id", "from_day", name=op.f("uq_tank_scope_tank_id_unit_id_from_day")),
    )
    op.execute(KIND)


def downgrade() -> None:
    op.execute("ALTER TABLE awareness_session DROP COLUMN kind")
    op.drop_table("tank_scope")
    op.drop_table("tank")
    op.drop_table("power_use")
    op.drop_table("incinerator_rating")
    op.drop_table("hand_flush")
    op.drop_table("energy_given")
    op.drop_table("cleaning_plan")
    op.drop_table("burn_output")
