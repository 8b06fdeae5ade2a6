"""What a programme sets for its restocking rounds: vehicles, packs, what schools keep and have room for,
and on which terms suppliers sell."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.orders import SupplierTerms
from tracker.models.programme import Programme
from tracker.models.supplies import Product, StockRule, Vehicle
from tracker.records.history import SetupError
from tracker.records.people import school_by_code


def set_vehicle(session: Session, programme: Programme, values: Mapping[str, Any]) -> Vehicle:
    """A vehicle (code, name, room_ml, room_packs; None is not limited); a code that is known is changed."""
    row = session.scalar(select(Vehicle).filter_by(programme_id=programme.id, code=values["code"]))
    if row is None:
        row = Vehicle(programme_id=programme.id, code=values["code"])
        session.add(row)
    row.name, row.room_ml, row.room_packs = values["name"], values["room_ml"], values["room_packs"]
    session.flush()
    return row


def set_pack(session: Session, programme: Programme, values: Mapping[str, Any]) -> Product:
    """What a product's pieces are called and the room its pack takes (product_id, unit_name, pack_ml; None: unknown).

    Raises:
        SetupError: the programme has no such product.
    """
    row = _product(session, programme, values["product_id"])
    row.unit_name, row.pack_ml = values["unit_name"] or None, values["pack_ml"]
    session.flush()
    return row


def set_rule(session: Session, programme: Programme, values: Mapping[str, Any]) -> StockRule:
    """What a school keeps of a product at the least and has room for, from a day on (school, product_id, from_day,
    minimum, room; None: as much as its places hold). A rule of the same day is replaced.

    Raises:
        SetupError: no such school or product, or less room than is kept.
    """
    school = school_by_code(session, programme.id, values["school"])
    if school is None:
        raise SetupError("school", "There is no school with this code.")
    product = _product(session, programme, values["product_id"])
    minimum, room = values["minimum"], values["room"]
    if room is not None and room < minimum:
        raise SetupError("room", f"There is less room than the {minimum} pieces to keep. Correct one of them.")
    key = {"school_id": school.id, "product_id": product.id, "from_day": values["from_day"]}
    row = session.scalar(select(StockRule).filter_by(**key))
    if row is None:
        row = StockRule(**key)
        session.add(row)
    row.minimum, row.room = minimum, room
    session.flush()
    return row


def set_terms(session: Session, programme: Programme, values: Mapping[str, Any]) -> SupplierTerms:
    """On which terms a product is bought, from a day on (product_id, from_day, supplier, lead_days, review_days,
    min_packs, pack_price_minor). Terms of the same day are replaced; orders that were made keep theirs.

    Raises:
        SetupError: the programme has no such product.
    """
    product = _product(session, programme, values["product_id"])
    key = {"product_id": product.id, "from_day": values["from_day"]}
    row = session.scalar(select(SupplierTerms).filter_by(**key))
    if row is None:
        row = SupplierTerms(**key)
        session.add(row)
    row.supplier, row.lead_days, row.review_days = values["supplier"], values["lead_days"], values["review_days"]
    row.min_packs, row.pack_price_minor = values["min_packs"], values["pack_price_minor"]
    session.flush()
    return row


def _product(session: Session, programme: Programme, product_id: int) -> Product:
    row = session.get(Product, product_id)
    if row is None or row.programme_id != programme.id:
        raise SetupError("product_id", "This product is not the programme's. Choose from the list.")
    return row
