"""What has happened where the set-up would change: a change may not deny what was counted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.outages import Outage
from tracker.models.school import School
from tracker.models.sheets import WeekSheet
from tracker.models.supplies import StockCount, StockPlace
from tracker.models.units import Unit
from tracker.models.usage import UsageCount
from tracker.records.tables_facts import HAPPENED


def last_fact_day(session: Session, unit_id: int) -> date | None:
    """The last day on which something of a unit was counted, read or seen, or an outage of it began; None for none.

    A count of a whole week counts for its first day, for the unit may have gone within that week.
    """
    days: list[date] = []
    for table in HAPPENED:
        model: Any = table.model
        name = next((name for name in ("day", "first_day", "week") if hasattr(model, name)), None)
        if name is None or not hasattr(model, "unit_id"):
            continue
        column = getattr(model, name)
        found = session.scalar(select(func.max(column)).where(model.unit_id == unit_id))
        if found is not None:
            days.append(found)
    counted = select(func.max(StockCount.day)).join(StockPlace, StockPlace.id == StockCount.place_id)
    stock = session.scalar(counted.where(StockPlace.unit_id == unit_id))
    if stock is not None:
        days.append(stock)
    begun = session.scalar(select(func.max(Outage.start_at)).where(Outage.unit_id == unit_id))
    if begun is not None:
        days.append(begun.date())
    return max(days, default=None)


def counted_on(
    session: Session, schools: Sequence[int] | None, programme_id: int, first: date, last: date
) -> list[tuple[str, date, date]]:
    """Schools that counted visits on days of a span, with the week of the sheet and the first such day; by day.

    Args:
        schools: ids of the schools to look at; None: all of the programme.
    """
    query = (
        select(School.name, WeekSheet.week, func.min(UsageCount.first_day))
        .join(Unit, Unit.id == UsageCount.unit_id)
        .join(School, School.id == Unit.school_id)
        .join(WeekSheet, WeekSheet.id == UsageCount.sheet_id)
        .where(School.programme_id == programme_id, UsageCount.first_day >= first, UsageCount.first_day <= last)
        .group_by(School.id, School.name, WeekSheet.week)
        .order_by(func.min(UsageCount.first_day), School.name)
    )
    if schools is not None:
        query = query.where(School.id.in_(schools))
    return [(name, week, day) for name, week, day in session.execute(query)]
