"""Which fitting pays back: units with and without it, and terms until its water has paid for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

import pandas as pd

from tracker.measures import comparison, payback, trials
from tracker.measures.comparison import Comparison, Design
from tracker.measures.figure import Figure
from tracker.records import frames
from tracker.reports.facts import Pair, TermLike, gather
from tracker.reports.report import Cell, Report, Section, Table
from tracker.reports.rows import FITTING_WORDS, beside, counts, words
from tracker.reports.sections.declared import declaration_of, difference
from tracker.reports.sections.fitting import MEASURES, Shown, basis_of, evidence_table, rests_on, unit_weeks
from tracker.vocabulary import Basis, FittingKind, Measure, WorkPaper

NO_PRICE: Final = (
    "Enter the price of 1,000 litres of water above, as the water bill has it; without it nothing is told."
)
NO_EXTRA: Final = "Enter above what the fitting of a unit cost more than a unit without it, mounting included."
NOTHING: Final = (
    "No unit has weeks both with it and without it, nor are there like units without it beside those with it."
)
WEAK: Final = "The comparison is weak: it does not show that the fitting made the difference. Do not buy on it alone."
NOTES: Final = (
    "Payback takes saved water only: no interest, no repairs, no work saved. Its range takes the ends of the range of "
    "the water saved.",
    "Prices and extra costs stand here as they were entered for this page; they are not kept.",
)
INTRO: Final = "A comparison describes a difference. How strong it is as evidence stands beside each measure and below."


@dataclass(frozen=True, slots=True)
class Prices:
    """What was entered: minor units for 1,000 litres; by kind of fitting what a unit's cost more. None: not entered."""

    water_minor: int | None = None
    extra_minor: Mapping[FittingKind, int] = field(default_factory=dict)


def fittings_in_use(session: frames.Session, programme_id: int, term: TermLike, as_of: datetime) -> list[FittingKind]:
    """Kinds of fitting that units had on a day of the term."""
    return _in_use(gather(session, programme_id, term, as_of))


def build(
    session: frames.Session, programme_id: int, term: TermLike, as_of: datetime, *, version: str, prices: Prices
) -> Report:
    """The page's report; money in the programme's currency.

    Raises:
        LookupError: there is no such programme.
        ValueError: the term has not begun.
    """
    pair = gather(session, programme_id, term, as_of)
    facts = pair.now
    scope = frames.Scope(programme_id, facts.all.period.first, facts.all.period.last)
    declared = {trial.fitting: trial for trial in reversed(frames.trials(session, scope, facts.zone))}
    rows = unit_weeks(pair)
    sections = tuple(_section(pair, rows, kind, declared.get(kind), prices) for kind in _in_use(pair))
    title, name = f"{facts.all.programme.name}: which fitting pays back", facts.term.name
    days = (facts.period.first, facts.period.last, facts.term.last_day)
    return Report(
        WorkPaper.PAYS_BACK, title, facts.all.programme.name, "", name, *days, pair.as_of, version, sections, NOTES
    )


def _in_use(pair: Pair) -> list[FittingKind]:
    rows, period = pair.now.all.fittings, pair.now.period
    there = (rows["from_day"] <= pd.Timestamp(period.last)) & (
        rows["until_day"].isna() | (rows["until_day"] >= pd.Timestamp(period.first))
    )
    found = set(rows.loc[there, "kind"])
    return [kind for kind in FittingKind if kind.value in found and kind is not FittingKind.FLUSH_NONE]


def _section(
    pair: Pair, rows: pd.DataFrame, kind: FittingKind, trial: frames.TrialHead | None, prices: Prices
) -> Section:
    found = _compared(pair, rows, kind, trial)
    name = FITTING_WORDS[kind].capitalize()
    declaration = declaration_of(trial) if trial and found else None
    tables = [_payback_table(pair, kind, found.get(Measure.LITRES_PER_VISIT), prices)]
    intro = NOTHING
    if found:
        shown = Shown(f"pays_{kind.value}", name, declaration)
        tables = [_measures(shown, found), *tables, evidence_table(shown, found)]
        strong = trials.evidence(found[Measure.LITRES_PER_VISIT], declaration).strength
        intro = WEAK if strong in (trials.Strength.WEAK, trials.Strength.NONE) else INTRO
    return Section(f"pays_{kind.value}", name, intro, tables=tuple(tables))


def _compared(
    pair: Pair, rows: pd.DataFrame, kind: FittingKind, trial: frames.TrialHead | None
) -> dict[Measure, Comparison]:
    fittings = pair.now.all.fittings
    change = None
    if trial is not None:
        rows = rows[rows["unit_id"].isin(trial.units | trial.comparison_units)]
        rows, change = rows[rows["week"] <= pd.Timestamp(trial.until_day)], trial.from_day
    else:
        having = set(fittings.loc[fittings["kind"] == kind.value, "unit_id"])
        rows = rows[rows["kind"].isin(set(rows.loc[rows["unit_id"].isin(having), "kind"]))]
    labelled = comparison.label_weeks(rows, fittings, kind.value, change)
    design = comparison.possible_design(labelled)
    if design is None:
        return {}
    return {one: comparison.compare(labelled, one, design, basis_of(rows, one)) for one in MEASURES}


def _measures(shown: Shown, found: Mapping[Measure, Comparison]) -> Table:
    columns = (
        words("measure", "Measure"),
        counts("with", "With it"),
        counts("without", "Without it"),
        counts("difference", "Difference"),
        words("rests", "Rests on, and the evidence"),
    )
    cells: list[tuple[Cell, ...]] = []
    for measure, one in found.items():
        without = one.fitted_before if one.design is Design.BOTH and one.fitted_before is not None else one.plain
        rests = rests_on(one.fitted)
        if one.design is not Design.BEFORE_AFTER:
            rests += f"; others: {rests_on(one.plain)}"
        sides = (comparison.arm_figure(one.fitted, one), comparison.arm_figure(without, one), difference(one))
        strength = trials.evidence(one, shown.declaration).strength.value
        cells.append((measure.value, *sides, f"{rests}; evidence: {strength}"))
    design = next(iter(found.values())).design
    note = {
        Design.BOTH: "Without it: the same units before. The difference is less the change of the others meanwhile.",
        Design.BEFORE_AFTER: "Without it: the same units before; what else changed meanwhile is in the difference.",
        Design.BETWEEN: "Without it: other units of the same kind, which may differ in more than the fitting.",
    }[design]
    return Table(shown.key, f"{shown.name}: {design.value}", columns, tuple(cells), note)


def _payback_table(pair: Pair, kind: FittingKind, one: Comparison | None, prices: Prices) -> Table:
    money = f"minor units of {pair.now.all.programme.currency}"
    extra, price = prices.extra_minor.get(kind), prices.water_minor
    saved, visits = _saved(one), _visits_of_a_unit(pair, one)
    terms = payback.payback_terms(extra, saved, visits, price)
    rows: list[tuple[str, Cell]] = [
        ("Extra cost of a unit, as entered", _entered(extra, money)),
        ("Price of 1,000 litres, as entered", _entered(price, money)),
        ("Litres saved for each visit", saved),
        ("Visits of a unit in a term", visits),
        ("Water saved by a unit in a term is worth", _worth(saved, visits, price, money)),
        ("Terms until it has paid for itself", terms if terms.recorded else "cannot be told"),
    ]
    said = [terms.note, *([] if price else [NO_PRICE]), *([] if extra is not None else [NO_EXTRA])]
    return beside(f"payback_{kind.value}", "Payback", rows, " ".join(part for part in said if part))


def _entered(minor: int | None, unit: str) -> Cell:
    return "not recorded" if minor is None else Figure(float(minor), unit, Basis.ESTIMATED)


def _saved(one: Comparison | None) -> Figure:
    """The difference the other way round: what is less with the fitting is saved."""
    if one is None:
        return Figure(None, "L per visit", Basis.MODELLED)
    found = comparison.difference_figure(one)
    value, low, high = (None if end is None else -end for end in (found.value, found.high, found.low))
    return Figure(value, found.unit, found.basis, low, high, found.used, found.expected, found.records)


def _visits_of_a_unit(pair: Pair, one: Comparison | None) -> Figure:
    """Visits of a unit's recorded week with the fitting × the term's weeks with school so far."""
    weeks = pair.now.occasions["week"].nunique()
    if one is None or not one.fitted.used:
        return Figure(None, "visits", Basis.MODELLED)
    value = one.fitted.bottom / one.fitted.used * weeks
    return Figure(value, "visits", Basis.MODELLED, None, None, one.fitted.used, one.fitted.expected, "unit weeks")


def _worth(saved: Figure, visits: Figure, price: int | None, unit: str) -> Cell:
    if saved.value is None or visits.value is None or price is None:
        return None
    each = visits.value * price / payback.LITRES_PRICED
    low, high = (None if end is None else end * each for end in (saved.low, saved.high))
    return Figure(saved.value * each, unit, Basis.MODELLED, low, high, saved.used, saved.expected, saved.records)
