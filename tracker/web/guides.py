"""A printable page of help for each door, open to everybody: it holds no record."""

from __future__ import annotations

from flask import Blueprint, abort, render_template

from tracker.web.access import public
from tracker.web.guide_texts import GUIDES

bp = Blueprint("guides", __name__, url_prefix="/guides")


@bp.get("/")
@public
def listed():
    """The guides of all doors."""
    return render_template("guides/list.html", guides=GUIDES)


@bp.get("/<door>")
@public
def page(door: str):
    """One door's guide."""
    if door not in GUIDES:
        abort(404)
    return render_template("guides/page.html", guide=GUIDES[door])
