"""Trials, grants' shares, draws and answers as the database keeps them, and the draw that can be made again."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import delete, select, update
from sqlalchemy.exc import IntegrityError

from tests import make
from tracker import models as m
from tracker.db import make_engine, reading
from tracker.intake.spot_draw import Wanted, draw_term
from tracker.measures.calendar import week_of
from tracker.models.evidence import FundingGrant, GrantShare, SpotAnswer, SpotCheck, SpotDraw, Trial, TrialUnit
from tracker.models.programme import Programme, Term
from tracker.records import evidence, frames
from tracker.records.evidence_reported import reported
from tracker.vocabulary import Better, CountWay, FittingKind, Measure, Source, SpotFigure, TrialSide

MONDAY, NEXT = date(2026, 1, 12), date(2026, 1, 19)
AT = datetime(2026, 2, 4, 9, tzinfo=UTC)


@pytest.fixture
def place(session):
    """A programme with its term, a school and one cabin."""
    programme = make.make_programme(session)
    term = make.make_term(session, programme, MONDAY, date(2026, 1, 23), code="2026-1")
    school = make.make_school(session, programme)
    return programme, term, school, make.make_unit(session, school)


def declared(programme, **more) -> Trial:
    fields = {"code": "V", "question": "Less?", "fitting": FittingKind.VACUUM, "measure": Measure.LITRES_PER_VISIT}
    fields |= {"better": Better.LOWER, "at_least_thousandths": 500, "from_day": NEXT, "until_day": date(2026, 1, 30)}
    fields |= {"declared_at": AT, "declared_by": "O"}
    return Trial(programme_id=programme.id, **(fields | more))


# --- what the database itself refuses -----------------------------------------------------------------------------


def added(session, row) -> bool:
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except IntegrityError:
        return False
    return True


def test_a_unit_stands_once_in_a_trial(session, place):
    programme, _, _, unit = place
    trial = make._add(session, declared(programme))
    assert added(session, TrialUnit(trial_id=trial.id, unit_id=unit.id, side=TrialSide.FITTED))
    assert not added(session, TrialUnit(trial_id=trial.id, unit_id=unit.id, side=TrialSide.COMPARISON))


@pytest.mark.parametrize("more", [{"until_day": MONDAY}, {"at_least_thousandths": -1}])
def test_a_trial_ends_after_it_begins_and_its_size_is_no_debt(session, place, more):
    assert not added(session, declared(place[0], **more))


@pytest.mark.parametrize("permille", [0, 1001])
def test_a_share_is_between_nothing_and_the_whole(session, place, permille):
    grant = make._add(session, FundingGrant(programme_id=place[0].id, code="G", funder="F", from_day=MONDAY))
    share = {"grant_id": grant.id, "school_id": place[2].id, "from_day": MONDAY}
    assert not added(session, GrantShare(**share, permille=permille))
    assert added(session, GrantShare(**share, permille=1000))


def drawn(session, term, number=1, **more) -> SpotDraw:
    values = {"number": number, "drawn_at": AT, "drawn_by": "O", "salt": "5a", "schools": 1, "figures_each": 1}
    return SpotDraw(programme_id=term.programme_id, term_id=term.id, code=f"{term.code}-{number}", **values, **more)


def test_a_second_draw_says_why(session, place):
    assert added(session, drawn(session, place[1]))
    assert not added(session, drawn(session, place[1], 2))
    assert added(session, drawn(session, place[1], 2, reason="papers were wet"))


def test_a_draw_and_its_figures_cannot_be_changed_or_taken_away(any_engine):
    from tracker.db import writing

    with writing(any_engine) as session:
        programme = make.make_programme(session)
        term, school = make.make_term(session, programme, code="T"), make.make_school(session, programme)
        draw = make._add(session, drawn(session, term))
        check = {"draw_id": draw.id, "school_id": school.id, "figure": SpotFigure.BURNS, "week": MONDAY}
        make._add(session, SpotCheck(**check, reported=3))
        statements = (
            update(SpotCheck).values(reported=4),
            delete(SpotCheck),
            update(SpotDraw).values(salt="another"),
            delete(SpotDraw),
        )
        for statement in statements:
            with pytest.raises(IntegrityError, match="frozen"), session.begin_nested():
                session.execute(statement)
        assert session.scalars(select(SpotCheck.reported)).all() == [3]


# --- what is on record for a draw ---------------------------------------------------------------------------------


def test_figures_are_summed_by_week_and_a_week_without_a_record_is_absent(session, place):
    programme, _, school, unit = place
    what = {"how": CountWay.GRID, "source": Source.TALLY, "days": 1}
    counts = (("B1", MONDAY, 30), ("B2", MONDAY, 12), ("B1", date(2026, 1, 20), 5))
    for slot, day, visits in counts:
        week = week_of(day, 0)
        make._add(
            session, m.usage.UsageCount(unit_id=unit.id, week=week, first_day=day, slot=slot, visits=visits, **what)
        )
    device = what | {"source": Source.DEVICE}
    make._add(
        session, m.usage.UsageCount(unit_id=unit.id, week=MONDAY, first_day=MONDAY, slot="B1", visits=99, **device)
    )
    machine = make.make_unit(session, school, way=CountWay.NONE)
    for day, ran in ((MONDAY, True), (date(2026, 1, 13), False), (date(2026, 1, 19), False), (date(2026, 1, 30), True)):
        make._add(session, m.supplies.MachineDay(unit_id=machine.id, source=Source.TALLY, day=day, ran_out=ran))
    found = reported(session, programme, MONDAY, date(2026, 1, 23))
    assert found == {
        school.id: {
            SpotFigure.VISITS: {MONDAY: 42, NEXT: 5},  # what a device counted is no tally
            SpotFigure.SOLD_OUT: {MONDAY: 1, NEXT: 0},  # asked and answered no is 0; the week of the 26th is outside
        }
    }


def test_the_same_salt_draws_the_same_and_another_programmes_schools_are_not_drawn(session, place):
    programme, term, school, unit = place
    stranger = make.make_unit(session, make.make_school(session))
    for one in (unit, stranger):
        count = m.usage.UsageCount(unit_id=one.id, week=NEXT, first_day=NEXT, slot="B1", visits=7, days=1)
        count.how, count.source = CountWay.GRID, Source.TALLY
        make._add(session, count)
    assert draw_term(session, programme, term, Wanted(9, 5, "O", AT), "00ff") == 1
    (check,) = session.scalars(select(SpotCheck)).all()
    assert (check.school_id, check.figure, check.week, check.reported) == (school.id, SpotFigure.VISITS, NEXT, 7)


@pytest.fixture
def demo(demo_file):
    with reading(make_engine(f"sqlite:///{demo_file}")) as session:
        yield session


def test_the_demos_draw_follows_from_its_salt_and_from_what_was_on_record(demo, demo_copy):
    """Every sheet of the term had come when it was drawn, so drawing again from the same text gives the same rows."""
    from tracker.db import writing

    draw = demo.scalars(select(SpotDraw)).one()
    before = {
        (row.school_id, row.figure, row.week, row.reported)
        for row in demo.scalars(select(SpotCheck).where(SpotCheck.draw_id == draw.id))
    }
    assert len(before) == 18 and len({school for school, *_ in before}) == 6
    with writing(make_engine(f"sqlite:///{demo_copy}")) as session:
        for trigger in ("spot_check_frozen_delete", "spot_draw_frozen_delete"):
            session.connection().exec_driver_sql(f"DROP TRIGGER {trigger}")
        for model in (SpotAnswer, SpotCheck, SpotDraw):
            session.execute(delete(model))
        programme, term = session.scalars(select(Programme)).one(), session.get_one(Term, draw.term_id)
        wanted = Wanted(draw.schools, draw.figures_each, "somebody else", AT)
        draw_term(session, programme, term, wanted, draw.salt)
        again = {(row.school_id, row.figure, row.week, row.reported) for row in session.scalars(select(SpotCheck))}
    assert again == before


# --- frames -------------------------------------------------------------------------------------------------------


def test_a_trial_is_read_with_both_sides_and_the_day_of_its_declaration_there(session, place):
    programme, _, school, unit = place
    other = make.make_unit(session, school)
    late = datetime(2026, 1, 18, 22, 30, tzinfo=UTC)  # 01:30 on the 19th, three hours ahead
    trial = make._add(session, declared(programme, declared_at=late))
    for one, side in ((unit, TrialSide.FITTED), (other, TrialSide.COMPARISON)):
        make._add(session, TrialUnit(trial_id=trial.id, unit_id=one.id, side=side))
    scope = frames.Scope(programme.id, MONDAY, date(2026, 1, 23))
    (head,) = frames.trials(session, scope, ZoneInfo("Etc/GMT-3"))
    assert (head.units, head.comparison_units) == (frozenset({unit.id}), frozenset({other.id}))
    assert (head.declared_on, head.at_least) == (NEXT, 0.5)
    before = frames.Scope(programme.id, date(2026, 1, 1), date(2026, 1, 18))
    assert frames.trials(session, before, ZoneInfo("Etc/GMT-3")) == ()
    (line,) = evidence.trials_of(session, programme.id, ZoneInfo("Etc/GMT-3"))
    assert (line.in_time, line.fitted, line.compared) == (False, 1, 1)


def test_shares_and_checks_come_as_frames(session, place):
    programme, term, school, _ = place
    grant = make._add(session, FundingGrant(programme_id=programme.id, code="G", funder="F", from_day=MONDAY))
    for first, last in ((MONDAY, date(2026, 1, 16)), (date(2026, 2, 1), None)):
        share = {"grant_id": grant.id, "school_id": school.id, "permille": 400, "from_day": first, "until_day": last}
        make._add(session, GrantShare(**share))
    scope = frames.Scope(programme.id, MONDAY, date(2026, 1, 23))
    rows = frames.grant_shares(session, scope)
    assert rows[["school", "grant", "funder", "permille"]].to_numpy().tolist() == [[school.code, "G", "F", 400]]
    draw = make._add(session, drawn(session, term))
    for figure in (SpotFigure.BURNS, SpotFigure.VISITS):
        make._add(session, SpotCheck(draw_id=draw.id, school_id=school.id, figure=figure, week=MONDAY, reported=3))
    check = session.scalars(select(SpotCheck).where(SpotCheck.figure == SpotFigure.VISITS)).one()
    values = {"found": 0, "checked_by": "N", "checker_role": "engineer", "checked_on": date(2026, 2, 5), "note": ""}
    evidence.answer(session, check, values, reason="")
    found = frames.spot_checks(session, term.id)
    assert found["figure"].tolist() == ["burns started", "visits tallied"]
    assert found["found"].isna().tolist() == [True, False] and found["found"].iloc[1] == 0.0
