"""One checker for all ways in: what a week sheet hears about its facts."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import event

from tests.intake.small_folder import small, write
from tracker.intake.folder import load_folder
from tracker.intake.rules import check_facts, noted, parse_facts
from tracker.models.school import School
from tracker.models.supplies import Lot, StockMove, StockPlace
from tracker.records import ledger, lookups
from tracker.records.context import closure_days, programme_contexts, school_context, way_of
from tracker.vocabulary import MoveReason, PlaceKind

NOW = datetime(2026, 1, 24, 9, tzinfo=UTC)
WEEK_TWO = date(2026, 1, 19)
LAST_DAY = date(2026, 1, 25)


@pytest.fixture
def loaded(session, tmp_path):
    load_folder(session, write(tmp_path / "folder", small()), now=NOW)
    session.commit()
    return session


def context_of(session, first=WEEK_TWO, last=LAST_DAY):
    return school_context(session, session.query(School.id).scalar(), first, last)


def check(session, raw, first=WEEK_TWO, last=LAST_DAY, **given):
    facts, problems = parse_facts(raw)
    assert problems == []
    return check_facts(context_of(session, first, last), facts, now=NOW, **given)


def visits(day="2026-01-20", slot="B1", number="12", **more):
    row = {
        "unit": "G1", "first_day": day, "days": "1", "slot": slot, "source": "tally", "how": "grid",
        "visits": number, "note": "",
    }  # fmt: skip
    return row | more


def test_a_good_sheet_has_nothing_to_say(loaded):
    assert check(loaded, {"usage_counts": [visits()]}) == []


def test_a_sheet_speaks_of_its_own_week_only(loaded):
    (problem,) = check(loaded, {"usage_counts": [visits("2026-01-13")]})
    assert problem.message == "Write a day from Monday 19 January 2026 to Sunday 25 January 2026."


def test_the_last_reading_of_the_week_before_is_known(loaded):
    row = {
        "unit": "W1", "quantity": "water", "source": "tally", "at_local_time": "2026-01-23T12:00", "value": "149",
        "note": "surely right",
    }  # fmt: skip
    (problem,) = check(loaded, {"readings": [row]})
    assert problem.rule == "not_backwards"
    assert problem.message.startswith("0149 is lower than 0150, the reading before, of Friday 16 January 2026.")
    assert not problem.soft, "a note does not turn a dial back"
    assert check(loaded, {"readings": [row | {"value": "150"}]}) == []


def test_a_new_version_is_not_compared_with_the_one_it_replaces(loaded):
    # the version on record says 12 visits at B1 and a reading of 150; the new one says the day's total and 120
    row = visits("2026-01-13", "all", "40")
    read = {
        "unit": "W1", "quantity": "water", "source": "tally", "at_local_time": "2026-01-16T13:00", "value": "120",
        "note": "",
    }  # fmt: skip
    raw = {"usage_counts": [row], "readings": [read]}
    assert check(loaded, raw, date(2026, 1, 12), date(2026, 1, 18)) == []


def test_a_soft_problem_has_a_key_that_confirms_it(loaded):
    raw = {"usage_counts": [visits(number="121")]}  # 40 girls times 3 visits a day is 120
    (problem,) = check(loaded, raw)
    assert (problem.soft, problem.rule) == (True, "too_many_visits")
    assert check(loaded, raw, confirmed={problem.key}) == []
    facts, _ = parse_facts(raw)
    assert [one.rule for one in noted(context_of(loaded), facts, {problem.key})] == ["too_many_visits"]


def test_a_note_settles_a_soft_problem_and_the_question_is_still_told(loaded):
    facts, _ = parse_facts({"usage_counts": [visits(number="121", note="Open day")]})
    context = context_of(loaded)
    assert check_facts(context, facts, now=NOW) == []
    assert [one.rule for one in noted(context, facts)] == ["too_many_visits"]


def test_rows_with_cells_that_could_not_be_read_do_not_stop_the_rules(loaded):
    facts, problems = parse_facts(
        {name: [{}] for name in ("usage_counts", "readings", "outages", "bell_counts", "levels")}
    )
    assert problems
    assert {one.rule for one in check_facts(context_of(loaded), facts, now=NOW)} <= {"bell_group"}


def test_more_pieces_than_a_machine_holds_are_asked_about(loaded):
    row = {"place": "S1-M1", "product": "PAD", "day": "2026-01-23", "quantity": "51"}
    (problem,) = [one for one in check(loaded, {"stock_counts": [row]}) if one.rule != "more_left_than_came"]
    assert (problem.soft, problem.message) == (
        True, "S1-M1 holds 50 pieces. Correct the count, or confirm that it is right.",
    )  # fmt: skip


def test_a_move_of_nothing_is_an_answer_only_where_the_sheet_asks(loaded):
    row = {"ref": "Z-1", "from_place": "STORE", "to_place": "S1-C", "product": "PAD", "lot": "unknown"}
    row |= {"quantity": "0", "day": "2026-01-20", "reason": "delivery", "note": ""}
    assert check(loaded, {"stock_moves": [row]}) == []
    (problem,) = check(loaded, {"stock_moves": [row | {"reason": "loss"}]})
    assert (problem.rule, problem.soft, problem.column) == ("zero_asked", False, "quantity")


def test_a_delivery_beside_a_rounds_is_asked_about(loaded):
    programme = lookups.find_programme(loaded, "hills").id
    cupboard = loaded.query(StockPlace).filter_by(code="S1-C").one()
    van = StockPlace(programme_id=programme, code="vehicle-VAN", name="Van", kind=PlaceKind.VEHICLE)
    store = loaded.query(StockPlace).filter_by(code="STORE").one()
    loaded.add(van)
    loaded.flush()
    lot = loaded.query(Lot).filter_by(code="unknown").one()
    with ledger.reported(loaded, programme, {store.id, van.id, cupboard.id}):
        for ref, day in (("round-1", WEEK_TWO), ("round-0", date(2026, 1, 16))):  # this week's, and one before it
            ends = {"from_place_id": van.id, "to_place_id": cupboard.id, "lot_id": lot.id}
            row = StockMove(programme_id=programme, ref=ref, quantity=240, day=day, week=WEEK_TWO, **ends)
            row.reason = MoveReason.DELIVERY
            loaded.add(row)
    row = {"ref": "Z-1", "from_place": "STORE", "to_place": "S1-C", "product": "PAD", "lot": "unknown"}
    row |= {"quantity": "240", "day": "2026-01-23", "reason": "delivery", "note": ""}
    (problem,) = check(loaded, {"stock_moves": [row]})
    assert (problem.rule, problem.soft) == ("brought_already", True)
    assert problem.message.startswith("The round of Monday 19 January 2026 brought 240 pieces here, and that is on")
    assert check(loaded, {"stock_moves": [row]}, confirmed={problem.key}) == []
    others = ({"from_place": "vehicle-VAN"}, {"quantity": "0"}, {"to_place": "S1-M1"}, {"reason": "loan"})
    for other in others:
        assert check(loaded, {"stock_moves": [row | other]}) == []


def test_the_bell_is_counted_at_drawn_breaks_of_girls_and_boys_apart(loaded):
    row = {"day": "2026-01-13", "break": "B1", "group": "girls", "waiting": "3", "present": "38"}
    first = (date(2026, 1, 12), date(2026, 1, 18))
    assert check(loaded, {"bell_counts": [row]}, *first) == []
    found = check(loaded, {"bell_counts": [row | {"break": "B2"}, row | {"group": "staff"}]}, *first)
    assert {one.rule for one in found} == {"drawn_only", "bell_group"}


def test_the_context_knows_closures_and_ways(loaded):
    context = context_of(loaded, date(2026, 1, 12), date(2026, 1, 18))
    assert closure_days(context) == {date(2026, 1, 15)}
    assert way_of(context.units["G1"], WEEK_TWO) is None, "no way of counting was given"


def test_queries_do_not_grow_with_schools_or_weeks(loaded, tmp_path):
    session = loaded
    programme = lookups.find_programme(session, "hills")
    seen = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *call: seen.append(call[2]))
    context_of(session)
    one_week = len(seen)
    seen.clear()
    contexts = programme_contexts(session, programme.id)
    assert len(contexts) == 1
    assert len(seen) <= one_week + 1
    rows = small()
    rows["schools"] += [{**rows["schools"][0], "school": f"S{n}"} for n in range(2, 9)]
    load_folder(session, write(tmp_path / "more", rows), now=NOW)
    seen.clear()
    assert len(programme_contexts(session, programme.id)) == 8
    assert len(seen) <= one_week + 1
