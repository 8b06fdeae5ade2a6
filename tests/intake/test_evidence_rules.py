"""A folder with trials, grants and checks: loaded whole, or each wrong cell named with what to do."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import select

from tests.intake.small_folder import FROM, WEEK_ONE, small, write
from tracker.intake.folder import FolderError, load_folder
from tracker.intake.setup_evidence import UnitListError, read_units
from tracker.models.evidence import GrantShare, SpotAnswer, TrialUnit

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
DRAWN = "2026-01-26T09:00"


def evidence():
    """The small folder with one trial, two grants that share a school, one draw with one figure, and its answer."""
    rows = small()
    rows["people"] = [{"email": "c@hills.example", "name": "Cora Bell", "phone": "", "active": "yes"}]
    rows["role_grants"] = [{"ref": "R1", "email": "c@hills.example", "area": "", "school": "S1", "role": "coordinator"}]
    rows["trials"] = [
        {
            "trial": "V", "question": "Does it take less?", "fitting": "vacuum", "measure": "litres per visit",
            "better": "lower", "at_least_thousandths": "500", "from_day": "2026-01-19", "until_day": "2026-01-30",
            "declared_local_time": "2026-01-10T08:00", "declared_by": "O",
        }
    ]  # fmt: skip
    rows["trial_units"] = [
        {"trial": "V", "school": "S1", "unit": "G1", "side": "fitted"},
        {"trial": "V", "school": "S1", "unit": "G2", "side": "comparison"},
    ]
    rows["grants"] = [{"grant": code, "funder": f"Fund {code}", "from_day": FROM, "until_day": ""} for code in "AB"]
    rows["grant_shares"] = [
        {"grant": "A", "school": "S1", "from_day": FROM, "permille": "600", "until_day": ""},
        {"grant": "B", "school": "S1", "from_day": FROM, "permille": "400", "until_day": ""},
    ]
    rows["spot_draws"] = [
        {
            "draw": "T1-1", "term": "T1", "number": "1", "drawn_local_time": DRAWN, "drawn_by": "O", "salt": "ab",
            "schools": "1", "figures_each": "1", "reason": "",
        }
    ]  # fmt: skip
    rows["spot_checks"] = [
        {"draw": "T1-1", "school": "S1", "figure": "visits tallied", "week": WEEK_ONE, "reported": "12"}
    ]
    rows["spot_answers"] = [
        {
            "draw": "T1-1", "school": "S1", "figure": "visits tallied", "found": "11", "checked_by": "Nia",
            "checker_role": "engineer", "checked_on": "2026-01-26", "note": "",
        }
    ]  # fmt: skip
    return rows


def met(session, tmp_path, rows):
    with pytest.raises(FolderError) as refused:
        load_folder(session, write(tmp_path / "folder", rows), now=NOW)
    return {(one.table, one.row, one.column, one.rule): one.message for one in refused.value.problems}


def test_all_of_it_loads_and_loading_again_changes_nothing(session, tmp_path):
    folder = write(tmp_path / "folder", evidence())
    first = load_folder(session, folder, now=NOW)
    assert [first.added[name] for name in ("trials", "trial_units", "grants", "grant_shares")] == [1, 2, 2, 2]
    assert session.scalars(select(SpotAnswer.found)).one() == 11
    assert sorted(session.scalars(select(GrantShare.permille))) == [400, 600]
    again = load_folder(session, folder, now=NOW)
    assert sum(again.added.values()) == sum(again.changed.values()) == 0
    assert session.query(TrialUnit).count() == 2


@pytest.mark.parametrize(
    ("table", "change", "column", "rule"),
    [
        ("grant_shares", {"permille": "401"}, "permille", "shares_whole"),  # 600 + 401 = 1001 on every day
        ("grant_shares", {"grant": "A", "from_day": "2026-02-01"}, "from_day", "shares_whole"),
        ("grant_shares", {"from_day": "2025-12-31"}, "from_day", "share_within_grant"),
        ("grant_shares", {"permille": "0"}, "permille", "readable"),
        ("trials", {"measure": "cost per visit"}, "measure", "trial_measure"),
        ("trials", {"until_day": "2026-01-18"}, "until_day", "in_order"),
        ("trials", {"trial": "W"}, "trial", "trial_has_units"),
        ("trial_units", {"unit": "G1"}, "unit", "once"),
        ("trial_units", {"unit": "G99"}, "unit", "code_known"),
        ("spot_answers", {"checked_by": "cora  bell"}, "checked_by", "checked_by_another"),
        ("spot_answers", {"checked_on": "2026-01-25"}, "checked_on", "checked_after_the_draw"),
        ("spot_answers", {"figure": "burns started"}, "figure", "code_known"),
        ("spot_checks", {"figure": "pupils"}, "figure", "readable"),
    ],
)
def test_what_cannot_stand_is_refused_at_its_line(session, tmp_path, table, change, column, rule):
    rows = evidence()
    rows[table][-1] |= change
    assert (table, len(rows[table]) + 1, column, rule) in met(session, tmp_path, rows)


def test_shares_that_follow_each_other_may_each_be_the_whole(session, tmp_path):
    rows = evidence()
    rows["grant_shares"] = [
        {"grant": "A", "school": "S1", "from_day": FROM, "permille": "1000", "until_day": "2026-01-31"},
        {"grant": "B", "school": "S1", "from_day": "2026-02-01", "permille": "1000", "until_day": ""},
    ]
    assert load_folder(session, write(tmp_path / "folder", rows), now=NOW).added["grant_shares"] == 2


def test_a_sum_over_the_whole_says_how_much_and_from_which_day(session, tmp_path):
    rows = evidence()
    rows["grant_shares"][1] |= {"permille": "450", "from_day": "2026-02-02"}
    said = met(session, tmp_path, rows)["grant_shares", 3, "permille", "shares_whole"]
    assert said.startswith("The shares of school S1 add up to 105 % on Monday 2 February 2026.")


KNOWN = {("S1", "G1"): 1, ("S1", "G2"): 2, ("S2", "G1"): 3}


@pytest.mark.parametrize(
    ("typed", "found"),
    [("S1: G1, G2\nS2:G1", [1, 2, 3]), ("\n S1 :G2 \n\n", [2]), ("", []), ("S1: G1 G2", [1, 2])],
)
def test_units_are_read_line_by_line(typed, found):
    assert read_units(typed, KNOWN) == found


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("S1", "“S1” cannot be read. Write one line a school"),
        ("S1:", "“S1:” cannot be read."),
        ("S3: G1", "There is no school S3 in this programme. Use one of: S1, S2."),
        ("S2: G2", "There is no unit G2 at school S2. Use one of: G1."),
    ],
)
def test_a_line_that_cannot_be_read_is_quoted(typed, sentence):
    with pytest.raises(UnitListError, match=sentence.split(".")[0]) as wrong:
        read_units(typed, KNOWN)
    assert str(wrong.value).startswith(sentence)
