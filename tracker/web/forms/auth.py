"""Log-in and own password."""

from __future__ import annotations

from flask_wtf import FlaskForm
from wtforms import BooleanField, EmailField, PasswordField
from wtforms.validators import InputRequired, Length, ValidationError

from tracker.intake import passwords


class LogInForm(FlaskForm):
    """E-mail and password. Whether they are right is not said here."""

    email = EmailField(
        "E-mail",
        [InputRequired("Enter your e-mail address."), Length(max=120, message="This address is too long.")],
        render_kw={"autocomplete": "username", "inputmode": "email"},
    )
    password = PasswordField(
        "Password",
        [
            InputRequired("Enter your password."),
            Length(max=passwords.LONGEST, message=f"A password has at most {passwords.LONGEST} characters."),
        ],
        render_kw={"autocomplete": "current-password"},
    )
    own_phone = BooleanField("This is my own phone, nobody else uses it")


class NewPassword:
    """The rule for a new password, with words others know about the person."""

    about: tuple[str, ...] = ()

    def validate_new_password(self, field) -> None:
        """Refuse what is short or easy to guess."""
        sentence = passwords.complaint(field.data or "", self.about)
        if sentence:
            raise ValidationError(sentence)


class PasswordForm(NewPassword, FlaskForm):
    """The own password, old and new."""

    password = PasswordField(
        "Password now",
        [
            InputRequired("Enter the password you use now."),
            Length(max=passwords.LONGEST, message=f"A password has at most {passwords.LONGEST} characters."),
        ],
        render_kw={"autocomplete": "current-password"},
    )
    new_password = PasswordField(
        "New password",
        [InputRequired("Enter a new password.")],
        render_kw={"autocomplete": "new-password"},
        description=f"At least {passwords.SHORTEST} characters. Several words in a row are easy to remember.",
    )
