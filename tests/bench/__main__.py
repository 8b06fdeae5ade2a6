"""Time what people open: ``python -m tests.bench``. Builds the demo in a throw-away database; changes nothing.

Server time is processor time of this process, so that a busy machine does not decide; the median of five after one
warm run (statements compiled, charts drawn). Each report is timed in four states: nothing was written since it was last
opened; something was written that it does not rest on; a row of its own was changed (for this state charts are not
drawn: a new figure makes a new chart); nothing is in memory, as after a start. The targets are for the first two.
Exits with 1 where a target is missed.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy.orm import Session

from tests.demo_file import copy_to
from tracker.db import make_engine, reading
from tracker.records import frames
from tracker.reports import charts, facts, impact_summary, programme_term, school_term
from tracker.reports.report import Report

AS_OF = datetime(2026, 8, 1, tzinfo=UTC)
REPEATS = 5
ELSEWHERE = "UPDATE person SET name = name || '.' WHERE id = (SELECT min(id) FROM person)"
OWN_ROW = """
UPDATE outage SET end_at = datetime(end_at, '+1 minute') WHERE id = (
  SELECT max(outage.id) FROM outage JOIN unit ON unit.id = outage.unit_id JOIN school ON school.id = unit.school_id
  WHERE school.id = {whose} AND date(start_at) BETWEEN '{first}' AND '{last}' AND end_at IS NOT NULL)"""


@dataclass(frozen=True)
class Timing:
    """One thing that was timed, in milliseconds; ``limit`` None where there is no target."""

    name: str
    server_ms: float
    wall_ms: float
    limit: float | None = None

    @property
    def kept(self) -> bool:
        return self.limit is None or self.server_ms < self.limit

    def __str__(self) -> str:
        target = "" if self.limit is None else f"  target under {self.limit:.0f}: {'kept' if self.kept else 'MISSED'}"
        return f"{self.name:<44}{self.server_ms:8.0f} ms server{self.wall_ms:8.0f} ms by the clock{target}"


def timed(
    name: str, act: Callable[[], object], limit: float | None = None, before: Callable[[], object] = int
) -> Timing:
    """Median of five runs after a warm one; ``before`` each of them, untimed, something is done."""
    act()
    server, wall = [], []
    for _ in range(REPEATS):
        before()
        start, clock = time.process_time(), time.perf_counter()
        act()
        server.append((time.process_time() - start) * 1000)
        wall.append((time.perf_counter() - clock) * 1000)
    return Timing(name, statistics.median(server), statistics.median(wall), limit)


def opened(build: Callable[..., Report], engine, *about: object, drawn: bool = True) -> Callable[[], Report]:
    """Open a report as a request does: a new session, the report, its charts from memory."""

    def act() -> Report:
        with reading(engine) as session:
            report = build(session, *about, AS_OF, "bench")
        for section in report.sections if drawn else ():
            for chart in section.charts:
                charts.svg(chart)
        return report

    return act


def run(engine) -> list[Timing]:
    """All timings at demo size: 12 schools, the third term beside the second."""
    with Session(engine) as session:
        programme = frames.programme(session, 1)
        term = next(one for one in frames.terms(session, programme.id) if one.code == "2025-T3")
        schools = frames.schools(session, frames.Scope(programme.id, term.first_day, term.last_day))
    wanted: list[tuple[str, Callable[..., Report], int, int]] = [
        (f"school term report, {school.code}", school_term.build, school.id, 150) for school in schools[:3]
    ]
    wanted.append(("programme term report", programme_term.build, programme.id, 500))
    wanted.append(("impact summary", impact_summary.build, programme.id, 500))
    return [timing for one in wanted for timing in states(engine, term, *one)]


def states(engine, term, name: str, build: Callable[..., Report], about: int, limit: float) -> list[Timing]:
    """One report in each state."""
    opening = opened(build, engine, about, term)
    bare = opened(build, engine, about, term, drawn=False)
    own = OWN_ROW.format(
        first=term.first_day, last=term.last_day, whose=about if build is school_term.build else "school.id"
    )
    return [
        timed(name, opening, limit),
        timed(f"{name}, written elsewhere", opening, limit, lambda: written(engine, ELSEWHERE)),
        timed(f"{name}, own row written", bare, None, lambda: written(engine, own)),
        timed(f"{name}, nothing in memory", opening, None, facts.MEMORY.clear),
    ]


def written(engine, change: str) -> None:
    """Change one row, as another connection does."""
    with engine.begin() as connection:
        if connection.exec_driver_sql(change).rowcount != 1:
            raise LookupError("the demo has no such row")


def main() -> int:
    """Load, time, print."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{copy_to(Path(folder))}")
        found = run(engine)
        engine.dispose()
    for timing in found:
        print(timing)
    return 0 if all(timing.kept for timing in found) else 1


if __name__ == "__main__":
    sys.exit(main())
