"""What to order now for the central store, from what the schools ask for and what stands and is on order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from tracker.measures.counts import CountLaw
from tracker.measures.reorder import months_of_stock
from tracker.measures.supplier_order import Advice, Lot, Need, OrderReason, advise, goes_off
from tracker.records import frames, orders
from tracker.records.settings import setting
from tracker.reports import restock_demand

NOTHING: Final = Advice(0, 0, 0, OrderReason.ENOUGH, None, None, None)
YEAR: Final = 365
MONTH: Final = YEAR / 12
REASON_WORDS: Final = {
    OrderReason.ENOUGH: "What stands in the store and is on order is enough.",
    OrderReason.TO_LEVEL: "Fills up to the level.",
    OrderReason.MINIMUM_ORDER: "The supplier's smallest order is more than the level asks for.",
    OrderReason.SHELF_LIFE: "Limited: more would go off before it is used.",
    OrderReason.BUDGET: "Limited by the budget.",
    OrderReason.DEMAND_NOT_KNOWN: "The demand cannot be estimated; only the minimum that schools keep is ordered.",
}


@dataclass(frozen=True, slots=True)
class Line:
    """A product that can be ordered. ``need.law`` None: demand is not known. ``low`` and ``high``: nine of ten cases.
    ``school_days``: of the days ahead, at the school that has most. ``look_again``: the level lasts until then.
    ``goes_off``: lot, last day and pieces that expire before they are used. ``months``: on hand in months of the year's
    use, None without a use. ``known_until``: the last school day on record, where it lies before the days ahead end."""

    product_id: int
    name: str
    unit_name: str
    supplier: str
    days: int
    school_days: int
    look_again: date
    need: Need
    low: int | None
    high: int | None
    goes_off: tuple[tuple[str, date, int], ...]
    months: float | None
    known_until: date | None
    advice: Advice
    reason: str
    least: bool


@dataclass(frozen=True, slots=True)
class _Read:
    today: date
    days: pd.DataFrame  # school days of the year behind and the year ahead, as far as they are on record
    year: pd.Series  # school days in the fullest run of a year on record, by school
    use: pd.DataFrame
    lots: pd.DataFrame
    minimum: dict[int, int]
    coming: dict[int, int]
    shelf_days: dict[int, int]


def read(session: frames.Session, programme_id: int, today: date, budget_minor: int | None = None) -> list[Line]:
    """One line a product with terms in force, by product code.

    Demand is the sum of the schools whose demand is known, over the school days of review and lead time. Its spread
    is that of the counts with the error of each school's rate. ``least``: a school's demand is only known as "at
    least", or not at all. What has expired, or goes off before it is used, does not count as on hand. Monthly use is
    a year's, so that a holiday ahead does not make what stands look unused: that of the 365 days with most school days
    on record, between a year ago and a year ahead (terms to come are often not entered yet).
    """
    terms = orders.terms(session, programme_id, today)
    if not terms:
        return []
    longest = max(one.lead_days + one.review_days for one in terms.values())
    stocked = restock_demand.read(session, programme_id, today, today, None)
    span = frames.Scope(programme_id, today - timedelta(days=YEAR), today + timedelta(days=max(longest, YEAR)))
    days = frames.school_days_ahead(session, span)
    use = restock_demand.by_school(session, stocked, ZoneInfo(frames.programme(session, programme_id).zone))
    rules = frames.stock_rules(session, stocked.scope)
    kept = rules.groupby("product_id")["minimum"].sum()
    found = _Read(
        today,
        days,
        days.groupby("school_id")["day"].agg(_fullest_year),
        use,
        frames.store_lots(session, programme_id, today),
        dict(zip(kept.index.astype(int).tolist(), kept.astype(int).tolist(), strict=True)),
        orders.on_order(session, programme_id),
        orders.shelf_days(session, programme_id),
    )
    rows = [row for row in stocked.products.to_dict("records") if row["product_id"] in terms]
    drafts = [_draft(found, row, terms[row["product_id"]]) for row in rows]
    service = setting(session, programme_id, "service_permille", today) / 1000
    advised = advise([one.need for one in drafts], service, budget_minor)
    return [
        replace(one, advice=advice, reason=REASON_WORDS[advice.reason])
        for one, advice in zip(drafts, advised, strict=True)
    ]


def _draft(found: _Read, row: dict[Any, Any], terms: orders.Terms) -> Line:
    product, days = int(row["product_id"]), terms.lead_days + terms.review_days
    last = found.today + timedelta(days=days)
    ahead = _school_days(found, found.today, last)
    law, least = _law(found, product, ahead)
    year, _ = _law(found, product, found.year)
    per_day = year.mean / YEAR if year else 0.0
    on_hand, lost = _standing(found, product, per_day if law else None)
    shelf = found.shelf_days.get(product)
    need = Need(
        law,
        on_hand,
        found.coming.get(product, 0),
        int(row["pack_size"]),
        terms.min_packs,
        terms.pack_price_minor,
        per_day,
        None if shelf is None else shelf - terms.lead_days,
        found.minimum.get(product, 0),
    )
    low, high = (law.smallest(0.05), law.smallest(0.95)) if law else (None, None)
    ends = found.days["day"].max()
    return Line(
        product,
        str(row["name"]),
        str(row["unit_name"] or "pieces"),
        terms.supplier,
        days,
        int(ahead.max()) if len(ahead) else 0,
        found.today + timedelta(days=terms.review_days),
        need,
        low,
        high,
        lost,
        months_of_stock(need.on_hand, per_day * MONTH),
        ends.date() if not pd.isna(ends) and ends < pd.Timestamp(last) else None,
        NOTHING,
        "",
        least,
    )


def _standing(found: _Read, product: int, per_day: float | None) -> tuple[int, tuple[tuple[str, date, int], ...]]:
    """Pieces in the store that are used before they go off, and the lots that are not.

    ``per_day`` None: the use is not known, and only what has expired goes off.
    """
    lots = found.lots[found.lots["product_id"] == product]
    standing = [
        Lot(int(pieces), None if pd.isna(until) else until.date())
        for pieces, until in zip(lots["pieces"], lots["expires_on"], strict=True)
    ]
    if per_day is None:
        lost = [lot.pieces if lot.expires_on and lot.expires_on < found.today else 0 for lot in standing]
    else:
        lost = goes_off(standing, per_day, found.today)
    named = tuple(
        (str(code), lot.expires_on, pieces)
        for code, lot, pieces in zip(lots["lot"], standing, lost, strict=True)
        if pieces and lot.expires_on
    )
    return sum(lot.pieces for lot in standing) - sum(lost), named


def _school_days(found: _Read, after: date, last: date) -> pd.Series:
    """School days after a day up to another one, by school."""
    day = found.days["day"]
    return found.days[(day > pd.Timestamp(after)) & (day <= pd.Timestamp(last))].groupby("school_id").size()


def _fullest_year(days: pd.Series) -> int:
    held = np.sort(days.to_numpy())
    return int((np.searchsorted(held, held + np.timedelta64(YEAR, "D")) - np.arange(len(held))).max())


def _law(found: _Read, product: int, ahead: pd.Series) -> tuple[CountLaw | None, bool]:
    """Requests on so many school days of each school, and whether they are a least number."""
    mine = found.use[found.use["product_id"] == product]
    known = mine[mine["finite"].astype(bool) & mine["per_day"].notna()]
    if known.empty:
        return None, False
    days = known["school_id"].map(ahead).fillna(0)
    mean = known["per_day"] * days
    variance = known["ratio"].clip(lower=1.0) * mean + (known["se"].fillna(0.0) * days) ** 2
    return CountLaw(float(mean.sum()), float(variance.sum())), bool(mine["least"].any()) or len(known) < len(mine)
