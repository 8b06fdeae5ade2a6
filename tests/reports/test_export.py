"""Files: the digits of the pages, nothing that a spreadsheet would run, blank never zero, the same bytes."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from dataclasses import replace
from datetime import date

import pytest

from tests.reports.by_hand import BLANK, SHARE, VISITS, chart, line, report, table
from tracker.measures.figure import Figure
from tracker.reports import export
from tracker.reports.report import Column
from tracker.vocabulary import Basis


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_a_headline_row_holds_value_unit_range_basis_and_completeness():
    made = report(line(target=100.0, target_set_at=date(2026, 1, 1), last_term=SHARE))
    head, row = rows(export.csv_files(made)["headlines.csv"])
    cell = dict(zip(head, row, strict=True))
    assert cell["value"] == "60" and cell["unit"] == "visits"
    assert (cell["low"], cell["high"], cell["basis"]) == ("40", "90", "sampled")
    assert (cell["records used"], cell["records expected"], cell["records of"]) == ("3", "4", "school-weeks")
    assert cell["target"] == "100" and cell["target set on"] == "2026-01-01"
    assert cell["in words"] == "60 visits (40 to 90 visits; sampled; 3 of 4 school-weeks)"


def test_a_table_keeps_unit_range_and_basis_beside_each_figure_and_its_notes_stand_in_the_about_file():
    made = report(tables=[table(("Lakeside", VISITS), ("Hillside", BLANK), ("Bayside", "no school"))])
    files = export.csv_files(made)
    head, *lines = rows(files["by_school.csv"])
    assert head[:5] == ["School", "Visits", "Visits, unit", "Visits, reason for a blank", "Visits, low"]
    assert lines[0][:7] == ["Lakeside", "60", "visits", "", "40", "90", "sampled"]
    assert lines[1][1:4] == ["", "L", "not recorded"], "blank in files, never 0"
    assert lines[2][1:4] == ["", "visits", "no school"], "no words among numbers"
    said = [row[1] for row in rows(files["about.csv"]) if row[0] == "note on by_school.csv"]
    assert "Blank is not zero." in said and "Lakeside: A note." in said


def test_days_in_tables_are_iso_8601():
    columns = (Column("week", "Week from", numeric=False), Column("visits", "Visits", "visits"))
    made = report(tables=[table((date(2026, 2, 2), 4), columns=columns)])
    assert rows(export.csv_files(made)["by_school.csv"])[1] == ["2026-02-02", "4", "visits", ""]


def test_files_and_terminal_say_which_targets_were_not_reached_and_which_cannot_be_told():
    low = replace(SHARE, value=0.8, low=0.7, high=0.9)
    given = {"target": 0.95, "target_set_at": date(2026, 1, 1)}
    made = report(
        line(low, key="route_days_share", label="Days with a route", **given),
        line(SHARE, key="availability_share", label="Usable", **given),
    )
    files = export.csv_files(made)
    found = {row["key"]: row for row in csv.DictReader(io.StringIO(files["targets.csv"]))}
    assert found["route_days_share"]["verdict"] == "not reached" and found["route_days_share"]["side"] == "at least"
    assert found["availability_share"]["verdict"] == "cannot be told"
    told = export.text(made)
    assert "Targets not reached\n    Days with a route: 80.0 % (70.0 % to 90.0 %); target at least 95.0 %.\n" in told
    lists = {one["title"]: one["sentences"] for one in json.loads(export.json_text(made))["targets"]}
    assert len(lists["Targets not reached"]) == len(lists["Targets of which it cannot be told"]) == 1


# Characters that start a formula in spreadsheets: OWASP, "CSV Injection".
@pytest.mark.parametrize("name", ["=1+1", "+1", "-5", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_that_a_spreadsheet_would_run_is_defused(name):
    made = report(tables=[table((name, 4))])
    assert rows(export.csv_files(made)["by_school.csv"])[1][0] == "'" + name


def test_true_numbers_stay_numbers_also_below_zero():
    columns = (Column("meter", "Meter", numeric=False), Column("l", "Unexplained", "L"))
    below = Figure(-250.0, "L", Basis.MODELLED, low=-400.0, high=-100.0)
    made = report(tables=[table(("W1", below), ("W2", -3), columns=columns)])
    _, first, second = rows(export.csv_files(made)["by_school.csv"])
    assert [first[1], *first[4:6]] == ["-250", "-400", "-100"] and second[1] == "-3"


def test_lines_end_as_rfc_4180_says_and_quotes_are_doubled():
    # RFC 4180, section 2: CRLF line breaks; a quote inside a quoted field is doubled.
    made = report(tables=[table(('Say "hello", twice', 1))])
    text = export.csv_files(made)["by_school.csv"]
    assert '"Say ""hello"", twice",1,visits,\r\n' in text
    assert "\n" not in text.replace("\r\n", "")


def test_every_row_of_a_file_has_as_many_cells_as_its_heading():
    made = report(tables=[table(("A", VISITS), ("B", None))])
    for name, text in export.csv_files(made).items():
        assert len({len(row) for row in rows(text)}) == 1, name


def test_a_table_of_a_chart_is_a_file_too():
    made = report(charts=[chart("weekly_bars", [], cells=[("a", 1)], key="weeks")])
    assert "weeks_table.csv" in export.csv_files(made)


def test_json_is_canonical_and_holds_what_stands_beside_each_figure():
    text = export.json_text(report())
    assert text == json.dumps(json.loads(text), ensure_ascii=False, sort_keys=True, indent=2) + "\n"
    figure = json.loads(text)["sections"][0]["lines"][0]["figure"]
    assert figure["value"] == 60 and figure["low"] == 40 and figure["basis"] == "sampled"
    assert figure["used"] == 3 and figure["expected"] == 4 and figure["records"] == "school-weeks"
    assert figure["printed"] == "60 visits (40 to 90 visits; sampled; 3 of 4 school-weeks)"


def test_json_leaves_out_what_each_school_and_week_brought():
    assert "parts" not in export.json_text(report()) and "S1" not in export.json_text(report())


def test_not_recorded_is_null_in_json_and_words_on_the_terminal():
    made = report(line(BLANK, label="Water taken"))
    assert json.loads(export.json_text(made))["sections"][0]["lines"][0]["figure"]["value"] is None
    assert "Water taken: not recorded (metered; 0 of 4 school-weeks)" in export.text(made)


def test_a_withheld_count_prints_its_words_everywhere_and_no_digit():
    hidden = Figure(None, "pupils", Basis.COUNTED, used=3, expected=3, about_people=True, withheld="fewer than 10")
    made = report(line(hidden, label="Pupils reached"), tables=[table(("Lakeside", hidden))])
    assert "Pupils reached: fewer than 10" in export.text(made)
    assert export.cell_parts(hidden, Column("a", "A", "pupils"))[0] == "fewer than 10"
    assert export.headline_parts(hidden)[0] == "fewer than 10"
    assert json.loads(export.json_text(made))["sections"][0]["lines"][0]["figure"]["withheld"] == "fewer than 10"
    assert "fewer than 10" in export.csv_files(made)["headlines.csv"]


def test_the_terminal_shows_target_with_its_day_and_last_term():
    shown = export.text(report(line(SHARE, target=0.95, target_set_at=date(2026, 1, 1), last_term=SHARE)))
    assert "Target: 95.0 % planned. It was set on 1 January 2026." in shown
    assert "Last term: 95.0 % (90.0 % to 100.0 %; counted; 57 of 60 unit school days)" in shown


def test_a_figure_under_a_heading_without_unit_carries_its_unit():
    assert export.cell_parts(VISITS, Column("now", "This term"))[0] == "60 visits"
    assert export.cell_parts(VISITS, Column("now", "Visits", "visits"))[0] == "60"


def test_a_heading_names_its_unit_once():
    assert export.heading(Column("a", "Visits", "visits")) == "Visits"
    assert export.heading(Column("a", "Water taken", "L")) == "Water taken (L)"
    assert export.heading(Column("a", "Usable", "share")) == "Usable (%)"


def test_the_zip_has_the_same_bytes_each_time_and_every_file():
    files = export.csv_files(report(tables=[table(("A", 1))]))
    first = export.zipped(files)
    assert first == export.zipped(files)
    assert zipfile.ZipFile(io.BytesIO(first)).namelist() == [
        *("about.csv", "headlines.csv", "targets.csv", "by_school.csv")
    ]


def test_a_file_name_holds_nothing_but_letters_digits_and_dashes():
    assert export.file_name("../a b/c", "csv") == "___a_b_c.csv"
