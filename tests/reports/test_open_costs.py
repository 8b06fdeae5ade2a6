"""What keeping units open costs, worked out by hand on two weeks of term; derived by hand, no outside source."""

from __future__ import annotations

from datetime import date

import pytest

from tests import make
from tests.reports import small_term as small
from tracker import models as m
from tracker.records import calendar
from tracker.reports import open_costs
from tracker.vocabulary import MoneyKind


def build(session, programme, term):
    return open_costs.build(session, programme.id, small.head(session, programme, term), small.AFTER, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def cell(found, column, row=0):
    return found.rows[row][[one.key for one in found.columns].index(column)]


def pay(session, programme, school, kind, minor):
    row = m.supplies.MoneyEntry(programme_id=programme.id, ref=f"P{next(make._numbers)}", school_id=school.id)
    row.day, row.kind, row.minor = date(2026, 1, 14), kind, minor
    make._add(session, row)


def agreed(session, programme, school, code, until):
    given = {"programme_id": programme.id, "code": code, "buyer": "Board", "school_id": school.id}
    row = m.agreements.Agreement(**given, promise_hours=72, visit_every_days=90, price_minor=36_500)
    row.warranty_from, row.warranty_until = (date(2024, 1, 1) if until else None), until
    make._add(session, row)


@pytest.fixture
def place(session):
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    return programme, term, school


def test_next_term_costs_what_a_school_day_cost_times_its_school_days(session, place):
    # 12,000 - 2,000 = 10,000 net over ten school days: 1,000 a day; a week of five days comes to 5,000.
    programme, term, school = place
    make.make_term(session, programme, first=date(2026, 5, 4), last=date(2026, 5, 8))
    calendar.rebuild(session, programme.id)
    pay(session, programme, school, MoneyKind.SERVICE, 12_000)
    pay(session, programme, school, MoneyKind.VEND_INCOME, 2_000)
    pay(session, programme, school, MoneyKind.WARRANTY, 9_000)  # apart, no part of the net cost
    report = build(session, programme, term)
    found = table(report, "next_term")
    assert (cell(found, "each").value, cell(found, "days"), cell(found, "net").value) == (1000.0, 5, 5000.0)
    assert "supplies, water, power" in cell(found, "net").note
    kinds = table(report, "money_by_kind")
    assert [cell(kinds, one) for one in ("service", "vend_income", "warranty")] == [12_000.0, 2_000.0, 9_000.0]
    assert cell(kinds, "water") is None and cell(kinds, "display_rent") == "does not apply"
    # 200 pupils for the term: 10,000 / 200.
    assert cell(table(report, "cost_for_each"), "pupil").value == 50.0
    assert cell(table(report, "cost_for_each"), "visit").value is None, "no visit was recorded"


def test_days_after_a_warranty_are_priced_apart_and_no_warranty_says_so(session, place):
    # 36,500 a year are 100 a day; the warranty ends on Tuesday 5 May, so three days of the term lie after it.
    programme, term, school = place
    make.make_term(session, programme, first=date(2026, 5, 4), last=date(2026, 5, 8))
    other = make.make_school(session, programme)
    calendar.rebuild(session, programme.id)
    agreed(session, programme, school, "A", date(2026, 5, 5))
    agreed(session, programme, other, "B", None)
    found = table(build(session, programme, term), "next_term")
    by_school = {row[0]: row for row in found.rows}
    assert by_school[school.code][-2:] == (3, pytest.approx(300.0))
    assert by_school[other.code][-2:] == ("no warranty", "no warranty")


def test_warranties_of_the_next_twelve_months_stand_first(session, place):
    programme, term, school = place
    last = date(2026, 1, 23)
    for code, until in (
        ("A", date(2025, 12, 1)),
        ("B", None),
        ("C", date(2027, 1, 24)),
        ("D", date(2027, 1, 23)),
        ("E", last),
    ):
        agreed(session, programme, school, code, until)
    found = table(build(session, programme, term), "warranty_ends")
    assert [row[0] for row in found.rows] == ["E", "D", "C", "A", "B"]


def test_without_a_next_term_the_page_says_what_to_add(session, place):
    programme, term, _ = place
    found = table(build(session, programme, term), "next_term")
    assert found.rows == () and "Set-up" in found.empty
