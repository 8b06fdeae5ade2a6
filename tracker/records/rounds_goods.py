"""What goods of a round take up: packs and room of products, room of vehicles."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.supplies import Product, Vehicle


@dataclass(frozen=True, slots=True)
class Goods:
    """Products and vehicles of a programme by id; room of a vehicle: millilitres and packs (None: not limited)."""

    products: dict[int, Product]
    vehicles: dict[int, Vehicle]

    @property
    def room(self) -> dict[int, tuple[int | None, int | None]]:
        """Room of each vehicle in millilitres and in packs."""
        return {vehicle.id: (vehicle.room_ml, vehicle.room_packs) for vehicle in self.vehicles.values()}

    def load(self, lines: Iterable[tuple[int, int]]) -> tuple[int, int]:
        """Millilitres and packs of (product, pieces); a begun pack is a pack, a product of unknown volume has 0 mL."""
        ml = packs = 0
        for product_id, pieces in lines:
            product = self.products[product_id]
            number = -(-pieces // product.pack_size)
            packs += number
            ml += number * (product.pack_ml or 0)
        return ml, packs


def goods(session: Session, programme_id: int) -> Goods:
    """Products and vehicles of a programme; two queries."""
    products = session.scalars(select(Product).where(Product.programme_id == programme_id).order_by(Product.code))
    vehicles = session.scalars(select(Vehicle).where(Vehicle.programme_id == programme_id).order_by(Vehicle.code))
    return Goods({row.id: row for row in products}, {row.id: row for row in vehicles})
