"""The administrator's people page: who works in the programme, in which role, and their passwords."""

from __future__ import annotations

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for

from tracker.models.people import Person, RoleGrant
from tracker.records import people as records
from tracker.vocabulary import Role
from tracker.web.access import allow, load_programme, programme_ids
from tracker.web.clock import now
from tracker.web.database import db, let_go
from tracker.web.forms.people import GrantForm, PersonForm, SetPasswordForm
from tracker.web.state import state

bp = Blueprint("people", __name__, url_prefix="/people")
administrator = allow(Role.ADMINISTRATOR)


@bp.get("/")
@administrator
def home():
    """Lead to the people of the programme, or offer the programmes."""
    mine = programme_ids(Role.ADMINISTRATOR)
    if len(mine) == 1:
        return redirect(url_for(".programme", programme_id=mine[0]))
    return render_template("setup/people_programmes.html", programmes=[load_programme(it, "people") for it in mine])


@bp.get("/<int:programme_id>/")
@administrator
def programme(programme_id: int):
    """Everybody with a role in the programme."""
    found = load_programme(programme_id, "people")
    return render_template("setup/people.html", programme=found, people=records.people_of(db(), found.id))


@bp.route("/<int:programme_id>/add", methods=["GET", "POST"])
@administrator
def add(programme_id: int):
    """Add somebody with a first role."""
    found = load_programme(programme_id, "people")
    form = _offer(PersonForm(), found)
    if request.method == "POST" and form.validate_on_submit():
        new = records.add_person(db(), name=form.name.data, email=form.email.data, phone=form.phone.data or "")
        if _grant(found, new, form):
            db().commit()
            flash(f"{new.name} is added. Set a password for a new account.")
            return redirect(url_for(".person", programme_id=programme_id, person_id=new.id))
        db().rollback()
        form = _offer(form, load_programme(programme_id, "people"))
    return render_template("setup/people_add.html", programme=found, form=form), 400 if form.errors else 200


@bp.get("/<int:programme_id>/person/<int:person_id>")
@administrator
def person(programme_id: int, person_id: int):
    """One person: roles here, password, account."""
    return _person_page(programme_id, person_id)


@bp.post("/<int:programme_id>/person/<int:person_id>/role")
@administrator
def give_role(programme_id: int, person_id: int):
    """Give a person of the programme one more role."""
    found = load_programme(programme_id, "people")
    somebody = _load_person(programme_id, person_id)
    form = _offer(GrantForm(), found)
    if form.validate_on_submit() and _grant(found, somebody, form):
        db().commit()
        flash("The role is given.")
        return redirect(url_for(".person", programme_id=programme_id, person_id=person_id))
    db().rollback()
    return _person_page(programme_id, person_id, grant_form=form)


@bp.post("/<int:programme_id>/role/<int:grant_id>/end")
@administrator
def end_role(programme_id: int, grant_id: int):
    """End a role; it takes effect at the person's next request."""
    load_programme(programme_id, "people")
    grant = db().get(RoleGrant, grant_id)
    if grant is None or grant.programme_id != programme_id:
        abort(404)
    holder = grant.person_id
    try:
        records.end_grant(db(), grant, now())
        db().commit()
        flash("The role has ended.")
    except records.PeopleError as refusal:
        db().rollback()
        flash(str(refusal))
    return redirect(url_for(".person", programme_id=programme_id, person_id=holder))


@bp.post("/<int:programme_id>/person/<int:person_id>/password")
@administrator
def set_password(programme_id: int, person_id: int):
    """Set a first or a new password for somebody who works in this programme only."""
    found = load_programme(programme_id, "people")
    somebody = _load_own_person(programme_id, person_id)
    form = SetPasswordForm()
    form.about = (somebody.name, somebody.email, found.name)
    if not form.validate_on_submit():
        return _person_page(programme_id, person_id, password_form=form)
    let_go()  # hashing is slow and holds no lock
    secret_hash = state().hasher.hash(form.new_password.data)
    load_programme(programme_id, "people")
    _load_own_person(programme_id, person_id)
    records.set_password(db(), person_id, secret_hash, now())
    db().commit()
    flash("The password is set. Every log-in of this person has ended.")
    return redirect(url_for(".person", programme_id=programme_id, person_id=person_id))


@bp.post("/<int:programme_id>/person/<int:person_id>/close")
@administrator
def close(programme_id: int, person_id: int):
    """Close the account of somebody who works in this programme only."""
    load_programme(programme_id, "people")
    try:
        records.remove_account(db(), _load_own_person(programme_id, person_id), now())
        db().commit()
        flash("The account is closed.")
    except records.PeopleError as refusal:
        db().rollback()
        flash(str(refusal))
    return redirect(url_for(".person", programme_id=programme_id, person_id=person_id))


def _person_page(programme_id: int, person_id: int, grant_form=None, password_form=None):
    found = load_programme(programme_id, "people")
    somebody = _load_person(programme_id, person_id)
    page = render_template(
        "setup/people_person.html",
        programme=found,
        somebody=somebody,
        roles=[line for line in records.people_of(db(), programme_id) if line.person_id == person_id],
        ours=records.only_in(db(), person_id, programme_id),
        grant_form=grant_form or _offer(GrantForm(formdata=None), found),
        password_form=password_form or SetPasswordForm(formdata=None),
    )
    return page, 400 if grant_form or password_form else 200


def _load_person(programme_id: int, person_id: int) -> Person:
    """Somebody who has or had a role in the programme; 404 alike for others and for none."""
    somebody = db().get(Person, person_id)
    if somebody is None or not records.belongs(db(), person_id, programme_id):
        abort(404)
    return somebody


def _load_own_person(programme_id: int, person_id: int) -> Person:
    """Somebody whose account is this programme's to change; 404 for who also works elsewhere."""
    somebody = _load_person(programme_id, person_id)
    if not records.only_in(db(), person_id, programme_id):
        abort(404)
    return somebody


def _offer(form, found):
    return form.offer(records.areas_of(db(), found.id), records.schools_of(db(), found.id))


def _grant(found, somebody: Person, form) -> bool:
    """Give the role of the form, or put the refusal beside its field."""
    role, area_id, school_id = form.scope()
    try:
        records.add_grant(db(), found.id, person=somebody, role=role, area_id=area_id, school_id=school_id)
    except records.PeopleError as refusal:
        form.role.errors = [str(refusal)]
        return False
    return True
