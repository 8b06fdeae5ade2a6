"""Tables: one fact one row, dated; what must always hold is held by the database."""

from tracker.models import (
    agreements,
    audit,
    channels,
    disposal,
    evidence,
    outages,
    people,
    programme,
    publications,
    school,
    sessions,
    sheets,
    supplies,
    units,
    usage,
    water,
)

__all__ = [
    "agreements",
    "audit",
    "channels",
    "disposal",
    "evidence",
    "outages",
    "people",
    "programme",
    "publications",
    "school",
    "sessions",
    "sheets",
    "supplies",
    "units",
    "usage",
    "water",
]
