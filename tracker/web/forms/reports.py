"""What an officer says when publishing."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import BooleanField, HiddenField, StringField
from wtforms.validators import Length

REASONS = (
    ("revision", "A revision: records came in later, or a better method is used"),
    ("correction", "A correction: something was wrong"),
)
LONGEST = 180  # with the word before it, 200 fit the record


class PublishForm(FlaskForm):
    """The draft that was looked at, the officer's word for it, and why a version is replaced."""

    cutoff = HiddenField()
    seen = HiddenField()
    kind = StringField("Why is a new version published?")
    reason = StringField(
        "What was changed, and which conclusion it alters",
        [Length(max=LONGEST, message=f"Use at most {LONGEST} characters.")],
    )
    looked = BooleanField("I have looked at the numbers and at the checks")

    def validate_for(self, former_number: int | None) -> bool:
        """Check the form; a version that replaces another one needs its reason."""
        good = self.validate()
        if not self.looked.data:
            self.looked.errors = ["Look at the numbers and the checks, then tick this box."]
            good = False
        if former_number is None:
            return good
        if self.kind.data not in dict(REASONS):
            self.kind.errors = ["Choose whether this is a revision or a correction."]
            good = False
        if not (self.reason.data or "").strip():
            self.reason.errors = [f"Say what changed since version {former_number}."]
            good = False
        return good

    def whole_reason(self) -> str:
        """The reason as it is kept: its kind, then the words."""
        return f"{self.kind.data.capitalize()}: {self.reason.data.strip()}"
