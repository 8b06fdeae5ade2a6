"""The same term last year beside this term, on a small programme of two years."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import jsonschema
import pytest

from tests import make
from tests.reports import small_term as small
from tests.reports.test_frames import counted_queries
from tracker.records import calendar
from tracker.reports import export, facts, school_term
from tracker.reports.memory import Memory
from tracker.reports.pdf import document
from tracker.reports.report_schema import report_schema
from tracker.reports.term_rows import same_term_last_year

NEXT_FIRST, NEXT_LAST = date(2027, 1, 11), date(2027, 1, 22)  # a Monday and a Friday, 364 days later
NEXT_AFTER = datetime(2027, 2, 20, 12, tzinfo=UTC)


def build(session, programme, school, term, as_of=NEXT_AFTER):
    return school_term.build(session, school.id, small.head(session, programme, term), as_of, "test")


@pytest.fixture
def two_years(session):
    """A term, one half a year later, and the same term a year later; one cabin, counted at every break."""
    programme, first = small.programme_with_term(session)
    make.make_term(session, programme, first=date(2026, 8, 3), last=date(2026, 8, 14))
    later = make.make_term(session, programme, first=NEXT_FIRST, last=NEXT_LAST)
    school = small.school_of(session, programme)
    calendar.rebuild(session, programme.id)
    cabin = make.make_unit(session, school)
    small.count(session, cabin, date(2026, 1, 12), 10)
    small.count(session, cabin, date(2026, 8, 3), 7)
    small.count(session, cabin, date(2027, 1, 11), 25)
    return programme, first, later, school


def test_the_same_term_last_year_stands_beside_as_its_own_report_printed_it(session, two_years):
    programme, first, later, school = two_years
    line = build(session, programme, school, later).line("visits")
    assert (line.figure.value, line.last_term.value, line.year_before.value) == (25.0, 7.0, 10.0)
    then = build(session, programme, school, first)
    assert all(
        line.year_before == then.line(line.key).figure for line in build(session, programme, school, later).lines()
    )


def test_it_is_printed_on_paper_in_csv_text_and_json_by_its_schema(session, two_years):
    programme, _, later, school = two_years
    report = build(session, programme, school, later)
    figures = [line for section in document(report)["sections"] for line in section["lines"]]
    against = [words for line in figures for words in line["against"]]
    assert "Same term last year: 10, counted, 1 of 2 unit-weeks." in against
    assert "Same term last year: 10 visits" in export.text(report)
    assert "same term last year" in export.csv_files(report)["headlines.csv"]
    content = json.loads(export.json_text(report))
    jsonschema.validate(content, report_schema())
    line = next(one for part in content["sections"] for one in part["lines"] if one["key"] == "visits")
    assert line["year_before"]["value"] == 10
    assert any("1 of its schools are on record, 1 of this term's 1 among them" in note for note in report.notes)


def test_without_a_year_of_records_nothing_stands_there_and_one_sentence_says_so(session, two_years):
    programme, first, _, school = two_years
    report = build(session, programme, school, first)
    assert {line.year_before for line in report.lines()} == {None}
    assert sum("no same term of last year" in note for note in report.notes) == 1
    assert "year_before" not in export.json_text(report)


def test_a_year_before_is_read_once_and_only_where_it_is(session, two_years, monkeypatch):
    programme, first, later, school = two_years
    monkeypatch.setattr(facts, "stamp", lambda _session: ("last year", "1"))  # nothing is written meanwhile
    monkeypatch.setattr(facts, "MEMORY", Memory())
    for term in (first, later):
        build(session, programme, school, term)
    asked = []
    for term in (first, later):
        with counted_queries(session) as statements:
            build(session, programme, school, term)
        asked.append(len(statements))
    assert asked[1] <= asked[0] + 2, "a year before costs no frame again while nothing is written"


class _Term:
    def __init__(self, first_day):
        self.first_day = first_day


def test_a_term_that_began_six_weeks_off_counts_and_one_a_day_further_does_not():
    # Source: the rule in docs/reports.md, common practice. A year before 11 January 2027 is 11 January 2026.
    at_edge, beyond = _Term(date(2026, 2, 22)), _Term(date(2026, 2, 23))  # 42 and 43 days after it
    assert same_term_last_year(NEXT_FIRST, [at_edge]) is at_edge
    assert same_term_last_year(NEXT_FIRST, [beyond]) is None
    assert same_term_last_year(NEXT_FIRST, []) is None
