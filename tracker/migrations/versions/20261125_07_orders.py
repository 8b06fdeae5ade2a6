"""Orders to suppliers and what was received of them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "20261125_07"
down_revision = "20261125_06"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _supplier_terms()
    _supplier_order()
    _supplier_order_line()
    _supplier_receipt()


def _supplier_terms() -> None:
    op.create_table(
        "supplier_terms",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("supplier", sa.String(length=80), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("review_days", sa.Integer(), nullable=False),
        sa.Column("min_packs", sa.Integer(), nullable=False),
        sa.Column("pack_price_minor", sa.Integer(), nullable=False),
        sa.CheckConstraint("lead_days BETWEEN 0 AND 730", name=op.f("ck_supplier_terms_lead")),
        sa.CheckConstraint("min_packs >= 1", name=op.f("ck_supplier_terms_least")),
        sa.CheckConstraint("pack_price_minor >= 0", name=op.f("ck_supplier_terms_price")),
        sa.CheckConstraint("review_days BETWEEN 1 AND 730", name=op.f("ck_supplier_terms_review")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_supplier_terms_product_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier_terms")),
        sa.UniqueConstraint("product_id", "from_day", name=op.f("uq_supplier_terms_product_id_from_day")),
    )


def _supplier_order() -> None:
    op.create_table(
        "supplier_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("store_id", sa.Integer(), nullable=False),
        sa.Column("supplier", sa.String(length=80), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "draft",
                "sent",
                "part received",
                "received",
                "closed",
                name="orderstate",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("sent_on", sa.Date(), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("state <> 'closed' OR note <> ''", name=op.f("ck_supplier_order_closed")),
        sa.CheckConstraint(
            "state = 'draft' OR state = 'closed' OR sent_on IS NOT NULL", name=op.f("ck_supplier_order_sent")
        ),
        sa.CheckConstraint("due_on IS NULL OR sent_on IS NOT NULL", name=op.f("ck_supplier_order_due")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_supplier_order_programme_id")),
        sa.ForeignKeyConstraint(["store_id"], ["stock_place.id"], name=op.f("fk_supplier_order_store_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier_order")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_supplier_order_programme_id_code")),
        sa.UniqueConstraint("programme_id", "key", name=op.f("uq_supplier_order_programme_id_key")),
    )


def _supplier_order_line() -> None:
    op.create_table(
        "supplier_order_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("packs", sa.Integer(), nullable=False),
        sa.Column("pack_size", sa.Integer(), nullable=False),
        sa.Column("pack_price_minor", sa.Integer(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.CheckConstraint("pack_price_minor >= 0", name=op.f("ck_supplier_order_line_price")),
        sa.CheckConstraint("pack_size >= 1", name=op.f("ck_supplier_order_line_size")),
        sa.CheckConstraint("packs >= 1", name=op.f("ck_supplier_order_line_packs")),
        sa.ForeignKeyConstraint(["order_id"], ["supplier_order.id"], name=op.f("fk_supplier_order_line_order_id")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_supplier_order_line_product_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier_order_line")),
        sa.UniqueConstraint("order_id", "product_id", name=op.f("uq_supplier_order_line_order_id_product_id")),
    )


def _supplier_receipt() -> None:
    op.create_table(
        "supplier_receipt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("pieces >= 1", name=op.f("ck_supplier_receipt_pieces")),
        sa.ForeignKeyConstraint(["line_id"], ["supplier_order_line.id"], name=op.f("fk_supplier_receipt_line_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_supplier_receipt_lot_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier_receipt")),
        sa.UniqueConstraint("line_id", "key", name=op.f("uq_supplier_receipt_line_id_key")),
    )


def downgrade() -> None:
    op.drop_table("supplier_receipt")
    op.drop_table("supplier_order_line")
    op.drop_table("supplier_order")
    op.drop_table("supplier_terms")
