"""How days, instants and words are written on pages. Figures are printed by reports/printing.py, never here."""

from __future__ import annotations

import hashlib
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from flask import Flask, url_for

from tracker.cautions import caution_of
from tracker.reports import printing


def day(value: date | None) -> str:
    """A day with its month in words, or "not recorded"."""
    return printing.NOT_RECORDED if value is None else printing.day(value)


def short_day(value: date | None) -> str:
    """Weekday and day, short, or "not recorded"."""
    return printing.NOT_RECORDED if value is None else printing.short_day(value)


def moment(value: datetime | None, zone: str = "UTC") -> str:
    """An instant in a programme's zone, or "not recorded"."""
    return printing.NOT_RECORDED if value is None else printing.moment(value, zone)


def local_day(value: datetime, zone: str) -> date:
    """The day of an instant where the programme is.

    >>> from datetime import UTC
    >>> local_day(datetime(2026, 2, 3, 23, 30, tzinfo=UTC), "Africa/Nairobi")
    datetime.date(2026, 2, 4)
    """
    return value.astimezone(ZoneInfo(zone)).date()


def minutes(value: int) -> str:
    """Minutes after midnight as a time of day.

    >>> minutes(605)
    '10:05'
    """
    return f"{value // 60:02d}:{value % 60:02d}"


def asset(name: str) -> str:
    """The address of a static file with its content's hash, so that it may be cached for a year."""
    return url_for("static", filename=name, v=_digest(name))


@lru_cache(maxsize=64)
def _digest(name: str) -> str:
    path = Path(__file__).resolve().parent.parent / "static" / name
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]


def errors_of(*forms) -> list[tuple[str, str]]:
    """Every error of WTForms forms as (field id, sentence), in the order of the page."""
    return [(field.id, sentence) for form in forms for field in form for sentence in field.errors]


def init_app(app: Flask) -> None:
    """Make the filters known to templates."""
    app.jinja_env.filters.update(day=day, short_day=short_day, moment=moment, minutes=minutes, local_day=local_day)
    app.jinja_env.globals.update(asset=asset, errors_of=errors_of, caution_of=caution_of)
