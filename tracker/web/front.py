"""The front page leads each person to their door; a health check; nothing for search engines."""

from __future__ import annotations

from flask import Blueprint, Response, redirect, render_template, url_for
from flask_login import current_user
from sqlalchemy import text

from tracker.web.access import public
from tracker.web.database import db
from tracker.web.nav import doors

bp = Blueprint("front", __name__)


@bp.get("/")
@public
def index():
    """Lead to the only door, or offer the doors."""
    if not current_user.is_authenticated:
        return redirect(url_for("account.log_in"))
    mine = doors()
    if len(mine) == 1:
        return redirect(mine[0][1])
    return render_template("front/doors.html")


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
