"""The page of a published version: one whole HTML file with its own style, rendered once and kept as bytes."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import render_template
from flask_login import current_user
from markupsafe import Markup

STATIC = Path(__file__).resolve().parent.parent / "static"


@lru_cache(maxsize=1)
def style() -> str:
    """The style sheets of reports as one text."""
    return "\n".join((STATIC / name).read_text(encoding="utf-8") for name in ("washbell.css", "report.css"))


def page_of(made, programme, stamp: dict[str, Any], printers: dict[str, Any]) -> str:
    """Render a draft as the file that is published; ``stamp`` is its number, instant, reason and term."""
    return render_template(
        "reports/published.html",
        report=made.report,
        draft=made,
        programme=programme,
        stamp=stamp,
        approved_by=current_user.name,
        style=Markup(style()),  # noqa: S704 - our own style sheets
        links=None,
        **printers,
    )
