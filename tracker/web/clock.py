"""The only clock of the web layer. Nothing below the web reads one; the demo hands in its own."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from tracker.web.state import state


def now() -> datetime:
    """This instant, aware, in UTC."""
    return state().now()


def today(zone: str) -> date:
    """The calendar day it is now in a programme's zone."""
    return now().astimezone(ZoneInfo(zone)).date()
