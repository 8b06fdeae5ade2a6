"""The availability certificate: the units under an agreement, and no others."""

from __future__ import annotations

from datetime import date

import pytest

from tests import make
from tests.reports import small_term as small
from tracker import models as m
from tracker.records import frames
from tracker.reports import certificate
from tracker.vocabulary import ReportKind, VisitPurpose


@pytest.fixture
def agreed(session):
    """Two cabins, of which one stands under the agreement."""
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    mine, other = make.make_unit(session, school), make.make_unit(session, school)
    row = m.agreements.Agreement(programme_id=programme.id, code="AG1", buyer="A Fund", school_id=school.id)
    row.promise_hours, row.visit_every_days, row.clock_stops = 24, 30, "While the road is closed."
    row.warranty_from, row.warranty_until = date(2026, 1, 1), date(2026, 12, 31)
    make._add(session, row)
    make._add(session, m.agreements.AgreementUnit(agreement_id=row.id, unit_id=mine.id, serial="SN-7"))
    return programme, term, mine, other


def build(session, programme, term):
    agreement = frames.agreements(session, programme.id)[0]
    return certificate.build(session, agreement, small.head(session, programme, term), small.AFTER, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def test_only_units_under_the_agreement_count(session, agreed):
    # Mine: out on 13 January 09:00 to 11:00, 2 of 7 hours of the one observed day. The other was out for days.
    programme, term, mine, other = agreed
    small.outage(session, programme, mine, small.at(date(2026, 1, 13), 9), small.at(date(2026, 1, 13), 11))
    small.outage(session, programme, other, small.at(date(2026, 1, 12), 8), small.at(date(2026, 1, 20), 8))
    report = build(session, programme, term)
    assert report.line("availability_share").figure.value == pytest.approx(5 / 7)
    assert report.line("promise_kept_share").figure.value == 1.0  # 2 hours, promised 24
    assert [row[:3] for row in table(report, "agreement_units").rows] == [(mine.code, mine.name, "SN-7")]
    assert table(report, "outages_by_cause").rows[0][1].value == pytest.approx(2.0)


def test_it_says_what_was_agreed_and_what_stops_the_clock(session, agreed):
    programme, term, *_ = agreed
    report = build(session, programme, term)
    words = dict(table(report, "agreed").rows)
    assert words["Buyer"] == "A Fund" and words["What stops the clock"] == "While the road is closed."
    assert words["Warranty until"] == date(2026, 12, 31) and words["An outage must end within"] == "24 hours"
    assert (report.kind, report.scope) == (ReportKind.CERTIFICATE, "AG1")


def test_the_longest_time_without_the_engineer_counts_from_the_terms_ends(session, agreed):
    # Term 12 to 23 January; the engineer came on the 14th: 2 days before it, 9 days after it.
    programme, term, mine, _ = agreed
    row = m.outages.ServiceVisit(programme_id=programme.id, ref="V1", unit_id=mine.id, asked_on=date(2026, 1, 13))
    row.purpose, row.done_at, row.done = VisitPurpose.SERVICE, small.at(date(2026, 1, 14), 10), "Looked over."
    make._add(session, row)
    words = dict(table(build(session, programme, term), "engineer_visits").rows)
    assert words["Days on which the engineer came"] == "1"
    assert words["Longest time without a visit in this term"] == "9 days"
