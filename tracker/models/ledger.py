"""The ledger's guard, what people say of differences, and what a machine's coin box held."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint, true
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, Instant, word
from tracker.vocabulary import Why


class StockBalance(Base):
    """Pieces of a lot at a store, cupboard, machine or vehicle: the sum of its moves, kept by triggers.

    The check refuses to go below zero; ``guarded`` is off only inside a transaction that writes what was reported
    and settles it before it ends.
    """

    __tablename__ = "stock_balance"
    __table_args__ = (CheckConstraint("quantity >= 0 OR NOT guarded", name="overdrawn"),)
    place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"), primary_key=True)
    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"), primary_key=True, index=True)
    quantity: Mapped[int]
    guarded: Mapped[bool] = mapped_column(default=True, server_default=true())


class StockDifference(Base):
    """What somebody said of a difference that the ledger worked out. Signed: above zero there was more."""

    __tablename__ = "stock_difference"
    __table_args__ = (UniqueConstraint("place_id", "product_id", "day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    day: Mapped[date]
    quantity: Mapped[int]
    why: Mapped[Why] = mapped_column(word(Why))
    note: Mapped[str] = mapped_column(String(200), default="")
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(Instant)


class CoinEmptying(Base):
    """A machine's coin box, emptied and counted by two of the staff. Cash is in the programme's minor units."""

    __tablename__ = "coin_emptying"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        CheckConstraint("cash_minor >= 0", name="cash"),
        CheckConstraint("counter_value IS NULL OR counter_value >= 0", name="counter"),
        CheckConstraint("lower(first_name) <> lower(second_name)", name="two_people"),
        Index("ix_coin_emptying_unit_day", "unit_id", "day"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(60))
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    day: Mapped[date]
    counter_value: Mapped[int | None]  # the vend counter's digits; blank: nobody read it
    cash_minor: Mapped[int]
    first_name: Mapped[str] = mapped_column(String(80))
    second_name: Mapped[str] = mapped_column(String(80))
    note: Mapped[str] = mapped_column(String(200), default="")
