"""The replay of a past round says what docs/restock.md says, and its parts are those of the page."""

from __future__ import annotations

import pytest

from tests import demo_file
from tests.bench.replay_rounds import line as line_of
from tests.bench.replay_rounds import past_rounds, replay_one, requests, whole_year
from tracker import paths
from tracker.db import make_engine, reading


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    engine = make_engine(f"sqlite:///{demo_file.copy_to(tmp_path_factory.mktemp('replay'))}")
    with reading(engine) as session:
        yield session
    engine.dispose()


@pytest.fixture(scope="module")
def year(demo):
    return whole_year(demo)


def test_a_round_replayed_stands_in_the_document(demo, year):
    page = (paths.PACKAGE.parent / "docs" / "restock.md").read_text(encoding="utf-8")
    days = past_rounds()[-1]
    for share in (1.0, 0.7):
        assert line_of(replay_one(demo, days, year, share)) in page


def test_the_plan_knows_nothing_of_the_weeks_it_is_scored_on(demo, year):
    """Every way is scored on the same requests, and they are those of the weeks after the round alone."""
    _, on, until = past_rounds()[-1]
    whole = requests(year, on, until)["requests"].sum()
    middle = past_rounds()[-1][1].replace(day=29)  # a Monday between the two rounds
    parts = requests(year, on, middle)["requests"].sum() + requests(year, middle, until)["requests"].sum()
    assert parts == pytest.approx(whole)
