"""What can be said of a school's tanks, cleaning, hand flushes, energy and incinerators."""

from __future__ import annotations

from datetime import date
from typing import Any

from tracker.models.disposal import IncineratorRating
from tracker.models.units import Unit
from tracker.models.water import CleaningPlan, HandFlush, PowerUse, Tank
from tracker.records import setup_water
from tracker.records.setup_read import SchoolRecord
from tracker.vocabulary import CABIN_LIKE, VISITED, EnergySource, Every, LitresBasis, PowerPart, UnitKind
from tracker.web import clock
from tracker.web.forms import setup_water as forms
from tracker.web.forms.fields import options
from tracker.web.forms.setup import EndForm
from tracker.web.setup_acts import Act, Change, Form


def _served(form: Form, record: SchoolRecord) -> None:
    units = [unit for unit in record.rows["units"] if unit.until_day is None and unit.kind in VISITED]
    form.served.choices = options([(unit.id, f"{unit.name} ({unit.code})") for unit in units])


def _say(change: Change, model: type[Any], values: dict[str, Any]) -> None:
    day, reason = change.form.from_day.data, change.reason
    setup_water.say(change.session, change.school, change.row, model, values, day=day, reason=reason)


def _litres(form: Form) -> dict[str, Any]:
    return {"litres_basis": LitresBasis(form.litres_basis.data), "u_permille": form.uncertainty.permille}


def tank(change: Change) -> None:
    form = change.form
    _say(change, Tank, {"capacity_ml": form.litres.ml, "inflow_known": form.inflow_known.data})


def tank_scope(change: Change) -> None:
    form = change.form
    setup_water.tank_serves(change.session, change.row, form.served.data, form.whole.data, form.from_day.data)


def cleaning(change: Change) -> None:
    form = change.form
    values = {"name": form["name"].data, "ml": form.litres.ml, "times": form.times.data}
    _say(change, CleaningPlan, {**values, "every": Every(form.every.data), **_litres(form)})


def hand_flush(change: Change) -> None:
    form = change.form
    shares = {
        "share_permille": form.share.permille,
        "share_low_permille": form.share_low.permille,
        "share_high_permille": form.share_high.permille,
        "share_seen": form.share_seen.data,
    }
    _say(change, HandFlush, {"ml": form.litres.ml, **shares, "instead": form.instead.data, **_litres(form)})


def power(change: Change) -> None:
    form = change.form
    values = {name: form[name].data for name in ("watts", "seconds", "every_n")}
    values |= {"part": PowerPart(form.part.data), "wh_thousandths": form.watt_hours.ml}
    _say(change, PowerUse, setup_water.power_values({**values, "u_permille": form.uncertainty.permille}))


def plate(change: Change) -> None:
    form = change.form
    _say(change, IncineratorRating, {name: form[name].data for name in ("pads", "grams", "burns_a_day")})


def end(change: Change) -> None:
    setup_water.end(change.session, change.school, change.row, change.form.last_day.data, reason=change.reason)


def delivery(change: Change) -> None:
    form = change.form
    came = (form.origin.data, form.litres.ml)
    setup_water.note_delivery(change.session, change.school, change.row, came, **_days(change))


def energy(change: Change) -> None:
    form = change.form
    given = (EnergySource(form.origin.data), form.wh.data, form.uncertainty.permille)
    setup_water.note_energy(change.session, change.school, change.row, given, **_days(change))


def output(change: Change) -> None:
    form = change.form
    numbers = (form.ash_g.data, form.energy_wh.data)
    setup_water.note_output(change.session, change.school, change.row, numbers, **_days(change))


def _days(change: Change) -> dict[str, date]:
    return {"day": change.form.day.data, "today": clock.today(change.zone)}


TANK, METER, BURNER = (UnitKind.TANK,), (UnitKind.METER,), (UnitKind.INCINERATOR,)

ACTS: dict[str, Act] = {
    "tank-size": Act("What a tank holds", forms.TankForm, tank, of=Unit),
    "tank-scope": Act("What draws on a tank", forms.TankScopeForm, tank_scope, of=Unit, offer=_served, kinds=TANK),
    "delivery": Act(
        "Water brought, caught or recovered", forms.DeliveryForm, delivery, of=Unit, caution="water", kinds=TANK
    ),
    "cleaning": Act("Cleaning by the clock", forms.CleaningForm, cleaning, of=Unit, caution="cleaning", kinds=VISITED),
    "end-cleaning": Act("End a cleaning cycle", EndForm, end, of=CleaningPlan),
    "hand-flush": Act("A flush worked by hand", forms.HandFlushForm, hand_flush, of=Unit, kinds=CABIN_LIKE),
    "end-hand-flush": Act("End a flush worked by hand", EndForm, end, of=HandFlush),
    "power": Act("What takes energy", forms.PowerForm, power, of=Unit, caution="electrical"),
    "end-power": Act("End what takes energy", EndForm, end, of=PowerUse),
    "energy": Act(
        "Solar or recovered energy of a week", forms.EnergyForm, energy, of=Unit, caution="electrical", kinds=METER
    ),
    "plate": Act("The maker's plate", forms.PlateForm, plate, of=Unit, caution="incinerator"),
    "ash": Act("Ash and energy of a week", forms.OutputForm, output, of=Unit, caution="incinerator", kinds=BURNER),
}
