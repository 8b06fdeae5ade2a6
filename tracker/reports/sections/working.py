"""Working units: availability with its range, breaks lost, the promise, outages by cause."""

from __future__ import annotations

from tracker.measures import repairs, uptime
from tracker.measures.dials import rows_of
from tracker.measures.figure import Figure
from tracker.records.frames import TargetHead
from tracker.reports import figures
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.printing import amount, moment
from tracker.reports.report import Cell, Chart, Section, Table
from tracker.reports.rows import counts, kind_words, name_rows, share_of, words
from tracker.reports.sections.repairs import repair_tables
from tracker.vocabulary import Basis, UnitKind

HOURS = "hours"
SHORT_OF = 1.0


def working_section(pair: Pair, targets: dict[str, TargetHead], one_school: bool) -> Section:
    """Headlines, by kind, by unit or school, by cause, what is still out."""
    facts = pair.now
    shares = by_unit(facts) if one_school else by_school(facts)
    tables = (kind_table(facts), *repair_tables(facts), looks_table(facts), open_table(facts))
    charts = (availability_chart(shares, "unit" if one_school else "school"), cause_chart(facts))
    return Section(
        "units",
        "Working units",
        "Only school time counts, and only days on which somebody looked. The range says what the other days allow.",
        figures.lines(figures.UNITS, pair, targets),
        tables,
        charts,
        ("live_parts", "electrical"),
    )


def by_unit(facts: TermFacts) -> list[tuple[str, Figure]]:
    """Availability of each unit, in the order of their codes."""
    table = uptime.availability_by(facts.unit_days, ["unit"])
    return [(row.unit, share_of(row)) for row in rows_of(table)]


def by_school(facts: TermFacts) -> list[tuple[str, Figure]]:
    """Availability of cabins and urinals by school, in the order of their codes."""
    table = uptime.availability_by(facts.cabin_days, ["school"])
    return [(row.school, share_of(row)) for row in rows_of(table)]


def kind_table(facts: TermFacts) -> Table:
    """Availability by kind of unit, with hours lost, planned work apart."""
    rows = []
    for row in rows_of(uptime.availability_by(facts.unit_days, ["kind"])):
        days = facts.of_kinds(facts.unit_days, [UnitKind(row.kind)])
        hours = uptime.outage_hours(days)
        planned = uptime.outage_hours(days, "planned_min")
        rows.append((kind_words(row.kind), share_of(row), hours, planned))
    columns = (
        words("kind", "Units"),
        counts("availability", "Usable school time", "share"),
        counts("out_h", "Out of service", "unit school hours"),
        counts("planned_h", "Of it planned work", "unit school hours"),
    )
    note = "Hours out of service add up over units. Days on which nobody looked add nothing, so they are the least."
    return Table("availability_by_kind", "Working units by kind", columns, tuple(rows), note)


def looks_table(facts: TermFacts) -> Table:
    """How long units waited for somebody to look."""
    limit = facts.settings["look_every_school_days"]
    looks = repairs.looks(facts.days_of(facts.all.sightings), facts.unit_days, limit)
    cells = tuple(
        (kind_words(str(kind)), repairs.days_between_looks(rows), int(rows["longest_gap"].max()))
        for kind, rows in looks.groupby("kind", sort=True)
    )
    columns = (
        words("kind", "Units"),
        counts("kept", f"Looked at again within {limit} school days", "share"),
        counts("longest", "Longest wait", "school days"),
    )
    return Table("looks", "Local looks", columns, cells)


def open_table(facts: TermFacts) -> Table:
    """Outages without an end on the report's day, the longest first."""
    rows = facts.outages[facts.outages["end"].isna() | (facts.outages["end"] > facts.until)]
    known = facts.units.set_index("unit_id")
    cells: list[tuple[Cell, ...]] = []
    for row in rows_of(rows.sort_values("start")):
        if row.unit_id not in known.index:
            continue
        unit = known.loc[row.unit_id]
        since = moment(row.start.to_pydatetime(), facts.all.programme.zone)
        cells.append((unit["school"], unit["unit"], row.cause, since))
    columns = (words("school", "School"), words("unit", "Unit"), words("cause", "Cause"), words("since", "Since"))
    return Table("open_outages", "Still out of service", columns, tuple(cells), empty="No unit is recorded as out.")


def availability_chart(shares: list[tuple[str, Figure]], what: str) -> Chart:
    """Usable school time of each unit or school with its range."""
    known = [figure for _, figure in shares if figure.value is not None]
    below = sum(1 for figure in known if figure.value is not None and figure.value < SHORT_OF)
    finding = f"{len(known)} of {len(shares)} {what}s were looked at; {below} of them lost some school time."
    columns = (words("name", what.capitalize()), counts("availability", "Usable school time", "share"))
    table = Table(f"availability_by_{what}", f"Usable school time by {what}", columns, tuple(shares))
    about = f"One bar for each {what}, with the range that days on which nobody looked allow."
    return Chart(f"availability_{what}_chart", "bar_by_name", finding, about, name_rows(shares), table)


def cause_chart(facts: TermFacts) -> Chart:
    """Unit school hours lost by cause."""
    table = uptime.by_cause(facts.down)
    rows = [
        (row.cause, Figure(float(row.down_h), HOURS, Basis.COUNTED, records="outages"), float(row.share))
        for row in rows_of(table)
    ]
    shown = [(cause, figure) for cause, figure, _ in rows]
    finding = "No outage in school time was recorded."
    if rows:
        cause, figure, _ = rows[0]
        finding = f"Most school time was lost to: {cause}, {amount(figure.value or 0.0, HOURS)} over all units."
    columns = (
        words("cause", "Cause"),
        counts("hours", "School time lost", HOURS),
        counts("share", "Of all time lost", "share"),
    )
    cells = tuple((cause, figure, _share(share)) for cause, figure, share in rows)
    numbers = Table("outages_by_cause", "School time lost by cause", columns, cells, empty=finding)
    about = "One bar for each cause: school hours in which units could not be used, added up over units."
    return Chart("cause_chart", "bar_by_name", finding, about, name_rows(shown), numbers)


def _share(value: float) -> Figure:
    return Figure(value, "share", Basis.COUNTED, records="outages")
