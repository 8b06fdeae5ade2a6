"""What a set-up page shows of a school or a programme: rows as they are on record, with their days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement, AgreementUnit
from tracker.models.disposal import DisposalRoute, IncineratorRating
from tracker.models.links import Baseline
from tracker.models.orders import SupplierTerms
from tracker.models.people import Person, RoleGrant
from tracker.models.programme import Area, Closure, Programme, ProgrammeSetting, Target, Term
from tracker.models.rounds import DeliveryHours
from tracker.models.school import Before, Enrolment, School, SchoolBreak, SchoolHours, Shift, StaffCount
from tracker.models.supplies import PlannedRound, Product, Vehicle
from tracker.models.units import Block, BlockGroup, Dial, Fitting, MeterScope, Unit, UnitWay
from tracker.models.water import CleaningPlan, HandFlush, PowerUse, Tank, TankScope
from tracker.records.lookups import within
from tracker.vocabulary import ClosureScope

# what belongs to one school, in the order of its page; the same number of queries for every school
OF_SCHOOL: dict[str, tuple[type[Any], tuple[str, ...]]] = {
    "blocks": (Block, ("code",)),
    "groups": (BlockGroup, ("block_id", "from_day")),
    "units": (Unit, ("block_id", "code")),
    "ways": (UnitWay, ("unit_id", "from_day")),
    "fittings": (Fitting, ("unit_id", "kind", "from_day")),
    "dials": (Dial, ("unit_id", "quantity", "from_at")),
    "scopes": (MeterScope, ("meter_id", "from_day", "unit_id")),
    "shifts": (Shift, ("code",)),
    "hours": (SchoolHours, ("shift_id", "weekday", "from_day")),
    "breaks": (SchoolBreak, ("shift_id", "start_min", "code", "weekday", "from_day")),
    "received": (DeliveryHours, ("from_day", "weekday")),
    "enrolment": (Enrolment, ("grade", "sex", "age", "from_day")),
    "staff": (StaffCount, ("from_day",)),
    "before": (Before, ("from_day",)),
    "routes": (DisposalRoute, ("kind", "from_day")),
    "tanks": (Tank, ("unit_id", "from_day")),
    "tank_scopes": (TankScope, ("tank_id", "from_day", "unit_id")),
    "cleaning": (CleaningPlan, ("unit_id", "name", "from_day")),
    "hands": (HandFlush, ("unit_id", "from_day")),
    "power": (PowerUse, ("unit_id", "part", "from_day")),
    "plates": (IncineratorRating, ("unit_id", "from_day")),
    "agreements": (Agreement, ("code",)),
    "serials": (AgreementUnit, ("unit_id",)),
}


@dataclass(frozen=True, slots=True)
class SchoolRecord:
    """All that is set up of one school. ``rows``: by name of ``OF_SCHOOL``; ``closures`` concern it.

    ``grades``: those on record anywhere in the programme.
    """

    school: School
    area: str
    rows: dict[str, list[Any]]
    closures: list[Closure]
    people: list[tuple[Person, RoleGrant]]
    grades: list[str]

    def of(self, name: str, attr: str) -> dict[int, list[Any]]:
        """Rows of a name by the id in one of their columns."""
        found: dict[int, list[Any]] = defaultdict(list)
        for row in self.rows[name]:
            found[getattr(row, attr)].append(row)
        return found

    def named(self, name: str) -> dict[int, Any]:
        """Rows of a name by their own id."""
        return {row.id: row for row in self.rows[name]}

    def pupils(self, day: date) -> dict[str, int]:
        """Pupils enrolled on a day, by sex; empty where none are on record."""
        found: dict[str, int] = defaultdict(int)
        for row in self.rows["enrolment"]:
            if row.from_day <= day and (row.until_day is None or row.until_day >= day):
                found[row.sex.value] += row.pupils
        return dict(found)


def school_record(session: Session, school: School) -> SchoolRecord:
    """Everything set up of a school; as many queries for every school, however much there is."""
    rows = {}
    for name, (model, order) in OF_SCHOOL.items():
        where = within(model.__table__, school.programme_id, school.id)
        rows[name] = list(session.scalars(select(model).where(where).order_by(*(getattr(model, by) for by in order))))
    closures = session.scalars(
        select(Closure)
        .where(
            Closure.programme_id == school.programme_id,
            (Closure.scope == ClosureScope.PROGRAMME)
            | (Closure.area_id == school.area_id)
            | (Closure.school_id == school.id),
        )
        .order_by(Closure.first_day)
    ).all()
    held = (
        select(Person, RoleGrant)
        .join(RoleGrant, RoleGrant.person_id == Person.id)
        .where(RoleGrant.school_id == school.id, RoleGrant.ended_at.is_(None), Person.active)
        .order_by(Person.name)
    )
    people = [(person, grant) for person, grant in session.execute(held)]
    area = session.scalar(select(Area.name).where(Area.id == school.area_id)) or ""
    return SchoolRecord(school, area, rows, list(closures), people, grades_of(session, school.programme_id))


def grades_of(session: Session, programme_id: int) -> list[str]:
    """Grades on record at the programme's schools, numbers in their order."""
    query = (
        select(Enrolment.grade)
        .join(Shift, Shift.id == Enrolment.shift_id)
        .join(School, School.id == Shift.school_id)
        .where(School.programme_id == programme_id)
        .distinct()
    )
    return sorted(session.scalars(query), key=lambda grade: (not grade.isdecimal(), len(grade), grade))


@dataclass(frozen=True, slots=True)
class ProgrammeRecord:
    """All that is set up of a programme."""

    programme: Programme
    areas: list[Area]
    terms: list[Term]
    closures: list[Closure]
    settings: list[ProgrammeSetting]
    rounds: list[PlannedRound]
    targets: list[Target]
    baselines: list[Baseline]
    vehicles: list[Vehicle]
    products: list[Product]
    bought: list[tuple[SupplierTerms, Product]]  # terms of suppliers by product code and day


def programme_record(session: Session, programme: Programme) -> ProgrammeRecord:
    """Everything set up of a programme but its schools; as many queries for every programme."""

    def rows(model: type[Any], *order: str) -> list[Any]:
        query = select(model).where(model.programme_id == programme.id)
        return list(session.scalars(query.order_by(*(getattr(model, by) for by in order))))

    bought = select(SupplierTerms, Product).join(Product, Product.id == SupplierTerms.product_id)
    bought = bought.where(Product.programme_id == programme.id).order_by(Product.code, SupplierTerms.from_day)
    return ProgrammeRecord(
        programme,
        rows(Area, "name"),
        rows(Term, "first_day"),
        rows(Closure, "first_day"),
        rows(ProgrammeSetting, "key", "from_day"),
        rows(PlannedRound, "day"),
        rows(Target, "term_id", "figure", "set_at"),
        rows(Baseline, "figure", "measured_on"),
        rows(Vehicle, "name"),
        rows(Product, "code"),
        [(terms, product) for terms, product in session.execute(bought)],
    )


def schools_page(
    session: Session, programme_id: int, area_ids: Iterable[int] | None, *, first: int, count: int
) -> tuple[list[tuple[School, str]], int]:
    """Some schools of a programme with their area, by name, and how many there are; two queries."""
    where = School.programme_id == programme_id
    if area_ids is not None:
        where &= School.area_id.in_(list(area_ids))
    query = select(School, Area.name).join(Area, Area.id == School.area_id).where(where)
    rows = session.execute(query.order_by(School.name).offset(first).limit(count))
    total = session.scalar(select(func.count()).select_from(School).where(where)) or 0
    return [(school, area) for school, area in rows], total
