"""Time a large programme's documents: ``python -m tests.bench.big_reports [schools]`` (1,000 where none are given).

The impact summary as PDF, and the programme's page as the officer opens it when the report stands in memory (ten
openings, so the 95th percentile is the slowest but one in twenty: the slowest is printed). Processor and clock seconds.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.big import build as build_big
from tests.browse import browser_with, make_app, open_login
from tests.make import make_person
from tracker.db import make_engine, reading, writing
from tracker.models.programme import Programme
from tracker.records import heads, people
from tracker.reports import build
from tracker.reports.pdf import pdf
from tracker.vocabulary import Role

OPENINGS = 10


class Stopwatch:
    """Processor and clock seconds of a block."""

    def __enter__(self) -> Stopwatch:
        self.cpu, self.clock = time.process_time(), time.perf_counter()
        return self

    def __exit__(self, *_: object) -> None:
        self.cpu, self.clock = time.process_time() - self.cpu, time.perf_counter() - self.clock

    def __str__(self) -> str:
        return f"{self.clock:.2f} s by the clock, {self.cpu:.2f} s of the processor"


def main(schools: int) -> None:
    """Build, time, print."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{folder}/big.db")
        build_big(engine, schools)
        with writing(engine) as session:
            programme_id = people.programme_ids(session)[0]
            term = heads.terms(session, programme_id)[-1]
            officer = make_person(session, session.get_one(Programme, programme_id), Role.OFFICER)
            at = datetime(term.last_day.year, term.last_day.month, term.last_day.day, 20, tzinfo=UTC)
            token = open_login(session, officer.id, at)
            session.commit()
        with reading(engine) as session:
            with Stopwatch() as made:
                report = build.impact(session, programme_id, term, build.known_by(session, at))
            print(f"impact summary of {schools} schools, built from nothing: {made}")
        with Stopwatch() as made:
            whole = pdf(report)
        print(f"its PDF, charts drawn: {made}; {len(whole) / 1024:.0f} KiB")
        app = make_app(engine, lambda: at, Path(folder) / "log.jsonl")
        browser = browser_with(app, token)
        address = f"/programmes/{programme_id}/terms/{term.code}/report"
        slowest = 0.0
        for opening in range(OPENINGS + 1):
            with Stopwatch() as made:
                answer = browser.get(address, headers={"Accept-Encoding": "gzip"})
            if opening == 0:
                print(f"programme's page of {schools} schools, first opening: {made}; {answer.status_code}")
            else:
                slowest = max(slowest, made.clock)
        print(f"slowest of {OPENINGS} openings after it: {slowest:.2f} s; {len(answer.get_data()) / 1024:.0f} KiB sent")
        engine.dispose()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
