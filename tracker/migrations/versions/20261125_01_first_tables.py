"""First tables, with the triggers that hold overlaps and frozen publications."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import tracker.db
from tracker.migrations import triggers

revision = "20261125_01"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "audit_seal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("last_seq", sa.Integer(), nullable=False),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("seal", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_seal")),
        sa.UniqueConstraint("last_seq", name=op.f("uq_audit_seal_last_seq")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("email", sa.String(length=120), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("phone", sa.String(length=40), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("email = lower(email)", name=op.f("ck_person_lower")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("email", name=op.f("uq_person_email")),
    )
    op.create_table(
        "programme",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("first_weekday", sa.Integer(), nullable=False),
        sa.Column("phone", sa.String(length=40), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.CheckConstraint("first_weekday BETWEEN 0 AND 6", name=op.f("ck_programme_weekday")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_programme_currency")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_programme")),
        sa.UniqueConstraint("code", name=op.f("uq_programme_code")),
    )
    op.create_table(
        "request_key",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("payload_hash", sa.String(length=64), nullable=False),
        sa.Column("result", sa.String(length=200), nullable=False),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_request_key")),
        sa.UniqueConstraint("key", name=op.f("uq_request_key_key")),
    )
    op.create_table(
        "area",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_area_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_area")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_area_programme_id_code")),
    )
    op.create_table(
        "audit",
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=True),
        sa.Column("act", sa.String(length=16), nullable=False),
        sa.Column("table_name", sa.String(length=40), nullable=False),
        sa.Column("row_key", sa.String(length=120), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("reason", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_audit_person_id")),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_table_name"), ["table_name"], unique=False)

    op.create_table(
        "credential",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("secret_hash", sa.String(length=200), nullable=False),
        sa.Column("set_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('password')", name=op.f("ck_credential_kind")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_credential_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_credential")),
        sa.UniqueConstraint("person_id", "kind", name=op.f("uq_credential_person_id_kind")),
    )
    op.create_table(
        "grade_age",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("grade", sa.String(length=16), nullable=False),
        sa.Column("age", sa.Integer(), nullable=False),
        sa.Column("permille", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.CheckConstraint("permille BETWEEN 0 AND 1000", name=op.f("ck_grade_age_permille")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_grade_age_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grade_age")),
        sa.UniqueConstraint(
            "programme_id", "grade", "age", "from_day", name=op.f("uq_grade_age_programme_id_grade_age_from_day")
        ),
    )
    op.create_table(
        "login_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("expires_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("ended_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_login_session_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_session")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_login_session_token_hash")),
    )
    with op.batch_alter_table("login_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_login_session_person_id"), ["person_id"], unique=False)

    op.create_table(
        "planned_round",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_planned_round_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_round")),
        sa.UniqueConstraint("programme_id", "day", name=op.f("uq_planned_round_programme_id_day")),
    )
    op.create_table(
        "product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("menstrual", sa.Boolean(), nullable=False),
        sa.Column("pack_size", sa.Integer(), nullable=False),
        sa.Column("unit_cost_minor", sa.Integer(), nullable=False),
        sa.Column("shelf_life_days", sa.Integer(), nullable=True),
        sa.CheckConstraint("pack_size >= 1", name=op.f("ck_product_pack")),
        sa.CheckConstraint("unit_cost_minor >= 0", name=op.f("ck_product_cost")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_product_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_product")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_product_programme_id_code")),
    )
    op.create_table(
        "programme_setting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_programme_setting_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_programme_setting")),
        sa.UniqueConstraint(
            "programme_id", "key", "from_day", name=op.f("uq_programme_setting_programme_id_key_from_day")
        ),
    )
    op.create_table(
        "term",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.CheckConstraint("first_day <= last_day", name=op.f("ck_term_order")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_term_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_term")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_term_programme_id_code")),
    )
    op.create_table(
        "week",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_week_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_week")),
        sa.UniqueConstraint("programme_id", "first_day", name=op.f("uq_week_programme_id_first_day")),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_lot_product_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("product_id", "code", name=op.f("uq_lot_product_id_code")),
    )
    op.create_table(
        "publication",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "school term report",
                "programme term report",
                "impact summary",
                "availability certificate",
                name="reportkind",
                native_enum=False,
                create_constraint=True,
            ),
            nullable=False,
        ),
        sa.Column("scope", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("cutoff_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("published_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("code_version", sa.String(length=40), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("approved_by_id", sa.Integer(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.String(length=200), nullable=False),
        sa.CheckConstraint("(replaces_id IS NULL) = (number = 1)", name=op.f("ck_publication_replaces")),
        sa.CheckConstraint("number = 1 OR length(reason) > 0", name=op.f("ck_publication_reason")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_publication_number")),
        sa.ForeignKeyConstraint(["approved_by_id"], ["person.id"], name=op.f("fk_publication_approved_by_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_publication_programme_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["publication.id"], name=op.f("fk_publication_replaces_id")),
        sa.ForeignKeyConstraint(["term_id"], ["term.id"], name=op.f("fk_publication_term_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_publication")),
        sa.UniqueConstraint(
            "programme_id",
            "term_id",
            "kind",
            "scope",
            "number",
            name=op.f("uq_publication_programme_id_term_id_kind_scope_number"),
        ),
    )
    op.create_table(
        "school",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("area_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("boarders", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.Column("latitude_udeg", sa.Integer(), nullable=True),
        sa.Column("longitude_udeg", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "latitude_udeg IS NULL OR latitude_udeg BETWEEN -90000000 AND 90000000", name=op.f("ck_school_latitude")
        ),
        sa.CheckConstraint(
            "longitude_udeg IS NULL OR longitude_udeg BETWEEN -180000000 AND 180000000",
            name=op.f("ck_school_longitude"),
        ),
        sa.ForeignKeyConstraint(["area_id"], ["area.id"], name=op.f("fk_school_area_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_school_programme_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_school")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_school_programme_id_code")),
    )
    op.create_table(
        "target",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("figure", sa.String(length=60), nullable=False),
        sa.Column("thousandths", sa.Integer(), nullable=False),
        sa.Column("set_at", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_target_programme_id")),
        sa.ForeignKeyConstraint(["term_id"], ["term.id"], name=op.f("fk_target_term_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_target")),
        sa.UniqueConstraint(
            "programme_id", "term_id", "figure", "set_at", name=op.f("uq_target_programme_id_term_id_figure_set_at")
        ),
    )
    op.create_table(
        "agreement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=32), nullable=False),
        sa.Column("buyer", sa.String(length=80), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("accepted_on", sa.Date(), nullable=True),
        sa.Column("warranty_from", sa.Date(), nullable=True),
        sa.Column("warranty_until", sa.Date(), nullable=True),
        sa.Column("clock_stops", sa.String(length=200), nullable=False),
        sa.Column("promise_hours", sa.Integer(), nullable=False),
        sa.Column("visit_every_days", sa.Integer(), nullable=False),
        sa.Column("price_minor", sa.Integer(), nullable=False),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_agreement_price")),
        sa.CheckConstraint("promise_hours > 0", name=op.f("ck_agreement_promise")),
        sa.CheckConstraint("visit_every_days > 0", name=op.f("ck_agreement_interval")),
        sa.CheckConstraint(
            "warranty_until IS NULL OR warranty_until >= warranty_from", name=op.f("ck_agreement_warranty")
        ),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_agreement_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_agreement_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_agreement")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_agreement_programme_id_code")),
    )
    op.create_table(
        "before_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "nothing",
                "pour flush",
                "cistern",
                name="beforekind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("ml", sa.Integer(), nullable=True),
        sa.Column(
            "litres_basis",
            sa.Enum("measured", "claim", name="litresbasis", native_enum=False, create_constraint=True, length=24),
            nullable=True,
        ),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.CheckConstraint("ml IS NULL OR ml >= 0", name=op.f("ck_before_state_ml")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_before_state_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_before_state")),
        sa.UniqueConstraint("school_id", "from_day", name=op.f("uq_before_state_school_id_from_day")),
    )
    op.create_table(
        "block",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_block_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_block")),
        sa.UniqueConstraint("school_id", "code", name=op.f("uq_block_school_id_code")),
    )
    op.create_table(
        "closure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column(
            "scope",
            sa.Enum(
                "programme", "area", "school", name="closurescope", native_enum=False, create_constraint=True, length=24
            ),
            nullable=False,
        ),
        sa.Column("area_id", sa.Integer(), nullable=True),
        sa.Column("school_id", sa.Integer(), nullable=True),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.CheckConstraint(
            "(scope = 'programme' AND area_id IS NULL AND school_id IS NULL) OR (scope = 'area' AND area_id IS NOT NULL AND school_id IS NULL) OR (scope = 'school' AND area_id IS NULL AND school_id IS NOT NULL)",
            name=op.f("ck_closure_whom"),
        ),
        sa.CheckConstraint("first_day <= last_day", name=op.f("ck_closure_order")),
        sa.ForeignKeyConstraint(["area_id"], ["area.id"], name=op.f("fk_closure_area_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_closure_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_closure_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_closure")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_closure_programme_id_ref")),
    )
    op.create_table(
        "disposal_route",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "burn",
                "collection",
                "burial",
                "other",
                name="route",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.Column("permit_until", sa.Date(), nullable=True),
        sa.Column("operator_until", sa.Date(), nullable=True),
        sa.Column("siting_checked", sa.Date(), nullable=True),
        sa.Column("flue_checked", sa.Date(), nullable=True),
        sa.Column("ash_route", sa.String(length=80), nullable=False),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_disposal_route_order")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_disposal_route_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disposal_route")),
        sa.UniqueConstraint("school_id", "kind", "from_day", name=op.f("uq_disposal_route_school_id_kind_from_day")),
    )
    op.create_table(
        "drawn_break",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("slot", sa.String(length=16), nullable=False),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_drawn_break_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drawn_break")),
        sa.UniqueConstraint("school_id", "day", "slot", name=op.f("uq_drawn_break_school_id_day_slot")),
    )
    op.create_table(
        "inspection_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("question", sa.String(length=40), nullable=False),
        sa.Column("answer", sa.String(length=40), nullable=False),
        sa.Column("seen_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_inspection_answer_school_id")),
        sa.ForeignKeyConstraint(["term_id"], ["term.id"], name=op.f("fk_inspection_answer_term_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inspection_answer")),
        sa.UniqueConstraint(
            "school_id", "term_id", "question", name=op.f("uq_inspection_answer_school_id_term_id_question")
        ),
    )
    op.create_table(
        "money_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "service",
                "warranty",
                "supplies",
                "water",
                "power",
                "vend income",
                "display rent",
                name="moneykind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("minor", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("minor >= 0", name=op.f("ck_money_entry_minor")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_money_entry_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_money_entry_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_money_entry")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_money_entry_programme_id_ref")),
    )
    op.create_table(
        "publication_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("publication_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("media_type", sa.String(length=80), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["publication_id"], ["publication.id"], name=op.f("fk_publication_file_publication_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_publication_file")),
        sa.UniqueConstraint("publication_id", "name", name=op.f("uq_publication_file_publication_id_name")),
    )
    op.create_table(
        "publication_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("publication_id", sa.Integer(), nullable=False),
        sa.Column("figure", sa.String(length=60), nullable=False),
        sa.Column("school", sa.String(length=32), nullable=False),
        sa.Column("week", sa.String(length=10), nullable=False),
        sa.Column("value", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["publication_id"], ["publication.id"], name=op.f("fk_publication_line_publication_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_publication_line")),
        sa.UniqueConstraint(
            "publication_id",
            "figure",
            "school",
            "week",
            name=op.f("uq_publication_line_publication_id_figure_school_week"),
        ),
    )
    op.create_table(
        "role_grant",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "coordinator",
                "officer",
                "engineer",
                "funder",
                "administrator",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("area_id", sa.Integer(), nullable=True),
        sa.Column("school_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.CheckConstraint(
            "role <> 'coordinator' OR school_id IS NOT NULL", name=op.f("ck_role_grant_coordinator_school")
        ),
        sa.CheckConstraint("area_id IS NULL OR school_id IS NULL", name=op.f("ck_role_grant_one_scope")),
        sa.ForeignKeyConstraint(["area_id"], ["area.id"], name=op.f("fk_role_grant_area_id")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_role_grant_person_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_role_grant_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_role_grant_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_role_grant")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_role_grant_programme_id_ref")),
    )
    with op.batch_alter_table("role_grant", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_role_grant_person_id"), ["person_id"], unique=False)

    op.create_table(
        "sheet_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.Column("base_version", sa.Integer(), nullable=False),
        sa.Column("saved_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sheet_draft_person_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_sheet_draft_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet_draft")),
        sa.UniqueConstraint("person_id", "school_id", "week", name=op.f("uq_sheet_draft_person_id_school_id_week")),
    )
    op.create_table(
        "shift",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_shift_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shift")),
        sa.UniqueConstraint("school_id", "code", name=op.f("uq_shift_school_id_code")),
    )
    op.create_table(
        "staff_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("staff", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.CheckConstraint("staff >= 0", name=op.f("ck_staff_count_staff")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_staff_count_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staff_count")),
        sa.UniqueConstraint("school_id", "from_day", name=op.f("uq_staff_count_school_id_from_day")),
    )
    op.create_table(
        "week_sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "draft",
                "sent",
                "queried",
                "accepted",
                name="sheetstate",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("first_sent_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("accepted_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("accepted_by_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("state <> 'draft'", name=op.f("ck_week_sheet_sent")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_week_sheet_version")),
        sa.ForeignKeyConstraint(["accepted_by_id"], ["person.id"], name=op.f("fk_week_sheet_accepted_by_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_week_sheet_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_week_sheet")),
        sa.UniqueConstraint("code", name=op.f("uq_week_sheet_code")),
        sa.UniqueConstraint("school_id", "week", name=op.f("uq_week_sheet_school_id_week")),
    )
    op.create_table(
        "awareness_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("topic", sa.String(length=80), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.CheckConstraint("minutes > 0", name=op.f("ck_awareness_session_minutes")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_awareness_session_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_awareness_session_school_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_awareness_session_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_awareness_session")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_awareness_session_programme_id_ref")),
    )
    with op.batch_alter_table("awareness_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_awareness_session_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "bell_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("slot", sa.String(length=16), nullable=False),
        sa.Column(
            "grp",
            sa.Enum(
                "girls", "boys", "everyone", "staff", name="group", native_enum=False, create_constraint=True, length=24
            ),
            nullable=False,
        ),
        sa.Column("waiting", sa.Integer(), nullable=True),
        sa.Column("present", sa.Integer(), nullable=True),
        sa.CheckConstraint("grp IN ('girls', 'boys')", name=op.f("ck_bell_count_sexes")),
        sa.CheckConstraint("present IS NULL OR present >= 0", name=op.f("ck_bell_count_present")),
        sa.CheckConstraint("waiting IS NOT NULL OR present IS NOT NULL", name=op.f("ck_bell_count_something")),
        sa.CheckConstraint("waiting IS NULL OR waiting >= 0", name=op.f("ck_bell_count_waiting")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_bell_count_school_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_bell_count_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bell_count")),
        sa.UniqueConstraint("school_id", "day", "slot", "grp", name=op.f("uq_bell_count_school_id_day_slot_grp")),
    )
    with op.batch_alter_table("bell_count", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_bell_count_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "block_group",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("block_id", sa.Integer(), nullable=False),
        sa.Column(
            "grp",
            sa.Enum(
                "girls", "boys", "everyone", "staff", name="group", native_enum=False, create_constraint=True, length=24
            ),
            nullable=False,
        ),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["block_id"], ["block.id"], name=op.f("fk_block_group_block_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_block_group")),
        sa.UniqueConstraint("block_id", "from_day", name=op.f("uq_block_group_block_id_from_day")),
    )
    op.create_table(
        "day_mark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column(
            "mark",
            sa.Enum(
                "lost",
                "half",
                "exam",
                "out of hours",
                name="daymark",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_day_mark_school_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_day_mark_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_day_mark")),
        sa.UniqueConstraint("school_id", "day", "mark", name=op.f("uq_day_mark_school_id_day_mark")),
    )
    with op.batch_alter_table("day_mark", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_day_mark_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "enrolment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shift_id", sa.Integer(), nullable=False),
        sa.Column(
            "sex",
            sa.Enum("girls", "boys", name="sex", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("grade", sa.String(length=16), nullable=False),
        sa.Column("age", sa.Integer(), nullable=False),
        sa.Column("pupils", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("age = -1 OR age BETWEEN 3 AND 25", name=op.f("ck_enrolment_age")),
        sa.CheckConstraint("pupils >= 0", name=op.f("ck_enrolment_pupils")),
        sa.ForeignKeyConstraint(["shift_id"], ["shift.id"], name=op.f("fk_enrolment_shift_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_enrolment")),
        sa.UniqueConstraint(
            "shift_id", "sex", "grade", "age", "from_day", name=op.f("uq_enrolment_shift_id_sex_grade_age_from_day")
        ),
    )
    op.create_table(
        "query",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("cell", sa.String(length=80), nullable=False),
        sa.Column("question", sa.String(length=200), nullable=False),
        sa.Column("raised_by_check", sa.Boolean(), nullable=False),
        sa.Column("asked_by_id", sa.Integer(), nullable=True),
        sa.Column("asked_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("answer", sa.String(length=200), nullable=False),
        sa.Column("answered_by_id", sa.Integer(), nullable=True),
        sa.Column("answered_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("closed_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.CheckConstraint("(answered_at IS NULL) = (answer = '')", name=op.f("ck_query_answered")),
        sa.ForeignKeyConstraint(["answered_by_id"], ["person.id"], name=op.f("fk_query_answered_by_id")),
        sa.ForeignKeyConstraint(["asked_by_id"], ["person.id"], name=op.f("fk_query_asked_by_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_query_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_query")),
        sa.UniqueConstraint("sheet_id", "number", name=op.f("uq_query_sheet_id_number")),
    )
    with op.batch_alter_table("query", schema=None) as batch_op:
        batch_op.create_index("ix_query_sheet", ["sheet_id"], unique=False)

    op.create_table(
        "school_break",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shift_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("start_min", sa.Integer(), nullable=False),
        sa.Column("end_min", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("code NOT IN ('other', 'all')", name=op.f("ck_school_break_code")),
        sa.CheckConstraint(
            "start_min >= 0 AND start_min < end_min AND end_min <= 1440", name=op.f("ck_school_break_order")
        ),
        sa.CheckConstraint("weekday BETWEEN 0 AND 6", name=op.f("ck_school_break_weekday")),
        sa.ForeignKeyConstraint(["shift_id"], ["shift.id"], name=op.f("fk_school_break_shift_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_school_break")),
        sa.UniqueConstraint(
            "shift_id", "code", "weekday", "from_day", name=op.f("uq_school_break_shift_id_code_weekday_from_day")
        ),
    )
    op.create_table(
        "school_day",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("shift_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("opens_min", sa.Integer(), nullable=False),
        sa.Column("closes_min", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name=op.f("ck_school_day_order")
        ),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_school_day_school_id")),
        sa.ForeignKeyConstraint(["shift_id"], ["shift.id"], name=op.f("fk_school_day_shift_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_school_day")),
        sa.UniqueConstraint("shift_id", "day", name=op.f("uq_school_day_shift_id_day")),
    )
    with op.batch_alter_table("school_day", schema=None) as batch_op:
        batch_op.create_index("ix_school_day_school_day", ["school_id", "day"], unique=False)

    op.create_table(
        "school_hours",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shift_id", sa.Integer(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("opens_min", sa.Integer(), nullable=False),
        sa.Column("closes_min", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint(
            "opens_min >= 0 AND opens_min < closes_min AND closes_min <= 1440", name=op.f("ck_school_hours_order")
        ),
        sa.CheckConstraint("weekday BETWEEN 0 AND 6", name=op.f("ck_school_hours_weekday")),
        sa.ForeignKeyConstraint(["shift_id"], ["shift.id"], name=op.f("fk_school_hours_shift_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_school_hours")),
        sa.UniqueConstraint("shift_id", "weekday", "from_day", name=op.f("uq_school_hours_shift_id_weekday_from_day")),
    )
    op.create_table(
        "sheet_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("reference", sa.String(length=16), nullable=False),
        sa.Column("sent_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("sent_by_id", sa.Integer(), nullable=True),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("payload_hash", sa.String(length=64), nullable=False),
        sa.Column("reason", sa.String(length=200), nullable=False),
        sa.Column("from_paper", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["sent_by_id"], ["person.id"], name=op.f("fk_sheet_version_sent_by_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_sheet_version_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sheet_version")),
        sa.UniqueConstraint("reference", name=op.f("uq_sheet_version_reference")),
        sa.UniqueConstraint("sheet_id", "number", name=op.f("uq_sheet_version_sheet_id_number")),
    )
    op.create_table(
        "unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("school_id", sa.Integer(), nullable=False),
        sa.Column("block_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "cabin",
                "urinal",
                "tap",
                "machine",
                "incinerator",
                "tank",
                "meter",
                name="unitkind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("accessible", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.Column(
            "preferred_source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_unit_order")),
        sa.ForeignKeyConstraint(["block_id"], ["block.id"], name=op.f("fk_unit_block_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_unit_school_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unit")),
        sa.UniqueConstraint("school_id", "code", name=op.f("uq_unit_school_id_code")),
    )
    with op.batch_alter_table("unit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_unit_school_id"), ["school_id"], unique=False)

    op.create_table(
        "agreement_unit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("agreement_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=60), nullable=False),
        sa.ForeignKeyConstraint(["agreement_id"], ["agreement.id"], name=op.f("fk_agreement_unit_agreement_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_agreement_unit_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_agreement_unit")),
        sa.UniqueConstraint("agreement_id", "unit_id", name=op.f("uq_agreement_unit_agreement_id_unit_id")),
    )
    op.create_table(
        "attendance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column(
            "sex",
            sa.Enum("girls", "boys", name="sex", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("grade", sa.String(length=16), nullable=False),
        sa.Column("present", sa.Integer(), nullable=False),
        sa.CheckConstraint("present >= 0", name=op.f("ck_attendance_present")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["awareness_session.id"], name=op.f("fk_attendance_session_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attendance")),
        sa.UniqueConstraint("session_id", "sex", "grade", name=op.f("uq_attendance_session_id_sex_grade")),
    )
    op.create_table(
        "burn",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("burns", sa.Integer(), nullable=False),
        sa.CheckConstraint("burns >= 0", name=op.f("ck_burn_burns")),
        sa.CheckConstraint("days BETWEEN 1 AND 7", name=op.f("ck_burn_days")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_burn_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_burn_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_burn")),
        sa.UniqueConstraint("unit_id", "first_day", name=op.f("uq_burn_unit_id_first_day")),
    )
    with op.batch_alter_table("burn", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_burn_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "fitting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
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
        sa.Column("ml", sa.Integer(), nullable=False),
        sa.Column("long_ml", sa.Integer(), nullable=True),
        sa.Column("threshold_s", sa.Integer(), nullable=True),
        sa.Column("every_n", sa.Integer(), nullable=True),
        sa.Column("factor_permille", sa.Integer(), nullable=True),
        sa.Column(
            "litres_basis",
            sa.Enum("measured", "claim", name="litresbasis", native_enum=False, create_constraint=True, length=24),
            nullable=False,
        ),
        sa.Column("u_permille", sa.Integer(), nullable=True),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.CheckConstraint("kind <> 'floor_wash' OR every_n IS NOT NULL", name=op.f("ck_fitting_floor_wash")),
        sa.CheckConstraint(
            "kind <> 'flush_two_stage' OR (long_ml IS NOT NULL AND threshold_s IS NOT NULL)",
            name=op.f("ck_fitting_two_stage"),
        ),
        sa.CheckConstraint("kind <> 'vacuum' OR factor_permille IS NOT NULL", name=op.f("ck_fitting_vacuum")),
        sa.CheckConstraint("every_n IS NULL OR every_n >= 1", name=op.f("ck_fitting_every_n")),
        sa.CheckConstraint(
            "factor_permille IS NULL OR factor_permille BETWEEN 1 AND 1000", name=op.f("ck_fitting_factor")
        ),
        sa.CheckConstraint("long_ml IS NULL OR long_ml >= ml", name=op.f("ck_fitting_long_ml")),
        sa.CheckConstraint("ml >= 0", name=op.f("ck_fitting_ml")),
        sa.CheckConstraint("u_permille IS NULL OR u_permille BETWEEN 0 AND 1000", name=op.f("ck_fitting_u")),
        sa.CheckConstraint("until_day IS NULL OR until_day >= from_day", name=op.f("ck_fitting_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_fitting_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fitting")),
        sa.UniqueConstraint("unit_id", "kind", "from_day", name=op.f("uq_fitting_unit_id_kind_from_day")),
    )
    op.create_table(
        "level",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("quarters", sa.Integer(), nullable=False),
        sa.CheckConstraint("quarters BETWEEN 0 AND 4", name=op.f("ck_level_quarters")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_level_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_level_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_level")),
        sa.UniqueConstraint("unit_id", "day", "source", name=op.f("uq_level_unit_id_day_source")),
    )
    with op.batch_alter_table("level", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_level_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "long_week",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("seen", sa.Integer(), nullable=False),
        sa.Column("long_visits", sa.Integer(), nullable=False),
        sa.CheckConstraint("long_visits BETWEEN 0 AND seen", name=op.f("ck_long_week_long_visits")),
        sa.CheckConstraint("seen > 0", name=op.f("ck_long_week_seen")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_long_week_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_long_week_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_long_week")),
        sa.UniqueConstraint("unit_id", "week", "source", name=op.f("uq_long_week_unit_id_week_source")),
    )
    with op.batch_alter_table("long_week", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_long_week_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "machine_day",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("ran_out", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_machine_day_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_machine_day_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine_day")),
        sa.UniqueConstraint("unit_id", "day", "source", name=op.f("uq_machine_day_unit_id_day_source")),
    )
    with op.batch_alter_table("machine_day", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_machine_day_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "meter_install",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column(
            "quantity",
            sa.Enum(
                "water",
                "visits",
                "long_visits",
                "vends",
                "energy",
                name="quantity",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("from_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("until_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("digits", sa.Integer(), nullable=False),
        sa.Column("step_ml", sa.Integer(), nullable=False),
        sa.Column("u_permille", sa.Integer(), nullable=False),
        sa.Column("first_value", sa.Integer(), nullable=False),
        sa.Column("last_value", sa.Integer(), nullable=True),
        sa.CheckConstraint("(until_at IS NULL) = (last_value IS NULL)", name=op.f("ck_meter_install_taken_out")),
        sa.CheckConstraint("digits BETWEEN 1 AND 12", name=op.f("ck_meter_install_digits")),
        sa.CheckConstraint("first_value >= 0", name=op.f("ck_meter_install_first")),
        sa.CheckConstraint("step_ml >= 1", name=op.f("ck_meter_install_step")),
        sa.CheckConstraint("u_permille BETWEEN 0 AND 1000", name=op.f("ck_meter_install_u")),
        sa.CheckConstraint("until_at IS NULL OR until_at > from_at", name=op.f("ck_meter_install_order")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_meter_install_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meter_install")),
        sa.UniqueConstraint("unit_id", "quantity", "from_at", name=op.f("uq_meter_install_unit_id_quantity_from_at")),
    )
    op.create_table(
        "meter_scope",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("meter_id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("until_day", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["meter_id"], ["unit.id"], name=op.f("fk_meter_scope_meter_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_meter_scope_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_meter_scope")),
        sa.UniqueConstraint("meter_id", "unit_id", "from_day", name=op.f("uq_meter_scope_meter_id_unit_id_from_day")),
    )
    op.create_table(
        "outage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("end_sheet_id", sa.Integer(), nullable=True),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "cause",
            sa.Enum(
                "broken",
                "drain blocked",
                "low water",
                "no power",
                "locked",
                "dirty",
                "danger",
                "planned work",
                "sold out",
                "not known",
                name="cause",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("start_at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("end_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("event", sa.String(length=40), nullable=True),
        sa.Column("said_by", sa.String(length=80), nullable=False),
        sa.Column(
            "danger",
            sa.Enum(
                "smoke or fire",
                "bare wires or shock",
                "somebody locked in",
                "flood",
                "other danger",
                name="danger",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=True,
        ),
        sa.Column("checked_by", sa.String(length=80), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "cause <> 'danger' OR end_at IS NULL OR length(checked_by) > 0", name=op.f("ck_outage_danger_checked")
        ),
        sa.CheckConstraint("end_at IS NULL OR end_at > start_at", name=op.f("ck_outage_order")),
        sa.ForeignKeyConstraint(["end_sheet_id"], ["week_sheet.id"], name=op.f("fk_outage_end_sheet_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_outage_programme_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_outage_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_outage_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outage")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_outage_programme_id_ref")),
        sa.UniqueConstraint(
            "unit_id", "source", "cause", "start_at", name=op.f("uq_outage_unit_id_source_cause_start_at")
        ),
    )
    with op.batch_alter_table("outage", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_outage_end_sheet_id"), ["end_sheet_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_outage_sheet_id"), ["sheet_id"], unique=False)
        batch_op.create_index("ix_outage_unit_start", ["unit_id", "start_at"], unique=False)

    op.create_table(
        "quiz",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(length=40), nullable=False),
        sa.Column("right_right", sa.Integer(), nullable=False),
        sa.Column("right_wrong", sa.Integer(), nullable=False),
        sa.Column("wrong_right", sa.Integer(), nullable=False),
        sa.Column("wrong_wrong", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "right_right >= 0 AND right_wrong >= 0 AND wrong_right >= 0 AND wrong_wrong >= 0",
            name=op.f("ck_quiz_totals"),
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["awareness_session.id"], name=op.f("fk_quiz_session_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quiz")),
        sa.UniqueConstraint("session_id", "item", name=op.f("uq_quiz_session_id_item")),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column(
            "quantity",
            sa.Enum(
                "water",
                "visits",
                "long_visits",
                "vends",
                "energy",
                name="quantity",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("at", tracker.db.Instant(timezone=True), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("value >= 0", name=op.f("ck_reading_value")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_reading_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_reading_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("unit_id", "quantity", "source", "at", name=op.f("uq_reading_unit_id_quantity_source_at")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reading_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "sighting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "working",
                "partly working",
                "out of service",
                name="state",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_sighting_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_sighting_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sighting")),
        sa.UniqueConstraint("unit_id", "day", "source", name=op.f("uq_sighting_unit_id_day_source")),
    )
    with op.batch_alter_table("sighting", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sighting_sheet_id"), ["sheet_id"], unique=False)
        batch_op.create_index("ix_sighting_unit_day", ["unit_id", "day"], unique=False)

    op.create_table(
        "stock_place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=48), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "store",
                "cupboard",
                "machine",
                "supplier",
                "given out",
                "loss",
                "count difference",
                name="placekind",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("school_id", sa.Integer(), nullable=True),
        sa.Column("unit_id", sa.Integer(), nullable=True),
        sa.Column("capacity", sa.Integer(), nullable=True),
        sa.CheckConstraint("kind <> 'machine' OR unit_id IS NOT NULL", name=op.f("ck_stock_place_machine_unit")),
        sa.CheckConstraint(
            "kind NOT IN ('machine', 'cupboard') OR school_id IS NOT NULL", name=op.f("ck_stock_place_at_school")
        ),
        sa.CheckConstraint("capacity IS NULL OR capacity > 0", name=op.f("ck_stock_place_capacity")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_stock_place_programme_id")),
        sa.ForeignKeyConstraint(["school_id"], ["school.id"], name=op.f("fk_stock_place_school_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_stock_place_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_place")),
        sa.UniqueConstraint("programme_id", "code", name=op.f("uq_stock_place_programme_id_code")),
    )
    with op.batch_alter_table("stock_place", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_place_school_id"), ["school_id"], unique=False)

    op.create_table(
        "unit_way",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column(
            "way",
            sa.Enum(
                "counter",
                "drawn",
                "grid",
                "week_total",
                "none",
                name="countway",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_unit_way_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unit_way")),
        sa.UniqueConstraint("unit_id", "from_day", name=op.f("uq_unit_way_unit_id_from_day")),
    )
    op.create_table(
        "usage_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("slot", sa.String(length=16), nullable=False),
        sa.Column(
            "source",
            sa.Enum(
                "tally",
                "device",
                "officer",
                "engineer",
                name="source",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column(
            "how",
            sa.Enum(
                "counter",
                "drawn",
                "grid",
                "week_total",
                "none",
                name="countway",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("visits", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint("days = 1 OR slot = 'all'", name=op.f("ck_usage_count_week_slot")),
        sa.CheckConstraint("how <> 'counter' AND how <> 'none'", name=op.f("ck_usage_count_how_counted")),
        sa.CheckConstraint("days BETWEEN 1 AND 7", name=op.f("ck_usage_count_days")),
        sa.CheckConstraint("visits >= 0", name=op.f("ck_usage_count_visits")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_usage_count_sheet_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_usage_count_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_usage_count")),
        sa.UniqueConstraint(
            "unit_id",
            "first_day",
            "days",
            "slot",
            "source",
            name=op.f("uq_usage_count_unit_id_first_day_days_slot_source"),
        ),
    )
    with op.batch_alter_table("usage_count", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_usage_count_sheet_id"), ["sheet_id"], unique=False)
        batch_op.create_index("ix_usage_count_unit_week", ["unit_id", "week"], unique=False)

    op.create_table(
        "water_delivery",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column("tank_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("origin", sa.String(length=16), nullable=False),
        sa.Column("ml", sa.Integer(), nullable=False),
        sa.CheckConstraint("origin IN ('tanker', 'rain', 'recovered')", name=op.f("ck_water_delivery_origin")),
        sa.CheckConstraint("ml > 0", name=op.f("ck_water_delivery_ml")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_water_delivery_programme_id")),
        sa.ForeignKeyConstraint(["tank_id"], ["unit.id"], name=op.f("fk_water_delivery_tank_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_water_delivery")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_water_delivery_programme_id_ref")),
    )
    op.create_table(
        "given_how",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column(
            "way",
            sa.Enum(
                "sold",
                "free from the machine",
                "handed out",
                "take-home pack",
                name="givenway",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("price_minor", sa.Integer(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.CheckConstraint("way = 'sold' OR price_minor = 0", name=op.f("ck_given_how_free_is_free")),
        sa.CheckConstraint("price_minor >= 0", name=op.f("ck_given_how_price")),
        sa.ForeignKeyConstraint(["place_id"], ["stock_place.id"], name=op.f("fk_given_how_place_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_given_how")),
        sa.UniqueConstraint("place_id", "from_day", name=op.f("uq_given_how_place_id_from_day")),
    )
    op.create_table(
        "service_visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=40), nullable=False),
        sa.Column("unit_id", sa.Integer(), nullable=False),
        sa.Column("outage_id", sa.Integer(), nullable=True),
        sa.Column(
            "purpose",
            sa.Enum(
                "local look",
                "service visit",
                "repair",
                "meter reading",
                name="visitpurpose",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("asked_on", sa.Date(), nullable=False),
        sa.Column("done_at", tracker.db.Instant(timezone=True), nullable=True),
        sa.Column("by_person_id", sa.Integer(), nullable=True),
        sa.Column("found", sa.String(length=200), nullable=False),
        sa.Column("done", sa.String(length=200), nullable=False),
        sa.Column("parts", sa.String(length=200), nullable=False),
        sa.Column("back_in_service", sa.Boolean(), nullable=False),
        sa.CheckConstraint("done_at IS NULL OR length(done) > 0", name=op.f("ck_service_visit_said_what_was_done")),
        sa.ForeignKeyConstraint(["by_person_id"], ["person.id"], name=op.f("fk_service_visit_by_person_id")),
        sa.ForeignKeyConstraint(["outage_id"], ["outage.id"], name=op.f("fk_service_visit_outage_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_service_visit_programme_id")),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name=op.f("fk_service_visit_unit_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_service_visit")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_service_visit_programme_id_ref")),
    )
    with op.batch_alter_table("service_visit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_service_visit_unit_id"), ["unit_id"], unique=False)

    op.create_table(
        "stock_count",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.CheckConstraint("quantity >= 0", name=op.f("ck_stock_count_quantity")),
        sa.ForeignKeyConstraint(["place_id"], ["stock_place.id"], name=op.f("fk_stock_count_place_id")),
        sa.ForeignKeyConstraint(["product_id"], ["product.id"], name=op.f("fk_stock_count_product_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_stock_count_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_count")),
        sa.UniqueConstraint("place_id", "product_id", "day", name=op.f("uq_stock_count_place_id_product_id_day")),
    )
    with op.batch_alter_table("stock_count", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_count_sheet_id"), ["sheet_id"], unique=False)

    op.create_table(
        "stock_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("programme_id", sa.Integer(), nullable=False),
        sa.Column("ref", sa.String(length=60), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=True),
        sa.Column("from_place_id", sa.Integer(), nullable=False),
        sa.Column("to_place_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("week", sa.Date(), nullable=False),
        sa.Column(
            "reason",
            sa.Enum(
                "receipt",
                "delivery",
                "refill",
                "given out",
                "loss",
                "loan",
                "count difference",
                name="movereason",
                native_enum=False,
                create_constraint=True,
                length=24,
            ),
            nullable=False,
        ),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "quantity > 0 OR (quantity = 0 AND reason IN ('refill', 'delivery', 'given out'))",
            name=op.f("ck_stock_move_quantity"),
        ),
        sa.CheckConstraint("from_place_id <> to_place_id", name=op.f("ck_stock_move_two_places")),
        sa.ForeignKeyConstraint(["from_place_id"], ["stock_place.id"], name=op.f("fk_stock_move_from_place_id")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_stock_move_lot_id")),
        sa.ForeignKeyConstraint(["programme_id"], ["programme.id"], name=op.f("fk_stock_move_programme_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["week_sheet.id"], name=op.f("fk_stock_move_sheet_id")),
        sa.ForeignKeyConstraint(["to_place_id"], ["stock_place.id"], name=op.f("fk_stock_move_to_place_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
        sa.UniqueConstraint("programme_id", "ref", name=op.f("uq_stock_move_programme_id_ref")),
    )
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.create_index("ix_stock_move_from", ["from_place_id", "day"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_move_sheet_id"), ["sheet_id"], unique=False)
        batch_op.create_index("ix_stock_move_to", ["to_place_id", "day"], unique=False)

    triggers.create()


def downgrade() -> None:
    triggers.drop()
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.drop_index("ix_stock_move_to")
        batch_op.drop_index(batch_op.f("ix_stock_move_sheet_id"))
        batch_op.drop_index("ix_stock_move_from")

    op.drop_table("stock_move")
    with op.batch_alter_table("stock_count", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stock_count_sheet_id"))

    op.drop_table("stock_count")
    with op.batch_alter_table("service_visit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_service_visit_unit_id"))

    op.drop_table("service_visit")
    op.drop_table("given_how")
    op.drop_table("water_delivery")
    with op.batch_alter_table("usage_count", schema=None) as batch_op:
        batch_op.drop_index("ix_usage_count_unit_week")
        batch_op.drop_index(batch_op.f("ix_usage_count_sheet_id"))

    op.drop_table("usage_count")
    op.drop_table("unit_way")
    with op.batch_alter_table("stock_place", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stock_place_school_id"))

    op.drop_table("stock_place")
    with op.batch_alter_table("sighting", schema=None) as batch_op:
        batch_op.drop_index("ix_sighting_unit_day")
        batch_op.drop_index(batch_op.f("ix_sighting_sheet_id"))

    op.drop_table("sighting")
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_reading_sheet_id"))

    op.drop_table("reading")
    op.drop_table("quiz")
    with op.batch_alter_table("outage", schema=None) as batch_op:
        batch_op.drop_index("ix_outage_unit_start")
        batch_op.drop_index(batch_op.f("ix_outage_sheet_id"))
        batch_op.drop_index(batch_op.f("ix_outage_end_sheet_id"))

    op.drop_table("outage")
    op.drop_table("meter_scope")
    op.drop_table("meter_install")
    with op.batch_alter_table("machine_day", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_machine_day_sheet_id"))

    op.drop_table("machine_day")
    with op.batch_alter_table("long_week", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_long_week_sheet_id"))

    op.drop_table("long_week")
    with op.batch_alter_table("level", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_level_sheet_id"))

    op.drop_table("level")
    op.drop_table("fitting")
    with op.batch_alter_table("burn", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_burn_sheet_id"))

    op.drop_table("burn")
    op.drop_table("attendance")
    op.drop_table("agreement_unit")
    with op.batch_alter_table("unit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_unit_school_id"))

    op.drop_table("unit")
    op.drop_table("sheet_version")
    op.drop_table("school_hours")
    with op.batch_alter_table("school_day", schema=None) as batch_op:
        batch_op.drop_index("ix_school_day_school_day")

    op.drop_table("school_day")
    op.drop_table("school_break")
    with op.batch_alter_table("query", schema=None) as batch_op:
        batch_op.drop_index("ix_query_sheet")

    op.drop_table("query")
    op.drop_table("enrolment")
    with op.batch_alter_table("day_mark", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_day_mark_sheet_id"))

    op.drop_table("day_mark")
    op.drop_table("block_group")
    with op.batch_alter_table("bell_count", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_bell_count_sheet_id"))

    op.drop_table("bell_count")
    with op.batch_alter_table("awareness_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_awareness_session_sheet_id"))

    op.drop_table("awareness_session")
    op.drop_table("week_sheet")
    op.drop_table("staff_count")
    op.drop_table("shift")
    op.drop_table("sheet_draft")
    with op.batch_alter_table("role_grant", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_role_grant_person_id"))

    op.drop_table("role_grant")
    op.drop_table("publication_line")
    op.drop_table("publication_file")
    op.drop_table("money_entry")
    op.drop_table("inspection_answer")
    op.drop_table("drawn_break")
    op.drop_table("disposal_route")
    op.drop_table("closure")
    op.drop_table("block")
    op.drop_table("before_state")
    op.drop_table("agreement")
    op.drop_table("target")
    op.drop_table("school")
    op.drop_table("publication")
    op.drop_table("lot")
    op.drop_table("week")
    op.drop_table("term")
    op.drop_table("programme_setting")
    op.drop_table("product")
    op.drop_table("planned_round")
    with op.batch_alter_table("login_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_login_session_person_id"))

    op.drop_table("login_session")
    op.drop_table("grade_age")
    op.drop_table("credential")
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_audit_table_name"))

    op.drop_table("audit")
    op.drop_table("area")
    op.drop_table("request_key")
    op.drop_table("programme")
    op.drop_table("person")
    op.drop_table("audit_seal")
