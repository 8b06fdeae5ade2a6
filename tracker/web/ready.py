"""Reports made ready outside requests, so that opening one is quick also after somebody saved something.

One thread of low rank works for the whole application. It makes the current term's report of a school that was
written to, and the programme's, draws their charts, and forgets them again: what they read and worked out stays in
the reports' memory, which gives nothing back that the records no longer say. Only a served application has it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime
from threading import Condition, Thread

from flask import Flask, Response, request, request_finished
from sqlalchemy import Engine

from tracker.db import reading
from tracker.web.state import EXTENSION, State

LOG = logging.getLogger(__name__)
WAIT_S = 2.0  # a sheet is followed by others; they are waited for
SAVED = (302, 303)  # a form that was taken leads on
AT_START = 20  # schools whose reports are made ready when the server starts
Job = tuple[str, int]  # "school" or "programme", and its id


class Ready:
    """The jobs that wait, each at most once, and the thread that does them."""

    def __init__(self, engine: Engine, now: Callable[[], datetime]) -> None:
        self._engine, self._now = engine, now
        self._jobs: dict[Job, None] = {}
        self._asked = Condition()

    def ask(self, *jobs: Job) -> None:
        """Have reports made ready soon; a job that waits already waits on."""
        with self._asked:
            self._jobs |= dict.fromkeys(jobs)
            self._asked.notify()

    def work(self, wait_s: float = WAIT_S) -> None:
        """Do jobs for ever; what goes wrong with one is logged and does not stop the others."""
        while True:
            with self._asked:
                self._asked.wait_for(lambda: bool(self._jobs))
                self._asked.wait(wait_s)
                job = next(iter(self._jobs))
                del self._jobs[job]
            try:
                make(self._engine, job, self._now())
            except Exception:
                LOG.exception("a report could not be made ready")


def make(engine: Engine, job: Job, as_of: datetime) -> None:
    """Make the current term's report of a school or a programme, and draw its charts."""
    from tracker.records import heads
    from tracker.reports import build, charts

    kind, owner_id = job
    with reading(engine) as session:
        programme_id = heads.programme_of_school(session, owner_id) if kind == "school" else owner_id
        begun = build.begun(session, programme_id, as_of)
        if not begun:
            return
        maker = build.school if kind == "school" else build.programme
        report = maker(session, owner_id, begun[0], build.known_by(session, as_of))
    for section in report.sections:
        for chart in section.charts:
            charts.svg(chart)


def start(app: Flask) -> Ready:
    """Start the thread: the programmes' and some schools' reports first, then those of schools that are written to."""
    from tracker.records import people

    state: State = app.extensions[EXTENSION]
    ready = Ready(state.engine, state.now)
    with reading(state.engine) as session:
        for programme_id in people.programme_ids(session):
            schools = people.schools_of(session, programme_id)[:AT_START]
            ready.ask(("programme", programme_id), *(("school", school.id) for school in schools))

    def written(_app: Flask, response: Response, **_more: object) -> None:
        school_id = (request.view_args or {}).get("school_id")
        if request.method == "POST" and school_id is not None and response.status_code in SAVED:
            ready.ask(("school", int(school_id)))

    request_finished.connect(written, app, weak=False)
    Thread(target=ready.work, name="reports-ready", daemon=True).start()
    return ready
