"""What an officer enters: questions, what was phoned in, what can be used again, jobs for the engineer."""

from __future__ import annotations

from wtforms import BooleanField
from wtforms.validators import InputRequired, Optional

from tracker.vocabulary import Cause, VisitPurpose
from tracker.web.forms.danger import DangerForm
from tracker.web.forms.fields import (
    ChooseField,
    ClockField,
    DayField,
    PickField,
    PlainForm,
    TicksField,
    both_or_neither,
    text_field,
)

CAUSES = tuple(cause for cause in Cause if cause not in (Cause.DANGER, Cause.EMPTY))
CAUSE_LABELS = {
    Cause.BROKEN: "Broken",
    Cause.BLOCKED: "Drain blocked",
    Cause.LOW_WATER: "Low water",
    Cause.NO_POWER: "No power",
    Cause.LOCKED: "Locked",
    Cause.DIRTY: "Too dirty to use",
    Cause.PLANNED: "Planned work",
    Cause.UNKNOWN: "Not known",
}
PURPOSE_LABELS = {
    VisitPurpose.REPAIR: "Repair",
    VisitPurpose.SERVICE: "Service visit",
    VisitPurpose.METER: "Meter reading",
    VisitPurpose.LOOK: "Look at it",
}
WHO_CALLED = "Write who said so, for example “coordinator, by phone”."


class AskForm(PlainForm):
    """A question about a cell of a sheet."""

    cell = PickField("About", default="")
    question = text_field("Your question", 200, "Write your question, so that the school knows what to look at.")


class PhonedDangerForm(DangerForm):
    """A danger that somebody phoned in: the coordinator's own form, and who called."""

    said_by = text_field("Who called", 80, WHO_CALLED)


class OutageForm(PlainForm):
    """An outage that somebody told the officer about, open or over."""

    units = TicksField("Which units", [InputRequired("Choose at least one unit.")], coerce=int)
    cause = ChooseField(
        "Why", [InputRequired("Choose why.")], choices=[(cause.value, CAUSE_LABELS[cause]) for cause in CAUSES]
    )
    start_day = DayField("Out of service since, day")
    start_time = ClockField("Out of service since, time")
    end_day = DayField("Working again on, day (leave empty while it is out)", [Optional()])
    end_time = ClockField("Working again at, time", [Optional()])
    said_by = text_field("Who said so", 80, WHO_CALLED)
    note = text_field("A few words, if they help (never a pupil's name)", 200)

    def validate(self, extra_validators=None):
        """A day and its time belong together."""
        fine = super().validate(extra_validators)
        both = both_or_neither(self, "end_day", "end_time", "Write both the day and the time, or leave both empty.")
        return both and fine


class EndForm(PlainForm):
    """When units could be used again."""

    end_day = DayField("Working again on, day")
    end_time = ClockField("Working again at, time")
    event_too = BooleanField("The other units of the same event work again too")


class ReopenForm(PlainForm):
    """A unit that a danger closed: who checked it, when, and from when it is used again."""

    checked_by = text_field(
        "Competent person who checked it",
        80,
        "Write the name of the competent person who checked it.",
        description="Somebody licensed or trained for this kind of danger, by name.",
    )
    checked_on = DayField("Day of the check")
    end_day = DayField("In use again from, day")
    end_time = ClockField("In use again from, time")
    event_too = BooleanField("This check covers the other units that the same report closed")


class JobForm(PlainForm):
    """A job for the engineer."""

    purpose = ChooseField(
        "What for",
        [InputRequired("Choose what for.")],
        choices=[(purpose.value, label) for purpose, label in PURPOSE_LABELS.items()],
        default=VisitPurpose.REPAIR.value,
    )


class WithdrawForm(PlainForm):
    """Why a job is taken back."""

    reason = text_field("Why it is withdrawn", 200, "Write why it is withdrawn.")
