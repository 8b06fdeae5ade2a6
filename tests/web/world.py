"""Two programmes with everything a page's address can point at, and one person of each kind."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from sqlalchemy.orm import Session

from tests.make import make_area, make_block, make_person, make_programme, make_school, make_term, make_unit
from tracker import models as m
from tracker.records import ledger
from tracker.vocabulary import (
    Cause,
    MoveReason,
    OrderState,
    PlaceKind,
    ReportKind,
    Role,
    RoundState,
    SheetState,
    Signal,
    Source,
    SpotFigure,
    UnitKind,
    VisitPurpose,
)

WEEK = date(2026, 1, 26)
AT = datetime(2026, 2, 2, 6, 0, tzinfo=UTC)
MISSING = 999_999


@dataclass
class World:
    """``own`` is what the plain persons reach; ``other`` is the same of another programme; ids by name."""

    people: dict[str, m.people.Person] = field(default_factory=dict)
    own: dict[str, int] = field(default_factory=dict)
    other: dict[str, int] = field(default_factory=dict)

    def params(self, names: dict[str, str], which: str) -> dict[str, int]:
        """The ids of an address: of own objects, others', or none that exist."""
        if which == "missing":
            return dict.fromkeys(names, MISSING)
        return {param: getattr(self, which)[name] for param, name in names.items()}


def build(session: Session) -> World:
    """Fill an empty database; the caller commits."""
    world = World()
    one, two = make_programme(session), make_programme(session)
    near, far = make_area(session, one), make_area(session, one)
    there = make_area(session, two)
    school, neighbour = make_school(session, one, near), make_school(session, one, far)
    stranger = make_school(session, two, there)
    _staff(session, world, one, {"": (school, near), "_other": (neighbour, far)})
    _staff(session, world, two, {"_elsewhere": (stranger, there)})
    for role in (Role.OFFICER, Role.FUNDER, Role.ADMINISTRATOR):
        world.people[role.value] = make_person(session, one, role)
        world.people[f"{role.value}_elsewhere"] = make_person(session, two, role)
    world.people["officer_area"] = make_person(session, one, Role.OFFICER, area=far)
    world.people["ended"] = make_person(session, one, Role.COORDINATOR, school=school)
    session.query(m.people.RoleGrant).filter_by(person_id=world.people["ended"].id).update({"ended_at": AT})
    world.own = _objects(session, one, school, world.people["officer"], world.people["coordinator"])
    world.other = _objects(
        session, two, stranger, world.people["officer_elsewhere"], world.people["coordinator_elsewhere"]
    )
    return world


def _staff(session: Session, world: World, programme, places) -> None:
    for suffix, (school, area) in places.items():
        world.people["coordinator" + suffix] = make_person(session, programme, Role.COORDINATOR, school=school)
        world.people["engineer" + suffix] = make_person(session, programme, Role.ENGINEER, area=area)


def _objects(session: Session, programme, school, officer, coordinator) -> dict[str, int]:
    """One of each thing below a programme and its school."""
    term = make_term(session, programme)
    block = make_block(session, school)
    unit = make_unit(session, school, block)
    outage = m.outages.Outage(
        programme_id=programme.id, ref="O1", unit_id=unit.id, source=Source.TALLY, cause=Cause.BROKEN, start_at=AT
    )
    session.add(outage)
    session.flush()
    job = m.outages.ServiceVisit(
        programme_id=programme.id,
        ref="V1",
        unit_id=unit.id,
        outage_id=outage.id,
        purpose=VisitPurpose.REPAIR,
        asked_on=AT.date(),
    )
    sheet = m.sheets.WeekSheet(
        school_id=school.id, week=WEEK, code=f"C{school.id}", state=SheetState.SENT, version=1, first_sent_at=AT
    )
    login = m.people.LoginSession(
        token_hash=f"{officer.id:064d}", person_id=officer.id, created_at=AT, expires_at=AT + timedelta(days=90)
    )
    session.add_all([job, sheet, login])
    session.flush()
    rest = {
        "publication": _publication(session, programme, term, officer, ""),
        "school_publication": _publication(session, programme, term, officer, school.code),
        "query": _sheet_parts(session, sheet),
        "grant": session.query(m.people.RoleGrant).filter_by(person_id=coordinator.id).one().id,
    }
    rest |= _evidence(session, programme, school, term)
    rest |= _rounds(session, programme, school)
    rest |= _stock(session, programme, school, block)
    session.add(_agreement(programme, school))
    channel = m.channels.Channel(
        school_id=school.id, name="box:visits", unit_id=unit.id, signal=Signal.VISITS, from_day=WEEK
    )
    key = m.channels.FeedToken(school_id=school.id, label="box", token_hash=f"key{school.id}", made_at=AT)
    session.add_all([channel, key])
    link = _link(session, rest["publication"], officer)
    session.add(link)
    session.flush()
    rows = {"programme": programme, "school": school, "area": session.get(m.programme.Area, school.area_id)}
    rows |= {"term": term, "block": block, "unit": unit, "outage": outage, "job": job, "sheet": sheet}
    rows |= {"login": login, "person": coordinator, "channel": channel, "key": key, "link": link}
    return {name: row.id for name, row in rows.items()} | rest


def _evidence(session: Session, programme, school, term) -> dict[str, int]:
    """A grant with a share of the school, and a figure drawn for a check."""
    grant = m.evidence.FundingGrant(programme_id=programme.id, code="GR", funder="A funder", from_day=WEEK)
    draw = m.evidence.SpotDraw(programme_id=programme.id, code=f"{term.code}-1", term_id=term.id, number=1, drawn_at=AT)
    draw.drawn_by, draw.salt, draw.schools, draw.figures_each = "An officer", "0" * 32, 1, 1
    session.add_all([grant, draw])
    session.flush()
    share = m.evidence.GrantShare(grant_id=grant.id, school_id=school.id, permille=500, from_day=WEEK)
    check = m.evidence.SpotCheck(draw_id=draw.id, school_id=school.id, figure=SpotFigure.VISITS, week=WEEK, reported=40)
    session.add_all([share, check])
    session.flush()
    return {"funding_grant": grant.id, "grant_share": share.id, "spot_check": check.id}


def _stock(session: Session, programme, school, block) -> dict[str, int]:
    """A machine, a cupboard that another one lent to, and what was lent."""
    machine = make_unit(session, school, block, kind=UnitKind.MACHINE)
    places = {}
    for code, kind in (("LEND", PlaceKind.CUPBOARD), ("CUP", PlaceKind.CUPBOARD), ("SUP", PlaceKind.SUPPLIER)):
        at = school.id if kind is PlaceKind.CUPBOARD else None
        places[code] = m.supplies.StockPlace(programme_id=programme.id, code=f"W{code}", name="Cupboard", kind=kind)
        places[code].school_id = at
    product = m.supplies.Product(programme_id=programme.id, code="WPAD", name="Napkin", pack_size=10, unit_cost_minor=5)
    session.add_all([*places.values(), product])
    session.flush()
    ends = ((places["SUP"], places["LEND"], MoveReason.RECEIPT), (places["LEND"], places["CUP"], MoveReason.LOAN))
    for start, end, reason in ends:
        ledger.post(session, ledger.Move(f"w{reason}", start.id, end.id, product.id, 10, WEEK, reason))
    return {"place": places["CUP"].id, "lender": places["LEND"].id, "product": product.id, "machine": machine.id}


def _agreement(programme, school) -> m.agreements.Agreement:
    """An agreement with the same code in every programme."""
    return m.agreements.Agreement(
        programme_id=programme.id,
        code="AG",
        buyer="A buyer",
        school_id=school.id,
        promise_hours=72,
        visit_every_days=30,
    )


def _link(session: Session, publication_id: int, officer) -> m.links.ShareLink:
    """A link of the published summary; the first programme's has the random part "opened"."""
    token = f"other {publication_id}" if session.query(m.links.ShareLink).count() else "opened"
    return m.links.ShareLink(
        publication_id=publication_id,
        label="A funder",
        token_hash=hashlib.sha256(token.encode()).hexdigest(),
        made_at=AT,
        made_by_id=officer.id,
        expires_at=AT + timedelta(days=90),
    )


def _publication(session: Session, programme, term, officer, scope: str) -> int:
    row = m.publications.Publication(
        programme_id=programme.id,
        term_id=term.id,
        kind=ReportKind.SCHOOL_TERM if scope else ReportKind.IMPACT,
        scope=scope,
        number=1,
        cutoff_at=AT,
        published_at=AT,
        code_version="test",
        content="{}",
        content_hash="0" * 64,
        approved_by_id=officer.id,
    )
    session.add(row)
    session.flush()
    page = b"<!-- the report begins --><p>As published.</p><!-- the report ends -->"
    session.add(
        m.publications.PublicationFile(
            publication_id=row.id, name="report.html", media_type="text/html; charset=utf-8", content=page
        )
    )
    session.add(
        m.publications.PublicationLine(publication_id=row.id, figure="visits", school="S", week="2026-01-26", value="4")
    )
    session.flush()
    return row.id


def _sheet_parts(session: Session, sheet) -> int:
    session.add(
        m.sheets.SheetVersion(
            sheet_id=sheet.id, number=1, reference=f"R{sheet.id}", sent_at=AT, payload="{}", payload_hash="0" * 64
        )
    )
    query = m.sheets.Query(sheet_id=sheet.id, number=1, cell="", question="Please check.", asked_at=AT)
    session.add(query)
    session.flush()
    return query.id


def _rounds(session: Session, programme, school) -> dict[str, int]:
    """A planned round with one stop on one vehicle."""
    store = m.supplies.StockPlace(programme_id=programme.id, code="STORE", name="Store", kind=PlaceKind.STORE)
    van = m.supplies.Vehicle(programme_id=programme.id, code="VAN", name="Van")
    session.add_all([store, van])
    session.flush()
    fields = {"day": WEEK, "next_day": WEEK + timedelta(days=28), "aim": "fewest", "stay_min": 20}
    made = m.rounds.Round(
        programme_id=programme.id, code="R1", key=f"round-key-{programme.id}", store_id=store.id,
        state=RoundState.PLANNED, **fields,
    )  # fmt: skip
    session.add(made)
    session.flush()
    day = m.rounds.RoundDay(round_id=made.id, vehicle_id=van.id, day=WEEK, starts_min=450, limit_min=480)
    session.add(day)
    session.flush()
    stop = m.rounds.RoundStop(round_id=made.id, school_id=school.id, round_day_id=day.id, place_no=1)
    session.add(stop)
    session.flush()
    order = m.orders.SupplierOrder(
        programme_id=programme.id, code="P1", key="order-key", store_id=store.id, supplier="Supplier",
        state=OrderState.DRAFT, made_on=WEEK,
    )  # fmt: skip
    session.add(order)
    session.flush()
    return {"round": made.id, "round_day": day.id, "round_stop": stop.id, "order": order.id}
