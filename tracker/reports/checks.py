"""The looks before publishing: complete, accepted, answered, in time, and nothing that points at a few people."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from tracker.measures.disclosure import MIN_BASE, THRESHOLD, is_small
from tracker.measures.figure import Figure
from tracker.records import heads, publications
from tracker.records.settings import setting
from tracker.reports.leaving import given_away
from tracker.reports.people_numbers import PEOPLE_RECORDS, PEOPLE_UNITS
from tracker.reports.printing import day, number, print_figure
from tracker.reports.report import Cell, Column, Report
from tracker.vocabulary import SheetState

Session: TypeAlias = heads.Session


RECORDS_AGREE: Final = "records_agree"  # the table in which a report lists its checks of records against themselves
METERS_AGREE: Final = "Meters against the litres worked out: the difference is within its uncertainty"


@dataclass(frozen=True, slots=True)
class Check:
    """One look before publishing. ``passed`` False is listed with the report; ``stops`` refuses to publish."""

    title: str
    passed: bool
    words: str
    stops: bool = False


def look(
    session: Session, programme_id: int, report: Report, old: Mapping[str, Any] | None = None
) -> tuple[Check, ...]:
    """Every check with its result, in the order in which they are listed.

    Args:
        old: the stored report content of the version that it would replace.
    """
    span = (programme_id, report.first_day, report.last_day)
    threshold = setting(session, programme_id, "small_count_min", report.last_day)
    return (
        _ended(report),
        _completeness(report),
        _sheets(publications.sheet_counts(session, *span)),
        _queries(publications.open_queries(session, *span)),
        _meters(report),
        _agree(report),
        _targets(report),
        _small_counts(report, threshold),
        _worked_out(report, threshold, old),
        _bases(report),
    )


def _ended(report: Report) -> Check:
    over = report.last_day >= report.term_last_day
    words = "The term has ended." if over else f"The term runs to {day(report.term_last_day)}; the numbers will grow."
    return Check("Term", over, words)


def _figure_of(report: Report, key: str) -> Figure | None:
    return next((line.figure for line in report.lines() if line.key == key), None)


def _completeness(report: Report) -> Check:
    figure = _figure_of(report, "completeness_share")
    if figure is None or not figure.expected:
        return Check("Completeness", False, "How many week sheets were received is not recorded.")
    missing = figure.expected - figure.used
    words = f"{number(figure.used)} of {number(figure.expected)} week sheets were received."
    return Check("Completeness", missing == 0, words + ("" if missing == 0 else " The missing ones are not filled in."))


def _sheets(counts: Mapping[SheetState, int]) -> Check:
    waiting = counts[SheetState.SENT] + counts[SheetState.QUERIED]
    if not waiting:
        return Check("Sheets accepted", True, "Every sheet that was sent is accepted.")
    return Check("Sheets accepted", False, f"Sheets sent and not yet accepted: {number(waiting)}. They are counted.")


def _queries(count: int) -> Check:
    if not count:
        return Check("Queries", True, "No query is open.")
    return Check("Queries", False, f"Queries still open: {number(count)}.")


def _meters(report: Report) -> Check:
    figure = _figure_of(report, "unexplained_water_l")
    if figure is not None and figure.value is not None:
        outside = figure.low is not None and figure.high is not None and not figure.low <= 0 <= figure.high
        words = f"Metered less modelled water: {print_figure(figure).sentence}."
        return Check("Meters", not outside, words + (" The uncertainty does not explain it." if outside else ""))
    said = next((cell for cell in _sentences(report) if cell.startswith("Meters: ")), "")
    counts = re.findall(r"\d+", said)
    if len(counts) < 2 or counts[1] == "0":
        return Check("Meters", False, "No meter could be set against the model.")
    return Check("Meters", counts[0] == counts[1], said.removeprefix("Meters: "))


def _agree(report: Report) -> Check:
    """What the checks of records against themselves found, as the report lists them."""
    table = next((table for table in report.tables() if table.key == RECORDS_AGREE), None)
    rows = [] if table is None else [row for row in table.rows if row[0] != METERS_AGREE]
    if not any(row[2] for row in rows):
        return Check("Records agree", False, "The records could not be checked against themselves.")
    found = [f"{row[0]} ({row[1]}): {number(row[4])}" for row in rows if isinstance(row[4], int) and row[4]]
    if not found:
        return Check("Records agree", True, "No check of the records against themselves found anything.")
    return Check("Records agree", False, f"To look into, by check: {'; '.join(found)}.")


def _sentences(report: Report) -> Iterator[str]:
    for table in report.tables():
        if len(table.columns) == 1:
            yield from (row[0] for row in table.rows if isinstance(row[0], str))


def _targets(report: Report) -> Check:
    lines = [line for line in report.lines() if line.target is not None]
    late = [line.label for line in lines if line.target_set_at is None or line.target_set_at > report.first_day]
    if not lines:
        return Check("Targets", False, "No target was set for this term.")
    if late:
        return Check("Targets", False, f"Set after the term began: {'; '.join(late)}.")
    return Check("Targets", True, "Every target was set before the term or on its first day.")


def _small_counts(report: Report, threshold: int) -> Check:
    found = sorted(set(small_counts(report, threshold)))
    if not found:
        words = f"No count about people from 1 to {threshold - 1} would leave."
        return Check("Small counts", True, words, stops=True)
    words = f"Counts about people below {threshold} would leave: {'; '.join(found)}. The report cannot be published."
    return Check("Small counts", False, words, stops=True)


def _worked_out(report: Report, threshold: int, old: Mapping[str, Any] | None) -> Check:
    beside = "" if old is None else ", also beside the version before"
    found = len(given_away(report, threshold, old))
    if not found:
        words = f"No count from 1 to {threshold - 1} can be worked out from sums{beside}."
        return Check("Sums", True, words, stops=True)
    words = f"Small counts that can be worked out from sums{beside}: {number(found)}. The report cannot be published."
    return Check("Sums", False, words, stops=True)


def small_counts(report: Report, threshold: int = THRESHOLD) -> Iterator[str]:
    """Where a count about people below the threshold stands in a report, headlines and tables alike."""
    for line in report.lines():
        for figure in (line.figure, line.last_term, line.year_before):
            if figure is not None and _is_small_figure(figure, threshold):
                yield line.label
    for table in report.tables():
        for row in table.rows:
            for cell, column in zip(row, table.columns, strict=True):
                if _is_small_cell(cell, column, threshold):
                    yield f"{table.title}, {column.heading}"


def _is_small_figure(figure: Figure, threshold: int) -> bool:
    if not figure.about_people or figure.unit == "share":
        return False
    return any(is_small(end, threshold) for end in (figure.value, figure.low, figure.high) if end is not None)


def _is_small_cell(cell: Cell, column: Column, threshold: int) -> bool:
    if isinstance(cell, Figure):
        return _is_small_figure(cell, threshold)
    counted = isinstance(cell, int | float) and column.unit in PEOPLE_UNITS
    return counted and is_small(float(cell), threshold)  # type: ignore[arg-type]


def _bases(report: Report) -> Check:
    people, others = (sorted(set(thin_shares(report, about_people=about))) for about in (True, False))
    if people:
        words = f"Percentages of fewer than {MIN_BASE} people: {'; '.join(people)}. The report cannot be published."
        return Check("Percentages", False, words, stops=True)
    if others:
        return Check("Percentages", False, f"Percentages on a base under {MIN_BASE}: {'; '.join(others)}.")
    return Check("Percentages", True, f"No percentage stands on a base under {MIN_BASE}.")


def thin_shares(report: Report, *, about_people: bool) -> Iterator[str]:
    """Where a percentage of people, or of anything else, stands on fewer than 20."""
    for line in report.lines():
        for figure in (line.figure, line.last_term, line.year_before):
            if figure is not None and _is_thin(figure, about_people):
                yield line.label
    for table in report.tables():
        for row in table.rows:
            for cell, column in zip(row, table.columns, strict=True):
                if isinstance(cell, Figure) and _is_thin(cell, about_people):
                    yield f"{table.title}, {column.heading}"


def _is_thin(figure: Figure, about_people: bool) -> bool:
    if figure.unit != "share" or figure.value is None or figure.about_people is not about_people:
        return False
    if about_people and figure.records not in PEOPLE_RECORDS:
        return False  # its records are not what it is a share of; small parts and wholes are hidden themselves
    return figure.used < MIN_BASE and (figure.expected > 0 or about_people)
