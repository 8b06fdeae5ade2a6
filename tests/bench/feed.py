"""Time the feed of devices: ``python -m tests.bench.feed [address of a PostgreSQL database]``.

100,000 readings of 20 schools (a pack a school and time, five readings each) go over HTTP to a server of its own
process, from 8 connections; then all of them once more, shuffled. Printed: packs a second of each run, the slowest
answers, and whether the second run left every row as it was. Without an address a throw-away SQLite file is used.
"""

from __future__ import annotations

import hashlib
import http.client
import json
import multiprocessing
import random
import socket
import statistics
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Engine, select

from tests.make import make_programme, make_school, make_unit
from tests.web.feed_world import dial
from tracker import models as m
from tracker.db import make_engine, reading, writing
from tracker.migrate import downgrade, upgrade
from tracker.records import channels
from tracker.vocabulary import Cause, Quantity, Signal, UnitKind
from tracker.web.feed import key_hash

SCHOOLS, TIMES, CLIENTS = 20, 1000, 8
FIRST = datetime(2026, 1, 5, 4, tzinfo=UTC)
NOW = datetime(2026, 7, 1, tzinfo=UTC)
EVERY_S = 900
SEED = 20260105


def build(engine: Engine) -> list[str]:
    """Schools with five channels each; the keys."""
    keys = []
    with writing(engine) as session:
        programme = make_programme(session)
        for number in range(SCHOOLS):
            school = make_school(session, programme)
            cabin, tank = make_unit(session, school), make_unit(session, school, kind=UnitKind.TANK)
            machine = make_unit(session, school, kind=UnitKind.MACHINE)
            dial(session, cabin, Quantity.VISITS, 6)
            dial(session, cabin, Quantity.WATER, 6, 10_000)
            dial(session, machine, Quantity.VENDS, 5)
            for name, unit, signal, cause in (
                ("visits", cabin, Signal.VISITS, None),
                ("water", cabin, Signal.WATER, None),
                ("vends", machine, Signal.VENDS, None),
                ("level", tank, Signal.LEVEL, None),
                ("fault", cabin, Signal.FAULT, Cause.BROKEN),
            ):
                channels.add_channel(session, school, channels.Wanted(name, unit.id, signal, cause, (), FIRST.date()))
            keys.append(f"key-{number}")
            channels.make_key(session, school, "box", key_hash(keys[-1]), FIRST)
        session.commit()
    return keys


def packs_of(keys: list[str]) -> list[tuple[str, bytes]]:
    """What the devices say, in the order of time: counters that rise, a fault now and then."""
    chance = random.Random(SEED)
    counts = {key: [0, 0, 0] for key in keys}
    packs = []
    for step in range(TIMES):
        at = FIRST.timestamp() + step * EVERY_S
        for key in keys:
            here = counts[key]
            for place, most in enumerate((30, 90, 3)):
                here[place] += chance.randint(0, most)
            records = [
                {"bt": at, "n": "visits", "v": here[0]},
                {"n": "water", "u": "l", "v": here[1] * 10},
                {"n": "vends", "v": here[2]},
                {"n": "level", "u": "/", "v": round(chance.random(), 2)},
                {"n": "fault", "vb": chance.random() < 0.02},
            ]
            packs.append((key, json.dumps(records).encode()))
    return packs


def serve(url: str, port: int, folder: str) -> None:
    """The application as it is served, in a process of its own."""
    import logging

    import waitress

    from tests.browse import make_app

    logging.getLogger("waitress").setLevel(logging.ERROR)  # it warns of each connection that waits its turn

    app = make_app(make_engine(url), lambda: NOW, Path(folder) / "log.jsonl")
    waitress.serve(app, host="127.0.0.1", port=port, threads=CLIENTS)


def send_all(port: int, packs: list[tuple[str, bytes]]) -> tuple[float, list[float]]:
    """Send every pack from several connections; seconds in all, and of each answer."""
    waiting = iter(packs)
    turn = threading.Lock()
    took: list[float] = []

    def work() -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        while True:
            with turn:
                pack = next(waiting, None)
            if pack is None:
                return
            begun = time.perf_counter()
            headers = {"Authorization": f"Bearer {pack[0]}", "Content-Type": "application/senml+json"}
            connection.request("POST", "/api/readings", pack[1], headers)
            answer = connection.getresponse()
            body = answer.read()
            assert answer.status == 200, body
            took.append(time.perf_counter() - begun)

    begun = time.perf_counter()
    threads = [threading.Thread(target=work) for _ in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - begun, took


def rows_hash(engine: Engine) -> str:
    """One hash over all that packs make, whatever the rows' numbers."""
    digest = hashlib.sha256()
    with reading(engine) as session:
        for model in (
            m.channels.DeviceCounter,
            m.channels.DeviceState,
            m.usage.Reading,
            m.usage.Level,
            m.outages.Outage,
        ):
            columns = [column for column in model.__table__.columns if column.name != "id"]
            for row in sorted(repr(tuple(row)) for row in session.execute(select(*columns))):
                digest.update(row.encode())
    return digest.hexdigest()


def main(url: str) -> None:
    """Run both and print."""
    with tempfile.TemporaryDirectory() as folder:
        url = url or f"sqlite:///{folder}/feed.db"
        engine = make_engine(url)
        upgrade(engine)
        keys = build(engine)
        packs = packs_of(keys)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = multiprocessing.get_context("spawn").Process(target=serve, args=(url, port, folder), daemon=True)
        server.start()
        _wait(port)
        _print("in order", packs, *send_all(port, packs))
        first = rows_hash(engine)
        again = packs.copy()
        random.Random(SEED).shuffle(again)
        _print("again, shuffled", again, *send_all(port, again))
        print("the same rows after both runs:", rows_hash(engine) == first)
        server.terminate()
        server.join()
        if engine.dialect.name != "sqlite":
            downgrade(engine, "base")
        engine.dispose()


def _wait(port: int) -> None:
    for _ in range(200):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)


def _print(name: str, packs: list[tuple[str, bytes]], seconds: float, took: list[float]) -> None:
    slow = statistics.quantiles(took, n=100)
    print(
        f"{name}: {len(packs)} packs of 5 readings in {seconds:.1f} s, {len(packs) / seconds:.0f} packs/s; "
        f"median {slow[49] * 1000:.1f} ms, 95 % under {slow[94] * 1000:.1f} ms, slowest {max(took) * 1000:.0f} ms"
    )


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "")
