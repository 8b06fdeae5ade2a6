"""What is wrong with input, where, and what to do: the same object for forms, folders, workbooks and feeds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    table: file or table of the exchange format. row: line in the file, or the number the form gave the row
    (0: the table as a whole). column: the column ("" for the row as a whole). value: what was typed, shortened.
    message: whole sentences that say what to do. soft: asks once, and is content with a note or a confirmation.
    rule: the rule of docs/checks.md. key: names a soft problem the same way when the row is sent again.
    """

    table: str
    row: int
    column: str
    value: str
    message: str
    soft: bool = False
    rule: str = ""
    key: str = ""


def shown(value: object) -> str:
    """A typed value as it is shown back: short, on one line, None as nothing.

    >>> shown("a\\nb")
    'a b'
    """
    line = "" if value is None else " ".join(str(value).split())
    return line if len(line) <= LONGEST_SHOWN else line[: LONGEST_SHOWN - 1] + "…"


def as_line(problem: Problem) -> str:
    """A problem as one line of text for the command line.

    >>> as_line(Problem("units", 3, "kind", "shed", "Write one of: cabin, tap."))
    'units.csv, line 3, column kind, "shed": Write one of: cabin, tap.'
    """
    place = [f"{problem.table}.csv" if problem.table else "folder"]
    if problem.row:
        place.append(f"line {problem.row}")
    if problem.column:
        place.append(f"column {problem.column}")
    if problem.value:
        place.append(f'"{problem.value}"')
    return f"{', '.join(place)}: {problem.message}"


def refusing(problems: Iterable[Problem]) -> list[Problem]:
    """Those that no note can settle."""
    return [problem for problem in problems if not problem.soft]
