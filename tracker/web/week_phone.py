"""A week sheet that a phone had kept is sent by the page's script: the same act as the form's, answered in JSON.

Every answer bears ``app``, so that a page of somebody else's network is never taken for ours.
"""

from __future__ import annotations

from flask import jsonify, request
from sqlalchemy.exc import IntegrityError

from tracker.records import sheets
from tracker.reports import printing
from tracker.web import week_acts, week_view
from tracker.web.access import load_school
from tracker.web.database import db, let_go
from tracker.web.week_view import WeekView

MARK = "washbell"


def said(state: str, code: int = 200, **more: object):
    """An answer to the page's script."""
    return jsonify({"app": MARK, "state": state, **more}), code


def receive(view: WeekView, zone: str):
    """Send once, however often it arrives; what stands in the way is said with its code, and nothing is written."""
    if view.base < 0:
        return said("no-version", 428)
    try:
        return _receive(view, zone)
    except IntegrityError:  # another writer was first: look again from where it left things
        let_go()
        school = load_school(view.school.id, to="log")
        week_acts.act_as(school)
        return _receive(week_view.typed(school, view.week, request.form), zone)


def _receive(view: WeekView, zone: str):
    try:
        sent = week_acts.deliver(view)
    except week_acts.NotFitError as refused:
        return said("refused", 400, problems=len(refused.problems))
    except sheets.ReasonNeededError:
        db().rollback()
        return said("refused", 400, problems=1)
    except sheets.StaleError:
        db().rollback()
        return said("stale", 412)
    except sheets.KeyReusedError:
        db().rollback()
        return said("stale", 409)
    week_acts.remember(view, sent)
    at = printing.moment(sent.at, zone)
    return said("received", reference=sent.reference, number=sent.number, at=at, key=view.key)
