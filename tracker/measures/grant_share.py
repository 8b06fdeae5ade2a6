"""Whose money stands behind a figure: grants' shares of a school by period, so that no pupil is claimed twice.

A share is a number of thousandths of a school from a day to a day. What no grant pays for stays "not under a grant".
The shares are agreed between funders; they say who may report a figure, not what caused it.

Source: largest remainders (M. L. Balinski and H. P. Young, Fair Representation, from memory), here with what rounding
left over carried from week to week.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import TypeAlias

from tracker.measures.figure import Figure, Part, not_recorded
from tracker.vocabulary import Basis

WHOLE_PERMILLE = 1000
NOT_UNDER = "not under a grant"
WEEK_DAYS = 7
LIMITS_NOTE = "The limits are those of the whole figure, in proportion."
CLAIM_NOTE = "Each pupil is claimed once in this period; a pupil reached in two periods is in both."

Weights: TypeAlias = dict[str, int]


@dataclass(frozen=True, slots=True)
class GrantShare:
    """Thousandths of a school under a grant. until_day: the last day; None while it runs."""

    school: str
    grant: str
    permille: int
    from_day: date
    until_day: date | None = None

    def __post_init__(self) -> None:
        if not 0 < self.permille <= WHOLE_PERMILLE:
            raise ValueError(f"a grant's share is 1 to 1000 thousandths of a school, got {self.permille}")
        if self.until_day is not None and self.until_day < self.from_day:
            raise ValueError(f"a share of {self.grant} ends on {self.until_day}, before it begins on {self.from_day}")
        if self.grant == NOT_UNDER:
            raise ValueError(f"a grant cannot be called {NOT_UNDER!r}")

    def holds(self, day: date) -> bool:
        """Whether the share holds on a day."""
        return self.from_day <= day and (self.until_day is None or day <= self.until_day)


def check_shares(shares: Iterable[GrantShare]) -> None:
    """Refuse shares that give away more than the whole of a school on any day.

    Raises:
        ValueError: shares of a school add up to more than 1000 on a day, or one grant has two shares of a school on
            one day. The message names school, first such day and grants.

    >>> day = date(2031, 1, 6)
    >>> check_shares([GrantShare("S1", "G1", 600, day), GrantShare("S1", "G2", 400, day)])
    """
    for school, mine in sorted(_by_school(shares).items()):
        for day in sorted({share.from_day for share in mine}):  # a sum can only grow on a first day
            there = sorted((share for share in mine if share.holds(day)), key=lambda share: share.grant)
            grants = [share.grant for share in there]
            named = ", ".join(f"{share.grant} ({share.permille})" for share in there)
            if len(set(grants)) < len(grants):
                raise ValueError(f"At school {school} a grant has two shares on {day}: {named}. Give it one share.")
            if (total := sum(share.permille for share in there)) > WHOLE_PERMILLE:
                raise ValueError(
                    f"At school {school} the grants' shares add up to {total} thousandths on {day}: {named}. "
                    "Together they may be 1000 at the most."
                )


def day_weights(shares: Iterable[GrantShare], days: Iterable[date]) -> Weights:
    """Thousandth-days of each grant of one school over some days, and those not under a grant; 0 is left out.

    >>> share = GrantShare("S1", "G1", 600, date(2031, 1, 8))
    >>> day_weights([share], [date(2031, 1, 7), date(2031, 1, 8)])
    {'G1': 600, 'not under a grant': 1400}
    """
    weights: Weights = {}
    order, known = list(days), sorted(shares, key=lambda share: share.grant)
    for share in known:
        if held := share.permille * sum(1 for day in order if share.holds(day)):
            weights[share.grant] = weights.get(share.grant, 0) + held
    if rest := WHOLE_PERMILLE * len(order) - sum(weights.values()):
        weights[NOT_UNDER] = rest
    return weights


def attribute(
    figure: Figure,
    shares: Iterable[GrantShare],
    expected: Collection[tuple[str, date]],
    *,
    whole: bool = True,
    school_days: Mapping[str, Collection[date]] | None = None,
) -> dict[str, Figure]:
    """A figure that adds up, shared among grants by its parts; together they are the figure again.

    A part (school and week) is shared by the thousandths that hold on the week's school days. Whole units go whole:
    each grant gets the whole part of its share, and what is left goes one by one to the grant that the roundings of
    this school so far have left furthest behind (equal: by name). So the sums are exact in every school-week, and no
    grant's sum at a school strays from its exact share by as many units as there are receivers.

    Args:
        figure: with parts whose sum is its value.
        expected: (school, first day of the week) of the records that there should be.
        whole: the figure counts whole things; else parts are shared exactly, up to the rounding of a float.
        school_days: school → its school days. A week without one of them, or None: all seven days of the week.
    Returns:
        Grant → Figure, by name, ``NOT_UNDER`` last; every grant that holds in an expected week or in a part's.
        used and expected: school-weeks in which the grant holds. Limits are those of the whole in proportion to the
        value. A grant of whose school-weeks none has a part is not recorded.
    Raises:
        ValueError: see ``check_shares``; the parts are not the value (a share or a mean cannot be attributed); a part
            of a whole figure is not whole or is negative.

    >>> week = date(2031, 1, 6)
    >>> visits = Figure(5.0, "visits", Basis.COUNTED, parts=(Part("S1", week, 5.0),))
    >>> found = attribute(visits, [GrantShare("S1", "G1", 500, week)], [("S1", week)])
    >>> {grant: part.value for grant, part in found.items()}
    {'G1': 3.0, 'not under a grant': 2.0}
    """
    known = list(shares)
    check_shares(known)
    _check_parts(figure, whole=whole)
    mine = _by_school(known)

    def weights_of(school: str, week: date) -> Weights:
        days = _days(week, (school_days or {}).get(school, ()))
        return day_weights(mine.get(school, []), days)

    due = set(expected) | {(part.school, part.week) for part in figure.parts}
    holds: dict[str, int] = {}
    for school, week in due:
        for grant in weights_of(school, week):
            holds[grant] = holds.get(grant, 0) + 1
    parts = _shared(figure.parts, weights_of, whole=whole)
    return {grant: _part_of(figure, parts.get(grant, []), holds[grant]) for grant in _order(holds)}


def claim_pupils(
    pupils: Mapping[str, int | None], shares: Iterable[GrantShare], first_day: date, last_day: date
) -> dict[str, Figure]:
    """Pupils reached, each claimed by one grant or by none; together they are all pupils reached.

    A school's pupils are shared by the thousandth-days of the period, with largest remainders; what rounding leaves
    is carried from school to school (by code), so that a small grant of many schools is not rounded away.

    Args:
        pupils: school → pupils reached in the period, counted once each; None: not recorded.
        first_day, last_day: the period; call once for a period, and do not add its claims to another's.
    Returns:
        Grant → Figure in pupils, about people (disclosure control applies, to all grants together), records "schools".
        No parts: they would name schools.
    Raises:
        ValueError: see ``check_shares``; a number of pupils below 0; a period that runs backwards.

    >>> day = date(2031, 1, 6)
    >>> two = [GrantShare("S1", "G1", 600, day), GrantShare("S1", "G2", 400, day)]
    >>> [(grant, found.value) for grant, found in claim_pupils({"S1": 101}, two, day, day).items()]
    [('G1', 61.0), ('G2', 40.0)]
    """
    if last_day < first_day:
        raise ValueError(f"the period ends on {last_day}, before it begins on {first_day}")
    if any(count is not None and count < 0 for count in pupils.values()):
        raise ValueError("a number of pupils cannot be negative")
    known = list(shares)
    check_shares(known)
    mine = _by_school(known)
    days = [first_day + timedelta(days=number) for number in range((last_day - first_day).days + 1)]
    behind: dict[str, Fraction] = {}
    claimed: dict[str, list[int | None]] = {}
    for school, count in sorted(pupils.items()):
        weights = day_weights(mine.get(school, []), days)
        given = dict.fromkeys(weights) if count is None else _whole_shares(count, weights, behind)
        for grant, number in given.items():
            claimed.setdefault(grant, []).append(number)
    return {grant: _claim(claimed[grant]) for grant in _order(claimed)}


def _by_school(shares: Iterable[GrantShare]) -> dict[str, list[GrantShare]]:
    found: dict[str, list[GrantShare]] = {}
    for share in shares:
        found.setdefault(share.school, []).append(share)
    return found


def _days(week: date, school_days: Collection[date]) -> list[date]:
    every = [week + timedelta(days=number) for number in range(WEEK_DAYS)]
    held = set(school_days)
    return [day for day in every if day in held] or every


def _check_parts(figure: Figure, *, whole: bool) -> None:
    total = math.fsum(part.value for part in figure.parts)
    if figure.value is not None and not math.isclose(total, figure.value, rel_tol=1e-9, abs_tol=1e-9):
        raise ValueError(f"the parts add up to {total:g} and the figure is {figure.value:g}; it cannot be attributed")
    if whole and any(part.value < 0 or part.value != int(part.value) for part in figure.parts):
        raise ValueError("a figure of whole things has a part that is not a whole number of 0 or more")


def _shared(parts: Iterable[Part], weights_of: Callable[[str, date], Weights], *, whole: bool) -> dict[str, list[Part]]:
    """Grant → its parts, by school and week."""
    behind: dict[str, dict[str, Fraction]] = {}
    found: dict[str, list[Part]] = {}
    for part in sorted(parts, key=lambda part: (part.school, part.week)):
        weights = weights_of(part.school, part.week)
        if whole:
            given: Mapping[str, float] = _whole_shares(int(part.value), weights, behind.setdefault(part.school, {}))
        else:
            given = _exact_shares(part.value, weights)
        for grant, value in given.items():
            found.setdefault(grant, []).append(Part(part.school, part.week, float(value)))
    return found


def _whole_shares(total: int, weights: Weights, behind: dict[str, Fraction]) -> dict[str, int]:
    """Whole shares whose sum is the total. ``behind``: exact less given so far; it is brought up to date."""
    base = sum(weights.values())
    given = {grant: total * weight // base for grant, weight in weights.items()}
    for grant, weight in weights.items():
        behind[grant] = behind.get(grant, Fraction(0)) + Fraction(total * weight % base, base)
    for _ in range(total - sum(given.values())):
        last = min(weights, key=lambda grant: (-behind[grant], grant))
        given[last] += 1
        behind[last] -= 1
    return given


def _exact_shares(value: float, weights: Weights) -> dict[str, float]:
    base = sum(weights.values())
    return {grant: float(Fraction(value) * weight / base) for grant, weight in weights.items()}


def _order(grants: Iterable[str]) -> list[str]:
    return sorted(grants, key=lambda grant: (grant == NOT_UNDER, grant))


def _part_of(figure: Figure, parts: list[Part], expected: int) -> Figure:
    if figure.value is None or not parts:
        empty = not_recorded(figure.unit, figure.basis, expected=expected)
        return replace(empty, about_people=figure.about_people)
    value = math.fsum(part.value for part in parts)
    low = high = None
    note = figure.note
    if figure.low is not None and figure.high is not None and figure.value > 0:
        low, high = figure.low * value / figure.value, figure.high * value / figure.value
        note = f"{note} {LIMITS_NOTE}".strip()
    base = Figure(value, figure.unit, figure.basis, low, high, len(parts), expected, "school-weeks")
    return replace(base, about_people=figure.about_people, note=note, parts=tuple(parts))


def _claim(numbers: list[int | None]) -> Figure:
    known = [number for number in numbers if number is not None]
    value = float(sum(known)) if known else None
    return Figure(
        value,
        "pupils",
        Basis.COUNTED,
        used=len(known),
        expected=len(numbers),
        records="schools",
        about_people=True,
        note=CLAIM_NOTE,
    )
