"""The rows that the rules' context is made of, each kind read once for all schools asked for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple, cast
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_, func, or_, select, true
from sqlalchemy.orm import Session, aliased

from tracker.measures.calendar import Span
from tracker.models import outages as o
from tracker.models import school as s
from tracker.models import supplies, units, usage
from tracker.models.programme import Programme
from tracker.models.sessions import AwarenessSession
from tracker.vocabulary import Cause, CountWay, Group, PlaceKind, Quantity, Sex, Source, UnitKind

DialKey = tuple[str, Quantity, Source]


@dataclass(frozen=True, slots=True)
class DialInfo:
    """A dial as installed (instants; ``until_at`` None: still there)."""

    quantity: Quantity
    from_at: datetime
    until_at: datetime | None
    digits: int
    step_ml: int
    first_value: int
    last_value: int | None


@dataclass(frozen=True, slots=True)
class UnitInfo:
    """A unit with what is dated about it: (from_day, group) and (from_day, way), earliest first."""

    unit_id: int
    code: str
    name: str
    kind: UnitKind
    block: str
    accessible: bool
    from_day: date
    until_day: date | None
    groups: tuple[tuple[date, Group], ...] = ()
    ways: tuple[tuple[date, CountWay], ...] = ()
    dials: tuple[DialInfo, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingInfo:
    """A reading on record."""

    at: datetime
    value: int


@dataclass(frozen=True, slots=True)
class OutageInfo:
    """An outage on record (``end_at`` None: open)."""

    ref: str
    unit: str
    source: Source
    cause: Cause
    start_at: datetime
    end_at: datetime | None


@dataclass(frozen=True, slots=True)
class PlaceInfo:
    """A stock place of the school, or one of the programme (``here`` False)."""

    code: str
    kind: PlaceKind
    capacity: int | None
    unit: str | None
    here: bool


@dataclass(frozen=True, slots=True)
class Enrolled:
    """Pupils of a sex and grade over a time."""

    sex: Sex
    grade: str
    pupils: int
    from_day: date
    until_day: date | None


@dataclass(frozen=True, slots=True)
class CountKey:
    """The key of a count of visits on record."""

    unit: str
    first_day: date
    days: int
    slot: str
    source: Source


class Brought(NamedTuple):
    """Where a round brought a product, and when."""

    place: str
    product: str
    day: date


@dataclass(frozen=True, slots=True)
class Scope:
    """What is asked for: the schools, the span as days and as instants, the sheet to leave out."""

    of_school: ColumnElement[bool]
    span: Span
    start: datetime
    end: datetime
    without_sheet: int | None

    def other_sheets(self, column: Any) -> ColumnElement[bool]:
        """Rows of any sheet but the one that is being sent anew."""
        return true() if self.without_sheet is None else or_(column.is_(None), column != self.without_sheet)


def scope_of(programme: Programme, span: Span, school_ids: Collection[int] | None, without_sheet: int | None) -> Scope:
    zone = ZoneInfo(programme.zone)
    of_school = s.School.programme_id == programme.id
    if school_ids is not None:
        of_school = of_school & s.School.id.in_(school_ids)
    start, end = (
        datetime.combine(day, time(0), tzinfo=zone).astimezone(UTC)
        for day in (span.first, span.last + timedelta(days=1))
    )
    return Scope(of_school, span, start, end, without_sheet)


def units_of(session: Session, scope: Scope) -> dict[int, dict[str, UnitInfo]]:
    group, way = units.BlockGroup, units.UnitWay
    of_blocks = select(group.block_id, group.from_day, group.grp).join(units.Block, units.Block.id == group.block_id)
    groups = _dated(session, of_blocks.join(s.School, s.School.id == units.Block.school_id).where(scope.of_school))
    of_units = select(way.unit_id, way.from_day, way.way).join(units.Unit, units.Unit.id == way.unit_id)
    ways = _dated(session, of_units.join(s.School, s.School.id == units.Unit.school_id).where(scope.of_school))
    dials = _dials(session, scope)
    found: dict[int, dict[str, UnitInfo]] = defaultdict(dict)
    u = units.Unit
    query = select(u, units.Block.code).join(units.Block, units.Block.id == u.block_id)
    for row, block in session.execute(query.join(s.School, s.School.id == u.school_id).where(scope.of_school)):
        found[row.school_id][row.code] = UnitInfo(
            row.id, row.code, row.name, row.kind, block, row.accessible, row.from_day, row.until_day,
            tuple(groups.get(row.block_id, ())), tuple(ways.get(row.id, ())), tuple(dials.get(row.id, ())),
        )  # fmt: skip
    return found


def _dated(session: Session, query: Any) -> dict[int, list[tuple[date, Any]]]:
    """(from_day, value) by owner, earliest first, of a query of the three columns."""
    found: dict[int, list[tuple[date, Any]]] = defaultdict(list)
    for owner_id, day, one in session.execute(query.order_by(query.selected_columns[1])):
        found[owner_id].append((day, one))
    return found


def _dials(session: Session, scope: Scope) -> dict[int, list[DialInfo]]:
    found: dict[int, list[DialInfo]] = defaultdict(list)
    query = select(units.Dial).join(units.Unit, units.Unit.id == units.Dial.unit_id).join(s.School)
    for row in session.scalars(query.where(scope.of_school).order_by(units.Dial.from_at)):
        found[row.unit_id].append(
            DialInfo(row.quantity, row.from_at, row.until_at, row.digits, row.step_ml, row.first_value, row.last_value)
        )
    return found


def drawn_of(session: Session, scope: Scope) -> dict[int, set[tuple[date, str]]]:
    found: dict[int, set[tuple[date, str]]] = defaultdict(set)
    d = s.DrawnBreak
    query = select(d.school_id, d.day, d.slot).join(s.School, s.School.id == d.school_id)
    for school_id, day, slot in session.execute(
        query.where(scope.of_school, d.day.between(scope.span.first, scope.span.last))
    ):
        found[school_id].add((day, slot))
    return found


def enrolled_of(session: Session, scope: Scope) -> dict[int, list[Enrolled]]:
    found: dict[int, list[Enrolled]] = defaultdict(list)
    e = s.Enrolment
    query = select(s.Shift.school_id, e.sex, e.grade, e.pupils, e.from_day, e.until_day)
    query = query.join(s.Shift, s.Shift.id == e.shift_id).join(s.School, s.School.id == s.Shift.school_id)
    for school_id, sex, grade, count, from_day, until_day in session.execute(query.where(scope.of_school)):
        found[school_id].append(Enrolled(sex, grade, count, from_day, until_day))
    return found


def places_of(session: Session, programme_id: int) -> list[tuple[str, PlaceKind, int | None, str | None, int | None]]:
    place = supplies.StockPlace
    query = select(place.code, place.kind, place.capacity, units.Unit.code, place.school_id)
    query = query.outerjoin(units.Unit, units.Unit.id == place.unit_id).where(place.programme_id == programme_id)
    return [(code, kind, room, unit, school_id) for code, kind, room, unit, school_id in session.execute(query)]


def products_of(session: Session, programme_id: int) -> frozenset[str]:
    product = supplies.Product
    return frozenset(session.scalars(select(product.code).where(product.programme_id == programme_id)))


def outages_of(session: Session, scope: Scope) -> dict[int, list[OutageInfo]]:
    found: dict[int, list[OutageInfo]] = defaultdict(list)
    out = o.Outage
    query = select(units.Unit.school_id, out.ref, units.Unit.code, out.source, out.cause, out.start_at, out.end_at)
    query = query.join(units.Unit, units.Unit.id == out.unit_id).join(s.School, s.School.id == units.Unit.school_id)
    touches = and_(out.start_at < scope.end, or_(out.end_at.is_(None), out.end_at > scope.start))
    for school_id, *fields in session.execute(
        query.where(scope.of_school, touches, scope.other_sheets(out.sheet_id)).order_by(out.start_at)
    ):
        found[school_id].append(OutageInfo(*cast(Any, fields)))
    return found


def readings_of(session: Session, scope: Scope) -> dict[int, dict[DialKey, list[ReadingInfo]]]:
    """Readings in the span, and of each dial the last before and the first after it."""
    r = usage.Reading
    query = select(units.Unit.school_id, units.Unit.code, r.quantity, r.source, r.at, r.value)
    query = query.join(units.Unit, units.Unit.id == r.unit_id).join(s.School, s.School.id == units.Unit.school_id)
    query = query.where(scope.of_school, scope.other_sheets(r.sheet_id))
    before = _nearest(func.max(r.at), r.at < scope.start, scope)
    after = _nearest(func.min(r.at), r.at >= scope.end, scope)
    same = [(r.unit_id, r.quantity, r.source, r.at) for _ in (before, after)]
    rows: set[Any] = set(session.execute(query.where(r.at >= scope.start, r.at < scope.end)))
    for near, columns in zip((before, after), same, strict=True):
        joined = and_(*(column == other for column, other in zip(columns, near.c, strict=True)))
        rows |= set(session.execute(query.join(near, joined)))
    found: dict[int, dict[DialKey, list[ReadingInfo]]] = defaultdict(lambda: defaultdict(list))
    for row in sorted(rows, key=lambda one: one.at):
        found[row.school_id][row.code, row.quantity, row.source].append(ReadingInfo(row.at, row.value))
    return found


def _nearest(what: Any, when: ColumnElement[bool], scope: Scope) -> Any:
    r = usage.Reading
    query = select(r.unit_id, r.quantity, r.source, what.label("at"))
    query = query.join(units.Unit, units.Unit.id == r.unit_id).join(s.School, s.School.id == units.Unit.school_id)
    query = query.where(when, scope.of_school, scope.other_sheets(r.sheet_id))
    return query.group_by(r.unit_id, r.quantity, r.source).subquery()


def counts_of(session: Session, scope: Scope) -> dict[int, set[CountKey]]:
    found: dict[int, set[CountKey]] = defaultdict(set)
    c = usage.UsageCount
    query = select(units.Unit.school_id, units.Unit.code, c.first_day, c.days, c.slot, c.source)
    query = query.join(units.Unit, units.Unit.id == c.unit_id).join(s.School, s.School.id == units.Unit.school_id)
    in_span = c.first_day.between(scope.span.first, scope.span.last)
    for school_id, *key in session.execute(query.where(scope.of_school, in_span, scope.other_sheets(c.sheet_id))):
        found[school_id].add(CountKey(*cast(Any, key)))
    return found


def sessions_of(session: Session, scope: Scope) -> dict[int, dict[str, date]]:
    found: dict[int, dict[str, date]] = defaultdict(dict)
    a = AwarenessSession
    query = select(a.school_id, a.ref, a.day).join(s.School, s.School.id == a.school_id)
    for school_id, ref, day in session.execute(query.where(scope.of_school, scope.other_sheets(a.sheet_id))):
        found[school_id][ref] = day
    return found


def brought_of(session: Session, scope: Scope) -> dict[int, dict[Brought, int]]:
    """Pieces that vehicles of rounds brought in the span: by school_id, then place, product and day."""
    move, start, end = supplies.StockMove, aliased(supplies.StockPlace), aliased(supplies.StockPlace)
    query = (
        select(end.school_id, end.code, supplies.Product.code, move.day, func.sum(move.quantity))
        .join(start, start.id == move.from_place_id)
        .join(end, end.id == move.to_place_id)
        .join(s.School, s.School.id == end.school_id)
        .join(supplies.Lot, supplies.Lot.id == move.lot_id)
        .join(supplies.Product, supplies.Product.id == supplies.Lot.product_id)
        .where(scope.of_school, start.kind == PlaceKind.VEHICLE, move.day.between(scope.span.first, scope.span.last))
        .group_by(end.school_id, end.code, supplies.Product.code, move.day)
    )
    found: dict[int, dict[Brought, int]] = defaultdict(dict)
    for school_id, place, product, day, pieces in session.execute(query):
        found[int(school_id or 0)][Brought(place, product, day)] = int(pieces)
    return found
