"""From a draft to a published version: the checks before it, what changed since the last, and what is stored.

A version is its content as canonical JSON (report, checks, changes), the hash of that text, and the bytes of its
files. It is read from those bytes only, so later edits of the records do not reach it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeAlias

from tracker.records import heads, publications
from tracker.records.settings import setting
from tracker.reports import export, export_package, export_xlsx, opened
from tracker.reports.checks import Check, look
from tracker.reports.leaving import protected
from tracker.reports.report import Report
from tracker.reports.versions import Change, changed
from tracker.vocabulary import ReportKind

Session: TypeAlias = heads.Session

HTML_FILE, JSON_FILE, CSV_FILE, PDF_FILE = "report.html", "report.json", "report-csv.zip", "report.pdf"
XLSX_FILE = "report.xlsx"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
MARKS = ("<!-- the report begins -->", "<!-- the report ends -->")


@dataclass(frozen=True, slots=True)
class Draft:
    """What would be published now."""

    report: Report
    checks: tuple[Check, ...]
    changes: tuple[Change, ...]
    content: str
    content_hash: str

    @property
    def refused(self) -> bool:
        """Whether a failed check stands in the way."""
        return any(check.stops and not check.passed for check in self.checks)


@dataclass(frozen=True, slots=True)
class Approval:
    """Whose term is published, who publishes it, when, and why a version is replaced ("" for the first)."""

    programme_id: int
    term_id: int
    person_id: int
    at: datetime
    reason: str = ""


def draft(session: Session, programme_id: int, report: Report, old_content: str | None) -> Draft:
    """A report with its checks and what it changes; beside the version it replaces it gives no small count away.

    Args:
        old_content: the stored content of the version it would replace; None where there is none.
    """
    old = json.loads(old_content).get("report", {}) if old_content else None
    if report.unwithheld is not None and old is not None:
        threshold = setting(session, programme_id, "small_count_min", report.last_day)
        report = protected(report, threshold, old)
    checks = look(session, programme_id, report, old)
    changes = () if old is None else tuple(changed(old, export.content(report)))
    document = {
        "report": export.content(report),
        "checks": [asdict(check) for check in checks],
        "changes": [asdict(change) for change in changes],
    }
    text = export.canonical(document)
    return Draft(report, checks, changes, text, hashlib.sha256(text.encode()).hexdigest())


# --- parts --------------------------------------------------------------------------------------------------------


def contributions(report: Report) -> list[tuple[str, str, str, str]]:
    """(figure, school, week, digits) of every number that opens; nobody but the programme's officer opens them.

    A quotient has two figures, "key.numerator" and "key.denominator"; a week "" is the whole term.
    """
    return [
        (key, part.school, part.week.isoformat() if part.week else "", str(part.digits))
        for key, one in opened.stored(report)
        for part in one.parts
    ]


def stored_line(content: str, key: str) -> dict[str, Any]:
    """A headline as it stands in a version's stored content; empty where it has none of that key."""
    lines = [line for section in json.loads(content).get("report", {}).get("sections", []) for line in section["lines"]]
    name, _, place = key.partition(".")
    found: dict[str, Any] = next((line for line in lines if line["key"] == name), {})
    return found | {"label": f"{found['label']}, {place}"} if found and place else found


def sum_of(digits: Iterable[str]) -> str:
    """The exact sum of stored digits.

    >>> sum_of(["0.1", "0.2"])
    '0.3'
    """
    return str(sum((Decimal(one) for one in digits), Decimal(0)))


# --- storing ------------------------------------------------------------------------------------------------------


def files(made: Draft, page: str, paper: bytes = b"") -> dict[str, tuple[str, bytes]]:
    """The files of a version: name → media type and bytes. ``paper``: its PDF (none: it has no such file)."""
    csv = export.zipped(export_package.package_files(made.report))
    found = {
        HTML_FILE: ("text/html; charset=utf-8", page.encode()),
        JSON_FILE: ("application/json", made.content.encode()),
        CSV_FILE: ("application/zip", csv),
        XLSX_FILE: (XLSX_TYPE, export_xlsx.workbook(made.report)),
    }
    return found | ({PDF_FILE: ("application/pdf", paper)} if paper else {})


def publish(session: Session, made: Draft, page: str, approval: Approval, paper: bytes = b"") -> int:
    """Store a draft as the next version and give its id; the caller commits.

    Raises:
        ValueError: a check refuses it, or it replaces a version without a reason.
    """
    if made.refused:
        raise ValueError("A check stands in the way. Look at the list of checks.")
    new = publications.NewVersion(
        programme_id=approval.programme_id,
        term_id=approval.term_id,
        kind=ReportKind(made.report.kind),  # a paper of the day's work is no document to publish
        scope=made.report.scope,
        cutoff_at=made.report.cutoff_at,
        published_at=approval.at,
        code_version=made.report.code_version,
        content=made.content,
        content_hash=made.content_hash,
        approved_by_id=approval.person_id,
        reason=approval.reason,
    )
    return publications.add(session, new, files(made, page, paper), contributions(made.report)).id


def body_of(page: bytes) -> str:
    """The part of a stored page between its marks, to be shown inside the application's frame.

    Raises:
        ValueError: the page has no marks.
    """
    text = page.decode()
    start, end = MARKS
    if start not in text or end not in text:
        raise ValueError("the stored page has no marks")
    return text.split(start, 1)[1].split(end, 1)[0]
