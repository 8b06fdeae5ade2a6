"""Links that officers hand out: one published version, read only, for some weeks, without logging in."""

from __future__ import annotations

import secrets

from flask import Blueprint, Response, abort, flash, redirect, render_template, url_for
from markupsafe import Markup

from tracker.records import heads, links, publications
from tracker.reports import publishing
from tracker.reports.printing import moment
from tracker.vocabulary import Role
from tracker.web.access import allow, load_publication, person_id, public
from tracker.web.accesslog import log_view
from tracker.web.clock import now
from tracker.web.database import db
from tracker.web.forms.fields import CountField, PlainForm, text_field
from tracker.web.security import token_hash
from tracker.web.signing import signed

bp = Blueprint("links", __name__)

TOKEN_BYTES = 32


class LinkForm(PlainForm):
    """For whom a link is, and for how long."""

    label = text_field("For whom", 60, "Write for whom the link is, so that you know later which one to end.")
    days = CountField("Days that it opens", 1, links.MOST_DAYS, default=links.USUAL_DAYS)


def shareable(publication_id: int):
    """The version of the address, for the programme's officer; what is about one school has no link."""
    row = load_publication(publication_id)
    if row.scope:
        abort(404)
    return row


@bp.get("/publications/<int:publication_id>/links")
@allow(Role.OFFICER)
def list_of(publication_id: int):
    """The links of a version."""
    return _page(shareable(publication_id))


@bp.post("/publications/<int:publication_id>/links")
@allow(Role.OFFICER)
def make(publication_id: int):
    """Make a link and show it, this once."""
    row = shareable(publication_id)
    form = LinkForm()
    if not form.validate_on_submit():
        return _page(row, form), 400
    token = secrets.token_urlsafe(TOKEN_BYTES)
    session = signed()
    links.make(session, row, form.label.data, token_hash(token), days=form.days.data, at=now(), person_id=person_id())
    session.commit()
    return _page(shareable(publication_id), address=url_for("links.shared", token=token, _external=True))


@bp.post("/publications/<int:publication_id>/links/<int:link_id>/end")
@allow(Role.OFFICER)
def end(publication_id: int, link_id: int):
    """End a link at once."""
    row = shareable(publication_id)
    link = links.find(db(), row.id, link_id)
    if link is None:
        abort(404)
    session = signed()
    links.end(link, now())
    session.commit()
    flash(f"The link for {link.label} has ended. It opens nothing any more.")
    return redirect(url_for(".list_of", publication_id=publication_id))


def _page(row, form=None, address: str = ""):
    return render_template(
        "funder/links.html",
        row=row,
        links=links.of_publication(db(), row.id),
        form=form or LinkForm(formdata=None),
        address=address,
        zone=heads.programme(db(), row.programme_id).zone,
        now=now(),
    )


@bp.get("/shared/<token>")
@public
def shared(token: str):
    """The version that a link opens."""
    link, row = _opened(token)
    page = publications.file(db(), row.id, publishing.HTML_FILE)
    log_view(f"shared link {link.id}, {row.kind.value}, version {row.number}")
    programme = heads.programme(db(), row.programme_id)
    return render_template(
        "funder/shared.html",
        row=row,
        until=moment(link.expires_at, programme.zone),
        body=Markup(publishing.body_of(page.content) if page else ""),  # noqa: S704 - rendered by us, frozen since
        files=publications.file_names(db(), row.id),
        token=token,
    )


@bp.get("/shared/<token>/files/<name>")
@public
def shared_file(token: str, name: str):
    """A file of that version, exactly as it was published."""
    link, row = _opened(token)
    found = publications.file(db(), row.id, name)
    if found is None:
        abort(404)
    log_view(f"shared link {link.id}, {row.kind.value}, version {row.number}, {name}")
    response = Response(found.content, content_type=found.media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="version-{row.number}-{found.name}"'
    return response


def _opened(token: str):
    return links.open_link(db(), token_hash(token), now()) or abort(404)
