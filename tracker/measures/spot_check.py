"""Checked by someone else: which schools and figures are looked at again, and how far what was found agrees.

Each term a few schools are drawn, and of each a few figures. A person who did not report them counts or reads them
again from the paper, the dial or the shelf. Nobody picks the schools, and a difference is a question to both, not a
fault of either. The sampling is systematic from a list put in random order inside each area (W. G. Cochran, Sampling
Techniques, ch. 8, from memory). Found ÷ reported is the verification factor of routine data reviews (from memory).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from tracker.measures.figure import Figure
from tracker.measures.intervals import NOTHING, Interval, ratio_of_totals, wilson
from tracker.vocabulary import Basis

START_BITS = 256
NOTHING_CHECKED = "Nothing was checked by another person."
ALIKE = "All schools came out alike, so they show no spread and there is no range."
ONE_SCHOOL = "All checks were at one school; the limits take its figures as independent and are too narrow."
BY_SCHOOL = "Limits by school; where all checks of all schools came out alike, each school counts as one check."


@dataclass(frozen=True, slots=True, order=True)
class Check:
    """A figure of a school that is to be looked at again. chance: that of being drawn, 0 to 1."""

    area: str
    school: str
    figure: str
    chance: float


@dataclass(frozen=True, slots=True)
class Draw:
    """The checks of a term; every school had the chance ``school_chance``."""

    checks: tuple[Check, ...]
    schools: tuple[str, ...]
    school_chance: float


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far found may lie from reported and still agree: within ``share`` of found, or within ``least`` units.

    Defaults: 5 % and 1 unit (judgement, no published source); print them with the share.
    """

    share: float = 0.05
    least: float = 1.0

    def __post_init__(self) -> None:
        if not (0 <= self.share < math.inf and 0 <= self.least < math.inf):
            raise ValueError("a tolerance cannot be below 0")


@dataclass(frozen=True, slots=True)
class Agreement:
    """Reported against found.

    within: share of the checked figures within the tolerance. factors: found ÷ reported by figure, in order of name.
    differences: the largest first, with school, figure, reported, found, difference, apart and within.
    not_reported: figures that were found though none had been reported; they are in no share.
    """

    within: Figure
    factors: dict[str, Figure]
    differences: pd.DataFrame
    not_reported: int
    tolerance: Tolerance


def draw(
    schools: Mapping[str, str], figures: Mapping[str, Sequence[str]], count: int, seed_text: str, *, each: int = 3
) -> Draw:
    """Draw schools, and figures of each, the same every time for the same ``seed_text``.

    The schools stand area by area, in an area by the SHA-256 of ``seed_text|school|code``; from a start that
    the SHA-256 of ``seed_text|start`` gives, every (N ÷ count)-th is taken. So each has the same chance count ÷ N, and
    each area gets its share of the schools, rounded down or up. Of a drawn school the ``each`` figures that come
    first by the SHA-256 of ``seed_text|school|figure`` are taken; its figures have equal chances too.

    Args:
        schools: school → area.
        figures: school → names of the figures that it reports. A school without any is not drawn from.
        count: schools to draw; all of them where there are no more.
        seed_text: programme and term, say; written down before the term's figures are known.
        each: figures of a school; all of them where it has no more.
    Returns:
        The checks sorted by area, school and figure; chance = count ÷ N × each ÷ figures of the school.
    Raises:
        ValueError: ``count`` is negative, ``each`` is below 1, or figures are given for a school that has no area.

    >>> found = draw({"S1": "north", "S2": "north"}, {"S1": ["visits"], "S2": ["visits"]}, 1, "term 1", each=1)
    >>> len(found.checks), found.school_chance
    (1, 0.5)
    """
    if count < 0 or each < 1:
        raise ValueError(f"draw 0 schools or more and 1 figure or more of each, got {count} and {each}")
    if unknown := sorted(set(figures) - set(schools)):
        raise ValueError(f"figures are given for schools without an area: {', '.join(unknown)}")
    listed = sorted(
        (school for school, names in figures.items() if names), key=lambda one: _order(one, schools, seed_text)
    )
    chosen = sorted(listed[place] for place in _places(len(listed), count, seed_text))
    chance = len(chosen) / len(listed) if listed else 0.0
    checks = []
    for school in chosen:
        names = sorted(set(figures[school]), key=lambda name: _hash(seed_text, school, name))
        taken = names[:each]
        checks += [Check(schools[school], school, name, chance * len(taken) / len(names)) for name in taken]
    return Draw(tuple(sorted(checks)), tuple(chosen), chance)


def draw_week(school: str, figure: str, weeks: Iterable[date], seed_text: str) -> date:
    """One of the weeks that a drawn figure has on record: first by the SHA-256 of ``seed_text|school|figure|week``.

    Every week has the same chance, and the same ``seed_text`` gives the same week.

    Raises:
        ValueError: there is no week.

    >>> draw_week("S1", "visits", [date(2031, 1, 6)], "term 1")
    datetime.date(2031, 1, 6)
    """
    known = sorted(weeks, key=lambda week: _hash(seed_text, school, figure, week.isoformat()))
    if not known:
        raise ValueError(f"{figure} of school {school} has no week on record; it cannot be drawn")
    return known[0]


def _order(school: str, schools: Mapping[str, str], seed_text: str) -> tuple[str, str]:
    return schools[school], _hash(seed_text, "school", school)


def _hash(*words: str) -> str:
    return hashlib.sha256("|".join(words).encode()).hexdigest()


def _places(size: int, count: int, seed_text: str) -> list[int]:
    """Every (size ÷ count)-th place of a list, from a start below the first step; in whole numbers, so exact."""
    count = min(count, size)
    start = int(_hash(seed_text, "start"), 16)
    return [(start + (turn << START_BITS)) * size // (count << START_BITS) for turn in range(count)]


def agreement(checks: pd.DataFrame, tolerance: Tolerance | None = None, *, most: int = 10) -> Agreement:
    """How far what another person found agrees with what was reported.

    Args:
        checks: school, figure, reported, found; a row per check of the draw. ``found`` NaN: not checked, which is
            neither agreement nor difference. ``reported`` NaN: nothing had been reported; counted apart.
        tolerance: see ``Tolerance``.
        most: rows of ``differences`` at the most.
    Returns:
        within: basis sampled, records "checks", used checked, expected drawn. From two schools on the limits are the
        wider of the ratio of school totals (t, schools − 1) and Wilson's over the checks; where all checks agree, or
        none does, schools show no spread and Wilson's limits are taken over the schools. One school: Wilson's.
        factors: Σ found ÷ Σ reported with t on schools − 1, records "schools", used those checked; one school, or
        schools that all came out alike, have no limits, and nothing reported in total no factor. Above 1: more was
        found than reported.
        difference = found − reported; apart = |difference| ÷ the larger of the two (0 to 1), by which rows are sorted.
        Nothing checked: no value, and the note says so.
    Raises:
        ValueError: a negative number, or a school and figure twice.

    >>> numbers = {"reported": [100.0, 50.0], "found": [104.0, 80.0]}
    >>> rows = pd.DataFrame({"school": ["S1", "S2"], "figure": "visits"} | numbers)
    >>> result = agreement(rows)
    >>> result.within.value, round(result.factors["visits"].value, 3), result.differences["school"].tolist()
    (0.5, 1.227, ['S2', 'S1'])
    """
    limit = tolerance or Tolerance()
    if (checks[["reported", "found"]] < 0).any(axis=None):
        raise ValueError("a reported or found figure cannot be negative")
    if checks.duplicated(["school", "figure"]).any():
        raise ValueError("a school and figure stands twice among the checks; give one row for each")
    known = checks[checks["found"].notna() & checks["reported"].notna()]
    rows = _compared(known, limit)
    factors = {str(name): _factor(group) for name, group in checks.groupby("figure", sort=True)}
    order = rows.sort_values(["apart", "school", "figure"], ascending=[False, True, True], ignore_index=True)
    missing = int((checks["found"].notna() & checks["reported"].isna()).sum())
    return Agreement(_within(rows, len(checks), limit), factors, order.head(most), missing, limit)


def _compared(rows: pd.DataFrame, limit: Tolerance) -> pd.DataFrame:
    reported, found = rows["reported"].astype("float64"), rows["found"].astype("float64")
    difference = found - reported
    larger = reported.where(reported > found, found)
    apart = (difference.abs() / larger.where(larger > 0)).fillna(0.0)
    allowed = (limit.share * found).clip(lower=limit.least)
    agrees = difference.abs() <= allowed * (1 + 1e-12)
    kept = rows[["school", "figure", "reported", "found"]]
    return kept.assign(difference=difference, apart=apart, within=agrees)


def _within(rows: pd.DataFrame, drawn: int, limit: Tolerance) -> Figure:
    unit, records = "share of checked figures", "checks"
    if rows.empty:
        return Figure(None, unit, Basis.SAMPLED, used=0, expected=drawn, records=records, note=NOTHING_CHECKED)
    by_school = rows.groupby("school")["within"].agg(["sum", "size"])
    share, low, high = _share(by_school["sum"].tolist(), by_school["size"].tolist())
    said = f"Agrees: within {limit.share * 100:g} % of what was found, or within {limit.least:g}."
    why = ONE_SCHOOL if len(by_school) == 1 else BY_SCHOOL
    return Figure(share, unit, Basis.SAMPLED, low, high, len(rows), drawn, records, note=f"{said} {why}")


def _share(agreeing: Sequence[int], checked: Sequence[int]) -> Interval:
    """Share with limits; one element a school."""
    good, total, schools = sum(agreeing), sum(checked), len(checked)
    if schools > 1 and good in (0, total):
        return wilson(schools if good else 0, schools)
    alone = wilson(good, total)
    together = ratio_of_totals(agreeing, checked) if schools > 1 else NOTHING
    if together.low is None or together.high is None or alone.low is None or alone.high is None:
        return alone
    return Interval(alone.value, max(0.0, min(alone.low, together.low)), min(1.0, max(alone.high, together.high)))


def _factor(checks: pd.DataFrame) -> Figure:
    """Found ÷ reported of one figure."""
    unit, drawn = "found ÷ reported", int(checks["school"].nunique())
    rows = checks[checks["found"].notna() & checks["reported"].notna()]
    if rows.empty:
        return Figure(None, unit, Basis.SAMPLED, expected=drawn, records="schools", note=NOTHING_CHECKED)
    value, low, high = ratio_of_totals(rows["found"].tolist(), rows["reported"].tolist())
    note = "" if value is not None else "Nothing had been reported in total, so there is no factor."
    if low is not None and low == high:
        low, high, note = None, None, ALIKE
    low = None if low is None else max(0.0, low)
    return Figure(value, unit, Basis.SAMPLED, low, high, len(rows), drawn, "schools", note=note)
