"""Forms for what devices report: a channel, its last day, a key."""

from __future__ import annotations

from wtforms.validators import Regexp

from tracker.intake.senml import NAME
from tracker.vocabulary import Cause, Signal
from tracker.web.forms.fields import DayField, PickField, PlainForm, TicksField, text_field

NAME_WANTED = "Write the name that the device sends: letters, digits and - : . / _, beginning with a letter or digit."
LABEL_WANTED = "Write which device gets the key, for example “counter box in block A”."
SIGNALS = (
    (Signal.WATER.value, "water meter"),
    (Signal.ENERGY.value, "energy meter"),
    (Signal.VISITS.value, "counter of visits"),
    (Signal.LONG_VISITS.value, "counter of long visits"),
    (Signal.VENDS.value, "counter of vends"),
    (Signal.LEVEL.value, "level of a tank or bin"),
    (Signal.LOW_WATER.value, "tank too low: yes or no"),
    (Signal.FAULT.value, "out of service: yes or no"),
)
CAUSES = tuple(
    (cause.value, cause.value)
    for cause in (Cause.BROKEN, Cause.BLOCKED, Cause.LOW_WATER, Cause.NO_POWER, Cause.LOCKED, Cause.UNKNOWN)
)


class ChannelForm(PlainForm):
    """A name under which a device reports one thing of one unit."""

    name = text_field(
        "Name that the device sends",
        80,
        NAME_WANTED,
        [Regexp(f"^{NAME.pattern}$", message=NAME_WANTED)],
        description="Base name and name together, for example “box-a:g1:visits”.",
    )
    unit_id = PickField("Unit", coerce=int)
    signal = PickField("What it reports", choices=SIGNALS)
    cause = PickField(
        "Cause of the outage",
        choices=CAUSES,
        default=Cause.BROKEN.value,
        description="Only for “out of service”.",
    )
    also = TicksField(
        "Other units that are out at the same time",
        coerce=int,
        description="For a tank: the cabins that it feeds. They go down and come back together.",
    )
    from_day = DayField("From")


class LastDayForm(PlainForm):
    """The last day of a channel."""

    last_day = DayField("Last day")


class KeyForm(PlainForm):
    """A key for a device."""

    label = text_field("For which device", 60, LABEL_WANTED)
