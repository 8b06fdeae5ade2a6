"""Orders to suppliers: on which terms each product is bought, what was ordered, what was received of it."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import OrderState


class SupplierTerms(Base):
    """On which terms a product is bought, from a day on. The price is that of a pack, in minor units."""

    __tablename__ = "supplier_terms"
    __table_args__ = (
        UniqueConstraint("product_id", "from_day"),
        CheckConstraint("lead_days BETWEEN 0 AND 730", name="lead"),
        CheckConstraint("review_days BETWEEN 1 AND 730", name="review"),
        CheckConstraint("min_packs >= 1", name="least"),
        CheckConstraint("pack_price_minor >= 0", name="price"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    from_day: Mapped[date]
    supplier: Mapped[str] = mapped_column(String(80))
    lead_days: Mapped[int]
    review_days: Mapped[int]
    min_packs: Mapped[int]
    pack_price_minor: Mapped[int]


class SupplierOrder(Base):
    """An order to one supplier for one store. ``key`` is what the form sent: twice makes one order."""

    __tablename__ = "supplier_order"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        UniqueConstraint("programme_id", "key"),
        CheckConstraint("state = 'draft' OR state = 'closed' OR sent_on IS NOT NULL", name="sent"),
        CheckConstraint("due_on IS NULL OR sent_on IS NOT NULL", name="due"),
        CheckConstraint("state <> 'closed' OR note <> ''", name="closed"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    key: Mapped[str] = mapped_column(String(64))
    store_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    supplier: Mapped[str] = mapped_column(String(80))
    state: Mapped[OrderState] = mapped_column(word(OrderState))
    made_on: Mapped[date]
    sent_on: Mapped[date | None]
    due_on: Mapped[date | None]
    note: Mapped[str] = mapped_column(String(200), default="")  # why it was closed before everything came


class OrderLine(Base):
    """Packs of a product in an order, with the pack and its price as they were when it was made."""

    __tablename__ = "supplier_order_line"
    __table_args__ = (
        UniqueConstraint("order_id", "product_id"),
        CheckConstraint("packs >= 1", name="packs"),
        CheckConstraint("pack_size >= 1", name="size"),
        CheckConstraint("pack_price_minor >= 0", name="price"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    order_id: Mapped[int] = mapped_column(ForeignKey("supplier_order.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    packs: Mapped[int]
    pack_size: Mapped[int]
    pack_price_minor: Mapped[int]
    lead_days: Mapped[int]


class OrderReceipt(Base):
    """Pieces of a lot that came on a day. ``key`` is the form's, and names the ledger's move: twice is once."""

    __tablename__ = "supplier_receipt"
    __table_args__ = (UniqueConstraint("line_id", "key"), CheckConstraint("pieces >= 1", name="pieces"))
    id: Mapped[int] = mapped_column(primary_key=True)
    line_id: Mapped[int] = mapped_column(ForeignKey("supplier_order_line.id"))
    key: Mapped[str] = mapped_column(String(64))
    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    day: Mapped[date]
    pieces: Mapped[int]
    note: Mapped[str] = mapped_column(String(200), default="")
