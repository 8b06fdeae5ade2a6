"""The funder's summary: groups only, small counts withheld with what gives them away, nothing about one school."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests import make
from tests.reports import small_term as small
from tests.reports.by_hand import PUPILS, line, report
from tracker.measures.figure import Figure
from tracker.reports import export, impact_summary
from tracker.reports.leaving import protected
from tracker.reports.printing import print_figure
from tracker.reports.report import Column, Table
from tracker.reports.withhold import area_groups
from tracker.vocabulary import ReportKind, Sex


def build(session, programme, term):
    return impact_summary.build(session, programme.id, small.head(session, programme, term), small.AFTER, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def give(session, programme, area, given: int):
    """A school of an area whose machine gave out so many in week 2."""
    school = small.school_of(session, programme, area=area)
    _, machine, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, machine, product, date(2026, 1, 16), 100)
    small.move(session, programme, (cupboard, machine), lot, date(2026, 1, 19), 0)
    small.stock(session, machine, product, date(2026, 1, 23), 100 - given)
    return school


def test_a_small_count_of_people_prints_words_and_not_the_number(session):
    # Threshold 10: 7 pupils at the only lesson, 3 napkins given out.
    programme, term = small.programme_with_term(session)
    area = make.make_area(session, programme)
    school = give(session, programme, area, 3)
    small.lesson(session, programme, school, date(2026, 1, 13), {Sex.GIRLS: 7})
    report = build(session, programme, term)
    for key in ("given_out", "pupils_reached", "attendances"):
        assert report.line(key).figure.value is None
        assert print_figure(report.line(key).figure).value == "fewer than 10"
    assert table(report, "attendances_by_sex").rows == (("girls", "fewer than 10"), ("boys", None))


def test_zero_and_larger_counts_are_shown(session):
    programme, term = small.programme_with_term(session)
    area = make.make_area(session, programme)
    give(session, programme, area, 0)
    assert build(session, programme, term).line("given_out").figure.value == 0.0
    give(session, programme, area, 12)
    assert build(session, programme, term).line("given_out").figure.value == 12.0


def test_a_small_count_of_one_area_takes_another_with_it(session):
    # Three areas of three schools: 60, 45 and 6 napkins. The total 111 is a headline, so 6 would follow from 60 and 45.
    programme, term = small.programme_with_term(session)
    for name, each in (("North", 20), ("South", 15), ("West", 2)):
        area = make.make_area(session, programme, name=name)
        for _ in range(3):
            give(session, programme, area, each)
    report = build(session, programme, term)
    assert report.line("given_out").figure.value == 111.0
    assert table(report, "given_by_area").rows == (
        ("North", 60),
        ("South", "withheld so that another count stays hidden"),
        ("West", "fewer than 10"),
    )


def test_areas_of_fewer_than_three_schools_are_joined():
    schools = [("a", "N"), ("b", "N"), ("c", "N"), ("d", "S"), ("e", "S"), ("f", "W")]
    assert area_groups(schools) == {
        **dict.fromkeys("abc", "N"),
        **dict.fromkeys("def", "Other areas"),
    }
    assert area_groups(schools[:5]) == {}  # two schools are no group, and the rest would tell them


@pytest.mark.parametrize(
    ("values", "shown"),
    [
        # a small count takes the next smallest with it; blanks and zeros stay what they are
        ([120, 4, 60], (120, "fewer than 10", "withheld so that another count stays hidden")),
        ([5, None, 0], ("fewer than 10", None, 0)),
        ([30, 40], (30, 40)),
        # 3 + 4 = 7 would leave each at most 6, which is narrower than 1 to 9: the third has to go too
        ([220, 3, 4], ("withheld so that another count stays hidden", "fewer than 10", "fewer than 10")),
    ],
)
def test_counts_beside_their_total(values, shown):
    columns = (Column("area", "Area", numeric=False), Column("n", "Attendances", "attendances"))
    rows = tuple((f"Area {place}", value) for place, value in enumerate(values))
    total = replace(PUPILS, value=float(sum(value or 0 for value in values)), unit="attendances")
    made = protected(report(line(total), tables=[Table("by_area", "By area", columns, rows)]), 10)
    assert tuple(row[1] for row in next(iter(made.tables())).rows) == shown


def test_nothing_in_the_summary_names_a_school(session):
    programme, term = small.programme_with_term(session)
    area = make.make_area(session, programme)
    schools = [give(session, programme, area, 20) for _ in range(3)]
    for school in schools:
        cabin = make.make_unit(session, school)
        small.count(session, cabin, date(2026, 1, 12), 30)
        small.outage(session, programme, cabin, small.at(date(2026, 1, 13), 9))
    report = build(session, programme, term)
    written = str(export.content(report)) + export.text(report)
    for school in schools:
        assert school.code not in written and school.name not in written
    assert report.kind is ReportKind.IMPACT


def test_what_went_wrong_is_told_in_counts(session):
    # One school, two weeks due, one sheet; one outage from 13 January on, never ended, promise 72 hours.
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    cabin = make.make_unit(session, school)
    small.sheet(session, school, small.WEEK_1)
    small.outage(session, programme, cabin, small.at(date(2026, 1, 13), 9))
    lines = [row[0] for row in table(build(session, programme, term), "wrong").rows]
    assert "1 of 2 week sheets that were due have not come." in lines
    assert "Outages that lasted longer than promised: 1 of 1." in lines


def test_every_headline_keeps_its_completeness(session):
    programme, term = small.programme_with_term(session)
    school = small.school_of(session, programme)
    small.count(session, make.make_unit(session, school), date(2026, 1, 12), 30)
    for found in build(session, programme, term).lines():
        assert isinstance(found.figure, Figure)
        if found.key in {"visits", "availability_share", "completeness_share", "route_days"}:
            assert found.figure.expected > 0
