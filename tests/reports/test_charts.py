"""Charts: well-formed, described, the same every time, honest about gaps and ranges, readable in grey."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from tests.reports import by_hand
from tests.reports.by_hand import WEEKS, chart, weekly
from tracker.measures.figure import Figure
from tracker.reports import chart_look, charts
from tracker.vocabulary import Basis

SVG = "{http://www.w3.org/2000/svg}"
STATES = ("received on time", "received late", "queried", "not reported", "not due yet", "no school")
EVERY_KIND = [
    weekly(120.0, None, 80.0),
    chart("stacked_week_share", [{"week": WEEKS[0], "part": part, "value": 3} for part in ("flush", "pre-wash")]),
    chart(
        "bar_by_name",
        [{"name": "A & <B>", "value": 0.5, "low": 0.4, "high": 0.6}, {"name": "C", "value": None}],
        unit="share",
    ),
    chart(
        "completeness_strip",
        [{"school": "S1", "week": week, "state": state} for week, state in zip(WEEKS, STATES, strict=False)],
        unit="",
    ),
]


@pytest.fixture(params=EVERY_KIND, ids=lambda one: one.kind)
def every(request):
    return request.param


def texts(drawn: str) -> list[str]:
    root = ElementTree.fromstring(drawn)
    return ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]


def widths(drawn: str) -> list[float]:
    """Widths of drawn bars, in drawing order: vega writes a bar as M…h<width>v<height>…"""
    return [float(found) for found in re.findall(r'd="M[^"]*?h(\d+(?:\.\d+)?)v14', drawn)]


def test_every_drawing_is_xml_with_a_title_and_a_description_that_name_it(every):
    root = ElementTree.fromstring(charts.svg(every))
    assert root.get("role") == "img"
    by_id = {node.get("id"): node for node in root.iter() if node.get("id")}
    assert by_id[root.get("aria-labelledby")].text == every.title
    assert by_id[root.get("aria-describedby")].text == every.description
    assert [node.tag for node in root[:2]] == [f"{SVG}title", f"{SVG}desc"]


def test_no_drawing_needs_inline_style_or_script_or_another_server(every):
    drawn = charts.svg(every)
    assert not re.search(r"\sstyle=|<style|<script|\son\w+=|href=", drawn)
    assert set(re.findall(r"https?://[^\"]+", drawn)) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def test_the_same_chart_gives_the_same_bytes_after_the_memory_is_empty(every):
    first = charts.svg(every)
    charts._kept.clear()
    assert charts.svg(every) == first


def test_every_drawing_fits_a_phone_and_its_letters_stay_readable(every):
    drawn = charts.svg(every)
    root = ElementTree.fromstring(drawn)
    assert float(root.get("width")) <= 360
    assert root.get("viewBox")
    assert min(float(size) for size in re.findall(r'font-size="([\d.]+)px"', drawn)) >= 11


def test_ids_of_two_charts_on_a_page_do_not_clash():
    drawn = [charts.svg(weekly(1.0, None, key=key)) for key in ("one", "two")]
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in drawn]
    assert ids[0] and ids[1] and not ids[0] & ids[1]
    for text, known in zip(drawn, ids, strict=True):
        assert set(re.findall(r"url\(#([^)]+)\)", text)) <= known


def test_a_week_without_a_record_is_crossed_and_named_not_drawn_as_zero():
    drawn = charts.svg(weekly(100.0, None, 50.0))
    assert "not reported yet" in texts(drawn)
    assert drawn.count('fill="url(#a_chart-missing)"') == 1
    assert "0" not in texts(drawn)


def test_a_week_of_zero_is_a_zero_and_not_a_gap():
    drawn = charts.svg(weekly(100.0, 0.0))
    assert "0" in texts(drawn) and "not reported yet" not in texts(drawn) and "-missing" not in drawn


def test_a_week_whose_sheet_is_not_due_yet_is_neither_crossed_nor_called_holiday():
    rows = [{"week": WEEKS[0], "value": 5.0}, {"week": WEEKS[1], "value": None, "state": "not due yet"}]
    drawn = charts.svg(chart("weekly_bars", rows))
    assert "not due yet" in texts(drawn) and "no school" not in texts(drawn) and "-missing" not in drawn


def test_value_words_end_inside_the_drawing():
    rows = [{"name": "A school with a long name for a chart", "value": 123456.0}, {"name": "B", "value": 402.0}]
    drawn = charts.svg(chart("bar_by_name", rows))
    spots = re.findall(r'text-anchor="end" transform="translate\(([\d.]+),', drawn)
    assert spots and max(float(spot) for spot in spots) <= chart_look.WIDTH - 9  # 7 and 2 px of padding


def test_a_week_without_school_says_so():
    drawn = charts.svg(weekly(None, None, expected=False))
    assert texts(drawn).count("no school") == 2 and "not reported" not in texts(drawn)


def test_bars_start_at_zero_so_that_half_the_value_is_half_the_length():
    # 100 and 50: lengths from a common zero are as 2 to 1, whatever the scale. Derived by hand, no outside source.
    whole, half = widths(charts.svg(weekly(100.0, 50.0)))
    assert whole == pytest.approx(2 * half, rel=0.01)


def test_an_interval_is_drawn_as_a_line_with_two_ends():
    plain = charts.svg(chart("bar_by_name", [{"name": "A", "value": 0.5, "low": None, "high": None}], unit="share"))
    ranged = charts.svg(chart("bar_by_name", [{"name": "A", "value": 0.5, "low": 0.4, "high": 0.6}], unit="share"))
    assert ranged.count("<line ") == plain.count("<line ") + 1
    x = [float(found) for found in re.findall(r'<line [^>]*x2="(-?[\d.]+)"', ranged)]
    # 0.4 to 0.6 of an axis from 0 to 1 that is about 330 px wide is about 66 px. Derived by hand, no outside source.
    assert any(55 < abs(length) < 75 for length in x)


def test_a_range_of_a_week_comes_from_the_table_and_is_cut_with_an_arrow_far_beyond_the_bars():
    def cells(high: float):
        return [(WEEKS[0], Figure(100.0, "visits", Basis.SAMPLED, low=50.0, high=high))]

    near, far = (charts.svg(weekly(100.0, cells=cells(high), key="k")) for high in (120.0, 900.0))
    assert near.count("<line ") >= 1 and far.count("<line ") >= 1
    assert far.count('class="mark-symbol') == near.count('class="mark-symbol') and far != near
    assert "L" in re.search(r'mark-symbol.*?d="([^"]+)"', far, re.S)[1]
    assert not re.search(r"mark-symbol[^>]*>\s*<path", near)


def test_each_state_of_a_week_sheet_has_a_filling_of_its_own():
    fillings = [charts.filling_of(state, place) for place, state in enumerate(STATES)]
    assert len(set(fillings)) == len(STATES)


def test_values_stand_on_the_marks_as_they_are_printed():
    assert "1\u202f234" in texts(charts.svg(weekly(1234.4, 10.0)))


def luminance(colour: str) -> float:
    # WCAG 2.2, definition of relative luminance: sRGB channels, threshold 0.04045, weights 0.2126, 0.7152, 0.0722.
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    # WCAG 2.2, definition of contrast ratio: (lighter + 0.05) / (darker + 0.05).
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_published_extremes():
    # WCAG 2.2: ratios range from 1 to 21; black on white is 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1


@pytest.mark.parametrize("outline", [chart_look.INK, chart_look.MAIN])
@pytest.mark.parametrize("ground", [chart_look.PAPER, chart_look.PALE, "#ffffff", "#fbf8f1"])
def test_outlines_and_marks_stand_out_three_to_one(outline, ground):
    # WCAG 2.2, SC 1.4.11 non-text contrast: at least 3 to 1.
    assert contrast(outline, ground) >= 3


def test_drawings_in_memory_are_bounded(monkeypatch):
    monkeypatch.setattr(charts, "KEPT", 2)
    for place in range(4):
        charts.svg(weekly(float(place + 1), key=f"bounded{place}"))
    assert len(charts._kept) <= 2


def test_a_drawing_in_memory_is_not_drawn_again(monkeypatch):
    kept = weekly(7.0, key="kept")
    first = charts.svg(kept)
    monkeypatch.setattr(charts, "_render", lambda _chart: pytest.fail("drawn again"))
    assert charts.svg(kept) == first


def test_a_change_of_one_value_or_of_the_title_is_another_drawing():
    keys = {charts.content_key(one) for one in (weekly(1.0), weekly(2.0), weekly(1.0, title="Other"))}
    assert len(keys) == 3


def test_text_of_others_cannot_break_out_of_the_drawing():
    drawn = charts.svg(weekly(1.0, title='</title><script>x()</script>"', about="<b>"))
    assert "<script" not in drawn and "<b>" not in drawn
    ElementTree.fromstring(drawn)


def test_a_report_by_hand_has_a_chart_for_each_kind():
    assert {one.kind for one in EVERY_KIND} == set(charts.DRAWINGS) and by_hand.WEEKS
