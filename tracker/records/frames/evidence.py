"""Trials as they were declared, figures drawn for a check with what was found, and grants' shares of schools."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.models.evidence import FundingGrant, GrantShare, SpotAnswer, SpotCheck, SpotDraw, Trial, TrialUnit
from tracker.models.school import School
from tracker.records.frames.base import DAY, INSTANT, Scope, holds_in, read, schools_in, stored, words
from tracker.vocabulary import Better, FittingKind, Measure, TrialSide

SPOT_CHECKS = {
    "draw": "int64",
    "drawn_at": INSTANT,
    "reason": "str",
    "school_id": "int64",
    "school": "str",
    "figure": "str",
    "week": DAY,
    "reported": "float64",
    "found": "float64",
    "checked_on": DAY,
}
GRANT_SHARES = {
    "school_id": "int64",
    "school": "str",
    "grant": "str",
    "funder": "str",
    "permille": "int64",
    "from_day": DAY,
    "until_day": DAY,
}


@dataclass(frozen=True, slots=True)
class TrialHead:
    """A trial as it was declared; ``at_least`` in the measure's unit, ``declared_on`` a day of the programme's zone."""

    code: str
    question: str
    fitting: FittingKind
    measure: Measure
    better: Better
    at_least: float
    from_day: date
    until_day: date
    declared_on: date
    declared_by: str
    units: frozenset[int]
    comparison_units: frozenset[int]


def trials(session: Session, scope: Scope, zone: ZoneInfo) -> tuple[TrialHead, ...]:
    """Trials of the programme that ran on a day of the scope, in order of their first days; two queries."""
    query = select(Trial).where(Trial.programme_id == scope.programme_id, holds_in(Trial, scope))
    rows = session.scalars(query.order_by(Trial.from_day, Trial.code)).all()
    sides: dict[tuple[int, TrialSide], set[int]] = {}
    units = select(TrialUnit.trial_id, TrialUnit.side, TrialUnit.unit_id)
    for trial, side, unit in session.execute(units.where(TrialUnit.trial_id.in_([row.id for row in rows]))):
        sides.setdefault((trial, side), set()).add(unit)
    return tuple(
        TrialHead(
            code=row.code,
            question=row.question,
            fitting=row.fitting,
            measure=row.measure,
            better=row.better,
            at_least=row.at_least_thousandths / 1000,
            from_day=row.from_day,
            until_day=row.until_day,
            declared_on=row.declared_at.astimezone(zone).date(),
            declared_by=row.declared_by,
            units=frozenset(sides.get((row.id, TrialSide.FITTED), ())),
            comparison_units=frozenset(sides.get((row.id, TrialSide.COMPARISON), ())),
        )
        for row in rows
    )


def spot_checks(session: Session, term_id: int) -> pd.DataFrame:
    """Frame ``spot_checks``: every figure drawn for a term, with what was on record then; found NaN = not checked."""
    draw, check, found = SpotDraw, SpotCheck, SpotAnswer
    query = (
        select(
            *(draw.number, stored(draw.drawn_at), draw.reason, check.school_id, School.code, words(check.figure)),
            *(stored(check.week), check.reported, found.found, stored(found.checked_on)),
        )
        .join(draw, draw.id == check.draw_id)
        .join(School, School.id == check.school_id)
        .outerjoin(found, found.check_id == check.id)
        .where(draw.term_id == term_id)
    )
    return read(session, SPOT_CHECKS, query.order_by(draw.number, School.code, check.figure))


def grant_shares(session: Session, scope: Scope) -> pd.DataFrame:
    """Frame ``grant_shares``: shares that hold on a day of the scope, by school and grant."""
    share, grant = GrantShare, FundingGrant
    query = (
        select(
            *(share.school_id, School.code, grant.code, grant.funder, share.permille),
            *(stored(share.from_day), stored(share.until_day)),
        )
        .join(grant, grant.id == share.grant_id)
        .join(School, School.id == share.school_id)
        .where(share.school_id.in_(schools_in(scope)), holds_in(share, scope))
    )
    return read(session, GRANT_SHARES, query.order_by(School.code, grant.code, share.from_day))
