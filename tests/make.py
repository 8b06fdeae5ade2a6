"""Builders with defaults: each test names only what it is about. They add and flush, never commit."""

from __future__ import annotations

from datetime import date
from itertools import count

from sqlalchemy.orm import Session

from tracker import models as m
from tracker.vocabulary import CountWay, Group, Role, Sex, Source, UnitKind

_numbers = count(1)
FIRST = date(2026, 1, 1)


def _add(session: Session, row):
    session.add(row)
    session.flush()
    return row


def make_programme(session: Session, **given) -> m.programme.Programme:
    number = next(_numbers)
    fields = {"code": f"P{number}", "name": f"Programme {number}", "zone": "Etc/GMT-3", "currency": "XTS"}
    fields |= {"first_weekday": 0, "phone": "", "is_demo": False}
    return _add(session, m.programme.Programme(**(fields | given)))


def make_area(session: Session, programme=None, **given) -> m.programme.Area:
    programme = programme or make_programme(session)
    number = next(_numbers)
    return _add(
        session,
        m.programme.Area(programme_id=programme.id, **({"code": f"A{number}", "name": f"Area {number}"} | given)),
    )


def make_term(session: Session, programme, first=date(2026, 1, 12), last=date(2026, 4, 3), **given) -> m.programme.Term:
    fields = {"code": f"T{next(_numbers)}", "name": "Term", "first_day": first, "last_day": last}
    return _add(session, m.programme.Term(programme_id=programme.id, **(fields | given)))


def make_school(session: Session, programme=None, area=None, **given) -> m.school.School:
    """A school with one shift, open 08:00 to 15:00 on Monday to Friday, with a first break and lunch."""
    programme = programme or make_programme(session)
    area = area or make_area(session, programme)
    number = next(_numbers)
    fields = {"code": f"S{number}", "name": f"School {number}", "from_day": FIRST, "boarders": False}
    school = _add(session, m.school.School(programme_id=programme.id, area_id=area.id, **(fields | given)))
    shift = _add(session, m.school.Shift(school_id=school.id, code="day", name="Day"))
    for weekday in range(5):
        session.add(
            m.school.SchoolHours(shift_id=shift.id, weekday=weekday, opens_min=480, closes_min=900, from_day=FIRST)
        )
        for code, name, start, end in (("B1", "First break", 600, 620), ("B2", "Lunch", 720, 760)):
            session.add(
                m.school.SchoolBreak(
                    shift_id=shift.id,
                    code=code,
                    name=name,
                    weekday=weekday,
                    start_min=start,
                    end_min=end,
                    from_day=FIRST,
                )
            )
    for sex in Sex:
        session.add(m.school.Enrolment(shift_id=shift.id, sex=sex, grade="6", age=12, pupils=100, from_day=FIRST))
    session.flush()
    return school


def make_block(session: Session, school, group: Group = Group.GIRLS, **given) -> m.units.Block:
    block = _add(
        session, m.units.Block(school_id=school.id, **({"code": f"K{next(_numbers)}", "name": "Block"} | given))
    )
    _add(session, m.units.BlockGroup(block_id=block.id, grp=group, from_day=FIRST))
    return block


def make_unit(session: Session, school, block=None, way: CountWay = CountWay.GRID, **given) -> m.units.Unit:
    block = block or make_block(session, school)
    number = next(_numbers)
    fields = {"code": f"U{number}", "name": f"Unit {number}", "kind": UnitKind.CABIN, "accessible": False}
    fields |= {"from_day": FIRST, "preferred_source": Source.TALLY}
    unit = _add(session, m.units.Unit(school_id=school.id, block_id=block.id, **(fields | given)))
    _add(session, m.units.UnitWay(unit_id=unit.id, way=way, from_day=FIRST))
    return unit


def make_person(
    session: Session, programme=None, role: Role | None = None, school=None, area=None, **given
) -> m.people.Person:
    number = next(_numbers)
    person = _add(
        session, m.people.Person(**({"email": f"p{number}@test.example", "name": f"Person {number}"} | given))
    )
    if role is not None and programme is not None:
        _add(
            session,
            m.people.RoleGrant(
                programme_id=programme.id,
                ref=f"R{number}",
                person_id=person.id,
                role=role,
                school_id=school.id if school else None,
                area_id=area.id if area else None,
            ),
        )
    return person
