"""Measures over a term of a large programme: time, memory, growth, and the same sums written directly in SQL.

``python -m tests.bench.bench_measures`` builds 100, 300, 1,000 and 2,000 schools (or the sizes given) in throw-away
databases. Of each it times all frames and measures once, the core tables beside SQL, and the programme term report.
``--profile all|core|report FILE`` prints where the time of a database goes. The limits are for two processors: read and
core come first, then two processes share the steps; by the clock, so measure on a machine that does nothing else.
"""

from __future__ import annotations

import cProfile
import json
import multiprocessing
import os
import pstats
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from tests.bench.big import CLOSES, OPENS, build
from tests.bench.measured import AS_OF, Clock, Read, core, service_measures, supply_measures, use_measures
from tests.bench.measured_more import (
    cost_measures,
    crowding_measures,
    lesson_measures,
    need_measures,
    repair_measures,
    water_measures,
)
from tracker.db import make_engine, reading
from tracker.records import frames

SIZES = (100, 300, 1000, 2000)
MUST_HOLD = 1000  # schools
TURNS = 5
LIMIT_S, LIMIT_MIB, LIMIT_SQL = 10.0, 1024, 3.0
STEPS = (use_measures, service_measures, supply_measures, repair_measures, crowding_measures, need_measures)
STEPS += (lesson_measures, cost_measures, water_measures)


SQL_LITRES = """
WITH v AS (SELECT unit_id, week, sum(visits) AS n FROM usage_count WHERE how = 'grid' GROUP BY unit_id, week),
r AS (SELECT v.*, sum(n) OVER (PARTITION BY unit_id ORDER BY week) AS after FROM v)
SELECT r.unit_id, r.week, f.kind, CASE f.kind
  WHEN 'flush_two_stage' THEN CAST(round(r.n * (f.ml + 1.0 * l.long_visits / l.seen * (f.long_ml - f.ml))) AS INTEGER)
  WHEN 'floor_wash' THEN (r.after / f.every_n - (r.after - r.n) / f.every_n) * f.ml ELSE r.n * f.ml END
FROM r JOIN fitting f ON f.unit_id = r.unit_id AND f.from_day <= r.week
LEFT JOIN long_week l ON l.unit_id = r.unit_id AND l.week = r.week"""
SQL_DOWN = f"""
WITH o AS (SELECT u.id, u.school_id, o.cause, julianday(o.start_at) * 1440 + 180 AS a,
  julianday(o.end_at) * 1440 + 180 AS b FROM outage o JOIN unit u ON u.id = o.unit_id),
h AS (SELECT school_id, day, julianday(day) * 1440 + {OPENS} AS a, julianday(day) * 1440 + {CLOSES} AS b
  FROM school_day)
SELECT o.id, h.day, o.cause, CAST(round(sum(min(o.b, h.b) - max(o.a, h.a))) AS INTEGER) AS down
FROM o JOIN h ON h.school_id = o.school_id AND h.b > o.a AND h.a < o.b GROUP BY o.id, h.day, o.cause"""
SQL_VENDS = """
WITH r AS (SELECT value, lag(value) OVER (PARTITION BY unit_id ORDER BY at) AS before, unit_id, week
  FROM reading WHERE quantity = 'vends')
SELECT r.unit_id, r.week, (r.value - coalesce(r.before, d.first_value) + 10000) % 10000
FROM r JOIN meter_install d ON d.unit_id = r.unit_id AND d.quantity = 'vends'"""
SQL_SOLD_OUT = """
SELECT m.unit_id, s.week, sum(m.ran_out) FROM machine_day m JOIN unit u ON u.id = m.unit_id
JOIN school_day s ON s.school_id = u.school_id AND s.day = m.day GROUP BY m.unit_id, s.week"""
SQL = (SQL_LITRES, SQL_DOWN, SQL_VENDS, SQL_SOLD_OUT)


def in_sql(session: Session) -> tuple[float, list[list[tuple[Any, ...]]]]:
    """The core tables written directly: seconds, and their rows, each with its number last."""
    start = time.process_time()
    connection = session.connection()
    found = [[tuple(row) for row in connection.exec_driver_sql(query)] for query in SQL]
    return time.process_time() - start, found


def as_in_sql(made: dict[str, Any], machine_weeks: pd.DataFrame) -> list[list[tuple[Any, ...]]]:
    """The measures' tables with the columns of ``SQL``."""
    kinds = made["water"]["fitting"].str.split(" ").str[0]
    tables = (
        (made["water"].assign(kind=kinds), ["unit_id", "week", "kind", "ml"]),
        (made["down"], ["unit_id", "day", "cause", "down_min"]),
        (made["given"], ["unit_id", "week", "given_out"]),
        (machine_weeks, ["unit_id", "week", "sold_out_days"]),
    )
    found = []
    for frame, columns in tables:
        rows = frame[columns].assign(**{columns[1]: frame[columns[1]].dt.strftime("%Y-%m-%d")})
        rows[columns[-1]] = rows[columns[-1]].astype("int64")
        found.append(list(rows.itertuples(index=False, name=None)))
    return found


def everything(path: str) -> dict[str, Any]:
    """Every frame and every measure, once, in a process that did nothing before."""
    engine, clock = make_engine(f"sqlite:///{path}"), Clock()
    with reading(engine) as session:
        in_sql(session)  # so that the file is not read cold
        start, worked = time.perf_counter(), time.process_time()
        read = Read(session, clock)
        made = core(read, clock)
        for step in STEPS[:-1]:
            step(read, made, clock)
        before_water = time.process_time()
        STEPS[-1](read, made, clock)
        water = time.process_time() - before_water
        total, process = time.perf_counter() - start, time.process_time() - worked
    return {"total_s": total, "process_s": process, "water_s": water, "steps": clock.steps, "mib": most_mib()}


FIRST_HALF = (use_measures, water_measures, supply_measures, need_measures)
SECOND_HALF = (service_measures, supply_measures, repair_measures, crowding_measures, lesson_measures, cost_measures)
FOR_COST = ("due", "visits_total", "visits_by_school")  # what the second half takes from the first


def on_two_processors(path: str) -> dict[str, Any]:
    """Every frame and every measure, shared by two processes: read and core first, then each does half of the steps.

    By the clock, for this is what a machine of two processors takes. The memory is that of both together, pages that
    they share counted once.
    """
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe(duplex=False)
    engine = make_engine(f"sqlite:///{path}")
    with reading(engine) as session:
        in_sql(session)  # so that the file is not read cold
        start = time.perf_counter()
        read = Read(session, Clock())
        made = core(read, Clock())
        first = context.Process(target=_half, args=(read, made, theirs))
        first.start()
        peak = Peak(os.getpid(), first.pid or 0)
        for step in SECOND_HALF[:-1]:
            step(read, made, Clock())
        made |= ours.recv()
        SECOND_HALF[-1](read, made, Clock())
        first.join()
        seconds = time.perf_counter() - start
    if first.exitcode != 0:
        raise AssertionError("the first half failed")
    return {"two_s": seconds, "two_mib": peak.stop()}


def _half(read: Read, made: dict[str, Any], to: Any) -> None:
    FIRST_HALF[0](read, made, Clock())
    to.send({name: made[name] for name in FOR_COST})
    for step in FIRST_HALF[1:]:
        step(read, made, Clock())


class Peak:
    """The most memory of two processes together, looked at ten times a second."""

    def __init__(self, *pids: int) -> None:
        self._pids, self._most, self._ended = pids, 0, threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def _look(self) -> None:
        while not self._ended.wait(0.1):
            self._most = max(self._most, sum(map(_shared_out, self._pids)))

    def stop(self) -> float:
        """End looking; the most, in MiB."""
        self._ended.set()
        self._thread.join()
        return self._most / 1024


def _shared_out(pid: int) -> int:
    """KiB of a process, its part of shared pages; 0 where it has ended."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("Pss:")), 0)


def core_beside_sql(path: str) -> dict[str, Any]:
    """The core tables with the frames they need, and the same in SQL: medians of runs that take turns.

    Both sides have run once before: statements are compiled, libraries loaded, the file is in memory.

    Raises:
        AssertionError: the two differ in a row.
    """
    engine = make_engine(f"sqlite:///{path}")
    ours, theirs = [], []
    with reading(engine) as session:
        for turn in range(1 + TURNS):
            start = time.process_time()
            read = Read(session, Clock(), whole=False)
            made = core(read, Clock())
            ours += [time.process_time() - start] * (turn > 0)
            seconds, direct = in_sql(session)
            theirs += [seconds] * (turn > 0)
    for mine, straight in zip(as_in_sql(made, read.machine_weeks), direct, strict=True):
        if sorted(mine) != sorted(straight):
            raise AssertionError(f"the measures and SQL differ, as in {sorted(set(mine) ^ set(straight))[:4]}")
    return {"core_s": statistics.median(ours), "sql_s": statistics.median(theirs)}


def report(path: str) -> dict[str, Any]:
    """The programme term report of all schools, opened by a process that did nothing before."""
    from tracker.reports import programme_term

    engine = make_engine(f"sqlite:///{path}")
    start, worked = time.perf_counter(), time.process_time()
    with reading(engine) as session:
        programme_term.build(session, 1, frames.terms(session, 1)[0], AS_OF, "bench")
    total, process = time.perf_counter() - start, time.process_time() - worked
    return {"report_s": total, "report_process_s": process, "report_mib": most_mib()}


def most_mib() -> float:
    """The most memory that this process ever held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


PARTS: dict[str, Callable[[str], dict[str, Any]]] = {
    "all": everything,
    "two": on_two_processors,
    "core": core_beside_sql,
    "report": report,
}


def one_size(schools: int) -> dict[str, Any]:
    """Build a database of one size, and measure each part in a process of its own, so that memory is its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.db"
        engine = make_engine(f"sqlite:///{path}")
        found = {"schools": schools, "counts": build(engine, schools)}
        engine.dispose()
        for part in PARTS:
            command = [sys.executable, "-m", "tests.bench.bench_measures", part, str(path)]
            run = subprocess.run(command, capture_output=True, text=True, check=True)
            found |= json.loads(run.stdout)
    return found


def show(found: dict[str, Any]) -> bool:
    """Print one size; whether its limits are kept (they are those of 1,000 schools)."""
    ratio = found["core_s"] / found["sql_s"]
    print(
        f"{found['schools']:>5} schools, {found['counts']:>9,} counts: all {found['total_s']:6.2f} s "
        f"({found['process_s']:.2f} of the process, {found['water_s']:.2f} of it the last step), "
        f"{found['mib']:5.0f} MiB; on two processors {found['two_s']:.2f} s, {found['two_mib']:.0f} MiB; "
        f"core {found['core_s']:.2f} s, in SQL {found['sql_s']:.2f} s, {ratio:.2f} times; "
        f"report {found['report_s']:.2f} s ({found['report_process_s']:.2f}), {found['report_mib']:.0f} MiB",
        flush=True,
    )
    return found["two_s"] < LIMIT_S and found["two_mib"] < LIMIT_MIB and ratio < LIMIT_SQL


def profiled(part: str, path: str) -> None:
    """Where the time of one part of one database goes."""
    profile = cProfile.Profile()
    profile.runcall(PARTS[part], path)
    pstats.Stats(profile).sort_stats("cumulative").print_stats(r"tracker|bench", 60)
    pstats.Stats(profile).sort_stats("tottime").print_stats(40)


def main(arguments: list[str]) -> int:
    """Build, measure, print; 1 where a limit is missed at 1,000 schools."""
    if arguments[:1] == ["--profile"]:
        profiled(*arguments[1:3])
        return 0
    if arguments and arguments[0] in PARTS:
        print(json.dumps(PARTS[arguments[0]](arguments[1])))
        return 0
    sizes = [int(size) for size in arguments] or SIZES
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    found = [one_size(size) for size in sizes]
    kept = {each["schools"]: show(each) for each in found}
    for name, seconds in sorted(found[-1]["steps"].items(), key=lambda step: -step[1])[:30]:
        print(f"    {name:<36}{seconds:6.2f} s")
    print(f"load {os.getloadavg()[0]:.1f}")
    return 0 if kept.get(MUST_HOLD, True) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
