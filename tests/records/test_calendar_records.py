"""Weeks, school days and draws are derived; deriving again changes nothing."""

from datetime import UTC, date, datetime

from sqlalchemy import event, func, select

from tests.make import make_programme, make_school, make_term
from tracker.measures.calendar import scheduled_minutes
from tracker.models.programme import Closure, ProgrammeSetting, Week
from tracker.models.school import DrawnBreak, Mark, SchoolDay
from tracker.models.sheets import WeekSheet
from tracker.records import calendar
from tracker.vocabulary import ClosureScope, DayMark, SheetState

MONDAY = date(2026, 1, 12)
FRIDAY_NEXT = date(2026, 1, 23)


def two_weeks(session):
    """One school, a term of two weeks (ten weekdays from Monday 12 January 2026)."""
    programme = make_programme(session)
    make_term(session, programme, MONDAY, FRIDAY_NEXT)
    school = make_school(session, programme)
    return programme, school


def rows(session, model):
    table = model.__table__
    columns = [column for column in table.columns if column.name != "id"]
    return session.execute(select(*columns).order_by(*columns)).all()


def test_weeks_and_school_days_follow_the_term(session):
    programme, _school = two_weeks(session)
    calendar.rebuild(session, programme.id)
    assert calendar.weeks(session, programme.id) == [MONDAY, date(2026, 1, 19)]
    days = session.scalars(select(SchoolDay.day).order_by(SchoolDay.day)).all()
    assert days == [date(2026, 1, n) for n in (12, 13, 14, 15, 16, 19, 20, 21, 22, 23)]
    assert calendar.term_of(session, programme.id, MONDAY).first_day == MONDAY
    assert calendar.term_of(session, programme.id, date(2026, 1, 24)) is None


def test_each_week_has_two_breaks_drawn_on_two_days(session):
    programme, _school = two_weeks(session)
    calendar.rebuild(session, programme.id)
    drawn = session.execute(select(DrawnBreak.week, DrawnBreak.day)).all()
    assert len(drawn) == 4
    assert len(set(drawn)) == 4  # two days a week, never two breaks of one day


def test_deriving_again_changes_nothing(session):
    programme, _school = two_weeks(session)
    calendar.rebuild(session, programme.id)
    before = [rows(session, model) for model in (Week, SchoolDay, DrawnBreak)]
    ids = session.scalars(select(SchoolDay.id)).all()
    calendar.rebuild(session, programme.id)
    assert [rows(session, model) for model in (Week, SchoolDay, DrawnBreak)] == before
    assert session.scalars(select(SchoolDay.id)).all() == ids


def test_a_closure_takes_the_day_and_draws_anew_only_where_no_sheet_was_sent(session):
    programme, school = two_weeks(session)
    calendar.rebuild(session, programme.id)
    first, second = ([d for d in rows(session, DrawnBreak) if d.week == week] for week in (MONDAY, date(2026, 1, 19)))
    session.add(
        WeekSheet(
            school_id=school.id, week=MONDAY, code="C1", state=SheetState.SENT, version=1,
            first_sent_at=datetime(2026, 1, 17, 9, tzinfo=UTC),
        )
    )  # fmt: skip
    for number, day in enumerate((first[0].day, second[0].day)):
        session.add(
            Closure(
                programme_id=programme.id, ref=f"X{number}", scope=ClosureScope.PROGRAMME, first_day=day, last_day=day
            )
        )
    session.flush()
    calendar.rebuild(session, programme.id)
    days = set(session.scalars(select(SchoolDay.day)))
    assert first[0].day not in days
    assert second[0].day not in days
    now = rows(session, DrawnBreak)
    assert [d for d in now if d.week == MONDAY] == first, "what was sent keeps its draw"
    again = [d for d in now if d.week == date(2026, 1, 19)]
    assert second[1] in again, "a draw that still takes place stays"
    assert len(again) == 2
    assert second[0].day not in {d.day for d in again}


def test_a_lost_day_is_no_school_day_and_a_half_day_keeps_its_first_half(session):
    programme, school = two_weeks(session)
    session.add(Mark(school_id=school.id, day=date(2026, 1, 13), mark=DayMark.LOST))
    session.add(Mark(school_id=school.id, day=date(2026, 1, 14), mark=DayMark.HALF))
    session.flush()
    calendar.rebuild(session, programme.id)
    time = calendar.school_time(session, programme.id, MONDAY, FRIDAY_NEXT)[school.id]
    # zone Etc/GMT-3 is UTC+3: local midnight is 21:00 UTC the day before
    week_one = (datetime(2026, 1, 11, 21, tzinfo=UTC), datetime(2026, 1, 16, 21, tzinfo=UTC))
    # 08:00 to 15:00 is 420 minutes: three whole days, no Tuesday, half a Wednesday
    assert scheduled_minutes(time, *week_one) == 3 * 420 + 210
    breaks = calendar.break_occasions(session, programme.id, MONDAY, date(2026, 1, 16))[school.id]
    # half a day ends at 11:30: the first break (10:00) takes place, lunch (12:00) does not
    assert [one.slot for one in breaks if one.day == date(2026, 1, 14)] == ["B1"]
    assert len(breaks) == 3 * 2 + 1


def test_the_number_drawn_follows_the_setting_of_the_week(session):
    programme, _school = two_weeks(session)
    session.add(
        ProgrammeSetting(
            programme_id=programme.id, key="drawn_breaks_per_week", from_day=date(2026, 1, 19), value=3
        )
    )  # fmt: skip
    session.flush()
    calendar.rebuild(session, programme.id)
    counts = dict(session.execute(select(DrawnBreak.week, func.count()).group_by(DrawnBreak.week)).all())
    assert counts == {MONDAY: 2, date(2026, 1, 19): 3}


def test_school_days_end_with_the_school(session):
    programme = make_programme(session)
    make_term(session, programme, MONDAY, FRIDAY_NEXT)
    make_school(session, programme, from_day=date(2026, 1, 14), until_day=date(2026, 1, 20))
    calendar.rebuild(session, programme.id)
    days = session.scalars(select(SchoolDay.day).order_by(SchoolDay.day)).all()
    assert days == [date(2026, 1, n) for n in (14, 15, 16, 19, 20)]


def test_one_school_can_be_derived_apart_and_the_others_stay(session):
    programme, school = two_weeks(session)
    other = make_school(session, programme)
    calendar.rebuild(session, programme.id)
    session.add(Mark(school_id=school.id, day=MONDAY, mark=DayMark.LOST))
    session.add(Mark(school_id=other.id, day=MONDAY, mark=DayMark.LOST))
    session.flush()
    calendar.rebuild(session, programme.id, [school.id])
    counts = dict(session.execute(select(SchoolDay.school_id, func.count()).group_by(SchoolDay.school_id)).all())
    assert counts == {school.id: 9, other.id: 10}


def test_the_number_of_queries_does_not_grow_with_schools(session, engine):
    def queries_for(schools: int) -> int:
        programme = make_programme(session)
        make_term(session, programme, MONDAY, FRIDAY_NEXT)
        for _ in range(schools):
            make_school(session, programme)
        seen = []
        bind = session.get_bind()
        event.listen(bind, "before_cursor_execute", lambda *a: seen.append(a[2]))
        calendar.rebuild(session, programme.id)
        # rows inserted in bulk are counted once a batch
        return len([text for text in seen if text.startswith("SELECT")])

    assert queries_for(1) == queries_for(6)
