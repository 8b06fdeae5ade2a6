"""The Figure: no number leaves a measure without its unit, interval, basis and completeness."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date

from tracker.vocabulary import Basis

STRENGTH = {basis: rank for rank, basis in enumerate(Basis)}


@dataclass(frozen=True, slots=True)
class Part:
    """What one school and week contributed to a figure, in the figure's unit."""

    school: str
    week: date
    value: float


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that a report shows.

    value: in ``unit``; None is "not recorded", which is never zero.
    low, high: the 95 % interval or the bounds that ``note`` names; None where the value is a plain count.
    used, expected: how many records it rests on and how many there should be; ``records`` says of what
    ("school-weeks", "school days", "readings").
    about_people: the count is of pupils or of supplies they took; disclosure control applies.
    parts: what each school-week contributed; their sum is the value, exactly, for figures that add up.
    withheld: the words that stand in the place of a value that may not be shown; "" where nothing is withheld.
    """

    value: float | None
    unit: str
    basis: Basis
    low: float | None = None
    high: float | None = None
    used: int = 0
    expected: int = 0
    records: str = "school-weeks"
    about_people: bool = False
    note: str = ""
    parts: tuple[Part, ...] = field(default=(), compare=False)
    withheld: str = ""

    def __post_init__(self) -> None:
        for name in ("value", "low", "high"):
            number = getattr(self, name)
            if number is not None and not math.isfinite(number):
                raise ValueError(f"{name} of a figure must be a finite number or None, got {number}")
        if self.used < 0 or self.expected < 0:
            raise ValueError("records used and expected cannot be negative")
        if (self.low is None) != (self.high is None):
            raise ValueError("an interval needs both ends")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"the interval runs backwards: {self.low} to {self.high}")

    @property
    def recorded(self) -> bool:
        """Whether there is a value at all."""
        return self.value is not None

    @property
    def completeness_share(self) -> float | None:
        """Records used ÷ records expected, 0 to 1; None where none were expected."""
        return self.used / self.expected if self.expected else None


def not_recorded(unit: str, basis: Basis, *, expected: int = 0, records: str = "school-weeks") -> Figure:
    """A figure for which there is no record; it prints as "not recorded".

    >>> not_recorded("visits", Basis.COUNTED, expected=12).value is None
    True
    """
    return Figure(None, unit, basis, used=0, expected=expected, records=records)


def weakest(bases: Iterable[Basis]) -> Basis:
    """The weakest of several bases: a sum is no surer than its least sure part.

    Raises:
        ValueError: no basis is given.

    >>> weakest([Basis.COUNTED, Basis.SAMPLED]).value
    'sampled'
    """
    found = sorted(bases, key=STRENGTH.__getitem__)
    if not found:
        raise ValueError("weakest needs at least one basis")
    return found[-1]


def add(figures: Iterable[Figure]) -> Figure:
    """Sum figures of one unit: weakest basis, records added, half-widths in quadrature (independent errors).

    A part without a value adds nothing but its expected records, so completeness falls. Intervals that are not
    symmetric are added side by side: each side's distance from its value in quadrature.

    Raises:
        ValueError: no figure, or different units or kinds of record.

    >>> a = Figure(10.0, "L", Basis.METERED, low=7.0, high=13.0, used=1, expected=1)
    >>> b = Figure(20.0, "L", Basis.COUNTED, low=16.0, high=24.0, used=1, expected=2)
    >>> total = add([a, b])
    >>> total.value, total.low, total.high, total.used, total.expected, total.basis.value
    (30.0, 25.0, 35.0, 2, 3, 'metered')
    """
    rows = list(figures)
    if not rows:
        raise ValueError("add needs at least one figure")
    if len({row.unit for row in rows}) > 1 or len({row.records for row in rows}) > 1:
        raise ValueError("figures of different units or records cannot be added")
    known = [row for row in rows if row.value is not None]
    base = replace(
        rows[0],
        value=None,
        low=None,
        high=None,
        used=sum(row.used for row in rows),
        expected=sum(row.expected for row in rows),
        about_people=any(row.about_people for row in rows),
        note=next((row.note for row in rows if row.note), ""),
        parts=tuple(part for row in rows for part in row.parts),
    )
    if not known:
        return base
    value = sum(row.value for row in known if row.value is not None)
    below = math.sqrt(sum((row.value - row.low) ** 2 for row in known if row.value is not None and row.low is not None))
    above = math.sqrt(
        sum((row.high - row.value) ** 2 for row in known if row.value is not None and row.high is not None)
    )
    has_interval = any(row.low is not None for row in known)
    return replace(
        base,
        value=value,
        low=value - below if has_interval else None,
        high=value + above if has_interval else None,
        basis=weakest(row.basis for row in known),
    )
