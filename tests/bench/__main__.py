"""Time what people open: ``python -m tests.bench``. Builds the demo in a throw-away database; changes nothing.

Server time is processor time of this process, so that a busy machine does not decide; the median of five after one
warm run (statements compiled, charts drawn). Each report is timed twice: opened while nothing was written since it
was last opened, and read anew, as the first opening after something was written. The targets are for the opening.
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


def timed(name: str, act: Callable[[], object], limit: float | None = None) -> Timing:
    """Median of five runs after a warm one."""
    act()
    server, wall = [], []
    for _ in range(REPEATS):
        start, clock = time.process_time(), time.perf_counter()
        act()
        server.append((time.process_time() - start) * 1000)
        wall.append((time.perf_counter() - clock) * 1000)
    return Timing(name, statistics.median(server), statistics.median(wall), limit)


def opened(build: Callable[..., Report], engine, *about: object) -> Callable[[], Report]:
    """Open a report as a request does: a new session, the report, its charts from memory."""

    def act() -> Report:
        with reading(engine) as session:
            report = build(session, *about, AS_OF, "bench")
        for section in report.sections:
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
    wanted = [
        (f"school term report, {school.code}", opened(school_term.build, engine, school.id, term), 150)
        for school in schools[:3]
    ]
    wanted.append(("programme term report", opened(programme_term.build, engine, programme.id, term), 500))
    wanted.append(("impact summary", opened(impact_summary.build, engine, programme.id, term), 500))
    found = [timed(name, act, limit) for name, act, limit in wanted]
    return found + [timed(f"{name}, read anew", forgetful(act)) for name, act, _ in wanted]


def forgetful(act: Callable[[], object]) -> Callable[[], object]:
    """The same after forgetting what was read."""

    def anew() -> object:
        facts.MEMORY.clear()
        return act()

    return anew


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
