"""Checks of the records against themselves as reports list them, and as the list before publishing repeats them.

Limits: see tests/measures/test_consistency.py. Numbers are worked by hand here (no outside source).
"""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import pandas as pd
import pytest

from tests import make
from tests.reports import small_term as small
from tracker.measures import consistency, supplies
from tracker.reports import checks, impact_summary, programme_term
from tracker.reports.sections import agreement

LAST = date(2026, 3, 6)  # eight school weeks
WEEKS = [small.WEEK_1 + timedelta(days=7 * place) for place in range(8)]


@pytest.fixture
def world(session):
    programme, term = small.programme_with_term(session, last=LAST)
    return programme, term, small.school_of(session, programme)


def built(session, world, module=programme_term):
    programme, term, _ = world
    report = module.build(session, programme.id, small.head(session, programme, term), small.at(LAST, 20), "test")
    return report, next(table for table in report.tables() if table.key == checks.RECORDS_AGREE)


def row_of(table, check, of=agreement.VISITS):
    return next(row[2:] for row in table.rows if row[:2] == (agreement.PLAIN[check], of))


def visits(session, world, *weekly):
    cabin = make.make_unit(session, world[2])
    for week, number in zip(WEEKS, weekly, strict=False):
        small.count(session, cabin, week, number)


def test_a_wild_week_is_found_and_the_school_named_to_the_officer(session, world):
    # Median 51, deviations 1, 1, 1, 1, 1, 1, 0, 449: 3 × 1.4826 × 1 is passed by the last. The largest of 8 values is
    # at most 7 ÷ √8 = 2.47 standard deviations from their mean, so "3 or more" cannot be asked.
    visits(session, world, 50, 52, 50, 52, 50, 52, 51, 500)
    _, table = built(session, world)
    where = f"to look into at {world[2].code}"
    assert row_of(table, consistency.Check.MEDIAN) == (1, 1, 1, where)
    assert row_of(table, consistency.Check.MODERATE) == (1, 1, 1, where)
    assert row_of(table, consistency.Check.EXTREME) == (0, 1, None, agreement.NOTHING)


def test_weeks_that_were_not_reported_are_not_findings(session, world):
    visits(session, world, 50, 52, 50, 52, 50)  # five of eight
    _, table = built(session, world)
    assert row_of(table, consistency.Check.MEDIAN) == (0, 1, None, agreement.NOTHING)


def test_a_week_in_which_a_unit_is_missing_is_not_compared(session, world):
    visits(session, world, 50, 52, 50, 52, 50, 52)
    visits(session, world, 50, 52, 50, 52, 50)  # the second cabin has no sixth week
    _, table = built(session, world)
    assert row_of(table, consistency.Check.MEDIAN)[0] == 0


def test_the_impact_summary_lists_the_same_and_names_no_school(session, world):
    visits(session, world, 50, 52, 50, 52, 50, 52, 51, 500)
    report, table = built(session, world, impact_summary)
    assert row_of(table, consistency.Check.MEDIAN) == (1, 1, 1, "to look into")
    found = next(one for one in checks.look(session, world[0].id, report) if one.title == "Records agree")
    assert not found.passed and not found.stops
    assert f"{agreement.PLAIN[consistency.Check.MEDIAN]} ({agreement.VISITS}): 1" in found.words


def test_records_that_agree_and_records_that_cannot_be_checked_are_told_apart(session, world):
    report, _ = built(session, world, impact_summary)
    found = next(one for one in checks.look(session, world[0].id, report) if one.title == "Records agree")
    assert (found.passed, found.words) == (False, "The records could not be checked against themselves.")
    visits(session, world, 50, 52, 50, 52, 50, 52, 51, 51)
    report, _ = built(session, world, impact_summary)
    found = next(one for one in checks.look(session, world[0].id, report) if one.title == "Records agree")
    assert found.passed


@pytest.mark.parametrize(("asked", "share"), [((False, False, True), 2 / 3), ((), None)])
def test_meters_that_agree_are_counted_among_those_compared(asked, share):
    # Three compared, one asks for a look; a fourth could not be compared.
    balances = [SimpleNamespace(unexplained=SimpleNamespace(recorded=True), query=one) for one in asked]
    balances.append(SimpleNamespace(unexplained=SimpleNamespace(recorded=False), query=False))
    figure = agreement.meters_table(SimpleNamespace(balances=balances)).rows[0][1]
    assert figure.value == pytest.approx(share) if share else figure.value is None
    assert (figure.used, figure.expected, figure.records) == (len(asked), len(asked) + 1, "meters")


def machine(left, refilled, steps):
    """A counting machine of one school: two weeks of stock and counter."""
    weeks = pd.to_datetime(["2026-01-12", "2026-01-19"])
    stock = pd.DataFrame({"unit_id": 1, "school_id": 1, "school": "S1", "week": weeks, "product": "P"}).assign(
        left=left, refilled=refilled, sold_out_days=0.0, school_days=5.0, asked_days=5.0
    )
    vends = pd.DataFrame({"unit_id": 1, "week": weeks, "steps": steps, "quantity": "vends", "basis": "counted"})
    given = supplies.given_out_weeks(stock, vends).assign(school="S1")
    return agreement.counter_stock(SimpleNamespace(given=given, machine_weeks=stock))


@pytest.mark.parametrize(("counter", "gap"), [(70.0, 0.0), (60.0, -10.0), (75.0, 5.0)])
def test_stock_left_put_in_given_out_and_left_after_are_set_against_each_other(counter, gap):
    # 50 left, 100 put in, 80 left after: 70 went out.
    frame = machine([50.0, 80.0], [0.0, 100.0], [40.0, counter])
    assert len(frame) == 1, "the first week has no week before"
    found = consistency.balance_check(frame)
    assert found["gap"].tolist() == [gap]
    assert frame[["opening", "received", "issued", "closing"]].iloc[0].tolist() == [50.0, 100.0, counter, 80.0]


def test_a_machine_emptied_of_more_than_was_put_in_has_a_loss():
    # 50 left, 20 taken back, 10 given out, 20 left.
    frame = machine([50.0, 20.0], [0.0, -20.0], [40.0, 10.0])
    assert frame[["received", "lost"]].iloc[0].tolist() == [0.0, 20.0]
    assert consistency.balance_check(frame)["state"].tolist() == ["balanced"]
