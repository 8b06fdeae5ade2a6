"""Set-up forms. Each says from which day the change counts; what was before stays on record."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from enum import StrEnum

from wtforms import BooleanField, StringField
from wtforms.validators import InputRequired, Optional, ValidationError

from tracker.vocabulary import (
    FLUSH_KINDS,
    BeforeKind,
    CountWay,
    FittingKind,
    Group,
    LitresBasis,
    Quantity,
    Route,
    Sex,
    UnitKind,
)
from tracker.web.forms.fields import (
    WEEKDAYS,
    ChooseField,
    ClockField,
    CountField,
    DayField,
    PickField,
    PlainForm,
    TicksField,
    both_or_neither,
    show_errors,
    text_field,
)
from tracker.web.words import word

COUNTS_FROM = "The change counts from this day on. What was before stays on record."
WHY = "Only needed where the day lies in a published term, or to correct an entry of the same day."


def choices(words: type[StrEnum]) -> list[tuple[str, str]]:
    """Words of the vocabulary as choices."""
    return [(one.value, word(one)) for one in words]


def reason_field():
    """Why the record changes."""
    return text_field("Reason (may stay empty)", 200, description=WHY)


def code_field(
    label: str = "Code", most: int = 16, hint: str = "Short, as written on the door: letters, digits and dashes."
):
    """A short code, unique where it is used."""
    return text_field(label, most, "Write a short code, for example G1.", [_is_code], description=hint)


def _is_code(_form, field) -> None:
    """Letters, digits and dashes, not beginning with a dash: what every file and every address can carry."""
    typed = field.data or ""
    if not typed.replace("-", "").isalnum() or typed.startswith("-"):
        raise ValidationError("Write the code with letters, digits and dashes only, for example G1 or 2026-1.")


class LitresField(StringField):
    """Litres with a decimal point, kept as whole millilitres in ``ml``."""

    WANTED = "Write litres, for example 1.5."

    def __init__(self, label: str, *, required: bool = True, **rest):
        kept = {"class": "count", "inputmode": "decimal", "autocomplete": "off"}
        first = InputRequired(self.WANTED) if required else Optional()
        super().__init__(label, [first, _is_litres], render_kw=kept, **rest)

    @property
    def ml(self) -> int | None:
        """Whole millilitres; None where nothing or nothing readable was typed."""
        try:
            litres = Decimal((self.data or "").strip().replace(",", "."))
        except InvalidOperation:
            return None
        ml = litres * 1000
        return int(ml) if litres.is_finite() and 0 <= ml <= 10**9 and ml == ml.to_integral_value() else None


def _is_litres(_form, field: LitresField) -> None:
    if field.data and field.ml is None:
        raise ValidationError(field.WANTED + " At most three digits after the point.")


class PercentField(StringField):
    """A share written as percent, kept as whole thousandths in ``permille``."""

    def __init__(self, label: str, low: int = 0, high: int = 1000, *, required: bool = True, **rest):
        self.low, self.high = low, high
        kept = {"class": "count", "inputmode": "decimal", "autocomplete": "off"}
        first = InputRequired(self.wanted) if required else Optional()
        super().__init__(label, [first, self._within], render_kw=kept, **rest)

    @property
    def wanted(self) -> str:
        """What to write."""
        return f"Write percent from {self.low / 10:g} to {self.high / 10:g}, at most one digit after the point."

    @property
    def permille(self) -> int | None:
        """Whole thousandths; None where nothing or nothing readable was typed."""
        try:
            share = Decimal(str("" if self.data is None else self.data).strip().replace(",", ".").rstrip("% ")) * 10
        except InvalidOperation:
            return None
        return int(share) if share.is_finite() and share == share.to_integral_value() else None

    @staticmethod
    def _within(_form, field: PercentField) -> None:
        if field.data and (field.permille is None or not field.low <= field.permille <= field.high):
            raise ValidationError(field.wanted)


class BlockForm(PlainForm):
    code = code_field()
    name = text_field("Name", 60, "Write a name, for example Girls' block.")
    grp = ChooseField("For whom", [InputRequired("Choose for whom.")], choices=choices(Group))
    from_day = DayField("From", description=COUNTS_FROM)


class GroupForm(PlainForm):
    grp = ChooseField("For whom", [InputRequired("Choose for whom.")], choices=choices(Group))
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class UnitForm(PlainForm):
    code = code_field()
    name = text_field("Name", 60, "Write a name, for example Girls' cabin 1.")
    kind = PickField("Kind", choices=choices(UnitKind))
    block_id = PickField("Block", coerce=int)
    accessible = BooleanField("It can be used from a wheelchair")
    way = PickField("How its visits are counted", choices=choices(CountWay), default=CountWay.DRAWN.value)
    from_day = DayField("In use from", description=COUNTS_FROM)
    reason = reason_field()


class EndForm(PlainForm):
    last_day = DayField("Last day", description="It counts up to and with this day. What was before stays on record.")
    reason = reason_field()


class AgainForm(PlainForm):
    last_day = DayField("Its last day (leave empty: it stands again)", [Optional()])
    reason = text_field("Why the end on record was wrong", 200, "Write why the end on record was wrong.")


class WayForm(PlainForm):
    way = ChooseField("How its visits are counted", [InputRequired("Choose how.")], choices=choices(CountWay))
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


ASK_ABOVE_ML = 20_000
SURE = "Yes, it takes so much: more than 20 L a flush"


def sure_field():
    """A tick that is only shown, and only needed, where the litres of a flush were asked about."""
    return BooleanField(SURE)


def ask_about_litres(form, *fields) -> bool:
    """Ask once about a flush of more than 20 L: far more than any cistern holds (common practice, no published source).

    Whether nothing is left to ask; a tick kept in the form settles it.
    """
    much = [field for field in fields if field.ml is not None and field.ml > ASK_ABOVE_ML]
    form.asks_if_sure = bool(much)
    if form.sure.data or not much:
        return True
    for field in much:
        show_errors(form, field.name, "This is more than 20 L a flush. Please check; if it is right, tick that it is.")
    return False


class FittingForm(PlainForm):
    kind = PickField("Kind", choices=choices(FittingKind))
    litres = LitresField("Litres a visit, a wash or a floor wash (0 for vacuum and for no flush)")
    long_litres = LitresField("Two-stage flush: litres of a long visit", required=False)
    threshold_s = CountField("Two-stage flush: long after so many seconds", 1, 3600, required=False)
    every_n = CountField("Floor wash: after every so many visits", 1, 1000, required=False)
    factor = PercentField("Vacuum: the flush takes so many percent of its litres", 1, 1000, required=False)
    litres_basis = ChooseField(
        "How the litres are known",
        [InputRequired("Choose how the litres are known.")],
        choices=[(LitresBasis.MEASURED.value, "Measured here"), (LitresBasis.CLAIM.value, "The maker's claim")],
    )
    uncertainty = PercentField("Uncertainty of the litres, percent (may stay empty)", required=False)
    from_day = DayField("Fitted from", description="A flush that was there before ends the day before.")
    reason = reason_field()
    sure = sure_field()

    def validate(self, extra_validators=None):
        """Asks once about litres that no flush takes."""
        fine = super().validate(extra_validators)
        flush = self.kind.data in {kind.value for kind in FLUSH_KINDS}
        return (not flush or ask_about_litres(self, self.litres, self.long_litres)) and fine


class DialForm(PlainForm):
    quantity = PickField("What it shows", choices=choices(Quantity))
    digits = CountField("Digits that count", 1, 12)
    step_ml = CountField(
        "One step is so many millilitres", 1, 1_000_000, description="1000 is 1 L. Write 1 for a counter."
    )
    uncertainty = PercentField("Uncertainty, percent", default=0)
    first_value = CountField("What the new dial shows now", 0)
    last_value = CountField("What the old dial showed last (when it is exchanged)", 0, required=False)
    day = DayField("Installed on, day")
    time = ClockField("Installed at, time")


class ScopeForm(PlainForm):
    served = TicksField("What this meter serves", [InputRequired("Choose at least one unit.")], coerce=int)
    whole = BooleanField("This is all it serves, so that it can be compared with the model")
    from_day = DayField("From", description=COUNTS_FROM)


class SchoolForm(PlainForm):
    code = code_field("Code", 32)
    name = text_field("Name", 120, "Write the school's name.")
    area_id = PickField("Area", coerce=int)
    boarders = BooleanField("Some pupils board here")
    latitude = text_field("Latitude, degrees (may stay empty)", 12)
    longitude = text_field("Longitude, degrees (may stay empty)", 12)
    from_day = DayField("In the programme from")

    def validate_latitude(self, field):
        """A latitude."""
        _degrees(field, 90)

    def validate_longitude(self, field):
        """A longitude."""
        _degrees(field, 180)


class SchoolDetailsForm(SchoolForm):
    code = None
    area_id = None
    from_day = None
    until_day = DayField("Last day in the programme (leave empty while it takes part)", [Optional()])
    reason = reason_field()


def _degrees(field, bound: int) -> None:
    try:
        wrong = bool(field.data) and not -bound <= Decimal(field.data) <= bound
    except InvalidOperation:
        wrong = True
    if wrong:
        raise ValidationError(f"Write degrees from -{bound} to {bound} with a decimal point, for example 12.345678.")


def microdegrees(text: str | None) -> int | None:
    """Degrees as millionths.

    >>> microdegrees("1.5"), microdegrees("")
    (1500000, None)
    """
    return int((Decimal(text) * 1_000_000).to_integral_value()) if text else None


class HoursForm(PlainForm):
    shift_id = PickField("Shift", coerce=int)
    weekdays = TicksField(
        "On", [InputRequired("Choose at least one day.")], coerce=int, choices=list(enumerate(WEEKDAYS))
    )
    opens = ClockField("School opens (leave both times empty: no school on these days)", [Optional()])
    closes = ClockField("School closes", [Optional()])
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()

    def validate(self, extra_validators=None):
        """Both times, or neither."""
        fine = super().validate(extra_validators)
        return both_or_neither(self, "opens", "closes", "Write both times, or leave both empty.") and fine


class BreakForm(PlainForm):
    shift_id = PickField("Shift", coerce=int)
    code = code_field("Code of the break")
    name = text_field("Name", 60, "Write a name, for example First break.")
    weekdays = TicksField(
        "On", [InputRequired("Choose at least one day.")], coerce=int, choices=list(enumerate(WEEKDAYS))
    )
    starts = ClockField("Starts")
    ends = ClockField("Ends")
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class EnrolmentForm(PlainForm):
    shift_id = PickField("Shift", coerce=int)
    sex = ChooseField("Girls or boys", [InputRequired("Choose girls or boys.")], choices=choices(Sex))
    grade = PickField("Grade", description="Grades on record in the programme.")
    new_grade = text_field("A new grade (only where it is not in the list)", 16)
    age = CountField("Age in years (may stay empty)", 3, 25, required=False)
    pupils = CountField("Pupils", 0, 5000)
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()

    def validate(self, extra_validators=None):
        """A grade of the list, or a new one, not both."""
        fine = super().validate(extra_validators)
        said = "" if self.grade.errors else self.grade.data
        if bool(said) == bool(self.new_grade.data) and not self.grade.errors:
            sentence = "Choose a grade of the list, or leave the list at “a new grade” and write it."
            show_errors(self, "new_grade" if said else "grade", sentence)
            return False
        return fine


class StaffForm(PlainForm):
    staff = CountField("Adults who work at the school", 0, 1000)
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class BeforeForm(PlainForm):
    kind = ChooseField("What stood there before", [InputRequired("Choose what.")], choices=choices(BeforeKind))
    litres = LitresField("Litres a flush (may stay empty)", required=False)
    litres_basis = PickField(
        "How the litres are known",
        choices=[("", "Not known"), ("measured", "Measured here"), ("claim", "A claim, not measured")],
    )
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()
    sure = sure_field()

    def validate(self, extra_validators=None):
        """Asks once about litres that no flush takes."""
        fine = super().validate(extra_validators)
        return ask_about_litres(self, self.litres) and fine


class ClosureForm(PlainForm):
    name = text_field("Why", 80, "Write why, for example Public holiday.")
    first_day = DayField("First day without school")
    last_day = DayField("Last day without school")
    reason = reason_field()


class RouteForm(PlainForm):
    kind = PickField("Route", choices=choices(Route))
    permit_until = DayField("Permit valid until (leave empty: no permit)", [Optional()])
    operator_until = DayField("Trained operator's certificate valid until", [Optional()])
    siting_checked = DayField("Siting checked on", [Optional()])
    flue_checked = DayField("Flue checked on", [Optional()])
    ash_route = text_field("Where the ash goes", 80)
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()


class PapersForm(RouteForm):
    kind = None


class AgreementForm(PlainForm):
    code = code_field("Code", 32)
    buyer = text_field("Buyer", 80, "Write who bought.")
    units = TicksField("Units under it (none: the whole school)", [Optional()], coerce=int)
    accepted_on = DayField("Accepted on", [Optional()])
    warranty_from = DayField("Warranty from", [Optional()])
    warranty_until = DayField("Warranty until", [Optional()])
    clock_stops = text_field("What stops the repair clock", 200)
    promise_hours = CountField("Promise: an outage ends within so many elapsed hours", 1, 2000)
    visit_every_days = CountField("Service visit at least every so many days", 1, 400)
    price_minor = CountField("Price a year, in the currency's smallest unit", 0, default=0)


class SerialForm(PlainForm):
    unit_id = PickField("Unit", coerce=int)
    serial = text_field("Serial number", 60, "Write the serial number.")
