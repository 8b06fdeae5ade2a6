"""What schools have on record for a week that somebody else can count again: the figures that a draw is made from."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.measures.calendar import week_of
from tracker.models.disposal import Burn
from tracker.models.programme import Programme
from tracker.models.school import School
from tracker.models.sessions import AwarenessSession
from tracker.models.supplies import MachineDay, Product, StockCount, StockPlace
from tracker.models.units import Unit
from tracker.models.usage import UsageCount
from tracker.vocabulary import Source, SpotFigure

Reported = dict[int, dict[SpotFigure, dict[date, int]]]


def reported(session: Session, programme: Programme, first: date, last: date) -> Reported:
    """School → figure → week → what is on record; weeks that begin from ``first`` to ``last``. Five queries.

    visits tallied: Σ visits counted by hand. burns started: Σ burns. napkins left: Σ counts of menstrual products in
    machines and cupboards. machine days sold out: answers "yes, it ran out". minutes of lessons: Σ minutes. A week
    without a record is absent, it is not zero.
    """
    found: Reported = {}

    def keep(figure: SpotFigure, rows: Any) -> None:
        for school, week, number in rows:
            weeks = found.setdefault(school, {}).setdefault(figure, {})
            weeks[week] = weeks.get(week, 0) + int(number)

    mine = School.programme_id == programme.id
    count, burn, stock, lesson = UsageCount, Burn, StockCount, AwarenessSession
    visits = select(Unit.school_id, count.week, func.sum(count.visits)).join(Unit, Unit.id == count.unit_id)
    visits = visits.where(count.source == Source.TALLY, count.week.between(first, last))
    burns = select(Unit.school_id, burn.week, func.sum(burn.burns)).join(Unit, Unit.id == burn.unit_id)
    burns = burns.where(burn.week.between(first, last))
    for figure, query, week in ((SpotFigure.VISITS, visits, count.week), (SpotFigure.BURNS, burns, burn.week)):
        own = query.join(School, School.id == Unit.school_id).where(mine)
        keep(figure, session.execute(own.group_by(Unit.school_id, week)))
    left = (
        select(StockPlace.school_id, stock.week, func.sum(stock.quantity))
        .join(StockPlace, StockPlace.id == stock.place_id)
        .join(Product, Product.id == stock.product_id)
        .where(StockPlace.programme_id == programme.id, StockPlace.school_id.is_not(None), Product.menstrual)
        .where(stock.week.between(first, last))
    )
    keep(SpotFigure.LEFT, session.execute(left.group_by(StockPlace.school_id, stock.week)))
    minutes = select(lesson.school_id, lesson.week, func.sum(lesson.minutes)).where(
        lesson.programme_id == programme.id, lesson.week.between(first, last)
    )
    keep(SpotFigure.LESSONS, session.execute(minutes.group_by(lesson.school_id, lesson.week)))
    keep(SpotFigure.SOLD_OUT, _sold_out(session, programme, first, last))
    return found


def _sold_out(session: Session, programme: Programme, first: date, last: date) -> list[tuple[int, date, int]]:
    query = (
        select(Unit.school_id, MachineDay.day, MachineDay.ran_out)
        .join(Unit, Unit.id == MachineDay.unit_id)
        .join(School, School.id == Unit.school_id)
        .where(School.programme_id == programme.id, MachineDay.day >= first)
    )
    rows = ((school, week_of(day, programme.first_weekday), ran) for school, day, ran in session.execute(query))
    return [(school, week, int(ran)) for school, week, ran in rows if first <= week <= last]
