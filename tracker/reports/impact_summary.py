"""What the term did, for whoever pays: groups only, small counts withheld, what went wrong, how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import pandas as pd

from tracker.measures import uptime
from tracker.measures.dials import rows_of
from tracker.measures.figure import add
from tracker.records import frames
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts, TermLike, gather
from tracker.reports.leaving import protected
from tracker.reports.printing import amount, number
from tracker.reports.report import Cell, Chart, Report, Section, Table
from tracker.reports.rows import counts, sentences, share_of, weekly_chart, words
from tracker.reports.school_term import report_of
from tracker.reports.sections import care, working
from tracker.reports.sections.agreement import records_agree_table
from tracker.reports.sections.demand import need_tables
from tracker.reports.sections.estimates import visits_estimate_table
from tracker.reports.sections.evidence import checked_section, checked_sentence, grants_sections
from tracker.reports.sections.records import short_section, strip
from tracker.reports.sections.use import visits_by, water_chart
from tracker.reports.withhold import area_groups
from tracker.vocabulary import Cause, ReportKind, Sex

GROUPS_ONLY = (
    "Schools are shown in groups of three or more; counts of pupils and of supplies they took from 1 to {most} are "
    "withheld, and others with them where they would give one away. Zero is shown."
)
NOBODY_CHECKED = "Nobody outside the programme has checked these records by a second count."
NO_GROUP = "There are too few schools in an area to show areas apart."


def build(session: frames.Session, programme_id: int, term: TermLike, as_of: datetime, code_version: str) -> Report:
    """The impact summary: this term, last term and target beside each other, programme and areas only.

    Args:
        as_of: the report's instant (aware); a running term is reported to that day, an ended one to its last.
    Raises:
        LookupError: there is no such programme.
        ValueError: the term has not begun.
    """
    pair = gather(session, programme_id, term, as_of)
    facts = pair.now
    targets = frames.targets(session, programme_id, term.id)
    threshold = facts.settings["small_count_min"]
    scope = frames.Scope(programme_id, facts.period.first, facts.period.last)
    checks = frames.spot_checks(session, term.id)
    groups = area_groups([(school.code, school.area_name) for school in facts.schools])
    sections = [
        *(_use(pair, targets, groups)),
        _units(pair, targets, groups),
        *(_people(pair, targets, groups)),
        *grants_sections(facts, frames.grant_shares(session, scope), joined=True),
        _records(pair, targets),
        checked_section(facts, checks, by_school=False),
    ]
    whole = (short_section(sections), *sections, wrong_section(facts), sure_section(facts, checks))
    notes = (GROUPS_ONLY.format(most=threshold - 1),)
    title = f"{facts.all.programme.name}: impact summary"
    report = report_of(pair, ReportKind.IMPACT, title, whole, code_version=code_version, notes=notes)
    return protected(report, threshold)


Targets = dict[str, frames.TargetHead]
Groups = dict[str, str]


def _use(pair: Pair, targets: Targets, groups: Groups) -> tuple[Section, Section]:
    facts = pair.now
    visits = Section(
        "visits",
        "Visits",
        "A visit is one use of a cabin or urinal by one person.",
        figures.lines(figures.VISITS, pair, targets),
        (visits_estimate_table(facts), visits_by_area(facts, groups), care_table(facts)),
        (weekly_chart(facts, "visits_week", "Visits", visits_by(facts, "week"), "visits"),),
    )
    kept = [headline for headline in figures.WATER if headline.key != "unexplained_water_l"]
    water = Section(
        "water",
        "Water",
        "Litres are worked out from visits and from what each fitting takes. The comparison is a convention: the same "
        "visits through a cistern.",
        figures.lines(kept, pair, targets),
        (),
        (water_chart(facts),),
    )
    return visits, water


def care_table(facts: TermFacts) -> Table:
    """Schools that took part, and those that sent at least one week sheet."""
    sent = set(facts.sheets.loc[facts.sheets["version"] > 0, "school_id"])
    reporting = care.school_count(len([school for school in facts.schools if school.id in sent]), len(facts.schools))
    rows: tuple[tuple[Cell, ...], ...] = (
        ("Schools in the programme", len(facts.schools)),
        ("Of them reporting", reporting),
    )
    return Table("schools", "Schools", (words("what", "What"), counts("schools", "Schools", "schools")), rows)


def visits_by_area(facts: TermFacts, groups: Groups) -> Table:
    """Visits of each group of schools."""
    by_school = visits_by(facts, "school")
    rows: list[tuple[Cell, ...]] = []
    for name in sorted(set(groups.values())):
        mine = [by_school[code] for code, group in groups.items() if group == name and code in by_school]
        if mine:
            rows.append((name, add(mine)))
    columns = (words("area", "Area"), counts("visits", "Visits", "visits"))
    return Table("visits_by_area", "Visits by area", columns, tuple(rows), empty=NO_GROUP)


def _units(pair: Pair, targets: Targets, groups: Groups) -> Section:
    facts = pair.now
    return Section(
        "units",
        "Working units",
        "Only school time counts, and only days on which somebody looked. The range says what the other days allow.",
        figures.lines(figures.UNITS, pair, targets),
        (working.kind_table(facts), availability_by_area(facts, groups)),
        (working.cause_chart(facts),),
    )


def availability_by_area(facts: TermFacts, groups: Groups) -> Table:
    """Usable school time of cabins and urinals of each group of schools."""
    days = facts.cabin_days.assign(area=facts.cabin_days["school"].map(groups))
    table = uptime.availability_by(days.dropna(subset=["area"]), ["area"])
    rows: tuple[tuple[Cell, ...], ...] = tuple((str(row.area), share_of(row)) for row in rows_of(table))
    columns = (words("area", "Area"), counts("availability", "Usable school time", "share"))
    return Table("availability_by_area", "Usable school time by area", columns, rows, empty=NO_GROUP)


def _people(pair: Pair, targets: Targets, groups: Groups) -> tuple[Section, ...]:
    facts = pair.now
    supply = [headline for headline in figures.SUPPLIES if headline.key != "cover_weeks"]
    supplies = Section(
        "supplies",
        "Menstrual supplies",
        "Given out is what left the machines. It is no count of girls, for girls also bring their own.",
        figures.lines(supply, pair, targets),
        (given_by_area(facts, groups), *need_tables(facts)),
    )
    disposal = replace(care.disposal_section(pair, targets), tables=(), cautions=())
    lessons = Section(
        "lessons",
        "Lessons",
        "No pupil is recorded, only how many came. The pupils reached therefore lie between two bounds.",
        figures.lines(figures.LESSONS, pair, targets),
        (attendances_by_sex(facts),),
    )
    return supplies, disposal, lessons


def given_by_area(facts: TermFacts, groups: Groups) -> Table:
    """Napkins given out by machines in each group of schools."""
    rows = facts.given[facts.given["used"] == 1]
    named = rows.assign(area=rows["school"].map(groups)).dropna(subset=["area"])
    sums = named.groupby("area")["given_out"].sum()
    names = sorted(set(groups.values()))
    values = [int(sums[name]) if name in sums.index else None for name in names]
    cells = tuple(zip(names, values, strict=True))
    columns = (words("area", "Area"), counts("given", "Given out by machines", "napkins"))
    note = (
        "Counted by the machines' counters, or worked out from what was put in and what was left; reported weeks only."
    )
    return Table("given_by_area", "Given out by area", columns, cells, note, NO_GROUP)


def attendances_by_sex(facts: TermFacts) -> Table:
    """Attendances of girls and of boys."""
    known = facts.attendance.dropna(subset=["present"])
    sums = known.groupby("sex")["present"].sum()
    values = [int(sums[sex]) if sex in sums.index else None for sex in Sex]
    cells = tuple(zip((sex.value for sex in Sex), values, strict=True))
    columns = (words("sex", "Pupils"), counts("attendances", "Attendances", "attendances"))
    return Table("attendances_by_sex", "Attendances of girls and boys", columns, cells)


def _records(pair: Pair, targets: Targets) -> Section:
    return Section(
        "records",
        "How complete the records are",
        "A week sheet is expected for every week in which a school had school. Every other figure rests on them.",
        figures.lines(figures.RECORDS, pair, targets),
        (records_agree_table(pair, named=False),),
        (sheets_chart(pair.now),),
    )


def sheets_chart(facts: TermFacts) -> Chart:
    """Week sheets by week and by what became of them; no school is named."""
    found = strip(facts)
    tally: dict[tuple[object, str], int] = {}
    for row in found.rows:
        if row["state"] != "no school":
            key = (row["week"], row["state"])
            tally[key] = tally.get(key, 0) + 1
    rows = tuple({"week": week, "part": state, "value": tally[week, state]} for week, state in sorted(tally, key=str))
    columns = (words("week", "Week from"), words("state", "Week sheets"), counts("value", "Schools", "schools"))
    cells = tuple((row["week"], row["part"], row["value"]) for row in rows)
    table = Table("sheets_by_state", "Week sheets by week", columns, cells)  # type: ignore[arg-type]
    about = "One bar for each week: schools whose sheet came on time, came late, is queried or was not reported."
    return Chart("sheets_chart", "stacked_week_share", found.title, about, rows, table)


def wrong_section(facts: TermFacts) -> Section:
    """What went wrong, in counts and plain sentences; no school is named."""
    return Section("wrong", "What went wrong", tables=(sentences("wrong", "Counts of the term", _wrongs(facts), ""),))


def _wrongs(facts: TermFacts) -> Sequence[str]:
    completeness, promise = (figures.of(facts, key) for key in ("completeness_share", "promise_kept_share"))
    lost, sold, routes = (figures.of(facts, key) for key in ("breaks_lost", "sold_out_days", "route_days"))
    late = promise.expected - round((promise.value or 0.0) * promise.expected)
    low = facts.outages[facts.outages["cause"] == Cause.LOW_WATER.value]
    found = [
        f"{number(completeness.expected - completeness.used)} of {number(completeness.expected)} week sheets that were "
        "due have not come.",
        f"Outages that lasted longer than promised: {number(late)} of {number(promise.expected)}.",
        f"Outages for low water, one for each unit: {number(len(low))}.",
        f"Outages for a danger, one for each unit: {number(int(facts.outages['dangerous'].sum()))}.",
    ]
    if lost.value is not None:
        cases = f"{number(lost.value)} of {number(lost.used)} cases looked at"
        found.append(f"In {cases}, a cabin or urinal was out when a break began.")
    if sold.value is not None:
        found.append(f"Machines were sold out on {number(sold.value)} of {number(sold.used)} machine days answered.")
    if routes.value is not None:
        without = routes.used - routes.value
        found.append(f"On {number(without)} of {number(routes.used)} school days observed, no permitted route stood.")
    return found


def sure_section(facts: TermFacts, checks: pd.DataFrame) -> Section:
    """How sure the figures are: what they rest on, in plain sentences."""
    return Section(
        "sure",
        "How sure these figures are",
        tables=(sentences("sure", "What they rest on", _sures(facts, checks), ""),),
    )


def _sures(facts: TermFacts, checks: pd.DataFrame) -> Sequence[str]:
    visits, usable, water = (figures.of(facts, key) for key in ("visits", "availability_share", "water_taken_l"))
    found = [
        f"Visits: {number(visits.used)} of {number(visits.expected)} unit-weeks were recorded; the others add nothing.",
        f"Working units: somebody looked on {number(usable.used)} of {number(usable.expected)} unit school days.",
        f"Water: litres are known for {number(water.used)} of {number(water.expected)} unit-weeks.",
    ]
    checked = [one for one in facts.balances if one.unexplained.recorded]
    agree = sum(1 for one in checked if not one.query)
    found.append(f"Meters: {agree} of {len(checked)} meters that could be compared agree with the litres worked out.")
    if visits.low is not None and visits.high is not None:
        spread = amount(visits.low, visits.unit), amount(visits.high, visits.unit)
        found.append(
            f"Because some breaks were drawn at random, visits may lie anywhere from {spread[0]} to {spread[1]}."
        )
    found.append(checked_sentence(checks) or NOBODY_CHECKED)
    return found
