"""Knowledge before and after lessons: pairs where they exist, otherwise two groups, and said so.

A quiz is four totals; no pupil is recorded. A rise describes what pupils answered; it does not show that the
lesson was the cause, nor that they know it a term later.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from tracker.measures.differences import McNemar, Pairs, mcnemar, newcombe_difference, newcombe_paired
from tracker.measures.figure import Figure
from tracker.measures.intervals import NOTHING, Interval, check_confidence, ratio_of_totals, wilson
from tracker.vocabulary import Basis

SHARE: Final = "share of pupils"
POINTS: Final = "difference of shares"
PAIRED: Final = "the same pupils before and after; describes, does not show that the lesson was the cause"
UNPAIRED: Final = (
    "not the same pupils one by one before and after, so a change of who answered is in it; describes, does not "
    "show that the lesson was the cause"
)
BY_SCHOOL: Final = "limits by school: pupils of a school are alike"
ONE_SCHOOL: Final = "limits treat pupils as independent, though they are of few schools: too narrow"


class Right(NamedTuple):
    """Pupils who answered rightly, of those who answered."""

    right: int
    answered: int


@dataclass(frozen=True, slots=True)
class Change:
    """Shares right before and after with their difference (after − before), and the test where pupils are paired.

    ``paired`` says which it is. ``test`` is None where pupils are not paired.
    """

    before: Figure
    after: Figure
    difference: Figure
    paired: bool
    test: McNemar | None


def paired_change(schools: Sequence[Pairs]) -> Change:
    """Before and after of the same pupils, from four totals a school.

    difference = (Σ wrong→right − Σ right→wrong) ÷ Σ n. With two schools or more its limits are those of a ratio of
    school totals (t, schools − 1); with one, Newcombe's paired limits, and the note says they are too narrow. The
    test is McNemar's on the sums: exact p, plain and corrected; it too takes pupils as independent.

    Raises:
        ValueError: no school.

    >>> found = paired_change([Pairs(yes_yes=34, yes_no=12, no_yes=28, no_no=65)])
    >>> round(found.difference.value, 4), round(found.test.exact_p, 4), round(found.test.corrected, 4)
    (0.1151, 0.0166, 5.625)
    """
    if not schools:
        raise ValueError("the totals of at least one school are needed")
    total = Pairs(
        sum(school.yes_yes for school in schools),
        sum(school.yes_no for school in schools),
        sum(school.no_yes for school in schools),
        sum(school.no_no for school in schools),
    )
    filled = [school for school in schools if school.n]
    if len(filled) > 1:
        gains = [school.no_yes - school.yes_no for school in filled]
        limits, note = ratio_of_totals(gains, [school.n for school in filled]), BY_SCHOOL
        limits = _within(limits)
    else:
        limits, note = newcombe_paired(total), ONE_SCHOOL
    before = wilson(total.yes_yes + total.yes_no, total.n)
    after = wilson(total.yes_yes + total.no_yes, total.n)
    return Change(
        _figure(before, SHARE, total.n, PAIRED),
        _figure(after, SHARE, total.n, PAIRED),
        _figure(limits, POINTS, total.n, f"{PAIRED}; {note}"),
        True,
        mcnemar(total.yes_no, total.no_yes),
    )


def unpaired_change(schools: Sequence[tuple[Right, Right]]) -> Change:
    """Before and after where answers cannot be paired: two groups, and the notes say so.

    difference of the pooled shares. With two schools or more on both sides its limits come from school totals
    (``school_difference``), otherwise Newcombe's for two independent groups.

    Args:
        schools: of each school those right before and after; 0 answered = that side was not asked there.
    Raises:
        ValueError: no school, or more right than answered.

    >>> found = unpaired_change([(Right(53, 461), Right(237, 383))])
    >>> round(found.difference.value, 4), found.paired, found.test
    (0.5038, False, None)
    """
    if not schools:
        raise ValueError("the answers of at least one school are needed")
    if any(not 0 <= side.right <= side.answered for school in schools for side in school):
        raise ValueError("pupils who answered rightly are 0 to those who answered")
    before = Right(*(sum(numbers) for numbers in zip(*(school[0] for school in schools), strict=True)))
    after = Right(*(sum(numbers) for numbers in zip(*(school[1] for school in schools), strict=True)))
    asked = [school for school in schools if school[0].answered or school[1].answered]
    if len(asked) > 1 and before.answered and after.answered:
        limits, note = school_difference(asked), BY_SCHOOL
    else:
        limits, note = newcombe_difference(*after, *before), ONE_SCHOOL
    return Change(
        _figure(wilson(*before), SHARE, before.answered, UNPAIRED),
        _figure(wilson(*after), SHARE, after.answered, UNPAIRED),
        _figure(limits, POINTS, before.answered + after.answered, f"{UNPAIRED}; {note}"),
        False,
        None,
    )


def school_difference(schools: Sequence[tuple[Right, Right]], confidence: float = 0.95) -> Interval:
    """Pooled share after − before with limits by school (linearised, t with schools − 1 degrees of freedom).

    e = (right after − share after · answered after) ÷ Σ answered after − the same before, by school;
    se = √(n ÷ (n − 1) · Σe²), n schools. A school asked on both sides is one cluster, so its pupils need not be
    independent. Nothing where a side was not asked; one school has no limits.

    Source: ratio of cluster totals (as in the vignette of the R survey package), of a difference of two ratios.
    """
    from scipy.special import stdtrit

    check_confidence(confidence)
    sides = [[school[side] for school in schools] for side in (0, 1)]
    sums = [(sum(one.right for one in side), sum(one.answered for one in side)) for side in sides]
    if any(answered == 0 for _, answered in sums):
        return NOTHING
    shares = [right / answered for right, answered in sums]
    n, value = len(schools), shares[1] - shares[0]
    if n < 2:
        return Interval(value, None, None)
    terms = [
        [(one.right - share * one.answered) / answered for one in side]
        for side, share, (_, answered) in zip(sides, shares, sums, strict=True)
    ]
    squares = math.fsum((after - before) ** 2 for before, after in zip(*terms, strict=True))
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * math.sqrt(n / (n - 1) * squares)
    return _within(Interval(value, value - half, value + half))


def _within(limits: Interval) -> Interval:
    """A difference of shares lies between −1 and 1, and so do its limits."""
    if limits.low is None or limits.high is None:
        return limits
    return limits._replace(low=max(-1.0, limits.low), high=min(1.0, limits.high))


def _figure(found: Interval, unit: str, answered: int, note: str) -> Figure:
    return Figure(
        found.value,
        unit,
        Basis.COUNTED,
        low=found.low,
        high=found.high,
        used=answered,
        expected=answered,
        records="answers",
        about_people=True,
        note=note,
    )
