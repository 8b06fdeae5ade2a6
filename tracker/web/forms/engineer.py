"""What the engineer says of a visit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wtforms import BooleanField, StringField
from wtforms.validators import InputRequired, Length, Optional

from tracker.vocabulary import State
from tracker.web.forms.fields import (
    LONG,
    ChooseField,
    ClockField,
    DayField,
    PickField,
    PlainForm,
    TicksField,
    show_errors,
    text_field,
    tidy,
)
from tracker.web.forms.officer import CAUSE_LABELS, CAUSES

STATE_LABELS = {
    State.WORKING: "Yes, it works",
    State.PARTLY: "Partly: it can be used, not all of it works",
    State.OUT: "No, it stays out of service",
}
DIAL = "dial_"


@dataclass(frozen=True, slots=True)
class Ask:
    """What the form asks beyond the usual: dials (quantity and label), a cause where nothing is on record, a
    danger's check, an event."""

    dials: tuple[tuple[str, str], ...] = ()
    cause: bool = False
    danger: bool = False
    others: int = 0


class VisitForm(PlainForm):
    """What was found, what was done, parts used, and whether it is back in service."""

    state = ChooseField(
        "Back in service?",
        [InputRequired("Choose whether it is back in service.")],
        choices=[(state.value, label) for state, label in STATE_LABELS.items()],
    )
    found = text_field("What you found", 200, "Write what you found, in a few words.")
    done = text_field("What you did", 200, "Write what you did. If nothing, write “nothing”.")
    parts = text_field("Parts used (may stay empty)", 200)
    at_day = DayField("When you were there, day", [Optional()])
    at_time = ClockField("When you were there, time", [Optional()], description="Leave it as it is if you are there.")

    def validate(self, extra_validators=None):
        """Everything that is missing, at once: also the danger's check, and why it stays out."""
        fine = super().validate(extra_validators)
        missing = list(self._missing())
        for name, sentence in missing:
            show_errors(self, name, sentence)
        return fine and not missing

    def _missing(self):
        data = self.data
        if data["state"] == State.OUT.value:
            if "cause" in data and not data["cause"]:
                yield "cause", "Choose why it is out of service."
        elif data["state"] and "checked_by" in data:
            if not data["checked_by"]:
                yield "checked_by", "Write the name of the competent person who checked it."
            if data["checked_on"] is None and not self["checked_on"].errors:
                yield "checked_on", "Write the day of the check."


def visit_form(ask: Ask) -> type[VisitForm]:
    """The form for one unit: with its dials, the danger's check and the event where there are such."""
    extra: dict[str, object] = {}
    for name, label in ask.dials:
        extra[DIAL + name] = StringField(
            f"{label} (leave empty if not read)",
            [Optional(), Length(max=15, message=LONG.format(15))],
            filters=[tidy],
            render_kw={"class": "short", "inputmode": "numeric", "autocomplete": "off"},
            description="All digits of the dial, without those behind a mark or in red.",
        )
    if ask.cause:
        extra["cause"] = PickField(
            "If it stays out of service: why",
            [Optional()],
            choices=[("", "It works"), *((cause.value, CAUSE_LABELS[cause]) for cause in CAUSES)],
            default="",
        )
    if ask.danger:
        extra["checked_by"] = text_field("Competent person who checked it (to reopen after the danger)", 80)
        extra["checked_on"] = DayField("Day of the check", [Optional()])
    if ask.others:
        extra["event_too"] = BooleanField(f"The other units of the same event work again too ({ask.others})")
    return type("UnitVisitForm", (VisitForm,), extra)


class ServiceForm(PlainForm):
    """One service visit to several units of a school that were all seen working."""

    units = TicksField("Units you serviced and saw working", [InputRequired("Choose at least one unit.")], coerce=int)
    found = text_field("What you found", 200, "Write what you found, in a few words.")
    done = text_field("What you did", 200, "Write what you did.")
    parts = text_field("Parts used (may stay empty)", 200)


def dials_in(form: Iterable) -> dict[str, str]:
    """What was typed for each dial, by quantity; empty ones left out."""
    return {it.name.removeprefix(DIAL): it.data for it in form if it.name.startswith(DIAL) and it.data}
