"""The funder's door: published impact summaries, every version, from the bytes that were stored."""

from __future__ import annotations

import json

from flask import Blueprint, Response, abort, render_template, request
from markupsafe import Markup

from tracker.records import heads, publications
from tracker.reports import export_iati, publishing
from tracker.reports.printing import moment
from tracker.vocabulary import ReportKind, Role
from tracker.web.access import acting_role, allow, load_publication, programme_ids
from tracker.web.accesslog import log_view
from tracker.web.database import db
from tracker.web.forms.iati import IatiForm

bp = Blueprint("funder", __name__)

READERS = (Role.FUNDER, Role.OFFICER, Role.COORDINATOR)


@bp.get("/funder/")
@allow(Role.FUNDER)
def home():
    """Published impact summaries of the programmes that the person funds."""
    shelves = [
        (heads.programme(db(), found), publications.versions(db(), found, [ReportKind.IMPACT]))
        for found in programme_ids(Role.FUNDER)
    ]
    return render_template("funder/home.html", shelves=shelves, at=moment)


def published(publication_id: int):
    """The version of the address; a funder reaches impact summaries only."""
    found = load_publication(publication_id)
    if acting_role() == Role.FUNDER.value and found.kind is not ReportKind.IMPACT:
        abort(404)
    return found


@bp.get("/publications/<int:publication_id>")
@allow(*READERS)
def publication(publication_id):
    """A published version, its files, and the other versions."""
    row = published(publication_id)
    programme = heads.programme(db(), row.programme_id)
    every = publications.versions(db(), row.programme_id, [row.kind])
    here = next(one for one in every if one.id == row.id)
    others = [one for one in every if one.term_code == here.term_code and one.scope == here.scope and one.id != here.id]
    page = publications.file(db(), row.id, publishing.HTML_FILE)
    body = publishing.body_of(page.content) if page else ""
    log_view(f"published {row.kind.value}, version {row.number}", row.scope or None)
    return render_template(
        "funder/publication.html",
        programme=programme,
        here=here,
        others=others,
        names=publications.file_names(db(), row.id),
        is_coordinator=acting_role() == Role.COORDINATOR.value,
        may_share=acting_role() == Role.OFFICER.value and not row.scope,
        figures=behind(row) if acting_role() == Role.OFFICER.value else [],
        body=Markup(body),  # noqa: S704 - rendered by us with every text escaped, and frozen since
        at=lambda instant: moment(instant, programme.zone),
    )


@bp.get("/publications/<int:publication_id>/iati")
@allow(Role.FUNDER, Role.OFFICER)
def publication_iati(publication_id):
    """The results of a version as an IATI file, once the address says who publishes; until then the form."""
    row = published(publication_id)
    if row.kind is not ReportKind.IMPACT:
        abort(404)
    form = IatiForm(request.args if request.args else None)
    if request.args and form.validate():
        content = json.loads(row.content)["report"]
        log_view(f"published {row.kind.value}, version {row.number}, results for IATI")
        response = Response(export_iati.iati_xml(content, form.publisher), content_type="application/xml")
        response.headers["Content-Disposition"] = f'attachment; filename="version-{row.number}-iati.xml"'
        return response
    page = render_template("funder/iati.html", row=row, form=form)
    return page, 400 if request.args else 200


def behind(row):
    """(key, label) of the published headlines whose school-weeks were stored."""
    return [
        (key, publishing.stored_line(row.content, key).get("label", key)) for key in publications.figures(db(), row.id)
    ]


@bp.get("/publications/<int:publication_id>/files/<name>")
@allow(*READERS)
def publication_file(publication_id, name):
    """A file exactly as it was published."""
    row = published(publication_id)
    found = publications.file(db(), row.id, name)
    if found is None:
        abort(404)
    log_view(f"published {row.kind.value}, version {row.number}, {name}", row.scope or None)
    response = Response(found.content, content_type=found.media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="version-{row.number}-{found.name}"'
    return response
