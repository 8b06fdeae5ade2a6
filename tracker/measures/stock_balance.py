"""Does the stock balance? Opening + received − issued − lost = closing, by place and product.

Stock must balance, so this is the strongest proof the records can give of themselves. A gap is shown with its
size; it says that something was not written down, not that somebody took something.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

import pandas as pd

from tracker.measures.figure import Figure
from tracker.vocabulary import Basis

MOVES: Final = ["opening", "received", "issued", "lost", "closing"]


class Balance(StrEnum):
    """How a place's stock of a product stands."""

    BALANCED = "balanced"
    MORE = "more than the records say"
    LESS = "less than the records say"
    NOT_RECORDED = "not recorded"


def balance_check(stock: pd.DataFrame, tolerance: float = 0.0) -> pd.DataFrame:
    """Each place and product with the closing stock that its records give, the gap, and its state.

    expected = opening + received − issued − lost; gap = closing − expected. A blank makes the row "not
    recorded": it is not zero. Extra columns (place, product, term) are kept.

    Args:
        stock: ``opening``, ``received``, ``issued``, ``lost``, ``closing`` in pieces, NaN = not recorded.
        tolerance: gap in pieces that still counts as balanced.
    Raises:
        ValueError: a negative number or tolerance.
    Source: stock identity (arithmetic); demanded as a data quality check of consistency by the WHO data
        quality assurance module 1, 2022 (read as an abstract).

    >>> frame = pd.DataFrame({"opening": [50.0, 50.0], "received": [100.0, 100.0], "issued": [60.0, 60.0],
    ...     "lost": [5.0, float("nan")], "closing": [80.0, 85.0]})
    >>> balance_check(frame)[["expected", "gap", "state"]].values.tolist()
    [[85.0, -5.0, 'less than the records say'], [nan, nan, 'not recorded']]
    """
    numbers = stock[MOVES].astype("float64")
    if (numbers < 0).any(axis=None) or tolerance < 0:
        raise ValueError("stock, moves and tolerance cannot be negative")
    expected = numbers["opening"] + numbers["received"] - numbers["issued"] - numbers["lost"]
    gap = numbers["closing"] - expected
    states = pd.Series(Balance.BALANCED.value, index=stock.index, dtype="str")
    states = states.mask(gap > tolerance, Balance.MORE.value).mask(gap < -tolerance, Balance.LESS.value)
    states = states.mask(gap.isna(), Balance.NOT_RECORDED.value)
    return stock.assign(expected=expected, gap=gap, state=states)


def balanced_share(checked: pd.DataFrame) -> Figure:
    """Share of the places and products that balance, of those with all five numbers; from ``balance_check``.

    Counted; records "stocks". None where no stock has all five.
    """
    known = checked[checked["state"] != Balance.NOT_RECORDED.value]
    share = float((known["state"] == Balance.BALANCED.value).mean()) if len(known) else None
    return Figure(share, "share of stocks", Basis.COUNTED, used=len(known), expected=len(checked), records="stocks")
