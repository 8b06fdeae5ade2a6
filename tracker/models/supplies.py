"""The ledger: products, lots, places, moves from place to place, counts, machine weeks."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint, false
from sqlalchemy.orm import Mapped, mapped_column

from tracker.db import Base, word
from tracker.vocabulary import GivenWay, MoneyKind, MoveReason, PlaceKind, Source, WorkedOut


class Product(Base):
    """Something that is given out or used up. Cost is in the currency's minor units, for one piece."""

    __tablename__ = "product"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("pack_size >= 1", name="pack"),
        CheckConstraint("unit_cost_minor >= 0", name="cost"),
        CheckConstraint("pack_ml IS NULL OR pack_ml > 0", name="volume"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(80))
    menstrual: Mapped[bool] = mapped_column(default=False)
    pack_size: Mapped[int]
    unit_cost_minor: Mapped[int]
    shelf_life_days: Mapped[int | None]
    pack_ml: Mapped[int | None]  # the room a pack takes in a vehicle
    unit_name: Mapped[str | None] = mapped_column(String(24))  # what pieces are called, in the plural; None: pieces


class Lot(Base):
    """A lot of a product; "unknown" is one."""

    __tablename__ = "lot"
    __table_args__ = (UniqueConstraint("product_id", "code"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    code: Mapped[str] = mapped_column(String(32))
    expires_on: Mapped[date | None]


class StockPlace(Base):
    """Where supplies can be; the outside (supplier, given out, loss, difference) is a place too."""

    __tablename__ = "stock_place"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("kind <> 'machine' OR unit_id IS NOT NULL", name="machine_unit"),
        CheckConstraint("kind NOT IN ('machine', 'cupboard') OR school_id IS NOT NULL", name="at_school"),
        CheckConstraint("capacity IS NULL OR capacity > 0", name="capacity"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(48))
    name: Mapped[str] = mapped_column(String(80))
    kind: Mapped[PlaceKind] = mapped_column(word(PlaceKind))
    school_id: Mapped[int | None] = mapped_column(ForeignKey("school.id"), index=True)
    unit_id: Mapped[int | None] = mapped_column(ForeignKey("unit.id"))
    capacity: Mapped[int | None]  # pieces it holds
    # while what was reported is written, its balances may pass below zero (records.ledger_settle sets it back)
    settling: Mapped[bool] = mapped_column(default=False, server_default=false())


class GivenHow(Base):
    """How napkins are given from a place, and the price of one, from a day on."""

    __tablename__ = "given_how"
    __table_args__ = (
        UniqueConstraint("place_id", "from_day"),
        CheckConstraint("price_minor >= 0", name="price"),
        CheckConstraint("way = 'sold' OR price_minor = 0", name="free_is_free"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    way: Mapped[GivenWay] = mapped_column(word(GivenWay))
    price_minor: Mapped[int] = mapped_column(default=0)
    from_day: Mapped[date]


class StockMove(Base):
    """Pieces of a lot that went from one place to another on a day. 0: asked, and nothing was moved.

    ``worked_out`` is blank for what somebody said, and otherwise tells why the ledger itself made the move.
    Triggers keep ``stock_balance`` equal to the sum of the moves, whichever way they are written.
    """

    __tablename__ = "stock_move"
    __table_args__ = (
        UniqueConstraint("programme_id", "ref"),
        # 0 put in, received or handed out is an answer, which is not the same as no answer
        CheckConstraint(
            "quantity > 0 OR (quantity = 0 AND reason IN ('refill', 'delivery', 'given out'))", name="quantity"
        ),
        CheckConstraint("from_place_id <> to_place_id", name="two_places"),
        Index("ix_stock_move_to", "to_place_id", "day"),
        Index("ix_stock_move_from", "from_place_id", "day"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(60))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    from_place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    to_place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"))
    quantity: Mapped[int]
    day: Mapped[date]
    week: Mapped[date]
    reason: Mapped[MoveReason] = mapped_column(word(MoveReason))
    note: Mapped[str] = mapped_column(String(200), default="")
    worked_out: Mapped[WorkedOut | None] = mapped_column(word(WorkedOut))


class StockCount(Base):
    """Pieces of a product that somebody counted at a place at the end of a day."""

    __tablename__ = "stock_count"
    __table_args__ = (
        UniqueConstraint("place_id", "product_id", "day"),
        CheckConstraint("quantity >= 0", name="quantity"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("stock_place.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    day: Mapped[date]
    week: Mapped[date]
    quantity: Mapped[int]


class MachineDay(Base):
    """Whether a machine ran out on a day. No row is no answer."""

    __tablename__ = "machine_day"
    __table_args__ = (UniqueConstraint("unit_id", "day", "source"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(ForeignKey("unit.id"))
    sheet_id: Mapped[int | None] = mapped_column(ForeignKey("week_sheet.id"), index=True)
    source: Mapped[Source] = mapped_column(word(Source))
    day: Mapped[date]
    ran_out: Mapped[bool]


class MoneyEntry(Base):
    """A cost (or income, by kind) of a school on a day, in the programme's minor units."""

    __tablename__ = "money_entry"
    __table_args__ = (UniqueConstraint("programme_id", "ref"), CheckConstraint("minor >= 0", name="minor"))
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    ref: Mapped[str] = mapped_column(String(40))
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    day: Mapped[date]
    kind: Mapped[MoneyKind] = mapped_column(word(MoneyKind))
    minor: Mapped[int]
    note: Mapped[str] = mapped_column(String(200), default="")


class PlannedRound(Base):
    """The days of restocking rounds, set ahead; cover is judged against the next but one."""

    __tablename__ = "planned_round"
    __table_args__ = (UniqueConstraint("programme_id", "day"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    day: Mapped[date]


class Vehicle(Base):
    """What a round is driven with, and the room in it: by volume, by packs, by both, or not limited."""

    __tablename__ = "vehicle"
    __table_args__ = (
        UniqueConstraint("programme_id", "code"),
        CheckConstraint("room_ml IS NULL OR room_ml > 0", name="room_ml"),
        CheckConstraint("room_packs IS NULL OR room_packs > 0", name="room_packs"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    programme_id: Mapped[int] = mapped_column(ForeignKey("programme.id"))
    code: Mapped[str] = mapped_column(String(32))
    name: Mapped[str] = mapped_column(String(80))
    room_ml: Mapped[int | None]
    room_packs: Mapped[int | None]


class StockRule(Base):
    """What a school keeps of a product at the least, and what it has room for, in pieces, from a day on."""

    __tablename__ = "stock_rule"
    __table_args__ = (
        UniqueConstraint("school_id", "product_id", "from_day"),
        CheckConstraint("minimum >= 0", name="minimum"),
        CheckConstraint("room IS NULL OR room >= minimum", name="room"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    school_id: Mapped[int] = mapped_column(ForeignKey("school.id"))
    product_id: Mapped[int] = mapped_column(ForeignKey("product.id"))
    from_day: Mapped[date]
    minimum: Mapped[int] = mapped_column(default=0)
    room: Mapped[int | None]
