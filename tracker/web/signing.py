"""The request's session with who acts in it, so that every change is written with its author, role and reason."""

from __future__ import annotations

from flask import g
from sqlalchemy.orm import Session

from tracker.records.audit import Actor
from tracker.web.access import acting_role, person_id
from tracker.web.clock import now
from tracker.web.database import db


def signed(reason: str = "") -> Session:
    """The session of this request, signed by the person in the role that let them in."""
    session = db()
    session.info["actor"] = Actor(person_id(), acting_role(), g.programme.id)
    session.info["now"] = now()
    session.info["reason"] = reason
    return session
