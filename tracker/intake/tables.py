"""The exchange format: one CSV file per kind of record, its columns, keys and links. Order is loading order.

The demo folder, the table schemas in ``datapackage.json`` and ``docs/exchange.md`` are all made from these lines.
A column is filled from the cell; a link is resolved from one or more columns to a row of an earlier file.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from tracker import models as m
from tracker.vocabulary import (
    BeforeKind,
    Cause,
    ClosureScope,
    CountWay,
    Danger,
    DayMark,
    FittingKind,
    GivenWay,
    Group,
    LitresBasis,
    MoneyKind,
    MoveReason,
    PlaceKind,
    Quantity,
    Role,
    Route,
    SheetState,
    Sex,
    Source,
    State,
    UnitKind,
    VisitPurpose,
)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in the file, what may stand in it, and the attribute it fills.

    kind: text, whole, date (2026-02-03), local_time (2026-02-03T08:10, in the programme's zone), clock (08:10),
    yes_no, word (of ``words``), degrees (decimal). ``low`` and ``high`` bound whole numbers.
    """

    name: str
    kind: str
    attr: str
    required: bool = True
    words: type[StrEnum] | None = None
    low: int | None = None
    high: int | None = None
    length: int | None = None
    doc: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """Columns that together name a row of another table ("area"; "school" + "unit")."""

    columns: tuple[str, ...]
    target: str
    attr: str
    required: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """One file. ``key``: columns that name a row. ``fact``: brought by week sheets, so it belongs to one."""

    name: str
    model: type[Any]
    doc: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    links: tuple[Link, ...] = ()
    fact: bool = False


def text(name: str, length: int, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """A text column."""
    return Column(name, "text", attr or name, required, length=length, doc=doc)


def whole(
    name: str, low: int | None = 0, high: int | None = None, *, attr: str = "", required: bool = True, doc: str = ""
) -> Column:
    """A whole-number column."""
    return Column(name, "whole", attr or name, required, low=low, high=high, doc=doc)


def day(name: str, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """A calendar day."""
    return Column(name, "date", attr or name, required, doc=doc)


def moment(name: str, attr: str, *, required: bool = True, doc: str = "") -> Column:
    """A local time in the programme's zone."""
    return Column(name, "local_time", attr, required, doc=doc)


def clock(name: str, attr: str) -> Column:
    """A time of day, kept as minutes after midnight."""
    return Column(name, "clock", attr)


def yes(name: str, *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """Yes or no."""
    return Column(name, "yes_no", attr or name, required, doc=doc)


def word(name: str, words: type[StrEnum], *, attr: str = "", required: bool = True, doc: str = "") -> Column:
    """One word of a list."""
    return Column(name, "word", attr or name, required, words=words, doc=doc)


AREA = Link(("area",), "areas", "area_id")
AREA_OR_NONE = Link(("area",), "areas", "area_id", required=False)
SCHOOL = Link(("school",), "schools", "school_id")
SCHOOL_OR_NONE = Link(("school",), "schools", "school_id", required=False)
SHIFT = Link(("school", "shift"), "shifts", "shift_id")
UNIT = Link(("school", "unit"), "units", "unit_id")
UNIT_OR_NONE = Link(("school", "unit"), "units", "unit_id", required=False)
FROM = day("from_day")
UNTIL = day("until_day", required=False, doc="last day; blank: still so")
REF = text("ref", 40)
NOTE = text("note", 200, required=False, doc="needed where a check asks whether the figure is right")

TABLES: tuple[Table, ...] = (
    Table(
        "programme",
        m.programme.Programme,
        "The programme; one row.",
        ("programme",),
        (
            text("programme", 32, attr="code"),
            text("name", 120),
            text("zone", 64, doc="IANA time zone"),
            text("currency", 3, doc="ISO 4217"),
            whole("first_weekday", 0, 6, doc="0 Monday to 6 Sunday"),
            text("phone", 40, required=False, doc="whom to call in danger"),
            yes("is_demo"),
        ),
    ),
    Table(
        "settings",
        m.programme.ProgrammeSetting,
        "Dated settings; docs/settings.md lists the keys.",
        ("key", "from_day"),
        (text("key", 40), FROM, whole("value")),
    ),
    Table("areas", m.programme.Area, "Areas.", ("area",), (text("area", 32, attr="code"), text("name", 120))),
    Table(
        "terms",
        m.programme.Term,
        "School terms.",
        ("term",),
        (text("term", 32, attr="code"), text("name", 80), day("first_day"), day("last_day")),
    ),
    Table(
        "schools",
        m.school.School,
        "Schools.",
        ("school",),
        (
            text("school", 32, attr="code"),
            text("name", 120),
            yes("boarders"),
            FROM,
            UNTIL,
            Column("latitude_deg", "degrees", "latitude_udeg", False),
            Column("longitude_deg", "degrees", "longitude_udeg", False),
        ),
        (AREA,),
    ),
    Table(
        "closures",
        m.programme.Closure,
        "Days without school.",
        ("ref",),
        (REF, word("scope", ClosureScope), day("first_day"), day("last_day"), text("name", 80, required=False)),
        (AREA_OR_NONE, SCHOOL_OR_NONE),
    ),
    Table(
        "shifts",
        m.school.Shift,
        "Shifts of a school.",
        ("school", "shift"),
        (text("shift", 16, attr="code"), text("name", 60)),
        (SCHOOL,),
    ),
    Table(
        "school_hours",
        m.school.SchoolHours,
        "Opening hours by weekday.",
        ("school", "shift", "weekday", "from_day"),
        (whole("weekday", 0, 6), clock("opens", "opens_min"), clock("closes", "closes_min"), FROM, UNTIL),
        (SHIFT,),
    ),
    Table(
        "breaks",
        m.school.SchoolBreak,
        "Breaks by weekday.",
        ("school", "shift", "break", "weekday", "from_day"),
        (
            text("break", 16, attr="code"),
            text("name", 60),
            whole("weekday", 0, 6),
            clock("starts", "start_min"),
            clock("ends", "end_min"),
            FROM,
            UNTIL,
        ),
        (SHIFT,),
    ),
    Table(
        "enrolment",
        m.school.Enrolment,
        "Pupils by shift, sex, grade and age.",
        ("school", "shift", "sex", "grade", "age_years", "from_day"),
        (
            word("sex", Sex),
            text("grade", 16),
            whole("age_years", -1, 25, attr="age", doc="-1: not known"),
            whole("pupils", 0, 5000),
            FROM,
            UNTIL,
        ),
        (SHIFT,),
    ),
    Table(
        "grade_ages",
        m.programme.GradeAge,
        "Share of a grade's pupils of an age.",
        ("grade", "age_years", "from_day"),
        (text("grade", 16), whole("age_years", 3, 25, attr="age"), whole("permille", 0, 1000), FROM),
    ),
    Table(
        "staff",
        m.school.StaffCount,
        "Adults at a school.",
        ("school", "from_day"),
        (whole("staff", 0, 1000), FROM),
        (SCHOOL,),
    ),
    Table(
        "before",
        m.school.Before,
        "What stood at the school before.",
        ("school", "from_day"),
        (
            word("kind", BeforeKind),
            whole("flush_ml", 0, 50000, attr="ml", required=False),
            word("litres_basis", LitresBasis, required=False),
            FROM,
        ),
        (SCHOOL,),
    ),
    Table(
        "inspections",
        m.school.InspectionAnswer,
        "Answers of the term's inspection.",
        ("school", "term", "question"),
        (text("question", 40), text("answer", 40), day("seen_on")),
        (SCHOOL, Link(("term",), "terms", "term_id")),
    ),
    Table(
        "targets",
        m.programme.Target,
        "Targets of a term, in thousandths of the figure's unit.",
        ("term", "figure", "set_at"),
        (text("figure", 60), whole("target_thousandths", 0, attr="thousandths"), day("set_at")),
        (Link(("term",), "terms", "term_id"),),
    ),
    Table(
        "blocks",
        m.units.Block,
        "Blocks.",
        ("school", "block"),
        (text("block", 16, attr="code"), text("name", 60)),
        (SCHOOL,),
    ),
    Table(
        "block_groups",
        m.units.BlockGroup,
        "Whom a block is for.",
        ("school", "block", "from_day"),
        (word("group", Group, attr="grp"), FROM),
        (Link(("school", "block"), "blocks", "block_id"),),
    ),
    Table(
        "units",
        m.units.Unit,
        "Units.",
        ("school", "unit"),
        (
            text("unit", 16, attr="code"),
            text("name", 60),
            word("kind", UnitKind),
            yes("accessible"),
            FROM,
            UNTIL,
            word("preferred_source", Source),
        ),
        (SCHOOL, Link(("school", "block"), "blocks", "block_id")),
    ),
    Table(
        "unit_ways",
        m.units.UnitWay,
        "How a unit's visits are counted.",
        ("school", "unit", "from_day"),
        (word("way", CountWay), FROM),
        (UNIT,),
    ),
    Table(
        "fittings",
        m.units.Fitting,
        "What is fitted to a unit.",
        ("school", "unit", "kind", "from_day"),
        (
            word("kind", FittingKind),
            whole("visit_ml", 0, 100000, attr="ml"),
            whole("long_visit_ml", 0, 100000, attr="long_ml", required=False),
            whole("long_after_s", 1, 3600, attr="threshold_s", required=False),
            whole("every_visits", 1, 1000, attr="every_n", required=False),
            whole("factor_permille", 1, 1000, required=False),
            word("litres_basis", LitresBasis),
            whole("u_permille", 0, 1000, required=False),
            FROM,
            UNTIL,
        ),
        (UNIT,),
    ),
    Table(
        "dials",
        m.units.Dial,
        "Meters' and counters' dials as installed.",
        ("school", "unit", "quantity", "from_local_time"),
        (
            word("quantity", Quantity),
            moment("from_local_time", "from_at"),
            moment("until_local_time", "until_at", required=False),
            whole("digits", 1, 12),
            whole("step_ml", 1, 1000000, doc="1 for counters"),
            whole("u_permille", 0, 1000),
            whole("first_value"),
            whole("last_value", required=False),
        ),
        (UNIT,),
    ),
    Table(
        "meter_scopes",
        m.units.MeterScope,
        "What a meter serves.",
        ("school", "meter", "unit", "from_day"),
        (yes("whole"), FROM, UNTIL),
        (UNIT, Link(("school", "meter"), "units", "meter_id")),
    ),
    Table(
        "agreements",
        m.agreements.Agreement,
        "Agreements with buyers.",
        ("agreement",),
        (
            text("agreement", 32, attr="code"),
            text("buyer", 80),
            day("accepted_on", required=False),
            day("warranty_from", required=False),
            day("warranty_until", required=False),
            text("clock_stops", 200, required=False),
            whole("promise_hours", 1, 2000),
            whole("visit_every_days", 1, 400),
            whole("price_minor"),
        ),
        (SCHOOL,),
    ),
    Table(
        "agreement_units",
        m.agreements.AgreementUnit,
        "Units under an agreement.",
        ("agreement", "school", "unit"),
        (text("serial", 60, required=False),),
        (Link(("agreement",), "agreements", "agreement_id"), UNIT),
    ),
    Table(
        "products",
        m.supplies.Product,
        "Products.",
        ("product",),
        (
            text("product", 32, attr="code"),
            text("name", 80),
            yes("menstrual"),
            whole("pack_size", 1, 10000),
            whole("unit_cost_minor"),
            whole("shelf_life_days", 1, 10000, required=False),
        ),
    ),
    Table(
        "lots",
        m.supplies.Lot,
        'Lots; "unknown" is one.',
        ("product", "lot"),
        (text("lot", 32, attr="code"), day("expires_on", required=False)),
        (Link(("product",), "products", "product_id"),),
    ),
    Table(
        "places",
        m.supplies.StockPlace,
        "Where supplies can be.",
        ("place",),
        (
            text("place", 48, attr="code"),
            text("name", 80),
            word("kind", PlaceKind),
            whole("capacity", 1, required=False),
        ),
        (SCHOOL_OR_NONE, UNIT_OR_NONE),
    ),
    Table(
        "given_how",
        m.supplies.GivenHow,
        "How napkins are given from a place.",
        ("place", "from_day"),
        (word("way", GivenWay), whole("price_minor"), FROM),
        (Link(("place",), "places", "place_id"),),
    ),
    Table("rounds", m.supplies.PlannedRound, "Days of restocking rounds.", ("day",), (day("day"),)),
    Table(
        "disposal_routes",
        m.disposal.DisposalRoute,
        "Where used supplies go.",
        ("school", "kind", "from_day"),
        (
            word("kind", Route),
            FROM,
            UNTIL,
            day("permit_until", required=False),
            day("operator_until", required=False),
            day("siting_checked", required=False),
            day("flue_checked", required=False),
            text("ash_route", 80, required=False),
        ),
        (SCHOOL,),
    ),
    Table(
        "people",
        m.people.Person,
        "Staff accounts, without passwords.",
        ("email",),
        (text("email", 120), text("name", 80), text("phone", 40, required=False), yes("active")),
    ),
    Table(
        "role_grants",
        m.people.RoleGrant,
        "Who may do what.",
        ("ref",),
        (text("ref", 60), word("role", Role)),
        (Link(("email",), "people", "person_id"), AREA_OR_NONE, SCHOOL_OR_NONE),
    ),
    Table(
        "drawn_breaks",
        m.school.DrawnBreak,
        "Breaks drawn at random for tallying.",
        ("school", "day", "break"),
        (day("day"), text("break", 16, attr="slot")),
        (SCHOOL,),
    ),
    Table(
        "week_sheets",
        m.sheets.WeekSheet,
        "Week sheets that were sent.",
        ("school", "week"),
        (
            day("week", doc="first day of the programme's week"),
            word("state", SheetState),
            moment("first_sent_local_time", "first_sent_at"),
            whole("version", 1, 99),
        ),
        (SCHOOL,),
    ),
    Table(
        "day_marks",
        m.school.Mark,
        "Lost, half and exam days.",
        ("school", "day", "mark"),
        (day("day"), word("mark", DayMark)),
        (SCHOOL,),
        fact=True,
    ),
    Table(
        "usage_counts",
        m.usage.UsageCount,
        "Visits counted.",
        ("school", "unit", "first_day", "days", "slot", "source"),
        (
            day("first_day"),
            whole("days", 1, 7),
            text("slot", 16, doc="a break's code, other, or all"),
            word("source", Source),
            word("how", CountWay),
            whole("visits", 0, 20000),
            NOTE,
        ),
        (UNIT,),
        fact=True,
    ),
    Table(
        "long_weeks",
        m.usage.LongWeek,
        "Of the visits looked at in a week, the long ones.",
        ("school", "unit", "week", "source"),
        (day("week"), word("source", Source), whole("seen_visits", 1, attr="seen"), whole("long_visits")),
        (UNIT,),
        fact=True,
    ),
    Table(
        "bell_counts",
        m.school.BellCount,
        "Who still waited at the bell of a drawn break.",
        ("school", "day", "break", "group"),
        (
            day("day"),
            text("break", 16, attr="slot"),
            word("group", Group, attr="grp"),
            whole("waiting", 0, 5000, required=False),
            whole("present", 0, 5000, required=False),
        ),
        (SCHOOL,),
        fact=True,
    ),
    Table(
        "readings",
        m.usage.Reading,
        "Dial readings, all digits as one whole number.",
        ("school", "unit", "quantity", "source", "at_local_time"),
        (word("quantity", Quantity), word("source", Source), moment("at_local_time", "at"), whole("value"), NOTE),
        (UNIT,),
        fact=True,
    ),
    Table(
        "levels",
        m.usage.Level,
        "Tank and bin levels in quarters.",
        ("school", "unit", "day", "source"),
        (day("day"), word("source", Source), whole("quarters", 0, 4)),
        (UNIT,),
        fact=True,
    ),
    Table(
        "water_deliveries",
        m.usage.WaterDelivery,
        "Water brought or recovered.",
        ("ref",),
        (REF, day("day"), text("origin", 16, doc="tanker, rain or recovered"), whole("volume_ml", 1, attr="ml")),
        (Link(("school", "tank"), "units", "tank_id"),),
    ),
    Table(
        "outages",
        m.outages.Outage,
        "When units could not be used.",
        ("ref",),
        (
            REF,
            word("source", Source),
            word("cause", Cause),
            moment("start_local_time", "start_at"),
            moment("end_local_time", "end_at", required=False),
            text("event", 40, required=False, doc="same word for units out by one common cause"),
            text("said_by", 80, required=False),
            word("danger", Danger, required=False),
            text("checked_by", 80, required=False),
            day("checked_on", required=False),
            text("note", 200, required=False),
        ),
        (UNIT,),
        fact=True,
    ),
    Table(
        "sightings",
        m.outages.Sighting,
        "What somebody saw when looking at a unit.",
        ("school", "unit", "day", "source"),
        (word("source", Source), day("day"), word("state", State)),
        (UNIT,),
        fact=True,
    ),
    Table(
        "service_visits",
        m.outages.ServiceVisit,
        "Jobs and visits of the engineer.",
        ("ref",),
        (
            REF,
            word("purpose", VisitPurpose),
            day("asked_on"),
            moment("done_local_time", "done_at", required=False),
            text("found", 200, required=False),
            text("done", 200, required=False),
            text("parts", 200, required=False),
            yes("back_in_service"),
        ),
        (
            UNIT,
            Link(("outage",), "outages", "outage_id", required=False),
            Link(("email",), "people", "by_person_id", required=False),
        ),
    ),
    Table(
        "stock_moves",
        m.supplies.StockMove,
        "Pieces that went from place to place.",
        ("ref",),
        (
            text("ref", 60),
            whole("quantity", 1, 1000000),
            day("day"),
            word("reason", MoveReason),
            text("note", 200, required=False),
        ),
        (
            Link(("from_place",), "places", "from_place_id"),
            Link(("to_place",), "places", "to_place_id"),
            Link(("product", "lot"), "lots", "lot_id"),
        ),
        fact=True,
    ),
    Table(
        "stock_counts",
        m.supplies.StockCount,
        "Pieces counted at a place at the end of a day.",
        ("place", "product", "day"),
        (day("day"), whole("quantity", 0, 1000000)),
        (Link(("place",), "places", "place_id"), Link(("product",), "products", "product_id")),
        fact=True,
    ),
    Table(
        "machine_days",
        m.supplies.MachineDay,
        "Whether a machine ran out on a day.",
        ("school", "unit", "day", "source"),
        (word("source", Source), day("day"), yes("ran_out")),
        (UNIT,),
        fact=True,
    ),
    Table(
        "burns",
        m.disposal.Burn,
        "Burns started.",
        ("school", "unit", "first_day"),
        (day("first_day"), whole("days", 1, 7), whole("burns", 0, 200)),
        (UNIT,),
        fact=True,
    ),
    Table(
        "awareness_sessions",
        m.sessions.AwarenessSession,
        "Lessons held.",
        ("ref",),
        (REF, day("day"), text("topic", 80), whole("minutes", 1, 600)),
        (SCHOOL,),
        fact=True,
    ),
    Table(
        "attendance",
        m.sessions.Attendance,
        "Pupils there, by sex and grade.",
        ("session", "sex", "grade"),
        (word("sex", Sex), text("grade", 16, required=False), whole("present", 0, 5000)),
        (Link(("session",), "awareness_sessions", "session_id"),),
        fact=True,
    ),
    Table(
        "quizzes",
        m.sessions.Quiz,
        "Quiz totals before and after.",
        ("session", "item"),
        (text("item", 40), whole("right_right"), whole("right_wrong"), whole("wrong_right"), whole("wrong_wrong")),
        (Link(("session",), "awareness_sessions", "session_id"),),
        fact=True,
    ),
    Table(
        "money",
        m.supplies.MoneyEntry,
        "Costs and income, in minor units.",
        ("ref",),
        (REF, day("day"), word("kind", MoneyKind), whole("minor"), text("note", 200, required=False)),
        (SCHOOL,),
    ),
)

BY_NAME = {table.name: table for table in TABLES}
