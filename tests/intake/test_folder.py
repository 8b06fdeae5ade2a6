"""A folder is loaded whole or not at all; each bad input is answered with file, line, column, value and what to do."""

import hashlib
import json
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select, text

from tests.intake.small_folder import count, outage, reading, small, write
from tracker.db import Base, writing
from tracker.intake.folder import FolderError, load_folder
from tracker.models.audit import Audit
from tracker.models.school import DrawnBreak, SchoolDay
from tracker.models.sheets import SheetVersion, WeekSheet
from tracker.models.supplies import StockMove
from tracker.models.usage import Reading, UsageCount

NOW = datetime(2026, 2, 1, 12, tzinfo=UTC)


def content_hash(session) -> str:
    """A hash over every row of every table, in order of id."""
    digest = hashlib.sha256()
    for table in sorted(Base.metadata.tables.values(), key=lambda one: one.name):
        for row in session.execute(select(table).order_by(*table.primary_key)):
            digest.update(f"{table.name}{tuple(row)}".encode())
    return digest.hexdigest()


def load(session, tmp_path, rows, **given_):
    return load_folder(session, write(tmp_path / "folder", rows), now=NOW, **given_)


def problems_of(session, tmp_path, rows, **given_):
    """The problems of a folder that must be refused, with the database as it was before."""
    before = content_hash(session)
    with pytest.raises(FolderError) as refused:
        load(session, tmp_path, rows, **given_)
    session.commit()  # even a careless caller keeps nothing
    assert content_hash(session) == before
    return refused.value.problems


def only(problems):
    assert len(problems) == 1, [one.line_text() for one in problems]
    return problems[0]


def test_a_good_folder_is_loaded_with_its_sheet_and_derived_columns(session, tmp_path):
    result = load(session, tmp_path, small())
    assert result.problems == []
    assert result.added["usage_counts"] == 3
    sheet = session.scalars(select(WeekSheet)).one()
    version = session.scalars(select(SheetVersion)).one()
    assert (version.sheet_id, version.number, len(version.reference)) == (sheet.id, 1, 8)
    payload = json.loads(version.payload)
    assert payload["readings"] == [
        {
            "unit": "W1", "quantity": "water", "source": "tally", "at_local_time": "2026-01-16T12:00", "value": "150",
            "note": "",
        }
    ]  # fmt: skip
    assert hashlib.sha256(version.payload.encode()).hexdigest() == version.payload_hash
    read = session.scalars(select(Reading)).one()
    # 12:00 in Etc/GMT-3 (three hours ahead of UTC) is 09:00 UTC
    assert (read.at, read.day, read.week, read.sheet_id) == (
        datetime(2026, 1, 16, 9, tzinfo=UTC), date(2026, 1, 16), date(2026, 1, 12), sheet.id,
    )  # fmt: skip
    reported = select(StockMove.week).where(StockMove.worked_out.is_(None))
    assert session.scalars(reported).one() == date(2026, 1, 12)
    days = set(session.scalars(select(SchoolDay.day)))
    assert len(days) == 9, "ten weekdays less one closure day"
    # the folder drew the first week; the second is drawn on loading
    assert session.scalar(select(func.count()).select_from(DrawnBreak)) == 4


def test_loading_twice_changes_nothing(session, tmp_path):
    load(session, tmp_path, small())
    session.commit()
    before = content_hash(session)
    result = load(session, tmp_path, small())
    assert sum(result.added.values()) == sum(result.changed.values()) == 0
    assert sum(result.unchanged.values()) == sum(len(rows) for rows in small().values())
    session.commit()
    assert content_hash(session) == before


def test_an_error_in_the_last_row_of_the_last_file_loads_nothing(session, tmp_path):
    rows = small()
    rows["attendance"].append({"session": "L1", "sex": "boys", "grade": "6", "present": "many"})
    problem = only(problems_of(session, tmp_path, rows))
    assert problem.line_text() == (
        'attendance.csv, line 3, column present, "many": Write a whole number from 0 to 5000, for example 12.'
    )


def test_every_error_of_every_file_is_listed_at_once(session, tmp_path):
    rows = small()
    rows["areas"][0]["name"] = ""
    rows["units"][0]["kind"] = "shed"
    rows["usage_counts"][0]["visits"] = "-4"
    found = [(one.table, one.row, one.column) for one in problems_of(session, tmp_path, rows)]
    assert found == [("areas", 2, "name"), ("units", 2, "kind"), ("usage_counts", 2, "visits")]


CELLS = [
    # table, column, value, words of the message
    ("usage_counts", "visits", "twelve", "Write a whole number from 0 to 20000, for example 12."),
    ("usage_counts", "visits", "12.5", "Write a whole number"),
    ("usage_counts", "visits", "-3", "Write a whole number from 0 to 20000"),
    ("usage_counts", "visits", "3²", "Write a whole number"),
    ("usage_counts", "visits", "", "This cell is blank."),
    ("usage_counts", "visits", "=2+3", "This cell holds a formula. Write its value instead."),
    ("usage_counts", "note", "=HYPERLINK()", "This cell holds a formula. Write its value instead."),
    ("usage_counts", "note", "@sum", "This cell holds a formula."),
    ("usage_counts", "first_day", "13/01/2026", "Write a day as year-month-day"),
    ("usage_counts", "first_day", "2026-02-30", "Write a day as year-month-day"),
    ("readings", "at_local_time", "noon", "Write a local day and time"),
    ("usage_counts", "unit", "G9", "There is no unit G9 at this school. Use one of: G1, G2, I1, M1, W1."),
    ("units", "school", "S9", "There is no school S9 in this programme. Use one of: S1."),
    ("schools", "area", "A9", "There is no area A9 in this programme. Use one of: A1."),
    ("stock_counts", "place", "S1-M9", "There is no place S1-M9"),
    ("attendance", "session", "L9", "There is no session L9"),
    ("drawn_breaks", "break", "B9", "There is no break B9 at this school. Use one of: B1, B2."),
    ("week_sheets", "state", "draft", "A draft is not exchanged."),
    ("week_sheets", "week", "2026-01-13", "A week is named by its first day. Write 2026-01-12."),
    ("programme", "zone", "Moon/Base", "There is no such time zone."),
    ("dials", "first_value", "20000", "This dial has 4 digits."),
    ("terms", "last_day", "2026-01-02", "last_day comes before first_day."),
    ("breaks", "ends", "09:00", "ends comes before starts."),
    ("schools", "latitude_deg", "95", "Write degrees from -90 to 90"),
]


@pytest.mark.parametrize(("table", "column", "value", "words"), CELLS)
def test_a_bad_cell_is_refused_with_its_place_and_what_to_write(session, tmp_path, table, column, value, words):
    rows = small()
    rows[table][0][column] = value
    found = [one for one in problems_of(session, tmp_path, rows) if one.column == column and one.table == table]
    assert found, "the cell itself is named"
    assert found[0].row == 2
    assert words in found[0].message
    assert found[0].value == value


def second_week():
    rows = small()
    rows["week_sheets"].append(
        {**rows["week_sheets"][0], "week": "2026-01-19", "first_sent_local_time": "2026-01-24T08:00"}
    )
    return rows


FACTS = [
    # what is added, table, rule, words of the message
    ([count(day="2026-01-15")], "usage_counts", "school_day", "The school was closed on Thursday 15 January 2026."),
    ([count(day="2026-01-17")], "usage_counts", "school_day", "There was no school on Saturday 17 January 2026."),
    ([count(slot="B7")], "usage_counts", "break_known", "There was no break B7 on Tuesday 13 January"),
    ([count(day="2026-01-14", how="drawn")], "usage_counts", "drawn_only", "Count at the drawn ones: B1 on Tuesday"),
    ([count(unit="M1", slot="B2")], "usage_counts", "unit_kind", "Unit M1 is a machine."),
    ([count(unit="G2", slot="B2")], "usage_counts", "one_grain", "both a week's total and counts by day"),
    ([count(slot="all")], "usage_counts", "one_grain", "both the day's total and counts by break"),
    ([count(day="2026-01-19", slot="B1", days="3")], "usage_counts", "break_known", "has the slot all"),
    ([count(day="2026-03-02")], "usage_counts", "not_future", "This lies in the future."),
    ([count(day="2025-11-10")], "usage_counts", "in_span", "Write a day from Monday 12 January 2026"),
    ([reading("140", "2026-01-20T12:00")], "readings", "not_backwards", "0140 is lower than 0150, the reading before"),
    ([reading("90", "2026-01-06T12:00")], "readings", "not_backwards", "0090 is lower than 0100, the reading before"),
    ([reading("10150", "2026-01-20T12:00")], "readings", "dial_digits", "This dial has 4 digits."),
    ([reading("120", "2026-01-02T12:00")], "readings", "dial_there", "the first came on Monday 5 January 2026"),
    ([reading("1", unit="G1", quantity="visits")], "readings", "dial_there", "Unit G1 has no dial for visits."),
    ([outage("O2", start="2026-01-14T09:00", end="")], "outages", "outage_overlap", "already logged"),
    ([outage("O2", unit="G1", end="2026-01-12T10:00")], "outages", "outage_order", "This ends before it starts."),
    ([outage("O2", unit="G1", cause="danger")], "outages", "danger_checked", "the competent person"),
    ([outage("O2", cause="sold out")], "outages", "unit_kind", "Only a napkin machine can be sold out."),
]  # fmt: skip


@pytest.mark.parametrize(("added", "table", "rule", "words"), FACTS)
def test_a_fact_that_cannot_be_is_refused(session, tmp_path, added, table, rule, words):
    rows = second_week()
    rows[table] += added
    problems = [one for one in problems_of(session, tmp_path, rows) if one.rule == rule]
    line = len(rows[table]) + 1
    assert [one for one in problems if one.row == line and words in one.message], [p.line_text() for p in problems]


def test_a_roll_over_is_believed_only_near_the_end_of_the_dial(session, tmp_path):
    rows = second_week()
    # a dial of 4 digits turns from 9999 to 0; 9950 is in the top tenth (9000 and more), 20 in the bottom tenth
    rows["readings"] = [reading("9950"), reading("20", "2026-01-20T12:00")]
    assert load(session, tmp_path, rows).added["readings"] == 2


def test_a_count_above_pupils_times_the_factor_asks_once_and_is_content_with_a_note(session, tmp_path):
    rows = small()
    # 40 girls, the block is theirs, factor 3: up to 120 visits a day are not asked about
    rows["usage_counts"][0]["visits"] = "120"
    rows["usage_counts"].append(count(day="2026-01-14", visits="121"))
    problem = only(problems_of(session, tmp_path, rows))
    assert (problem.rule, problem.row, problem.value) == ("too_many_visits", 5, "121")
    rows["usage_counts"][-1]["note"] = "Sports day, two schools"
    assert load(session, tmp_path, rows).added["usage_counts"] == 4


def test_visits_at_a_unit_that_was_out_all_day_ask_once(session, tmp_path):
    rows = small()
    rows["outages"].append(outage("O2", unit="G1", start="2026-01-13T07:00", end="2026-01-13T16:00"))
    problem = only(problems_of(session, tmp_path, rows))
    assert (problem.rule, problem.row) == ("visits_while_out", 2)
    rows["outages"][-1]["end_local_time"] = "2026-01-13T14:00"  # open again before school closed at 15:00
    assert load(session, tmp_path, rows).added["outages"] == 2


def test_a_day_used_out_of_hours_may_have_visits(session, tmp_path):
    rows = small()
    rows["day_marks"] = [{"school": "S1", "day": "2026-01-15", "mark": "out of hours"}]
    rows["usage_counts"].append(count(day="2026-01-15", slot="all"))
    assert load(session, tmp_path, rows).added["usage_counts"] == 4


def test_a_lost_day_is_no_school_day_for_the_counts_beside_it(session, tmp_path):
    rows = small()
    rows["day_marks"] = [{"school": "S1", "day": "2026-01-13", "mark": "lost"}]
    assert only(problems_of(session, tmp_path, rows)).rule == "school_day"


def test_what_no_note_can_settle_is_loaded_and_listed(session, tmp_path):
    rows = small()
    rows["attendance"][0]["present"] = "41"  # of 40 girls in grade 6
    result = load(session, tmp_path, rows)
    assert [(one.rule, one.soft) for one in result.problems] == [("more_than_enrolled", True)]


def test_a_file_in_another_encoding_is_refused_with_its_line(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    path = folder / "areas.csv"
    path.write_bytes("area,name\nA1,Plain\nA2,Caf\u00e9\n".encode("latin-1"))
    with pytest.raises(FolderError) as refused:
        load_folder(session, folder, now=NOW)
    found = next(one for one in refused.value.problems if one.table == "areas")
    assert (found.row, found.message) == (
        3, "This line is not UTF-8. Save the file again as CSV with the encoding UTF-8.",
    )  # fmt: skip


def refused_of(session, folder):
    with pytest.raises(FolderError) as refused:
        load_folder(session, folder, now=NOW)
    return refused.value.problems


def test_a_file_that_cannot_be_read_does_not_bury_its_own_error(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    path = folder / "schools.csv"
    path.write_bytes(path.read_text(encoding="utf-8").encode("utf-16"))  # as some spreadsheets save "Unicode text"
    first, *others = refused_of(session, folder)
    assert (first.table, first.message) == (
        "schools", "This line is not UTF-8. Save the file again as CSV with the encoding UTF-8.",
    )  # fmt: skip
    assert {one.message for one in others} == {"Not checked further, because schools.csv could not be read."}
    assert len({one.table for one in others}) == len(others), "one line a file"
    assert "units" in {one.table for one in others}


def test_a_missing_column_is_said_once_and_not_for_each_row_that_names_the_file(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    path = folder / "units.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("unit,", "units,", 1), encoding="utf-8")
    found = refused_of(session, folder)
    assert [one.message for one in found if one.table == "units"] == [
        "This column is not known. Take it out; the columns are school, unit, block, name, kind, accessible, "
        "from_day, until_day, preferred_source.",
        "This column is missing. Add it; its cells may be blank if optional.",
    ]
    others = [one for one in found if one.table != "units"]
    assert {one.message for one in others} == {"Not checked further, because units.csv could not be read."}
    assert len({one.table for one in others}) == len(others)


def test_codes_of_a_line_that_was_lost_are_not_called_unknown(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    path = folder / "units.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[1].startswith("S1,G1,")
    path.write_text("\n".join([lines[0], lines[1] + ",too many", *lines[2:]]) + "\n", encoding="utf-8")
    first, *others = refused_of(session, folder)
    assert (first.table, first.row) == ("units", 2) and first.message.startswith("This line has ")
    assert {one.message for one in others} == {"Not checked further, because line 2 of units.csv could not be read."}


def test_breaks_that_cannot_be_read_make_no_drawn_break_unknown(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    (folder / "breaks.csv").write_text("nothing\n", encoding="utf-8")
    found = [one for one in refused_of(session, folder) if one.table == "drawn_breaks"]
    assert [one.message for one in found] == ["Not checked further, because breaks.csv could not be read."]


def test_values_links_overlaps_and_backward_dials_are_listed_in_one_reading(session, tmp_path):
    rows = second_week()
    rows["usage_counts"][0]["visits"] = "twelve"
    rows["stock_counts"][0]["product"] = "SOAP"
    rows["readings"].append(reading("140", "2026-01-20T12:00"))  # after 150: backwards
    rows["outages"].append(outage("O2", start="2026-01-14T09:00", end=""))  # the first one ends at 10:00
    found = {(one.table, one.rule) for one in problems_of(session, tmp_path, rows)}
    assert found == {
        ("usage_counts", "readable"),
        ("stock_counts", "code_known"),
        ("readings", "not_backwards"),
        ("outages", "outage_overlap"),
    }


def test_a_school_whose_set_up_is_wrong_is_left_out_of_the_rules_about_facts_and_others_are_not(session, tmp_path):
    rows = second_week()
    other = [{**row, "school": "S2"} for row in rows["units"]]
    for name in ("schools", "shifts", "school_hours", "breaks", "blocks", "block_groups", "enrolment", "dials"):
        rows[name] += [{**row, "school": "S2"} for row in rows[name]]
    rows["units"] += other
    other[0]["kind"] = "shed"
    rows["readings"] += [reading("140", "2026-01-20T12:00"), {**reading("90"), "school": "S2"}]
    found = problems_of(session, tmp_path, rows)
    assert [(one.table, one.rule) for one in found] == [("units", "readable"), ("readings", "not_backwards")]
    assert found[1].value == "140", "the reading of 90 below the first value of 100 waits for its school's set-up"


def test_a_byte_order_mark_is_tolerated(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    path = folder / "areas.csv"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_folder(session, folder, now=NOW).added["areas"] == 1


def test_a_file_of_50_mb_is_refused_unread(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    with (folder / "readings.csv").open("wb") as file:
        file.truncate(50 * 1024 * 1024)  # sparse: it takes no room on the disk
    with pytest.raises(FolderError) as refused:
        load_folder(session, folder, now=NOW)
    found = next(one for one in refused.value.problems if one.table == "readings")
    assert found.message.startswith("This file has 50 MiB; at most 20 MiB are read.")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("areas.csv", "", "This file is empty. Write the header line: area,name."),
        ("areas.csv", "A1,Area 1\n", "This column is not known."),
        ("areas.csv", "area\nA1\n", "This column is missing."),
        ("areas.csv", "area,name,name\nA1,x,y\n", "This column comes twice."),
        ("areas.csv", "area,name\nA1,Area, north\n", "This line has 3 cells, the header has 2."),
        ("areas.csv", 'area,name\nA1,"open\n', "This file cannot be read as CSV."),
        ("areas.csv", "area,name\nA1,x\nA1,y\n", "This is said twice; the first time in line 2."),
        ("notes.csv", "a,b\n1,2\n", "This file is not known."),
        ("programme.csv", "programme,name,zone,currency,first_weekday,phone,is_demo\n", "A folder holds one programme"),
    ],
)
def test_a_file_of_the_wrong_shape_is_refused(session, tmp_path, name, content, words):
    folder = write(tmp_path / "folder", small())
    (folder / name).write_text(content, encoding="utf-8")
    with pytest.raises(FolderError) as refused:
        load_folder(session, folder, now=NOW)
    assert any(words in one.message for one in refused.value.problems)


def test_a_folder_without_a_programme_is_refused(session, tmp_path):
    rows = small()
    del rows["programme"]
    assert any("programme.csv is missing" in one.message for one in problems_of(session, tmp_path, rows))


def test_a_row_on_record_is_changed_only_with_a_reason_and_then_audited(session, tmp_path):
    load(session, tmp_path, small())
    session.commit()
    rows = small()
    rows["areas"][0]["name"] = "Area One"
    problem = only(problems_of(session, tmp_path, rows))
    assert problem.message == (
        "This row is on record with name Area 1. Correct the file, or load it with a correction reason."
    )
    result = load(session, tmp_path, rows, correction_reason="spelling")
    assert (result.changed["areas"], result.added["areas"]) == (1, 0)
    line = session.scalars(select(Audit).where(Audit.act == "changed")).one()
    assert (json.loads(line.before)["name"], json.loads(line.after)["name"], line.reason) == (
        "Area 1", "Area One", "spelling",
    )  # fmt: skip


def test_figures_of_a_sheet_on_record_change_only_as_a_higher_version(session, tmp_path):
    load(session, tmp_path, small())
    session.commit()
    rows = small()
    rows["usage_counts"][0]["visits"] = "13"
    refused = only(problems_of(session, tmp_path, rows, correction_reason="recount"))
    assert refused.rule == "version_raised"
    rows["week_sheets"][0]["version"] = "2"
    result = load(session, tmp_path, rows, correction_reason="recount")
    assert (result.changed["usage_counts"], result.changed["week_sheets"]) == (1, 1)
    numbers = session.execute(select(SheetVersion.number, SheetVersion.reason).order_by(SheetVersion.number)).all()
    assert numbers == [(1, ""), (2, "recount")]
    assert session.scalars(select(UsageCount.visits).where(UsageCount.visits == 13)).one() == 13


def test_the_audit_trail_names_each_file_and_its_hash(session, tmp_path):
    folder = write(tmp_path / "folder", small())
    load_folder(session, folder, now=NOW)
    line = session.scalars(select(Audit).where(Audit.act == "loaded", Audit.row_key == "units.csv")).one()
    expected = hashlib.sha256((folder / "units.csv").read_bytes()).hexdigest()
    assert json.loads(line.after) == {"added": 5, "changed": 0, "sha256": expected}


def test_progress_runs_from_nothing_to_everything(session, tmp_path):
    seen = []
    load(session, tmp_path, small(), progress=lambda done, total, name: seen.append((done, total, name)))
    total = sum(len(rows) for rows in small().values())
    assert [done for done, _, _ in seen] == sorted(done for done, _, _ in seen)
    assert seen[-1][:2] == (total, total)


def test_an_engineers_reading_belongs_to_no_sheet(session, tmp_path):
    rows = small()
    rows["readings"].append(reading("155", "2026-01-16T14:00", source="engineer"))
    load(session, tmp_path, rows)
    sheets = dict(session.execute(select(Reading.source, Reading.sheet_id)).all())
    assert sheets["engineer"] is None
    assert sheets["tally"] is not None


def test_both_databases_load_the_same(any_engine, tmp_path):
    folder = write(tmp_path / "folder", small())
    with writing(any_engine) as session:
        first = load_folder(session, folder, now=NOW)
        session.commit()
        again = load_folder(session, folder, now=NOW)
        session.commit()
    assert sum(first.added.values()) == sum(again.unchanged.values())
    assert sum(again.added.values()) == 0


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.sampled_from(["B1", "B2", "other"]), st.integers(0, 120)), max_size=3, unique_by=lambda p: p[0]
    )
)
def test_any_good_counts_load_once_and_only_once(session, tmp_path, counts):
    rows = small()
    rows["usage_counts"] = [count(day="2026-01-14", slot=slot, visits=str(visits)) for slot, visits in counts]
    outer = session.begin_nested()
    load(session, tmp_path, rows)
    session.flush()
    before = content_hash(session)
    assert sum(load(session, tmp_path, rows).added.values()) == 0
    assert content_hash(session) == before
    outer.rollback()


def test_nothing_of_a_formula_cell_is_run_or_kept(session, tmp_path):
    rows = small()
    rows["areas"][0]["name"] = "=1+1"
    only(problems_of(session, tmp_path, rows))
    assert session.scalar(text("SELECT COUNT(*) FROM area")) == 0
