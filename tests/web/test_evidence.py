"""Trials, grants' shares and checks by another person: refused in a sentence at its field, kept, never drawn away."""

from __future__ import annotations

from datetime import date

import pytest

from tests.make import make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tests.web.office import NOW, count_queries, derive
from tracker.db import reading
from tracker.models.audit import Audit
from tracker.models.evidence import FundingGrant, GrantShare, SpotAnswer, SpotCheck, SpotDraw, Trial, TrialUnit
from tracker.models.usage import UsageCount
from tracker.vocabulary import CountWay, Role, Source, SpotFigure, TrialSide

WEEK = date(2026, 1, 19)
TODAY = "2026-02-04"  # the tests' clock


@pytest.fixture
def programme(session):
    return make_programme(session)


@pytest.fixture
def school(session, programme):
    found = make_school(session, programme)
    make_term(session, programme, code="2026-1")
    derive(session, programme)
    return found


@pytest.fixture
def units(session, school):
    block = make_block(session, school)
    return [make_unit(session, school, block) for _ in range(3)]


@pytest.fixture
def officer(session, programme, school, units, login_as):
    return login_as(make_person(session, programme, Role.OFFICER, name="Olla Officer"))


@pytest.fixture
def saved(engine):
    with reading(engine) as session:
        yield session


def counted(session, unit, visits: int, week: date = WEEK) -> None:
    what = {"slot": "B1", "how": CountWay.GRID, "visits": visits, "source": Source.TALLY, "days": 1}
    session.add(UsageCount(unit_id=unit.id, week=week, first_day=week, **what))
    session.commit()


# --- trials -------------------------------------------------------------------------------------------------------


@pytest.fixture
def trial(school, units):
    """What the form sends: the first unit gets a vacuum, the second one stays."""
    return {
        "code": "VAC", "question": "Does it take less water?", "fitting": "vacuum",
        "units": f"{school.code}: {units[0].code}", "comparison_units": f"{school.code}: {units[1].code}",
        "from_day": "2026-03-02", "until_day": "2026-04-03", "measure": "litres per visit", "better": "lower",
        "at_least": "0.5",
    }  # fmt: skip


def declare(officer, programme, data):
    return officer.post(f"/programmes/{programme.id}/trials/add", data=data)


def test_a_trial_is_declared_with_its_units_and_who_declared_it_when(officer, programme, units, trial, saved):
    assert declare(officer, programme, trial).status_code == 302
    row = saved.query(Trial).one()
    assert (row.code, row.at_least_thousandths, row.declared_by, row.declared_at) == ("VAC", 500, "Olla Officer", NOW)
    sides = {one.unit_id: one.side for one in saved.query(TrialUnit)}
    assert sides == {units[0].id: TrialSide.FITTED, units[1].id: TrialSide.COMPARISON}
    assert {one.act for one in saved.query(Audit).filter_by(table_name="trial", role="officer")} == {"added"}
    page = officer.get(f"/programmes/{programme.id}/evidence").text
    assert "Does it take less water?" in page and "not declared before it started" not in page


def test_a_trial_that_has_started_is_kept_and_marked(officer, programme, trial, saved):
    sent = officer.post(
        f"/programmes/{programme.id}/trials/add", data=trial | {"from_day": TODAY}, follow_redirects=True
    )
    assert "It has started already. It is kept" in sent.text
    assert sent.text.count("<b>not declared before it started</b>") == 1
    assert saved.query(Trial).count() == 1


def test_a_unit_stands_on_one_side_only(officer, programme, trial, saved):
    answer = declare(officer, programme, trial | {"comparison_units": trial["units"]})
    assert answer.status_code == 400
    assert 'id="comparison_units-error">A unit stands on both sides.' in answer.text
    assert "Does it take less water?" in answer.text  # what was typed stays
    assert saved.query(Trial).count() == saved.query(TrialUnit).count() == 0


@pytest.mark.parametrize(
    ("more", "field", "sentence"),
    [
        ({"units": "NOPE: G1"}, "units", "There is no school NOPE in this programme."),
        ({"units": ""}, "units", "Write at least one unit"),
        ({"until_day": "2026-03-01"}, "until_day", "The last day comes before the first day."),
        ({"at_least": "much"}, "at_least", "Write a number of 0 or more"),
        ({"at_least": "-1"}, "at_least", "Write a number of 0 or more"),
        ({"measure": "cost per visit"}, "measure", "Choose from the list."),
        ({"question": "=1+1"}, "question", "This cell holds a formula."),
    ],
)
def test_a_declaration_that_cannot_be_kept_says_why_at_its_field(
    officer, programme, trial, saved, more, field, sentence
):
    answer = declare(officer, programme, trial | more)
    assert answer.status_code == 400 and f'id="{field}-error">{sentence}' in answer.text
    assert saved.query(Trial).count() == 0


def test_an_unknown_unit_is_named_with_those_there_are(officer, programme, school, units, trial):
    answer = declare(officer, programme, trial | {"units": f"{school.code}: G99"})
    assert f"There is no unit G99 at school {school.code}. Use one of: {units[0].code}" in answer.text


def test_availability_is_declared_in_percentage_points(officer, programme, trial, saved):
    assert declare(officer, programme, trial | {"measure": "availability", "at_least": "5"}).status_code == 302
    assert saved.query(Trial).one().at_least_thousandths == 50  # 5 points are 0.05 of a share


# --- grants -------------------------------------------------------------------------------------------------------


@pytest.fixture
def grants(session, programme, officer):
    rows = [
        FundingGrant(programme_id=programme.id, code=code, funder=f"Fund {code}", from_day=date(2026, 1, 1))
        for code in ("A", "B")
    ]
    session.add_all(rows)
    session.commit()
    return rows


def share(officer, grant, school, percent: str, **more):
    data = {"school_id": school.id, "share": percent, "from_day": "2026-02-01"} | more
    return officer.post(f"/grants/{grant.id}/share", data=data)


def test_two_grants_share_a_school_up_to_the_whole_of_it(officer, grants, school, saved):
    assert share(officer, grants[0], school, "62.5").status_code == 302
    over = share(officer, grants[1], school, "40")
    # 62.5 + 40 = 102.5
    assert over.status_code == 400
    assert (
        'id="share-error">The shares of school' in over.text and "add up to 102.5 % on Sunday 1 February" in over.text
    )
    assert share(officer, grants[1], school, "37.5").status_code == 302
    assert sorted(row.permille for row in saved.query(GrantShare)) == [375, 625]


def test_a_share_that_ended_makes_room_for_another(officer, grants, school, saved):
    assert share(officer, grants[0], school, "100").status_code == 302
    row = saved.query(GrantShare).one().id
    saved.rollback()
    assert officer.post(f"/grant-shares/{row}/end", data={"last_day": "2026-01-31"}).status_code == 400
    assert officer.post(f"/grant-shares/{row}/end", data={"last_day": "2026-02-28"}).status_code == 302
    assert share(officer, grants[1], school, "100").status_code == 400  # from 1 February
    assert share(officer, grants[1], school, "100", from_day="2026-03-01").status_code == 302


def test_a_share_lies_within_its_grant(officer, grants, school, saved):
    early = share(officer, grants[0], school, "10", from_day="2025-12-31")
    assert 'id="from_day-error">Grant A begins on Thursday 1 January 2026.' in early.text
    assert saved.query(GrantShare).count() == 0


def test_a_grant_is_added_once(officer, programme, grants, saved):
    data = {"code": "A", "funder": "Another fund", "from_day": "2026-01-01", "until_day": ""}
    answer = officer.post(f"/programmes/{programme.id}/grants/add", data=data)
    assert 'id="code-error">This code is taken.' in answer.text
    assert officer.post(f"/programmes/{programme.id}/grants/add", data=data | {"code": "C"}).status_code == 302
    assert saved.query(FundingGrant).count() == 3


# --- checks by another person -------------------------------------------------------------------------------------


def draw(officer, programme, **more):
    data = {"schools": "6", "figures_each": "3"} | more
    return officer.post(f"/programmes/{programme.id}/terms/2026-1/spot-checks/draw", data=data)


def test_before_anything_is_on_record_there_is_nothing_to_draw(officer, programme, saved):
    answer = draw(officer, programme)
    assert answer.status_code == 400 and "Nothing that can be checked is on record for this term yet." in answer.text
    assert saved.query(SpotDraw).count() == 0


def test_a_draw_keeps_what_was_reported_and_shows_it_only_after_the_answer(
    session, officer, programme, school, units, saved
):
    counted(session, units[0], 4321)
    counted(session, units[1], 7)
    assert draw(officer, programme).status_code == 302
    check = saved.query(SpotCheck).one()
    assert (check.figure, check.week, check.reported) == (SpotFigure.VISITS, WEEK, 4328)
    saved.rollback()
    page = f"/programmes/{programme.id}/terms/2026-1/spot-checks"
    assert "4328" not in officer.get(page).text and "4328" not in officer.get(f"/spot-checks/{check.id}").text
    data = {"found": "4300", "checked_by": "Nia Other", "checker_role": "engineer", "checked_on": TODAY, "note": ""}
    assert officer.post(f"/spot-checks/{check.id}", data=data).status_code == 302
    assert "Reported 4328, found 4300. Checked on 4 February 2026 by Nia Other, engineer." in officer.get(page).text


def test_a_term_is_drawn_again_only_with_a_reason_and_the_first_draw_stays(session, officer, programme, units, saved):
    counted(session, units[0], 40)
    assert draw(officer, programme).status_code == 302
    refused = draw(officer, programme)
    assert refused.status_code == 400 and "This term was drawn already. Write why it is drawn again" in refused.text
    assert draw(officer, programme, reason="a school burnt its papers").status_code == 302
    assert [(one.number, one.reason) for one in saved.query(SpotDraw).order_by(SpotDraw.number)] == [
        (1, ""),
        (2, "a school burnt its papers"),
    ]
    saved.rollback()
    page = officer.get(f"/programmes/{programme.id}/terms/2026-1/spot-checks").text
    assert "Draw 1," in page and "Drawn again because: a school burnt its papers" in page


@pytest.fixture
def check(session, officer, programme, school, units, saved):
    counted(session, units[0], 40)
    make_person(session, programme, Role.COORDINATOR, school=school, name="Cora Coordinator")
    session.commit()
    draw(officer, programme)
    found = saved.query(SpotCheck).one().id
    saved.rollback()
    return found


ANSWER = {"found": "40", "checked_by": "Nia Other", "checker_role": "engineer", "checked_on": TODAY, "note": ""}


@pytest.mark.parametrize(
    ("more", "field", "sentence"),
    [
        ({"checked_by": " cora  COORDINATOR "}, "checked_by", "cora COORDINATOR reports for this school."),
        ({"checked_by": ""}, "checked_by", "Write the name of the person"),
        ({"found": "-1"}, "found", "Write a whole number from 0"),
        ({"found": ""}, "found", "Write a whole number from 0"),
        ({"checked_on": "2026-02-05"}, "checked_on", "This day has not come yet."),
        ({"checked_on": "2026-02-03"}, "checked_on", "The figure was drawn on Wednesday 4 February 2026."),
    ],
)
def test_an_answer_that_cannot_be_kept_says_why_and_keeps_what_was_typed(officer, check, saved, more, field, sentence):
    answer = officer.post(f"/spot-checks/{check}", data=ANSWER | {"note": "rain in the book"} | more)
    assert answer.status_code == 400 and f'id="{field}-error">{sentence}' in answer.text
    assert "rain in the book" in answer.text
    assert saved.query(SpotAnswer).count() == 0


def test_an_answer_is_corrected_only_with_a_reason(officer, check, saved):
    assert officer.post(f"/spot-checks/{check}", data=ANSWER).status_code == 302
    assert (
        "To correct it, write the reason." in officer.post(f"/spot-checks/{check}", data=ANSWER | {"found": "4"}).text
    )
    told = ANSWER | {"found": "4", "reason": "a nought too many"}
    assert officer.post(f"/spot-checks/{check}", data=told).status_code == 302
    assert saved.query(SpotAnswer).one().found == 4
    assert "a nought too many" in {row.reason for row in saved.query(Audit).filter_by(table_name="spot_answer")}


def test_an_officer_of_one_area_answers_there_and_does_not_draw(session, officer, programme, school, login_as, check):
    far = make_area(session, programme)
    other = login_as(make_person(session, programme, Role.OFFICER, area=far))
    near = login_as(make_person(session, programme, Role.OFFICER, area=session.get(type(far), school.area_id)))
    address = f"/programmes/{programme.id}/terms/2026-1/spot-checks"
    assert school.name not in other.get(address).text and school.name in near.get(address).text
    assert "Draw by chance" not in near.get(address).text
    assert near.post(f"{address}/draw", data={"schools": "1", "figures_each": "1", "reason": "x"}).status_code == 404
    assert (
        near.get(f"/spot-checks/{check}").status_code == 200 and other.get(f"/spot-checks/{check}").status_code == 404
    )


def test_the_pages_ask_the_same_number_of_queries_for_one_school_and_for_more(
    session, engine, officer, programme, grants, units
):
    counted(session, units[0], 40)
    draw(officer, programme)
    pages = (f"/programmes/{programme.id}/evidence", f"/programmes/{programme.id}/terms/2026-1/spot-checks")

    def opened() -> list[int]:
        return [count_queries(engine, lambda page=page: officer.get(page)) for page in pages]

    before = opened()
    for _ in range(3):
        school = make_school(session, programme)
        counted(session, make_unit(session, school), 30)
        session.add(GrantShare(grant_id=grants[0].id, school_id=school.id, permille=500, from_day=date(2026, 1, 1)))
    session.commit()
    draw(officer, programme, reason="more schools came")
    assert opened() == before
