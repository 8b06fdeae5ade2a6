"""What one running application holds: settings, engine, clock, password hasher, throttle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from argon2 import PasswordHasher
from flask import current_app
from limits.strategies import RateLimiter
from sqlalchemy import Engine

from tracker.config import Settings

EXTENSION = "washbell"


@dataclass(frozen=True, slots=True)
class State:
    """Made once by ``create_app``; reached through ``state()`` inside a request."""

    settings: Settings
    engine: Engine
    now: Callable[[], datetime]
    hasher: PasswordHasher
    throttle: RateLimiter
    access_log: Path | None


def state() -> State:
    """The running application's state."""
    found: State = current_app.extensions[EXTENSION]
    return found
