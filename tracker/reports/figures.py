"""The headlines of every report: what each figure is called, and how it comes out of a term's facts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tracker.measures import (
    disposal,
    quality,
    repairs,
    sessions,
    supplies,
    uptime,
    visits,
    water,
)
from tracker.measures.figure import Figure, add, not_recorded
from tracker.measures.reorder import weeks_of_cover
from tracker.records.frames import TargetHead
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.printing import amount, day, number
from tracker.reports.report import Line
from tracker.vocabulary import Basis, UnitKind

Compute = Callable[[TermFacts], Figure]
SCHOOL_WEEKS = "school-weeks"


@dataclass(frozen=True, slots=True)
class Headline:
    """A figure that reports show: its stable key, its label, how it is worked out."""

    key: str
    label: str
    work_out: Compute

    def compute(self, facts: TermFacts) -> Figure:
        """The figure of a term, worked out once."""
        if self.key not in facts.figures:
            facts.figures[self.key] = self.work_out(facts)
        found: Figure = facts.figures[self.key]
        return found


def visits_total(facts: TermFacts) -> Figure:
    """Visits to cabins and urinals."""
    return visits.visits_total(facts.unit_weeks, facts.tallies, facts.occasions, facts.units, expected=facts.expected)


def visits_per_pupil_day(facts: TermFacts) -> Figure:
    """Visits ÷ pupil-days."""
    known = (facts.unit_weeks, facts.tallies, facts.occasions, facts.units, facts.all.enrolment)
    return visits.visits_per_pupil_day(*known, expected=facts.expected)


def water_taken(facts: TermFacts) -> Figure:
    """Litres taken by rule."""
    return water.water_taken(facts.water, facts.expected)


def less_than_cistern(facts: TermFacts) -> Figure:
    """Litres that the reference cistern would have taken more."""
    return water.less_than_cistern(facts.water, facts.expected, facts.settings["reference_cistern_ml"])


def saved_against_before(facts: TermFacts) -> Figure:
    """Litres saved where the litres of before were measured."""
    ids = [school.id for school in facts.schools]
    return water.saved_against_before(
        facts.water, facts.expected, facts.all.before[facts.all.before["school_id"].isin(ids)]
    )


def litres_per_visit(facts: TermFacts) -> Figure:
    """Litres of a cabin or urinal visit."""
    return water.litres_per_visit(facts.water, facts.expected)


def litres_per_pupil_day(facts: TermFacts) -> Figure:
    """Litres of all parts ÷ pupil-days."""
    return water.litres_per_pupil_day(facts.water, facts.expected, facts.pupil_days)


def unexplained_water(facts: TermFacts) -> Figure:
    """Metered less modelled litres, over the meters that can be compared."""
    found = [one.unexplained for one in facts.balances]
    return add(found) if found else not_recorded("L", Basis.MODELLED, records="weeks")


def availability(facts: TermFacts) -> Figure:
    """Share of school time in which cabins and urinals could be used."""
    return uptime.availability(facts.cabin_days)


def breaks_lost(facts: TermFacts) -> Figure:
    """Cabin and urinal breaks at whose start the unit was out."""
    return uptime.breaks_lost(facts.outages, facts.breaks, facts.cabin_days, facts.scope)


def promise_kept(facts: TermFacts) -> Figure:
    """Share of outages that ended in the promised hours."""
    hours = facts.settings["promise_restore_hours"]
    figure = repairs.promise_kept(facts.outages, hours, facts.until)
    promise = f"The promise is {number(hours)} hours, nights and holidays included."
    note = f"{promise} No outage was due in this period." if figure.value is None else f"{promise} {figure.note}"
    return replace(figure, note=note.strip())


def hours_between_failures(facts: TermFacts) -> Figure:
    """School hours that cabins and urinals ran between failures."""
    ids = facts.cabin_days["unit_id"].unique()
    outages = facts.outages[facts.outages["unit_id"].isin(ids)]
    return repairs.time_between_failures(outages, facts.cabin_days, facts.scope)


def given_out(facts: TermFacts) -> Figure:
    """Napkins that machines gave out."""
    return supplies.given_out_total(facts.given)


def sold_out_days(facts: TermFacts) -> Figure:
    """Machine days sold out."""
    return supplies.days_sold_out(facts.machine_weeks)


def cover_weeks(facts: TermFacts) -> Figure:
    """School weeks that the stock on hand lasts at the demand of the term, over schools where both are known."""
    known = facts.cover.dropna(subset=["on_hand", "per_day"])
    known = known[known["per_day"] > 0]
    expected = len(facts.cover)
    weekly = float((known["per_day"] * known["days_per_week"]).sum())
    value = weeks_of_cover(float(known["on_hand"].sum()), weekly, 1.0)
    return Figure(value, "weeks", Basis.MODELLED, used=len(known), expected=expected, records="schools")


def route_days(facts: TermFacts) -> Figure:
    """School days with a permitted, working disposal route."""
    days = facts.school_days.assign(school=facts.school_days["school_id"].map(facts.codes).astype("str"))
    figure = disposal.route_days(facts.route_states, days).days
    return figure if figure.recorded else replace(figure, low=None, high=None)


def route_days_share(facts: TermFacts) -> Figure:
    """The same as a share of the days observed."""
    figure = replace(disposal.route_days(facts.route_states).share, unit="share")
    return figure if figure.recorded else replace(figure, low=None, high=None)


def burns(facts: TermFacts) -> Figure:
    """Burns started, expected from each incinerator of a school that burns, each week with school."""
    machines = facts.of_kinds(facts.units, [UnitKind.INCINERATOR])
    due = visits.expected_unit_weeks(machines.assign(count_way="counter"), facts.occasions, [UnitKind.INCINERATOR])
    codes = dict(zip(machines["unit_id"], machines["school"], strict=True))
    rows = facts.all.burns.merge(due[["unit_id", "week"]], on=["unit_id", "week"])
    return disposal.burns_total(rows, codes, len(due))


def _as_reported(figure: Figure, facts: TermFacts) -> Figure:
    """The same with the sheets it rests on: a week without a sheet may have had lessons that nobody wrote down."""
    sheets = quality.completeness(facts.sheets, facts.as_of)
    value = figure.value if sheets.used or figure.value else None
    return replace(figure, value=value, used=sheets.used, expected=sheets.expected, records=SCHOOL_WEEKS)


def sessions_held(facts: TermFacts) -> Figure:
    """Lessons held."""
    return _as_reported(sessions.sessions_held(facts.sessions), facts)


def attendances(facts: TermFacts) -> Figure:
    """Attendances: a pupil at two lessons counts twice."""
    return sessions.attendances(facts.sessions, facts.attendance)


def pupils_reached(facts: TermFacts) -> Figure:
    """Pupils reached, between bounds."""
    return sessions.pupils_reached(facts.sessions, facts.attendance, facts.all.enrolment, bounds=facts.reach)


def completeness(facts: TermFacts) -> Figure:
    """Week sheets received ÷ expected."""
    return quality.completeness(facts.sheets, facts.as_of)


def timeliness(facts: TermFacts) -> Figure:
    """Week sheets on time ÷ expected."""
    return quality.timeliness(facts.sheets, facts.as_of)


def open_queries(facts: TermFacts) -> Figure:
    """Queries not yet answered."""
    return quality.open_queries(facts.queries)


VISITS = (
    Headline("visits", "Visits to cabins and urinals", visits_total),
    Headline("visits_per_pupil_day", "Visits per pupil and school day", visits_per_pupil_day),
)
WATER = (
    Headline("water_taken_l", "Water taken", water_taken),
    Headline("less_than_cistern_l", "Less than a cistern would have used for the same visits", less_than_cistern),
    Headline("litres_per_visit", "Water for each visit", litres_per_visit),
    Headline("litres_per_pupil_day", "Water for each pupil and school day", litres_per_pupil_day),
    Headline("unexplained_water_l", "Unexplained water: metered less modelled", unexplained_water),
)
SAVED = Headline("saved_against_before_l", "Saved against what was measured before", saved_against_before)
UNITS = (
    Headline("availability_share", "School time in which cabins and urinals could be used", availability),
    Headline("breaks_lost", "Breaks lost: a cabin or urinal was out when the break began", breaks_lost),
    Headline("promise_kept_share", "Outages ended within the promised time", promise_kept),
    Headline("hours_between_failures", "School hours between failures of a cabin or urinal", hours_between_failures),
)
SUPPLIES = (
    Headline("given_out", "Given out by machines", given_out),
    Headline("sold_out_days", "Days sold out", sold_out_days),
    Headline("cover_weeks", "School weeks that the stock lasts", cover_weeks),
)
DISPOSAL = (
    Headline("route_days", "Days with a permitted, working route", route_days),
    Headline("route_days_share", "Share of the days observed with a permitted, working route", route_days_share),
    Headline("burns", "Burns started", burns),
)
LESSONS = (
    Headline("sessions_held", "Lessons held", sessions_held),
    Headline("pupils_reached", "Pupils reached, at least", pupils_reached),
    Headline("attendances", "Attendances", attendances),
)
RECORDS = (
    Headline("completeness_share", "Week sheets received", completeness),
    Headline("timeliness_share", "Week sheets received on time", timeliness),
    Headline("open_queries", "Open queries", open_queries),
)
ALL = (*VISITS, *WATER, *UNITS, *SUPPLIES, *DISPOSAL, *LESSONS, *RECORDS)
BY_KEY = {headline.key: headline for headline in (*ALL, SAVED)}


def of(facts: TermFacts, key: str) -> Figure:
    """A headline's figure of a term, by its key."""
    return BY_KEY[key].compute(facts)


def line(headline: Headline, pair: Pair, targets: dict[str, TargetHead]) -> Line:
    """A headline with the same figure of last term, of the same term last year where there is one, and its target."""
    target = targets.get(headline.key)
    return Line(
        headline.key,
        label_of(headline, pair.now),
        headline.compute(pair.now),
        headline.compute(pair.last) if pair.last else None,
        target.value if target else None,
        target.set_at if target else None,
        year_before=headline.compute(pair.year) if pair.year else None,
        **_baseline(headline, pair.now),
    )


def _baseline(headline: Headline, facts: TermFacts) -> dict[str, str]:
    """What was measured before the programme worked, in a sentence; nothing where it was not measured."""
    found = facts.all.baselines.get(headline.key)
    if found is None:
        return {}
    measured = amount(found.value, headline.compute(facts).unit)
    return {
        "baseline": f"The programme's baseline: {measured}, {found.basis.value}, {day(found.measured_on)}. {found.note}"
    }


def lines(headlines: Sequence[Headline], pair: Pair, targets: dict[str, TargetHead]) -> tuple[Line, ...]:
    """Headlines in their order; saving against before only where the litres of before were measured."""
    chosen = list(headlines)
    if WATER[1] in chosen and SAVED.compute(pair.now).recorded:
        chosen.insert(chosen.index(WATER[1]) + 1, SAVED)
    return tuple(line(headline, pair, targets) for headline in chosen)


def label_of(headline: Headline, facts: TermFacts) -> str:
    """A headline's label; the cistern's litres are the programme's own."""
    if headline.key != "less_than_cistern_l":
        return headline.label
    return f"Less than a cistern of {litres(facts)} L would have used for the same visits"


def litres(facts: TermFacts) -> str:
    """The reference cistern's litres as a plain number."""
    ml = facts.settings["reference_cistern_ml"]
    return number(ml / 1000, 0 if ml % 1000 == 0 else 1)
