"""Which places of the ledger a week sheet's facts touch, so that they are locked and settled together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from tracker.models.sheets import WeekSheet
from tracker.models.supplies import StockCount, StockMove, StockPlace
from tracker.models.units import Unit
from tracker.vocabulary import Quantity

NAMES = {"stock_moves": ("from_place", "to_place"), "stock_counts": ("place",)}


def places_of(
    session: Session, programme_id: int, sheet: WeekSheet, facts: Mapping[str, Iterable[Mapping[str, Any]]]
) -> set[int]:
    """Ids of the places that the sheet's facts on record name, and those that new facts name.

    A reading of a vend counter touches its machine.
    """
    found: set[int] = set()
    for model, columns in (
        (StockMove, (StockMove.from_place_id, StockMove.to_place_id)),
        (StockCount, (StockCount.place_id,)),
    ):
        for row in session.execute(select(*columns).where(model.sheet_id == sheet.id).distinct()):
            found.update(row)
    codes = {row[name] for table, names in NAMES.items() for row in facts.get(table, ()) for name in names}
    units = {row["unit"] for row in facts.get("readings", ()) if row["quantity"] is Quantity.VENDS}
    if codes or units:
        at_units = select(Unit.id).where(Unit.school_id == sheet.school_id, Unit.code.in_(units))
        named = or_(StockPlace.code.in_(codes), StockPlace.unit_id.in_(at_units))
        found.update(session.scalars(select(StockPlace.id).where(StockPlace.programme_id == programme_id, named)))
    return found
