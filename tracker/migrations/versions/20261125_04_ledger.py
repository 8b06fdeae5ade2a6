"""Balances that guard the ledger, and what a coin box held. Changes data: balances are made from the moves."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db
from tracker.migrations import ledger_triggers

revision = "20261125_04"
down_revision = "20261125_03"
branch_labels = None
depends_on = None

OUTSIDE = ("supplier", "given out", "loss", "count difference")
INNER = ("store", "cupboard", "machine")
REASONS = ("receipt", "delivery", "refill", "given out", "loss", "loan", "count difference")
NEW_REASONS = ("loan returned", "damage", "expired", "transfer", "lot assumed")
WORKED_OUT = ("shortfall", "count", "opening", "given out", "lot")
WHYS = ("miscount", "not written down", "damage", "loss", "theft", "jam", "free vends", "other")


def _among(column: str, words: tuple[str, ...]) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words)})"


def _words(name: str, words: tuple[str, ...]) -> sa.Enum:
    return sa.Enum(*words, name=name, native_enum=False, create_constraint=True, length=24)


def _rewrite_checks(kinds: tuple[str, ...], reasons: tuple[str, ...]) -> None:
    with op.batch_alter_table("stock_place") as table:
        table.drop_constraint(op.f("ck_stock_place_placekind"), type_="check")
        table.create_check_constraint(op.f("ck_stock_place_placekind"), _among("kind", kinds))
    with op.batch_alter_table("stock_move") as table:
        table.drop_constraint(op.f("ck_stock_move_movereason"), type_="check")
        table.create_check_constraint(op.f("ck_stock_move_movereason"), _among("reason", reasons))


def upgrade() -> None:
    _rewrite_checks((*INNER, "vehicle", *OUTSIDE), (*REASONS, *NEW_REASONS))
    op.add_column("stock_place", sa.Column("settling", sa.Boolean(), server_default=sa.false(), nullable=False))
    with op.batch_alter_table("stock_move") as table:
        table.add_column(sa.Column("worked_out", sa.String(length=24), nullable=True))
        table.create_check_constraint(op.f("ck_stock_move_workedout"), _among("worked_out", WORKED_OUT))
    op.create_table(
        "stock_balance",
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("guarded", sa.Boolean(), server_default=sa.true(), nullable=False),
        sa.CheckConstraint("quantity >= 0 OR NOT guarded", name=op.f("ck_stock_balance_overdrawn")),
        sa.ForeignKeyConstraint(["place_id"], ["stock_place.id"], name=op.f("fk_stock_balance_place_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_stock_balance_lot_id")),
        sa.PrimaryKeyConstraint("place_id", "lot_id", name=op.f("pk_stock_balance")),
    )
    op.create_index(op.f("ix_stock_balance_lot_id"), "stock_balance", ["lot_id"])
    op.create_table(
        "stock_difference",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("why", _words("why", WHYS), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["place_id"], ["stock_place.id"], name=op.f("fk_stock_difference_place_id")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_stock_difference_product_id")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_stock_difference_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_difference")),
        sa.UniqueConstraint("place_id", "product_id", "day", name=op.f("uq_stock_difference_place_id_product_id_day")),
    )
    _coin_emptying()
    _first_balances()
    ledger_triggers.create()


def _coin_emptying() -> None:
    op.create_table(
        "coin_emptying",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("counter_value", sa.Integer(), nullable=True),
        sa.Column("cash_minor", sa.Integer(), nullable=False),
        sa.Column("first_name", sa.String(length=80), nullable=False),
        sa.Column("second_name", sa.String(length=80), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("cash_minor >= 0", name=op.f("ck_coin_emptying_cash")),
        sa.CheckConstraint("counter_value IS NULL OR counter_value >= 0", name=op.f("ck_coin_emptying_counter")),
        sa.CheckConstraint("lower(first_name) <> lower(second_name)", name=op.f("ck_coin_emptying_two_people")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_coin_emptying_programme_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_coin_emptying_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coin_emptying")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_coin_emptying_programme_id_ref")),
    )
    op.create_index("ix_coin_emptying_unit_day", "coin_emptying", ["unit_id", "day"])


def _first_balances() -> None:
    """Sums of the moves on record. One below zero stays unguarded until the ledger is rebuilt, which settles it."""
    op.execute(
        "INSERT INTO stock_balance (place_id, lot_id, quantity, guarded)"
        " SELECT place_id, lot_id, SUM(pieces), SUM(pieces) >= 0 FROM ("
        " SELECT to_place_id AS place_id, lot_id, quantity AS pieces FROM stock_move"
        " UNION ALL SELECT from_place_id, lot_id, -quantity FROM stock_move) legs"
        f" WHERE place_id IN (SELECT id FROM stock_place WHERE {_among('kind', INNER)})"
        " GROUP BY place_id, lot_id"
    )


def downgrade() -> None:
    ledger_triggers.drop()
    for table in ("coin_emptying", "stock_difference", "stock_balance"):
        op.drop_table(table)
    op.execute("DELETE FROM stock_move WHERE worked_out IS NOT NULL")
    with op.batch_alter_table("stock_move") as batch:
        batch.drop_constraint(op.f("ck_stock_move_workedout"), type_="check")
        batch.drop_column("worked_out")
    with op.batch_alter_table("stock_place") as batch:
        batch.drop_column("settling")
    op.execute(f"UPDATE stock_move SET reason = 'loss' WHERE {_among('reason', NEW_REASONS)}")
    op.execute("UPDATE stock_place SET kind = 'store' WHERE kind = 'vehicle'")
    _rewrite_checks((*INNER, *OUTSIDE), REASONS)
