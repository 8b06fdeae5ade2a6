"""From a printed number to its records: digits by school and week that give back exactly what is printed.

A sum opens to its school-weeks. A share or quotient opens to two such sums and its formula.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from tracker.measures.figure import Figure
from tracker.reports.printing import DECIMALS, bare, rounded
from tracker.reports.report import Report

if TYPE_CHECKING:  # it brings pandas, which a page that opens no number does without
    from tracker.reports.made_of import Ingredient, MadeOf, Totals

MOST_DECIMALS = 6  # digits of a sum whose quotient is printed


@dataclass(frozen=True, slots=True)
class PrintedPart:
    """What a school and week (None: the whole term) brought to a figure, in printed digits."""

    school: str
    week: date | None
    digits: Decimal


@dataclass(frozen=True, slots=True)
class PrintedSum:
    """A sum in digits that add up to ``total``; ``key`` is its place in the formula, "" for a plain sum."""

    key: str
    label: str
    unit: str
    parts: tuple[PrintedPart, ...]

    @property
    def total(self) -> Decimal:
        """The exact sum of the digits."""
        return sum((part.digits for part in self.parts), Decimal(0))


@dataclass(frozen=True, slots=True)
class Opened:
    """A number's sums, the sentence of how they give it, and the number that they give, as it is printed."""

    sums: tuple[PrintedSum, ...]
    formula: str
    gives: str


def adds_up(figure: Figure) -> bool:
    """Whether a figure is the sum of its parts by school and week."""
    if figure.value is None or not figure.parts:
        return False
    return abs(sum(part.value for part in figure.parts) - figure.value) <= 1e-6 * max(1.0, abs(figure.value))


def printed_parts(figure: Figure) -> tuple[PrintedPart, ...]:
    """The parts in digits that add up exactly to the printed figure.

    Each part is cut to the figure's decimals; what is then missing from the printed total goes, one last digit
    each, to the parts that lost most (largest remainders).

    Raises:
        ValueError: the figure is not the sum of its parts.

    >>> from tracker.measures.figure import Part
    >>> from tracker.vocabulary import Basis
    >>> parts = tuple(Part("S", date(2026, 1, d), 1.4) for d in (5, 12, 19))
    >>> [str(part.digits) for part in printed_parts(Figure(4.2, "visits", Basis.SAMPLED, parts=parts))]
    ['2', '1', '1']
    """
    if not adds_up(figure) or figure.value is None:
        raise ValueError("the figure is not the sum of its parts")
    exact: dict[tuple[str, date | None], Decimal] = {}
    for part in figure.parts:
        at = (part.school, part.week)
        exact[at] = exact.get(at, Decimal(0)) + Decimal(repr(float(part.value)))
    return _digits(exact, float(figure.value), DECIMALS.get(figure.unit, 0))


def _digits(exact: Mapping[tuple[str, date | None], Decimal], total: float, decimals: int) -> tuple[PrintedPart, ...]:
    step = Decimal(1).scaleb(-decimals)
    cut = {key: (value / step).to_integral_value(ROUND_FLOOR) * step for key, value in exact.items()}
    missing = int((rounded(total, decimals) - sum(cut.values())) / step)
    for key in sorted(exact, key=lambda key: (cut[key] - exact[key], key[0], key[1] or date.min))[:missing]:
        cut[key] += step
    return tuple(PrintedPart(school, week, digits) for (school, week), digits in cut.items())


def opens(report: Report, key: str) -> bool:
    """Whether a headline opens: it has a value and is a sum, or its formula is known."""
    line = report.line(key)
    if line.figure.value is None or report.made_of is None:
        return line.figure.value is not None and adds_up(line.figure)
    return adds_up(line.figure) or key in _formulas()


def headline(report: Report, key: str) -> Opened | None:
    """A headline's records; None where it does not open.

    Raises:
        KeyError: there is no such headline.
        ValueError: its sums do not give the number that is printed.
    """
    line = report.line(key)
    if not opens(report, key):
        return None
    if adds_up(line.figure):
        return plain_sum(line.label, line.figure)
    found = report.made_of(key) if report.made_of else None
    return None if found is None else _quotient(found, line.figure, _formulas()[key])


def plain_sum(label: str, figure: Figure) -> Opened:
    """The records of a figure that is the sum of its parts."""
    found = PrintedSum("", label, figure.unit, printed_parts(figure))
    return Opened((found,), "", bare(float(found.total), figure.unit))


def _formulas() -> Mapping[str, str]:
    from tracker.reports.made_of import FORMULAS

    return FORMULAS


def _quotient(made: MadeOf, figure: Figure, formula: str) -> Opened:
    """As few decimals as give the printed number exactly."""
    names = ("numerator", "denominator") if len(made.sums) > 1 or made.divisor != 1.0 else ("",)
    wanted = bare(figure.value, figure.unit)
    for more in range(MOST_DECIMALS + 1):
        sums = tuple(_sum(name, one, more) for name, one in zip(names, made.sums, strict=False))
        given = bare(value_of([one.total for one in sums], made.divisor), figure.unit)
        if given == wanted:
            return Opened(sums, formula, given)
    raise ValueError(f"the records give {given}, and {wanted} is printed")


def value_of(totals: list[Decimal], divisor: float = 1.0) -> float:
    """The number that one or two sums give: their quotient, or the sum over a constant."""
    below = float(totals[1]) if len(totals) > 1 else 1.0
    return float(totals[0]) / below / divisor


def _sum(key: str, one: Ingredient, more: int) -> PrintedSum:
    decimals = max(DECIMALS.get(one.unit, 0), more) if _broken(one.totals) else 0
    exact = {at: Decimal(repr(value)) for at, value in one.totals.items()}
    return PrintedSum(key, one.label, one.unit, _digits(exact, sum(one.totals.values()), decimals))


def _broken(totals: Totals) -> bool:
    return any(value != int(value) for value in totals.values())


def stored(report: Report) -> Iterator[tuple[str, PrintedSum]]:
    """Every sum that a published version keeps, by its key: "key", or "key.numerator" and "key.denominator"."""
    for key in dict.fromkeys(line.key for line in report.lines()):
        found = headline(report, key)
        for one in found.sums if found else ():
            yield f"{key}.{one.key}" if one.key else key, one
