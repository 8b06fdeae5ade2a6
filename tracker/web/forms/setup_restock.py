"""Set-up forms of restocking rounds: vehicles, packs, what schools keep and have room for, terms of suppliers."""

from __future__ import annotations

from wtforms.validators import InputRequired, ValidationError

from tracker.intake.rows import FORMULA, FORMULA_STARTS
from tracker.web.forms.fields import (
    WEEKDAYS,
    ClockField,
    CountField,
    DayField,
    PickField,
    PlainForm,
    TicksField,
    text_field,
)
from tracker.web.forms.setup import COUNTS_FROM, code_field

NOT_LIMITED = "Empty: not limited."
MOST_L, MOST_PACKS, MOST_PIECES, MOST_PACK_ML = 100_000, 100_000, 1_000_000, 10_000_000
MOST_ORDER_DAYS, MOST_ORDER_PACKS = 730, 1_000_000


class VehicleForm(PlainForm):
    code = code_field("Code (one that is known is changed)", 32)
    name = text_field("Name", 80, "Write a name, for example Van.")
    room_l = CountField("Room in litres", 1, MOST_L, required=False, description=NOT_LIMITED)
    room_packs = CountField("Room in packs", 1, MOST_PACKS, required=False, description=NOT_LIMITED)


class PackForm(PlainForm):
    product_id = PickField("Product", coerce=int)
    unit_name = text_field("What its pieces are called, in the plural, for example bars (empty: pieces)", 24)
    pack_ml = CountField("Room a pack takes, in mL", 1, MOST_PACK_ML, required=False, description="Empty: not known.")


class DeliveryHoursForm(PlainForm):
    weekdays = TicksField(
        "On", [InputRequired("Choose at least one day.")], coerce=int, choices=list(enumerate(WEEKDAYS))
    )
    opens = ClockField("Goods are received from", [InputRequired("Write a time of day, for example 08:10.")])
    closes = ClockField("Goods are received until", [InputRequired("Write a time of day, for example 08:10.")])
    from_day = DayField("From", description=COUNTS_FROM)


class RuleForm(PlainForm):
    school = text_field("School's code", 32, "Write the code of a school.")
    product_id = PickField("Product", coerce=int)
    minimum = CountField("Pieces to keep at the least", 0, MOST_PIECES)
    room = CountField(
        "Pieces there is room for", 0, MOST_PIECES, required=False, description="Empty: as many as its places hold."
    )
    from_day = DayField("From", description=COUNTS_FROM)


def _no_formula(_form, field) -> None:
    """What a spreadsheet would reckon is refused here as in a folder."""
    if (field.data or "").startswith(FORMULA_STARTS):
        raise ValidationError(FORMULA)


class TermsForm(PlainForm):
    product_id = PickField("Product", coerce=int)
    supplier = text_field("Supplier", 80, "Write the supplier's name.", [_no_formula])
    lead_days = CountField("Days from the order until it is in the store", 0, MOST_ORDER_DAYS)
    review_days = CountField("Days between two looks at what to order", 1, MOST_ORDER_DAYS)
    min_packs = CountField("Packs of the smallest order", 1, MOST_ORDER_PACKS)
    pack_price_minor = CountField("Price of a pack, in the currency's smallest unit", 0)
    from_day = DayField("From", description=COUNTS_FROM)
