"""One school's term, for the school and its officer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import partial

import pandas as pd

from tracker.measures.calendar import week_of
from tracker.measures.dials import rows_of
from tracker.records import frames
from tracker.reports.facts import Pair, TermFacts, TermLike, gather
from tracker.reports.made_of import made_of
from tracker.reports.printing import NOT_REPORTED, day, days, moment, number
from tracker.reports.report import Report, Section, Table
from tracker.reports.rows import optional_day, sentences
from tracker.reports.sections.care import disposal_section, lessons_section, levels_table
from tracker.reports.sections.crowding import crowding_section
from tracker.reports.sections.demand import demand_table, need_tables
from tracker.reports.sections.learning import menstrual_table
from tracker.reports.sections.power import power_sections
from tracker.reports.sections.records import NOTES, records_section, short_section, strip
from tracker.reports.sections.stock import stock_tables
from tracker.reports.sections.supplies import cover_of, supplies_section
from tracker.reports.sections.tanks import tanks_sections
from tracker.reports.sections.use import visits_section, water_section
from tracker.reports.sections.working import working_section
from tracker.vocabulary import ReportKind

SOON = timedelta(days=60)  # papers that end within so many days are named


def build(session: frames.Session, school_id: int, term: TermLike, as_of: datetime, code_version: str) -> Report:
    """The school term report.

    Args:
        term: a term of the school's programme, as a row or a head.
        as_of: the report's instant (aware); a running term is reported to that day, an ended one to its last.
    Raises:
        LookupError: there is no such school, or it was not in the programme in this term.
        ValueError: the term has not begun.
    """
    programme_id = frames.programme_of_school(session, school_id)
    pair = gather(session, programme_id, term, as_of, (school_id,))
    facts = pair.now
    if not facts.schools:
        raise LookupError(f"school {school_id} was not in the programme in term {term.code}")
    scope = frames.Scope(programme_id, facts.period.first, facts.period.last, (school_id,))
    answers = frames.inspection_answers(session, scope, term.id)
    sections = _sections(pair)
    units = next(place for place, section in enumerate(sections) if section.key == "units")
    items = menstrual_table(facts, answers, one_school=True)
    sections[units] = with_tables(sections[units], levels_table(facts, answers, one_school=True), *items)
    whole = (short_section(sections), *sections, next_section(facts))
    school = facts.schools[0]
    title = f"{school.name}: term report"
    return report_of(pair, ReportKind.SCHOOL_TERM, title, whole, scope=school.code, code_version=code_version)


def _sections(pair: Pair) -> list[Section]:
    # Targets are the programme's; a single school has none of its own.
    deeper = (demand_table(pair.now), *need_tables(pair.now), *stock_tables(pair.now, one_school=True))
    return [
        visits_section(pair, {}, one_school=True),
        crowding_section(pair.now, one_school=True),
        water_section(pair, {}, one_school=True),
        *tanks_sections(pair.now, one_school=True),
        *power_sections(pair.now),
        working_section(pair, {}, one_school=True),
        supplies_section(pair, {}, deeper, one_school=True),
        disposal_section(pair, {}),
        lessons_section(pair, {}, one_school=True),
        records_section(pair, {}, one_school=True),
    ]


def with_tables(section: Section, *tables: Table) -> Section:
    """The same section with more tables at its end."""
    return replace(section, tables=(*section.tables, *tables))


def report_of(
    pair: Pair,
    kind: ReportKind,
    title: str,
    sections: tuple[Section, ...],
    *,
    code_version: str,
    scope: str = "",
    notes: tuple[str, ...] = (),
) -> Report:
    """A report's frame around its sections; every report ends with the same notes on how to read it, and its own."""
    facts = pair.now
    return Report(
        kind,
        title,
        facts.all.programme.name,
        scope,
        facts.term.name,
        facts.period.first,
        facts.period.last,
        facts.term.last_day,
        pair.as_of,
        code_version,
        sections,
        (*NOTES, year_note(pair), *notes),
        made_of=partial(made_of, facts),
    )


def year_note(pair: Pair) -> str:
    """Which schools the same term last year had, or that there is none."""
    year, now = pair.year, {school.id for school in pair.now.schools}
    if year is None:
        return "The records hold no same term of last year beside which this term could stand."
    then = {school.id for school in year.schools}
    both = number(len(now & then))
    return (
        f"The same term last year is {year.term.name}, {days(year.period.first, year.period.last)}: "
        f"{number(len(then))} of its schools are on record, {both} of this term's {number(len(now))} among them."
    )


def next_section(facts: TermFacts) -> Section:
    """What the school can do next, from the records: one plain sentence each."""
    lines = [*_silent_weeks(facts), *_open_outages(facts), *_papers(facts), *_stock(facts), *_queries(facts)]
    table = sentences("next_steps", "Next steps", lines, "Nothing is waiting for the school in these records.")
    return Section("next", "What the school can do next", tables=(table,))


def _silent_weeks(facts: TermFacts) -> Iterator[str]:
    for row in strip(facts).rows:
        if row["state"] == NOT_REPORTED:
            yield f"Send the week sheet for the week from {day(row['week'])}; it can still be sent."


def _open_outages(facts: TermFacts) -> Iterator[str]:
    rows = facts.outages[facts.outages["end"].isna()]
    names = facts.units.set_index("unit_id")["unit"].to_dict()
    for row in rows_of(rows.sort_values("start")):
        if row.unit_id in names:
            since = moment(row.start.to_pydatetime(), facts.all.programme.zone)
            out = f"Unit {names[row.unit_id]} is recorded as out of service ({row.cause}) since {since}."
            yield f"{out} If it works again, say so in the next week sheet."


def _papers(facts: TermFacts) -> Iterator[str]:
    last = facts.period.last
    rows = facts.all.routes
    rows = rows[(rows["until_day"].isna() | (rows["until_day"] > pd.Timestamp(last)))]
    for row in rows_of(rows):
        papers: tuple[tuple[str, date | None], ...] = (
            ("The permit", optional_day(row.permit_until)),
            ("The operator's training", optional_day(row.operator_until)),
        )
        for paper, until in papers[: 2 if row.kind == "burn" else 1]:
            if until is None:
                yield f"{paper} for the route {row.kind} is not on record. Ask the officer."
            elif until < last + SOON:
                ends = "ended" if until < last else "ends"
                yield f"{paper} for the route {row.kind} {ends} on {day(until)}. Ask the officer in good time."


def _stock(facts: TermFacts) -> Iterator[str]:
    for row in rows_of(facts.cover):
        weeks = cover_of(row)
        if weeks is not None and weeks < 2:
            yield f"About {weeks:.1f} school weeks of napkins are left. Count the cupboard and tell the officer."
        if pd.isna(row.on_hand):
            yield "Stock of napkins is not recorded. Count the machines and the cupboard in the next week sheet."


def _queries(facts: TermFacts) -> Iterator[str]:
    waiting = facts.queries[facts.queries["open"]]
    for week in sorted(set(waiting["week"])):
        yield f"Answer the query about the week from {day(week_of(week.date(), facts.all.programme.first_weekday))}."
