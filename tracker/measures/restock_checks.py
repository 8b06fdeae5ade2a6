"""What a restocking plan is asked with, checked: a sentence says what is wrong, where, and what to do."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from tracker.measures.restock_terms import Limits

NEEDS: Final = (
    "school_id",
    "product_id",
    "mean",
    "variance",
    "per_day",
    "on_hand",
    "room",
    "minimum",
    "reachable",
    "days",
)
PRODUCTS: Final = ("product_id", "pack_size", "pack_cost_minor", "pack_litres", "store_packs")
MAY_BE_BLANK: Final = ("mean", "variance", "per_day", "on_hand", "room", "days")


def check_products(products: pd.DataFrame, limits: Limits) -> pd.DataFrame:
    """The products, checked.

    Raises:
        ValueError: a column is missing, a product stands twice, a pack is empty, or a price or size that a limit needs
            is not recorded.
    """
    _columns(products, PRODUCTS, "products")
    for name in products["product_id"][products["product_id"].duplicated()]:
        raise ValueError(f"Product {name} stands twice. Give each product one row.")
    _whole(products, "pack_size", 1, "Enter how many pieces are in a pack, at least 1.")
    _whole(products, "store_packs", 0, "Enter how many whole packs the store has, 0 or more.")
    for column, limit in (("pack_cost_minor", limits.budget_minor), ("pack_litres", limits.litres)):
        _known_for(products, column, limit)
    return products.astype(dict.fromkeys(PRODUCTS[1:], "float64"))


def check_needs(needs: pd.DataFrame, products: pd.DataFrame) -> pd.DataFrame:
    """The needs, checked.

    Raises:
        ValueError: a column is missing, a school has a product twice, a product is unknown, or a number is below 0, not
            finite, or blank where it may not be.
    """
    _columns(needs, NEEDS, "needs")
    twice = needs[needs.duplicated(["school_id", "product_id"])]
    if len(twice):
        raise ValueError(f"{_place(twice)} stands twice. Give each school and product one row.")
    strange = needs[~needs["product_id"].isin(products["product_id"])]
    if len(strange):
        raise ValueError(f"{_place(strange)}: this product is not in the list of products. Add it or correct the code.")
    if needs["reachable"].isna().any():
        raise ValueError(
            f"{_place(needs[needs['reachable'].isna()])}: say whether the school can be reached this time."
        )
    numbers = [name for name in NEEDS if name not in ("school_id", "product_id", "reachable")]
    for name in numbers:
        values = needs[name].to_numpy(dtype="float64")
        blank = np.isnan(values) if name not in MAY_BE_BLANK else np.zeros(len(values), dtype=bool)
        endless = np.isinf(values) if name != "room" else np.zeros(len(values), dtype=bool)
        bad = needs[blank | endless | (values < 0)]
        if len(bad):
            raise ValueError(f"{_place(bad)}: {name} is {bad[name].iloc[0]}. Enter a finite number, 0 or more.")
    return needs.astype(dict.fromkeys(numbers, "float64"))


def _columns(frame: pd.DataFrame, wanted: tuple[str, ...], what: str) -> None:
    missing = [name for name in wanted if name not in frame.columns]
    if missing:
        raise ValueError(f"The table of {what} lacks the columns {', '.join(missing)}.")


def _whole(products: pd.DataFrame, column: str, least: int, advice: str) -> None:
    values = products[column].to_numpy(dtype="float64")
    bad = products[~((values >= least) & np.isfinite(values) & (np.floor(values) == values))]
    if len(bad):
        raise ValueError(f"Product {bad['product_id'].iloc[0]}: {column} is {bad[column].iloc[0]}. {advice}")


def _known_for(products: pd.DataFrame, column: str, limit: float | None) -> None:
    values = products[column].to_numpy(dtype="float64")
    wrong = (values < 0) | np.isinf(values) | (np.isnan(values) & (limit is not None))
    bad = products[wrong]
    if len(bad):
        name, value = bad["product_id"].iloc[0], bad[column].iloc[0]
        shown = "not recorded" if np.isnan(value) else value
        raise ValueError(
            f"Product {name}: {column} is {shown}. Enter 0 or more, or plan without the limit that needs it."
        )


def _place(rows: pd.DataFrame) -> str:
    return f"School {rows['school_id'].iloc[0]}, product {rows['product_id'].iloc[0]}"
