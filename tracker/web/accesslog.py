"""Who looked at or took away school-level data: JSON lines in a file of its own, never in the main database."""

from __future__ import annotations

import json
from pathlib import Path

from flask import g
from flask_login import current_user

from tracker.config import Settings, SettingsError
from tracker.web.clock import now
from tracker.web.state import state

SQLITE = "sqlite:///"


def path_of(settings: Settings) -> Path | None:
    """Where the log goes: as set, else beside an SQLite file.

    Raises:
        SettingsError: the database is no file and no place is set.
    """
    if settings.access_log is not None:
        return settings.access_log
    if settings.database_url.startswith(SQLITE) and ":memory:" not in settings.database_url:
        return Path(settings.database_url.removeprefix(SQLITE) + ".access.jsonl")
    if settings.testing:
        return None
    raise SettingsError("Set WASHBELL_ACCESS_LOG to the file that keeps who looked at school data.")


def log_view(what: str, school: str | None = None, rows: int | None = None) -> None:
    """Write one line: who saw or exported what, of which school (its code), how many rows, when.

    It is written before the answer is made, and a log that cannot be written stops the answer.
    """
    path = state().access_log
    if path is None:
        return
    line = {
        "at": now().isoformat(timespec="seconds"),
        "person": getattr(current_user, "person_id", None),
        "role": g.get("acting_role", ""),
        "what": what,
        "school": school,
        "rows": rows,
        "request": g.get("request_ref", ""),
    }
    with path.open("a", encoding="utf-8") as log:
        log.write(json.dumps(line, ensure_ascii=True) + "\n")
