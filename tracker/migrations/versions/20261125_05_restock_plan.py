"""What a restocking plan needs to know of products, vehicles and schools."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "20261125_05"
down_revision = "20261125_04"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("product") as table:
        table.add_column(sa.Column("pack_ml", sa.Integer(), nullable=True))
        table.add_column(sa.Column("unit_name", sa.String(length=24), nullable=True))
        table.create_check_constraint(op.f("ck_product_volume"), "pack_ml IS NULL OR pack_ml > 0")
    op.create_table(
        "vehicle",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("room_ml", sa.Integer(), nullable=True),
        sa.Column("room_packs", sa.Integer(), nullable=True),
        sa.CheckConstraint("room_ml IS NULL OR room_ml > 0", name=op.f("ck_vehicle_room_ml")),
        sa.CheckConstraint("room_packs IS NULL OR room_packs > 0", name=op.f("ck_vehicle_room_packs")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_vehicle_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vehicle")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_vehicle_programme_id_code")),
    )
    op.create_table(
        "stock_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("minimum", sa.Integer(), nullable=False),
        sa.Column("room", sa.Integer(), nullable=True),
        sa.CheckConstraint("minimum >= 0", name=op.f("ck_stock_rule_minimum")),
        sa.CheckConstraint("room IS NULL OR room >= minimum", name=op.f("ck_stock_rule_room")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_stock_rule_school_id")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_stock_rule_product_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_rule")),
        sa.UniqueConstraint(
            "school_id", "product_id", "from_day", name=op.f("uq_stock_rule_school_id_product_id_from_day")
        ),
    )


def downgrade() -> None:
    op.drop_table("stock_rule")
    op.drop_table("vehicle")
    with op.batch_alter_table("product") as table:
        table.drop_constraint(op.f("ck_product_volume"), type_="check")
        table.drop_column("unit_name")
        table.drop_column("pack_ml")
