"""What this application keeps of reports that were opened: the report, and its page as it was laid out.

Kept while nobody has written and the hour is the same (``build.known_by``): the newest audit row and the report's
instant are the stamp of the reports' own memory.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from datetime import datetime
from typing import TypeVar

from flask import current_app

from tracker.records import audit
from tracker.reports.memory import Memory
from tracker.web.database import db

EXTENSION = "washbell-opened-reports"
T = TypeVar("T")


def once(key: Hashable, as_of: datetime, make: Callable[[], T]) -> T:
    """What was made under a key for an instant, or is made now. The key must tell apart all that may differ."""
    memory: Memory = current_app.extensions.setdefault(EXTENSION, Memory())
    stamp = ("written", f"{audit.last_seq(db())} {as_of.isoformat()}")
    return memory.get(stamp, key, make)
