"""From a draft to a published version: the checks before it, what changed since the last, and what is stored.

A version is its content as canonical JSON (report, checks, changes), the hash of that text, and the bytes of its
files. It is read from those bytes only, so later edits of the records do not reach it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import ROUND_FLOOR, Decimal
from typing import Any, TypeAlias

from tracker.measures.figure import Figure
from tracker.records import heads, publications
from tracker.records.settings import setting
from tracker.reports import export, export_package, export_xlsx
from tracker.reports.checks import Check, look
from tracker.reports.leaving import protected
from tracker.reports.printing import DECIMALS, rounded
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


@dataclass(frozen=True, slots=True)
class PrintedPart:
    """What a school and week brought to a figure, in printed digits."""

    school: str
    week: date
    digits: Decimal


def adds_up(figure: Figure) -> bool:
    """Whether a figure is the sum of its parts by school and week."""
    if figure.value is None or not figure.parts:
        return False
    return abs(sum(part.value for part in figure.parts) - figure.value) <= 1e-6 * max(1.0, abs(figure.value))


def printed_parts(figure: Figure) -> tuple[PrintedPart, ...]:
    """The parts in digits that add up exactly to the printed figure.

    Each part is cut to the figure's decimals; what is then missing from the printed total goes, one last digit
    each, to the parts that lost most (largest remainders).

    Raises:
        ValueError: the figure is not the sum of its parts.

    >>> from tracker.measures.figure import Part
    >>> from tracker.vocabulary import Basis
    >>> parts = tuple(Part("S", date(2026, 1, d), 1.4) for d in (5, 12, 19))
    >>> [str(part.digits) for part in printed_parts(Figure(4.2, "visits", Basis.SAMPLED, parts=parts))]
    ['2', '1', '1']
    """
    if not adds_up(figure):
        raise ValueError("the figure is not the sum of its parts")
    decimals = DECIMALS.get(figure.unit, 0)
    step = Decimal(1).scaleb(-decimals)
    exact: dict[tuple[str, date], Decimal] = {}
    for part in figure.parts:
        exact[part.school, part.week] = exact.get((part.school, part.week), Decimal(0)) + Decimal(
            repr(float(part.value))
        )
    cut = {key: (value / step).to_integral_value(ROUND_FLOOR) * step for key, value in exact.items()}
    missing = int((rounded(float(figure.value or 0.0), decimals) - sum(cut.values())) / step)
    for key in sorted(exact, key=lambda key: (cut[key] - exact[key], key))[:missing]:
        cut[key] += step
    return tuple(PrintedPart(school, week, digits) for (school, week), digits in cut.items())


def contributions(report: Report) -> list[tuple[str, str, str, str]]:
    """(figure, school, week, digits) of every headline that adds up; nobody but the programme's officer opens them."""
    figures = {line.key: line.figure for line in report.lines()}  # a headline may stand in two sections
    return [
        (key, part.school, part.week.isoformat(), str(part.digits))
        for key, figure in figures.items()
        if adds_up(figure)
        for part in printed_parts(figure)
    ]


def stored_line(content: str, key: str) -> dict[str, Any]:
    """A headline as it stands in a version's stored content; empty where it has none of that key."""
    lines = [line for section in json.loads(content).get("report", {}).get("sections", []) for line in section["lines"]]
    return next((line for line in lines if line["key"] == key), {})


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
