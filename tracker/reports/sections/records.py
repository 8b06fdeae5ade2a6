"""How complete the records are; what happened in short; how to read a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tracker.measures import quality
from tracker.measures.dials import rows_of
from tracker.records.frames import TargetHead
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.printing import NO_SCHOOL
from tracker.reports.report import Cell, Chart, Line, Section, Table
from tracker.reports.rows import count_share, counts, sheet_state, words
from tracker.reports.sections.agreement import meters_table, records_agree_table
from tracker.reports.targets import verdict_words

SHORT_KEYS = (
    "visits",
    "water_taken_l",
    "less_than_cistern_l",
    "availability_share",
    "given_out",
    "sold_out_days",
    "route_days_share",
    "pupils_reached",
    "completeness_share",
)
NOTES = (
    "Every figure stands with how it came about: counted, metered, sampled (counted at some breaks and scaled up to "
    "the breaks of that week), modelled (worked out from counts and a rule) or estimated.",
    "A week that was not reported stays not reported. It adds nothing and is never filled in, so a total leaves out "
    "what that week held, and completeness says how many records are there.",
    "Ranges are 95 % intervals where a figure is an estimate, and bounds where the note beside the figure says so.",
    "A running term is reported to the day of the report; its weekly records are those of weeks that are over.",
    "Uses and supplies are counted, not people. Nothing here shows what came of them for attendance, health or "
    "learning.",
    "Definitions, formulas and sources stand in docs/measures.md, which comes with the program.",
)


def records_section(pair: Pair, targets: dict[str, TargetHead], one_school: bool) -> Section:
    """Completeness, timeliness, queries, whether records agree, and what became of each week's sheet."""
    facts = pair.now
    tables = () if one_school else (sheets_by_school(facts), records_agree_table(pair, named=True), meters_table(facts))
    return Section(
        "records",
        "How complete the records are",
        "A week sheet is expected for every week in which the school had school. All other figures rest on these "
        "sheets.",
        figures.lines(figures.RECORDS, pair, targets),
        tables,
        (strip(facts),),
    )


def sheets_by_school(facts: TermFacts) -> Table:
    """Sheets received and on time by school, in the order of their codes."""
    table = {row.school_id: row for row in rows_of(quality.sheet_table(facts.sheets, facts.as_of, "school_id"))}
    cells: list[tuple[Cell, ...]] = []
    for school in facts.schools:
        row = table.get(school.id)
        if row is None:
            cells.append((school.code, school.name, None, None))
            continue
        shares = (count_share(part, row.received, row.expected) for part in (row.received, row.on_time))
        cells.append((school.code, school.name, *shares))
    columns = (
        words("school", "School"),
        words("name", "Name"),
        counts("received", "Received", "share"),
        counts("on_time", "On time", "share"),
    )
    return Table("sheets_by_school", "Week sheets by school", columns, tuple(cells))


def strip(facts: TermFacts) -> Chart:
    """What became of each school's sheet in each week, a square each."""
    states = {(row.school_id, row.week.date()): sheet_state(row, facts.as_of) for row in rows_of(facts.all.sheets)}
    rows: tuple[dict[str, Any], ...] = tuple(
        {"school": school.code, "week": week, "state": states.get((school.id, week), NO_SCHOOL)}
        for school in facts.schools
        for week in facts.weeks
    )
    due = figures.of(facts, "completeness_share")
    finding = f"{due.used} of {due.expected} week sheets that were due have been received."
    columns = (words("school", "School"), words("week", "Week from"), words("state", "Week sheet"))
    cells = tuple((row["school"], row["week"], row["state"]) for row in rows)
    table = Table("sheets_by_week", "Week sheets by school and week", columns, cells)
    about = "A square for each school and week: what became of its sheet, or why there is none."
    return Chart("completeness_chart", "completeness_strip", finding, about, rows, table)


def short_section(sections: Sequence[Section], title: str = "What happened, in short") -> Section:
    """The main headlines once more, this term beside last term and target, in one table."""
    known = {line.key: line for section in sections for line in section.lines}
    chosen = [known[key] for key in SHORT_KEYS if key in known]
    year = any(line.year_before is not None for line in chosen)
    columns = (
        words("what", "What"),
        counts("now", "This term"),
        counts("last", "Last term"),
        *([counts("year", "Same term last year")] if year else []),
        words("target", "Target"),
    )
    cells = tuple(
        (
            line.label,
            line.figure,
            line.last_term or "no last term on record",
            *([line.year_before] if year else []),
            target_words(line),
        )
        for line in chosen
    )
    table = Table("in_short", "This term, last term, target", columns, cells)
    return Section("short", title, tables=(table,))


def target_words(line: Line) -> str:
    """A headline's target in words, and whether it was reached."""
    return verdict_words(line) or "no target was set"
