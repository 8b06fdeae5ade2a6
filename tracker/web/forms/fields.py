"""Fields that say in a sentence what to write, and keep what was typed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask_wtf import FlaskForm
from wtforms import DateField, Field, IntegerField, RadioField, SelectField, SelectMultipleField, StringField, widgets
from wtforms.fields.choices import SelectChoice
from wtforms.validators import DataRequired, InputRequired, Length, Optional, StopValidation

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAY_WANTED = "Write a day as year-month-day, for example 2026-02-03."
TIME_WANTED = "Write a time of day, for example 08:10."
NOT_OFFERED = "Choose from the list."
LONG = "Write at most {} characters."


class PlainForm(FlaskForm):
    """A form without a token of its own: every write is checked before its route is reached (web.security)."""

    class Meta:
        csrf = False


class DayField(DateField):
    """A calendar day."""

    def __init__(self, label: str, validators=None, **rest):
        kept = {"class": "short"} | rest.pop("render_kw", {})
        super().__init__(label, validators or [InputRequired(DAY_WANTED)], render_kw=kept, **rest)

    def process_formdata(self, valuelist):
        """Read the day, or say how to write one."""
        try:
            super().process_formdata(valuelist)
        except ValueError:
            raise ValueError(DAY_WANTED) from None


class ClockField(StringField):
    """A time of day; ``data`` is the text, ``minutes`` minutes after midnight."""

    def __init__(self, label: str, validators=None, **rest):
        kept = {"class": "short", "inputmode": "numeric", "placeholder": "08:10"} | rest.pop("render_kw", {})
        super().__init__(label, [*(validators or [InputRequired(TIME_WANTED)]), _is_clock], render_kw=kept, **rest)

    @property
    def minutes(self) -> int | None:
        """Minutes after midnight; None where nothing or nothing readable was typed."""
        return clock_minutes(self.data or "")


def clock_minutes(text: str) -> int | None:
    """Minutes after midnight of a clock time; None where it is none.

    >>> clock_minutes("8:05"), clock_minutes("24:00"), clock_minutes("8.05")
    (485, 1440, None)
    """
    hours, colon, minutes = text.strip().partition(":")
    if not colon or not (hours.isdecimal() and minutes.isdecimal()) or len(hours) > 2 or len(minutes) != 2:
        return None
    found = int(hours) * 60 + int(minutes)
    return found if int(minutes) < 60 and found <= 24 * 60 else None


def _is_clock(_form, field: ClockField) -> None:
    if field.data and field.minutes is None:
        raise StopValidation(TIME_WANTED)


class CountField(IntegerField):
    """A whole number between bounds, in a plain text field with the number keyboard."""

    widget = widgets.TextInput()

    def __init__(self, label: str, low: int = 0, high: int = 10**9, *, required: bool = True, **rest):
        self.low, self.high = low, high
        kept = {"class": "count", "inputmode": "numeric", "autocomplete": "off"} | rest.pop("render_kw", {})
        validators = [InputRequired(self.wanted) if required else Optional(), self._within]
        super().__init__(label, validators, render_kw=kept, **rest)

    @property
    def wanted(self) -> str:
        """What to write."""
        if self.high >= 10**9:
            return f"Write a whole number of {self.low} or more."
        return f"Write a whole number from {self.low} to {self.high}."

    def process_formdata(self, valuelist):
        """Read the number, or say what to write."""
        if not valuelist or not valuelist[0].strip():
            self.data = None
            return
        typed = valuelist[0].strip()
        digits = typed.removeprefix("-")
        if not digits.isdecimal() or len(digits) > 12:
            self.data = None
            raise ValueError(self.wanted)
        self.data = int(typed)

    @staticmethod
    def _within(_form, field: CountField) -> None:
        if field.data is not None and not field.low <= field.data <= field.high:
            raise StopValidation(field.wanted)


def options(pairs: Iterable[tuple[Any, str]]) -> list[SelectChoice]:
    """(value, label) pairs as what a list offers."""
    return [SelectChoice(value, label) for value, label in pairs]


class PickField(SelectField):
    """One of a list."""

    def __init__(self, label: str, validators=None, choices=(), **rest):
        super().__init__(label, validators, choices=options(choices), invalid_choice_message=NOT_OFFERED, **rest)

    def process_formdata(self, valuelist):
        """Read the choice; one that was not sent is the default, where there is one."""
        super().process_formdata(valuelist or ([] if self.default is None else [self.default]))


class ChooseField(RadioField):
    """One of few, all in sight."""

    def __init__(self, label: str, validators=None, choices=(), **rest):
        super().__init__(label, validators, choices=options(choices), invalid_choice_message=NOT_OFFERED, **rest)


class TicksField(SelectMultipleField):
    """Several of a list, each with its own box."""

    def __init__(self, label: str, validators=None, choices=(), **rest):
        super().__init__(label, validators, choices=options(choices), invalid_choice_message=NOT_OFFERED, **rest)

    widget = widgets.ListWidget(prefix_label=False)
    option_widget = widgets.CheckboxInput()


def text_field(label: str, most: int, wanted: str = "", checks: Iterable[Any] = (), **rest) -> Field:
    """A line of text of at most ``most`` characters; ``wanted``: the sentence where it must not stay empty."""
    first = DataRequired(wanted) if wanted else Optional()
    kept = {"autocomplete": "off", "maxlength": str(most)} | rest.pop("render_kw", {})
    return StringField(
        label, [first, Length(max=most, message=LONG.format(most)), *checks], filters=[tidy], render_kw=kept, **rest
    )


def tidy(text: str | None) -> str:
    """Text on one line, without blanks around it.

    >>> tidy("  a  b ")
    'a b'
    """
    return " ".join((text or "").split())


def instant(day: date, minutes: int, zone: str) -> datetime:
    """The instant of a local day and time of day.

    >>> instant(date(2026, 2, 3), 490, "Etc/GMT-3").isoformat()
    '2026-02-03T05:10:00+00:00'
    """
    local = datetime(day.year, day.month, day.day) + timedelta(minutes=minutes)  # noqa: DTZ001 - local on purpose
    return local.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def show_errors(form, field: str, message: str) -> None:
    """Put a sentence at a field, or at the form's first one where the form has no such field."""
    target = form[field] if field in form else next(iter(form))
    target.errors = [*target.errors, message]


def both_or_neither(form, one: str, other: str, message: str) -> bool:
    """Whether two fields are both filled or both empty; the sentence goes to the empty one."""
    filled, also = bool(form[one].data), bool(form[other].data)
    if filled == also or form[one].errors or form[other].errors:
        return True
    show_errors(form, other if filled else one, message)
    return False
