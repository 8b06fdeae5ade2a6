"""What web tests browse with: a clock moved by hand, the application, and browsers in which somebody is logged in."""

from __future__ import annotations

import hashlib
import secrets
from datetime import UTC, datetime, timedelta
from pathlib import Path

from flask import Flask
from flask.testing import FlaskClient
from itsdangerous import URLSafeTimedSerializer
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from tracker.app import create_app
from tracker.config import Settings
from tracker.records import people
from tracker.web.security import mask


class Clock:
    """The application's clock in tests: a Wednesday of term, moved by hand."""

    def __init__(self) -> None:
        self.at = datetime(2026, 2, 4, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.at

    def pass_by(self, **span: float) -> None:
        self.at += timedelta(**span)


class Browser(FlaskClient):
    """A client that puts the form token on what it sends, as a page's form does; ``with_token=False`` leaves it out."""

    def open(self, *args, with_token: bool = True, **kwargs):
        kwargs.setdefault("buffered", True)  # static files are closed
        if kwargs.get("method", "GET") not in ("GET", "HEAD", "OPTIONS") and with_token:
            with self.session_transaction() as cookie:
                raw = cookie.setdefault("csrf_token", secrets.token_hex(20))
                cookie.permanent = True
            signer = URLSafeTimedSerializer(self.application.config["SECRET_KEY"], salt="wtf-csrf-token")
            kwargs["headers"] = {**dict(kwargs.get("headers") or {}), "X-CSRFToken": mask(signer.dumps(raw))}
        return super().open(*args, **kwargs)


def make_app(engine: Engine, clock: Clock, access_log: Path) -> Flask:
    """The application on a test's database, with browsers that send form tokens."""
    settings = Settings(
        database_url=str(engine.url),
        secret="only-for-tests-" + "x" * 32,
        https=False,
        testing=True,
        access_log=access_log,
    )
    app = create_app(settings, now=clock, engine=engine)
    app.test_client_class = Browser
    return app


def open_login(session: Session, person_id: int, at: datetime) -> str:
    """Log a person in without a password; the caller commits and hands the token to ``browser_with``."""
    token = secrets.token_urlsafe(32)
    people.open_login(session, person_id, hashlib.sha256(token.encode()).hexdigest(), at, at + timedelta(hours=12))
    return token


def browser_with(app: Flask, token: str) -> FlaskClient:
    """A browser that holds the cookie of a log-in."""
    browser = app.test_client()
    with browser.session_transaction() as cookie:
        cookie["_user_id"], cookie["_fresh"], cookie.permanent = token, True, True
    return browser
