"""The form of "report now": what, and where. Two taps and a button."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import RadioField, StringField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length

from tracker.vocabulary import Danger

CHOOSE_WHAT = "Choose what it is."
CHOOSE_WHERE = "Choose where it is: one unit, or the whole block."
DANGER_LABELS = {
    Danger.SMOKE: "Smoke or fire",
    Danger.WIRES: "Bare wires or a shock",
    Danger.LOCKED_IN: "Somebody is locked in",
    Danger.FLOOD: "Flood",
    Danger.OTHER: "Another danger",
}


class DangerForm(FlaskForm):
    """What the danger is and which unit it closes; the choices of ``where`` are the school's own."""

    class Meta:
        csrf = False  # every write is checked before its route is reached (web.security)

    what = RadioField(
        "What is it?",
        validators=[InputRequired(CHOOSE_WHAT)],
        choices=[SelectChoice(*one) for one in DANGER_LABELS.items()],
    )
    where = RadioField("Where is it?", validators=[InputRequired(CHOOSE_WHERE)])
    note = StringField(
        "A few words, if they help (never a pupil's name)",
        validators=[Length(max=200, message="Write at most 200 characters.")],
    )

    def offer(self, places: list[tuple[str, str]]) -> None:
        """Offer the school's units and blocks."""
        self.where.choices = [SelectChoice(*place) for place in places]
