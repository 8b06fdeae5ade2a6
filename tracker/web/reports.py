"""Term reports, the impact summary's draft and its publishing, certificates, and the records behind a number."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, Response, abort, flash, g, redirect, render_template, request, url_for
from markupsafe import Markup

from tracker.records import audit, heads, people, publications
from tracker.records.settings import setting
from tracker.reports import build, charts, export, export_package, export_xlsx, opened, publishing, targets
from tracker.reports.printing import days, moment, print_figure
from tracker.vocabulary import ReportKind, Role
from tracker.web.access import acting_role, allow, load_programme, load_publication, load_school, person_id
from tracker.web.accesslog import log_view
from tracker.web.clock import now
from tracker.web.database import db, let_go, quick_read
from tracker.web.forms.reports import REASONS, PublishForm
from tracker.web.opened_reports import once
from tracker.web.published import page_of

bp = Blueprint("reports", __name__)

TYPES = {"json": "application/json", "csv": "text/csv", "txt": "text/plain"}
TYPES |= {"zip": "application/zip", "pdf": "application/pdf", "xlsx": publishing.XLSX_TYPE}
PAPERS = {publishing.PDF_FILE: "a4", "report-letter.pdf": "us-letter"}
SHEETS = {  # of a school's term report
    "one-page.pdf": ("head teacher", "a4"),
    "one-page-letter.pdf": ("head teacher", "us-letter"),
    "wall.pdf": ("wall", "a4"),
    "wall-letter.pdf": ("wall", "us-letter"),
}
DRAFT_HOLDS = timedelta(hours=12)


def term_or_404(programme_id: int, named: str) -> heads.TermHead:
    """The term of the address."""
    try:
        return build.term_of(db(), programme_id, named)
    except LookupError:
        abort(404)


def built(make, owner_id: int | heads.AgreementHead, term: heads.TermHead, as_of: datetime | None = None):
    """The report, or the answer for what is not there; kept while nobody has written and the hour is the same."""
    known = as_of or build.known_by(db(), now())
    try:
        if make not in (build.school, build.programme):
            return make(db(), owner_id, term, known)  # a draft is published as it was seen, so it is never an old one
        return once((make.__name__, owner_id, term.id), known, lambda: make(db(), owner_id, term, known))
    except KeyError:
        raise  # a fault of ours, not an address that is not there
    except LookupError:
        abort(404)


def printers(zone: str) -> dict[str, Any]:
    """What a report's template prints with; it computes nothing itself."""
    return {
        "printed": print_figure,
        "cell_parts": export.cell_parts,
        "headline_parts": export.headline_parts,
        "heading": export.heading,
        "target_words": targets.target_words,
        "target_lists": targets.lists,
        "opens_in": lambda report: lambda key: opened.opens(report, key),
        "svg": lambda chart: Markup(charts.svg(chart)),  # noqa: S704 - our own drawing, texts escaped there
        "span": days,
        "at": lambda instant: moment(instant, zone),
        "marks": publishing.MARKS,
        "file_name": export.file_name,
    }


def answer_file(report, name: str, whose: str | None) -> Response:
    """One file of a report, made now: a PDF, report.json, report.txt, report-csv.zip or a table's CSV."""
    if name == publishing.JSON_FILE:
        body: str | bytes = export.json_text(report)
    elif name == publishing.CSV_FILE:
        body = export.zipped(export_package.package_files(report))
    elif name == publishing.XLSX_FILE:
        body = export_xlsx.workbook(report)
    elif name in PAPERS:
        from tracker.reports.pdf import pdf  # brings the typesetter

        body = pdf(report, PAPERS[name])
    elif report.kind is ReportKind.SCHOOL_TERM and name in SHEETS:
        body = one_sheet(report, *SHEETS[name])
    elif name == "report.txt":
        body = export.text(report)
    else:
        body = export.csv_files(report).get(name) or abort(404)
    rows = sum(len(table.rows) for table in report.tables())
    log_view(f"{report.kind.value}, {name}", whose, rows)
    return attachment(body, name)


def one_sheet(report, of: str, paper: str) -> bytes:
    """A school's term on one page, for the head teacher or for the wall."""
    from tracker.reports import one_page
    from tracker.reports.pdf import pdf

    if of == "head teacher":
        return pdf(one_page.head_teacher(report), paper, numbers=False)
    least = setting(db(), g.programme.id, "small_count_min", report.last_day)
    return pdf(one_page.wall(report, least), paper, numbers=False)


def attachment(body: str | bytes, name: str) -> Response:
    """Bytes to be kept, not shown."""
    media_type = TYPES.get(name.rpartition(".")[2], "application/octet-stream")
    response = Response(body, content_type=media_type + ("; charset=utf-8" if media_type.startswith("text/") else ""))
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def show(report, programme, terms, links: dict[str, Any], school: str | None) -> str:
    """A report's page inside the application's frame."""
    log_view(report.kind.value, school, sum(len(table.rows) for table in report.tables()))
    given = {"report": report, "programme": programme, "terms": terms, "links": links, **printers(programme.zone)}
    page = (request.path, acting_role())  # the address says whose report of which term it is
    body = once(page, report.cutoff_at, lambda: render_template("reports/_report.html", **given))
    body = Markup(body)  # noqa: S704 - our own template, every text in it escaped
    return render_template("reports/report.html", body=body, **given)


def links_of(endpoint: str, term: heads.TermHead, **owner) -> dict[str, Any]:
    """Addresses of a report's own page for another term, of its files and of the records behind a number."""
    return {
        "term": lambda other: url_for(endpoint, term=other.code, **owner),
        "file": lambda name: url_for(f"{endpoint}_file", term=term.code, name=name, **owner),
        "parts": lambda key: url_for(f"{endpoint}_parts", term=term.code, figure=key, **owner),
        "chosen": term.code,
    }


# --- a school's term ----------------------------------------------------------------------------------------------


@bp.get("/schools/<int:school_id>/terms/<term>/report")
@allow(Role.COORDINATOR, Role.OFFICER)
def school_term(school_id, term):
    """A school's term report."""
    school = load_school(school_id)
    programme = heads.programme(db(), school.programme_id)
    chosen = term_or_404(programme.id, term)
    report = built(build.school, school.id, chosen)
    links = links_of("reports.school_term", chosen, school_id=school.id)
    return show(report, programme, build.begun(db(), programme.id, now()), links, school.code)


@bp.get("/schools/<int:school_id>/terms/<term>/report/files/<name>")
@allow(Role.COORDINATOR, Role.OFFICER)
def school_term_file(school_id, term, name):
    """A file of it."""
    school = load_school(school_id)
    report = built(build.school, school.id, term_or_404(school.programme_id, term))
    return answer_file(report, name, school.code)


@bp.get("/schools/<int:school_id>/terms/<term>/report/figures/<figure>")
@allow(Role.COORDINATOR, Role.OFFICER)
def school_term_parts(school_id, term, figure):
    """The weeks behind a number of it."""
    school = load_school(school_id)
    chosen = term_or_404(school.programme_id, term)
    report = built(build.school, school.id, chosen)
    return show_parts(report, figure, url_for(".school_term", school_id=school.id, term=chosen.code), school.code)


@bp.get("/schools/<int:school_id>/reports")
@allow(Role.COORDINATOR, Role.OFFICER)
def school(school_id):
    """Lead to the latest term's report of a school."""
    found = load_school(school_id)
    begun = build.begun(db(), found.programme_id, now())
    if not begun:
        return render_template("reports/none.html")
    return redirect(url_for(".school_term", school_id=found.id, term=begun[0].code))


# --- a programme's term -------------------------------------------------------------------------------------------


@bp.get("/programmes/<int:programme_id>/terms/<term>/report")
@allow(Role.OFFICER)
def programme_term(programme_id, term):
    """A programme's term report with the restocking list."""
    programme = heads.programme(db(), load_programme(programme_id).id)
    chosen = term_or_404(programme.id, term)
    report = built(build.programme, programme.id, chosen)
    links = links_of("reports.programme_term", chosen, programme_id=programme.id)
    return show(report, programme, build.begun(db(), programme.id, now()), links, None)


@bp.get("/programmes/<int:programme_id>/terms/<term>/report/files/<name>")
@allow(Role.OFFICER)
def programme_term_file(programme_id, term, name):
    """A file of it."""
    programme = load_programme(programme_id)
    return answer_file(built(build.programme, programme.id, term_or_404(programme.id, term)), name, None)


@bp.get("/programmes/<int:programme_id>/terms/<term>/report/figures/<figure>")
@allow(Role.OFFICER)
def programme_term_parts(programme_id, term, figure):
    """The school-weeks behind a number of it."""
    programme = load_programme(programme_id)
    chosen = term_or_404(programme.id, term)
    report = built(build.programme, programme.id, chosen)
    return show_parts(report, figure, url_for(".programme_term", programme_id=programme.id, term=chosen.code), None)


@bp.get("/programmes/<int:programme_id>/reports")
@allow(Role.OFFICER)
def programme(programme_id):
    """Every report of a programme: by term, published versions, certificates."""
    found = heads.programme(db(), load_programme(programme_id).id)
    schools = {school.id: school for school in people.schools_of(db(), found.id)}
    agreements = [(one, schools[one.school_id]) for one in heads.agreements(db(), found.id)]
    return render_template(
        "reports/list.html",
        programme=found,
        terms=build.begun(db(), found.id, now()),
        schools=list(schools.values()),
        agreements=agreements,
        versions=publications.versions(db(), found.id),
        at=lambda instant: moment(instant, found.zone),
    )


def show_parts(report, key: str, back: str, school: str | None) -> str:
    """What each school and week brought to a figure; the digits add up to the printed number."""
    try:
        line = report.line(key)
    except KeyError:
        abort(404)
    found = opened.headline(report, key)
    log_view(f"records behind {key}", school, sum(len(one.parts) for one in found.sums) if found else 0)
    return render_template(
        "reports/parts.html", report=report, line=line, found=found, back=back, printed=print_figure, digits=str
    )


@bp.get("/publications/<int:publication_id>/figures/<figure>")
@allow(Role.OFFICER)
def published_parts(publication_id, figure):
    """What each school and week brought to a published figure, as it was stored; for the programme's officers."""
    row = load_publication(publication_id)
    parts = publications.lines(db(), row.id, figure)
    if not parts:
        abort(404)
    log_view(f"records behind {figure}, version {row.number}", row.scope or None, len(parts))
    line = publishing.stored_line(row.content, figure)
    total = publishing.sum_of(part.value for part in parts)
    return render_template("reports/published_parts.html", row=row, line=line, parts=parts, total=total, figure=figure)


# --- certificates -------------------------------------------------------------------------------------------------


def agreement_or_404(programme_id: int, code: str) -> heads.AgreementHead:
    """An agreement of the programme by its code."""
    return next((one for one in heads.agreements(db(), programme_id) if one.code == code), None) or abort(404)


@bp.get("/programmes/<int:programme_id>/agreements/<agreement>/terms/<term>/certificate")
@allow(Role.OFFICER)
def certificate(programme_id, agreement, term):
    """The availability certificate of an agreement."""
    programme = heads.programme(db(), load_programme(programme_id).id)
    chosen = term_or_404(programme.id, term)
    report = built(build.certificate, agreement_or_404(programme.id, agreement), chosen)
    links = links_of("reports.certificate", chosen, programme_id=programme.id, agreement=agreement)
    return show(report, programme, build.begun(db(), programme.id, now()), links | {"parts": None}, None)


@bp.get("/programmes/<int:programme_id>/agreements/<agreement>/terms/<term>/certificate/files/<name>")
@allow(Role.OFFICER)
def certificate_file(programme_id, agreement, term, name):
    """A file of it."""
    programme = load_programme(programme_id)
    found = agreement_or_404(programme.id, agreement)
    return answer_file(built(build.certificate, found, term_or_404(programme.id, term)), name, None)


# --- the impact summary -------------------------------------------------------------------------------------------


@bp.get("/programmes/<int:programme_id>/terms/<term>/impact")
@allow(Role.OFFICER)
def impact(programme_id, term):
    """The draft of the funder's impact summary, with its checks and what it would change."""
    programme = heads.programme(db(), load_programme(programme_id).id)
    chosen = term_or_404(programme.id, term)
    report = built(build.impact, programme.id, chosen)
    return show_draft(db(), programme, chosen, report, PublishForm())


def show_draft(session, programme, term, report, form, *, changed_since: bool = False) -> str:
    """The draft's page; ``session`` reads."""
    before = publications.former(session, programme.id, term.id, ReportKind.IMPACT)
    made = publishing.draft(session, programme.id, report, before.content if before else None)
    form.cutoff.data, form.seen.data = report.cutoff_at.isoformat(), made.content_hash
    log_view("impact summary, draft")
    links = links_of("reports.impact", term, programme_id=programme.id) | {"parts": None}
    return render_template(
        "reports/draft.html",
        report=made.report,
        draft=made,
        former=before,
        form=form,
        reasons=REASONS,
        changed_since=changed_since,
        programme=programme,
        term=term,
        terms=build.begun(session, programme.id, now()),
        links=links,
        **printers(programme.zone),
    )


@bp.get("/programmes/<int:programme_id>/terms/<term>/impact/files/<name>")
@allow(Role.OFFICER)
def impact_file(programme_id, term, name):
    """A file of the draft, as it may leave beside the version it would replace."""
    programme, chosen = load_programme(programme_id), term_or_404(programme_id, term)
    before = publications.former(db(), programme.id, chosen.id, ReportKind.IMPACT)
    report = built(build.impact, programme.id, chosen)
    made = publishing.draft(db(), programme.id, report, before.content if before else None)
    return answer_file(made.report, name, None)


@bp.post("/programmes/<int:programme_id>/terms/<term>/impact/publish")
@allow(Role.OFFICER)
def publish(programme_id, term):
    """Publish the draft that was looked at; where the records changed since, show it again."""
    programme = heads.programme(db(), load_programme(programme_id).id)
    role, chosen = acting_role(), term_or_404(programme.id, term)
    let_go()  # the report is built without the write lock
    form = PublishForm()
    with quick_read() as session:
        before = publications.former(session, programme.id, chosen.id, ReportKind.IMPACT)
        as_of = _cutoff(form.cutoff.data)
        report = build.impact(session, programme.id, chosen, as_of)
        made = publishing.draft(session, programme.id, report, before.content if before else None)
        number, former_number = (before.number + 1, before.number) if before else (1, None)
        unchanged = made.content_hash == form.seen.data
        if not form.validate_for(former_number) or not unchanged or made.refused:
            code = 409 if form.seen.data and not unchanged else 400
            return show_draft(session, programme, chosen, report, form, changed_since=code == 409), code
    return _store(programme, chosen, made, form, (number, former_number, role))


def _cutoff(text: str | None) -> datetime:
    """The instant of the draft that was looked at; now, where it cannot be that."""
    try:
        found = datetime.fromisoformat(text or "")
    except ValueError:
        return now()
    return found if found.tzinfo and now() - DRAFT_HOLDS <= found <= now() else now()


def _store(programme, term, made, form, what):
    """Render the page that is frozen, store the version, lead to it."""
    from tracker.reports.pdf import pdf  # brings the typesetter

    number, former_number, role = what
    at, reason = now(), form.whole_reason() if former_number else ""
    stamp = {"number": number, "replaces": former_number, "at": at, "reason": reason, "term": term}
    page = page_of(made, programme, stamp, printers(programme.zone))
    paper = pdf(made.report, standing=f"version {number}")
    session = db()
    session.info |= {"actor": audit.Actor(person_id(), role, programme.id), "reason": reason, "now": at}
    current = publications.former(session, programme.id, term.id, ReportKind.IMPACT)
    if (current.number if current else None) != former_number:
        abort(409)
    approval = publishing.Approval(programme.id, term.id, person_id(), at, reason)
    found = publishing.publish(session, made, page, approval, paper)
    session.commit()
    flash(f"Version {number} of the impact summary of {term.name} is published.")
    return redirect(url_for("funder.publication", publication_id=found))
