"""What reports read: fixed columns, sums made by the database, a constant number of queries."""

from __future__ import annotations

import dataclasses
from contextlib import contextmanager
from datetime import date

import pandas as pd
import pytest
from sqlalchemy import event

from tests import make
from tests.reports import small_term as small
from tracker import models as m
from tracker.records import frames
from tracker.vocabulary import CountWay, MoveReason, Quantity, SheetState, Source, UnitKind


@contextmanager
def counted_queries(session):
    """How many statements run inside the block."""
    statements: list[str] = []

    def note(_connection, _cursor, statement, *_rest):
        statements.append(statement)

    session.flush()
    engine = session.get_bind()
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(engine, "before_cursor_execute", note)


def scope_of(programme, school_ids=None) -> frames.Scope:
    return frames.Scope(programme.id, small.FIRST, small.LAST, school_ids)


EMPTY = {
    "units": frames.units,
    "usage": frames.usage,
    "tallies": frames.tallies,
    "readings": lambda s, scope: frames.readings(s, scope, small.ZONE),
    "long_weeks": frames.long_weeks,
    "fittings": frames.fittings,
    "meter_scopes": frames.meter_scopes,
    "outages": lambda s, scope: frames.outages(s, scope, small.ZONE),
    "sightings": lambda s, scope: frames.sightings(s, scope, small.ZONE),
    "bell_counts": frames.bell_counts,
    "cupboards": frames.cupboards,
    "burns": frames.burns,
    "bin_levels": frames.bin_levels,
    "routes": frames.routes,
    "tanks": frames.tanks,
    "stock_spans": frames.stock_spans,
    "tank_scopes": frames.tank_scopes,
    "deliveries": frames.deliveries,
    "cleaning_plans": frames.cleaning_plans,
    "hand_flushes": frames.hand_flushes,
    "power_uses": frames.power_uses,
    "energy_given": frames.energy_given,
    "ratings": frames.ratings,
    "burn_outputs": frames.burn_outputs,
    "sessions": frames.sessions,
    "attendance": frames.attendance,
    "enrolment": frames.enrolment,
    "queries": frames.queries,
    "quizzes": frames.quizzes,
    "money": frames.money,
    "engineer_visits": lambda s, scope: frames.engineer_visits(s, scope, small.ZONE),
    "shift_pupils": frames.shift_pupils,
    "service_intervals": frames.service_intervals,
    "spot_checks": lambda s, scope: frames.spot_checks(s, 0),
    "grant_shares": frames.grant_shares,
    "occasions": lambda s, scope: frames.school_calendar(s, scope, small.ZONE).occasions,
    "breaks": lambda s, scope: frames.school_calendar(s, scope, small.ZONE).breaks,
    "machine_weeks": lambda s, scope: frames.machine_weeks(
        s, scope, frames.school_calendar(s, scope, small.ZONE).occasions
    ),
    "sheets": lambda s, scope: frames.sheets(
        s, scope, frames.school_calendar(s, scope, small.ZONE).occasions, 3, small.ZONE
    ),
}
# The columns of the table in DEVELOPERS.md, copied by hand so that a renamed column is noticed.
COLUMNS = {
    "units": "unit_id unit school_id school area block group kind accessible from_day until_day count_way",
    "usage": "unit_id week how source visits cells",
    "tallies": "unit_id week day slot visits",
    "occasions": "school_id week breaks school_days",
    "readings": "unit_id quantity source at day week value install_from digits step_ml u_permille"
    " first_value last_value",
    "long_weeks": "unit_id week seen long",
    "fittings": "unit_id kind ml long_ml every_n factor_permille litres_basis u_permille from_day until_day",
    "meter_scopes": "meter_id unit_id whole from_day until_day",
    "outages": "unit_id cause source start end event planned dangerous",
    "sightings": "unit_id day state",
    "breaks": "school_id week day slot start end drawn",
    "bell_counts": "school_id day slot group waiting present",
    "machine_weeks": "unit_id school_id week product left refilled sold_out_days school_days asked_days",
    "cupboards": "school_id product day left",
    "burns": "unit_id week burns",
    "bin_levels": "unit_id school_id day quarters",
    "routes": "school_id kind from_day until_day permit_until operator_until siting_checked flue_checked ash_route",
    "sessions": "session_id school_id day week topic minutes kind",
    "stock_spans": "school place kind product first_day last_day opening received issued lost closing",
    "tanks": "unit_id school_id capacity_ml inflow_known from_day until_day",
    "tank_scopes": "tank_id unit_id whole from_day until_day",
    "deliveries": "tank_id school_id day origin ml",
    "cleaning_plans": "unit_id cycle ml times every litres_basis u_permille from_day until_day",
    "hand_flushes": "unit_id ml share_permille share_low_permille share_high_permille share_seen instead litres_basis"
    " u_permille from_day until_day",
    "power_uses": "unit_id part watts seconds wh_thousandths every_n u_permille from_day until_day",
    "energy_given": "meter_id week origin wh u_rel",
    "ratings": "unit_id pads grams burns_a_day from_day until_day",
    "burn_outputs": "unit_id week ash_g energy_wh",
    "attendance": "session_id sex grade present",
    "enrolment": "school_id sex grade age pupils from_day until_day",
    "sheets": "school_id week state version first_sent due expected",
    "queries": "school_id week open",
    "quizzes": "session_id school_id school day item right_right right_wrong wrong_right wrong_wrong",
    "money": "school_id school day kind minor",
    "engineer_visits": "school_id day purpose",
    "shift_pupils": "school_id shift_id sex pupils",
    "service_intervals": "school_id from_day every_days",
    "spot_checks": "draw drawn_at reason school_id school figure week reported found checked_on",
    "grant_shares": "school_id school grant funder permille from_day until_day",
}


@pytest.mark.parametrize("name", sorted(COLUMNS))
def test_a_frame_has_its_columns_and_types_also_when_nothing_is_found(session, name):
    programme, _ = small.programme_with_term(session)
    found = EMPTY[name](session, scope_of(programme))
    assert found.empty
    assert set(COLUMNS[name].split()) <= set(found.columns)
    for column in {"day", "week", "from_day", "until_day"} & set(found.columns):
        assert str(found[column].dtype) == "datetime64[us]"
    for column in {"at", "start", "end", "first_sent", "due"} & set(found.columns):
        assert str(found[column].dtype) == "datetime64[us, UTC]"


def test_visits_are_summed_by_unit_week_and_way(session):
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    unit = make.make_unit(session, school)
    for day, visits in ((date(2026, 1, 12), 10), (date(2026, 1, 13), 20), (date(2026, 1, 19), 5)):
        small.count(session, unit, day, visits)
    found = frames.usage(session, scope_of(programme))
    assert found[["visits", "cells"]].values.tolist() == [[30.0, 2.0], [5.0, 1.0]]


def test_school_days_and_breaks_come_from_the_stored_days(session):
    # Ten school days with two breaks each; the first break is at 10:00 local, which is 07:00 UTC.
    programme, _ = small.programme_with_term(session)
    small.school_of(session, programme)
    known = frames.school_calendar(session, scope_of(programme), small.ZONE)
    assert known.occasions[["breaks", "school_days"]].values.tolist() == [[10, 5], [10, 5]]
    assert known.breaks["start"].iloc[0] == pd.Timestamp("2026-01-12T07:00Z")


def test_a_draft_cannot_come_into_any_frame(session):
    # A draft is a payload of the person who types it; the facts and the sheet do not exist yet.
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    person = make.make_person(session)
    draft = m.sheets.SheetDraft(person_id=person.id, school_id=school.id, week=small.WEEK_1, cells='{"x": "99"}')
    draft.saved_at = small.AFTER
    session.add(draft)
    session.flush()
    known = frames.school_calendar(session, scope_of(programme), small.ZONE)
    sheets = frames.sheets(session, scope_of(programme), known.occasions, 3, small.ZONE)
    assert set(sheets["state"]) == {""} and sheets["first_sent"].isna().all()
    assert frames.usage(session, scope_of(programme)).empty
    assert SheetState.DRAFT.value not in set(sheets["state"])


def test_a_sheet_is_due_at_the_end_of_the_day_so_many_days_after_its_week(session):
    # Week of Monday 12 January ends on Sunday 18; three days later is Wednesday 21, which ends at 21:00 UTC.
    programme, _ = small.programme_with_term(session)
    small.school_of(session, programme)
    known = frames.school_calendar(session, scope_of(programme), small.ZONE)
    sheets = frames.sheets(session, scope_of(programme), known.occasions, 3, small.ZONE)
    assert sheets["due"].iloc[0] == pd.Timestamp("2026-01-21T21:00Z")


def test_a_reading_before_the_period_comes_along_with_its_dial(session):
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    unit = make.make_unit(session, school, way=CountWay.COUNTER)
    make._add(
        session,
        m.units.Dial(
            unit_id=unit.id,
            quantity=Quantity.VISITS,
            from_at=small.at(make.FIRST, 8),
            digits=5,
            step_ml=1,
            first_value=0,
        ),
    )
    for day, value in ((date(2026, 1, 2), 40), (date(2026, 1, 9), 90), (date(2026, 1, 16), 150)):
        row = m.usage.Reading(unit_id=unit.id, quantity=Quantity.VISITS, source=Source.TALLY, at=small.at(day, 14))
        row.day, row.week, row.value = day, date(2026, 1, 5) if day.day == 9 else date(2025, 12, 29), value
        row.week = date(2026, 1, 12) if day.day == 16 else row.week
        make._add(session, row)
    found = frames.readings(session, scope_of(programme), small.ZONE)
    assert found["value"].tolist() == [90, 150]  # the last one before the term, and not the one before that
    assert found["install_from"].iloc[0] == pd.Timestamp("2026-01-01T08:00Z")  # the local clock time


def test_a_machine_has_a_row_for_every_week_and_blanks_stay_blank(session):
    # Counted on 16 January; refilled with 0 in the first week. In the second two pieces got wet, nothing else was
    # written down: what was put in is not known.
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    unit, place, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, place, product, date(2026, 1, 16), 30)
    small.move(session, programme, (cupboard, place), lot, date(2026, 1, 12), 0)
    small.move(session, programme, (place, cupboard), lot, date(2026, 1, 20), 2, MoveReason.LOSS)
    for day, ran_out in ((12, False), (13, True)):
        row = m.supplies.MachineDay(unit_id=unit.id, source=Source.TALLY, day=date(2026, 1, day), ran_out=ran_out)
        make._add(session, row)
    known = frames.school_calendar(session, scope_of(programme), small.ZONE)
    rows = frames.machine_weeks(session, scope_of(programme), known.occasions)
    first, second = rows.to_dict("records")
    assert (first["left"], first["refilled"], first["sold_out_days"], first["asked_days"]) == (30, 0, 1, 2)
    assert all(pd.isna(second[name]) for name in ("left", "refilled", "sold_out_days", "asked_days"))
    assert second["school_days"] == 5


def test_stock_on_hand_is_the_last_count_and_what_moved_after_it(session):
    # 30 counted on the 16th, 12 put in on the 19th, 5 lost on the 20th: 37. A move on the day of the count is in it.
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    _, place, product, lot, cupboard = small.machine(session, programme, school)
    small.stock(session, place, product, date(2026, 1, 16), 30)
    small.move(session, programme, (cupboard, place), lot, date(2026, 1, 16), 8)
    small.move(session, programme, (cupboard, place), lot, date(2026, 1, 19), 12)
    small.move(session, programme, (place, cupboard), lot, date(2026, 1, 20), 5, MoveReason.LOSS)
    found = frames.on_hand(session, scope_of(programme))
    assert found["on_hand"].tolist() == [37.0]


def test_pupils_of_one_grade_in_two_shifts_are_added_up(session):
    # 100 in the first shift all year; 40 in the second from 19 January on: 100, then 140.
    programme, _ = small.programme_with_term(session)
    school = small.school_of(session, programme)
    late = make._add(session, m.school.Shift(school_id=school.id, code="late", name="Late"))
    make._add(
        session,
        m.school.Enrolment(shift_id=late.id, sex="girls", grade="6", age=12, pupils=40, from_day=date(2026, 1, 19)),
    )
    found = frames.enrolment(session, scope_of(programme))
    girls = found[found["sex"] == "girls"]
    assert girls["pupils"].tolist() == [100, 140]
    assert girls["until_day"].iloc[0] == pd.Timestamp("2026-01-18") and girls["until_day"].isna().iloc[1]


def test_only_the_schools_asked_for_are_read(session):
    programme, _ = small.programme_with_term(session)
    one, other = (small.school_of(session, programme) for _ in range(2))
    for school in (one, other):
        make.make_unit(session, school, kind=UnitKind.URINAL)
    assert set(frames.units(session, scope_of(programme))["school_id"]) == {one.id, other.id}
    assert set(frames.units(session, scope_of(programme, (other.id,)))["school_id"]) == {other.id}


def test_a_scope_is_plain_and_frozen():
    scope = frames.Scope(1, small.FIRST, small.LAST)
    with pytest.raises(dataclasses.FrozenInstanceError):
        scope.programme_id = 2
