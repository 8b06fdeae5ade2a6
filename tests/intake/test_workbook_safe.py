"""Files that are refused before they are opened; each is made here. Limits: common practice, no published source."""

from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest
import xlsxwriter

from tracker.intake import workbook_safe as safe
from tracker.intake.workbook_in import NOT_OURS, read_workbook
from tracker.intake.workbook_safe import WorkbookError, check_file


def plain_book() -> bytes:
    out = io.BytesIO()
    book = openpyxl.Workbook()
    book.active["A1"] = "hello"
    book.save(out)
    return out.getvalue()


def with_part(name: str, body: bytes, base: bytes | None = None) -> bytes:
    """The plain workbook with one more part, or with one part replaced."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(base or plain_book())) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            if part.filename != name:
                new.writestr(part, old.read(part))
        new.writestr(name, body)
    return out.getvalue()


def refusal(name: str, data: bytes) -> str:
    with pytest.raises(WorkbookError) as refused:
        read_workbook(name, data)
    return str(refused.value)


def test_a_plain_workbook_passes_but_is_not_ours():
    check_file("week.xlsx", plain_book())
    assert refusal("week.xlsx", plain_book()) == NOT_OURS


def test_a_part_that_swells_a_hundredfold_is_refused_although_the_file_is_small():
    bomb = with_part("xl/media/blank.xml", b"<a>" + b" " * 5_000_000 + b"</a>")
    assert len(bomb) < 20_000  # five million blanks pack to some five thousand bytes
    assert refusal("week.xlsx", bomb) == safe.UNPACKS_TOO_LARGE


def test_many_parts_and_large_sums_are_refused():
    data = plain_book()
    for number in range(50):
        data = with_part(f"xl/extra{number}.xml", b"<a/>", data)
    assert refusal("week.xlsx", data) == safe.TOO_MANY_PARTS
    noise = bytes(range(256)) * 4
    large = plain_book()
    for number in range(4):  # 4 × 6 MB = 24 MB, each part 10:1 or less against the ratio's limit
        body = b"".join(noise[i % 256 :] + str(i * 7919 % 10_007).encode() * 9 for i in range(5_900))
        large = with_part(f"xl/extra{number}.bin", body, large)
    assert refusal("week.xlsx", large) in {safe.UNPACKS_TOO_LARGE, safe.TOO_LARGE}


def test_a_file_above_two_megabytes_is_refused():
    assert refusal("week.xlsx", b"PK\x03\x04" + b"0" * 2_000_000) == safe.TOO_LARGE


def test_a_zip_inside_is_refused():
    assert refusal("week.xlsx", with_part("xl/media/more.bin", plain_book())) == safe.HAS_LINKS


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_that_grow_without_end_are_refused(encoding):
    lines = ['<!ENTITY a0 "ha">'] + [f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10)]
    laughs = f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE x [{"".join(lines)}]><x>&a9;</x>'
    made = with_part("xl/sharedStrings.xml", laughs.encode(encoding))
    assert refusal("week.xlsx", made) == safe.OWN_WORDS


def test_macros_are_refused_by_name_by_part_and_by_content_type():
    assert refusal("week.xlsm", plain_book()) == safe.HAS_MACROS
    assert refusal("week.xlsx", with_part("xl/vbaProject.bin", b"\x00")) == safe.HAS_MACROS
    kind = b"application/vnd.ms-excel.sheet.macroEnabled.main+xml"
    types = b'<Types><Override PartName="/xl/workbook.xml" ContentType="' + kind + b'"/></Types>'
    assert refusal("week.xlsx", with_part("[Content_Types].xml", types)) == safe.HAS_MACROS


def test_links_to_other_files_are_refused():
    assert refusal("week.xlsx", with_part("xl/externalLinks/externalLink1.xml", b"<a/>")) == safe.HAS_LINKS


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("week.csv", b"unit,visits\n", safe.NOT_A_WORKBOOK),
        ("week.xlsx", b"unit,visits\n", safe.NOT_A_WORKBOOK),
        ("week.zip", plain_book(), safe.NOT_A_WORKBOOK),
        ("week.xlsx", b"\xd0\xcf\x11\xe0 an old or locked file", safe.LOCKED),
        ("week.xlsx", b"PK\x03\x04 and nothing more", safe.UNREADABLE),
        ("week.xlsx", b"", safe.NOT_A_WORKBOOK),
    ],
)
def test_the_content_decides_beside_the_name(name, data, said):
    assert refusal(name, data) == said


def test_a_million_blank_rows_and_a_hundred_columns_are_refused():
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.active.cell(1_048_576, 1).value = "far"
    book.save(out)
    assert refusal("week.xlsx", out.getvalue()) == safe.TOO_LONG
    sheet = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    sheet += b'<dimension ref="A1:A2"/><sheetData><row r="1000000"/></sheetData></worksheet>'
    lied = with_part("xl/worksheets/sheet1.xml", sheet)  # says two rows, has the millionth
    assert refusal("week.xlsx", lied) == safe.TOO_LONG
    out = io.BytesIO()
    wide = xlsxwriter.Workbook(out)
    wide.add_worksheet().write_number(0, 99, 1)
    wide.close()
    assert refusal("week.xlsx", out.getvalue()) == safe.TOO_LONG


def test_a_part_that_is_no_xml_is_one_sentence():
    assert refusal("week.xlsx", with_part("xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row")) == safe.UNREADABLE
