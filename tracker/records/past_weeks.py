"""Visits on record in the weeks before a sheet: what a check compares the new week with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.school import SchoolDay
from tracker.models.supplies import Product, StockCount, StockPlace
from tracker.models.units import Unit
from tracker.models.usage import Reading, UsageCount
from tracker.records import ledger
from tracker.records.context_rows import ReadingInfo
from tracker.vocabulary import WHOLE_WEEK, CountWay, Quantity, Source

LOOK_BACK = timedelta(weeks=20)  # eight school weeks and a long holiday


@dataclass(frozen=True, slots=True)
class PastWeeks:
    """By unit: visits of each week as counted, the last counter reading of each week, and the tallies of drawn
    breaks of each week. school_days by week. stood: pieces by place and product before the week, where they had been
    counted."""

    counts: Mapping[str, Mapping[date, int]] = field(default_factory=dict)
    readings: Mapping[str, Mapping[date, ReadingInfo]] = field(default_factory=dict)
    school_days: Mapping[date, int] = field(default_factory=dict)
    tallies: Mapping[str, Mapping[date, Sequence[int]]] = field(default_factory=dict)
    stood: Mapping[tuple[str, str], int] = field(default_factory=dict)


def past_weeks(session: Session, school_id: int, week: date) -> PastWeeks:
    """The coordinator's figures of the twenty weeks before a week, in six queries."""
    return PastWeeks(
        _counts(session, school_id, week),
        _readings(session, school_id, week),
        _school_days(session, school_id, week),
        _tallies(session, school_id, week),
        _stood(session, school_id, week),
    )


def _stood(session: Session, school_id: int, week: date) -> dict[tuple[str, str], int]:
    counted = (
        select(StockPlace.id, StockPlace.code, Product.code, StockPlace.programme_id)
        .join(StockCount, StockCount.place_id == StockPlace.id)
        .join(Product, Product.id == StockCount.product_id)
        .where(StockPlace.school_id == school_id, StockCount.day < week)
        .distinct()
    )
    found = {(code, product): (place, programme) for place, code, product, programme in session.execute(counted)}
    if not found:
        return {}
    places, programme = sorted({place for place, _ in found.values()}), next(iter(found.values()))[1]
    stood = dict.fromkeys(found, 0)
    for row in ledger.balances(session, programme, week - timedelta(days=1), places):
        if (row.place, row.product) in stood:
            stood[row.place, row.product] += row.quantity
    return stood


def _counts(session: Session, school_id: int, week: date) -> dict[str, dict[date, int]]:
    row = UsageCount
    query = (
        select(Unit.code, row.week, func.sum(row.visits))
        .join(Unit, Unit.id == row.unit_id)
        .where(Unit.school_id == school_id, row.source == Source.TALLY, row.how.in_(WHOLE_WEEK))
        .where(row.week >= week - LOOK_BACK, row.week < week)
        .group_by(Unit.code, row.week)
    )
    found: dict[str, dict[date, int]] = defaultdict(dict)
    for unit, of_week, visits in session.execute(query):
        found[unit][of_week] = int(visits)
    return dict(found)


def _tallies(session: Session, school_id: int, week: date) -> dict[str, dict[date, list[int]]]:
    row = UsageCount
    query = (
        select(Unit.code, row.week, row.visits)
        .join(Unit, Unit.id == row.unit_id)
        .where(Unit.school_id == school_id, row.source == Source.TALLY, row.how == CountWay.DRAWN)
        .where(row.week >= week - LOOK_BACK, row.week < week)
        .order_by(row.first_day, row.slot)
    )
    found: dict[str, dict[date, list[int]]] = defaultdict(lambda: defaultdict(list))
    for unit, of_week, visits in session.execute(query):
        found[unit][of_week].append(visits)
    return {unit: dict(weeks) for unit, weeks in found.items()}


def _readings(session: Session, school_id: int, week: date) -> dict[str, dict[date, ReadingInfo]]:
    row = Reading
    query = (
        select(Unit.code, row.week, row.at, row.value)
        .join(Unit, Unit.id == row.unit_id)
        .where(Unit.school_id == school_id, row.source == Source.TALLY, row.quantity == Quantity.VISITS)
        .where(row.week >= week - LOOK_BACK, row.week < week)
        .order_by(row.at)
    )
    found: dict[str, dict[date, ReadingInfo]] = defaultdict(dict)
    for unit, of_week, at, value in session.execute(query):
        found[unit][of_week] = ReadingInfo(at, value)  # the week's last one stays
    return dict(found)


def _school_days(session: Session, school_id: int, week: date) -> dict[date, int]:
    row = SchoolDay
    query = (
        select(row.week, func.count(row.day.distinct()))
        .where(row.school_id == school_id, row.week >= week - LOOK_BACK, row.week < week)
        .group_by(row.week)
    )
    return {of_week: int(days) for of_week, days in session.execute(query)}
