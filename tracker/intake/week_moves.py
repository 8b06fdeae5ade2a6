"""Counts at places, and what was put in, received or handed out: cells to rows of the ledger and back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracker.intake.week_cells import Cells, FactRow, SheetFacts, ref_for
from tracker.intake.week_layout import Layout, key
from tracker.intake.week_plan import PlanStock
from tracker.intake.week_walk import Filled, Reading, at_reading, read_on
from tracker.vocabulary import MoveReason, PlaceKind

UNKNOWN_LOT = "unknown"
WAS = ("ref", "lot", "day", "from_place")


def write_supplies(layout: Layout, cells: Cells, made: SheetFacts) -> None:
    """Counts at places, and what was put in or received."""
    day, _ = read_on(layout, cells)
    for stock in layout.plan.stocks:
        left = key("left", stock.place, stock.product)
        if cells.get(left):
            row = {"place": stock.place, "product": stock.product, "day": day, "quantity": cells[left]}
            made.add("stock_counts", row, dict.fromkeys(row, left) | {"day": "read:day"})
        for move in _moves_of(stock):
            moved = key(move.cell, stock.place, stock.product)
            if cells.get(moved):
                row = _move(layout, move, stock, cells, day)
                made.add("stock_moves", row, {"quantity": moved, "day": "read:day"})


@dataclass(frozen=True, slots=True)
class Move:
    """A move that a cell stands for: its cell's family, its letter in references, its two places, its reason."""

    cell: str
    letter: str
    start: str
    end: str
    reason: MoveReason


def _moves_of(stock: PlanStock) -> list[Move]:
    machine = stock.kind is PlaceKind.MACHINE
    reason = MoveReason.REFILL if machine else MoveReason.DELIVERY
    found = [Move("put" if machine else "got", "m", stock.source, stock.place, reason)]
    if stock.outlet:
        found.append(Move("gave", "g", stock.place, stock.outlet, MoveReason.GIVEN_OUT))
    return found


def _usual(layout: Layout, move: Move, stock: PlanStock, day: str) -> tuple[str, str, str, str]:
    """Reference, lot, day and origin of a move that the sheet itself makes."""
    return ref_for(layout.plan.code, move.letter, stock.place, stock.product), UNKNOWN_LOT, day, move.start


def _move(layout: Layout, move: Move, stock: PlanStock, cells: Cells, day: str) -> FactRow:
    parts = cells.get(key(f"was-{move.cell}", stock.place, stock.product), "").split("|")
    ref, lot, moved_on, source = parts if len(parts) == len(WAS) else _usual(layout, move, stock, day)
    return {
        "ref": ref,
        "from_place": source,
        "to_place": move.end,
        "product": stock.product,
        "lot": lot,
        "quantity": cells[key(move.cell, stock.place, stock.product)],
        "day": moved_on,
        "reason": move.reason.value,
        "note": "",
    }


def read_counts(walk: Reading, row: FactRow) -> Filled:
    """A count on the day of reading."""
    return {key("left", row["place"], row["product"]): row["quantity"]} if at_reading(walk, row["day"]) else None


def read_moves(walk: Reading, row: FactRow) -> Filled:
    """What came to a place or was handed out: the first move is shown, with its lot and day; others stay."""
    found = next((pair for pair in _known_moves(walk.layout) if _same(*pair, row)), None)
    if found is None or row.get("note"):
        return None
    move, stock = found
    was = tuple(row[name] for name in WAS)
    usual = _usual(walk.layout, move, stock, walk.cells.get("read:day", ""))
    return {
        key(move.cell, stock.place, stock.product): row["quantity"],
        key(f"was-{move.cell}", stock.place, stock.product): "" if was == usual else "|".join(was),
    }


def _known_moves(layout: Layout) -> Iterator[tuple[Move, PlanStock]]:
    for stock in layout.plan.stocks:
        for move in _moves_of(stock):
            yield move, stock


def _same(move: Move, stock: PlanStock, row: FactRow) -> bool:
    if (row["product"], row["reason"], row["to_place"]) != (stock.product, move.reason.value, move.end):
        return False
    return move.reason is not MoveReason.GIVEN_OUT or row["from_place"] == stock.place
