"""The application: settings in, a Flask app out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from importlib import import_module
from importlib.util import find_spec

from argon2 import PasswordHasher
from flask import Flask
from flask_limiter import Limiter
from flask_limiter.util import get_remote_address
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from tracker.config import Settings, SettingsError
from tracker.db import make_engine
from tracker.paths import templates
from tracker.records import people
from tracker.web import access, accesslog, auth, database, errors, filters, nav, security
from tracker.web.state import EXTENSION, State

# One module of tracker/web per door; each has a blueprint `bp` that bears the module's name (auth: "account").
DOORS = (
    "front",
    "guides",
    "auth",
    "coordinator",
    "officer",
    "engineer",
    "delivery",
    "funder",
    "setup",
    "people",
    "reports",
    "feed",
    "links",
    "phone",
    "workbook",
)
YEAR_S = 365 * 24 * 3600


def create_app(settings: Settings, now: Callable[[], datetime] | None = None, engine: Engine | None = None) -> Flask:
    """Build the application.

    ``now`` gives this instant, aware, in UTC (the demo hands in its own). ``DEMO_LOGINS`` in the configuration
    is a list of (role, e-mail, password) that the log-in page shows, in the demo only.

    Raises:
        SettingsError: the installation is not set up to run.
    """
    settings.check()
    app = Flask("tracker", template_folder=str(templates()))
    app.config.update(TESTING=settings.testing, SEND_FILE_MAX_AGE_DEFAULT=YEAR_S, DEMO_LOGINS=[])
    app.jinja_options = {"trim_blocks": True, "lstrip_blocks": True}
    limiter = Limiter(get_remote_address, app=app, storage_uri="memory://", strategy="moving-window")
    app.extensions[EXTENSION] = State(
        settings=settings,
        engine=engine if engine is not None else make_engine(settings.database_url),
        now=now or (lambda: datetime.now(UTC)),
        hasher=PasswordHasher(time_cost=1, memory_cost=8, parallelism=1) if settings.testing else PasswordHasher(),
        throttle=limiter.limiter,
        access_log=accesslog.path_of(settings),
    )
    security.init_app(app, settings)
    for part in (database, auth, access, errors, filters, nav):
        part.init_app(app)
    for name in DOORS:
        if find_spec(f"tracker.web.{name}") is not None:
            app.register_blueprint(import_module(f"tracker.web.{name}").bp)
    access.check_declared(app)
    return app


def refuse_demo(session: Session) -> None:
    """Stop a real installation whose database holds the demo's programme or passwords.

    Raises:
        SettingsError: with what to do.
    """
    if people.has_demo(session):
        raise SettingsError(
            "This database holds the demo's programme or its passwords, which everybody can read. "
            "Start with a new database for real work."
        )
