"""Units that were given a fitting during the two terms: before and after, beside units without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import pandas as pd

from tracker.measures import comparison, trials
from tracker.measures.comparison import Arm, Comparison, Design
from tracker.measures.faults import begun_faults
from tracker.measures.figure import weakest
from tracker.records.frames import TrialHead
from tracker.reports.facts import Pair, TermFacts
from tracker.reports.report import Cell, Section, Table
from tracker.reports.rows import FITTING_WORDS, counts, sentences, words
from tracker.reports.sections.declared import declaration_of, declaration_table, difference, key_part
from tracker.vocabulary import Basis, FittingKind, Measure

MEASURES: Final = (Measure.LITRES_PER_VISIT, Measure.AVAILABILITY, Measure.OUTAGES_PER_1000_VISITS)
INTRO: Final = (
    "Units that were given a fitting while they stood, over this term and the last, beside units of the same kind "
    "without it. Trials stand first, each beside what was declared of it; a comparison without a declaration says so. "
    "A comparison describes a difference; how strong it is as evidence stands below it. Cost is kept by school and not "
    "by unit, so it is not compared here."
)
KEY: Final = ["unit_id", "week"]


def fitting_sections(pair: Pair, declared: Sequence[TrialHead] = ()) -> tuple[Section, ...]:
    """Each declared trial of the two terms beside its declaration, then what came without one; none where none came.

    Args:
        declared: trials that ran on a day of the two terms.
    """
    return pair.now.once(f"fittings {pair.last is not None} {declared}", lambda: _sections(pair, declared))


def _sections(pair: Pair, declared: Sequence[TrialHead]) -> tuple[Section, ...]:
    came = fitted_later(pair.now)
    if came.empty and not declared:
        return ()
    rows = unit_weeks(pair)
    tables = [table for trial in declared for table in _trial_tables(pair.now, rows, trial)]
    for kind in sorted(set(came["kind"])):
        own = {unit for trial in declared if trial.fitting.value == kind for unit in trial.units}
        tables += _tables(pair.now, rows[~rows["unit_id"].isin(own)], came[~came["unit_id"].isin(own)], kind)
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
    found = _compared(facts, alike, kind)
    if not found:
        return ()
    name = FITTING_WORDS[FittingKind(kind)]
    shown = Shown(f"fitting_{kind}", name, None)
    return _comparison_table(shown, found), evidence_table(shown, found)


def _trial_tables(facts: TermFacts, rows: pd.DataFrame, trial: TrialHead) -> tuple[Table, ...]:
    """A declaration with its result, then the comparison of its own units in its own days."""
    own = rows["unit_id"].isin(trial.units | trial.comparison_units) & (rows["week"] <= pd.Timestamp(trial.until_day))
    found = _compared(facts, rows[own], trial.fitting.value, trial.from_day)
    declaration = declaration_of(trial)
    stem = f"trial_{key_part(trial.code)}"
    shown = Shown(stem, f"{FITTING_WORDS[trial.fitting]}, trial {trial.code}", declaration)
    result = declaration_table(stem, trial, declaration, found.get(trial.measure))
    return (result, _comparison_table(shown, found), evidence_table(shown, found)) if found else (result,)


def _compared(facts: TermFacts, rows: pd.DataFrame, kind: str, change: date | None = None) -> dict[Measure, Comparison]:
    """Comparisons by measure; empty where there is no before and after yet."""
    labelled = comparison.label_weeks(rows, facts.all.fittings, kind, change)
    design = comparison.possible_design(labelled)
    if design is None or design is Design.BETWEEN:
        return {}
    return {measure: comparison.compare(labelled, measure, design, basis_of(rows, measure)) for measure in MEASURES}


@dataclass(frozen=True, slots=True)
class Shown:
    """Under which key and name a comparison stands, and how it was declared."""

    key: str
    name: str
    declaration: trials.Declaration | None


def basis_of(rows: pd.DataFrame, measure: Measure) -> Basis:
    if measure is Measure.LITRES_PER_VISIT:
        return Basis.MODELLED
    if measure is Measure.AVAILABILITY:
        return Basis.COUNTED
    return weakest(Basis(name) for name in rows["basis"].dropna().unique())


def _comparison_table(shown: Shown, found: Mapping[Measure, Comparison]) -> Table:
    rows = tuple(_cells(one, shown.declaration) for one in found.values())
    design = next(iter(found.values())).design
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
    title = f"Fitting: {shown.name}; {design.value}"
    return Table(shown.key, title, columns, rows, note)


def _cells(one: Comparison, declaration: trials.Declaration | None) -> tuple[Cell, ...]:
    both = one.design is Design.BOTH
    before = one.fitted_before if both else one.plain
    arms = (before, one.fitted, one.plain_before, one.plain) if both else (before, one.fitted)
    sides: list[Cell] = [comparison.arm_figure(arm, one) if arm is not None else None for arm in arms]
    sides += ["none"] * (4 - len(sides))
    rests = rests_on(one.fitted)
    if both:
        rests += f"; others: {rests_on(one.plain)}"
    strength = trials.evidence(one, declaration).strength.value
    return one.measure.value, *sides, difference(one), rests, strength


def rests_on(arm: Arm) -> str:
    units = "1 unit" if arm.units == 1 else f"{arm.units} units"
    return f"{units} at 1 school" if arm.schools == 1 else f"{units} at {arm.schools} schools"


def evidence_table(shown: Shown, found: Mapping[Measure, Comparison]) -> Table:
    """What each measure is worth as evidence; sentences that hold for all of them once."""
    said: dict[str, list[str]] = {}
    for measure, one in found.items():
        for sentence in trials.evidence(one, shown.declaration).sentences():
            said.setdefault(sentence, []).append(measure.value)
    lines = [
        sentence if len(measures) == len(found) else f"{', '.join(measures).capitalize()}: {sentence}"
        for sentence, measures in said.items()
    ]
    return sentences(f"{shown.key}_evidence", f"How strong the comparison is: {shown.name}", lines, "")
