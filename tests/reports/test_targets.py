"""Targets: at least or at most, an interval on both sides leaves it open, printed digits decide.

All cases are worked by hand; there is no outside source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tests.reports.by_hand import PUPILS, SHARE, VISITS, line, report
from tracker.db import make_engine, reading
from tracker.records import heads, people
from tracker.reports import build, targets

EXACT = replace(SHARE, low=None, high=None)


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (0.97, 0.96, 0.98, "reached"),
        (0.90, 0.88, 0.94, "not reached"),
        (0.96, 0.93, 0.98, "cannot be told"),
        (0.97, 0.95, 0.98, "reached"),  # the lower end is the target itself
        (0.9496, None, None, "reached"),  # 94.96 % prints as 95.0 %
        (0.9494, None, None, "not reached"),  # 94.94 % prints as 94.9 %
    ],
)
def test_a_share_that_should_be_at_least_its_target(value, low, high, said):
    figure = replace(SHARE, value=value, low=low, high=high)
    assert targets.verdict(line(figure, key="availability_share", target=0.95)) == said


def test_a_count_that_should_be_at_most_its_target_is_read_the_other_way():
    days = replace(VISITS, unit="machine days", low=None, high=None, used=4, expected=4)
    assert targets.verdict(line(replace(days, value=50.0), key="sold_out_days", target=50.0)) == "reached"
    assert targets.verdict(line(replace(days, value=51.0), key="sold_out_days", target=50.0)) == "not reached"


def test_missing_records_leave_open_what_they_could_turn_round():
    # 40 of 80 days answered held 30 days sold out; as many in the other half would make 60, over the ceiling of 50.
    days = replace(VISITS, value=30.0, unit="machine days", low=None, high=None, used=40, expected=80)
    assert targets.verdict(line(days, key="sold_out_days", target=50.0)) == "cannot be told"
    assert targets.verdict(line(days, key="sold_out_days", target=25.0)) == "not reached", "it can only be more"


def test_a_withheld_or_missing_figure_cannot_be_told():
    hidden = replace(PUPILS, value=None, withheld="fewer than 10")
    found = targets.standing(line(hidden, key="pupils_reached", target=50.0))
    assert found.verdict == "cannot be told" and found.reason == "fewer than 10"


def test_a_figure_without_a_side_has_a_plan_and_no_verdict():
    planned = line(VISITS, key="visits", target=100.0)
    assert targets.target_words(planned) == "Target: 100 visits planned."
    assert targets.lists(report(planned)) == ()


def test_a_headline_without_target_says_so():
    assert targets.target_words(line(EXACT)) == "No target was set." and targets.verdict(line(EXACT)) is None


def test_lists_name_each_headline_once_and_say_none_where_all_was_reached():
    good = line(EXACT, key="completeness_share", label="Week sheets received", target=0.9)
    assert targets.lists(report(good, good)) == (
        ("Targets not reached", ("None.",)),
        ("Targets of which it cannot be told", ("None.",)),
    )


def test_every_side_belongs_to_a_figure_that_reports_have():
    from tracker.reports import figures

    assert set(targets.SIDES) <= set(figures.BY_KEY) and set(targets.SUMS) <= set(targets.SIDES)


def test_a_baseline_stands_beside_its_figure_with_basis_and_day(demo_file):
    engine = make_engine(f"sqlite:///{demo_file}")
    with reading(engine) as session:
        programme = people.programme_ids(session)[0]
        term = heads.terms(session, programme)[1]
        report = build.impact(session, programme, term, datetime(2026, 7, 15, 7, tzinfo=UTC))
    engine.dispose()
    said = report.line("litres_per_visit").baseline
    assert said.startswith("The programme's baseline: 6.40 L per visit, metered, 20 June 2025.")
    assert report.line("visits").baseline == "No baseline was measured."
