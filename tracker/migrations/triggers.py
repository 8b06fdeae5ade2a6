"""Rules over two rows that a check constraint cannot hold: overlaps, and publications that never change.

Each trigger is written for SQLite and for PostgreSQL; the words of the error name the rule.
"""

from __future__ import annotations

from collections.abc import Iterable

from alembic import op

OVERLAPS = {
    # table: (columns that must agree, extra condition, start, end, end is exclusive)
    "outage": ("unit_id = NEW.unit_id AND source = NEW.source AND cause = NEW.cause", "start_at", "end_at", "<"),
    "term": ("programme_id = NEW.programme_id", "first_day", "last_day", "<="),
    "fitting": (
        "unit_id = NEW.unit_id AND (kind = NEW.kind OR (kind LIKE 'flush%' AND NEW.kind LIKE 'flush%'))",
        "from_day",
        "until_day",
        "<=",
    ),
}
FROZEN = ("publication", "publication_file", "publication_line", "sheet_version")


def _overlap_condition(table: str) -> str:
    same, start, end, sign = OVERLAPS[table]
    return (
        f"EXISTS (SELECT 1 FROM {table} WHERE {same} AND id <> NEW.id"
        f" AND (NEW.{end} IS NULL OR {start} {sign} NEW.{end})"
        f" AND ({end} IS NULL OR NEW.{start} {sign} {end}))"
    )


def _sqlite_create() -> None:
    for table in OVERLAPS:
        for act in ("INSERT", "UPDATE"):
            op.execute(
                f"CREATE TRIGGER {table}_overlap_{act.lower()} AFTER {act} ON {table} WHEN {_overlap_condition(table)} "
                f"BEGIN SELECT RAISE(ABORT, '{table}_overlap'); END"
            )


def _postgres_create() -> None:
    for table in OVERLAPS:
        op.execute(
            f"CREATE FUNCTION {table}_overlap() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"IF {_overlap_condition(table)} THEN RAISE EXCEPTION '{table}_overlap' USING ERRCODE = '23P01'; END IF; "
            "RETURN NEW; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_overlap AFTER INSERT OR UPDATE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_overlap()"
        )


def freeze(tables: Iterable[str]) -> None:
    """Rows of these tables are added and never changed or removed."""
    for table in tables:
        if op.get_bind().dialect.name == "sqlite":
            for act in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_frozen_{act.lower()} BEFORE {act} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{table}_frozen'); END"
                )
            continue
        op.execute(
            f"CREATE FUNCTION {table}_frozen() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"RAISE EXCEPTION '{table}_frozen' USING ERRCODE = '23514'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_frozen BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_frozen()"
        )


def thaw(tables: Iterable[str]) -> None:
    """Drop what ``freeze`` made."""
    for table in tables:
        if op.get_bind().dialect.name == "sqlite":
            for act in ("update", "delete"):
                op.execute(f"DROP TRIGGER {table}_frozen_{act}")
            continue
        op.execute(f"DROP TRIGGER {table}_frozen ON {table}")
        op.execute(f"DROP FUNCTION {table}_frozen()")


def create() -> None:
    """Create the triggers for the database at hand."""
    if op.get_bind().dialect.name == "sqlite":
        _sqlite_create()
    else:
        _postgres_create()
    freeze(FROZEN)


def drop() -> None:
    """Drop them again."""
    thaw(FROZEN)
    for table in OVERLAPS:
        if op.get_bind().dialect.name == "sqlite":
            for act in ("insert", "update"):
                op.execute(f"DROP TRIGGER {table}_overlap_{act}")
            continue
        op.execute(f"DROP TRIGGER {table}_overlap ON {table}")
        op.execute(f"DROP FUNCTION {table}_overlap()")
