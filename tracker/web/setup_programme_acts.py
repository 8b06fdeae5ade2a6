"""What can be changed of a programme: schools, areas, terms, closures, rounds, vehicles, terms, settings, targets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from tracker.models.programme import Programme
from tracker.records import setup_programme, setup_restock, setup_school
from tracker.records.setup_read import ProgrammeRecord
from tracker.vocabulary import Basis, ClosureScope
from tracker.web.forms import setup_programme as forms
from tracker.web.forms import setup_restock as restock_forms
from tracker.web.forms.fields import options
from tracker.web.forms.setup import SchoolForm
from tracker.web.setup_acts import Act, Form, position

EVERYWHERE = "programme"
ML_PER_L = 1000
TERMS = ("product_id", "supplier", "lead_days", "review_days", "min_packs", "pack_price_minor", "from_day")


@dataclass(frozen=True, slots=True)
class Change:
    """What a saver gets."""

    session: Session
    programme: Programme
    form: Form
    today: date

    @property
    def reason(self) -> str:
        """Why, as typed."""
        return self.form.reason.data if "reason" in self.form else ""


def _areas(form: Form, record: ProgrammeRecord) -> None:
    form.area_id.choices = options([(area.id, area.name) for area in record.areas])


def _where(form: Form, record: ProgrammeRecord) -> None:
    form.where.choices = options([(EVERYWHERE, "The whole programme")])
    form.where.choices += options([(str(area.id), f"Area: {area.name}") for area in record.areas])


def _targets(form: Form, record: ProgrammeRecord) -> None:
    form.term_id.choices = options([(term.id, term.name) for term in reversed(record.terms)])
    _figures(form, record)


def _figures(form: Form, _record: ProgrammeRecord) -> None:
    from tracker.reports.figures import ALL as FIGURES  # brings pandas, which other pages do without

    form.figure.choices = options([(one.key, one.label) for one in FIGURES])


def add_school(change: Change) -> None:
    form = change.form
    values: dict[str, Any] = {
        name: form[name].data for name in ("code", "name", "area_id", "boarders", "from_day")
    } | position(form)
    setup_school.add_school(change.session, change.programme, values)


def add_area(change: Change) -> None:
    setup_programme.add_area(change.session, change.programme, change.form.code.data, change.form.name.data)


def add_term(change: Change) -> None:
    values = {name: change.form[name].data for name in ("code", "name", "first_day", "last_day")}
    setup_programme.add_term(change.session, change.programme, values)


def closure(change: Change) -> None:
    form = change.form
    values = {name: form[name].data for name in ("name", "first_day", "last_day")}
    area = None if form.where.data == EVERYWHERE else int(form.where.data)
    whom = (ClosureScope.PROGRAMME, None) if area is None else (ClosureScope.AREA, area)
    setup_school.add_closure(change.session, change.programme.id, values, whom, reason=change.reason)


def add_round(change: Change) -> None:
    setup_programme.add_round(change.session, change.programme, change.form.day.data)


def drop_round(change: Change) -> None:
    setup_programme.drop_round(change.session, change.programme, change.form.day.data, change.today)


def _products(form: Form, record: ProgrammeRecord) -> None:
    form.product_id.choices = options([(product.id, product.name) for product in record.products])


def vehicle(change: Change) -> None:
    form = change.form
    room_ml = None if form.room_l.data is None else form.room_l.data * ML_PER_L
    values = {"code": form.code.data, "name": form.name.data, "room_ml": room_ml, "room_packs": form.room_packs.data}
    setup_restock.set_vehicle(change.session, change.programme, values)


def pack(change: Change) -> None:
    values = {name: change.form[name].data for name in ("product_id", "unit_name", "pack_ml")}
    setup_restock.set_pack(change.session, change.programme, values)


def stock_rule(change: Change) -> None:
    values = {name: change.form[name].data for name in ("school", "product_id", "minimum", "room", "from_day")}
    setup_restock.set_rule(change.session, change.programme, values)


def supplier_terms(change: Change) -> None:
    values = {name: change.form[name].data for name in TERMS}
    setup_restock.set_terms(change.session, change.programme, values)


def setting(change: Change) -> None:
    form = change.form
    key, value, day = form.key.data, form.whole, form.from_day.data
    setup_programme.change_setting(change.session, change.programme, key, value, day, reason=change.reason)


def target(change: Change) -> None:
    form = change.form
    setup_programme.set_target(
        change.session,
        change.programme,
        form.term_id.data,
        (form.figure.data, form.thousandths),
        today=change.today,
        reason=change.reason,
    )


def baseline(change: Change) -> None:
    form = change.form
    how = (form.measured_on.data, Basis(form.basis.data), form.note.data)
    what = (form.figure.data, form.thousandths)
    setup_programme.set_baseline(change.session, change.programme, what, how, reason=change.reason)


ACTS: dict[str, Act] = {
    "add-school": Act("Add a school", SchoolForm, add_school, offer=_areas),
    "add-area": Act("Add an area", forms.AreaForm, add_area),
    "add-term": Act("Add a term", forms.TermForm, add_term),
    "closure": Act("Days without school", forms.WideClosureForm, closure, offer=_where),
    "add-round": Act("Plan a restocking round", forms.RoundForm, add_round),
    "drop-round": Act("Take a round off the plan", forms.RoundForm, drop_round),
    "vehicle": Act("Add or change a vehicle", restock_forms.VehicleForm, vehicle),
    "pack": Act("A product's pack", restock_forms.PackForm, pack, offer=_products),
    "stock-rule": Act("What a school keeps and has room for", restock_forms.RuleForm, stock_rule, offer=_products),
    "supplier-terms": Act("Terms of a supplier", restock_forms.TermsForm, supplier_terms, offer=_products),
    "setting": Act("Change a setting", forms.SettingForm, setting),
    "target": Act("Set a target", forms.TargetForm, target, offer=_targets),
    "baseline": Act("Record a baseline", forms.BaselineForm, baseline, offer=_figures),
}
