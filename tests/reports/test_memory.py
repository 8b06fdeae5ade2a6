"""What is kept in memory is used only while nothing was written, and never by a session that writes."""

from __future__ import annotations

from datetime import date

from sqlalchemy.orm import Session

from tests import make
from tests.reports import small_term as small
from tests.reports.test_frames import counted_queries
from tracker.db import reading, writing
from tracker.records.stamp import stamp
from tracker.reports import school_term
from tracker.reports.facts import MEMORY
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
