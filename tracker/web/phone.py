"""What a phone needs to go on without a network: the public shell, its service worker, a fresh form token."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from flask import Blueprint, Response, g, render_template, url_for
from flask_login import current_user

from tracker.web.access import public
from tracker.web.clock import now
from tracker.web.filters import asset
from tracker.web.security import masked_token
from tracker.web.week_phone import said

bp = Blueprint("phone", __name__)

SCRIPTS = ("phone_store.js", "phone_send.js", "week_form.js", "phone_page.js")
SHELL = ("washbell.css", "sheet.css", "washbell.svg", *SCRIPTS)


def shell() -> list[str]:
    """Addresses that a phone keeps: public files by their content's hash, and one empty page."""
    return [url_for("phone.offline"), *(asset(name) for name in SHELL)]


@lru_cache(maxsize=1)
def _worker() -> str:
    return (Path(__file__).resolve().parent.parent / "static" / "worker.js").read_text(encoding="utf-8")


@bp.get("/worker.js")
@public
def worker():
    """The service worker. Its first line names the shell, so that a changed file makes a new worker."""
    page = hashlib.sha256(_page().encode()).hexdigest()[:12]
    kept = shell()
    version = hashlib.sha256("|".join([*kept, page]).encode()).hexdigest()[:12]
    head = f"const VERSION = {json.dumps(version)}, SHELL = {json.dumps(kept)};\n"
    answer = Response(head + _worker(), mimetype="text/javascript")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@bp.get("/offline")
@public
def offline():
    """The empty page that shows what the phone itself keeps. It is the same for everybody and names nobody."""
    return _page()


def _page() -> str:
    g.bare = True  # whoever asks: no name, no doors, no token
    return render_template("coordinator/offline.html", get_flashed_messages=lambda **_: [])


@bp.get("/week-sheets/token")
@public
def token():
    """A fresh form token for a sheet that waited on a phone; only for somebody who is logged in."""
    if not current_user.is_authenticated:
        return said("log-in")
    today = now().date().isoformat()
    return said("ready", token=masked_token(), person=current_user.person_id, today=today)
