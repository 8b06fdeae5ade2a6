"""A school with one unit of each way of counting, a machine, an incinerator, a tank and a meter."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from html import unescape

from sqlalchemy.orm import Session

from tests.make import make_block, make_person, make_programme, make_school, make_term, make_unit
from tracker import models as m
from tracker.records import calendar
from tracker.vocabulary import (
    CountWay,
    FittingKind,
    Group,
    LitresBasis,
    PlaceKind,
    Quantity,
    Role,
    UnitKind,
)

WEEK = date(2026, 1, 26)  # Monday; the clock of the tests stands on Wednesday 4 February
BEFORE = datetime(2026, 1, 9, 12, tzinfo=UTC)


@dataclass
class Place:
    """What the tests name."""

    programme: m.programme.Programme
    school: m.school.School
    person: m.people.Person
    officer: m.people.Person
    units: dict[str, m.units.Unit]
    drawn: list[tuple[date, str]]

    @property
    def address(self) -> str:
        return f"/schools/{self.school.id}/weeks/{WEEK}"


def build(session: Session) -> Place:
    programme = make_programme(session, phone="+00 555 0100")
    school = make_school(session, programme)
    make_term(session, programme)
    girls, boys = make_block(session, school), make_block(session, school, Group.BOYS)
    rows = (
        ("G1", girls, CountWay.GRID, UnitKind.CABIN),
        ("G2", girls, CountWay.DRAWN, UnitKind.CABIN),
        ("B1", boys, CountWay.COUNTER, UnitKind.CABIN),
        ("T1", boys, CountWay.WEEK_TOTAL, UnitKind.TAP),
        ("V1", girls, CountWay.NONE, UnitKind.MACHINE),
        ("I1", girls, CountWay.NONE, UnitKind.INCINERATOR),
        ("K1", girls, CountWay.NONE, UnitKind.TANK),
        ("M1", girls, CountWay.NONE, UnitKind.METER),
    )
    units = {
        code: make_unit(session, school, block, way, code=code, name=f"Unit {code}", kind=kind)
        for code, block, way, kind in rows
    }
    fitting = {"kind": FittingKind.FLUSH_TWO_STAGE, "ml": 1500, "long_ml": 4000, "threshold_s": 180}
    session.add(
        m.units.Fitting(unit_id=units["G2"].id, litres_basis=LitresBasis.CLAIM, from_day=date(2026, 1, 1), **fitting)
    )
    for code, quantity, digits in (("B1", Quantity.VISITS, 5), ("M1", Quantity.WATER, 8), ("V1", Quantity.VENDS, 6)):
        session.add(
            m.units.Dial(
                unit_id=units[code].id, quantity=quantity, from_at=BEFORE, digits=digits, step_ml=1, first_value=100
            )
        )
    _supplies(session, programme, school, units["V1"])
    person = make_person(session, programme, Role.COORDINATOR, school=school, name="Ama Tolu")
    officer = make_person(session, programme, Role.OFFICER)
    calendar.rebuild(session, programme.id)
    drawn = sorted(
        (row.day, row.slot) for row in session.query(m.school.DrawnBreak).filter_by(school_id=school.id, week=WEEK)
    )
    session.commit()
    return Place(programme, school, person, officer, units, drawn)


def _supplies(session: Session, programme, school, machine) -> None:
    product = m.supplies.Product(
        programme_id=programme.id, code="pad", name="napkins", menstrual=True, pack_size=10, unit_cost_minor=5
    )
    session.add(product)
    session.flush()
    session.add(m.supplies.Lot(product_id=product.id, code="unknown"))
    for code, kind, unit in (("V1", PlaceKind.MACHINE, machine.id), ("CUP", PlaceKind.CUPBOARD, None)):
        session.add(
            m.supplies.StockPlace(
                programme_id=programme.id, code=code, name=code, kind=kind, school_id=school.id, unit_id=unit
            )
        )
    session.add(m.supplies.StockPlace(programme_id=programme.id, code="STORE", name="Store", kind=PlaceKind.STORE))
    session.flush()


def hidden(page: str, name: str) -> str:
    """The value of a hidden field."""
    found = re.search(rf'name="{re.escape(name)}" value="([^"]*)"', page)
    assert found, name
    return unescape(found[1])


def fields(page: str) -> dict[str, str]:
    """Every cell of the sheet's form as a browser without script would send it."""
    sent = {}
    form = page.split('class="week-sheet"', 1)[1].split("</form>", 1)[0]
    for tag in re.findall(r"<input [^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name is None or (("checkbox" in tag or "radio" in tag) and " checked" not in tag):
            continue
        sent[unescape(name[1])] = unescape(value[1]) if value else ""
    for name, body in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', body)
        sent[unescape(name)] = unescape(chosen[1]) if chosen else ""
    sent.pop("csrf_token", None)
    return sent


def body(answer) -> str:
    return answer.get_data(as_text=True)


def open_sheet(browser, place: Place) -> dict[str, str]:
    answer = browser.get(place.address)
    assert answer.status_code == 200
    return fields(body(answer))


def press(browser, place: Place, form: dict[str, str], act: str, **more: str):
    return browser.post(place.address, data={**form, **more, "act": act})


def plain_week(place: Place) -> dict[str, str]:
    """Cells of an ordinary week: a zero, some blanks, a reading, supplies."""
    (day, slot), _ = place.drawn
    return {
        "c.visits:G1:2026-01-26:B1": "12",
        "c.visits:G1:2026-01-26:B2": "0",
        f"c.visits:G2:{day}:{slot}": "7",
        f"c.waiting:{day}:{slot}:girls": "3",
        f"c.present:{day}:{slot}:girls": "95",
        "c.reading:B1:visits": "00150",
        "c.reading:M1:water": "00000900",
        "c.visits:T1:week": "140",
        "c.left:V1:pad": "14",
        "c.put:V1:pad": "0",
        "c.ranout:V1:2026-01-27": "no",
        "c.burns:I1": "2",
        "c.level:K1": "3",
        "c.state:G1:2026-01-26": "working",
    }
