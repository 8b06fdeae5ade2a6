"""Files of the exchange format that a restocking plan needs: vehicles, and what schools keep and have room for."""

from __future__ import annotations

from tracker import models as m
from tracker.records.columns import FROM, SCHOOL, Column, Link, Table, text, whole

PRODUCT_MORE: tuple[Column, ...] = (
    whole("shelf_life_days", 1, 10000, required=False),
    whole("pack_ml", 1, 10_000_000, required=False, doc="room a pack takes in a vehicle"),
    text("unit_name", 24, required=False, doc="what pieces are called, in the plural, for example bars; blank: pieces"),
)

RESTOCK: tuple[Table, ...] = (
    Table(
        "vehicles",
        m.supplies.Vehicle,
        "Vehicles of restocking rounds and the room in them.",
        ("vehicle",),
        (
            text("vehicle", 32, attr="code"),
            text("name", 80),
            whole("room_ml", 1, 100_000_000, required=False, doc="blank: not limited by volume"),
            whole("room_packs", 1, 100_000, required=False, doc="blank: not limited by packs"),
        ),
    ),
    Table(
        "stock_rules",
        m.supplies.StockRule,
        "What a school keeps of a product at the least, and what it has room for.",
        ("school", "product", "from_day"),
        (
            FROM,
            whole("minimum", 0, 1_000_000, doc="pieces"),
            whole("room", 0, 1_000_000, required=False, doc="pieces; blank: as much as its places hold"),
        ),
        (SCHOOL, Link(("product",), "products", "product_id")),
    ),
)
