"""What a school's devices report, and the keys they send with. A key is shown once, when it is made."""

from __future__ import annotations

import secrets

from flask import abort, flash, g, redirect, render_template, url_for

from tracker.models.school import School
from tracker.records import channels, setup_read
from tracker.records.history import SetupError
from tracker.vocabulary import Cause, Role, Signal
from tracker.web import clock
from tracker.web.access import allow, load_school
from tracker.web.database import db
from tracker.web.forms.devices import SIGNALS, ChannelForm, KeyForm, LastDayForm
from tracker.web.forms.fields import options, show_errors
from tracker.web.security import token_hash
from tracker.web.setup_pages import bp
from tracker.web.signing import signed

KEY_BYTES = 32


@bp.get("/schools/<int:school_id>/setup/devices")
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def devices(school_id: int):
    """Channels and keys of a school."""
    return _page(load_school(school_id, to="setup"))


@bp.post("/schools/<int:school_id>/setup/devices/channels")
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def add_channel(school_id: int):
    """Set up a channel."""
    school = load_school(school_id, to="setup")
    form = _channel_form(school)
    if form.validate_on_submit():
        wanted = channels.Wanted(
            form.name.data,
            form.unit_id.data,
            Signal(form.signal.data),
            Cause(form.cause.data),
            tuple(form.also.data or ()),
            form.from_day.data,
        )
        try:
            channels.add_channel(signed(), school, wanted)
        except SetupError as wrong:
            db().rollback()
            show_errors(form, wrong.field, str(wrong))
            return _page(load_school(school_id, to="setup"), channel_form=form), 400
        db().commit()
        flash(f"The channel {wanted.name} is set up. Its device can send now.")
        return redirect(url_for(".devices", school_id=school_id))
    return _page(school, channel_form=form), 400


@bp.route("/schools/<int:school_id>/setup/devices/channels/<int:channel_id>", methods=["GET", "POST"])
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def end_channel(school_id: int, channel_id: int):
    """Say the last day of a channel."""
    school = load_school(school_id, to="setup")
    channel = channels.find_channel(db(), school, channel_id)
    if channel is None:
        abort(404)
    form = LastDayForm(data={"last_day": channel.until_day or _today()})
    if form.validate_on_submit():
        try:
            signed()
            channels.end_channel(channel, form.last_day.data)
            db().commit()
            flash(f"The channel {channel.name} ends with that day. What it reported stays on record.")
            return redirect(url_for(".devices", school_id=school_id))
        except SetupError as wrong:
            show_errors(form, wrong.field, str(wrong))
    back = (f"Devices of {school.name}", url_for(".devices", school_id=school_id))
    page = {"title": "End a channel", "about": channel.name, "caution": "", "form": form, "back": back}
    return render_template("setup/change.html", **page), 400 if form.errors else 200


@bp.post("/schools/<int:school_id>/setup/devices/keys")
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def make_key(school_id: int):
    """Make a key and show it, this once."""
    school = load_school(school_id, to="setup")
    form = KeyForm()
    if not form.validate_on_submit():
        return _page(school, key_form=form), 400
    key = secrets.token_urlsafe(KEY_BYTES)
    session = signed()
    channels.make_key(session, school, form.label.data, token_hash(key), clock.now())
    session.commit()
    return _page(load_school(school_id, to="setup"), new_key=key, new_label=form.label.data)


@bp.post("/schools/<int:school_id>/setup/devices/keys/<int:key_id>/end")
@allow(Role.OFFICER, Role.ADMINISTRATOR)
def end_key(school_id: int, key_id: int):
    """End a key at once."""
    school = load_school(school_id, to="setup")
    key = channels.find_key(db(), school, key_id)
    if key is None:
        abort(404)
    session = signed()
    channels.end_key(key, clock.now())
    session.commit()
    flash(f"The key for {key.label} has ended. Nothing is taken with it any more.")
    return redirect(url_for(".devices", school_id=school_id))


def _page(school: School, channel_form=None, key_form=None, new_key: str = "", new_label: str = ""):
    return render_template(
        "setup/devices.html",
        school=school,
        lines=channels.channels_of(db(), school),
        keys=channels.keys_of(db(), school),
        signals=dict(SIGNALS),
        channel_form=channel_form or _channel_form(school, fresh=True),
        key_form=key_form or KeyForm(formdata=None),
        new_key=new_key,
        new_label=new_label,
        zone=g.programme.zone,
    )


def _channel_form(school: School, *, fresh: bool = False) -> ChannelForm:
    form = ChannelForm(formdata=None, data={"from_day": _today()}) if fresh else ChannelForm()
    units = [one for one in setup_read.school_record(db(), school).rows["units"] if one.until_day is None]
    named = options([(unit.id, f"{unit.name} ({unit.code})") for unit in units])
    form.unit_id.choices, form.also.choices = named, named
    return form


def _today():
    return clock.today(g.programme.zone)
