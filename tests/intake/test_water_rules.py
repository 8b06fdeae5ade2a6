"""Rules of a folder about tanks, cleaning, hand flushes, energy and incinerators: refused at its line and column."""

from datetime import UTC, datetime

import pytest

from tests.intake.small_folder import FROM, WEEK_ONE, small, write
from tracker.intake.folder import FolderError, load_folder
from tracker.models.sessions import AwarenessSession
from tracker.models.water import PowerUse, Tank
from tracker.vocabulary import PowerPart, TopicKind

NOW = datetime(2026, 2, 1, 12, tzinfo=UTC)


def units(*kinds):
    """One more unit of each kind, named by its kind's first letter and X."""
    first = small()["units"][0]
    return [first | {"unit": f"{kind[0].upper()}X", "name": kind, "kind": kind} for kind in kinds]


def tank(**more):
    row = {"school": "S1", "unit": "TX", "from_day": FROM, "capacity_ml": "5000000", "inflow_known": "yes"}
    return row | {"until_day": ""} | more


def scope(**more):
    row = {"school": "S1", "tank": "TX", "unit": "G1", "from_day": FROM, "whole": "yes", "until_day": ""}
    return row | more


def cleaning(**more):
    row = {"school": "S1", "unit": "G1", "cycle": "rinse", "from_day": FROM, "cycle_ml": "4000", "times": "1"}
    return row | {"every": "school day", "litres_basis": "measured", "u_permille": "", "until_day": ""} | more


def hand(**more):
    row = {"school": "S1", "unit": "G1", "from_day": FROM, "flush_ml": "6000", "share_permille": "300"}
    row |= {"share_low_permille": "100", "share_high_permille": "600", "share_seen": "no", "instead": "yes"}
    return row | {"litres_basis": "claim", "u_permille": "", "until_day": ""} | more


def power(**more):
    row = {"school": "S1", "unit": "G1", "part": "light and fan", "from_day": FROM, "watts": "12"}
    row |= {"visit_seconds": "150", "wh_thousandths": "", "every_visits": "1", "u_permille": "", "until_day": ""}
    return row | more


def plate(**more):
    row = {"school": "S1", "unit": "I1", "from_day": FROM, "burn_pads": "40", "burn_g": "", "burns_a_day": "3"}
    return row | {"until_day": ""} | more


def sun(**more):
    row = {"school": "S1", "meter": "W1", "week": WEEK_ONE, "origin": "solar", "energy_wh": "900"}
    return row | {"u_permille": "30"} | more


def ash(**more):
    return {"school": "S1", "unit": "I1", "week": WEEK_ONE, "ash_g": "50", "energy_wh": ""} | more


def all_of_it():
    rows = small()
    rows["units"] += units("tank")
    rows |= {"tanks": [tank()], "tank_scopes": [scope()], "cleaning_plans": [cleaning()], "hand_flushes": [hand()]}
    burn = {"unit": "I1", "part": "incinerator", "watts": "", "visit_seconds": "", "wh_thousandths": "1400000"}
    rows |= {"power_uses": [power(), power(**burn)], "incinerator_ratings": [plate()]}
    return rows | {"energy_given": [sun()], "burn_outputs": [ash()]}


CASES = [
    ("tanks", [tank(unit="G1")], "unit", "fits_its_unit"),
    ("tanks", [tank(from_day="2026-01-14")], "from_day", "one_at_a_time"),
    ("tanks", [tank(from_day="2026-01-14", until_day="2026-01-13")], "until_day", "in_order"),
    ("tank_scopes", [scope(unit="I1")], "unit", "fits_its_unit"),
    ("tank_scopes", [scope(tank="G2", unit="G1")], "tank", "fits_its_unit"),
    ("cleaning_plans", [cleaning(from_day="2026-01-14")], "from_day", "one_at_a_time"),
    ("hand_flushes", [hand(unit="G2", share_low_permille="301")], "share_permille", "hand_share"),
    ("hand_flushes", [hand(unit="M1")], "unit", "fits_its_unit"),
    ("power_uses", [power(unit="G2", watts="")], "watts", "power_whole"),
    ("power_uses", [power(unit="G2", wh_thousandths="5")], "wh_thousandths", "power_whole"),
    ("power_uses", [power(unit="G2", part="pump")], "wh_thousandths", "power_whole"),
    ("power_uses", [power(unit="I1")], "part", "fits_its_unit"),
    ("incinerator_ratings", [plate(unit="G1")], "unit", "fits_its_unit"),
    ("incinerator_ratings", [plate(from_day="2026-01-20", burn_pads="", burns_a_day="")], "burn_pads", "rating_told"),
    ("energy_given", [sun(meter="G1")], "meter", "noted_at_its_unit"),
    ("energy_given", [sun(week="2026-01-13")], "week", "week_of_water"),
    ("energy_given", [sun(week="2026-03-02")], "week", "not_future"),
    ("burn_outputs", [ash(unit="G1")], "unit", "noted_at_its_unit"),
    ("burn_outputs", [ash(week="2026-01-19", ash_g="")], "ash_g", "output_told"),
]


@pytest.mark.parametrize(("table", "more", "column", "rule"), CASES)
def test_what_cannot_be_is_refused_at_its_place(session, tmp_path, table, more, column, rule):
    rows = all_of_it()
    rows[table] += more
    with pytest.raises(FolderError) as refused:
        load_folder(session, write(tmp_path / "folder", rows), now=NOW)
    found = {(one.table, one.row, one.column, one.rule) for one in refused.value.problems}
    assert (table, len(rows[table]) + 1, column, rule) in found


def test_such_a_folder_is_loaded_and_loading_it_again_changes_nothing(session, tmp_path):
    folder = write(tmp_path / "folder", all_of_it())
    first = load_folder(session, folder, now=NOW)
    assert {name: first.added[name] for name in ("tanks", "power_uses", "energy_given", "burn_outputs")} == {
        "tanks": 1, "power_uses": 2, "energy_given": 1, "burn_outputs": 1,
    }  # fmt: skip
    again = load_folder(session, folder, now=NOW)
    assert sum(again.added.values()) == sum(again.changed.values()) == 0
    assert session.query(Tank).one().capacity_ml == 5_000_000
    assert {row.part for row in session.query(PowerUse)} == {PowerPart.LIGHT_FAN, PowerPart.BURN}


def test_a_tank_may_hold_more_after_its_former_rows_last_day(session, tmp_path):
    rows = all_of_it()
    rows["tanks"] = [tank(until_day="2026-01-13"), tank(from_day="2026-01-14", capacity_ml="8000000")]
    assert load_folder(session, write(tmp_path / "folder", rows), now=NOW).added["tanks"] == 2


def test_a_lesson_may_say_what_it_was_about_or_leave_it_blank(session, tmp_path):
    rows = small()
    rows["awareness_sessions"].append(rows["awareness_sessions"][0] | {"ref": "L2", "kind": "menstrual health"})
    load_folder(session, write(tmp_path / "folder", rows), now=NOW)
    kinds = {row.ref: row.kind for row in session.query(AwarenessSession)}
    assert kinds == {"L1": None, "L2": TopicKind.MENSTRUAL}
