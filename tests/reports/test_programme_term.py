"""The programme report: several schools, targets, the restocking list, and the same on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tests import make
from tests.reports import small_term as small
from tests.reports.test_frames import counted_queries
from tests.reports.test_school_term import fill
from tracker import models as m
from tracker.db import writing
from tracker.records import calendar
from tracker.reports import programme_term
from tracker.vocabulary import FittingKind, ReportKind


def build(session, programme, term, as_of=small.AFTER):
    return programme_term.build(session, programme.id, small.head(session, programme, term), as_of, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def test_schools_add_up_and_each_keeps_its_own_row(session):
    programme, term = small.programme_with_term(session)
    for visits in (10, 25):
        school = small.school_of(session, programme)
        small.count(session, make.make_unit(session, school), date(2026, 1, 12), visits)
    report = build(session, programme, term)
    assert report.line("visits").figure.value == 35.0
    assert [row[2].value for row in table(report, "visits_by_school").rows] == [10.0, 25.0]
    assert (report.kind, report.scope) == (ReportKind.PROGRAMME_TERM, "")


def test_a_target_stands_beside_its_figure_with_the_day_it_was_set(session):
    programme, term = small.programme_with_term(session)
    small.school_of(session, programme)
    for thousandths, day in ((900, date(2025, 12, 1)), (950, date(2026, 1, 5))):
        row = m.programme.Target(programme_id=programme.id, term_id=term.id, figure="availability_share")
        row.thousandths, row.set_at = thousandths, day
        make._add(session, row)
    line = build(session, programme, term).line("availability_share")
    assert (line.target, line.target_set_at) == (0.95, date(2026, 1, 5))


def stocked(session, programme, left: int, given: int):
    """A school whose machine gave out so many in week 2 and holds so many at the end."""
    school = small.school_of(session, programme)
    _, machine, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, machine, product, date(2026, 1, 16), left + given)
    small.move(session, programme, (cupboard, machine), lot, date(2026, 1, 19), 0)
    small.stock(session, machine, product, date(2026, 1, 23), left)
    return school


def test_the_restocking_list_is_in_the_order_of_need_with_the_reason(session):
    # Next term: four weeks from 26 January, rounds on 2 February (after 5 school days) and 16 February (after 15).
    # All three gave out 10 in five days: 2 a school day. Level for 15 days: mean 30, P(X <= 39) = 0.954 and
    # P(X <= 38) = 0.935, so 39 (direct sums, checked with a table of the Poisson distribution).
    # left 0: sold out. left 20: 10 days; P(X > 20 | 10) = 0.0016, lasts to the round, not to the one after: 2 packs.
    # left 60: enough.
    programme, term = small.programme_with_term(session)
    make.make_term(session, programme, first=date(2026, 1, 26), last=date(2026, 2, 20))
    for day in (date(2026, 2, 2), date(2026, 2, 16)):
        make._add(session, m.supplies.PlannedRound(programme_id=programme.id, day=day))
    enough, short, empty = (stocked(session, programme, left, 10) for left in (60, 20, 0))
    calendar.rebuild(session, programme.id)
    session.flush()
    rows = table(build(session, programme, term), "restock").rows
    assert [row[0] for row in rows] == [empty.code, short.code, enough.code]
    assert [row[2] for row in rows] == [0, 20, 60]
    assert [row[5] for row in rows] == [4, 2, 0]  # packs of ten: (39 - 0) / 10, (39 - 20) / 10, nothing
    assert rows[0][8] == "nothing is left on record"
    assert rows[1][8] == "lasts to the next round, not to the one after"
    assert rows[1][3] == pytest.approx(2.0)  # 20 at 10 a school week


def test_without_planned_rounds_the_list_says_what_to_do(session):
    programme, term = small.programme_with_term(session)
    stocked(session, programme, 20, 10)
    found = table(build(session, programme, term), "restock")
    assert found.rows == () and "rounds" in found.empty and found.note.startswith("Plan the next two rounds")


def test_the_number_of_queries_does_not_grow_with_schools(session):
    counts = []
    for schools in (1, 6):
        programme, term = small.programme_with_term(session)
        fill(session, programme, 2, schools)
        head = small.head(session, programme, term)
        with counted_queries(session) as statements:
            programme_term.build(session, programme.id, head, datetime(2026, 6, 1, tzinfo=UTC), "test")
        counts.append(len([one for one in statements if one.startswith("SELECT")]))
    assert counts[0] == counts[1] <= 66


def test_what_schools_and_weeks_contributed_adds_up(session):
    programme, term = small.programme_with_term(session)
    fill(session, programme, 2, 3)
    report = build(session, programme, term)
    checked = [line for line in report.lines() if line.figure.parts]
    assert {"visits", "given_out"} <= {line.key for line in checked}
    for line in checked:
        assert sum(part.value for part in line.figure.parts) == pytest.approx(line.figure.value, abs=1e-9), line.key


def test_the_same_records_give_the_same_report_on_both_databases(any_engine):
    # 30 visits of 3 L, given out 10, one outage of 2 school hours, one lesson: the values are worked out above each.
    with writing(any_engine) as session:
        programme, term = small.programme_with_term(session)
        school = stocked(session, programme, 20, 10)
        cabin = make.make_unit(session, school)
        small.fitting(session, cabin, FittingKind.FLUSH_FIXED, 3000)
        small.count(session, cabin, date(2026, 1, 12), 30)
        small.outage(session, programme, cabin, small.at(date(2026, 1, 16), 13), small.at(date(2026, 1, 16), 18))
        small.sheet(session, school, small.WEEK_1)
        small.lesson(session, programme, school, date(2026, 1, 13), {"girls": 60})
        row = m.supplies.MachineDay(unit_id=cabin.id, source="tally", day=date(2026, 1, 12), ran_out=False)
        make._add(session, row)
        report = build(session, programme, term)
        session.rollback()
    values = {line.key: line.figure.value for line in report.lines()}
    assert values["visits"] == 30.0 and values["water_taken_l"] == pytest.approx(90.0)
    assert values["given_out"] == 10.0 and values["pupils_reached"] == 60.0
    assert values["completeness_share"] == 0.5
    assert values["availability_share"] == pytest.approx(12 / 14)  # two days of 7 h observed, 2 h of them down
