"""Log-in, log-out, the own account. Log-ins live in the database and can be ended there; reasons: docs/security.md."""

from __future__ import annotations

import secrets
from datetime import timedelta

from argon2.exceptions import InvalidHashError, VerificationError
from flask import Blueprint, Flask, abort, current_app, flash, redirect, render_template, request, session, url_for
from flask_login import LoginManager, UserMixin, current_user, login_user
from limits import RateLimitItem, parse_many

from tracker.records import heads, people
from tracker.vocabulary import Role
from tracker.web.access import public, signed_in
from tracker.web.clock import now
from tracker.web.database import db, let_go, quick_read
from tracker.web.forms.auth import LogInForm, PasswordForm
from tracker.web.security import forget_session, token_hash
from tracker.web.state import state

bp = Blueprint("account", __name__)

ABSOLUTE = timedelta(hours=12)
ABSOLUTE_OWN_PHONE = timedelta(days=30)
SHOWN_LOGINS = 10
MOST_FAILURES = 100  # in a row, before an administrator must set a new password
# Only failures count. A school's teachers share one address, so it is generous; one account is slowed down early.
PER_ADDRESS = parse_many("60/15minutes;300/day")
PER_ACCOUNT = parse_many("5/minute;30/hour")
WRONG = (
    "The e-mail address and the password do not go together. Check both and try again. "
    "If it does not help, ask your administrator for a new password."
)
SLOW_DOWN = "There were many tries. Wait a few minutes, then try again."


class Account(UserMixin):
    """The logged-in person as the web sees them: made anew from the database at each request."""

    def __init__(self, holder: people.Holder, token: str):
        self.holder, self.token = holder, token
        self.person_id, self.name, self.email = holder.person_id, holder.name, holder.email
        self.login_id, self.grants = holder.login_id, holder.grants

    def get_id(self) -> str:
        """What the signed cookie carries."""
        return self.token


def init_app(app: Flask) -> None:
    """Find the person of a request by the token in its cookie."""
    manager = LoginManager()
    manager.session_protection = None  # phones change their address; the log-in's own limits hold
    manager.init_app(app, add_context_processor=False)
    manager.user_loader(_load)


def _load(token: str) -> Account | None:
    with quick_read() as look:
        holder = people.holder_of(look, token_hash(token), now())
    if holder is None:
        return None
    if not holder.only_coordinates and now() >= holder.created_at + ABSOLUTE:
        return None  # a coordinator's long log-in does not carry over to another role
    return Account(holder, token)


# --- log in and out -----------------------------------------------------------------------------------------------


@bp.route("/log-in", methods=["GET", "POST"])
@public
def log_in():
    """Log in, then go on to where the person wanted to go."""
    form = LogInForm()
    if request.method == "POST" and form.validate_on_submit():
        refusal, code = _try(form.email.data, form.password.data, form.own_phone.data)
        if not refusal:
            return _go_on()
        form.email.errors = [refusal]
        return _log_in_page(form), code
    return _log_in_page(form), 400 if form.errors else 200


def _log_in_page(form: LogInForm):
    return render_template(
        "account/log_in.html",
        form=form,
        next=_inside(request.values.get("next", "")),
        kept=_kept(),
        kept_to=_inside(request.form.get("kept_to", "")),
        demo_logins=current_app.config["DEMO_LOGINS"] if state().settings.demo else [],
    )


def _try(email: str, password: str, own_phone: bool) -> tuple[str, int]:
    """Log in, or say why not with the answer's code. The slow check of the password holds no transaction."""
    if _slowed(email):
        return SLOW_DOWN, 429
    with quick_read() as look:
        person = people.find_person(look, email)
        found = people.credential_of(look, person.id) if person is not None and person.active else None
        known = (found.person_id, found.secret_hash, found.failures) if found is not None else None
        only_coordinates = known is not None and all(
            grant.role is Role.COORDINATOR for grant in people.grants_of(look, known[0])
        )
    if not _matches(known[1] if known else None, password) or known is None or known[2] >= MOST_FAILURES:
        _note_failure(email, known[0] if known else None)
        return WRONG, 400
    if not _start(known[0], known[1], own_phone=own_phone and only_coordinates):
        return WRONG, 400
    return "", 302


def _matches(secret_hash: str | None, password: str) -> bool:
    """Whether the password is right; an unknown account takes as long as a known one."""
    hasher = state().hasher
    try:
        return hasher.verify(secret_hash or _decoy(), password) and secret_hash is not None
    except (VerificationError, InvalidHashError):
        return False


def _decoy() -> str:
    """A hash that no password opens, made once with this application's cost."""
    if "decoy" not in current_app.config:
        current_app.config["decoy"] = state().hasher.hash(secrets.token_hex(32))
    found: str = current_app.config["decoy"]
    return found


def _start(person_id: int, secret_hash: str, own_phone: bool) -> bool:
    """A new log-in under a new token; False when the password was changed while it was being checked."""
    found = people.credential_of(db(), person_id)
    if found is None or found.secret_hash != secret_hash:
        return False
    if current_user.is_authenticated:
        _end(current_user.token)
    token = secrets.token_urlsafe(32)
    at = now()
    people.open_login(db(), person_id, token_hash(token), at, at + (ABSOLUTE_OWN_PHONE if own_phone else ABSOLUTE))
    db().commit()
    holder = people.holder_of(db(), token_hash(token), at)
    if holder is None:
        return False
    forget_session()
    session.permanent = True
    if own_phone:
        session["own_phone"] = True
    login_user(Account(holder, token))
    return True


def _go_on():
    """After the log-in: what was typed before it ended, else the page wanted, else the front page."""
    kept_to = _inside(request.form.get("kept_to", ""))
    if kept_to:
        return render_template("account/send_again.html", kept=_kept(), kept_to=kept_to)
    return redirect(_inside(request.form.get("next", "")) or url_for("front.index"))


def _kept() -> list[tuple[str, str]]:
    """Fields of a form whose session had ended, carried through the log-in."""
    marked = [(name, values) for name, values in request.form.lists() if name.startswith("kept.")]
    return [(name.removeprefix("kept."), value) for name, values in marked for value in values]


def _inside(path: str) -> str:
    """The path when it stays on this site, else ""."""
    plain = path.startswith("/") and not path.startswith("//") and "\\" not in path and path.isprintable()
    return path if plain else ""


@bp.post("/log-out")
@signed_in
def log_out():
    """End this log-in, here and on the server."""
    _end(current_user.token)
    db().commit()
    forget_session()
    flash("You are logged out.")
    return redirect(url_for(".log_in"))


def _end(token: str) -> None:
    for login in people.logins_of(db(), current_user.person_id, now()):
        if login.token_hash == token_hash(token):
            people.end_login(db(), login, now())


# --- slow down ----------------------------------------------------------------------------------------------------


def _limits(email: str) -> list[tuple[RateLimitItem, str]]:
    account = email.strip().lower()
    address = request.remote_addr or ""
    return [(item, "address:" + address) for item in PER_ADDRESS] + [
        (item, "account:" + account) for item in PER_ACCOUNT
    ]


def _slowed(email: str) -> bool:
    return not all(state().throttle.test(item, key) for item, key in _limits(email))


def _note_failure(email: str, person_id: int | None) -> None:
    for item, key in _limits(email):
        state().throttle.hit(item, key)
    if person_id is not None:
        people.note_failure(db(), person_id)
        db().commit()


# --- the own account ----------------------------------------------------------------------------------------------


@bp.get("/account")
@signed_in
def home():
    """Own roles, password and log-ins."""
    every = people.logins_of(db(), current_user.person_id, now())
    shown = every[:SHOWN_LOGINS]
    if all(login.id != current_user.login_id for login in shown):  # this one always can be ended here
        shown += [login for login in every if login.id == current_user.login_id]
    return render_template("account/home.html", logins=shown, older=len(every) - len(shown), zone=_zone())


def _zone() -> str:
    """The zone of the person's programme; UTC for somebody with programmes in several zones, or in none."""
    ids = {grant.programme_id for grant in current_user.grants}
    zones = {heads.programme(db(), programme_id).zone for programme_id in sorted(ids)}
    return zones.pop() if len(zones) == 1 else "UTC"


@bp.route("/account/password", methods=["GET", "POST"])
@signed_in
def password():
    """Change the own password; every other log-in ends, this one goes on under a new token."""
    form = PasswordForm()
    form.about = (current_user.name, current_user.email)
    if request.method == "POST" and form.validate_on_submit():
        refusal = _change_password(form.password.data, form.new_password.data)
        if not refusal:
            flash("Your password is changed. Every other log-in of yours has ended.")
            return redirect(url_for(".home"))
        form.password.errors = [refusal]
    return render_template("account/password.html", form=form), 400 if form.errors else 200


def _change_password(old: str, new: str) -> str:
    """Change it, or say why not."""
    person_id, email = current_user.person_id, current_user.email
    own_phone = bool(session.get("own_phone"))
    if _slowed(email):
        return SLOW_DOWN
    with quick_read() as look:
        found = people.credential_of(look, person_id)
        secret_hash = found.secret_hash if found is not None else None
    if not _matches(secret_hash, old):
        _note_failure(email, person_id)
        return "This is not the password you use now."
    let_go()
    fresh = state().hasher.hash(new)
    people.set_password(db(), person_id, fresh, now())
    _start(person_id, fresh, own_phone)  # commits both
    return ""


@bp.post("/account/log-ins/<int:login_id>/end")
@signed_in
def end_session(login_id: int):
    """End one of the own log-ins."""
    for login in people.logins_of(db(), current_user.person_id, now()):
        if login.id == login_id:
            people.end_login(db(), login, now())
            db().commit()
            flash("That log-in has ended.")
            return redirect(url_for(".home"))
    return abort(404)
