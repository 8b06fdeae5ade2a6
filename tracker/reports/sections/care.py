"""Disposal of used supplies; lessons; service levels."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from tracker.measures import disposal, ladders, sessions
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.records.frames import TargetHead
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import counts, optional_day, words
from tracker.reports.sections.burning import burning_tables
from tracker.reports.sections.learning import knowledge_table, uptake_table
from tracker.vocabulary import Basis, Sex

Answers = Mapping[str, str]
DATES_NOTE = "Dates as they were entered. A route with every paper may still be refused by local rules."

COUNTED_NOTE = "Counted in the week sheets that were received."


def disposal_section(pair: Pair, targets: dict[str, TargetHead]) -> Section:
    """Days with a route, burns, and the papers of each route."""
    facts = pair.now
    return Section(
        "disposal",
        "Disposal of used supplies",
        "A day counts when a permit was in force and, for burning, a trained operator was named and the incinerator "
        "was seen working. Permits, training and checks follow local rules; no figure here says that a route is safe.",
        figures.lines(figures.DISPOSAL, pair, targets),
        (routes_table(facts), *burning_tables(facts)),
        (),
        ("incinerator", "bins"),
    )


def routes_table(facts: TermFacts) -> Table:
    """Routes in use with their papers and dates, and days that stood by school."""
    first, last = pd.Timestamp(facts.period.first), pd.Timestamp(facts.period.last)
    rows = facts.all.routes
    rows = rows[(rows["from_day"] <= last) & (rows["until_day"].isna() | (rows["until_day"] >= first))]
    by_school = {school: disposal.route_days(part).days for school, part in facts.route_states.groupby("school_id")}
    cells: list[tuple[Cell, ...]] = [
        (
            facts.codes.get(row.school_id, ""),
            row.kind,
            optional_day(row.permit_until),
            optional_day(row.operator_until),
            optional_day(row.siting_checked),
            optional_day(row.flue_checked),
            row.ash_route or None,
            by_school.get(row.school_id),
        )
        for row in rows_of(rows)
        if row.school_id in facts.codes
    ]
    columns = (
        words("school", "School"),
        words("route", "Route"),
        words("permit", "Permit until"),
        words("operator", "Trained operator until"),
        words("siting", "Siting checked"),
        words("flue", "Flue checked"),
        words("ash", "Ash goes to"),
        counts("days", "Days of the school that stood", "school days"),
    )
    return Table("routes", "Routes and their papers", columns, tuple(cells), DATES_NOTE, "No route is on record.")


def lessons_section(pair: Pair, targets: dict[str, TargetHead], one_school: bool) -> Section:
    """Lessons held, pupils reached, attendances by sex, answers before and after; for the programme also uptake."""
    facts = pair.now
    uptake = () if one_school else (uptake_table(facts),)
    return Section(
        "lessons",
        "Lessons",
        "No pupil is recorded, only how many came. The pupils reached therefore lie between two bounds.",
        figures.lines(figures.LESSONS, pair, targets),
        (topics_table(facts), sexes_table(facts), knowledge_table(facts), *uptake),
    )


def topics_table(facts: TermFacts) -> Table:
    """Lessons by topic."""
    cells: list[tuple[Cell, ...]] = []
    for topic, rows in facts.sessions.groupby("topic", sort=True):
        came = sessions.attendances(rows, facts.attendance)
        cells.append((str(topic), len(rows), sessions.minutes_taught(rows), came))
    columns = (
        words("topic", "Topic"),
        counts("held", "Lessons", "sessions"),
        counts("minutes", "Minutes", "min"),
        counts("attendances", "Attendances", "attendances"),
    )
    return Table("lessons_by_topic", "Lessons by topic", columns, tuple(cells), COUNTED_NOTE, "No lesson was recorded.")


def sexes_table(facts: TermFacts) -> Table:
    """Pupils reached and attendances of girls and boys."""
    cells: list[tuple[Cell, ...]] = []
    for sex in Sex:
        reached = sessions.pupils_reached(
            facts.sessions, facts.attendance, facts.all.enrolment, sex, bounds=facts.reach
        )
        came = sessions.attendances(facts.sessions, facts.attendance, sex)
        cells.append((sex.value, reached, came))
    columns = (
        words("sex", "Pupils"),
        counts("reached", "Pupils reached, at least", "pupils"),
        counts("attendances", "Attendances", "attendances"),
    )
    return Table("reached_by_sex", "Girls and boys", columns, tuple(cells))


def levels_table(facts: TermFacts, answers: Mapping[int, Answers], one_school: bool) -> Table:
    """Published service ladders, from the term's inspection: each school's levels, or schools by level."""
    levels = {school.id: levels_of(answers.get(school.id, {})) for school in facts.schools}
    columns = [words("ladder", "Ladder")]
    rows: tuple[tuple[Cell, ...], ...]
    if one_school:
        columns.append(words("level", "Level"))
        rows = tuple((ladder, level.value) for found in levels.values() for ladder, level in found.items())
    else:
        columns += [counts(level.name.lower(), f"Schools: {level.value}", "schools") for level in ladders.Level]
        rows = tuple(
            (ladder, *(sum(found[ladder] is level for found in levels.values()) for level in ladders.Level))
            for ladder in levels_of({})
        )
    note = (
        "Service ladders for schools of the WHO/UNICEF Joint Monitoring Programme, from the answers of this term's "
        "inspection. A missing answer is not a no; where it decides, the school is not classified."
    )
    return Table("service_levels", "Service levels at the inspection", tuple(columns), rows, note)


def levels_of(answers: Answers) -> dict[str, ladders.Level]:
    """The three ladders of one school from its inspection answers.

    Questions: water_source, toilet_improved (improved, unimproved or none; yes is improved), water_available,
    single_sex, handwash_facility, handwash_water, handwash_soap (yes or no), usable_girls, usable_boys (cabins).

    >>> found = levels_of({"water_source": "improved", "water_available": "no"})
    >>> found["drinking water"].value, found["hygiene"].value
    ('limited', 'not classified')
    """
    usable = [number_of(answers.get(name)) for name in ("usable_girls", "usable_boys")]
    enough = False if 0 in usable else None if None in usable else True
    return {
        "drinking water": ladders.drinking_water_level(
            facility(answers.get("water_source")), yes(answers.get("water_available"))
        ),
        "sanitation": ladders.sanitation_level(
            facility(answers.get("toilet_improved")), yes(answers.get("single_sex")), enough
        ),
        "hygiene": ladders.hygiene_level(
            yes(answers.get("handwash_facility")), yes(answers.get("handwash_water")), yes(answers.get("handwash_soap"))
        ),
    }


def yes(answer: str | None) -> bool | None:
    """Yes, no, or no answer."""
    return {"yes": True, "no": False}.get(answer or "")


def number_of(answer: str | None) -> int | None:
    """A whole number, or no answer."""
    return int(answer) if answer and answer.isdigit() else None


def facility(answer: str | None) -> ladders.Facility | None:
    """Improved, unimproved or none; "yes" and "no" answer the question whether it is improved."""
    by_word = {"yes": ladders.Facility.IMPROVED, "no": ladders.Facility.UNIMPROVED}
    by_word |= {str(kind.value): kind for kind in ladders.Facility}
    return by_word.get(answer or "")


def school_count(value: int, of: int) -> Figure:
    """So many of so many schools."""
    return Figure(float(value), "schools", Basis.COUNTED, used=of, expected=of, records="schools")
