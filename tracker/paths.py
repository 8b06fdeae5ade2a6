"""Where templates and the demo's files are: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent


def _find(name: str) -> Path:
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name


def templates() -> Path:
    """The folder of page templates."""
    return _find("templates")


def seed_data() -> Path:
    """The folder of the demo programme's CSV files."""
    return _find("seed_data")


def migrations() -> Path:
    """The folder of database migrations."""
    return PACKAGE / "migrations"


def typeset() -> Path:
    """The folder of what is set on paper: the report's layout, and the fonts that every PDF embeds."""
    return PACKAGE / "typeset"
