"""Menstrual supplies: given out and how, days sold out, cover, and what to bring to whom."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pandas as pd

from tracker.measures import supplies
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.measures.reorder import weeks_of_cover
from tracker.records.frames import TargetHead
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.report import Cell, Chart, Section, Table
from tracker.reports.rows import counts, name_rows, parts_of, weekly_chart, words
from tracker.vocabulary import Basis, GivenWay

NAPKINS = "napkins"
NO_RECORD = "not recorded"


def supplies_section(
    pair: Pair, targets: dict[str, TargetHead], deeper: Sequence[Table], *, one_school: bool
) -> Section:
    """Headlines, how napkins were given, by week, cover (of the programme), and the tables that go deeper."""
    facts = pair.now
    charts = [weekly_chart(facts, "given_week", "Given out by machines", given_by_week(facts), NAPKINS)]
    tables = [ways_table(facts), machines_table(facts), *deeper]
    if not one_school:
        charts.append(cover_chart(facts))
    return Section(
        "supplies",
        "Menstrual supplies",
        "Given out is what left the machines. It is no count of girls, for girls also bring their own.",
        figures.lines(figures.SUPPLIES, pair, targets),
        tuple(tables),
        tuple(charts),
    )


def given_by_week(facts: TermFacts) -> dict[date, Figure]:
    """Given out by machines, by week."""
    used = facts.given["used"] == 1
    rows = facts.given.assign(known=facts.given["given_out"].where(used), basis=facts.given["basis"].where(used, ""))
    table = rows.groupby("week", as_index=False).agg(
        value=("known", "sum"), used=("used", "sum"), expected=("expected", "sum"), basis=("basis", "max")
    )
    return {
        row.week.date(): Figure(
            float(row.value) if row.used else None,
            NAPKINS,
            Basis(
                row.basis or "counted"
            ),  # "counted" sorts before "modelled", the only two there are: the last is the weaker
            used=int(row.used),
            expected=int(row.expected),
            records="machine-weeks",
            about_people=True,
        )
        for row in rows_of(table)
    }


def ways_table(facts: TermFacts) -> Table:
    """Napkins given out by how they were given: by machine sold or free, and by hand from the cupboard."""
    hows = facts.all.given_how.dropna(subset=["unit_id"]).drop_duplicates("unit_id", keep="last")
    ways = dict(zip(hows["unit_id"], hows["way"], strict=True))
    named = facts.given.assign(way=[ways.get(unit, NO_RECORD) for unit in facts.given["unit_id"]])
    rows: list[tuple[Cell, ...]] = [
        (str(way), supplies.given_out_total(part)) for way, part in named.groupby("way", sort=True)
    ]
    rows.append((f"{GivenWay.HANDED_OUT.value} from the cupboard", handed_out(facts)))
    columns = (words("way", "How"), counts("given", "Napkins given out", NAPKINS))
    return Table("given_by_way", "How napkins were given", columns, tuple(rows))


def handed_out(facts: TermFacts) -> Figure:
    """Napkins that were written down as given out by hand."""
    rows = facts.weeks_of(facts.all.handed_out)
    expected = len(facts.occasions)
    if rows.empty:
        return Figure(None, NAPKINS, Basis.COUNTED, expected=expected, about_people=True)
    return Figure(
        float(rows["pieces"].sum()),
        NAPKINS,
        Basis.COUNTED,
        used=len(rows),
        expected=expected,
        about_people=True,
        parts=parts_of(rows, "pieces"),
    )


def machines_table(facts: TermFacts) -> Table:
    """Days sold out by machine, in the order of their codes."""
    names = facts.units.set_index("unit_id")["unit"].to_dict()
    days = ["sold_out_days", "asked_days", "school_days"]
    weeks = facts.machine_weeks.groupby(["school", "unit_id", "week"], as_index=False)[days].max()
    table = weeks.groupby(["school", "unit_id"], as_index=False)[days].sum(min_count=1)
    rows = [(row.school, names.get(row.unit_id, str(row.unit_id)), _sold_out(row)) for row in rows_of(table)]
    columns = (
        words("school", "School"),
        words("machine", "Machine"),
        counts("sold_out", "Days sold out", "machine days"),
    )
    return Table(
        "sold_out_by_machine", "Days sold out by machine", columns, tuple(rows), empty="No machine is on record."
    )


def _sold_out(row: Any) -> Figure:
    """Sums of one machine as a figure, as ``supplies.days_sold_out`` makes it."""
    asked, due = (0 if pd.isna(days) else int(days) for days in (row.asked_days, row.school_days))
    value = None if not asked or pd.isna(row.sold_out_days) else float(row.sold_out_days)
    bounded = value is not None and asked < due
    return Figure(
        value,
        "machine days",
        Basis.COUNTED,
        low=value if bounded else None,
        high=value + due - asked if bounded and value is not None else None,
        used=asked if value is not None else 0,
        expected=due,
        records="machine days",
        note=supplies.SOLD_OUT_RANGE if bounded else "",
    )


def cover_of(row: Any) -> float | None:
    """School weeks that a school's stock lasts; None where stock or demand is not recorded."""
    if pd.isna(row.on_hand) or pd.isna(row.per_day) or pd.isna(row.days_per_week):
        return None
    return weeks_of_cover(float(row.on_hand), float(row.per_day), float(row.days_per_week))


def cover_chart(facts: TermFacts) -> Chart:
    """School weeks that the stock lasts, by school in the order of their codes."""
    shown = [
        (
            facts.codes.get(row.school_id, str(row.school_id)),
            Figure(cover_of(row), "weeks", Basis.MODELLED, records="schools"),
        )
        for row in rows_of(facts.cover)
    ]
    short = sum(1 for _, figure in shown if figure.value is not None and figure.value < 1)
    finding = f"At {short} of {len(shown)} schools the stock lasts less than a school week."
    columns = (words("school", "School"), counts("cover", "School weeks left", "weeks"))
    table = Table("cover_by_school", "Cover by school", columns, tuple(shown))
    about = "One bar for each school: school weeks that the stock lasts at the demand of this term."
    return Chart("cover_chart", "bar_by_name", finding, about, name_rows(shown), table)
