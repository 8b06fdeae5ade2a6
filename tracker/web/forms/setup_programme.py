"""Set-up forms of a programme: terms, areas, rounds, settings, targets, closures of many schools."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from wtforms.validators import ValidationError

from tracker.records import settings
from tracker.vocabulary import Basis
from tracker.web.forms.fields import DayField, PickField, PlainForm, text_field
from tracker.web.forms.setup import COUNTS_FROM, ClosureForm, code_field, reason_field
from tracker.web.words import SHARE, choices_words, is_share, setting_name, setting_unit


class TermForm(PlainForm):
    code = code_field("Code", 32)
    name = text_field("Name", 80, "Write a name, for example First term.")
    first_day = DayField("First day")
    last_day = DayField("Last day")


class AreaForm(PlainForm):
    code = code_field("Code", 32)
    name = text_field("Name", 120, "Write a name.")


class RoundForm(PlainForm):
    day = DayField("Day of the round")


class SettingForm(PlainForm):
    key = PickField(
        "Setting", choices=[(one.key, f"{setting_name(one.key)}, in {setting_unit(one.key)}") for one in settings.KEYS]
    )
    value = text_field(
        "Value, in the unit that stands beside the setting", 12, "Write a number.", description=choices_words()
    )
    from_day = DayField("From", description=COUNTS_FROM)
    reason = reason_field()

    @property
    def whole(self) -> int | None:
        """The value as it is kept (percent as thousandths); None where it is no such number."""
        share = settings.BY_KEY[self.key.data].unit == SHARE
        try:
            value = Decimal((self.value.data or "").replace(",", ".").rstrip("% ")) * (10 if share else 1)
        except InvalidOperation:
            return None
        return int(value) if value.is_finite() and abs(value) < 10**9 and value == value.to_integral_value() else None

    def validate_value(self, field):
        """A number within the setting's bounds, in the unit that people write."""
        one = settings.BY_KEY.get(self.key.data or "")
        if one is None or (self.whole is not None and one.low <= self.whole <= one.high):
            return
        scale = 10 if one.unit == SHARE else 1
        bounds = f"{one.low / scale:g} to {one.high / scale:g} {setting_unit(one.key)}"
        raise ValidationError(f"{setting_name(one.key)}: write a number from {bounds}.")


class TargetForm(PlainForm):
    term_id = PickField("Term", coerce=int)
    figure = PickField("Figure")
    value = text_field(
        "What it should reach, in the figure's unit",
        20,
        "Write a number, for example 95.",
        description="A share in percent: 95 is 95 %.",
    )
    reason = reason_field()

    @property
    def thousandths(self) -> int | None:
        """The value times 1000 (a share in percent times 10); None where it is no number with so few digits."""
        scale = 10 if is_share(self.figure.data or "") else 1000
        try:
            value = Decimal((self.value.data or "").replace(",", ".").rstrip("% ")) * scale
        except InvalidOperation:
            return None
        return int(value) if value.is_finite() and abs(value) < 10**12 and value == value.to_integral_value() else None

    def validate_value(self, field):
        """A number."""
        share = is_share(self.figure.data or "")
        if self.thousandths is None:
            digits = "one digit" if share else "three digits"
            raise ValidationError(f"Write a number with at most {digits} after the point, for example 95.")
        if self.thousandths < 0 or (share and self.thousandths > 1000):
            raise ValidationError("Write percent from 0 to 100." if share else "Write a number of 0 or more.")


class BaselineForm(TargetForm):
    """A figure as it was before; the same number as a target's, with its day, basis and how it was measured."""

    term_id = None
    value = text_field(
        "What was measured, in the figure's unit",
        20,
        "Write a number, for example 6.4.",
        description="A share in percent: 95 is 95 %.",
    )
    measured_on = DayField("Measured on")
    basis = PickField("How it is known", choices=[(basis.value, basis.value) for basis in Basis])
    note = text_field(
        "Where and how",
        120,
        "Write in a sentence where and how it was measured.",
        description="For example: Meters of four schools over two weeks.",
    )


class WideClosureForm(ClosureForm):
    where = PickField("Where")
