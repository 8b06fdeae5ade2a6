"""What stands where: what the database would refuse is said first, at its line, with what to do."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import func, select

from tests.intake.small_folder import FROM, reading, small, write
from tracker.intake import folder_lines
from tracker.intake.folder import FolderError, load_folder
from tracker.models.programme import Area

NOW = datetime(2026, 2, 1, 12, tzinfo=UTC)


def rules_met(session, tmp_path, rows):
    with pytest.raises(FolderError) as refused:
        load_folder(session, write(tmp_path / "folder", rows), now=NOW)
    return {(one.table, one.row, one.column, one.rule) for one in refused.value.problems}


def fitting(kind="flush_fixed", from_day=FROM, **more):
    row = {
        "school": "S1", "unit": "G1", "kind": kind, "from_day": from_day, "visit_ml": "3000", "long_visit_ml": "",
        "long_after_s": "", "every_visits": "", "factor_permille": "", "litres_basis": "claim", "u_permille": "",
        "until_day": "",
    }  # fmt: skip
    return row | more


def closure(**more):
    return {
        "ref": "C2",
        "area": "",
        "school": "",
        "scope": "area",
        "first_day": FROM,
        "last_day": FROM,
        "name": "",
    } | more


def grant(**more):
    return {"ref": "R1", "email": "a@hills.example", "area": "", "school": "", "role": "coordinator"} | more


PERSON = {"email": "a@hills.example", "name": "A", "phone": "", "active": "yes"}
VISIT = {
    "ref": "V1", "school": "S1", "unit": "G1", "outage": "", "email": "", "purpose": "repair", "asked_on": "2026-01-13",
    "done_local_time": "2026-01-14T09:00", "found": "", "done": "", "parts": "", "back_in_service": "yes",
}  # fmt: skip

CASES = [
    # files and rows added, column, rule
    ({"settings": [{"key": "small_count_min", "from_day": FROM, "value": "9"}]}, "value", "setting_allowed"),
    ({"settings": [{"key": "colour", "from_day": FROM, "value": "9"}]}, "key", "setting_allowed"),
    ({"closures": [closure()]}, "area", "closure_whom"),
    ({"closures": [closure(scope="school", area="A1", school="S1")]}, "area", "closure_whom"),
    ({"fittings": [fitting("flush_two_stage")]}, "long_visit_ml", "fitting_whole"),
    ({"fittings": [fitting("floor_wash")]}, "every_visits", "fitting_whole"),
    ({"fittings": [fitting("vacuum", visit_ml="0")]}, "factor_permille", "fitting_whole"),
    ({"fittings": [fitting(long_visit_ml="2000")]}, "long_visit_ml", "in_order"),
    ({"fittings": [fitting(), fitting("flush_pour", "2026-01-14")]}, "from_day", "fittings_apart"),
    (
        {"given_how": [{"place": "S1-M1", "from_day": FROM, "way": "handed out", "price_minor": "5"}]},
        "price_minor",
        "free_is_free",
    ),
    ({"people": [PERSON | {"email": "A@hills.example"}]}, "email", "email_lower"),
    ({"people": [PERSON], "role_grants": [grant()]}, "school", "grant_scope"),
    ({"people": [PERSON], "role_grants": [grant(role="officer", area="A1", school="S1")]}, "area", "grant_scope"),
    ({"service_visits": [VISIT]}, "done", "visit_told"),
    (
        {"service_visits": [VISIT | {"done": "new valve", "done_local_time": "2026-03-01T09:00"}]},
        "done_local_time",
        "not_future",
    ),
    (
        {"terms": [{"term": "T2", "name": "Two", "first_day": "2026-01-23", "last_day": "2026-03-01"}]},
        "first_day",
        "terms_apart",
    ),
    (
        {
            "shifts": [{"school": "S1", "shift": "late", "name": "Late"}],
            "breaks": [small()["breaks"][0] | {"shift": "late"}],
        },
        "break",
        "break_codes_apart",
    ),
    (
        {"places": [{"place": "P", "school": "S1", "unit": "", "name": "P", "kind": "machine", "capacity": ""}]},
        "unit",
        "place_whole",
    ),
    (
        {"places": [{"place": "P", "school": "", "unit": "", "name": "P", "kind": "cupboard", "capacity": ""}]},
        "school",
        "place_whole",
    ),
    ({"enrolment": [small()["enrolment"][0] | {"age_years": "2"}]}, "age_years", "age_range"),
    ({"breaks": [small()["breaks"][0] | {"break": "all"}]}, "break", "break_code"),
    ({"dials": [small()["dials"][0] | {"from_local_time": "2026-01-14T08:00"}]}, "from_local_time", "dials_apart"),
    ({"dials": [small()["dials"][0] | {"quantity": "visits", "last_value": "7"}]}, "until_local_time", "dial_whole"),
    (
        {
            "water_deliveries": [
                {"ref": "D1", "school": "S1", "tank": "W1", "day": "2026-01-14", "origin": "sea", "volume_ml": "5"}
            ]
        },
        "origin",
        "origin_known",
    ),
    ({"units": [small()["units"][0] | {"unit": "G3", "until_day": "2025-01-01"}]}, "until_day", "in_order"),
]


@pytest.mark.parametrize(("added", "column", "rule"), CASES)
def test_what_cannot_stand_is_refused_at_its_line(session, tmp_path, added, column, rule):
    rows = small()
    for name, lines in added.items():
        rows.setdefault(name, []).extend(lines)
    name = list(added)[-1]
    assert (name, len(rows[name]) + 1, column, rule) in rules_met(session, tmp_path, rows)


def test_a_new_dial_may_come_at_the_moment_the_old_one_goes(session, tmp_path):
    rows = small()
    old = rows["dials"][0]
    rows["dials"].append(old | {"from_local_time": "2026-01-14T08:00", "first_value": "0"})
    old |= {"until_local_time": "2026-01-14T08:00", "last_value": "140"}
    # the new dial began at 0, so a reading of 12 on Friday does not run backwards from 140
    rows["readings"] = [reading("12")]
    assert load_folder(session, write(tmp_path / "folder", rows), now=NOW).added["dials"] == 2


def test_what_the_database_alone_refuses_is_a_problem_too_and_nothing_stays(session, tmp_path, monkeypatch):
    monkeypatch.setattr(folder_lines, "ALL_CLASHES", ())
    rows = small()
    rows["terms"].append({"term": "T2", "name": "Two", "first_day": "2026-01-20", "last_day": "2026-03-01"})
    assert rules_met(session, tmp_path, rows) == {("terms", 0, "", "database")}
    assert session.scalar(select(func.count()).select_from(Area)) == 0


def test_goods_and_the_engineers_readings_may_come_before_the_first_week(session, tmp_path):
    rows = small()
    rows["stock_moves"].append(rows["stock_moves"][0] | {"ref": "M-0", "day": "2026-01-02"})
    rows["readings"].append(reading("101", "2026-01-06T09:00", source="engineer"))
    assert load_folder(session, write(tmp_path / "folder", rows), now=NOW).added["stock_moves"] == 2
