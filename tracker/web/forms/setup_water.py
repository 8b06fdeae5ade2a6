"""Forms about tanks, cleaning by the clock, hand flushes, energy, plates of incinerators and what was noted of them."""

from __future__ import annotations

from wtforms import BooleanField
from wtforms.validators import InputRequired

from tracker.vocabulary import EnergySource, Every, LitresBasis, PowerPart, WaterSource
from tracker.web.forms.fields import ChooseField, CountField, DayField, PickField, PlainForm, TicksField, text_field
from tracker.web.forms.setup import COUNTS_FROM, LitresField, PercentField, choices, reason_field

BROUGHT = (WaterSource.TANKER, WaterSource.RAIN, WaterSource.RECOVERED)
PLATE = "As it is written on the maker's plate. Leave empty what the plate does not say."
OF_WEEK = "Any day of the week it belongs to."


class WattHoursField(LitresField):
    """Watt-hours with a decimal point; ``ml`` holds them in thousandths."""

    WANTED = "Write watt-hours, for example 1.5."


def basis_field():
    """How litres are known."""
    known = [(LitresBasis.MEASURED.value, "Measured here"), (LitresBasis.CLAIM.value, "The maker's claim")]
    return ChooseField("How the litres are known", [InputRequired("Choose how the litres are known.")], choices=known)


def uncertainty_field():
    """A relative uncertainty that may stay empty."""
    return PercentField("Uncertainty, percent (may stay empty)", required=False)


class TankForm(PlainForm):
    litres = LitresField("It holds so many litres")
    inflow_known = BooleanField("All that comes in is written down as deliveries; no pipe fills it unseen")
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class TankScopeForm(PlainForm):
    served = TicksField("What draws on this tank", [InputRequired("Choose at least one unit.")], coerce=int)
    whole = BooleanField("This is all that draws on it, so that its water can be balanced")
    from_day = DayField("From", description=COUNTS_FROM)


class CleaningForm(PlainForm):
    name = text_field("Cycle", 40, "Write what the cycle is called, for example morning rinse.")
    litres = LitresField("Litres of one cycle")
    times = CountField("How many times", 1, 100, default=1)
    every = PickField(
        "In each", choices=[(Every.SCHOOL_DAY.value, "school day"), (Every.WEEK.value, "week with school")]
    )
    litres_basis = basis_field()
    uncertainty = uncertainty_field()
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class HandFlushForm(PlainForm):
    litres = LitresField("Litres of one flush by hand")
    share = PercentField("Percent of visits flushed by hand")
    share_low = PercentField("At least, percent")
    share_high = PercentField("At most, percent")
    share_seen = BooleanField("Somebody looked; otherwise it is assumed")
    instead = BooleanField("The automatic flush then does not run", default=True)
    litres_basis = basis_field()
    uncertainty = uncertainty_field()
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class PowerForm(PlainForm):
    part = PickField("What takes energy", choices=choices(PowerPart))
    watts = CountField("Light and fan: watts", 0, 100_000, required=False)
    seconds = CountField("Light and fan: seconds of a visit", 0, 3600, required=False)
    watt_hours = WattHoursField("Others: watt-hours of one flush, treatment or burn", required=False)
    every_n = CountField("Treatment: after every so many visits", 1, 1000, required=False)
    uncertainty = uncertainty_field()
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class PlateForm(PlainForm):
    pads = CountField("Pads in one burn", 1, 10_000, required=False, description=PLATE)
    grams = CountField("Grams in one burn", 1, 1_000_000, required=False)
    burns_a_day = CountField("Burns a day", 1, 100, required=False)
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class DeliveryForm(PlainForm):
    origin = PickField("How it came", choices=[(one.value, one.value.capitalize()) for one in BROUGHT])
    litres = LitresField("Litres")
    day = DayField("On")


class EnergyForm(PlainForm):
    origin = PickField("Where it came from", choices=[(one.value, one.value.capitalize()) for one in EnergySource])
    wh = CountField("Watt-hours of the week", 0, 1_000_000_000)
    uncertainty = PercentField("Uncertainty, percent", default=3)
    day = DayField("Week", description=OF_WEEK)


class OutputForm(PlainForm):
    ash_g = CountField("Ash of the week, grams (may stay empty)", 0, 1_000_000, required=False)
    energy_wh = CountField("Energy of the week, watt-hours (may stay empty)", 0, 1_000_000_000, required=False)
    day = DayField("Week", description=OF_WEEK)
