"""The PDF of a report: tagged, titled, with its language, words for its charts, its own fonts, always the same bytes.

Checked on the file's own objects as ISO 32000 and PDF/UA-1 (ISO 14289-1) name them (from memory): the mark of the
standard, language, title, structure (headings, table heads, figures with alternative text), and fonts that are
embedded and carry their letters. A validator of PDF/UA-1 (the wheel page-validation) reads the whole file besides.
"""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import page as validator
import pytest
from pypdf import PdfReader

from tests.reports.by_hand import BLANK, SHARE, VISITS, line, report, table, weekly
from tracker.measures.figure import Figure
from tracker.reports.pdf import document, pdf
from tracker.reports.report import Column, Section
from tracker.vocabulary import Basis

SCRIPTS = "विद्यालय ትምህርት ቤት مدرسة"  # "school" in Devanagari, Ethiopic and Arabic letters (from memory)


def made(**given):
    return report(
        line(target=100.0, last_term=SHARE),
        line(BLANK, "water", label="Water"),
        tables=[table(("Lakeside", VISITS), ("Hillside", BLANK))],
        charts=[weekly(10, None, 30, cells=(("12 January", 10),))],
        **given,
    )


@pytest.fixture(scope="module")
def reader() -> PdfReader:
    return PdfReader(io.BytesIO(pdf(made(title=f"Lakes {SCRIPTS}: impact summary"), standing="version 2")))


def structure(reader: PdfReader):
    """Every element of the structure tree, in reading order."""
    waiting = [reader.trailer["/Root"]["/StructTreeRoot"]["/K"]]
    while waiting:
        one = waiting.pop(0)
        one = one.get_object() if hasattr(one, "get_object") else one
        if isinstance(one, list):
            waiting = [*one, *waiting]
        elif hasattr(one, "get") and "/S" in one:
            yield one
            waiting = [one["/K"], *waiting] if "/K" in one else waiting


def test_the_file_says_its_standard_its_language_and_its_title(reader):
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en" and root["/MarkInfo"]["/Marked"].value
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    assert reader.metadata.title == f"Lakes {SCRIPTS}: impact summary"


def test_a_validator_finds_every_rule_of_pdf_ua_kept():
    whole = pdf(made(title=f"Lakes {SCRIPTS}: impact summary"))
    found = validator.validate_pdf_bytes(whole, profile=validator.ValidationProfile.PDF_UA_1)
    assert found.is_compliant and found.rules.passed > 100, found.failures
    broken = whole.replace(b"/DisplayDocTitle true", b"/DisplayDocTitle null")
    assert not validator.validate_pdf_bytes(broken, profile=validator.ValidationProfile.PDF_UA_1).is_compliant


def test_headings_table_heads_and_the_chart_are_told_apart_by_their_tags(reader):
    tags = Counter(str(one["/S"]) for one in structure(reader))
    assert tags["/H1"] + tags["/Title"] >= 1 and tags["/H2"] >= 2 and tags["/H3"] >= 3
    assert tags["/Table"] == 2 and tags["/TH"] == 4, "a table of two columns, and the one behind the chart"
    assert tags["/TD"] == 4 + 2
    (figure,) = [one for one in structure(reader) if str(one["/S"]) == "/Figure"]
    assert "Visits rose" in figure["/Alt"] and "Bars." in figure["/Alt"]


def test_no_heading_level_is_left_out(reader):
    levels = [int(str(one["/S"])[2:]) for one in structure(reader) if str(one["/S"]) in {f"/H{n}" for n in range(1, 7)}]
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_all_letters_of_four_scripts_are_embedded(reader):
    fonts = {}
    for page in reader.pages:
        for font in (one.get_object() for one in page["/Resources"]["/Font"].values()):
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            fonts[str(inner["/BaseFont"]).split("+")[-1]] = inner["/FontDescriptor"].get_object(), font
    names = " ".join(fonts)
    assert all(word in names for word in ("NotoSans-", "Devanagari", "Ethiopic", "Arabic"))
    for name, (descriptor, font) in fonts.items():
        assert {"/FontFile2", "/FontFile3"} & set(descriptor), f"{name} is not embedded"
        assert "/ToUnicode" in font, f"{name} cannot be read aloud or copied"


def test_the_numbers_are_those_of_the_page_with_what_stands_beside_them(reader):
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert "60 visits" in text and "40 to 90" in text and "sampled, 3 of 4 school-weeks" in text
    assert "not recorded" in text, "blank is never zero"
    assert "version 2" in text and "Page 1" in text


def test_the_same_report_gives_the_same_bytes_and_another_cut_off_does_not():
    assert pdf(made()) == pdf(made())
    later = made(cutoff_at=made().cutoff_at.replace(hour=10))
    assert pdf(later) != pdf(made())


def test_letter_paper_is_215_by_279_mm_and_another_paper_is_refused():
    page = PdfReader(io.BytesIO(pdf(made(), paper="us-letter"))).pages[0].mediabox
    assert (float(page.width), float(page.height)) == pytest.approx((612, 792))  # points (from memory)
    with pytest.raises(ValueError, match="a4"):
        pdf(made(), paper="a3")


def test_what_could_be_markup_is_printed_as_it_stands():
    odd = '#panic() *bold* $x$ "quoted" \\ <b> [x]'
    text = PdfReader(io.BytesIO(pdf(replace(made(), title=odd, notes=(odd,))))).pages[0].extract_text()
    assert odd in " ".join(text.split())


def test_a_wide_table_gives_every_word_its_room():
    columns = tuple(Column(f"c{n}", f"Heading {n}", "visits" if n else "", numeric=bool(n)) for n in range(9))
    row = ("a" * 30, *(Figure(123456.0, "visits", Basis.SAMPLED, low=1.0, high=999999.0) for _ in range(8)))
    placed = document(replace(made(), sections=(Section("s", "S", tables=(table(row, columns=columns),)),)))
    rooms = [column["room"] for column in placed["sections"][0]["tables"][0]["columns"]]
    assert rooms[0] >= 30 and min(rooms[1:]) >= len("123 456")
