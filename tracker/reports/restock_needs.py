"""What schools need on a round: what they will have left on its day, what will be asked for until the next, what the
central store can give. The tables that ``measures.restock`` plans from, with what has to be said about them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from tracker.measures.columns import day_numbers, keys
from tracker.measures.counts import CountLaw
from tracker.measures.use import LINE, PAIR
from tracker.records import frames
from tracker.records.restock_inputs import Asked
from tracker.reports import restock_demand
from tracker.reports.restock_demand import LEARNT_FROM, Stocked

NEED_COLUMNS: Final = (
    *("school_id", "product_id", "mean", "variance", "per_day", "on_hand", "room", "minimum", "reachable", "days"),
    *("counted", "counted_on", "gone", "se", "ratio", "least", "finite", "kind", "periods", "keep", "holds"),
)
ML_PER_L: Final = 1000.0


@dataclass(frozen=True, slots=True)
class GoneOff:
    """A lot that is left in the store because it goes off before what is brought would be used."""

    product: str
    lot: str
    expires_on: date
    packs: int


@dataclass(frozen=True, eq=False)
class Needs:
    """``needs`` and ``products`` as ``measures.restock`` reads them, with ``counted`` (pieces), ``counted_on``,
    ``gone`` (pieces expected to be used until the round), ``least``, ``finite``, ``kind``, ``periods`` (see
    ``use.school_use``), ``keep`` and ``holds`` (pieces by rule or places) beside each need."""

    asked: Asked
    needs: pd.DataFrame
    products: pd.DataFrame
    schools: dict[int, tuple[str, str]]  # id → code, name
    gone_off: tuple[GoneOff, ...]
    learnt: tuple[date, date]
    stocked: Stocked


def read(session: frames.Session, asked: Asked) -> Needs:
    """What the schools need, in a constant number of queries."""
    head = frames.programme(session, asked.programme_id)
    until = asked.last + timedelta(days=7)  # a round a week later is looked at too
    stocked = restock_demand.read(session, asked.programme_id, asked.today, until, asked.schools)
    demand = restock_demand.by_school(session, stocked, ZoneInfo(head.zone))
    rows = _joined(_stock(stocked), demand, frames.stock_rules(session, stocked.scope))
    heads = frames.schools(session, frames.Scope(asked.programme_id, asked.on, asked.on, asked.schools))
    lots = frames.store_lots(session, asked.programme_id, asked.today)
    offered, gone_off = _offered(asked, stocked.products, lots)
    ids = [one.id for one in heads]
    rows = rows[rows["product_id"].isin(offered["product_id"]) & rows["school_id"].isin(ids)]
    needs = _needs(asked, stocked, rows.sort_values(PAIR, ignore_index=True))
    learnt = (asked.today - LEARNT_FROM, asked.today)
    schools = {one.id: (one.code, one.name) for one in heads}
    return Needs(asked, needs, offered, schools, gone_off, learnt, stocked)


def moved(found: Needs, asked: Asked) -> Needs:
    """The needs of another round from what was read for this one: other days, or other schools that are reached."""
    return replace(found, asked=asked, needs=_needs(asked, found.stocked, found.needs))


def _stock(stocked: Stocked) -> pd.DataFrame:
    """Per school and product: ``counted`` (pieces at the last counts, with what moved since), ``counted_on`` (the
    newest of them) and ``capacity`` of all places (NaN = one of them is not limited)."""
    latest = stocked.counts.drop_duplicates(LINE, keep="last")
    since = stocked.moves.merge(latest, on=LINE, suffixes=("", "_count"))
    since = since[since["day"] > since["day_count"]]
    net = since.groupby(LINE, as_index=False)["net"].sum()
    rows = latest.merge(stocked.places, on="place_id").merge(net, on=LINE, how="left")
    rows["counted"] = (rows["left"] + rows["net"].fillna(0.0)).clip(lower=0)
    grouped = rows.groupby(PAIR, as_index=False)
    found = grouped.agg(counted=("counted", "sum"), counted_on=("day", "max"))
    capacity = rows.groupby(PAIR)["capacity"].sum(min_count=1, skipna=False).reset_index()
    return found.merge(capacity, on=PAIR)


def _offered(asked: Asked, products: pd.DataFrame, lots: pd.DataFrame) -> tuple[pd.DataFrame, tuple[GoneOff, ...]]:
    """Products to plan with whole packs in the store, by lot; and the lots that go off too soon."""
    chosen = products[products["product"].isin(asked.products)] if asked.products else products
    packs = lots.merge(chosen, on="product_id")
    packs = packs.assign(packs=(packs["pieces"] // packs["pack_size"]).astype("int64"))
    late = packs["expires_on"].isna() | (packs["expires_on"] >= pd.Timestamp(asked.until))
    store = packs[late].groupby("product_id")["packs"].sum()
    offered = chosen.assign(
        store_packs=chosen["product_id"].map(store).fillna(0).astype("int64"),
        pack_cost_minor=(chosen["pack_size"] * chosen["unit_cost_minor"]).astype("int64"),
        pack_litres=chosen["pack_ml"] / ML_PER_L,
    )
    left_out = packs[~late & (packs["packs"] > 0)]
    gone = zip(left_out["name"], left_out["lot"], left_out["expires_on"].dt.date, left_out["packs"], strict=True)
    return offered.reset_index(drop=True), tuple(GoneOff(name, lot, day, int(count)) for name, lot, day, count in gone)


def _needs(asked: Asked, stocked: Stocked, rows: pd.DataFrame) -> pd.DataFrame:
    """Needs by school and product: stock expected on the day of the round, requests from then until the next, and
    how many pieces must and can be brought at the least and the most."""
    days = _days_between(stocked.days, rows, pd.Series(pd.Timestamp(asked.on), rows.index), asked.last)
    after = rows["counted_on"].fillna(pd.Timestamp(asked.today)) + pd.Timedelta(days=1)
    before = _days_between(stocked.days, rows, after, asked.on - timedelta(days=1))
    left = [_left(*row) for row in zip(rows["counted"], rows["per_day"], rows["ratio"], before, strict=True)]
    on_hand = pd.Series(left, index=rows.index, dtype="float64")
    mean = rows["per_day"] * days
    size = rows["product_id"].map(stocked.products.set_index("product_id")["pack_size"])
    room = (rows["holds"] - on_hand.fillna(0.0)).clip(lower=0)
    must = (rows["keep"] - on_hand.fillna(0.0)).clip(lower=0)
    return rows.assign(
        mean=mean,
        variance=rows["ratio"] * mean + (rows["se"] * days) ** 2,
        on_hand=on_hand,
        gone=rows["counted"] - on_hand,
        room=room,
        minimum=np.fmin(must, np.floor(room / size) * size),  # a minimum is never the reason for a pack without room
        reachable=~rows["school_id"].isin(list(asked.unreachable)),
        days=days,
    )[list(NEED_COLUMNS)]


def _joined(stock: pd.DataFrame, demand: pd.DataFrame, rules: pd.DataFrame) -> pd.DataFrame:
    """Stock, demand and rules of each school and product. Blanks are filled with what they mean: no error known, no
    rule set, as much room as the places have; blank stock and demand stay blank."""
    rows = stock.merge(demand, on=PAIR, how="outer").merge(rules, on=PAIR, how="outer")
    return rows.assign(
        se=rows["se"].fillna(0.0),
        ratio=rows["ratio"].fillna(1.0).clip(lower=1.0),
        least=rows["least"].eq(True),
        finite=rows["finite"].eq(True),
        kind=rows["kind"].fillna(""),
        periods=rows["periods"].fillna(0).astype("int64"),
        keep=rows["minimum"].fillna(0.0),
        holds=rows["room"].where(rows["room"].notna(), rows["capacity"]),
    )


def _left(counted: float, per_day: float, ratio: float, days: float) -> float:
    """Whole pieces expected to be left after some school days; what was counted where demand is not known."""
    if math.isnan(counted) or math.isnan(per_day) or days <= 0 or per_day == 0:
        return counted
    mean = per_day * days
    return math.floor(CountLaw(mean, ratio * mean).over(int(counted)) + 0.5)


def _days_between(days: pd.DataFrame, rows: pd.DataFrame, first: Any, last: date) -> Any:
    """School days of each row's school from its first day to a last one, both included."""
    known = np.sort(keys(days["school_id"].to_numpy("int64"), day_numbers(days["day"])))
    school = rows["school_id"].to_numpy("int64")
    start = np.searchsorted(known, keys(school, day_numbers(first)), side="left")
    end_day = np.full(len(rows), (last - date(1970, 1, 1)).days, dtype="int64")
    end = np.searchsorted(known, keys(school, end_day), side="right")
    return np.maximum(end - start, 0).astype("float64")
