"""What a report is about: programme, terms, schools, targets, rounds, inspections, agreements. Plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd
from sqlalchemy import literal, select
from sqlalchemy.orm import Session

from tracker.models.links import Baseline
from tracker.models.programme import Area
from tracker.models.school import Before, InspectionAnswer, School
from tracker.records.asked import rows_of
from tracker.records.frames.base import Scope, read, schools_in, words
from tracker.vocabulary import Basis

BEFORE = {"school_id": "int64", "kind": "str", "ml": "float64", "litres_basis": "str", "u_permille": "float64"}


@dataclass(frozen=True, slots=True)
class SchoolHead:
    """A school and its area."""

    id: int
    code: str
    name: str
    area: str
    area_name: str
    area_id: int = 0


def schools(session: Session, scope: Scope) -> tuple[SchoolHead, ...]:
    """Schools that were in the programme on a day of the scope, by code."""
    query = select(School.id, School.code, School.name, Area.code, Area.name, Area.id).join(
        Area, Area.id == School.area_id
    )
    query = query.where(
        School.id.in_(schools_in(scope)),
        School.from_day <= scope.last_day,
        School.until_day.is_(None) | (School.until_day >= scope.first_day),
    )
    return tuple(SchoolHead(*row) for row in rows_of(session, query.order_by(School.code)))


def inspection_answers(session: Session, scope: Scope, term_id: int) -> dict[int, dict[str, str]]:
    """Answers of the term's inspection: school_id → question → answer; what was not answered is absent."""
    row = InspectionAnswer
    query = select(row.school_id, row.question, row.answer)
    found: dict[int, dict[str, str]] = {}
    for school, question, answer in session.execute(
        query.where(row.school_id.in_(schools_in(scope)), row.term_id == term_id)
    ):
        found.setdefault(school, {})[question] = answer
    return found


def before(session: Session, scope: Scope) -> pd.DataFrame:
    """What stood at each school before, the latest row by the scope's last day that has litres; frame for water."""
    query = select(Before.school_id, words(Before.kind), Before.ml, words(Before.litres_basis), literal(None))
    query = query.where(
        Before.school_id.in_(schools_in(scope)), Before.from_day <= scope.last_day, Before.ml.is_not(None)
    )
    rows = read(session, BEFORE, query.order_by(Before.school_id, Before.from_day))
    return rows.drop_duplicates("school_id", keep="last", ignore_index=True)


@dataclass(frozen=True, slots=True)
class BaselineHead:
    """A figure as it was measured before the programme worked, in its own unit."""

    value: float
    measured_on: date
    basis: Basis
    note: str


def baselines(session: Session, programme_id: int, by: date) -> dict[str, BaselineHead]:
    """Baselines by figure, those measured by a day; of one that was measured again the first, before any change."""
    columns = (Baseline.figure, Baseline.thousandths, Baseline.measured_on, Baseline.basis, Baseline.note)
    query = select(*columns).where(Baseline.programme_id == programme_id, Baseline.measured_on <= by)
    rows = rows_of(session, query.order_by(Baseline.measured_on.desc()))
    return {row.figure: BaselineHead(row.thousandths / 1000, row.measured_on, row.basis, row.note) for row in rows}
