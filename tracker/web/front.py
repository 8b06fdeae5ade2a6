"""The front page leads each person to their door; a health check; nothing for search engines."""

from __future__ import annotations

from flask import Blueprint, Response, redirect, render_template, url_for
from flask_login import current_user
from sqlalchemy import text

from tracker.web.access import public
from tracker.web.database import db
from tracker.web.nav import landing

bp = Blueprint("front", __name__)

BEHIND = {
    "My school": "The week sheet, what came of the last ones, and reporting a danger.",
    "My schools": "The week sheets, what came of the last ones, and reporting a danger.",
    "Today": "What needs you today: dangers, outages, stock, sheets to read.",
    "Reports": "The reports of each term.",
    "Published reports": "What was published for you as a funder.",
    "My jobs": "Where you are needed, and what was found there before.",
    "Set-up": "Schools, units, terms, days without school, settings and targets.",
    "People": "Who works in the programme, their roles, and new passwords.",
}


@bp.get("/")
@public
def index():
    """Lead somebody with one role on; say to all others what stands behind each door."""
    if not current_user.is_authenticated:
        return redirect(url_for("account.log_in"))
    there = landing()
    if there:
        return redirect(there)
    return render_template("front/doors.html", behind=BEHIND)


@bp.get("/healthz")
@public
def health():
    """Says that the application and its database answer."""
    db().execute(text("SELECT 1"))
    return Response("ok\n", mimetype="text/plain")


@bp.get("/robots.txt")
@public
def robots():
    """Ask search engines to stay away from every page."""
    return Response("User-agent: *\nDisallow: /\n", mimetype="text/plain")
