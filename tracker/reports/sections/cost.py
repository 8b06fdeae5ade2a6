"""What it cost to keep units open: by school, in all, per visit and per pupil of the term."""

from __future__ import annotations

from typing import Final

import pandas as pd

from tracker.measures import cost
from tracker.measures.cost import COSTS, INCOME, NetCost
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.reports.facts import TermFacts
from tracker.reports.report import Cell, Column, Section, Table
from tracker.reports.rows import beside, counts, words
from tracker.reports.sections.estimates import all_weeks
from tracker.vocabulary import Basis, MoneyKind

PUPIL_TERM: Final = "pupil and term"
INTRO: Final = (
    "Net cost is service, supplies, water and power less what vending and display rent brought in, as it was entered. "
    "Work under a warranty stands apart and is no part of it. A cost without an entry is not recorded, not nothing."
)
EMPTY: Final = "No cost or income was entered for this period."


def cost_section(facts: TermFacts) -> Section:
    """Net cost in all and by school, in the order of their codes."""
    return facts.once("cost", lambda: _section(facts))


def _section(facts: TermFacts) -> Section:
    return Section("cost", "Cost of keeping units open", INTRO, tables=(total_table(facts), schools_table(facts)))


def money(facts: TermFacts) -> pd.DataFrame:
    """Entries of the period with the programme's currency."""
    return facts.days_of(facts.all.money).assign(currency=facts.all.programme.currency)


def kinds(entered: pd.DataFrame) -> tuple[MoneyKind, ...]:
    """Kinds that apply: every cost, and of income and warranty those that were ever entered."""
    there = set(entered["kind"])
    return tuple(kind for kind in MoneyKind if kind in COSTS or kind.value in there)


def total_table(facts: TermFacts) -> Table:
    """Net cost of all schools, per visit and per pupil of the term."""
    rows = money(facts)
    title = "Net cost in all"
    if rows.empty:
        return beside("cost_total", title, (), "", EMPTY)
    found = cost.net_cost(rows, kinds(facts.all.money))
    lines: list[tuple[str, Cell]] = [
        (kind.value.capitalize(), cost.kind_figure(found, kind)) for kind in (*COSTS, *INCOME) if kind in found.amounts
    ]
    net = cost.net_figure(found)
    lines += [("Net cost", net)]
    lines += [("Net cost for each visit", cost.cost_per(found, all_weeks(facts).estimate, "visit"))]
    lines += [("Net cost for each pupil of the term", cost.cost_per(found, pupils(facts), PUPIL_TERM))]
    lines += [("Work under a warranty, apart", cost.kind_figure(found, MoneyKind.WARRANTY))]
    note = "A cost is that of all weeks, so it is divided by the visits estimated for all weeks; its range is theirs."
    return beside("cost_total", title, lines, f"{note} {net.note}".strip())


def pupils(facts: TermFacts, school_id: int | None = None) -> Figure:
    """Pupils of the term: the mean enrolment over the school days, of one school or summed over all."""
    found = _pupils_by_school(facts)
    known = found if school_id is None else {school: found[school] for school in {school_id} & found.keys()}
    expected = len(facts.schools) if school_id is None else 1
    value = sum(known.values()) if len(known) == expected else None
    return Figure(value, "pupils", Basis.COUNTED, used=len(known), expected=expected, records="schools")


def _pupils_by_school(facts: TermFacts) -> dict[int, float]:
    return facts.once("pupils of the term", lambda: _mean_enrolment(facts))


def _mean_enrolment(facts: TermFacts) -> dict[int, float]:
    sums = facts.pupil_days.groupby("school_id", as_index=False)
    rows = rows_of(sums[["pupil_days", "school_days"]].sum())
    return {row.school_id: row.pupil_days / row.school_days for row in rows if row.school_days}


def schools_table(facts: TermFacts) -> Table:
    """Net cost of each school, with what was not recorded there."""
    rows = money(facts)
    places = rows.groupby("school_id").indices
    ever = facts.all.money.groupby("school_id").indices
    cells: list[tuple[Cell, ...]] = []
    for school in facts.schools:
        applies = kinds(facts.all.money.iloc[ever.get(school.id, [])])
        found = cost.net_cost(rows.iloc[places.get(school.id, [])], applies)
        cells.append((school.code, school.name, *_school_cells(facts, found, school.id)))
    return Table(
        "cost_by_school",
        "Net cost by school, in the order of their codes",
        _columns(facts.all.programme.currency),
        tuple(cells) if len(rows) else (),
        "A school whose income is larger than its cost has a net cost below zero.",
        EMPTY,
    )


def _school_cells(facts: TermFacts, found: NetCost, school_id: int) -> tuple[Cell, ...]:
    each = cost.cost_per(found, pupils(facts, school_id), PUPIL_TERM)
    missing = ", ".join(kind.value for kind in found.missing)
    income: Cell = _amount(found.income) if set(INCOME) & set(found.amounts) else "does not apply"
    return _amount(found.costs), income, cost.net_figure(found), each, missing


def _amount(minor: int | None) -> float | None:
    return None if minor is None else float(minor)


def _columns(currency: str) -> tuple[Column, ...]:
    unit = f"minor units of {currency}"
    return (
        words("school", "School"),
        words("name", "Name"),
        counts("costs", "Costs", unit),
        counts("income", "Income", unit),
        counts("net", "Net cost", unit),
        counts("each", "For each pupil of the term", f"{unit} per {PUPIL_TERM}"),
        words("missing", "Not recorded"),
    )
