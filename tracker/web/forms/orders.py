"""What an officer enters about an order: what came, and why the rest will not come."""

from __future__ import annotations

from wtforms.validators import InputRequired, Optional

from tracker.web.forms.fields import CountField, DayField, PickField, PlainForm, text_field
from tracker.web.forms.stock import MOST, OnceForm


class ReceiptForm(OnceForm):
    """Pieces of one lot that came."""

    product = PickField("What came", [InputRequired("Choose what came.")])
    pieces = CountField("How many pieces", 1, MOST)
    lot = text_field("Lot, as on the box", 32, "Write the lot as it stands on the box.")
    expires_on = DayField("Expires on, if it goes off", [Optional()])
    day = DayField("Came on")
    why = text_field("If more came than was ordered: why", 200)


class CloseForm(PlainForm):
    """Why an order ends before everything came."""

    why = text_field("Why it will not come", 200, "Write why it will not come.")
