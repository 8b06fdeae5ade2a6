"""What keeping the units open costs: by school, per visit and pupil; warranties that end; the next term as this one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final

import pandas as pd

from tracker.measures import cost
from tracker.measures.cost import COSTS, INCOME, NetCost
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.records import frames, heads
from tracker.reports.facts import TermFacts, TermLike, gather
from tracker.reports.printing import day, days
from tracker.reports.report import Cell, Report, Section, Table
from tracker.reports.rows import counts, words
from tracker.reports.sections.cost import EMPTY, INTRO, PUPIL_TERM, kinds, money, pupils, total_table
from tracker.reports.sections.use import visits_by
from tracker.vocabulary import Basis, MoneyKind, WorkPaper

YEAR: Final = timedelta(days=365)
YEAR_DAYS: Final = 365
NO_TERM: Final = "No next term is set up. An administrator can add it under Set-up, with its days."
NOTES: Final = (
    "Schools stand in the order of their codes. Funders do not see this page.",
    "A kind of money without an entry is not recorded; the net cost is then too low, or too high for an income.",
)


def build(session: frames.Session, programme_id: int, term: TermLike, as_of: datetime, version: str) -> Report:
    """The page's report.

    Raises:
        LookupError: there is no such programme.
        ValueError: the term has not begun.
    """
    pair = gather(session, programme_id, term, as_of)
    facts, agreed = pair.now, heads.agreements(session, programme_id)
    coming = next((one for one in frames.terms(session, programme_id) if one.first_day > term.last_day), None)
    sections = (
        Section(
            "money",
            "Costs and income of the term",
            INTRO,
            tables=(total_table(facts), kinds_table(facts), each_table(facts)),
        ),
        Section("warranty", "Warranties", tables=(warranty_table(facts, agreed),)),
        Section("next", "Keeping each school open next term", tables=(_next(session, facts, coming, agreed),)),
    )
    title = f"{facts.all.programme.name}: what keeping the units open costs"
    period = (facts.period.first, facts.period.last, facts.term.last_day)
    return Report(
        WorkPaper.OPEN_COSTS,
        title,
        facts.all.programme.name,
        "",
        facts.term.name,
        *period,
        pair.as_of,
        version,
        sections,
        NOTES,
    )


def of_school(facts: TermFacts, school_id: int) -> NetCost:
    """The net cost of one school over the term."""
    ever, rows = facts.all.money, money(facts)
    return cost.net_cost(rows[rows["school_id"] == school_id], kinds(ever[ever["school_id"] == school_id]))


def kinds_table(facts: TermFacts) -> Table:
    """Every kind of money by school, paid service and warranty apart."""
    unit = f"minor units of {facts.all.programme.currency}"
    named = (*COSTS, *INCOME, MoneyKind.WARRANTY)
    titles = {MoneyKind.SERVICE: "Paid service", MoneyKind.WARRANTY: "Under warranty, apart"}
    columns = (
        words("school", "School"),
        *(counts(kind.name.lower(), titles.get(kind, kind.value.capitalize()), unit) for kind in named),
    )
    cells: list[tuple[Cell, ...]] = []
    for school in facts.schools:
        found = of_school(facts, school.id)
        cells.append((school.code, *(_kind(found, kind) for kind in named)))
    return Table("money_by_kind", "Costs and income by school", columns, tuple(cells), empty=EMPTY)


def _kind(found: NetCost, kind: MoneyKind) -> Cell:
    amount = found.amounts.get(kind)
    return "does not apply" if kind not in found.amounts else None if amount is None else float(amount)


def each_table(facts: TermFacts) -> Table:
    """Net cost of each school, for each visit and each pupil of the term."""
    unit, by_school = f"minor units of {facts.all.programme.currency}", visits_by(facts, "school")
    columns = (
        words("school", "School"),
        counts("net", "Net cost", unit),
        counts("visit", "For each visit recorded", f"{unit} per visit"),
        counts("pupil", "For each pupil of the term", f"{unit} per {PUPIL_TERM}"),
        words("missing", "Not recorded"),
    )
    cells: list[tuple[Cell, ...]] = []
    for school in facts.schools:
        found = of_school(facts, school.id)
        seen = by_school.get(school.code, Figure(None, "visits", Basis.COUNTED))
        each = (cost.cost_per(found, seen, "visit"), cost.cost_per(found, pupils(facts, school.id), PUPIL_TERM))
        missing = ", ".join(kind.value for kind in found.missing) or "nothing"
        cells.append((school.code, cost.net_figure(found), *each, missing))
    note = "A visit that was not recorded lowers the number of visits, so the cost for each visit is then too high."
    return Table("cost_for_each", "Net cost by school, for each visit and pupil", columns, tuple(cells), note, EMPTY)


def warranty_table(facts: TermFacts, agreed: Sequence[heads.AgreementHead]) -> Table:
    """Agreements by the end of their warranty: those of the next twelve months first, then later, ended, without."""
    today = facts.period.last

    def order(one: heads.AgreementHead) -> tuple[int, date, str]:
        until = one.warranty_until
        place = 3 if until is None else 2 if until < today else 0 if until <= today + YEAR else 1
        return place, until or date.max, one.code

    codes = facts.codes
    cells = tuple(
        (
            one.code,
            codes.get(one.school_id, "left the programme"),
            one.buyer,
            one.warranty_until or "no warranty",
            _stands(one.warranty_until, today),
            float(one.price_minor),
        )
        for one in sorted(agreed, key=order)
    )
    columns = (
        words("agreement", "Agreement"),
        words("school", "School"),
        words("buyer", "Buyer"),
        words("until", "Warranty until"),
        words("stands", f"On {day(today)}"),
        counts("price", "Agreed price a year", f"minor units of {facts.all.programme.currency}"),
    )
    note = "Service of a unit is paid for from the day after its warranty ends."
    return Table(
        "warranty_ends",
        "When warranties end, the next twelve months first",
        columns,
        cells,
        note,
        "No agreement is on record.",
    )


def _stands(until: date | None, today: date) -> str:
    if until is None:
        return "no warranty"
    return "ended" if until < today else "ends within twelve months" if until <= today + YEAR else "ends later"


def _next(
    session: frames.Session, facts: TermFacts, coming: TermLike | None, agreed: Sequence[heads.AgreementHead]
) -> Table:
    title = "Net cost of keeping each school open next term, if it is like this one"
    if coming is None:
        return Table("next_term", title, (words("school", "School"),), (), "", NO_TERM)
    scope = frames.Scope(facts.all.programme.id, coming.first_day, coming.last_day)
    ahead = _school_days(frames.school_days_ahead(session, scope))
    return next_table(facts, coming, ahead, agreed)


def _school_days(rows: pd.DataFrame) -> dict[int, int]:
    found = rows.groupby("school_id", as_index=False).agg(days=("day", "nunique"))
    return {row.school_id: row.days for row in rows_of(found)}


def next_table(
    facts: TermFacts, coming: TermLike, ahead: dict[int, int], agreed: Sequence[heads.AgreementHead]
) -> Table:
    """This term's net cost for each school day × the school days of the next term, with what it rests on.

    Args:
        ahead: school_id → school days of the coming term.
    """
    unit = f"minor units of {facts.all.programme.currency}"
    columns = (
        words("school", "School"),
        counts("each", "Net cost for each school day so far", unit),
        counts("days", "School days next term", "school days"),
        counts("net", "Net cost next term", unit),
        counts("after", "Days after a warranty's end", "days"),
        counts("service", "Agreed price of those days, apart", unit),
    )
    held = _school_days(facts.school_days)
    cells = tuple(
        (
            school.code,
            *_ahead(of_school(facts, school.id), held.get(school.id, 0), ahead.get(school.id, 0)),
            *_after(coming, [one for one in agreed if one.school_id == school.id]),
        )
        for school in facts.schools
    )
    note = (
        f"Next term: {coming.name}, {days(coming.first_day, coming.last_day)}. It rests on the money entered for "
        "this term, and is modelled. The agreed price of the days after a warranty's end is a year's price ÷ 365 for "
        "each day; it is not added, for some of it may be in the net cost already."
    )
    return Table(
        "next_term", "Net cost of keeping each school open next term, if it is like this one", columns, cells, note
    )


def _ahead(found: NetCost, held: int, ahead: int) -> tuple[Cell, ...]:
    now = cost.net_figure(found)
    if now.value is None or not held:
        return (None, ahead, None)
    each, rest = now.value / held, (now.used, now.expected, now.records)
    unit = now.unit
    return (
        Figure(each, unit, Basis.MODELLED, None, None, *rest, note=now.note),
        ahead,
        Figure(each * ahead, unit, Basis.MODELLED, None, None, *rest, note=now.note) if ahead else None,
    )


def _after(coming: TermLike, agreed: Sequence[heads.AgreementHead]) -> tuple[Cell, ...]:
    """Calendar days of the coming term after warranties end, and what the agreements ask for them."""
    ending = [(days_after(coming, one.warranty_until), one.price_minor) for one in agreed if one.warranty_until]
    if not ending:
        return "no warranty", "no warranty"
    return max(count for count, _ in ending), sum(count * price / YEAR_DAYS for count, price in ending)


def days_after(coming: TermLike, until: date) -> int:
    """Calendar days of a term that lie after a day.

    >>> from types import SimpleNamespace
    >>> term = SimpleNamespace(first_day=date(2026, 1, 12), last_day=date(2026, 1, 23))
    >>> days_after(term, date(2026, 1, 20)), days_after(term, date(2025, 1, 1)), days_after(term, date(2026, 1, 23))
    (3, 12, 0)
    """
    first = max(coming.first_day, until + timedelta(days=1))
    return max((coming.last_day - first).days + 1, 0)
