"""Who publishes results to IATI: asked where the file is made, for it is no matter of the programme's own records."""

from __future__ import annotations

from tracker.reports.export_iati import Publisher
from tracker.web.forms.fields import PickField, PlainForm, show_errors, text_field

# codes and names of the standard's OrganisationType list (from memory)
KINDS = (
    ("22", "national non-governmental organisation"),
    ("21", "international non-governmental organisation"),
    ("23", "regional non-governmental organisation"),
    ("24", "partner country based non-governmental organisation"),
    ("10", "government"),
    ("15", "other public sector"),
    ("40", "multilateral"),
    ("60", "foundation"),
    ("70", "private sector"),
    ("80", "academic, training and research"),
)


class IatiForm(PlainForm):
    """The organisation, and the activity under which it publishes."""

    identifier = text_field(
        "Organisation's identifier",
        80,
        "Write the organisation's identifier.",
        description="As registered, for example XM-EXAMPLE-12345.",
    )
    activity = text_field(
        "Activity's identifier",
        120,
        "Write the activity's identifier.",
        description="It begins with the organisation's, for example XM-EXAMPLE-12345-LAKES.",
    )
    kind = PickField("Kind of organisation", choices=KINDS)
    name = text_field("Organisation's name", 120, "Write the organisation's name.")
    publisher: Publisher

    def validate(self, extra_validators=None) -> bool:
        """Fill ``publisher``, or say at the field what it needs."""
        if not super().validate(extra_validators):
            return False
        try:
            self.publisher = Publisher(self.identifier.data, self.kind.data, self.name.data, self.activity.data)
        except ValueError as wrong:
            show_errors(self, "activity" if "activity" in str(wrong) else "identifier", str(wrong))
            return False
        return True
