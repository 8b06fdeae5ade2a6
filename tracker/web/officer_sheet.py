"""Reading a sheet as it was sent, accepting it, asking about it."""

from __future__ import annotations

import json

from flask import abort, flash, redirect, render_template, url_for

from tracker.intake.week_cells import facts_to_cells
from tracker.intake.week_layout import Kind, RowCounts
from tracker.intake.week_sheet import sheet_of
from tracker.intake.week_source import plan_for
from tracker.models.programme import Programme
from tracker.records import sheets, today
from tracker.vocabulary import Role, SheetState
from tracker.web import access
from tracker.web.access import allow, load_sheet
from tracker.web.accesslog import log_view
from tracker.web.clock import now
from tracker.web.database import db
from tracker.web.forms.fields import options
from tracker.web.forms.officer import AskForm
from tracker.web.officer_kept import sentences
from tracker.web.officer_today import bp
from tracker.web.signing import signed

WHOLE = [("", "The whole sheet")]


@bp.get("/sheets/<int:sheet_id>")
@allow(Role.OFFICER)
def sheet(sheet_id: int):
    """A sheet as it was sent, its versions, notes and questions."""
    found, school = load_sheet(sheet_id, to="officer")
    log_view("sheet", school.code)
    return _page(found, school, AskForm(formdata=None))


def _page(found, school, form, code: int = 200):
    shown = _shown(found, school)
    form.cell.choices = options(WHOLE + [(cell.key, cell.label) for cell in shown["filled"].values()])
    queries = sheets.queries_of(db(), found.id)
    page = render_template(
        "officer/sheet.html",
        sheet=found,
        school=school,
        form=form,
        queries=queries,
        zone=db().get_one(Programme, school.programme_id).zone,
        waiting=found.state in (SheetState.SENT, SheetState.QUERIED),
        versions=today.versions(db(), found.id),
        **shown,
    )
    return page, code


def _shown(found, school) -> dict:
    """The latest version laid out as the sheet: cells as typed, labels by cell, rows that no cell shows."""
    version = sheets.find_version(db(), found)
    if version is None:
        abort(404)
    payload = json.loads(version.payload)
    _, plan = plan_for(db(), school.id, found.week)
    layout = sheet_of(plan, {}, rows_of(payload))
    cells, kept = facts_to_cells(layout, payload)
    labels = layout.by_key()
    filled = {key: labels[key] for key in labels if cells.get(key) and labels[key].kind is not Kind.HIDDEN}
    return {
        "version": version,
        "layout": layout,
        "cells": cells,
        "kept": sentences(kept),
        "labels": labels,
        "filled": filled,
    }


def rows_of(payload: dict) -> RowCounts:
    """Rows of the growing tables that a payload fills."""
    least = RowCounts()
    outages, held = (len(payload.get(name, [])) for name in ("outages", "awareness_sessions"))
    return RowCounts(max(outages, least.outages), max(held, least.sessions))


@bp.post("/sheets/<int:sheet_id>/accept")
@allow(Role.OFFICER)
def accept(sheet_id: int):
    """Accept a sheet as it is; it then counts as read."""
    found, school = load_sheet(sheet_id, to="officer")
    try:
        sheets.accept(signed(), found, at=now(), person_id=access.person_id())
    except sheets.SheetError as wrong:
        flash(str(wrong))
        return redirect(url_for(".sheet", sheet_id=sheet_id) + "#questions")
    db().commit()
    flash(f"Accepted: {school.name}, week of {found.week:%d %B %Y}.")
    return redirect(url_for(".today", programme_id=school.programme_id) + "#sheets")


@bp.post("/sheets/<int:sheet_id>/ask")
@allow(Role.OFFICER)
def ask(sheet_id: int):
    """Ask the school about a cell, or about the whole sheet."""
    found, school = load_sheet(sheet_id, to="officer")
    form = AskForm()
    form.cell.choices = options(WHOLE + [(cell.key, cell.label) for cell in _shown(found, school)["filled"].values()])
    if not form.validate_on_submit():
        return _page(found, school, form, 400)
    sheets.ask(signed(), found, form.cell.data, form.question.data, at=now(), person_id=access.person_id())
    db().commit()
    cell = dict(WHOLE) | {choice.value: choice.label for choice in form.cell.choices}
    flash(f"Asked about: {cell[form.cell.data]}. Your question is on the page of {school.name}.")
    return redirect(url_for(".sheet", sheet_id=found.id) + "#questions")


@bp.post("/sheets/<int:sheet_id>/queries/<int:number>/close")
@allow(Role.OFFICER)
def close_query(sheet_id: int, number: int):
    """Close a question; question and answer stay on record."""
    found, _ = load_sheet(sheet_id, to="officer")
    query = sheets.find_query(db(), found.id, number)
    if query is None:
        abort(404)
    if query.closed_at is None:
        sheets.close_query(signed(), query, at=now())
        db().commit()
    flash("The question is closed. It stays on record.")
    return redirect(url_for(".sheet", sheet_id=found.id) + "#questions")
