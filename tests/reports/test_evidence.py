"""Trials beside their declarations, checks by another person and grants' shares in the reports, worked out by hand."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest

from tests import make
from tests.reports import small_term as small
from tracker import models as m
from tracker.models.evidence import FundingGrant, GrantShare, SpotAnswer, SpotCheck, SpotDraw, Trial, TrialUnit
from tracker.models.publications import Publication
from tracker.reports import export, impact_summary, programme_term, publishing
from tracker.reports.sections.evidence import CHECKED_INTRO, NO_DRAW
from tracker.reports.versions import GONE, NEW
from tracker.vocabulary import Better, FittingKind, Measure, Role, Sex, SpotFigure, TrialSide

IN_TIME = datetime(2026, 1, 18, 12, tzinfo=UTC)
LATE = datetime(2026, 1, 19, 12, tzinfo=UTC)


@pytest.fixture
def place(session):
    programme, term = small.programme_with_term(session)
    return programme, term


def built(session, place, builder=programme_term):
    programme, term = place
    return builder.build(session, programme.id, small.head(session, programme, term), small.AFTER, "test")


def table(report, key):
    return next(one for one in report.tables() if one.key == key)


def keys(report):
    return {one.key for one in report.tables()}


# --- trials -------------------------------------------------------------------------------------------------------


def retrofit(session, place, schools: int = 1):
    """Schools with two cabins each; in the second week the first one takes 640 per mille of 3 L. 30 visits a week."""
    pairs = []
    for _ in range(schools):
        school = small.school_of(session, place[0])
        cabins = [make.make_unit(session, school) for _ in range(2)]
        for cabin in cabins:
            small.fitting(session, cabin, FittingKind.FLUSH_FIXED, 3000)
            for day in (small.WEEK_1, small.WEEK_2):
                small.count(session, cabin, day, 30)
        vacuum = {"factor_permille": 640, "from_day": small.WEEK_2}
        small.fitting(session, cabins[0], FittingKind.VACUUM, 0, **vacuum)
        pairs.append(cabins)
    return pairs


def declare(session, place, pairs, declared_at=IN_TIME, **more) -> None:
    fields = {"code": "V-1", "question": "Does it take less?", "fitting": FittingKind.VACUUM}
    fields |= {"measure": Measure.LITRES_PER_VISIT, "better": Better.LOWER, "at_least_thousandths": 1000}
    fields |= {"from_day": small.WEEK_2, "until_day": small.LAST, "declared_at": declared_at, "declared_by": "O"}
    trial = make._add(session, Trial(programme_id=place[0].id, **(fields | more)))
    for fitted, plain in pairs:
        for unit, side in ((fitted, TrialSide.FITTED), (plain, TrialSide.COMPARISON)):
            make._add(session, TrialUnit(trial_id=trial.id, unit_id=unit.id, side=side))


def declared_lines(session, place):
    return dict(table(built(session, place), "trial_v_1_declared").rows)


def test_a_declared_trial_prints_its_declaration_and_its_result(session, place):
    # 3 L before, 1.92 L after, the other stays at 3 L: -1.08 L. One school: no range, so success is not decided.
    declare(session, place, retrofit(session, place))
    lines = declared_lines(session, place)
    assert lines["Declared"] == "18 January 2026, before it started; by O"
    assert lines["Would count as success"] == "litres per visit lower by at least 1 L per visit"
    assert lines["Difference found"].value == pytest.approx(-1.08) and lines["Difference found"].low is None
    assert lines["Against what was declared"].startswith("Not decided")
    assert (lines["From"], lines["Until"]) == (small.WEEK_2, small.LAST)
    assert "fitting_vacuum" not in keys(built(session, place))  # nothing came without a declaration


def uneven(session, pairs) -> None:
    """10 mL more a visit at one plain cabin in the first week: the schools differ a little, so there is a range."""
    small.fitting(session, pairs[0][1], FittingKind.PRE_WASH, 10, until_day=date(2026, 1, 18))


@pytest.mark.parametrize(("at_least", "said"), [(500, "Met:"), (2000, "Not met:"), (1080, "Not decided:")])
def test_the_whole_range_must_reach_what_was_declared(session, place, at_least, said):
    # Two schools: -1.08 at one, -1.07 at the other, whose plain cabin took 3.01 L before: -1.075 together, with a range
    # of some hundredths. It lies beyond 0.5 whole, short of 2 whole, and 1.08 falls inside.
    pairs = retrofit(session, place, schools=2)
    uneven(session, pairs)
    declare(session, place, pairs, at_least_thousandths=at_least)
    lines = declared_lines(session, place)
    found = lines["Difference found"]
    assert found.low is not None and found.low < -1.08 < found.high < -0.5
    assert lines["Against what was declared"].startswith(said)


def test_a_trial_declared_on_its_first_day_says_so_and_nothing_of_success(session, place):
    declare(session, place, retrofit(session, place), LATE)
    lines = declared_lines(session, place)
    assert lines["Declared"] == "19 January 2026, not declared before it started; by O"
    assert lines["Against what was declared"].startswith("Nothing is said about success. The trial was declared only")
    said = [row[0] for row in table(built(session, place), "trial_v_1_evidence").rows]
    assert "The trial was declared only after it had started." in said


def test_units_that_were_not_declared_are_compared_apart_and_it_is_said(session, place):
    pairs = retrofit(session, place, schools=2)
    declare(session, place, pairs[:1])
    report = built(session, place)
    assert table(report, "trial_v_1").rows[0][6] == "1 unit at 1 school; others: 1 unit at 1 school"
    # the other school's cabin is compared with the two plain cabins
    assert table(report, "fitting_vacuum").rows[0][6] == "1 unit at 1 school; others: 2 units at 2 schools"
    said = [row[0] for row in table(report, "fitting_vacuum_evidence").rows]
    assert "This comparison was not declared before it started." in said


def test_weeks_after_the_trial_are_not_its_own(session, place):
    # until Sunday of the first week: the fitting's week is not in it, so there is nothing to compare
    pairs = retrofit(session, place)
    declare(session, place, pairs, from_day=small.WEEK_1, until_day=date(2026, 1, 18))
    lines = declared_lines(session, place)
    assert str(lines["Difference found"]).startswith("There is nothing to compare yet")


def test_a_trial_whose_fitting_has_not_come_is_shown_as_declared(session, place):
    school = small.school_of(session, place[0])
    cabins = [make.make_unit(session, school) for _ in range(2)]
    declare(session, place, [cabins], measure=Measure.AVAILABILITY, better=Better.HIGHER, at_least_thousandths=50)
    lines = declared_lines(session, place)
    assert lines["Would count as success"] == "availability higher by at least 5 percentage points"
    assert str(lines["Difference found"]).startswith("There is nothing to compare yet")


# --- checked by someone else --------------------------------------------------------------------------------------


def draw(session, place, checks, number=1, reason="") -> None:
    """checks: (school, figure, reported, found or None)."""
    programme, term = place
    row = SpotDraw(programme_id=programme.id, code=f"{term.code}-{number}", term_id=term.id, number=number)
    row.drawn_at, row.drawn_by, row.salt, row.reason = datetime(2026, 1, 26, 22, tzinfo=UTC), "O", "5a", reason
    row.schools, row.figures_each = 3, 2
    make._add(session, row)
    for school, figure, reported, found in checks:
        check = SpotCheck(draw_id=row.id, school_id=school.id, figure=figure, week=small.WEEK_1, reported=reported)
        make._add(session, check)
        if found is not None:
            answer = SpotAnswer(check_id=check.id, found=found, checked_by="N", checker_role="engineer")
            answer.checked_on, answer.note = date(2026, 1, 28), ""
            make._add(session, answer)


def test_reported_stands_against_found_with_limits_and_numbers(session, place):
    """The worked example of docs/measures.md: agreeing 2, 1, 1 of 2, 2, 2 checks: 4 / 6, se 1/6, t(2) = 4.303."""
    schools = [small.school_of(session, place[0]) for _ in range(3)]
    numbers = [((100, 100), (4, 4)), ((100, 100), (4, 8)), ((100, 150), (4, 4))]
    checks = [
        (school, figure, *pair)
        for school, pairs in zip(schools, numbers, strict=True)
        for figure, pair in zip((SpotFigure.VISITS, SpotFigure.BURNS), pairs, strict=True)
    ]
    draw(session, place, checks)
    report = built(session, place, impact_summary)
    (row,) = table(report, "spot_draws").rows
    assert row[:3] == ("Draw 1, 27 January 2026", 6, 6)  # 22:00 UTC is one o'clock of the next day there
    share = row[3]
    assert (share.value, share.used, share.expected) == (pytest.approx(4 / 6), 6, 6)
    assert (share.low, share.high) == (0.0, 1.0)  # 0.667 - 4.303 / 6 < 0 and 0.667 + 4.303 / 6 > 1
    factors = {name: factor for _, name, factor in table(report, "spot_factors").rows}
    assert factors["visits tallied"].value == pytest.approx(350 / 300)
    assert factors["burns started"].value == pytest.approx(16 / 12)
    assert "spot_differences" not in keys(report)
    written = export.text(report)
    assert not any(school.code in written or school.name in written for school in schools)


def test_what_was_not_checked_lowers_what_it_rests_on_and_the_officer_sees_each_school(session, place):
    schools = [small.school_of(session, place[0]) for _ in range(2)]
    draw(session, place, [(schools[0], SpotFigure.VISITS, 40, 40), (schools[1], SpotFigure.VISITS, 30, None)])
    report = built(session, place)
    assert table(report, "spot_draws").rows[0][1:3] == (2, 1)
    rows = table(report, "spot_differences").rows
    assert [row[3:6] for row in rows] == [(40, 40, "yes"), (30, None, "not checked yet")]
    sure = [row[0] for row in table(built(session, place, impact_summary), "sure").rows]
    assert any(line.startswith("1 of 2 figures drawn by chance were counted again") for line in sure)


def test_a_second_draw_stands_beside_the_first_with_its_reason(session, place):
    school = small.school_of(session, place[0])
    draw(session, place, [(school, SpotFigure.VISITS, 40, 80)])
    draw(session, place, [(school, SpotFigure.VISITS, 40, 40)], number=2, reason="the first papers were wet")
    rows = table(built(session, place, impact_summary), "spot_draws").rows
    assert [(row[3].value, row[4]) for row in rows] == [
        (0.0, "first draw of the term"),
        (1.0, "the first papers were wet"),
    ]


def test_a_term_without_a_draw_says_so(session, place):
    small.school_of(session, place[0])
    report = built(session, place, impact_summary)
    section = next(one for one in report.sections if one.key == "checked")
    assert section.intro == CHECKED_INTRO and section.tables[0].rows == () and section.tables[0].empty == NO_DRAW
    sure = [row[0] for row in table(report, "sure").rows]
    assert "Nobody outside the programme has checked these records by a second count." in sure


# --- grants -------------------------------------------------------------------------------------------------------


def grant(session, place, code: str, shares) -> None:
    row = make._add(
        session, FundingGrant(programme_id=place[0].id, code=code, funder=f"Fund {code}", from_day=make.FIRST)
    )
    for school, permille in shares:
        make._add(session, GrantShare(grant_id=row.id, school_id=school.id, permille=permille, from_day=make.FIRST))


def grants_of(report):
    return {row[0]: [None if cell is None else cell.value for cell in row[2:]] for row in table(report, "grants").rows}


def test_two_grants_of_one_school_do_not_claim_the_same_pupils(session, place):
    """docs/measures.md: 333 pupils at 600 and 400 per mille: 199.8 and 133.2, so 200 and 133; 200 more under none."""
    shared, free = (small.school_of(session, place[0]) for _ in range(2))
    for row in session.query(m.school.Enrolment).join(m.school.Shift).filter_by(school_id=shared.id):
        row.pupils = 333 if row.sex is Sex.GIRLS else 0
    session.flush()
    small.lesson(session, place[0], shared, small.WEEK_1, {Sex.GIRLS: 101})
    grant(session, place, "A", [(shared, 600)])
    grant(session, place, "B", [(shared, 400)])
    found = grants_of(built(session, place))
    # 101 at the lesson: 60.6 and 40.4; the free school held no lesson that is on record
    assert found == {"A": [200, 61], "B": [133, 40], "not under a grant": [200, None], "All schools": [533, 101]}
    rests = {row[0]: (row[2].used, row[2].expected) for row in table(built(session, place), "grants").rows}
    assert rests == {
        "A": (1, 1),
        "B": (1, 1),
        "not under a grant": (1, 1),
        "All schools": (2, 2),
    }  # the shared one once
    # beside grant B stand the two schools where others have a share
    others = table(built(session, place), "grant_b").rows[1][1]
    assert (others.value, others.used, others.expected) == (400, 2, 2) and free.id != shared.id


def test_the_funders_summary_shows_grants_of_three_schools_and_joins_smaller_ones(session, place):
    # six schools of 200 pupils: A has three whole, B one at 500 per mille: B's 100 are joined to the 500 under none
    schools = [small.school_of(session, place[0]) for _ in range(6)]
    grant(session, place, "A", [(school, 1000) for school in schools[:3]])
    grant(session, place, "B", [(schools[3], 500)])
    report = built(session, place, impact_summary)
    rows = grants_of(report)
    assert {name: numbers[0] for name, numbers in rows.items()} == {
        "A": 600,
        "Other grants, and what no grant pays for": 600,
        "All schools": 1200,
    }
    note = table(report, "grants").note
    assert "the rest of all schools' pupils is others'" in note and "fewer than 3 schools" in note
    assert "Fund B" not in export.text(report)
    own = [(row[0], row[1].value) for row in table(report, "grant_a").rows]
    assert own == [("Under this grant", 600), ("Others'", 600), ("All schools", 1200)] and "grant_b" not in keys(report)


def test_a_grants_few_pupils_do_not_follow_from_the_others(session, place):
    # 7 pupils at the lessons of grant A's schools, 50 elsewhere: neither 7 nor 50 beside 57 may be read
    schools = [small.school_of(session, place[0]) for _ in range(4)]
    small.lesson(session, place[0], schools[0], small.WEEK_1, {Sex.GIRLS: 7})
    small.lesson(session, place[0], schools[3], small.WEEK_1, {Sex.GIRLS: 50})
    grant(session, place, "A", [(school, 1000) for school in schools[:3]])
    report = built(session, place, impact_summary)
    for key in ("grants", "grant_a"):
        shown = [row[-1].value for row in table(report, key).rows]
        assert shown[0] is None and shown.count(None) >= 2


def test_without_grants_there_is_no_such_part(session, place):
    small.school_of(session, place[0])
    assert "grants" not in {section.key for section in built(session, place).sections}


# --- publications -------------------------------------------------------------------------------------------------


def test_a_published_summary_stays_as_it_was_when_checks_and_grants_come_later(session, place):
    programme, term = place
    schools = [small.school_of(session, programme) for _ in range(3)]
    person = make.make_person(session, programme, Role.OFFICER)
    first = publishing.draft(session, programme.id, built(session, place, impact_summary), None)
    approval = publishing.Approval(programme.id, term.id, person.id, small.AFTER)
    page = f"{publishing.MARKS[0]}<p>One</p>{publishing.MARKS[1]}"
    number = publishing.publish(session, first, page, approval)
    draw(session, place, [(school, SpotFigure.VISITS, 40, 40) for school in schools])
    grant(session, place, "A", [(school, 500) for school in schools])
    session.expire_all()
    stored = session.get_one(Publication, number)
    assert (stored.content, stored.content_hash) == (first.content, first.content_hash)
    second = publishing.draft(session, programme.id, built(session, place, impact_summary), stored.content)
    new = {change.where for change in second.changes if change.old == NEW}
    assert any(where.startswith("Figures drawn, checked and found to agree") for where in new)
    assert any(where.startswith("Each grant's share of the pupils") for where in new)


def test_a_summary_published_before_there_were_such_parts_can_be_replaced(session, place):
    """Its content has neither part: what is new is listed, and nothing of the old is called gone that is there."""
    small.school_of(session, place[0])
    made = built(session, place, impact_summary)
    old = export.content(made)
    old["sections"] = [one for one in old["sections"] if one["key"] not in ("checked", "grants")]
    draft = publishing.draft(session, place[0].id, made, json.dumps({"report": old}))
    assert not draft.refused and [change for change in draft.changes if change.new == GONE] == []
