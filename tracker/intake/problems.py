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

    def line_text(self) -> str:
        """The problem as one line of text, for the command line.

        >>> Problem("units", 3, "kind", "shed", "Write one of: cabin, tap.").line_text()
        'units.csv, line 3, column kind, "shed": Write one of: cabin, tap.'
        """
        place = [f"{self.table}.csv" if self.table else "folder"]
        if self.row:
            place.append(f"line {self.row}")
        if self.column:
            place.append(f"column {self.column}")
        if self.value:
            place.append(f'"{self.value}"')
        return f"{', '.join(place)}: {self.message}"


def shown(value: object) -> str:
    """A typed value as it is shown back: short, on one line, None as nothing.

    >>> shown("a\\nb")
    'a b'
    """
    line = "" if value is None else " ".join(str(value).split())
    return line if len(line) <= LONGEST_SHOWN else line[: LONGEST_SHOWN - 1] + "…"


def refusing(problems: Iterable[Problem]) -> list[Problem]:
    """Those that no note can settle."""
    return [problem for problem in problems if not problem.soft]
