"""Do the records agree with themselves? Checks that are run before anything is published, listed with their results.

A finding is a question to look into before the figures go out: a fair, a holiday or a new machine also makes a number
differ. Missing numbers are not findings; they show as schools that could not be checked. Paper against entry for a
random sample is in ``spot_check``.

Sources: the checks and the bands of 2 and 3 standard deviations, WHO data quality assurance, module 1, 2022 (read as
an abstract, and as listed in PLoS ONE 14(3) e0213600, table 1); 1.4826 makes the median absolute deviation the
standard deviation of normal values (from memory); limits of use and of ratios are judgement, no published source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import pandas as pd

from tracker.measures.figure import Figure
from tracker.measures.stock_balance import Balance, balance_check
from tracker.vocabulary import Basis

MODERATE_SD: Final = 2.0
EXTREME_SD: Final = 3.0
MODERATE_WEEKS: Final = 6  # the largest of n values is at most (n − 1) ÷ √n SD from the mean: 1.79 of 5, 2.04 of 6
EXTREME_WEEKS: Final = 11  # 2.85 of 10, 3.02 of 11
MEDIAN_WEEKS: Final = 6
MAD_SD: Final = 1.4826
MEDIAN_SD: Final = 3.0
ROUNDING: Final = 1e-9  # a smaller spread, beside the mean, is the rounding of equal values
TABLE: Final = {
    "check": "str",
    "schools": "int64",
    "expected": "int64",
    "found": "int64",
    "schools_found": "int64",
    "sentence": "str",
    "basis": "str",
}


class Check(StrEnum):
    """A check of the records against themselves."""

    STOCK = "stock_balance"
    PER_GIRL = "use_per_girl"
    MODERATE = "moderate_outliers"
    EXTREME = "extreme_outliers"
    MEDIAN = "median_outliers"
    SAME_TERM = "same_term_before"
    TERM_BEFORE = "term_before"


class Outcome(StrEnum):
    """What a check came to. It is the second half of the sentence's key: ``stock_balance.some_found``."""

    NOTHING_CHECKED = "nothing_checked"
    NONE_FOUND = "none_found"
    SOME_FOUND = "some_found"


@dataclass(frozen=True, slots=True)
class Limits:
    """From ``low`` to ``high``, both of which still count as inside."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.high:
            raise ValueError(f"limits run from a low of 0 or more to a high, got {self.low} to {self.high}")


USE_PER_GIRL: Final = Limits(0.0, 40.0)
TERM_RATIO: Final = Limits(0.67, 1.5)


@dataclass(frozen=True, slots=True)
class Result:
    """One check: ``schools`` that could be checked of ``expected``, and the rows that were found."""

    check: Check
    schools: int
    expected: int
    rows: pd.DataFrame

    @property
    def sentence(self) -> str:
        """Key of the sentence that a report prints."""
        if not self.schools:
            return f"{self.check}.{Outcome.NOTHING_CHECKED}"
        return f"{self.check}.{Outcome.NONE_FOUND if self.rows.empty else Outcome.SOME_FOUND}"


def stock(stock: pd.DataFrame, tolerance: float = 0.0) -> Result:
    """Places and products whose stock does not balance (``stock_balance.balance_check``).

    Args:
        stock: school, opening, received, issued, lost, closing, and whatever names the place and product.
    Returns:
        Rows with ``expected``, ``gap`` and ``state``. A school is checked when one of its stocks has all five numbers.

    >>> five = {"opening": [50.0], "received": [100.0], "issued": [60.0], "lost": [5.0], "closing": [80.0]}
    >>> stock(pd.DataFrame({"school": ["S1"]} | five)).sentence
    'stock_balance.some_found'
    """
    checked = balance_check(stock, tolerance)
    known = checked[checked["state"] != Balance.NOT_RECORDED.value]
    return _result(Check.STOCK, stock, known, known["state"] != Balance.BALANCED.value)


def use_per_girl(use: pd.DataFrame, limits: Limits = USE_PER_GIRL) -> Result:
    """Schools where supplies given out ÷ girls enrolled lies outside the range.

    Args:
        use: school, given_out, girls (of menstruating age), over the same period as the range is about; NaN = not
            recorded.
        limits: supplies for a girl. The default is for a term: 0 to 40 (judgement, no published source: about
            3 months of up to 13); set it from the programme's own assumptions.
    Returns:
        Rows with ``per_girl``. Supplies given out where no girl is enrolled are found (``per_girl`` empty); nothing
        given out there is left unchecked.
    Raises:
        ValueError: a negative number.
    """
    _not_negative(use, "given_out", "girls")
    known = use[use["given_out"].notna() & use["girls"].notna() & ((use["given_out"] > 0) | (use["girls"] > 0))]
    per_girl = known["given_out"] / known["girls"].where(known["girls"] > 0)
    rows = known.assign(per_girl=per_girl)
    return _result(Check.PER_GIRL, use, rows, ~per_girl.between(limits.low, limits.high))


def moderate_outliers(weeks: pd.DataFrame) -> Result:
    """School-weeks 2 to under 3 standard deviations from their school's mean; see ``extreme_outliers``.

    A school is checked with 6 weeks or more: the largest of 5 values is never 2 deviations from their mean.
    """
    rows = _by_deviation(weeks, MODERATE_WEEKS)
    return _result(Check.MODERATE, weeks, rows, (rows["away"] >= MODERATE_SD) & (rows["away"] < EXTREME_SD))


def extreme_outliers(weeks: pd.DataFrame) -> Result:
    """School-weeks 3 standard deviations or more from their school's mean.

    Args:
        weeks: school, week, value; NaN = not recorded. One row a school-week, of weeks that can be compared.
    Returns:
        Rows with ``middle`` (mean), ``spread`` (standard deviation, divisor n − 1) and ``away`` (|value − mean| ÷
        spread). A school is checked with 11 weeks or more, since the largest of n values is at most (n − 1) ÷ √n
        deviations from their mean; ``median_outliers`` finds what shorter series hide. A school that never varies is
        checked, and has none.

    >>> days = pd.date_range("2031-01-06", periods=12, freq="7D")
    >>> values = [50.0, 52.0] * 5 + [51.0, 500.0]
    >>> extreme_outliers(pd.DataFrame({"school": "S1", "week": days, "value": values})).sentence
    'extreme_outliers.some_found'
    """
    rows = _by_deviation(weeks, EXTREME_WEEKS)
    return _result(Check.EXTREME, weeks, rows, rows["away"] >= EXTREME_SD)


def median_outliers(weeks: pd.DataFrame) -> Result:
    """School-weeks outside median ± 3 × 1.4826 × MAD of their school's weeks.

    One wild week moves the median and the median absolute deviation (MAD) little, so this form also works for short
    series. Where more than half of the weeks are the same the MAD is 0 and says nothing: the school is not checked.

    Args:
        weeks: as for ``extreme_outliers``; a school is checked with 6 weeks or more (judgement).
    Returns:
        Rows with ``middle`` (median), ``spread`` (1.4826 × MAD) and ``away``.
    """
    rows = _enough(weeks, MEDIAN_WEEKS)
    middle = rows.groupby("school")["value"].transform("median")
    spread = MAD_SD * (rows["value"] - middle).abs().groupby(rows["school"]).transform("median")
    known = rows.assign(middle=middle, spread=spread, away=(rows["value"] - middle).abs() / spread)[spread > 0]
    return _result(Check.MEDIAN, weeks, known, known["away"] > MEDIAN_SD)


def term_ratio(terms: pd.DataFrame, check: Check, limits: Limits = TERM_RATIO) -> Result:
    """Schools whose term differs from an earlier one by more than the limits.

    Args:
        terms: school, this, before: the same figure of both terms, of terms of like length or per school day; NaN =
            not recorded.
        check: ``Check.SAME_TERM`` (a year before) or ``Check.TERM_BEFORE``.
        limits: of this ÷ before: 0.67 to 1.5 (judgement, no published source).
    Returns:
        Rows with ``ratio``. Something where there was 0 is found (``ratio`` empty); 0 and 0 is the same, not found.
    Raises:
        ValueError: another check, or a negative number.
    """
    if check not in (Check.SAME_TERM, Check.TERM_BEFORE):
        raise ValueError(f"{check} does not compare two terms")
    _not_negative(terms, "this", "before")
    known = terms[terms["this"].notna() & terms["before"].notna()]
    ratio = known["this"] / known["before"].where(known["before"] > 0)
    same = (known["this"] == 0) & (known["before"] == 0)
    return _result(check, terms, known.assign(ratio=ratio), ~ratio.between(limits.low, limits.high) & ~same)


def table(results: Iterable[Result]) -> pd.DataFrame:
    """The checks as a table, one row each, in the order given.

    Returns:
        check, schools (that could be checked), expected, found (rows), schools_found, sentence (key), basis (counted:
        the checks count what is in the records).
    """
    rows = [
        (r.check.value, r.schools, r.expected, len(r.rows), r.rows["school"].nunique(), r.sentence, Basis.COUNTED.value)
        for r in results
    ]
    return pd.DataFrame(rows, columns=list(TABLE)).astype(TABLE)


def found_share(result: Result) -> Figure:
    """Share of the checked schools at which a check found something; counted, records "schools"."""
    share = result.rows["school"].nunique() / result.schools if result.schools else None
    return Figure(
        share, "share of schools", Basis.COUNTED, used=result.schools, expected=result.expected, records="schools"
    )


def _result(check: Check, asked: pd.DataFrame, known: pd.DataFrame, bad: pd.Series[Any]) -> Result:
    rows = known[bad].reset_index(drop=True)
    return Result(check, int(known["school"].nunique()), int(asked["school"].nunique()), rows)


def _not_negative(rows: pd.DataFrame, *names: str) -> None:
    for name in names:
        if (rows[name] < 0).any():
            raise ValueError(f"{name} cannot be negative")


def _enough(weeks: pd.DataFrame, least: int) -> pd.DataFrame:
    """Recorded weeks of the schools that have enough of them."""
    if weeks.duplicated(["school", "week"]).any():
        raise ValueError("a school-week stands twice; give one value for each")
    rows = weeks[weeks["value"].notna()]
    return rows[rows.groupby("school")["value"].transform("size") >= least]


def _by_deviation(weeks: pd.DataFrame, least: int) -> pd.DataFrame:
    rows = _enough(weeks, least)
    groups = rows.groupby("school")["value"]
    middle, spread = groups.transform("mean"), groups.transform("std")
    varies = spread > middle.abs() * ROUNDING
    away = (rows["value"] - middle).abs() / spread.where(varies)
    return rows.assign(middle=middle, spread=spread, away=away.fillna(0.0))
