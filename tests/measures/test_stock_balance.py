"""Does the stock balance? Worked by hand; the check itself is listed by the WHO data quality assurance module 1."""

import pandas as pd
import pytest

from tracker.measures.stock_balance import Balance, balance_check, balanced_share

BLANK = float("nan")
NAMES = ["place", "opening", "received", "issued", "lost", "closing"]


def stock(*rows):
    return pd.DataFrame(rows, columns=NAMES)


def test_a_stock_that_does_not_balance_is_found_with_its_gap():
    # 50 + 100 − 60 − 5 = 85.
    found = balance_check(stock(("a", 50, 100, 60, 5, 85), ("b", 50, 100, 60, 5, 80), ("c", 50, 100, 60, 5, 86)))
    assert list(found["expected"]) == [85, 85, 85]
    assert list(found["gap"]) == [0, -5, 1]
    assert list(found["state"]) == [Balance.BALANCED, Balance.LESS, Balance.MORE]
    assert list(found["place"]) == ["a", "b", "c"]


@pytest.mark.parametrize("name", NAMES[1:])
def test_a_blank_is_not_zero(name):
    row = dict(zip(NAMES, ("a", 50, 100, 60, 0, 90), strict=True)) | {name: BLANK}
    assert balance_check(pd.DataFrame([row]))["state"].tolist() == [Balance.NOT_RECORDED]


def test_a_gap_within_the_tolerance_is_balanced():
    rows = stock(("a", 50, 0, 0, 0, 48), ("b", 50, 0, 0, 0, 53))
    assert list(balance_check(rows, tolerance=2)["state"]) == [Balance.BALANCED, Balance.MORE]


def test_share_of_stocks_that_balance():
    rows = stock(("a", 50, 0, 10, 0, 40), ("b", 50, 0, 10, 0, 41), ("c", 50, 0, BLANK, 0, 40))
    share = balanced_share(balance_check(rows))
    assert (share.value, share.used, share.expected) == (0.5, 2, 3)
    assert balanced_share(balance_check(rows.iloc[2:])).value is None
    assert balanced_share(balance_check(rows.iloc[:0])).value is None


def test_negative_numbers_are_refused():
    with pytest.raises(ValueError, match="negative"):
        balance_check(stock(("a", 50, -1, 0, 0, 40)))
    with pytest.raises(ValueError, match="negative"):
        balance_check(stock(("a", 50, 0, 0, 0, 50)), tolerance=-1)
