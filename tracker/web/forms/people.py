"""People and their roles."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import EmailField, PasswordField, SelectField, StringField, TelField
from wtforms.fields.choices import SelectChoice
from wtforms.validators import InputRequired, Length, Regexp

from tracker.intake import passwords
from tracker.vocabulary import Role
from tracker.web.forms.auth import NewPassword

NOBODY = 0


NOT_OFFERED = "Choose one of the list."
ROLES = [SelectChoice(role.value, role.value) for role in Role]


def _choices(none_of_them: str, rows) -> list[SelectChoice]:
    return [SelectChoice(NOBODY, none_of_them), *(SelectChoice(row.id, row.name) for row in rows)]


class GrantForm(FlaskForm):
    """A role and where it holds."""

    role = SelectField(
        "Role", invalid_choice_message=NOT_OFFERED, choices=[SelectChoice(role.value, role.value) for role in Role]
    )
    area_id = SelectField(
        "Area",
        coerce=int,
        default=NOBODY,
        invalid_choice_message=NOT_OFFERED,
        invalid_value_message=NOT_OFFERED,
        description="Only for an officer or an engineer of one area.",
    )
    school_id = SelectField(
        "School",
        coerce=int,
        default=NOBODY,
        invalid_choice_message=NOT_OFFERED,
        invalid_value_message=NOT_OFFERED,
        description="Only for a coordinator.",
    )

    def offer(self, areas, schools):
        """Offer the programme's areas and schools."""
        self.area_id.choices = _choices("All areas", areas)
        self.school_id.choices = _choices("No single school", schools)
        return self

    def scope(self) -> tuple[Role, int | None, int | None]:
        """Role, area and school as chosen; None where nothing was chosen."""
        return Role(self.role.data), self.area_id.data or None, self.school_id.data or None


class PersonForm(GrantForm):
    """Somebody new, with a first role."""

    name = StringField("Name", [InputRequired("Enter the name."), Length(max=80, message="Use at most 80 characters.")])
    email = EmailField(
        "E-mail",
        [
            InputRequired("Enter the e-mail address."),
            Length(max=120, message="This address is too long."),
            Regexp(r"^\s*[^@\s]+@[^@\s]+\.[^@\s]+\s*$", message="Enter an address like name@place.example."),
        ],
        render_kw={"autocomplete": "off", "inputmode": "email"},
    )
    phone = TelField(
        "Phone (may stay empty)",
        [Length(max=40, message="Use at most 40 characters.")],
        render_kw={"autocomplete": "off"},
    )


class SetPasswordForm(NewPassword, FlaskForm):
    """A first or a new password for somebody, told to them in person."""

    new_password = PasswordField(
        "New password",
        [InputRequired("Enter a new password.")],
        render_kw={"autocomplete": "new-password"},
        description=f"At least {passwords.SHORTEST} characters. Tell it in person. They can change it themselves.",
    )
