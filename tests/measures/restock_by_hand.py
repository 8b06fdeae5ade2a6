"""Rounds written by hand or drawn with a fixed seed, and the expected loss by scipy.stats, for tests of the plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from tracker.measures.restock import Limits

BLANK = {
    "variance": np.nan,
    "per_day": np.nan,
    "on_hand": 0.0,
    "room": np.nan,
    "minimum": 0.0,
    "reachable": True,
    "days": 10.0,
}


def needs(mean: Sequence[float], **columns: object) -> pd.DataFrame:
    """A line a mean; schools 1, 2, 3 … of product N, nothing on hand, no limit of room."""
    base = {"school_id": np.arange(1, len(mean) + 1), "product_id": "N", "mean": mean, **BLANK}
    frame = pd.DataFrame({**base, **columns})
    if "per_day" not in columns:
        frame["per_day"] = frame["mean"] / frame["days"]
    return frame


def goods(store: Sequence[int], **columns: object) -> pd.DataFrame:
    """A product a store: N, or those named; packs of one piece, free, without litres."""
    names = ["N"] if len(store) == 1 else [f"P{i}" for i in range(len(store))]
    base = {"product_id": names, "pack_size": 1, "pack_cost_minor": 0, "pack_litres": 0.0, "store_packs": store}
    return pd.DataFrame({**base, **columns})


def losses(mean: float, variance: float, most: int) -> np.ndarray:
    """E[(X − stock)⁺] for stocks 0 … most: mean − Σ P(X > k), k below the stock, by scipy.stats."""
    if mean == 0:
        return np.zeros(most + 1)
    if variance > mean:
        p = mean / variance
        law = stats.nbinom(mean * p / (1 - p), p)
    else:
        law = stats.poisson(mean)
    return mean - np.r_[0.0, np.cumsum(law.sf(np.arange(most)))]


def loss(mean: float, variance: float, stock: int) -> float:
    """E[(X − stock)⁺]."""
    return float(losses(mean, variance, stock)[-1])


def tables(lines: pd.DataFrame, products: pd.DataFrame, most: int) -> np.ndarray:
    """Expected requests unmet of each line (rows) with 0 … most packs (columns)."""
    size = products.set_index("product_id")["pack_size"].loc[lines["product_id"]].to_numpy()
    found = []
    for row, pieces in zip(lines.itertuples(index=False), size, strict=True):
        stocks = int(row.on_hand) + pieces * np.arange(most + 1)
        found.append(losses(row.mean, row.variance, int(stocks[-1]))[stocks])
    return np.array(found)


def every_plan(lines: pd.DataFrame, products: pd.DataFrame, limits: Limits, most: int) -> np.ndarray:
    """Every table of packs (a row a plan, a column a line) that keeps all limits, 0 … most packs a line."""
    own = products.set_index("product_id").loc[lines["product_id"]].reset_index()
    plans = np.indices((most + 1,) * len(lines)).reshape(len(lines), -1).T
    room = lines["room"].fillna(np.inf).to_numpy()
    reach = lines["reachable"].to_numpy()
    size = own["pack_size"].to_numpy()
    fits = (plans * size <= np.where(reach, room, 0)) & (plans * size >= np.where(reach, lines["minimum"], 0))
    ok = fits.all(axis=1)
    for product, store in zip(products["product_id"], products["store_packs"], strict=True):
        ok &= plans[:, (own["product_id"] == product).to_numpy()].sum(axis=1) <= store
    shared = ((limits.budget_minor, own["pack_cost_minor"]), (limits.litres, own["pack_litres"]))
    for limit, each in (*shared, (limits.packs, pd.Series(np.ones(len(own))))):
        ok &= limit is None or plans @ each.to_numpy() <= limit + 1e-9
    return plans[ok]


def small_round(seed: int) -> tuple[pd.DataFrame, pd.DataFrame, Limits]:
    """At most 3 schools and 2 products, with any of the limits, rooms, minimums, blanks."""
    rng = np.random.default_rng(seed)
    schools, products = int(rng.integers(1, 4)), int(rng.integers(1, 3))
    count = schools * products
    mean = np.where(rng.random(count) < 0.1, 0.0, rng.uniform(0.2, 12, count).round(3))
    sizes = rng.integers(1, 5, products)
    size = np.repeat(sizes, schools)
    lines = needs(
        mean,
        school_id=np.tile(np.arange(schools) + 1, products),
        product_id=np.repeat(goods([0] * products)["product_id"].to_numpy(), schools),
        variance=mean * rng.choice([1.0, 1.0, 1.6, 4.0], count),
        on_hand=rng.integers(0, 6, count).astype(float),
        room=np.where(rng.random(count) < 0.3, rng.integers(0, 4, count) * size + rng.integers(0, 2, count), np.nan),
        minimum=np.where(rng.random(count) < 0.2, rng.integers(1, 4, count), 0),
        reachable=rng.random(count) > 0.1,
    )
    shelf = goods(
        rng.integers(0, 5, products).tolist(),
        pack_size=sizes,
        pack_cost_minor=rng.integers(1, 9, products),
        pack_litres=rng.integers(1, 30, products) / 10,
    )
    limits = Limits(
        int(rng.integers(0, 40)) if rng.random() < 0.6 else None,
        float(rng.integers(0, 120) / 10) if rng.random() < 0.5 else None,
        int(rng.integers(0, 8)) if rng.random() < 0.4 else None,
    )
    return lines, shelf, limits


def large_round(seed: int, schools: int, products: int = 3) -> tuple[pd.DataFrame, pd.DataFrame, Limits]:
    """A round in which the store, the budget, the litres and the packs are all too small."""
    rng = np.random.default_rng(seed)
    count = schools * products
    mean = rng.gamma(3, 15, count)
    sizes = rng.choice([8, 10, 20], products)
    lines = needs(
        mean,
        school_id=np.tile(np.arange(schools) + 1, products),
        product_id=np.repeat([f"P{i}" for i in range(products)], schools),
        variance=mean * rng.choice([1.0, 2.0, 3.0], count),
        on_hand=np.floor(rng.uniform(0, 1, count) * mean),
        room=np.where(rng.random(count) < 0.2, rng.integers(20, 80, count), np.nan),
        minimum=np.where(rng.random(count) < 0.1, 8, 0),
        reachable=rng.random(count) > 0.03,
        days=40.0,
    )
    wanted = np.maximum(0, mean - lines["on_hand"]).to_numpy().reshape(products, schools).sum(axis=1) / sizes
    store = np.ceil(wanted * 0.9).astype(int)
    cost, litres = rng.integers(300, 2000, products), rng.uniform(0.5, 5, products).round(2)
    shelf = goods(
        store.tolist(), product_id=[f"P{i}" for i in range(products)], pack_size=sizes, pack_cost_minor=cost,
        pack_litres=litres,
    )  # fmt: skip
    shares = rng.uniform(0.6, 0.75, 3)
    limits = Limits(
        int(cost @ store * shares[0]), float(round(litres @ store * shares[1], 2)), int(store.sum() * shares[2])
    )
    return lines, shelf, limits
