"""Units that were given a fitting during the two terms: before and after, beside units without it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from tracker.measures import comparison, trials
from tracker.measures.comparison import Comparison, Design
from tracker.measures.faults import begun_faults
from tracker.measures.figure import Figure, weakest
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import FITTING_WORDS, as_points, counts, sentences, words
from tracker.vocabulary import Basis, FittingKind, Measure

MEASURES: Final = (Measure.LITRES_PER_VISIT, Measure.AVAILABILITY, Measure.OUTAGES_PER_1000_VISITS)
INTRO: Final = (
    "Units that were given a fitting while they stood, over this term and the last, beside units of the same kind "
    "without it. A comparison describes a difference; how strong it is as evidence stands below it. Cost is kept by "
    "school and not by unit, so it is not compared here."
)
KEY: Final = ["unit_id", "week"]


def fitting_sections(pair: Pair) -> tuple[Section, ...]:
    """The comparison of each fitting that came in the two terms; none where none came."""
    return pair.now.once(f"fittings {pair.last is not None}", lambda: _sections(pair))


def _sections(pair: Pair) -> tuple[Section, ...]:
    came = fitted_later(pair.now)
    if came.empty:
        return ()
    rows = unit_weeks(pair)
    tables = [table for kind in sorted(set(came["kind"])) for table in _tables(pair.now, rows, came, kind)]
    return (Section("fittings", "With and without a fitting", INTRO, tables=tuple(tables)),) if tables else ()


def fitted_later(facts: TermFacts) -> pd.DataFrame:
    """Fittings that came in the two terms to units that had stood before without one of that kind."""
    first, last = (pd.Timestamp(day) for day in (facts.all.period.first, facts.all.period.last))
    earliest = facts.all.fittings.groupby(["unit_id", "kind"], as_index=False)["from_day"].min()
    rows = earliest.merge(facts.all.all_units[["unit_id", "from_day"]], on="unit_id", suffixes=("", "_unit"))
    came = (rows["from_day"] > first) & (rows["from_day"] <= last)
    found: pd.DataFrame = rows[came & (rows["from_day_unit"] < rows["from_day"])]
    return found


def unit_weeks(pair: Pair) -> pd.DataFrame:
    """Unit weeks of both terms: visits, ml, school minutes of observed days and usable ones, faults begun."""
    facts = pair.now
    due = [term.expected[["unit_id", "school_id", "kind", "week"]] for term in (pair.last, facts) if term is not None]
    rows = pd.concat(due, ignore_index=True)
    rows = rows.merge(facts.all.unit_weeks[[*KEY, "visits", "basis"]], on=KEY, how="left")
    litres = facts.all.water.groupby(KEY, as_index=False)[["ml"]].sum()
    rows = rows.merge(litres, on=KEY, how="left").merge(_minutes(facts), on=KEY, how="left")
    rows = rows.merge(_faults(facts), on=KEY, how="left")
    return rows.assign(outages=rows["outages"].fillna(0))


def _minutes(facts: TermFacts) -> pd.DataFrame:
    days = facts.days.unit_days
    seen = days[days["observed"]].merge(facts.all.calendar.school_days, on=["school_id", "day"])
    sums = seen.assign(up_min=seen["scheduled_min"] - seen["down_min"]).groupby(KEY, as_index=False)
    found: pd.DataFrame = sums[["up_min", "scheduled_min"]].sum()
    return found


def _faults(facts: TermFacts) -> pd.DataFrame:
    found = begun_faults(facts.all.outages, facts.all.standing, facts.days.scope)
    weeks = found.merge(facts.all.calendar.school_days, on=["school_id", "day"])
    return weeks.groupby(KEY, as_index=False).agg(outages=("cause", "size"))


def _tables(facts: TermFacts, rows: pd.DataFrame, came: pd.DataFrame, kind: str) -> tuple[Table, ...]:
    units = set(came.loc[came["kind"] == kind, "unit_id"])
    alike = rows[rows["kind"].isin(set(rows.loc[rows["unit_id"].isin(units), "kind"]))]
    labelled = comparison.label_weeks(alike, facts.all.fittings, kind)
    design = comparison.possible_design(labelled)
    if design is None or design is Design.BETWEEN:
        return ()
    found = {measure: comparison.compare(labelled, measure, design, _basis(alike, measure)) for measure in MEASURES}
    name = FITTING_WORDS[FittingKind(kind)]
    return _comparison_table(kind, name, design, found), _evidence_table(kind, name, found)


def _basis(rows: pd.DataFrame, measure: Measure) -> Basis:
    if measure is Measure.LITRES_PER_VISIT:
        return Basis.MODELLED
    if measure is Measure.AVAILABILITY:
        return Basis.COUNTED
    return weakest(Basis(name) for name in rows["basis"].dropna().unique())


def _comparison_table(kind: str, name: str, design: Design, found: Mapping[Measure, Comparison]) -> Table:
    rows = tuple(_cells(one) for one in found.values())
    columns = (
        words("measure", "Measure"),
        counts("before", "Before"),
        counts("after", "After"),
        counts("plain_before", "Others before"),
        counts("plain_after", "Others after"),
        counts("difference", "Difference"),
        words("rests", "Rests on"),
        words("evidence", "Evidence"),
    )
    note = (
        "The difference is the change of the units with the fitting, less the change of the others where there are "
        "any. The week in which the fitting came is left out. A difference without a range rests on a single school."
    )
    title = f"Fitting: {name}; {design.value}"
    return Table(f"fitting_{kind}", title, columns, rows, note)


def _cells(one: Comparison) -> tuple[Cell, ...]:
    both = one.design is Design.BOTH
    before = one.fitted_before if both else one.plain
    arms = (before, one.fitted, one.plain_before, one.plain) if both else (before, one.fitted)
    shown: list[Cell] = [comparison.arm_figure(arm, one) if arm is not None else None for arm in arms]
    shown += ["none"] * (4 - len(shown))
    rests = f"{one.fitted.units} units at {_schools(one.fitted.schools)}"
    if both:
        rests += f", others {one.plain.units} at {_schools(one.plain.schools)}"
    strength = trials.evidence(one, None).strength.value
    return one.measure.value, *shown, _difference(one), rests, strength


def _schools(number: int) -> str:
    return "1 school" if number == 1 else f"{number} schools"


def _difference(one: Comparison) -> Figure:
    found = comparison.difference_figure(one)
    return as_points(found) if one.measure is Measure.AVAILABILITY else found


def _evidence_table(kind: str, name: str, found: Mapping[Measure, Comparison]) -> Table:
    """What each measure is worth as evidence; sentences that hold for all of them once."""
    said: dict[str, list[str]] = {}
    for measure, one in found.items():
        for sentence in trials.evidence(one, None).sentences():
            said.setdefault(sentence, []).append(measure.value)
    lines = [
        sentence if len(measures) == len(found) else f"{', '.join(measures).capitalize()}: {sentence}"
        for sentence, measures in said.items()
    ]
    return sentences(f"fitting_{kind}_evidence", f"How strong the comparison is: {name}", lines, "")
