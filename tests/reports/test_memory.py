"""What is kept in memory is used only while nothing was written, and never by a session that writes."""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import text
from sqlalchemy.orm import Session

from tests import make
from tests.reports import small_term as small
from tests.reports.test_frames import counted_queries
from tracker.db import reading, writing
from tracker.records import frames
from tracker.records.asked import listening
from tracker.records.stamp import stamp
from tracker.reports import gathered, school_term
from tracker.reports.facts import MEMORY, gather
from tracker.reports.memory import Memory


def prepared(engine):
    """A school with ten visits, committed; returns the ids that later sessions need."""
    with writing(engine) as session:
        programme, term = small.programme_with_term(session)
        school = small.school_of(session, programme)
        cabin = make.make_unit(session, school)
        small.count(session, cabin, date(2026, 1, 12), 10)
        session.commit()
        return programme.id, school.id, cabin.id, small.head(session, programme, term)


def visits(session: Session, school: int, head) -> float | None:
    return school_term.build(session, school, head, small.AFTER, "test").line("visits").figure.value


def test_a_report_that_was_opened_before_asks_far_less(engine):
    _, school, _, head = prepared(engine)
    MEMORY.clear()
    counts = []
    for _ in range(2):
        with reading(engine) as session, counted_queries(session) as statements:
            assert visits(session, school, head) == 10.0
            counts.append(len([one for one in statements if one.startswith("SELECT")]))
    assert counts[1] < 8 < 30 < counts[0]


def test_what_another_connection_wrote_is_in_the_next_opening(engine):
    _, school, cabin, head = prepared(engine)
    with reading(engine) as session:
        assert visits(session, school, head) == 10.0
    with writing(engine) as session:
        unit = session.get(make.m.units.Unit, cabin)
        small.count(session, unit, date(2026, 1, 13), 5)
        session.commit()
    with reading(engine) as session:
        assert visits(session, school, head) == 15.0


def test_a_row_changed_in_place_is_in_the_next_opening(engine):
    _, school, _, head = prepared(engine)
    with reading(engine) as session:
        assert visits(session, school, head) == 10.0
    with engine.begin() as connection:  # not through the session: no audit row, no new id
        connection.exec_driver_sql("UPDATE usage_count SET visits = 11")
    with reading(engine) as session:
        assert visits(session, school, head) == 11.0


def test_a_session_that_writes_sees_its_own_rows_and_leaves_nothing_behind(engine):
    _, school, cabin, head = prepared(engine)
    with writing(engine) as session:
        assert stamp(session) is None
        small.count(session, session.get(make.m.units.Unit, cabin), date(2026, 1, 13), 5)
        assert visits(session, school, head) == 15.0
        session.rollback()
    with reading(engine) as session:
        assert visits(session, school, head) == 10.0


def test_the_stamp_changes_with_what_is_written_on_both_databases(any_engine):
    with writing(any_engine) as session:
        make.make_programme(session)
        session.commit()
    seen = []
    for _ in range(2):
        with reading(any_engine) as session:
            seen.append(stamp(session))
    with writing(any_engine) as session:
        make.make_programme(session)
        session.commit()
    with reading(any_engine) as session:
        seen.append(stamp(session))
    assert seen[0] == seen[1] != seen[2]


def test_memory_keeps_a_few_and_gives_nothing_back_under_another_stamp():
    memory, made = Memory(kept=2), []

    def make_one(name):
        made.append(name)
        return name

    for stamp_, key in ((("c", "1"), "a"), (("c", "1"), "a"), (("c", "2"), "a"), (None, "a")):
        assert memory.get(stamp_, key, lambda: make_one("a")) == "a"
    assert made == ["a", "a", "a"]  # first, after the change, and without a stamp
    for key in ("b", "c", "a"):
        memory.get(("c", "2"), key, lambda key=key: make_one(key))
    assert made[3:] == ["b", "c", "a"]  # "a" had to go for "c"


def opened(engine, about, head):
    """What stands behind a school's or (with None) the programme's report."""
    programme, schools = about
    with reading(engine) as session:
        return gather(session, programme, head, small.AFTER, schools).now


def test_what_another_school_sent_leaves_a_schools_worked_out_facts_in_memory(engine):
    programme, school, _, head = prepared(engine)
    before = [opened(engine, (programme, ids), head) for ids in ((school,), None)]
    with writing(engine) as session:
        other = small.school_of(session, session.get(make.m.programme.Programme, programme))
        small.count(session, make.make_unit(session, other), date(2026, 1, 12), 7)
        session.commit()
    after = [opened(engine, (programme, ids), head) for ids in ((school,), None)]
    assert after[0] is before[0]
    assert after[1] is not before[1]
    assert after[1].unit_weeks["visits"].sum() == before[1].unit_weeks["visits"].sum() + 7


def test_a_changed_programme_name_or_setting_makes_the_facts_anew(engine):
    programme, school, _, head = prepared(engine)
    known = [opened(engine, (programme, (school,)), head)]
    for change in (
        "UPDATE programme SET name = 'Another name'",
        f"INSERT INTO programme_setting (programme_id, key, value, from_day) VALUES ({programme}, 'sheet_due_days', 9,"
        " '2025-01-01')",
    ):
        with engine.begin() as connection:
            connection.exec_driver_sql(change)
        known.append(opened(engine, (programme, (school,)), head))
    assert known[1].all.programme.name == "Another name"
    assert known[2].settings["sheet_due_days"] == 9


def test_every_question_of_a_reading_is_known_and_answered_the_same(any_engine):
    with writing(any_engine) as session:
        made, term = small.programme_with_term(session)
        small.count(session, make.make_unit(session, small.school_of(session, made)), date(2026, 1, 12), 10)
        session.commit()
        wanted = frames.Scope(made.id, term.first_day, term.last_day)
        head = frames.programme(session, made.id)
    with reading(any_engine) as session:
        with listening(session) as asked:
            gathered.read(session, head, wanted, term.first_day)
        assert asked.run == len(asked.answers) > 30
        assert asked.same(session)
        with listening(session) as more:
            session.execute(text("SELECT 1"))
        assert not more.same(session)  # asked past the list: nothing is known about its answer


def test_a_closed_term_stays_in_memory_until_one_of_its_own_rows_changes(engine):
    with writing(engine) as session:
        programme, _ = small.programme_with_term(session)
        later = make.make_term(session, programme, first_day=date(2026, 2, 9), last_day=date(2026, 3, 6))
        unit = make.make_unit(session, small.school_of(session, programme))
        small.count(session, unit, date(2026, 1, 12), 10)
        session.commit()
        about, cabin, head = (programme.id, None), unit.id, small.head(session, programme, later)

    def last():
        with reading(engine) as session:
            return gather(session, about[0], head, datetime(2026, 4, 1, tzinfo=UTC), about[1]).last

    def write(day, visits):
        with writing(engine) as session:
            small.count(session, session.get(make.m.units.Unit, cabin), day, visits)
            session.commit()

    before = last()
    write(date(2026, 2, 10), 3)  # in the later term
    assert last() is before
    write(date(2026, 1, 14), 4)
    assert last() is not before
    assert (before.unit_weeks["visits"].sum(), last().unit_weeks["visits"].sum()) == (10, 14)
