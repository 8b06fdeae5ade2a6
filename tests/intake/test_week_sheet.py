"""The sheet's definition, and cells to facts and back."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.intake.week_plans import THURSDAY, TUESDAY, WEEK, plan
from tracker.intake.week_cells import cells_to_facts, compare, facts_to_cells
from tracker.intake.week_layout import Kind, RowCounts, layout, rows_needed
from tracker.intake.week_plan import PlanOutage

SHEET = layout(plan())
CELLS = SHEET.by_key()
NUMBER = st.integers(0, 9999).map(str)
WORD = st.text("abcdefghij", min_size=1, max_size=12)
CLOCK = st.tuples(st.integers(0, 23), st.integers(0, 59)).map(lambda t: f"{t[0]:02d}:{t[1]:02d}")


def value_of(cell):
    """What may stand in a cell of its kind."""
    return {
        Kind.COUNT: NUMBER,
        Kind.DIGITS: NUMBER,
        Kind.CHOICE: st.sampled_from([value for value, _ in cell.choices] or ["x"]),
        Kind.TICK: st.just("yes"),
        Kind.TEXT: WORD,
        Kind.CLOCK: CLOCK,
    }[cell.kind]


GROWING = ("out:", "session:", "still:", "backday:", "backtime:", "read:")
SIMPLE = [c for c in SHEET.cells() if c.kind not in {Kind.SHUT, Kind.HIDDEN} and not c.key.startswith(GROWING)]


@st.composite
def valid_cells(draw):
    """A sheet that could be sent: any subset of cells filled, rows of growing tables whole and in order."""
    chosen = draw(st.lists(st.sampled_from(SIMPLE), unique_by=lambda c: c.key))
    cells = {cell.key: draw(value_of(cell)) for cell in chosen}
    cells |= {"read:day": draw(st.sampled_from([str(WEEK), str(TUESDAY)])), "read:time": draw(CLOCK)}
    for number in range(1, draw(st.integers(0, 2)) + 1):
        for part in ("unit", "cause", "day", "time", "endday", "endtime", "note"):
            cells[f"out:{number}:{part}"] = draw(value_of(CELLS[f"out:{number}:{part}"]))
        cells[f"out:{number}:ref"] = f"ABCDEFGH-o{number}"
    for number in range(1, draw(st.integers(0, 2)) + 1):
        for part in ("day", "topic", "kind", "minutes", "girls", "boys"):
            cells[f"session:{number}:{part}"] = draw(value_of(CELLS[f"session:{number}:{part}"]))
        cells[f"session:{number}:ref"] = f"ABCDEFGH-s{number}"
    return cells


@settings(max_examples=150, deadline=None)
@given(valid_cells())
def test_cells_come_back_as_they_were_typed(cells):
    # Invariant, no outside source: reading back what was written gives the same text in the same cells.
    back, kept = facts_to_cells(SHEET, cells_to_facts(SHEET, cells).payload())
    assert back == cells
    assert kept == {}


def test_blank_zero_and_no_school_are_three_things():
    # Monday typed 0, Tuesday left blank, Wednesday closed (plan), by hand.
    facts = cells_to_facts(SHEET, {f"visits:G1:{WEEK}:B1": "0", f"visits:G1:{TUESDAY}:B1": ""})
    rows = facts.rows["usage_counts"]
    assert [(row["first_day"], row["visits"]) for row in rows] == [("2026-02-02", "0")]
    assert CELLS["visits:G1:2026-02-04:B1"].kind is Kind.SHUT
    assert CELLS[f"visits:G1:{TUESDAY}:B1"].kind is Kind.COUNT


def test_nothing_put_in_is_an_answer_and_not_a_blank():
    facts = cells_to_facts(SHEET, {"put:S1-V1:pad": "0", "got:S1-cupboard:pad": ""})
    assert [(row["to_place"], row["quantity"]) for row in facts.rows["stock_moves"]] == [("S1-V1", "0")]


def test_a_recorded_delivery_keeps_its_lot_day_and_reference_and_a_second_one_is_kept_beside():
    row = {"ref": "D-9", "from_place": "store", "to_place": "S1-cupboard", "product": "pad", "lot": "2501"}
    row |= {"quantity": "40", "day": str(TUESDAY), "reason": "delivery", "note": ""}
    second = row | {"ref": "D-10", "quantity": "20"}
    cells, kept = facts_to_cells(SHEET, {"stock_moves": [row, second]})
    assert cells["got:S1-cupboard:pad"] == "40"
    again = cells_to_facts(SHEET, cells | {"got:S1-cupboard:pad": "45"}, kept)
    assert again.rows["stock_moves"] == [row | {"quantity": "45"}, second]


@pytest.mark.parametrize("name", ["put:S1-V1:pad", "got:S1-cupboard:pad", "gave:S1-cupboard:pad"])
def test_nothing_moved_is_a_fact_of_the_ledger_and_comes_back_as_0(name):
    facts = cells_to_facts(SHEET, {name: "0"})
    assert [row["quantity"] for row in facts.rows["stock_moves"]] == ["0"]
    assert facts.extra == {"read": {"day": "2026-02-06", "time": "15:00"}}
    assert facts_to_cells(SHEET, facts.payload())[0][name] == "0"


def test_an_older_outage_that_ended_brings_its_own_row_with_the_end():
    cells = {"still:R-77": "back", "backday:R-77": str(TUESDAY), "backtime:R-77": "11:00"}
    facts = cells_to_facts(SHEET, cells)
    row = facts.rows["outages"][0]
    assert (row["ref"], row["start_local_time"], row["end_local_time"]) == (
        "R-77",
        "2026-01-29T09:30",
        "2026-02-03T11:00",
    )
    back, kept = facts_to_cells(SHEET, facts.payload())
    assert kept == {} and {k: back[k] for k in cells} == cells


def test_an_older_outage_that_goes_on_is_remembered_as_asked():
    facts = cells_to_facts(SHEET, {"still:R-77": "still"})
    assert "outages" not in facts.rows
    assert facts_to_cells(SHEET, facts.payload())[0]["still:R-77"] == "still"


def test_a_danger_offers_nothing_to_type_because_only_the_officer_reopens_it():
    dangerous = PlanOutage("D-1", "G1", "danger", datetime(2026, 2, 3, 9, 30), danger=True)
    keys = {cell.key for cell in layout(plan(outages=(dangerous,))).cells()}
    assert not any("D-1" in name for name in keys)


def test_one_row_per_break_of_the_sheet_and_one_column_per_day():
    # 3 breaks and "other times" × 5 days, one of them closed: 16 cells to fill, by hand.
    grid = next(table for table in SHEET.tables() if table.key == "grid-G1")
    assert [row.label for row in grid.rows] == ["First break", "Lunch", "Last break", "Other times"]
    assert grid.columns == ("Mon 2", "Tue 3", "Wed 4", "Thu 5", "Fri 6")
    assert sum(cell.kind is Kind.COUNT for row in grid.rows for cell in row.cells) == 16


def test_each_unit_is_asked_in_its_own_way_only():
    asked = {unit: [c.key for c in SHEET.cells() if c.unit == unit] for unit in ("G2", "B1", "T1")}
    assert [k for k in asked["G2"] if k.startswith("visits")] == [f"visits:G2:{TUESDAY}:B1", f"visits:G2:{THURSDAY}:B2"]
    assert "reading:B1:visits" in asked["B1"] and not any(k.startswith("visits") for k in asked["B1"])
    assert [k for k in asked["T1"] if k.startswith("visits")] == ["visits:T1:week"]


def test_long_visits_are_asked_by_week_only_where_no_counter_counts_them():
    # Privacy: never finer than a week for a unit (blueprint of the grain); B1 has a long counter, G2 has none.
    long = [c.key for c in SHEET.cells() if c.key.startswith(("seen:", "long:"))]
    assert long == ["seen:G2", "long:G2"]


def test_last_figures_stand_beside_and_are_never_filled_in():
    cell = CELLS["reading:M1:water"]
    assert cell.last == "00123456"  # 123456 on a dial of 8 digits, by hand
    assert SHEET.defaults() == {"read:day": "2026-02-06", "read:time": "15:00"}


def test_a_fact_that_no_cell_can_show_is_kept_and_sent_again():
    row = {"session": "X-1", "sex": "girls", "grade": "6", "present": "20"}
    session = {"ref": "X-1", "day": str(WEEK), "topic": "Hands", "minutes": "40"}
    payload = {"awareness_sessions": [session], "attendance": [row]}
    cells, kept = facts_to_cells(SHEET, payload)
    assert kept == {"attendance": [row]}
    again = cells_to_facts(SHEET, cells, kept)
    assert again.rows["attendance"] == [row]
    gone = cells_to_facts(SHEET, dict.fromkeys(cells, ""), kept)
    assert "attendance" not in gone.rows


def test_another_source_is_never_taken_for_the_sheets_own():
    row = {"unit": "M1", "quantity": "water", "source": "officer"}
    row |= {"at_local_time": "2026-02-06T15:00", "value": "5", "note": ""}
    cells, kept = facts_to_cells(SHEET, {"readings": [row]})
    assert "reading:M1:water" not in cells
    assert kept == {"readings": [row]}


@pytest.mark.parametrize("text", ["1o", "-3", "2.5", "٣٤", "=1+1"])
def test_whatever_was_typed_reaches_the_checker_unchanged(text):
    facts = cells_to_facts(SHEET, {"visits:T1:week": f"  {text} "})
    assert facts.rows["usage_counts"][0]["visits"] == text
    assert facts.origin["usage_counts", 0, "visits"] == "visits:T1:week"


def test_a_half_typed_outage_still_makes_a_row_so_that_its_gap_is_named():
    facts = cells_to_facts(SHEET, {"out:2:note": "door jams"})
    row = facts.rows["outages"][0]
    assert (row["unit"], row["cause"], row["start_local_time"]) == ("", "", "")
    assert facts.origin["outages", 0, "cause"] == "out:2:cause"


def test_rows_grow_with_what_was_typed():
    assert rows_needed({"out:4:unit": "G1", "session:1:topic": ""}) == RowCounts(outages=4, sessions=2)


def test_comparing_versions_names_each_cell_that_differs():
    assert compare({"a": "1", "b": "2 "}, {"a": "1", "b": "2", "c": "0"}) == [("c", "", "0")]


def test_every_key_fits_the_query_table_and_is_used_once():
    keys = [cell.key for cell in SHEET.cells()]
    assert len(keys) == len(set(keys))
    long = layout(plan(stocks=tuple(_long_stock(n) for n in "ab")))
    assert all(len(cell.key) <= 80 for cell in long.cells())  # column query.cell holds 80
    assert len({c.key for c in long.cells()}) == sum(1 for _ in long.cells())


def _long_stock(last):
    from tracker.intake.week_plan import PlanStock
    from tracker.vocabulary import PlaceKind

    return PlanStock("p" * 47 + last, "Place", PlaceKind.CUPBOARD, "", "q" * 32, "napkins", "store")
