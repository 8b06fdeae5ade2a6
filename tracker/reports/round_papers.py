"""The papers of a round: what to load by lot, a note to sign for each stop. Quantities only, nothing about pupils."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from tracker.records import ledger, rounds_ledger
from tracker.records.frames import Session
from tracker.records.rounds_read import DayView, Product, RoundView, StopView

UNKNOWN_LOT = "not known"


@dataclass(frozen=True, slots=True)
class Picked:
    """Pieces of a lot to take from the store: ``expires_on`` None: it does not expire, or nobody knows."""

    product: str
    code: str
    lot: str
    expires_on: date | None
    pieces: int
    unit: str
    packs: str


@dataclass(frozen=True, slots=True)
class PickList:
    """What a vehicle-day loads, first expiry first. ``loaded``: it was loaded so; else it is what would be taken now.

    short: sentences about products of which the store has too few pieces that have not expired.
    """

    day: DayView
    lines: tuple[Picked, ...]
    loaded: bool
    short: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NoteLine:
    """A product on a delivery note."""

    product: str
    code: str
    pieces: int
    unit: str
    packs: str


@dataclass(frozen=True, slots=True)
class DeliveryNote:
    """What one school gets, to be signed there. ``other_goods``: a product that is not a menstrual supply is on it."""

    code: str
    stop: StopView
    day: DayView
    lines: tuple[NoteLine, ...]
    other_goods: bool


def packs_words(pieces: int, pack_size: int, unit: str) -> str:
    """Pieces as packs and what is left over.

    >>> packs_words(45, 10, "napkins"), packs_words(40, 10, "napkins"), packs_words(5, 10, "bars")
    ('4 packs and 5 napkins', '4 packs', '5 bars')
    """
    full, loose = divmod(pieces, pack_size)
    words = [f"{full} {'pack' if full == 1 else 'packs'}"] if full else []
    words += [f"{loose} {unit or 'pieces'}"] if loose or not full else []
    return " and ".join(words)


def pick_lists(session: Session, view: RoundView) -> tuple[PickList, ...]:
    """A pick list for each vehicle-day, in order: a lot that an earlier one takes is not offered to a later one.

    A lot that expires before the next round is not offered, as it was not planned with.
    """
    held: dict[int, list[list[object]]] = defaultdict(list)
    for row in ledger.balances(session, view.round.programme_id, place_ids=[view.round.store_id]):
        held[row.product_id].append([row.lot, row.expires_on, row.quantity])
    return tuple(
        _loaded(session, day) if day.row.set_out_at else _planned(day, held, view.round.next_day) for day in view.days
    )


def _planned(day: DayView, held: dict[int, list[list[object]]], next_round: date) -> PickList:
    lines, short = [], []
    for product, wanted in day.wanted():
        rest = wanted
        for lot in sorted(held[product.id], key=lambda row: (row[1] or date.max, row[0])):
            code, until, there = str(lot[0]), lot[1], int(str(lot[2]))
            if isinstance(until, date) and until < max(day.row.day, next_round):
                continue
            taken = min(rest, there)
            if taken:
                lot[2], rest = there - taken, rest - taken
                lines.append(_picked(product, code, until if isinstance(until, date) else None, taken))
        if rest:
            unit = rounds_ledger.words(product)
            short.append(
                f"{wanted} {unit} of {product.name} are planned, and the store has {wanted - rest} that keep until "
                "the next round. Take schools out, or count the store."
            )
    return PickList(day, tuple(lines), False, tuple(short))


def _loaded(session: Session, day: DayView) -> PickList:
    lines = [_picked(product, code, until, pieces) for product, code, until, pieces in day.loaded_lots(session)]
    return PickList(day, tuple(lines), True, ())


def _picked(product: Product, lot: str, until: date | None, pieces: int) -> Picked:
    unit = rounds_ledger.words(product)
    words = packs_words(pieces, product.pack_size, unit)
    shown = UNKNOWN_LOT if lot == "unknown" else lot
    return Picked(product.name, product.code, shown, until, pieces, unit, words)


def delivery_notes(view: RoundView) -> tuple[DeliveryNote, ...]:
    """A note for each stop on a vehicle-day, in the order of the stops."""
    notes = []
    for day in view.days:
        for stop in day.stops:
            lines = tuple(
                NoteLine(
                    product.name,
                    product.code,
                    line.planned,
                    rounds_ledger.words(product),
                    packs_words(line.planned, product.pack_size, rounds_ledger.words(product)),
                )
                for line, product in stop.lines
            )
            other = any(not product.menstrual for _, product in stop.lines)
            notes.append(DeliveryNote(f"{view.round.code}-{stop.school.code}", stop, day, lines, other))
    return tuple(notes)
