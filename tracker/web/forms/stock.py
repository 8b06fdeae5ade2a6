"""What an officer enters about stock: moves, counts, write-offs, loans given back, reasons, coin boxes."""

from __future__ import annotations

from secrets import token_hex

from wtforms import BooleanField, HiddenField
from wtforms.validators import InputRequired

from tracker.vocabulary import MoveReason, Why
from tracker.web.forms.fields import ChooseField, CountField, DayField, PickField, PlainForm, text_field

MOST = 1_000_000
WHY_LABELS = {
    Why.MISCOUNT: "Miscounted",
    Why.NOT_WRITTEN: "Something was not written down",
    Why.DAMAGE: "Damaged",
    Why.LOSS: "Lost",
    Why.THEFT: "Taken by somebody",
    Why.JAM: "The machine jammed",
    Why.FREE_VENDS: "The machine gave without being paid",
    Why.OTHER: "Something else",
}
OFF_LABELS = {
    MoveReason.EXPIRED: "Expired",
    MoveReason.DAMAGE: "Damaged",
    MoveReason.LOSS: "Lost",
}
WHO = "Write the name of a member of staff."


class OnceForm(PlainForm):
    """A form that is kept once however often it is sent: its key was made when it was opened."""

    key = HiddenField(default=lambda: token_hex(16))

    @property
    def ref(self) -> str:
        """The reference under which the entry is kept."""
        return "p-" + "".join(letter for letter in (self.key.data or "") if letter.isalnum())[:32]


class MoveForm(OnceForm):
    """Pieces that go from this place to another one."""

    product = PickField("What", [InputRequired("Choose what moved.")])
    quantity = CountField("How many pieces", 1, MOST)
    to_place = PickField("Where to", [InputRequired("Choose where the pieces went.")])
    day = DayField("On which day")
    loan = BooleanField("It is a loan: the other place gives it back")
    note = text_field("A few words, if they help", 200)
    difference = text_field(
        "If more left than is on record here: why",
        200,
        description="Leave it empty otherwise. What is missing on record is then kept as a count difference.",
    )


class CountForm(OnceForm):
    """What somebody counted at the end of a day."""

    product = PickField("What", [InputRequired("Choose what was counted.")])
    quantity = CountField("Pieces counted", 0, MOST)
    day = DayField("At the end of which day")


class WriteOffForm(OnceForm):
    """Pieces of a lot that cannot be used."""

    lot = PickField("What", [InputRequired("Choose what is written off.")])
    quantity = CountField("How many pieces", 1, MOST)
    why = ChooseField("Why", [InputRequired("Choose why.")], choices=[(k.value, v) for k, v in OFF_LABELS.items()])
    day = DayField("On which day")
    note = text_field("A few words, if they help", 200)


class ReturnForm(OnceForm):
    """A loan that comes back, wholly or in part."""

    quantity = CountField("How many pieces came back", 1, MOST)
    day = DayField("On which day")


class ExplainForm(PlainForm):
    """Why a count and the record differ."""

    why = ChooseField("Why", [InputRequired("Choose why.")], choices=[(k.value, v) for k, v in WHY_LABELS.items()])
    note = text_field("A few words, if they help (never a pupil's name)", 200)


class BoxForm(OnceForm):
    """A coin box, emptied and counted by two people."""

    day = DayField("Emptied on")
    counter_value = CountField("What the vend counter shows (leave empty if nobody read it)", 0, 10**11, required=False)
    cash_minor = CountField("Coins found, in the currency's smallest unit", 0, 10**8)
    first_name = text_field("Who counted", 80, WHO)
    second_name = text_field("Who counted with them", 80, WHO)
    note = text_field("A few words, if they help", 200)
