"""The file of the exchange format that orders to suppliers need: on which terms each product is bought."""

from __future__ import annotations

from tracker import models as m
from tracker.records.columns import FROM, Link, Table, text, whole

ORDERS: tuple[Table, ...] = (
    Table(
        "supplier_terms",
        m.orders.SupplierTerms,
        "On which terms a product is bought, from a day on.",
        ("product", "from_day"),
        (
            FROM,
            text("supplier", 80),
            whole("lead_days", 0, 730, doc="from the order to the store"),
            whole("review_days", 1, 730, doc="days between two looks at what to order"),
            whole("min_packs", 1, 1_000_000, doc="packs of the smallest order"),
            whole("pack_price_minor", 0, 1_000_000_000, doc="of a pack, in the currency's minor units"),
        ),
        (Link(("product",), "products", "product_id"),),
    ),
)
