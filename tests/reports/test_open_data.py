"""Files for other programs: a data package, a workbook, results for IATI, JSON by its schema; all with one content."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree as Xml

import jsonschema
import openpyxl
import pytest

from tests.reports.by_hand import BLANK, SHARE, VISITS, line, report, table, weekly
from tracker.measures.figure import Figure
from tracker.reports import export, export_iati, export_package, export_xlsx
from tracker.reports.report import Column, Section
from tracker.reports.report_schema import report_schema
from tracker.vocabulary import Basis


def made(**given):
    return report(
        line(target=100.0, target_set_at=date(2026, 1, 1), last_term=SHARE),
        line(SHARE, "availability_share", label="Usable", target=0.9),
        line(BLANK, "water", label="Water"),
        tables=[table(("Lakeside", VISITS), ("=1+1", BLANK), ("-5", "no school"))],
        charts=[weekly(10, None, 30, cells=(("12 January", 10),))],
        **given,
    )


# --- data package -------------------------------------------------------------------------------------------------


def test_the_package_describes_every_file_and_column_and_the_types_hold():
    files = export_package.package_files(made())
    package = json.loads(files.pop("datapackage.json"))
    assert {one["path"] for one in package["resources"]} == set(files)
    for one in package["resources"]:
        raw = files[one["path"]].encode()
        assert one["bytes"] == len(raw) and one["hash"] == "sha256:" + hashlib.sha256(raw).hexdigest()
        head, *rows = csv.reader(io.StringIO(files[one["path"]], newline=""))
        names = [field["name"] for field in one["schema"]["fields"]]
        assert names == head and len(set(names)) == len(names), "a column is named once"
        for place, field in enumerate(one["schema"]["fields"]):
            for row in rows:
                if row[place]:
                    {"number": float, "integer": int, "date": date.fromisoformat, "string": str}[field["type"]](
                        row[place]
                    )
    assert "never zero" in package["description"]


def test_a_package_is_the_same_bytes_for_the_same_report():
    assert export.zipped(export_package.package_files(made())) == export.zipped(export_package.package_files(made()))


# --- workbook -----------------------------------------------------------------------------------------------------


def test_the_workbook_holds_the_cells_of_the_csv_files_with_numbers_as_numbers_and_no_formula():
    raw = export_xlsx.workbook(made())
    book = openpyxl.load_workbook(io.BytesIO(raw))
    files = export.csv_files(made())
    assert len(book.sheetnames) == len(files)
    for sheet, body in zip(book.worksheets, files.values(), strict=True):
        rows = list(csv.reader(io.StringIO(body, newline="")))
        for wanted, cells in zip(rows, sheet.iter_rows(), strict=True):
            for text, cell in zip(wanted, cells, strict=True):
                assert cell.data_type in ("s", "n", "d"), "no formula"
                assert _as_text(cell.value, text) == text
    body = " ".join(zipfile.ZipFile(io.BytesIO(raw)).read(f"xl/worksheets/sheet{n}.xml").decode() for n in (1, 2, 3))
    assert "<f>" not in body


def _as_text(value, wanted: str) -> str:
    if value is None:
        return ""
    if isinstance(value, int | float):
        return f"{value:.{len(wanted.partition('.')[2])}f}"
    return value.date().isoformat() if hasattr(value, "date") else str(value)


def test_the_workbook_is_the_same_bytes_for_the_same_report():
    assert export_xlsx.workbook(made()) == export_xlsx.workbook(made())


def test_two_tables_of_one_long_name_get_sheets_of_their_own():
    tables = [table(("a", VISITS), key="a_very_long_key_of_a_table_that_goes_on_" + end) for end in "xy"]
    book = openpyxl.load_workbook(io.BytesIO(export_xlsx.workbook(report(tables=tables))))
    assert len({name.lower() for name in book.sheetnames}) == len(book.sheetnames)
    assert all(len(name) <= 31 for name in book.sheetnames)  # the most letters that a sheet's name may have


# --- IATI ---------------------------------------------------------------------------------------------------------

PUBLISHER = export_iati.Publisher("XM-EXAMPLE-12345", "22", "A made-up organisation", "XM-EXAMPLE-12345-LAKES")
# IATI Standard 2.03, activity schema: children in this order (read in the schema's public text for the result part;
# the rest from memory)
ORDER = {
    "iati-activity": [
        *("iati-identifier", "reporting-org", "title", "description", "participating-org", "activity-status"),
        *("activity-date", "result"),
    ],
    "result": ["title", "description", "indicator"],
    "indicator": ["title", "description", "reference", "baseline", "period"],
    "period": ["period-start", "period-end", "target", "actual"],
}
REQUIRED = {
    "iati-activities": {"version"},
    "reporting-org": {"ref", "type"},
    "participating-org": {"role"},
    "activity-status": {"code"},
    "activity-date": {"iso-date", "type"},
    "result": {"type"},
    "indicator": {"measure"},
    "reference": {"vocabulary", "code"},
    "period-start": {"iso-date"},
    "period-end": {"iso-date"},
}


def iati(**given) -> Xml.Element:
    return Xml.fromstring(export_iati.iati_xml(export.content(made(**given)), PUBLISHER))


def test_elements_stand_in_the_standards_order_with_its_required_attributes():
    root = iati()
    assert root.get("version") == "2.03"
    for element in root.iter():
        assert REQUIRED.get(element.tag, set()) <= set(element.attrib), element.tag
        if element.tag in ORDER:
            places = [ORDER[element.tag].index(child.tag) for child in element]
            assert places == sorted(places), element.tag
    for title in root.iter("title"):
        assert title.find("narrative").text


def test_targets_and_actuals_are_the_printed_digits_and_a_share_is_percent():
    visits, usable, water = iati().iter("indicator")
    assert visits.get("measure") == "1" and usable.get("measure") == "2"
    assert visits.find("period/target").get("value") == "100" and visits.find("period/actual").get("value") == "60"
    assert usable.find("period/actual").get("value") == "95.0" and usable.get("ascending") == "1"
    assert "40 to 90" in visits.find("period/actual/comment/narrative").text, "how sure it is stands beside it"
    assert water.find("period/actual") is None and water.find("period/target") is None, "blank is left out, never 0"


def test_no_standard_code_is_claimed():
    assert {one.get("vocabulary") for one in iati().iter("reference")} == {"99"}


def test_letters_that_xml_has_no_place_for_are_left_out():
    assert iati(title="a\x0bb & <c>") is not None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("example", "22", "A", "example-1"), "identifier"),
        (("XM-EXAMPLE-1", "22", "A", "XM-OTHER-1-A"), "begins with"),
        (("XM-EXAMPLE-1", "x", "A", "XM-EXAMPLE-1-A"), "two digits"),
        (("XM-EXAMPLE-1", "22", " ", "XM-EXAMPLE-1-A"), "name"),
    ],
)
def test_what_is_no_publisher_is_refused_with_what_to_write(given, said):
    with pytest.raises(ValueError, match=said):
        export_iati.Publisher(*given)


# --- JSON ---------------------------------------------------------------------------------------------------------

CHECKER = jsonschema.Draft202012Validator(report_schema(), format_checker=jsonschema.FormatChecker())


def test_a_report_keeps_the_published_schema_and_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(report_schema())
    CHECKER.validate(json.loads(export.json_text(made())))


@pytest.mark.parametrize("part", ["kind", "sections", "cutoff_at"])
def test_a_report_without_a_part_or_with_one_more_breaks_the_schema(part):
    content = export.content(made())
    assert not CHECKER.is_valid({name: value for name, value in content.items() if name != part})
    assert not CHECKER.is_valid({**content, "more": 1})
    wrong = json.loads(json.dumps(content))
    wrong["sections"][0]["lines"][0]["figure"]["basis"] = "guessed"
    assert not CHECKER.is_valid(wrong)


def test_tables_of_days_words_and_figures_keep_the_schema():
    columns = (Column("a", "A", numeric=False), Column("b", "B", "L"))
    rows = ((date(2026, 1, 5), 4), ("words", None), ("more", Figure(1.5, "L", Basis.METERED)))
    section = Section("s", "S", tables=(table(*rows, columns=columns),))
    CHECKER.validate(export.content(replace(made(), sections=(section,))))
