"""The session of a request, opened at first use: reading for GET, holding the write lock for everything else."""

from __future__ import annotations

from flask import Flask, g, request
from flask_login import current_user
from sqlalchemy.orm import Session

from tracker.db import reading, writing
from tracker.records import audit
from tracker.web.clock import now
from tracker.web.state import state

READS = frozenset({"GET", "HEAD", "OPTIONS"})


def db() -> Session:
    """The session of this request. A route that changes data commits it once, in sight."""
    if "db" not in g:
        g.db = reading(state().engine) if request.method in READS else writing(state().engine)
        g.db.info["now"] = now()
        if current_user.is_authenticated:
            g.db.info["actor"] = audit.Actor(current_user.person_id)
    session: Session = g.db
    return session


def quick_read() -> Session:
    """A session of its own for a short look that must not take the write lock; use it in a ``with``."""
    return reading(state().engine)


def act_as(role: str, programme_id: int) -> None:
    """Say in which role the person acts, for the audit rows of this request."""
    db().info["actor"] = audit.Actor(current_user.person_id, role, programme_id)


def let_go() -> None:
    """End the transaction without saving, before slow work (parsing a file, hashing a password).

    The next ``db()`` opens a new one; load the page's object again after it.
    """
    session = g.pop("db", None)
    if session is not None:
        session.close()


def init_app(app: Flask) -> None:
    """Close the request's session when its answer is made; what was not committed is undone."""

    @app.teardown_appcontext
    def _close(_error: BaseException | None) -> None:
        let_go()
