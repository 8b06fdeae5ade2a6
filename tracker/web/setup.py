"""Setting up: programmes, schools, units, calendar. Editing keeps history: a change is a new dated row."""

from __future__ import annotations

from tracker.web import setup_changes, setup_devices, setup_pages
from tracker.web.setup_pages import bp

__all__ = ["bp", "setup_changes", "setup_devices", "setup_pages"]
