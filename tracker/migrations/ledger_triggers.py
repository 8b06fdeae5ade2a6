"""Triggers that keep ``stock_balance`` equal to the sum of the moves, whichever way a move is written.

A later migration that makes ``stock_move`` or ``stock_place`` anew (batch mode on SQLite) calls ``drop`` before and
``create`` after.
"""

from __future__ import annotations

from alembic import op

INNER = "('store', 'cupboard', 'machine', 'vehicle')"
ACTS = ("insert", "delete", "update")


def _leg(row: str, place: str, sign: str) -> str:
    """One side of a move: the balance's row is made at zero where it is missing, then moved by the quantity.

    The check looks at a proposed row before the conflict is seen, so the row cannot be inserted with its quantity.
    """
    return (
        "INSERT INTO stock_balance (place_id, lot_id, quantity, guarded)"
        f" SELECT id, {row}.lot_id, 0, NOT settling FROM stock_place"
        f" WHERE id = {row}.{place} AND kind IN {INNER} ON CONFLICT (place_id, lot_id) DO NOTHING;\n"
        f"UPDATE stock_balance SET quantity = quantity {sign} {row}.quantity,"
        f" guarded = (SELECT NOT settling FROM stock_place WHERE id = {row}.{place})"
        f" WHERE place_id = {row}.{place} AND lot_id = {row}.lot_id;\n"
    )


def _made(row: str) -> str:
    return _leg(row, "to_place_id", "+") + _leg(row, "from_place_id", "-")


def _unmade(row: str) -> str:
    return _leg(row, "from_place_id", "+") + _leg(row, "to_place_id", "-")


BODIES = {"insert": _made("NEW"), "delete": _unmade("OLD"), "update": _made("NEW") + _unmade("OLD")}
ABOUT = {"insert": "NEW.quantity <> 0", "delete": "OLD.quantity <> 0", "update": "NEW.quantity + OLD.quantity <> 0"}


def create() -> None:
    """Create the triggers for the database at hand."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    for act in ACTS:
        name = f"stock_move_balance_{act}"
        if sqlite:
            op.execute(
                f"CREATE TRIGGER {name} AFTER {act.upper()} ON stock_move WHEN {ABOUT[act]} BEGIN {BODIES[act]} END"
            )
            continue
        op.execute(
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {BODIES[act]} RETURN NULL; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {name} AFTER {act.upper()} ON stock_move FOR EACH ROW WHEN ({ABOUT[act]})"
            f" EXECUTE FUNCTION {name}()"
        )


def drop() -> None:
    """Drop them again."""
    for act in ACTS:
        name = f"stock_move_balance_{act}"
        if op.get_bind().dialect.name == "sqlite":
            op.execute(f"DROP TRIGGER {name}")
        else:
            op.execute(f"DROP TRIGGER {name} ON stock_move")
            op.execute(f"DROP FUNCTION {name}()")
