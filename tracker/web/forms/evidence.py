"""What an officer enters so that reports can be believed: trials, grants' shares, a draw, what somebody else found."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from wtforms import TextAreaField
from wtforms.validators import InputRequired, Length, Optional, ValidationError

from tracker.vocabulary import Better, FittingKind, Measure
from tracker.web.forms.fields import LONG, ChooseField, CountField, DayField, PickField, PlainForm, text_field
from tracker.web.forms.setup import PercentField, choices, code_field, reason_field

MOST_TYPED = 4000
MEASURES = {
    Measure.LITRES_PER_VISIT: "Litres per visit",
    Measure.AVAILABILITY: "School time in which the units could be used",
    Measure.OUTAGES_PER_1000_VISITS: "Outages per 1,000 visits",
}
LINES = "One line a school: its code, a colon, the codes of units. Example: S-01: G1, G2."
CODE = "Letters, digits and dashes. Reports show it."
SIZE = "In litres per visit, in percentage points of school time, or in outages per 1,000 visits."


def _units(label: str, needed: str, hint: str) -> TextAreaField:
    first = InputRequired(needed) if needed else Optional()
    return TextAreaField(
        label,
        [first, Length(max=MOST_TYPED, message=LONG.format(MOST_TYPED))],
        description=hint,
        render_kw={"rows": "4", "autocomplete": "off"},
    )


class TrialForm(PlainForm):
    """A trial before it starts. Nothing of it can be changed afterwards."""

    code = code_field("Short code of the trial", 32, CODE)
    question = text_field("Question", 200, "Write the question, for example: do the cabins take less water with it?")
    fitting = PickField(
        "What the units get",
        [InputRequired("Choose what the units get.")],
        choices=[("", "Choose from the list"), *choices(FittingKind)],
    )
    units = _units("Units that get it", "Write at least one unit that gets the fitting.", LINES)
    comparison_units = _units("Units to compare with, which stay as they are", "", f"{LINES} May stay empty.")
    from_day = DayField("First day of the trial")
    until_day = DayField("Last day of the trial")
    measure = ChooseField(
        "What is compared",
        [InputRequired("Choose what is compared.")],
        choices=[(one.value, label) for one, label in MEASURES.items()],
    )
    better = ChooseField(
        "Success would be",
        [InputRequired("Choose lower or higher.")],
        choices=[(Better.LOWER.value, "lower than without it"), (Better.HIGHER.value, "higher than without it")],
    )
    at_least = text_field(
        "By at least", 12, "Write a number, for example 0.5.", render_kw={"class": "count"}, description=SIZE
    )

    @property
    def thousandths(self) -> int | None:
        """The size in thousandths of the measure's unit (of a share: percentage points times 10); None: no number."""
        scale = 10 if self.measure.data == Measure.AVAILABILITY.value else 1000
        try:
            value = Decimal((self.at_least.data or "").replace(",", ".").rstrip("% ")) * scale
        except InvalidOperation:
            return None
        fine = value.is_finite() and 0 <= value < 10**9 and value == value.to_integral_value()
        return int(value) if fine else None

    def validate_at_least(self, field):
        """A number of 0 or more."""
        if self.thousandths is None:
            raise ValidationError("Write a number of 0 or more with few digits after the point, for example 0.5.")


class GrantForm(PlainForm):
    """A grant of a funder or buyer."""

    code = code_field("Short code of the grant", 32, CODE)
    funder = text_field("Funder or buyer", 80, "Write who pays.")
    from_day = DayField("First day")
    until_day = DayField("Last day (leave empty while it runs)", [Optional()])


class ShareForm(PlainForm):
    """A grant's share of a school."""

    school_id = PickField("School", coerce=int)
    share = PercentField("Share of the school's pupils, in percent", 1, 1000)
    from_day = DayField("From")
    until_day = DayField("Last day (leave empty while it runs)", [Optional()])
    reason = reason_field()


class EndShareForm(PlainForm):
    """A share's last day."""

    last_day = DayField("Last day of the share")
    reason = reason_field()


class DrawForm(PlainForm):
    """How much is drawn. Which schools and figures it is, nobody chooses."""

    schools = CountField("Schools to draw", 1, 1000, default=6)
    figures_each = CountField("Figures of each school", 1, 5, default=3)
    reason = text_field("Why this term is drawn again", 200)


class AnswerForm(PlainForm):
    """What another person found."""

    found = CountField("Found", 0, 10**9 - 1)
    checked_by = text_field("Who counted it, by name", 80, "Write the name of the person who counted it again.")
    checker_role = text_field("What this person does", 80, "Write what this person does, for example service engineer.")
    checked_on = DayField("Day of the check")
    note = text_field("A few words, if they help (never a pupil's name)", 200)
    reason = text_field("Why the answer on record changes", 200)
