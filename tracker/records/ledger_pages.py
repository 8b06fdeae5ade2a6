"""What the officer's stock pages show: places with their stock, one place's moves, differences, loans, coin boxes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from sqlalchemy import case, func, or_, select
from sqlalchemy.orm import Session, aliased

from tracker.models.ledger import CoinEmptying, StockDifference
from tracker.models.school import School
from tracker.models.supplies import GivenHow, Lot, Product, StockCount, StockMove, StockPlace
from tracker.models.units import Unit
from tracker.records import ledger
from tracker.vocabulary import INNER_PLACES, MoveReason, PlaceKind, WorkedOut

DIFFERS = (WorkedOut.SHORTFALL, WorkedOut.COUNT)
KIND_ORDER = {kind: number for number, kind in enumerate(INNER_PLACES)}


@dataclass(frozen=True, slots=True)
class Held:
    """A product at a place: pieces, of them expired, the earliest expiry of the rest, and the last count."""

    product_id: int
    product: str
    unit_name: str
    pieces: int
    expired: int
    expires_on: date | None
    counted_on: date | None


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """A place with what it holds."""

    place: StockPlace
    school: School | None
    held: list[Held] = field(default_factory=list)


class MoveLine(NamedTuple):
    """A move as one place sees it: pieces above zero came in. ``other``: the place at the other end."""

    move: StockMove
    product: str
    lot: str
    other: str
    pieces: int


class DifferenceLine(NamedTuple):
    """A difference that nobody has explained. Pieces above zero: more was there, or left, than was on record."""

    place: StockPlace
    school: str
    product_id: int
    product: str
    unit_name: str
    day: date
    pieces: int
    shortfall: bool  # more left than was on record; else a count differs


class LoanLine(NamedTuple):
    """What a place still owes another one."""

    lender: StockPlace
    borrower: StockPlace
    lender_school: str
    borrower_school: str
    product_id: int
    product: str
    unit_name: str
    since: date
    pieces: int


class BoxLine(NamedTuple):
    """A coin box that was emptied."""

    row: CoinEmptying
    unit: Unit
    school: School


def _reach(areas: set[int] | None) -> object:
    """Places of the areas' schools, and those that belong to no school."""
    if areas is None:
        return StockPlace.id.is_not(None)
    return or_(StockPlace.school_id.is_(None), School.area_id.in_(areas))


def places(session: Session, programme_id: int, areas: set[int] | None = None) -> list[PlaceLine]:
    """Stores and vehicles first, then cupboards and machines by school; nothing of what they hold yet."""
    query = select(StockPlace, School).outerjoin(School, School.id == StockPlace.school_id)
    query = query.where(StockPlace.programme_id == programme_id, StockPlace.kind.in_(INNER_PLACES), _reach(areas))  # type: ignore[arg-type]
    found = [PlaceLine(place, school) for place, school in session.execute(query)]

    def order(line: PlaceLine) -> tuple[bool, str, int, str]:
        return (
            line.school is not None,
            line.school.name if line.school else "",
            KIND_ORDER[line.place.kind],
            line.place.code,
        )

    return sorted(found, key=order)


def fill(session: Session, programme_id: int, lines: Sequence[PlaceLine], day: date) -> None:
    """Write into the lines what their places hold now; three queries whatever their number."""
    ids = [line.place.id for line in lines]
    names = {one.id: one for one in session.scalars(select(Product).where(Product.programme_id == programme_id))}
    counted: dict[tuple[int, int], date] = {
        (place, product): last
        for place, product, last in session.execute(
            select(StockCount.place_id, StockCount.product_id, func.max(StockCount.day))
            .where(StockCount.place_id.in_(ids))
            .group_by(StockCount.place_id, StockCount.product_id)
        )
    }
    lots: dict[tuple[int, int], list[ledger.BalanceRow]] = defaultdict(list)
    for row in ledger.balances(session, programme_id, place_ids=ids):
        lots[row.place_id, row.product_id].append(row)
    by_place: dict[int, list[Held]] = defaultdict(list)
    for place, product in sorted(lots.keys() | counted.keys(), key=lambda key: names[key[1]].code):
        rows = lots.get((place, product), [])
        gone = sum(row.quantity for row in rows if row.expires_on is not None and row.expires_on < day)
        until = [row.expires_on for row in rows if row.expires_on is not None and row.expires_on >= day]
        one = names[product]
        total = sum(row.quantity for row in rows)
        last = counted.get((place, product))
        held = Held(product, one.name, one.unit_name or "pieces", total, gone, min(until, default=None), last)
        by_place[place].append(held)
    for line in lines:
        line.held.extend(by_place[line.place.id])


def moves(session: Session, place_id: int, first: int, count: int) -> list[MoveLine]:
    """A place's moves, newest first; moves of nothing are left out."""
    start, end = aliased(StockPlace), aliased(StockPlace)
    query = (
        select(StockMove, Product.name, Lot.code, start, end)
        .join(Lot, Lot.id == StockMove.lot_id)
        .join(Product, Product.id == Lot.product_id)
        .join(start, start.id == StockMove.from_place_id)
        .join(end, end.id == StockMove.to_place_id)
        .where(or_(StockMove.from_place_id == place_id, StockMove.to_place_id == place_id), StockMove.quantity > 0)
        .order_by(StockMove.day.desc(), StockMove.id.desc())
    )
    found = []
    for move, product, lot, one, other in session.execute(query.offset(first).limit(count)):
        inward = move.to_place_id == place_id
        said = ledger.place_words(session, one if inward else other)
        found.append(MoveLine(move, product, lot, said, move.quantity if inward else -move.quantity))
    return found


def differences(session: Session, programme_id: int, areas: set[int] | None = None) -> list[DifferenceLine]:
    """Differences that the ledger worked out and nobody has explained as they now stand; newest first."""
    inward = StockMove.to_place_id == StockPlace.id
    pieces = func.sum(case((inward, StockMove.quantity), else_=-StockMove.quantity))
    short = func.max(case((StockMove.worked_out == WorkedOut.SHORTFALL, 1), else_=0))
    said = StockDifference
    query = (
        select(StockPlace.id, Lot.product_id, StockMove.day, pieces, short)
        .select_from(StockMove)
        .join(StockPlace, or_(inward, StockMove.from_place_id == StockPlace.id))
        .join(Lot, Lot.id == StockMove.lot_id)
        .outerjoin(School, School.id == StockPlace.school_id)
        .outerjoin(
            said, (said.place_id == StockPlace.id) & (said.product_id == Lot.product_id) & (said.day == StockMove.day)
        )
        .where(
            StockPlace.programme_id == programme_id,
            StockPlace.kind.in_(INNER_PLACES),
            StockMove.worked_out.in_(DIFFERS),
            _reach(areas),  # type: ignore[arg-type]
        )
        .group_by(StockPlace.id, Lot.product_id, StockMove.day, said.id, said.quantity)
        .having(or_(said.id.is_(None), said.quantity != pieces), pieces != 0)
        .order_by(StockMove.day.desc(), StockPlace.id)
    )
    rows = session.execute(query).all()
    known = {line.place.id: line for line in places(session, programme_id, areas)}
    products = {one.id: one for one in session.scalars(select(Product).where(Product.programme_id == programme_id))}
    found = []
    for place, product, day, number, shortfall in rows:
        line, one = known[place], products[product]
        school = line.school.name if line.school else ""
        unit = one.unit_name or "pieces"
        found.append(DifferenceLine(line.place, school, product, one.name, unit, day, int(number), bool(shortfall)))
    return found


def difference(session: Session, place: StockPlace, product_id: int, day: date) -> DifferenceLine | None:
    """One unexplained difference; None where there is none (any more)."""
    every = differences(session, place.programme_id)
    return next((one for one in every if (one.place.id, one.product_id, one.day) == (place.id, product_id, day)), None)


def loans(session: Session, programme_id: int, areas: set[int] | None = None) -> list[LoanLine]:
    """Loans that were not (wholly) given back, oldest first."""
    move = StockMove
    query = (
        select(
            move.from_place_id,
            move.to_place_id,
            Lot.product_id,
            move.reason,
            func.sum(move.quantity),
            func.min(move.day),
        )
        .join(Lot, Lot.id == move.lot_id)
        .where(move.programme_id == programme_id, move.reason.in_((MoveReason.LOAN, MoveReason.LOAN_RETURNED)))
        .group_by(move.from_place_id, move.to_place_id, Lot.product_id, move.reason)
    )
    owed: dict[tuple[int, int, int], int] = defaultdict(int)
    since: dict[tuple[int, int, int], date] = {}
    for start, end, product_id, reason, pieces, first in session.execute(query):
        lent = reason is MoveReason.LOAN
        key = (start, end, product_id) if lent else (end, start, product_id)
        owed[key] += int(pieces) if lent else -int(pieces)
        if lent:
            since[key] = first
    known = {line.place.id: line for line in places(session, programme_id, areas)}
    products = {one.id: one for one in session.scalars(select(Product).where(Product.programme_id == programme_id))}
    found = []
    for key, pieces in owed.items():
        lender, borrower = known.get(key[0]), known.get(key[1])
        if pieces <= 0 or (lender is None and borrower is None):
            continue
        ends = [known.get(one) or PlaceLine(session.get_one(StockPlace, one), None) for one in key[:2]]
        names = [line.school.name if line.school else line.place.name for line in ends]
        product, unit = products[key[2]], products[key[2]].unit_name or "pieces"
        places_names = (ends[0].place, ends[1].place, names[0], names[1])
        found.append(LoanLine(*places_names, product.id, product.name, unit, since[key], pieces))
    return sorted(found, key=lambda line: (line.since, line.lender_school))


def boxes(session: Session, programme_id: int, areas: set[int] | None = None) -> list[BoxLine]:
    """Coin boxes that were emptied, by school, machine and day."""
    query = select(CoinEmptying, Unit, School).join(Unit, Unit.id == CoinEmptying.unit_id)
    query = query.join(School, School.id == Unit.school_id).where(CoinEmptying.programme_id == programme_id)
    if areas is not None:
        query = query.where(School.area_id.in_(areas))
    rows = session.execute(query.order_by(School.name, Unit.code, CoinEmptying.day, CoinEmptying.id))
    return [BoxLine(*row) for row in rows]


def prices(session: Session, unit_ids: Collection[int]) -> dict[int, list[tuple[date, int]]]:
    """What one cost at each machine, from which day on."""
    query = select(StockPlace.unit_id, GivenHow.from_day, GivenHow.price_minor).join(
        GivenHow, GivenHow.place_id == StockPlace.id
    )
    found: dict[int, list[tuple[date, int]]] = defaultdict(list)
    for unit, day, minor in session.execute(query.where(StockPlace.unit_id.in_(unit_ids)).order_by(GivenHow.from_day)):
        if unit is not None:
            found[unit].append((day, minor))
    return found


def sellers(session: Session, programme_id: int, areas: set[int] | None = None) -> list[tuple[Unit, School]]:
    """Machines that sell, by school."""
    query = (
        select(Unit, School)
        .join(School, School.id == Unit.school_id)
        .join(StockPlace, StockPlace.unit_id == Unit.id)
        .join(GivenHow, GivenHow.place_id == StockPlace.id)
        .where(School.programme_id == programme_id, StockPlace.kind == PlaceKind.MACHINE, GivenHow.price_minor > 0)
        .distinct()
    )
    if areas is not None:
        query = query.where(School.area_id.in_(areas))
    rows = [(unit, school) for unit, school in session.execute(query)]
    return sorted(rows, key=lambda pair: (pair[1].name, pair[0].code))


def product_names(session: Session, programme_id: int) -> dict[int, str]:
    """Names of a programme's products, by id."""
    rows = session.execute(select(Product.id, Product.name).where(Product.programme_id == programme_id))
    return {row.id: row.name for row in rows}
