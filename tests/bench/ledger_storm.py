"""Eight writers at once, killed at random moments and started again: no move lost, none doubled, no balance wrong.

``python -m tests.bench.ledger_storm`` runs 10,000 moves on a new SQLite file, and on the PostgreSQL server that
WASHBELL_TEST_POSTGRES names. The suite runs fewer (tests/records/test_ledger_storm.py).

Each writer says in a file of its own, outside the database, what it is about to post ("intent") and what was committed
("ack") or refused. After a kill it is started again and posts its last unanswered intent under the same ref.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sqlalchemy import Engine, case, func, insert, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from tests.make import make_programme, make_school
from tracker.db import make_engine, writing
from tracker.migrate import upgrade
from tracker.models.supplies import Lot, Product, StockMove, StockPlace
from tracker.records import ledger
from tracker.records.ledger import LedgerError, Move
from tracker.vocabulary import MoveReason, PlaceKind

DAY = date(2026, 2, 2)
INNER = 6  # a store, a vehicle and four cupboards
PRODUCTS = 2
REPORTED_SHARE = 0.02  # of the moves come as a report, which is never refused


@dataclass(frozen=True)
class Told:
    """What the writers' files say: moves that were committed, refused, and never answered."""

    acked: dict[str, tuple[int, int, int, int]]
    refused: set[str]
    open: dict[str, tuple[int, int, int, int]]


# --- the world ----------------------------------------------------------------------------------------------------


def build(engine: Engine) -> None:
    """Places and products with low ids that every writer knows; some stock to begin with."""
    with writing(engine) as session:
        programme = make_programme(session)
        school = make_school(session, programme)
        kinds = [PlaceKind.STORE, PlaceKind.VEHICLE, *[PlaceKind.CUPBOARD] * (INNER - 2)]
        kinds += [PlaceKind.SUPPLIER, PlaceKind.GIVEN_OUT, PlaceKind.LOSS, PlaceKind.DIFFERENCE]
        for number, kind in enumerate(kinds, start=1):
            at = school.id if kind is PlaceKind.CUPBOARD else None
            place = StockPlace(
                id=number, programme_id=programme.id, code=f"P{number}", name=f"Place {number}", kind=kind
            )
            place.school_id = at
            session.add(place)
        for number in range(1, PRODUCTS + 1):
            product = Product(id=number, programme_id=programme.id, code=f"N{number}", name="napkins", menstrual=True)
            product.pack_size, product.unit_cost_minor = 10, 5
            session.add(product)
            session.flush()
            for code, until in (("unknown", None), ("A", date(2026, 9, 1)), ("B", date(2027, 9, 1))):
                session.add(Lot(product_id=number, code=code, expires_on=until))
        session.commit()


def random_move(dice: random.Random, ref: str, lots: dict[int, list[int]]) -> Move:
    """A move from one place to another; now and then of more than there can be."""
    start = dice.choice([*range(1, INNER + 1), INNER + 1, INNER + 1])
    end = dice.choice([place for place in [*range(1, INNER + 1), INNER + 2] if place != start])
    product = dice.randint(1, PRODUCTS)
    lot = dice.choice(lots[product]) if start == INNER + 1 or dice.random() < 0.3 else None
    return Move(ref, start, end, product, dice.randint(1, 60), DAY, MoveReason.TRANSFER, lot_id=lot)


# --- one writer ---------------------------------------------------------------------------------------------------


def work(url: str, number: int, log: Path, moves: int) -> None:
    """Post this writer's moves, from where its file ends."""
    engine = make_engine(url)
    with writing(engine) as session:
        lots: dict[int, list[int]] = {}
        for product, lot in session.execute(select(Lot.product_id, Lot.id).order_by(Lot.id)):
            lots.setdefault(product, []).append(lot)
        session.rollback()
    lines = [line.split() for line in log.read_text().splitlines()] if log.exists() else []
    answered = sum(1 for line in lines if line[0] != "intent")
    with log.open("a", buffering=1) as out:
        for done in range(answered, moves):
            ref = f"w{number}.{done}"
            dice = random.Random(ref)
            move = random_move(dice, ref, lots)
            out.write(f"intent {ref} {move.from_place_id} {move.to_place_id} {move.product_id} {move.quantity}\n")
            out.write(f"{_post_until_answered(engine, move, reported=dice.random() < REPORTED_SHARE)} {ref}\n")


def _post_until_answered(engine: Engine, move: Move, *, reported: bool) -> str:
    while True:
        try:
            with writing(engine) as session:
                _report(session, move) if reported else ledger.post(session, move)
                session.commit()
            return "ack"
        except LedgerError:
            return "refused"
        except DBAPIError as error:  # the database was busy for longer than it waits
            if "locked" not in str(error):
                raise


def _report(session: Session, move: Move) -> None:
    """Write the move as a sheet does, if it is not there yet."""
    programme = session.scalar(select(StockPlace.programme_id).limit(1)) or 0
    with ledger.reported(session, programme, [move.from_place_id, move.to_place_id]):
        if session.scalar(select(StockMove.id).where(StockMove.ref == move.ref)) is None:
            row = {"programme_id": programme, "ref": move.ref, "quantity": move.quantity, "day": DAY, "week": DAY}
            row |= {"from_place_id": move.from_place_id, "to_place_id": move.to_place_id, "reason": move.reason}
            lot = move.lot_id or ledger.unknown_lot(session, move.product_id)
            session.execute(insert(StockMove), [{**row, "lot_id": lot, "note": ""}])


# --- the storm ----------------------------------------------------------------------------------------------------


def storm(url: str, folder: Path, *, moves: int, writers: int, kills: int, seed: int) -> Told:
    """Run the writers to the end, killing one at a random moment ``kills`` times."""
    dice = random.Random(seed)
    logs = [folder / f"writer{number}.log" for number in range(writers)]
    running = {number: _start(url, number, logs[number], moves // writers) for number in range(writers)}
    left = kills
    while running:
        time.sleep(dice.uniform(0.05, 0.4))
        if left:
            victim = dice.choice(sorted(running))
            running[victim].send_signal(signal.SIGKILL)
            left -= 1
        for number, process in list(running.items()):
            code = process.poll()
            if code == 0:
                del running[number]
            elif code is not None and code == -signal.SIGKILL:
                running[number] = _start(url, number, logs[number], moves // writers)
            elif code is not None:
                raise RuntimeError(f"writer {number} ended with {code}")
    return told(logs)


def _start(url: str, number: int, log: Path, moves: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.bench.ledger_storm", "--writer", url, str(number), str(log), str(moves)]
    return subprocess.Popen(command)


def told(logs: list[Path]) -> Told:
    """Read the writers' files."""
    intents: dict[str, tuple[int, int, int, int]] = {}
    answers: dict[str, str] = {}
    for log in logs:
        for line in log.read_text().splitlines():
            word, ref, *numbers = line.split()
            if word == "intent":
                start, end, product, pieces = (int(one) for one in numbers)
                intents[ref] = (start, end, product, pieces)
            else:
                answers[ref] = word
    return Told(
        {ref: one for ref, one in intents.items() if answers.get(ref) == "ack"},
        {ref for ref, word in answers.items() if word == "refused"},
        {ref: one for ref, one in intents.items() if ref not in answers},
    )


def wrong(engine: Engine, said: Told) -> list[str]:
    """Everything that does not hold; empty where all does."""
    found = []
    with writing(engine) as session:
        posted = _posted(session)
        for ref, (start, end, product, pieces) in said.acked.items():
            if posted.get(ref) != (start, end, product, pieces):
                found.append(f"acked {ref} {(start, end, product, pieces)} stands as {posted.get(ref)}")
        found += [f"refused {ref} stands" for ref in said.refused if ref in posted]
        found += [f"{ref} was never meant" for ref in posted if ref not in said.acked and ref not in said.open]
        found += [f"balance {one}" for one in ledger.check(session)]
        low = session.scalar(text("SELECT COUNT(*) FROM stock_balance WHERE quantity < 0 OR NOT guarded"))
        found += [f"{low} balances below zero"] if low else []
        found += _by_hand(session, posted)
        session.rollback()
    return found


def _posted(session: Session) -> dict[str, tuple[int, int, int, int]]:
    rows = select(StockMove.ref, StockMove.from_place_id, StockMove.to_place_id, Lot.product_id, StockMove.quantity)
    rows = rows.join(Lot, Lot.id == StockMove.lot_id).where(StockMove.worked_out.is_(None))
    found: dict[str, tuple[int, int, int, int]] = {}
    for whole_ref, start, end, product, pieces in session.execute(rows):
        ref = whole_ref.split("/")[0]
        before = found.get(ref, (start, end, product, 0))
        found[ref] = (*before[:3], before[3] + pieces)
    return found


def _by_hand(session: Session, posted: dict[str, tuple[int, int, int, int]]) -> list[str]:
    """Each place's pieces of a product, summed from the writers' moves and the shortfalls, beside the balances."""
    sums: dict[tuple[int, int], int] = {}
    for start, end, product, pieces in posted.values():
        sums[end, product] = sums.get((end, product), 0) + pieces
        sums[start, product] = sums.get((start, product), 0) - pieces
    for place in range(1, INNER + 1):
        inward = func.sum(case((StockMove.to_place_id == place, StockMove.quantity), else_=-StockMove.quantity))
        query = select(Lot.product_id, inward).join(Lot, Lot.id == StockMove.lot_id)
        query = query.where((StockMove.to_place_id == place) | (StockMove.from_place_id == place))
        for product, pieces in session.execute(query.where(StockMove.worked_out.is_not(None)).group_by(Lot.product_id)):
            sums[place, product] = sums.get((place, product), 0) + int(pieces)
    programme = session.scalar(select(StockPlace.programme_id).limit(1)) or 0
    held: dict[tuple[int, int], int] = {}
    for row in ledger.balances(session, programme):
        held[row.place_id, row.product_id] = held.get((row.place_id, row.product_id), 0) + row.quantity
    keys = [(place, product) for place in range(1, INNER + 1) for product in range(1, PRODUCTS + 1)]
    return [
        f"{key}: {held.get(key, 0)} held, {sums.get(key, 0)} moved"
        for key in keys
        if held.get(key, 0) != sums.get(key, 0)
    ]


def run(url: str, folder: Path, *, moves: int = 10_000, writers: int = 8, kills: int = 60, seed: int = 4) -> str:
    """Build, storm and look; a line of what was found.

    Raises:
        AssertionError: something does not hold.
    """
    engine = make_engine(url)
    build(engine)
    began = time.perf_counter()
    said = storm(url, folder, moves=moves, writers=writers, kills=kills, seed=seed)
    took = time.perf_counter() - began
    found = wrong(engine, said)
    name = engine.dialect.name
    engine.dispose()
    if found:
        raise AssertionError("; ".join(found[:10]))
    return (
        f"{name}: {moves:,} moves, {writers} writers, {kills} kills, {len(said.acked):,} kept, "
        f"{len(said.refused):,} refused, {len(said.open)} unanswered, {took:.0f} s"
    )


def main() -> None:
    """Both databases, in full."""
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("sqlite", "postgres"):
            place = Path(folder) / kind
            place.mkdir()
            url = f"sqlite:///{place / 'storm.db'}"
            if kind == "postgres":
                server = os.environ.get("WASHBELL_TEST_POSTGRES", "")
                if not server:
                    print("postgres: WASHBELL_TEST_POSTGRES is not set")
                    continue
                admin = make_engine(server)
                with admin.begin() as connection:
                    connection.execute(text("DROP SCHEMA IF EXISTS ledger_storm CASCADE"))
                    connection.execute(text("CREATE SCHEMA ledger_storm"))
                url = f"{server}?options=-csearch_path%3Dledger_storm"
            upgrade(make_engine(url))
            print(run(url, place), flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--writer"]:
        work(sys.argv[2], int(sys.argv[3]), Path(sys.argv[4]), int(sys.argv[5]))
    else:
        main()
