"""Rounds as they are driven: minutes of driving, delivery hours, vehicle-days, stops, loads and hand-overs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db

revision = "20261125_06"
down_revision = "20261125_05"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _travel_minutes()
    _delivery_hours()
    _restock_round()
    _store_site()
    _round_day()
    _round_return()
    _round_stop()
    _round_line()


def _travel_minutes() -> None:
    op.create_table(
        "travel_minutes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("from_area_id", sa.Integer(), nullable=False),
        sa.Column("to_area_id", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.CheckConstraint("minutes BETWEEN 1 AND 1440", name=op.f("ck_travel_minutes_minutes")),
        sa.ForeignKeyConstraint(["from_area_id"], ["area.id"], name=op.f("fk_travel_minutes_from_area_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_travel_minutes_programme_id")),
        sa.ForeignKeyConstraint(["to_area_id"], ["area.id"], name=op.f("fk_travel_minutes_to_area_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_travel_minutes")),
        sa.UniqueConstraint(
            "programme_id",
            "from_area_id",
            "to_area_id",
            name=op.f("uq_travel_minutes_programme_id_from_area_id_to_area_id"),
        ),
    )


def _delivery_hours() -> None:
    op.create_table(
        "delivery_hours",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("opens_min", sa.Integer(), nullable=False),
        sa.Column("closes_min", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.CheckConstraint(
            "opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name=op.f("ck_delivery_hours_order")
        ),
        sa.CheckConstraint("weekday BETWEEN 0 AND 6", name=op.f("ck_delivery_hours_weekday")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_delivery_hours_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery_hours")),
        sa.UniqueConstraint(
            "school_id", "weekday", "from_day", name=op.f("uq_delivery_hours_school_id_weekday_from_day")
        ),
    )


def _restock_round() -> None:
    op.create_table(
        "restock_round",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("store_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("next_day", sa.Date(), nullable=False),
        sa.Column("aim", sa.String(length=40), nullable=False),
        sa.Column("budget_minor", sa.Integer(), nullable=True),
        sa.Column("stay_min", sa.Integer(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "planned",
                "under way",
                "closed",
                name="roundstate",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("closed_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("state <> 'closed' OR closed_at IS NOT NULL", name=op.f("ck_restock_round_closed")),
        sa.CheckConstraint("budget_minor IS NULL OR budget_minor >= 0", name=op.f("ck_restock_round_budget")),
        sa.CheckConstraint("next_day > day", name=op.f("ck_restock_round_days")),
        sa.CheckConstraint("stay_min BETWEEN 0 AND 480", name=op.f("ck_restock_round_stay")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_restock_round_programme_id")),
        sa.ForeignKeyConstraint(["store_id"], ["stock_place.id"], name=op.f("fk_restock_round_store_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_restock_round")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_restock_round_programme_id_code")),
        sa.UniqueConstraint("programme_id", "key", name=op.f("uq_restock_round_programme_id_key")),
    )


def _store_site() -> None:
    op.create_table(
        "store_site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("area_id", sa.Integer(), nullable=False),
        sa.Column("latitude_udeg", sa.Integer(), nullable=True),
        sa.Column("longitude_udeg", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "latitude_udeg IS NULL OR latitude_udeg BETWEEN -90000000 AND 90000000", name=op.f("ck_store_site_latitude")
        ),
        sa.CheckConstraint(
            "longitude_udeg IS NULL OR longitude_udeg BETWEEN -180000000 AND 180000000",
            name=op.f("ck_store_site_longitude"),
        ),
        sa.ForeignKeyConstraint(["area_id"], ["area.id"], name=op.f("fk_store_site_area_id")),
        sa.ForeignKeyConstraint(["place_id"], ["stock_place.id"], name=op.f("fk_store_site_place_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_store_site")),
        sa.UniqueConstraint("place_id", name=op.f("uq_store_site_place_id")),
    )


def _round_day() -> None:
    op.create_table(
        "round_day",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("starts_min", sa.Integer(), nullable=False),
        sa.Column("limit_min", sa.Integer(), nullable=False),
        sa.Column("most_stops", sa.Integer(), nullable=True),
        sa.Column("set_out_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("back_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.CheckConstraint("back_at IS NULL OR set_out_at IS NOT NULL", name=op.f("ck_round_day_back")),
        sa.CheckConstraint("limit_min BETWEEN 1 AND 1440", name=op.f("ck_round_day_hours")),
        sa.CheckConstraint("most_stops IS NULL OR most_stops >= 1", name=op.f("ck_round_day_stops")),
        sa.CheckConstraint("starts_min BETWEEN 0 AND 1439", name=op.f("ck_round_day_starts")),
        sa.ForeignKeyConstraint(["round_id"], ["restock_round.id"], name=op.f("fk_round_day_round_id")),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicle.id"], name=op.f("fk_round_day_vehicle_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_day")),
        sa.UniqueConstraint("round_id", "vehicle_id", "day", name=op.f("uq_round_day_round_id_vehicle_id_day")),
    )


def _round_return() -> None:
    op.create_table(
        "round_return",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("round_day_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("loaded", sa.Integer(), nullable=False),
        sa.Column("handed", sa.Integer(), nullable=False),
        sa.Column("returned", sa.Integer(), nullable=False),
        sa.Column(
            "why",
            sa.Enum(
                "no place for it at the school",
                "the school did not want it",
                "the school asked for more",
                "not enough on the vehicle",
                "damaged on the way",
                "lost on the way",
                "counted wrongly when loading",
                "another reason",
                name="handwhy",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=True,
        ),
        sa.CheckConstraint("loaded >= 0 AND returned >= 0", name=op.f("ck_round_return_pieces")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_round_return_product_id")),
        sa.ForeignKeyConstraint(["round_day_id"], ["round_day.id"], name=op.f("fk_round_return_round_day_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_return")),
        sa.UniqueConstraint("round_day_id", "product_id", name=op.f("uq_round_return_round_day_id_product_id")),
    )


def _round_stop() -> None:
    op.create_table(
        "round_stop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("round_day_id", sa.Integer(), nullable=True),
        sa.Column(
            "left_out",
            sa.Enum(
                "closed",
                "too far",
                "too large",
                "no room left",
                "no stops left",
                "no hours left",
                "taken out by hand",
                name="leftout",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=True,
        ),
        sa.Column("place_no", sa.Integer(), nullable=False),
        sa.Column("arrive_min", sa.Integer(), nullable=True),
        sa.Column("need_thousandths", sa.Integer(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "to do", "done", "not reached", name="stopstate", native_enum=False, create_constraint=True, length=24
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.String(length=200), nullable=False),
        sa.Column("received_by", sa.String(length=80), nullable=False),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("state <> 'done' OR length(received_by) > 0", name=op.f("ck_round_stop_received")),
        sa.CheckConstraint("state <> 'not reached' OR length(reason) > 0", name=op.f("ck_round_stop_reason")),
        sa.CheckConstraint("round_day_id IS NOT NULL OR left_out IS NOT NULL", name=op.f("ck_round_stop_left_out")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_round_stop_person_id")),
        sa.ForeignKeyConstraint(["round_day_id"], ["round_day.id"], name=op.f("fk_round_stop_round_day_id")),
        sa.ForeignKeyConstraint(["round_id"], ["restock_round.id"], name=op.f("fk_round_stop_round_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_round_stop_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_stop")),
        sa.UniqueConstraint("round_id", "school_id", name=op.f("uq_round_stop_round_id_school_id")),
    )
    op.create_index("ix_round_stop_day", "round_stop", ["round_day_id", "place_no"], unique=False)
    op.create_index(op.f("ix_round_stop_school_id"), "round_stop", ["school_id"], unique=False)


def _round_line() -> None:
    op.create_table(
        "round_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("stop_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("planned", sa.Integer(), nullable=False),
        sa.Column("handed", sa.Integer(), nullable=True),
        sa.Column(
            "why",
            sa.Enum(
                "no place for it at the school",
                "the school did not want it",
                "the school asked for more",
                "not enough on the vehicle",
                "damaged on the way",
                "lost on the way",
                "counted wrongly when loading",
                "another reason",
                name="handwhy",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=True,
        ),
        sa.CheckConstraint("handed IS NULL OR handed = planned OR why IS NOT NULL", name=op.f("ck_round_line_why")),
        sa.CheckConstraint("handed IS NULL OR handed >= 0", name=op.f("ck_round_line_handed")),
        sa.CheckConstraint("planned >= 0", name=op.f("ck_round_line_planned")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_round_line_product_id")),
        sa.ForeignKeyConstraint(["stop_id"], ["round_stop.id"], name=op.f("fk_round_line_stop_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_line")),
        sa.UniqueConstraint("stop_id", "product_id", name=op.f("uq_round_line_stop_id_product_id")),
    )


def downgrade() -> None:
    for table in (
        "round_line",
        "round_stop",
        "round_return",
        "round_day",
        "store_site",
        "restock_round",
        "delivery_hours",
        "travel_minutes",
    ):
        op.drop_table(table)
