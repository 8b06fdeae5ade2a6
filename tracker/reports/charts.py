"""Charts as SVG, made on the server from plain rows: no script, no style attribute, the same bytes every time.

One calm palette that reads in grey: every filling has its own pattern and a dark outline, values stand on the
marks, missing weeks have a mark of their own. Drawings are kept in memory by their content, at most ``KEPT``.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from threading import Lock
from typing import Any

from tracker.measures.figure import Figure
from tracker.reports.chart_look import (
    FILLINGS,
    FONT,
    INK,
    LETTER,
    MAIN,
    PALE,
    PART_FILLINGS,
    QUIET,
    WIDTH,
    accessible,
    finish,
)
from tracker.reports.printing import MONTHS, NO_SCHOOL, NOT_DUE, NOT_RECORDED, NOT_REPORTED, bare
from tracker.reports.report import Chart

VL_VERSION = "6.4"
KEPT = 256
_kept: OrderedDict[str, str] = OrderedDict()
_lock = Lock()  # the renderer is called by one thread at a time


def svg(chart: Chart) -> str:
    """The chart as one accessible SVG element, from memory where the same was drawn before.

    Raises:
        KeyError: the chart's kind has no drawing.
    """
    key = content_key(chart)
    with _lock:
        found = _kept.pop(key, None)
        if found is None:
            found = _render(chart)
        _kept[key] = found
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return found


def content_key(chart: Chart) -> str:
    """A hash of all that the drawing depends on."""
    seen: list[Any] = [
        VL_VERSION,
        chart.key,
        chart.kind,
        chart.title,
        chart.description,
        list(chart.rows),
        unit_of(chart),
        sorted(_ranges(chart).items()),
    ]
    return hashlib.sha256(json.dumps(seen, default=str, sort_keys=True).encode()).hexdigest()


def unit_of(chart: Chart) -> str:
    """The unit of a chart's numbers: that of its table's first column that has one."""
    return next((column.unit for column in chart.table.columns if column.unit), "")


def _render(chart: Chart) -> str:
    import vl_convert

    spec = DRAWINGS[chart.kind](chart)
    raw: str = vl_convert.vegalite_to_svg(spec, vl_version=VL_VERSION)
    return accessible(raw, re.sub(r"[^a-zA-Z0-9_-]", "-", chart.key), chart.title, chart.description)


# --- what the drawings share --------------------------------------------------------------------------------------


def _day(value: date | str) -> date:
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])


def week_name(value: date | str) -> str:
    """The first day of a week, short.

    >>> week_name(date(2026, 2, 2))
    '2 Feb'
    """
    day = _day(value)
    return f"{day.day} {MONTHS[day.month - 1][:3]}"


def _data(rows: Sequence[Mapping[str, Any]]) -> Any:
    import altair as alt

    return alt.InlineData(values=[dict(row) for row in rows])


def _scale_end(values: Sequence[float | None], unit: str) -> float:
    """Where the axis from 0 ends: 1 for a share, else a little beyond the largest value."""
    known = [value for value in values if value is not None]
    largest = max(known, default=0.0)
    if unit == "share":
        return 1.0
    return largest * 1.02 if largest > 0 else 1.0


def _labels(names: Sequence[str]) -> Any:
    import altair as alt

    return alt.Axis(
        title=None, labelExpr="split(datum.label, '|')", labelLimit=160, labelLineHeight=13, values=list(names)
    )


# --- drawings -----------------------------------------------------------------------------------------------------


def weekly_bars(chart: Chart) -> dict[str, Any]:
    """A bar a week, read downwards, its range as a whisker, its value at the side; silent weeks say so.

    A range that goes far beyond the bars is cut at the edge and ends in an arrow; the table has its end.
    """
    import altair as alt

    unit = unit_of(chart)
    ranges = _ranges(chart)
    end = _scale_end([row["value"] for row in chart.rows], unit)
    highs = [ends[1] for ends in ranges.values()]
    end = min(max([end, *highs]), end * 1.6)
    rows = [_week_row(row, unit, end, ranges.get(_day(row["week"]))) for row in chart.rows]
    names = [row["name"] for row in rows]
    base = alt.Chart(_data(rows)).encode(y=alt.Y("name:N", sort=names, axis=_labels(names)))
    room = alt.Scale(domain=[0, end * 1.3], nice=False)
    bars = base.mark_bar(height=14, stroke=INK, strokeWidth=0.6).encode(
        x=alt.X("length:Q", scale=room, axis=None), color=_fill(rows, legend=False)
    )
    words = base.mark_text(align="right", fontSize=FONT, color=INK).encode(x=alt.value("width"), text="words:N")
    ranged = base.transform_filter("isValid(datum.low)")
    rule = ranged.mark_rule(stroke=INK, strokeWidth=1.6).encode(x=alt.X("low:Q", scale=room), x2="high:Q")
    caps = [_cap(ranged, "low", room), _cap(ranged.transform_filter("!datum.cut"), "high", room)]
    arrows = ranged.transform_filter("datum.cut").mark_point(shape="triangle-right", size=45, fill=INK, stroke=INK)
    arrows = arrows.encode(x=alt.X("high:Q", scale=room))
    return finish(alt.layer(bars, rule, *caps, arrows, words), 24 * max(len(rows), 1) + 6)


def _cap(base: Any, side: str, room: Any) -> Any:
    import altair as alt

    return base.mark_tick(color=INK, thickness=1.6, height=9).encode(x=alt.X(f"{side}:Q", scale=room))


def _ranges(chart: Chart) -> dict[date, tuple[float, float]]:
    """The range of each week, from the figures of the chart's table."""
    found: dict[date, tuple[float, float]] = {}
    for row in chart.table.rows:
        for cell in row[1:]:
            if isinstance(row[0], date) and isinstance(cell, Figure) and cell.low is not None and cell.high is not None:
                found[row[0]] = (cell.low, cell.high)
    return found


def _week_row(row: Mapping[str, Any], unit: str, end: float, ends: tuple[float, float] | None = None) -> dict[str, Any]:
    value = row["value"]
    made: dict[str, Any] = {"name": week_name(row["week"]), "low": None, "high": None, "cut": False}
    if value is not None:
        if ends is not None:
            made |= {"low": ends[0], "high": min(ends[1], end), "cut": ends[1] > end}
        return made | {"length": value, "words": bare(value, unit), "filling": "pale" if ends else "solid"}
    state = silence(row)
    if state != NOT_REPORTED:
        return made | {"length": 0, "words": state, "filling": "empty"}
    return made | {"length": end * 0.12, "words": state, "filling": "missing"}


def silence(row: Mapping[str, Any]) -> str:
    """Why a week has no number: its ``state`` where the row has one, else whether a sheet was ``expected``.

    >>> silence({"expected": True}), silence({"expected": False}), silence({"state": "not due yet"})
    ('not reported yet', 'no school', 'not due yet')
    """
    return str(row.get("state") or (NOT_REPORTED if row.get("expected", True) else NO_SCHOOL))


def _fill(rows: Sequence[Mapping[str, Any]], legend: bool, domain: Sequence[str] = ()) -> Any:
    import altair as alt

    names = list(dict.fromkeys(row["filling"] for row in rows))
    scale = alt.Scale(domain=list(domain) or names, range=[FILLINGS[name][0] for name in names])
    return alt.Color("filling:N", scale=scale, legend=alt.Legend() if legend else None)


def stacked_week_share(chart: Chart) -> dict[str, Any]:
    """The parts of each week beside each other, read downwards, the week's sum at the end; silent weeks are crossed."""
    import altair as alt

    unit = unit_of(chart)
    parts = sorted(dict.fromkeys(str(row["part"]) for row in chart.rows), key=_state_order)
    sums = _week_sums(chart.rows)
    end = _scale_end(list(sums.values()), unit)
    weeks = [week_name(week) for week in sums]
    rows = [
        {"name": week_name(row["week"]), "part": str(row["part"]), "value": row["value"]} | {"place": place}
        for place, part in enumerate(parts)
        for row in chart.rows
        if str(row["part"]) == part and row["value"] is not None
    ]
    why = {_day(row["week"]): silence(row) for row in chart.rows if row["value"] is None}
    silent = [
        {"name": week_name(week), "length": end * 0.12}
        for week, total in sums.items()
        if total is None and why[week] == NOT_REPORTED
    ]
    room = alt.Scale(domain=[0, end * 1.28], nice=False)
    lines = alt.Y("name:N", sort=weeks, axis=_labels(weeks), scale=alt.Scale(domain=weeks))
    colours = [FILLINGS[filling_of(part, place)][0] for place, part in enumerate(parts)]
    fill = alt.Color("part:N", scale=alt.Scale(domain=parts, range=colours), legend=alt.Legend())
    bars = alt.Chart(_data(rows)).mark_bar(height=14, stroke=INK, strokeWidth=0.8)
    bars = bars.encode(y=lines, x=alt.X("value:Q", stack="zero", scale=room, axis=None), order="place:Q", color=fill)
    gaps = alt.Chart(_data(silent)).mark_bar(height=14, fill=FILLINGS["missing"][0], stroke=INK, strokeWidth=0.6)
    gaps = gaps.encode(y=lines, x=alt.X("length:Q", scale=room, axis=None))
    ends = [
        {"name": week_name(week), "length": total if total is not None else end * 0.12 * (why[week] == NOT_REPORTED)}
        | {"words": why[week] if total is None else bare(total, unit)}
        for week, total in sums.items()
    ]
    words = alt.Chart(_data(ends)).mark_text(align="left", dx=6, fontSize=FONT, color=INK)
    words = words.encode(y=lines, x=alt.X("length:Q", scale=room), text="words:N")
    return finish(alt.layer(bars, gaps, words), 24 * max(len(weeks), 1) + 70)


def _week_sums(rows: Sequence[Mapping[str, Any]]) -> dict[date, float | None]:
    """The sum of each week's parts; None where none of them was recorded."""
    sums: dict[date, float | None] = {}
    for row in rows:
        week, value = _day(row["week"]), row["value"]
        before = sums.setdefault(week, None)
        if value is not None:
            sums[week] = (before or 0.0) + value
    return dict(sorted(sums.items()))


# What a state or part means decides its filling; others take the next filling in order.
FILLING_OF_STATE = {
    "received": "solid",
    "received on time": "solid",
    "on time": "solid",
    "sent": "solid",
    "received late": "stripes",
    "late": "stripes",
    "queried": "dots",
    NOT_DUE: "empty",
    "missing": "missing",
    "not reported": "missing",
    NOT_REPORTED: "missing",
    "not recorded": "missing",
    NO_SCHOOL: "faint",
}


def _state_order(name: str) -> int:
    """Known states in their order; parts that are no states stay as they came."""
    known = list(FILLING_OF_STATE)
    return known.index(name) if name in known else -1


def filling_of(name: str, place: int) -> str:
    """The filling of a part or state.

    >>> filling_of("not reported yet", 0), filling_of("low water", 1)
    ('missing', 'stripes')
    """
    return FILLING_OF_STATE.get(name, PART_FILLINGS[place % len(PART_FILLINGS)])


def bar_by_name(chart: Chart) -> dict[str, Any]:
    """A bar a name from 0, the name and the value above it, the interval as a whisker on it."""
    import altair as alt

    unit = unit_of(chart)
    ends = [row.get(key) for row in chart.rows for key in ("value", "high")]
    end = _scale_end(ends, unit)
    room = alt.Scale(domain=[0, end], nice=False)
    rows = [_name_row(row, unit, place, end) for place, row in enumerate(chart.rows)]
    places = alt.Y("place:O", axis=None, scale=alt.Scale(paddingInner=0))
    base = alt.Chart(_data(rows)).encode(y=places)
    known = base.transform_filter("isValid(datum.value)")
    bars = known.mark_bar(height=11, yOffset=9, fill=PALE, stroke=MAIN, strokeWidth=1).encode(
        x=alt.X("value:Q", scale=room, axis=alt.Axis(title=None, labels=False, grid=False))
    )
    crossed = base.transform_filter("!isValid(datum.value)").mark_bar(
        height=11, yOffset=9, fill=FILLINGS["missing"][0], stroke=QUIET, strokeWidth=0.6
    )
    gaps = crossed.encode(x=alt.X("gap:Q", scale=room))
    ranged = base.transform_filter("isValid(datum.low)")
    rule = ranged.mark_rule(yOffset=9, stroke=INK, strokeWidth=1.8).encode(x=alt.X("low:Q", scale=room), x2="high:Q")
    caps = [
        ranged.mark_tick(yOffset=9, color=INK, thickness=1.8, height=11).encode(x=alt.X(f"{side}:Q", scale=room))
        for side in ("low", "high")
    ]
    names = base.mark_text(align="left", dy=-7, fontSize=FONT, color=INK, limit=_name_room(rows)).encode(
        x=alt.value(0), text="name:N"
    )
    words = base.mark_text(align="right", dy=-7, fontSize=FONT, color=INK).encode(x=alt.value("width"), text="words:N")
    return finish(alt.layer(bars, gaps, rule, *caps, names, words), 38 * max(len(rows), 1))


def _name_room(rows: Sequence[Mapping[str, Any]]) -> float:
    """What the longest value words leave to the names on the same line, in pixels; a third of the width at least."""
    longest = max((len(row["words"]) for row in rows), default=0)
    return max(WIDTH / 3, WIDTH - 24 - longest * LETTER)


def _name_row(row: Mapping[str, Any], unit: str, place: int, end: float) -> dict[str, Any]:
    value = row.get("value")
    words = (row.get("note") or NOT_RECORDED) if value is None else bare(value, unit)
    return {"name": str(row["name"]), "value": value, "low": row.get("low"), "high": row.get("high")} | {
        "words": words,
        "place": place,
        "gap": end * 0.12,
    }


def completeness_strip(chart: Chart) -> dict[str, Any]:
    """A square for each school and week, filled by its state; a missing week is crossed out, never left blank."""
    import altair as alt

    states = sorted(dict.fromkeys(str(row["state"]) for row in chart.rows), key=_state_order)
    weeks = sorted({_day(row["week"]) for row in chart.rows})
    schools = list(dict.fromkeys(str(row["school"]) for row in chart.rows))
    rows = [
        {"place": schools.index(str(row["school"])), "week": _day(row["week"]).isoformat(), "state": str(row["state"])}
        for row in chart.rows
    ]
    colours = [FILLINGS[filling_of(state, place)][0] for place, state in enumerate(states)]
    top = alt.Axis(title=None, orient="top", labelExpr=_two_line_weeks(weeks), labelAngle=0, labelPadding=4)
    places = alt.Y("place:O", axis=None, scale=alt.Scale(paddingInner=0.55, paddingOuter=0.7))
    cells = (
        alt.Chart(_data(rows))
        .mark_rect(stroke=INK, strokeWidth=0.8)
        .encode(
            x=alt.X("week:N", axis=top, scale=alt.Scale(paddingInner=0.2)),
            y=places,
            color=alt.Color("state:N", scale=alt.Scale(domain=states, range=colours), legend=alt.Legend()),
        )
    )
    named = _data([{"place": place, "name": school} for place, school in enumerate(schools)])
    names = alt.Chart(named).mark_text(align="left", dy=-17, fontSize=FONT, color=INK, limit=WIDTH - 8)
    return finish(cells + names.encode(x=alt.value(0), y=places, text="name:N"), 40 * max(len(schools), 1) + 90)


def _two_line_weeks(weeks: Sequence[date]) -> str:
    """An expression that gives each week its day over its month; the month only where it changes."""
    named: dict[str, list[str]] = {}
    month = 0
    for week in weeks:
        named[week.isoformat()] = [str(week.day), MONTHS[week.month - 1][:3] if week.month != month else ""]
        month = week.month
    return json.dumps(named) + "[datum.value]"


DRAWINGS: dict[str, Callable[[Chart], dict[str, Any]]] = {
    "weekly_bars": weekly_bars,
    "stacked_week_share": stacked_week_share,
    "bar_by_name": bar_by_name,
    "completeness_strip": completeness_strip,
}
