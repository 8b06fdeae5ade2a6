"""A school's term on one sheet: one page of paper, only figures of the report, and nothing menstrual on the wall."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from tracker.db import make_engine, reading
from tracker.records import heads, people
from tracker.reports import build
from tracker.reports.one_page import head_teacher, wall
from tracker.reports.pdf import pdf

AT = datetime(2026, 7, 15, 7, tzinfo=UTC)
NOT_FOR_THE_WALL = ("napkin", "menstrua", "supplies", "burn", "incinerator", "sold out", "lesson", "vend", "girls")


@pytest.fixture(scope="module")
def reports(demo_file):
    """The second term of three schools of the demo, each of another kind."""
    engine = make_engine(f"sqlite:///{demo_file}")
    with reading(engine) as session:
        programme_id = people.programme_ids(session)[0]
        term = heads.terms(session, programme_id)[1]
        schools = people.schools_of(session, programme_id)[::5]
        yield [build.school(session, school.id, term, AT) for school in schools]
    engine.dispose()


def words_of(made) -> tuple[int, str]:
    reader = PdfReader(io.BytesIO(made))
    return len(reader.pages), " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_both_sheets_fit_one_page_of_paper(reports, paper):
    for report in reports:
        for sheet in (head_teacher(report), wall(report, 10)):
            pages, text = words_of(pdf(sheet, paper, numbers=False))
            assert pages == 1 and sheet.title in text


def test_the_head_teachers_sheet_ends_with_what_the_school_can_do_next(reports):
    for report in reports:
        steps = next(table for table in report.tables() if table.key == "next_steps")
        _, text = words_of(pdf(head_teacher(report), numbers=False))
        for row in steps.rows:
            assert " ".join(str(row[0]).split()) in text


def test_the_wall_has_nothing_menstrual_and_no_single_lesson(reports):
    for report in reports:
        _, text = words_of(pdf(wall(report, 10), numbers=False))
        assert [word for word in NOT_FOR_THE_WALL if word in text.lower()] == []


def test_every_figure_on_a_sheet_is_the_reports_own(reports):
    for report in reports:
        figures = {line.key: line.figure for line in report.lines()}
        for line in head_teacher(report).lines():
            assert line.figure == figures[line.key]
        assert {line.key for line in wall(report, 10).lines()} <= set(figures)
