"""The service engineer's phone page: my jobs by need, what was found and done, back in service."""

from __future__ import annotations

from tracker.web import engineer_jobs, engineer_visit
from tracker.web.engineer_jobs import bp

__all__ = ["bp", "engineer_jobs", "engineer_visit"]
