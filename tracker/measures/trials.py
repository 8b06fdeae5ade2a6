"""Trials that are declared before they start, and how strong the evidence of a comparison is.

The rules are the project's own (common practice, no published source): none of these comparisons draws lots, so even
the strongest is called fair, and no sentence says that a fitting made a difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from tracker.measures.comparison import Arm, Comparison, Design
from tracker.measures.intervals import Interval
from tracker.vocabulary import Better, Measure

MIN_SCHOOLS = 4  # in an arm; fewer say little about other schools
ENOUGH_SCHOOLS = 10  # in an arm
ALIKE_SHARE = 0.10  # arms are alike before when they differ by no more than this share of the comparison units
MIN_COMPLETE = 0.80  # of the unit weeks


class Outcome(StrEnum):
    """Whether what was declared as success was seen."""

    MET = "met"
    NOT_MET = "not met"
    UNDECIDED = "not decided"


@dataclass(frozen=True, slots=True)
class Declaration:
    """What was declared before a trial started.

    units: get the fitting. comparison_units: stay as they are; may be empty. measure, better, at_least: success is a
    difference of at least so much in that direction, in the unit of the measure.

    Raises:
        ValueError: the period runs backwards, a unit is on both sides, no unit or no question is named, or
        ``at_least`` is negative.
    """

    question: str
    units: frozenset[int]
    comparison_units: frozenset[int]
    from_day: date
    until_day: date
    measure: Measure
    better: Better
    at_least: float
    declared_on: date

    def __post_init__(self) -> None:
        if self.until_day < self.from_day:
            raise ValueError("a trial must not end before it starts")
        if not self.units or not self.question.strip():
            raise ValueError("a trial needs a question and at least one unit")
        if self.units & self.comparison_units:
            raise ValueError("a unit cannot have the fitting and be compared with itself at the same time")
        if not self.at_least >= 0:
            raise ValueError("name the size of the difference as a number of at least 0, and its direction apart")

    @property
    def in_time(self) -> bool:
        """Whether it was declared before its first day."""
        return self.declared_on < self.from_day


class Strength(StrEnum):
    """How strong the evidence of a comparison is."""

    FAIR = "fair"
    LIMITED = "limited"
    WEAK = "weak"
    NONE = "none"


SENTENCES = {
    Strength.FAIR: "The evidence is fair: the trial was declared, with alike comparison units, in enough schools. "
    "Units were not chosen by lot.",
    Strength.LIMITED: "The evidence is limited: read the difference together with the reasons below.",
    Strength.WEAK: "The evidence is weak: the difference may have other reasons.",
    Strength.NONE: "There is no evidence: too little was recorded to compare.",
}


class Doubt(StrEnum):
    """A reason why the evidence is not stronger; each is a whole sentence."""

    NO_VALUE = "One side of the comparison has no records."
    NO_LIMITS = "A side has a single school, so the difference has no interval."
    NOT_DECLARED = "This comparison was not declared before it started."
    LATE = "The trial was declared only after it had started."
    OTHER = "Another measure, other units or another period than declared was compared."
    NO_COMPARISON = "There are no comparison units, so other changes of the same time cannot be told apart."
    FEW = "There are few schools on a side."
    APART = "The two sides were not observed over the same weeks."
    BASELINE_UNKNOWN = "How alike the two sides were before is not known."
    BASELINE_UNLIKE = "The two sides already differed before."
    INCOMPLETE = "Many unit weeks are not recorded."


WEAKENING = {
    Doubt.NO_VALUE: Strength.NONE,
    Doubt.NO_LIMITS: Strength.NONE,
    Doubt.NOT_DECLARED: Strength.WEAK,
    Doubt.LATE: Strength.WEAK,
    Doubt.OTHER: Strength.WEAK,
    Doubt.NO_COMPARISON: Strength.WEAK,
    Doubt.APART: Strength.WEAK,
    Doubt.FEW: Strength.LIMITED,
    Doubt.BASELINE_UNKNOWN: Strength.LIMITED,
    Doubt.BASELINE_UNLIKE: Strength.LIMITED,
    Doubt.INCOMPLETE: Strength.LIMITED,
}
ORDER = tuple(Strength)


@dataclass(frozen=True, slots=True)
class Evidence:
    """The strength with its reasons; ``outcome`` None where nothing was declared in time or it does not apply."""

    strength: Strength
    doubts: tuple[Doubt, ...]
    outcome: Outcome | None

    def sentences(self) -> tuple[str, ...]:
        """What is printed beside the comparison: the strength, then every reason."""
        return SENTENCES[self.strength], *(doubt.value for doubt in self.doubts)


def evidence(comparison: Comparison, declaration: Declaration | None) -> Evidence:
    """How strong a comparison is as evidence, why it is not stronger, and whether the declared success was seen.

    The strength is the lowest that any doubt leaves. None: a side without records, or without an interval. Weak: not
    declared in time or something else compared, no comparison units, or sides of different weeks, or fewer than
    ``MIN_SCHOOLS`` schools on a side. Limited: fewer than ``ENOUGH_SCHOOLS``, the start unlike or unknown, or under
    80 % of the unit weeks recorded. Otherwise fair.
    """
    doubts = (*_records(comparison), *_declared(comparison, declaration), *_design(comparison))
    left = [WEAKENING[doubt] for doubt in doubts]
    if Doubt.FEW in doubts and _fewest(comparison) < MIN_SCHOOLS:
        left.append(Strength.WEAK)
    strength = max(left, key=ORDER.index, default=Strength.FAIR)
    judged = declaration is not None and not {Doubt.LATE, Doubt.OTHER, Doubt.NO_VALUE} & set(doubts)
    outcome = success(declaration, comparison.difference) if declaration is not None and judged else None
    return Evidence(strength, doubts, outcome)


def _arms(comparison: Comparison) -> list[Arm]:
    arms = [comparison.fitted, comparison.plain, comparison.fitted_before, comparison.plain_before]
    return [arm for arm in arms if arm is not None]


def _fewest(comparison: Comparison) -> int:
    return min(arm.schools for arm in _arms(comparison))


def _records(comparison: Comparison) -> list[Doubt]:
    arms = _arms(comparison)
    if comparison.difference.value is None:
        return [Doubt.NO_VALUE]
    doubts = [Doubt.NO_LIMITS] if comparison.difference.low is None else []
    if sum(arm.used for arm in arms) < MIN_COMPLETE * sum(arm.expected for arm in arms):
        doubts.append(Doubt.INCOMPLETE)
    return doubts


def _declared(comparison: Comparison, declaration: Declaration | None) -> list[Doubt]:
    if declaration is None:
        return [Doubt.NOT_DECLARED]
    doubts = [] if declaration.in_time else [Doubt.LATE]
    seen = [day for arm in (comparison.fitted,) for day in (arm.first, arm.last) if day is not None]
    inside = all(declaration.from_day <= day <= declaration.until_day for day in seen)
    sides = comparison.units <= declaration.units and comparison.plain_units <= declaration.comparison_units
    if comparison.measure is not declaration.measure or not sides or not inside:
        doubts.append(Doubt.OTHER)
    return doubts


def _design(comparison: Comparison) -> list[Doubt]:
    doubts = []
    if comparison.design is Design.BEFORE_AFTER:
        doubts.append(Doubt.NO_COMPARISON)
    elif not _same_weeks(comparison.fitted, comparison.plain):
        doubts.append(Doubt.APART)
    if _fewest(comparison) < ENOUGH_SCHOOLS:
        doubts.append(Doubt.FEW)
    if comparison.design is Design.BETWEEN:
        doubts.append(Doubt.BASELINE_UNKNOWN)
    elif comparison.design is Design.BOTH:
        doubts += _baseline(comparison)
    return doubts


def _same_weeks(one: Arm, other: Arm) -> bool:
    """At least half of the weeks that either side spans are spanned by both."""
    if one.first is None or one.last is None or other.first is None or other.last is None:
        return True  # "no records" says it
    shared = (min(one.last, other.last) - max(one.first, other.first)).days + 7
    whole = (max(one.last, other.last) - min(one.first, other.first)).days + 7
    return 2 * shared >= whole


def _baseline(comparison: Comparison) -> list[Doubt]:
    gap, base = comparison.baseline.value, comparison.plain_before
    if gap is None or base is None or base.value.value is None:
        return [Doubt.BASELINE_UNKNOWN]
    return [] if abs(gap) <= ALIKE_SHARE * abs(base.value.value) else [Doubt.BASELINE_UNLIKE]


def success(declaration: Declaration, difference: Interval) -> Outcome:
    """Whether the whole interval of the difference reaches what was declared (met), or none of it (not met).

    >>> day = date(2031, 1, 6)
    >>> trial = Declaration("Does it use less?", frozenset({1}), frozenset({2}), day, date(2031, 4, 6),
    ...                     Measure.LITRES_PER_VISIT, Better.LOWER, 1.0, date(2030, 12, 1))
    >>> [success(trial, Interval(-2.0, *ends)).value for ends in ((-3.0, -1.0), (-3.0, -0.5), (-0.9, -0.1))]
    ['met', 'not decided', 'not met']
    """
    if difference.low is None or difference.high is None:
        return Outcome.UNDECIDED
    low, high = difference.low, difference.high
    if declaration.better is Better.LOWER:
        low, high = -high, -low
    if low >= declaration.at_least:
        return Outcome.MET
    return Outcome.NOT_MET if high < declaration.at_least else Outcome.UNDECIDED


def declaration_lines(declaration: Declaration | None) -> tuple[tuple[str, str], ...]:
    """The declaration as it is printed, label by label; without one, a line that says so.

    >>> declaration_lines(None)
    (('Declared', 'This comparison was not declared before it started.'),)
    """
    if declaration is None:
        return (("Declared", Doubt.NOT_DECLARED.value),)
    when = "in time" if declaration.in_time else "after it had started"
    compared = str(len(declaration.comparison_units)) if declaration.comparison_units else "none"
    return (
        ("Declared", f"{declaration.declared_on.isoformat()}, {when}"),
        ("Question", declaration.question),
        ("Units with the fitting", str(len(declaration.units))),
        ("Comparison units", compared),
        ("From", declaration.from_day.isoformat()),
        ("Until", declaration.until_day.isoformat()),
        ("Measure", declaration.measure.value),
        ("Success", f"{declaration.better.value} by at least {declaration.at_least:g}"),
    )
