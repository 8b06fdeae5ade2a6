"""Reports are made ready outside requests, for the school that was written to."""

import pytest
from flask import Response, request_finished

from tests.demo_file import copy_to
from tracker import demo
from tracker.app import create_app
from tracker.demo_data import DEMO_NOW
from tracker.reports import charts
from tracker.web import ready
from tracker.web.state import EXTENSION


@pytest.fixture
def app(tmp_path):
    app = create_app(demo.settings(copy_to(tmp_path)), now=lambda: DEMO_NOW)
    yield app
    app.extensions[EXTENSION].engine.dispose()


def test_a_report_made_ready_is_opened_without_drawing_again(app, monkeypatch):
    for job in (("school", 1), ("programme", 1)):
        ready.make(app.extensions[EXTENSION].engine, job, DEMO_NOW)
    monkeypatch.setattr(charts, "_render", lambda _chart: pytest.fail("drawn again"))
    with app.test_client() as officer:
        demo._log_in(officer)
        assert officer.get("/schools/1/terms/2025-T3/report").status_code == 200
        assert officer.get("/programmes/1/terms/2025-T3/report").status_code == 200


def test_a_job_waits_once_and_what_fails_does_not_stop_the_next(app, monkeypatch):
    done = []

    def made(_engine, job, _as_of):
        done.append(job)
        if job == ("school", 1):
            raise LookupError("gone")
        if job == ("school", 2):
            raise SystemExit  # the test's way out of a loop that runs for ever

    monkeypatch.setattr(ready, "make", made)
    jobs = ready.Ready(app.extensions[EXTENSION].engine, lambda: DEMO_NOW)
    jobs.ask(("school", 1), ("school", 2), ("school", 1))
    with pytest.raises(SystemExit):
        jobs.work(wait_s=0)
    assert done == [("school", 1), ("school", 2)]


@pytest.mark.parametrize(
    ("method", "status", "asked"), [("POST", 302, True), ("POST", 400, False), ("GET", 200, False)]
)
def test_a_saved_form_of_a_school_asks_for_its_report(app, monkeypatch, method, status, asked):
    monkeypatch.setattr(ready.Ready, "work", lambda _self: None)
    monkeypatch.setattr(ready, "AT_START", 0)
    jobs = ready.start(app)
    with app.test_request_context("/schools/7/report-now", method=method):
        request_finished.send(app, response=Response(status=status))
    assert (("school", 7) in jobs._jobs) is asked
