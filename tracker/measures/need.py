"""Need of menstrual supplies, estimated from enrolment by age; and what was given out against it.

An estimate built on published curves and stated assumptions, each with its range. It counts no girl and is no
target: girls bring their own, and a share says nothing about any one of them.

Sources: ages at menarche as named with each curve; curve read at age + ½, because "12" in an enrolment table
means 12.0 to 12.99; fit of such curves by probit or logit, as in studies of status-quo data.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.figure import Figure
from tracker.vocabulary import Basis, Sex

AGE_UNKNOWN: Final = -1
NEED_NOTE: Final = "an estimate from ages and assumptions, each at the low and at the high end of its range"


@dataclass(frozen=True, slots=True)
class Curve:
    """Age at menarche in a studied group: mean and deviation in years."""

    mean: float
    deviation: float
    source: str


CURVES: Final[dict[str, Curve]] = {
    "men.nind": Curve(13.13, 1.23, "north India, 263 of 470 girls followed; pmc.ncbi.nlm.nih.gov/articles/PMC10579622"),
    "men.pune": Curve(12.62, 1.05, "urban Pune, 742 girls of 9 to 16; Rokade and Mane 2008"),
    "men.teh": Curve(13.06, 1.24, "Tehran cohort; pmc.ncbi.nlm.nih.gov/articles/PMC4166004"),
}
DEFAULT_CURVE: Final = "men.nind"


class Shape(StrEnum):
    """Form of the curve of girls past menarche by age."""

    NORMAL = "normal"  # probit
    LOGIT = "logit"  # the same mean and deviation


@dataclass(frozen=True, slots=True)
class Assumption:
    """A number that nobody counted, with its range and where it comes from."""

    value: float
    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.value <= self.high < math.inf:
            raise ValueError("an assumption lies in its range, and its range is not below 0")


@dataclass(frozen=True, slots=True)
class NeedAssumptions:
    """What the need rests on.

    pads: disposable pads a cycle. cycle_days: days from cycle to cycle. school_share: of the pads of a school day,
    the share that the school means to give (1 = the whole day and night).
    """

    pads: Assumption = Assumption(8, 8, 15, "8 a month, an estimate for India (read); 15, Sphere 2018 (from memory)")
    cycle_days: Assumption = Assumption(28, 24, 38, "planning convention; normal range of FIGO (read)")
    school_share: Assumption = Assumption(
        0.5, 0.25, 1.0, "own choice, no published source; a change every 6 hours makes at least 1 of 4 at school"
    )


ASSUMPTIONS: Final = NeedAssumptions()


def past_menarche(age: float, curve: Curve, shape: Shape = Shape.NORMAL) -> float:
    """Share of girls of this age (in completed years) who are past menarche, 0 to 1: Φ((age + ½ − mean) ÷ SD).

    The logit shape has the same mean and deviation: scale = SD·√3 ÷ π.

    Raises:
        ValueError: a negative age, which means "not known".

    >>> round(past_menarche(12, CURVES["men.nind"]), 4), round(past_menarche(12, CURVES["men.nind"], Shape.LOGIT), 4)
    (0.3043, 0.2831)
    """
    from scipy.special import expit, ndtr

    if age < 0:
        raise ValueError("the age is not known")
    distance = (age + 0.5 - curve.mean) / curve.deviation
    return float(ndtr(distance) if shape is Shape.NORMAL else expit(distance * math.pi / math.sqrt(3)))


def girls_past_menarche(girls: Mapping[int, float], curve: Curve, shape: Shape = Shape.NORMAL) -> float:
    """Girls past menarche among ``girls`` by age in completed years: an expectation, not a count.

    >>> round(girls_past_menarche({11: 40, 12: 42, 13: 38, 14: 36, 15: 30}, CURVES["men.nind"]), 2)
    100.39
    """
    return math.fsum(number * past_menarche(age, curve, shape) for age, number in girls.items())


def menstruating_on_a_day(girls: float, bleeding_days: float = 5, cycle_days: float = 28) -> float:
    """Of girls past menarche, those expected to menstruate on an average day.

    Source: planning convention of 5 bleeding days in 28 (read).

    >>> round(menstruating_on_a_day(100), 2)
    17.86
    """
    if cycle_days <= 0 or not 0 <= bleeding_days <= cycle_days:
        raise ValueError("bleeding days lie within the cycle")
    return girls * bleeding_days / cycle_days


def changes_needed(hours: float, every_hours: float = 6.0) -> int:
    """Changes that fall due in ``hours`` when one is due at least every 6 hours.

    Source: longest wear taught in a school programme (read).

    >>> changes_needed(24), changes_needed(6)
    (4, 1)
    """
    if hours < 0 or every_hours <= 0:
        raise ValueError("hours must be at least 0 and the interval above 0")
    return math.floor(hours / every_hours)


def pads_needed(girls: float, days: float, pads: float, cycle_days: float, school_share: float = 1.0) -> float:
    """Pads for girls past menarche over some days: girls × pads a cycle × days ÷ cycle days × share.

    Over school days only, days spread evenly over cycles. Three months of one cycle each:

    >>> pads_needed(100, 3, 8, 1)
    2400.0
    """
    if cycle_days <= 0 or min(girls, days, pads, school_share) < 0:
        raise ValueError("girls, days, pads and share must be at least 0 and the cycle above 0")
    return girls * pads * days / cycle_days * school_share


@dataclass(frozen=True, slots=True)
class GirlsByAge:
    """Girls enrolled: by age in completed years, and those whose age is not known."""

    known: Mapping[int, float]
    unknown: float

    @property
    def total(self) -> float:
        """All girls enrolled."""
        return math.fsum(self.known.values()) + self.unknown


def girls_by_age(enrolment: pd.DataFrame, grade_ages: Mapping[str, int], day: pd.Timestamp) -> GirlsByAge:
    """Girls in force on a day, by age; where the age is not known, the usual age of the grade.

    Args:
        enrolment: frame ``enrolment`` (``age`` −1 or NaN = not known; ``until_day`` included, NaT = still).
        grade_ages: usual age in completed years of a grade; a grade without one leaves its girls unknown.
    """
    first, until = (enrolment[name].to_numpy("datetime64[us]") for name in ("from_day", "until_day"))
    there = (first <= day.to_datetime64()) & (np.isnat(until) | (until >= day.to_datetime64()))
    girls = np.flatnonzero((enrolment["sex"].to_numpy(object) == Sex.GIRLS.value) & there)
    ages, pupils = (enrolment[name].to_numpy("float64")[girls].tolist() for name in ("age", "pupils"))
    found: dict[int, float] = {}
    for age, grade, number in zip(ages, enrolment["grade"].to_numpy(object)[girls], pupils, strict=True):
        years = int(age) if age >= 0 else int(grade_ages.get(grade, AGE_UNKNOWN))
        found[years] = found.get(years, 0.0) + number
    unknown = found.pop(AGE_UNKNOWN, 0.0)
    return GirlsByAge(found, unknown)


def estimated_need(
    girls: GirlsByAge,
    school_days: float,
    *,
    curve: str = DEFAULT_CURVE,
    shape: Shape = Shape.NORMAL,
    assumptions: NeedAssumptions = ASSUMPTIONS,
) -> Figure:
    """Napkins that girls are estimated to need from the school over its school days.

    value: the named curve and every assumption at its value, girls of unknown age at the share of the others.
    low: the curve with fewest girls past menarche, every assumption at the end that makes least, none of the girls
    of unknown age; high: the other ends, all of them. These are bounds, not a 95 % interval.

    Returns:
        Unit "napkins", estimated; ``used`` girls of known age, ``expected`` girls enrolled. None without a girl of
        known age.
    Raises:
        ValueError: negative school days, or a curve that is not in ``CURVES``.
    """
    if curve not in CURVES:
        raise ValueError(f"there is no curve {curve}; known are {', '.join(CURVES)}")
    counted = math.fsum(girls.known.values())
    found = Figure(None, "napkins", Basis.ESTIMATED, expected=round(girls.total), records="girls", about_people=True)
    if counted == 0:
        return found
    ours = girls_past_menarche(girls.known, CURVES[curve], shape)
    others = [girls_past_menarche(girls.known, one, form) for one in CURVES.values() for form in Shape]
    past = (min(others), ours * girls.total / counted, max(others) + girls.unknown)
    low, value, high = (
        pads_needed(number, school_days, *ends) for number, ends in zip(past, _ends(assumptions), strict=True)
    )
    return replace(found, value=value, low=low, high=high, used=round(counted), note=NEED_NOTE)


def _ends(given: NeedAssumptions) -> tuple[tuple[float, float, float], ...]:
    """Pads, cycle and share that make the least, the stated and the greatest need."""
    pads, cycle, share = given.pads, given.cycle_days, given.school_share
    return (
        (pads.low, cycle.high, share.low),
        (pads.value, cycle.value, share.value),
        (pads.high, cycle.low, share.high),
    )


def given_out_against_need(given_out: Figure, need: Figure) -> Figure:
    """Napkins given out against estimated need, as a share (1 = as many as estimated; it may be above 1).

    low = least given out ÷ greatest need; high = greatest given out ÷ least need. Never to be called coverage: it
    does not say how many girls found what they needed. None where either is not recorded or the need is 0.
    Completeness is that of what was given out.
    """
    known = given_out.value is not None and bool(need.value)
    value = given_out.value / need.value if given_out.value is not None and need.value else None
    low = given_out.value if given_out.low is None else given_out.low
    high = given_out.value if given_out.high is None else given_out.high
    limited = known and low is not None and high is not None and bool(need.low) and bool(need.high)
    return Figure(
        value,
        "share of estimated need",
        Basis.ESTIMATED,
        low=low / need.high if limited and low is not None and need.high else None,
        high=high / need.low if limited and high is not None and need.low else None,
        used=given_out.used,
        expected=given_out.expected,
        records=given_out.records,
        about_people=True,
        note=NEED_NOTE if known else "",
    )
