"""What must always hold is held by the database, whoever writes."""

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError, StatementError
from sqlalchemy.orm import Session

from tests.make import make_person, make_programme, make_school, make_term, make_unit
from tracker import models as m
from tracker.db import make_engine, writing
from tracker.vocabulary import Cause, CountWay, FittingKind, LitresBasis, MoveReason, PlaceKind, ReportKind, Source

NINE = datetime(2026, 2, 3, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)


def outage(unit, start, end, cause=Cause.BROKEN, source=Source.TALLY, ref=None):
    return m.outages.Outage(
        programme_id=1, ref=ref or f"O{start.isoformat()}{cause}", unit_id=unit.id, source=source, cause=cause,
        start_at=start, end_at=end,
    )  # fmt: skip


@pytest.fixture
def db(any_engine):
    with writing(any_engine) as session:
        yield session


def refused(session: Session, row) -> bool:
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except DatabaseError:
        return True
    return False


def test_every_sqlite_connection_survives_a_power_cut_and_keeps_foreign_keys(engine):
    with engine.connect() as connection:
        pragmas = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("foreign_keys", "synchronous", "journal_mode")
        }
    assert pragmas == {"foreign_keys": 1, "synchronous": 2, "journal_mode": "wal"}


def test_outages_of_one_unit_source_and_cause_may_touch_but_not_overlap(db):
    programme = make_programme(db)
    unit = make_unit(db, make_school(db, programme))
    db.add(
        outage(unit, NINE, NINE + 2 * HOUR)
        if programme.id == 1
        else _for(programme, outage(unit, NINE, NINE + 2 * HOUR))
    )
    db.flush()
    assert refused(db, _for(programme, outage(unit, NINE + HOUR, NINE + 3 * HOUR)))
    assert refused(db, _for(programme, outage(unit, NINE - HOUR, None, ref="open")))
    assert not refused(db, _for(programme, outage(unit, NINE + 2 * HOUR, NINE + 3 * HOUR)))
    assert not refused(db, _for(programme, outage(unit, NINE + HOUR, NINE + 3 * HOUR, cause=Cause.DIRTY)))
    assert not refused(
        db, _for(programme, outage(unit, NINE + HOUR, NINE + 3 * HOUR, source=Source.DEVICE, ref="device"))
    )


def _for(programme, row):
    row.programme_id = programme.id
    return row


def test_a_danger_is_ended_only_with_the_name_of_who_checked(db):
    programme = make_programme(db)
    unit = make_unit(db, make_school(db, programme))
    assert refused(db, _for(programme, outage(unit, NINE, NINE + HOUR, cause=Cause.DANGER)))
    checked = _for(programme, outage(unit, NINE, NINE + HOUR, cause=Cause.DANGER))
    checked.checked_by = "A. Lomu, electrician"
    assert not refused(db, checked)


def test_visits_are_never_negative_and_a_week_total_has_no_break(db):
    unit = make_unit(db, make_school(db))

    def count(**given):
        fields = {"unit_id": unit.id, "week": date(2026, 2, 2), "first_day": date(2026, 2, 3), "slot": "B1", "days": 1}
        fields |= {"source": Source.TALLY, "how": CountWay.GRID, "visits": 3}
        return m.usage.UsageCount(**(fields | given))

    assert refused(db, count(visits=-1))
    assert refused(db, count(days=5))
    assert not refused(db, count())
    assert refused(db, count(visits=9)), "one unit, day, slot and source has one count"


def test_terms_of_a_programme_and_flush_fittings_of_a_unit_do_not_overlap(db):
    programme = make_programme(db)
    make_term(db, programme, date(2026, 1, 12), date(2026, 4, 3))
    assert refused(
        db,
        m.programme.Term(
            programme_id=programme.id, code="x", name="x", first_day=date(2026, 4, 3), last_day=date(2026, 5, 1)
        ),
    )
    unit = make_unit(db, make_school(db, programme))

    def flush(kind, first, last=None, **given):
        return m.units.Fitting(
            unit_id=unit.id, kind=kind, ml=4000, litres_basis=LitresBasis.CLAIM, from_day=first, until_day=last, **given
        )

    assert not refused(db, flush(FittingKind.FLUSH_FIXED, date(2026, 1, 1), date(2026, 2, 1)))
    assert refused(db, flush(FittingKind.FLUSH_POUR, date(2026, 2, 1)))
    assert refused(db, flush(FittingKind.FLUSH_TWO_STAGE, date(2026, 2, 2))), "two stages need both litres"
    assert not refused(db, flush(FittingKind.FLUSH_TWO_STAGE, date(2026, 2, 2), long_ml=6000, threshold_s=180))
    assert not refused(db, flush(FittingKind.FLOOR_WASH, date(2026, 2, 2), every_n=10))


def test_a_publication_is_never_changed_or_deleted(db):
    programme = make_programme(db)
    term, person = make_term(db, programme), make_person(db)
    db.add(
        m.publications.Publication(
            programme_id=programme.id,
            term_id=term.id,
            kind=ReportKind.IMPACT,
            number=1,
            cutoff_at=NINE,
            published_at=NINE,
            code_version="0",
            content="{}",
            content_hash="0",
            approved_by_id=person.id,
        )
    )
    db.flush()
    for statement in ("UPDATE publication SET content = '{1}'", "DELETE FROM publication"):
        with pytest.raises(DatabaseError), db.begin_nested():
            db.execute(text(statement))


def test_an_instant_without_its_zone_is_refused(db):
    unit = make_unit(db, make_school(db))
    db.add(outage(unit, datetime(2026, 2, 3, 6), None))
    with pytest.raises(StatementError, match="zone"):
        db.flush()


def test_two_writers_wait_for_each_other_instead_of_losing_an_update(engine):
    with writing(engine) as first:
        first.execute(text("CREATE TABLE tally (n INTEGER)"))
        first.execute(text("INSERT INTO tally VALUES (0)"))
        first.commit()
    second_engine = make_engine(str(engine.url))
    with writing(engine) as first, writing(second_engine) as second:
        seen = first.execute(text("SELECT n FROM tally")).scalar_one()
        first.execute(text("UPDATE tally SET n = :n"), {"n": seen + 1})
        first.commit()
        seen = second.execute(text("SELECT n FROM tally")).scalar_one()
        second.execute(text("UPDATE tally SET n = :n"), {"n": seen + 1})
        second.commit()
    with writing(engine) as third:
        assert third.execute(text("SELECT n FROM tally")).scalar_one() == 2
    second_engine.dispose()


def test_a_move_of_nothing_is_kept_only_where_the_week_sheet_asks(db):
    programme = make_programme(db)
    school = make_school(db, programme)
    product = m.supplies.Product(
        programme_id=programme.id, code="pad", name="Napkin", menstrual=True, pack_size=10, unit_cost_minor=5
    )
    db.add(product)
    db.flush()
    lot = m.supplies.Lot(product_id=product.id, code="unknown")
    places = [
        m.supplies.StockPlace(programme_id=programme.id, code=code, name=code, kind=kind, school_id=school.id)
        for code, kind in (("C", PlaceKind.CUPBOARD), ("D", PlaceKind.CUPBOARD))
    ]
    db.add_all([lot, *places])
    db.flush()

    def move(reason: MoveReason, quantity: int):
        return m.supplies.StockMove(
            programme_id=programme.id, ref=f"{reason}{quantity}", from_place_id=places[0].id, to_place_id=places[1].id,
            lot_id=lot.id, quantity=quantity, day=date(2026, 2, 3), week=date(2026, 2, 2), reason=reason,
        )  # fmt: skip

    asked = {MoveReason.REFILL, MoveReason.DELIVERY, MoveReason.GIVEN_OUT}
    assert {reason for reason in MoveReason if not refused(db, move(reason, 0))} == asked
    assert refused(db, move(MoveReason.REFILL, -1))
