"""What can be changed of a school: each act with its form, what it offers, what it starts from, how it is saved."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from tracker.models.agreements import Agreement
from tracker.models.disposal import DisposalRoute
from tracker.models.school import School, SchoolBreak
from tracker.models.units import Block, Fitting, Unit
from tracker.records import rounds_roads, setup_school, setup_units
from tracker.records.setup_read import SchoolRecord
from tracker.vocabulary import (
    BeforeKind,
    ClosureScope,
    CountWay,
    FittingKind,
    Group,
    LitresBasis,
    Quantity,
    Route,
    Sex,
    UnitKind,
)
from tracker.web.forms import setup as forms
from tracker.web.forms.fields import PlainForm, instant, options
from tracker.web.forms.setup_restock import DeliveryHoursForm

Form = Any
NOT_KNOWN = -1


@dataclass(frozen=True, slots=True)
class Change:
    """What a saver gets: the session, the school, the form and, where the act changes a row, that row."""

    session: Session
    school: School
    form: Form
    row: Any
    zone: str

    @property
    def reason(self) -> str:
        """Why, as typed."""
        return self.form.reason.data if "reason" in self.form else ""


@dataclass(frozen=True, slots=True)
class Act:
    """``of``: the kind of row it changes (None: it adds one). ``offer`` fills lists, ``start``: what fields hold."""

    title: str
    form: type[PlainForm]
    save: Callable[[Change], None]
    of: type[Any] | None = None
    offer: Callable[[Form, SchoolRecord], None] | None = None
    start: Callable[[Any, SchoolRecord], Mapping[str, Any]] | None = None
    caution: str = ""
    kinds: tuple[UnitKind, ...] = ()  # of units that have this act; none: every kind


# --- lists --------------------------------------------------------------------------------------------------------


def _blocks(form: Form, record: SchoolRecord) -> None:
    form.block_id.choices = options([(block.id, block.name) for block in record.rows["blocks"]])


def _shifts(form: Form, record: SchoolRecord) -> None:
    form.shift_id.choices = options([(shift.id, shift.name) for shift in record.rows["shifts"]])


def _served(form: Form, record: SchoolRecord) -> None:
    units = [unit for unit in record.rows["units"] if unit.until_day is None and unit.kind is not UnitKind.METER]
    form.served.choices = options([(unit.id, f"{unit.name} ({unit.code})") for unit in units])


def _agreed(form: Form, record: SchoolRecord) -> None:
    form.units.choices = options([(unit.id, f"{unit.name} ({unit.code})") for unit in record.rows["units"]])


def _enrolled(form: Form, record: SchoolRecord) -> None:
    _shifts(form, record)
    form.grade.choices = options([("", "A new grade, written below"), *((grade, grade) for grade in record.grades)])


def _unit_choice(form: Form, record: SchoolRecord) -> None:
    form.unit_id.choices = options([(unit.id, f"{unit.name} ({unit.code})") for unit in record.rows["units"]])


# --- saving -------------------------------------------------------------------------------------------------------


def _taken(form: Form, *names: str) -> dict[str, Any]:
    """Fields by name, never the whole form: a field added later must not become writable by accident."""
    return {name: form[name].data for name in names}


def add_block(change: Change) -> None:
    form = change.form
    setup_units.add_block(
        change.session, change.school, _taken(form, "code", "name"), Group(form.grp.data), form.from_day.data
    )


def change_group(change: Change) -> None:
    form = change.form
    group, day = Group(form.grp.data), form.from_day.data
    setup_units.change_group(change.session, change.school, change.row, group, day, reason=change.reason)


def add_unit(change: Change) -> None:
    form = change.form
    values = _taken(form, "code", "name", "block_id", "accessible", "from_day") | {"kind": UnitKind(form.kind.data)}
    setup_units.add_unit(change.session, change.school, values, CountWay(form.way.data), reason=change.reason)


def end_unit(change: Change) -> None:
    setup_units.end_unit(change.session, change.school, change.row, change.form.last_day.data, reason=change.reason)


def unit_again(change: Change) -> None:
    setup_units.unit_again(change.session, change.school, change.row, change.form.last_day.data, reason=change.reason)


def change_way(change: Change) -> None:
    form = change.form
    way, day = CountWay(form.way.data), form.from_day.data
    setup_units.change_way(change.session, change.school, change.row, way, day, reason=change.reason)


def add_fitting(change: Change) -> None:
    form = change.form
    values = _taken(form, "threshold_s", "every_n")
    values |= {"factor_permille": form.factor.permille, "u_permille": form.uncertainty.permille}
    values |= {"kind": FittingKind(form.kind.data), "ml": form.litres.ml, "long_ml": form.long_litres.ml}
    values |= {"litres_basis": LitresBasis(form.litres_basis.data)}
    setup_units.add_fitting(change.session, change.school, change.row, values, form.from_day.data, reason=change.reason)


def end_fitting(change: Change) -> None:
    setup_units.end_fitting(change.session, change.school, change.row, change.form.last_day.data, reason=change.reason)


def fitting_again(change: Change) -> None:
    last_day = change.form.last_day.data
    setup_units.fitting_again(change.session, change.school, change.row, last_day, reason=change.reason)


def put_dial(change: Change) -> None:
    form = change.form
    values = _taken(form, "digits", "step_ml", "first_value")
    values |= {"quantity": Quantity(form.quantity.data), "u_permille": form.uncertainty.permille or 0}
    at = instant(form.day.data, form.time.minutes, change.zone)
    setup_units.put_dial(change.session, change.row, values, at, form.last_value.data)


def change_scope(change: Change) -> None:
    form = change.form
    setup_units.change_scope(change.session, change.row, form.served.data, form.whole.data, form.from_day.data)


def details(change: Change) -> None:
    values = _taken(change.form, "name", "boarders", "until_day") | position(change.form)
    setup_school.change_school(change.session, change.school, values, reason=change.reason)


def position(form: Form) -> dict[str, int | None]:
    """Latitude and longitude in millionths of a degree."""
    return {
        "latitude_udeg": forms.microdegrees(form.latitude.data),
        "longitude_udeg": forms.microdegrees(form.longitude.data),
    }


def change_hours(change: Change) -> None:
    form = change.form
    times = (form.opens.minutes, form.closes.minutes) if form.opens.data else None
    hours = (form.weekdays.data, times)
    setup_school.change_hours(
        change.session, change.school, form.shift_id.data, hours, form.from_day.data, reason=change.reason
    )


def delivery_hours(change: Change) -> None:
    form = change.form
    times = (form.opens.minutes, form.closes.minutes)
    rounds_roads.set_delivery_hours(change.session, change.school, form.weekdays.data, times, form.from_day.data)


def change_break(change: Change) -> None:
    form = change.form
    values = _taken(form, "shift_id", "code", "name")
    values |= {"start_min": form.starts.minutes, "end_min": form.ends.minutes}
    setup_school.change_break(
        change.session, change.school, values, form.weekdays.data, form.from_day.data, reason=change.reason
    )


def end_break(change: Change) -> None:
    setup_school.end_break(change.session, change.school, change.row, change.form.last_day.data, reason=change.reason)


def enrolment(change: Change) -> None:
    form = change.form
    values = _taken(form, "shift_id", "pupils") | {"sex": Sex(form.sex.data)}
    values |= {"grade": form.new_grade.data or form.grade.data}
    values |= {"age": NOT_KNOWN if form.age.data is None else form.age.data}
    setup_school.change_enrolment(change.session, change.school, values, form.from_day.data, reason=change.reason)


def staff(change: Change) -> None:
    form = change.form
    setup_school.change_staff(change.session, change.school, form.staff.data, form.from_day.data, reason=change.reason)


def before(change: Change) -> None:
    form = change.form
    basis = LitresBasis(form.litres_basis.data) if form.litres_basis.data else None
    values = {"kind": BeforeKind(form.kind.data), "ml": form.litres.ml, "litres_basis": basis}
    setup_school.change_before(change.session, change.school, values, form.from_day.data, reason=change.reason)


def closure(change: Change) -> None:
    school = change.school
    values = _taken(change.form, "name", "first_day", "last_day")
    whom = (ClosureScope.SCHOOL, school.id)
    setup_school.add_closure(change.session, school.programme_id, values, whom, reason=change.reason, code=school.code)


PAPERS = ("permit_until", "operator_until", "siting_checked", "flue_checked", "ash_route")


def route(change: Change) -> None:
    form = change.form
    kind = change.row.kind if change.row is not None else Route(form.kind.data)
    papers, day = _taken(form, *PAPERS), form.from_day.data
    setup_school.put_route(change.session, change.school, kind, papers, day, reason=change.reason)


AGREED = (
    *("buyer", "accepted_on", "warranty_from", "warranty_until"),
    *("clock_stops", "promise_hours", "visit_every_days", "price_minor"),
)


def agreement(change: Change) -> None:
    form, names = change.form, AGREED if change.row is not None else ("code", *AGREED)
    serials = dict.fromkeys(form.units.data or [], "")
    setup_units.put_agreement(change.session, change.school, _taken(form, *names), serials, change.row)


def serial(change: Change) -> None:
    form = change.form
    serials = {form.unit_id.data: form.serial.data}
    setup_units.put_agreement(change.session, change.school, {}, serials, change.row)


# --- where fields begin -------------------------------------------------------------------------------------------


def _of_row(*names: str) -> Callable[[Any, SchoolRecord], Mapping[str, Any]]:
    def start(row: Any, _record: SchoolRecord) -> Mapping[str, Any]:
        return {name: getattr(row, name) for name in names}

    return start


def _of_agreement(row: Agreement, record: SchoolRecord) -> Mapping[str, Any]:
    under = [one.unit_id for one in record.rows["serials"] if one.agreement_id == row.id]
    return {name: getattr(row, name) for name in AGREED} | {"units": under}


def _of_school(_row: Any, record: SchoolRecord) -> Mapping[str, Any]:
    school = record.school
    degrees = {
        name: "" if value is None else f"{value / 1e6:.6f}"
        for name, value in (("latitude", school.latitude_udeg), ("longitude", school.longitude_udeg))
    }
    return {"name": school.name, "boarders": school.boarders, "until_day": school.until_day} | degrees


class RenewAgreementForm(forms.AgreementForm):
    """New dates of an agreement: its code stays."""

    code = None


ACTS: dict[str, Act] = {
    "details": Act("Name, position, last day", forms.SchoolDetailsForm, details, start=_of_school),
    "add-block": Act("Add a block", forms.BlockForm, add_block),
    "block-group": Act("Whom a block is for", forms.GroupForm, change_group, of=Block),
    "add-unit": Act("Add a unit", forms.UnitForm, add_unit, offer=_blocks),
    "end-unit": Act("End a unit", forms.EndForm, end_unit, of=Unit),
    "unit-again": Act("It stands again, or its last day was another", forms.AgainForm, unit_again, of=Unit),
    "count-way": Act("How visits are counted", forms.WayForm, change_way, of=Unit),
    "add-fitting": Act("Add a fitting", forms.FittingForm, add_fitting, of=Unit, caution="electrical"),
    "end-fitting": Act("End a fitting", forms.EndForm, end_fitting, of=Fitting),
    "fitting-again": Act("It is fitted still, or its last day was another", forms.AgainForm, fitting_again, of=Fitting),
    "dial": Act("Install or exchange a dial", forms.DialForm, put_dial, of=Unit),
    "meter-scope": Act("What a meter serves", forms.ScopeForm, change_scope, of=Unit, offer=_served),
    "hours": Act("School hours", forms.HoursForm, change_hours, offer=_shifts),
    "delivery-hours": Act("When goods are received", DeliveryHoursForm, delivery_hours),
    "break": Act("A break", forms.BreakForm, change_break, offer=_shifts),
    "end-break": Act("End a break", forms.EndForm, end_break, of=SchoolBreak),
    "closure": Act("Days without school", forms.ClosureForm, closure),
    "enrolment": Act("Enrolment", forms.EnrolmentForm, enrolment, offer=_enrolled),
    "staff": Act("Staff", forms.StaffForm, staff),
    "before": Act("What was there before", forms.BeforeForm, before),
    "add-route": Act("Add a disposal route", forms.RouteForm, route, caution="incinerator"),
    "route-papers": Act(
        "Papers of a disposal route",
        forms.PapersForm,
        route,
        of=DisposalRoute,
        start=_of_row(*PAPERS),
        caution="incinerator",
    ),
    "add-agreement": Act("Add an agreement", forms.AgreementForm, agreement, offer=_agreed),
    "agreement": Act("Agreement", RenewAgreementForm, agreement, of=Agreement, offer=_agreed, start=_of_agreement),
    "serial": Act("Serial number of a unit", forms.SerialForm, serial, of=Agreement, offer=_unit_choice),
}


def start_day(form: Form, day: date) -> dict[str, Any]:
    """A change begins today unless it says otherwise."""
    return {name: day for name in ("from_day", "day") if name in form}
