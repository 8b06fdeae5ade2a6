"""The pages that the demo is written on: rows by table, dice that never change, and the writing of files."""

from __future__ import annotations

import csv
import random
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TypeVar

from tracker.intake.schema import datapackage_text
from tracker.intake.tables import BY_NAME, TABLES, Table

Cell = str | int | bool | date | datetime | None
Item = TypeVar("Item")


class Dice:
    """Chance that falls the same way on every Python: built on ``random()`` and plain arithmetic alone."""

    def __init__(self, *seed: object) -> None:
        self._random = random.Random("|".join(map(str, seed)))  # noqa: S311 - made-up data, no secret

    def share(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number between the limits."""
        return low + (high - low) * self._random.random()

    def whole(self, low: int, high: int) -> int:
        """A whole number, both limits included."""
        return low + int(self._random.random() * (high - low + 1))

    def chance(self, probability: float) -> bool:
        """True with the probability."""
        return self._random.random() < probability

    def pick(self, items: Sequence[Item]) -> Item:
        """One of the items."""
        return items[int(self._random.random() * len(items))]

    def near(self, mean: float, spread: float = 0.12) -> int:
        """A whole number around a mean, at least 0; ``spread`` is relative."""
        wobble = sum(self._random.random() for _ in range(4)) / 2 - 1  # -1 to 1, most often near 0
        return max(0, int(mean * (1 + 2 * spread * wobble) + self._random.random()))


def share_out(total: int, weights: Sequence[float]) -> list[int]:
    """Whole shares of a total by weights, adding up to it; all zero where there is no weight."""
    base = sum(weights)
    if base <= 0:
        return [0] * len(weights)
    exact = [total * weight / base for weight in weights]
    shares = [int(part) for part in exact]
    order = sorted(range(len(weights)), key=lambda place: (shares[place] - exact[place], place))
    for place in order[: total - sum(shares)]:
        shares[place] += 1
    return shares


def columns(table: Table) -> list[str]:
    """The columns of a table's file: its key first, then links, then the rest."""
    names = [*table.key, *(name for link in table.links for name in link.columns), *(c.name for c in table.columns)]
    return list(dict.fromkeys(names))


class Book:
    """Rows by table, in the order in which they were written."""

    def __init__(self) -> None:
        self.rows: dict[str, list[dict[str, Cell]]] = {table.name: [] for table in TABLES}
        self._columns = {table.name: columns(table) for table in TABLES}

    def add(self, table: str, row: Mapping[str, Cell]) -> None:
        """Write one row; a column that the table does not have is an error."""
        unknown = [name for name in row if name not in self._columns[table]]
        if unknown:
            raise KeyError(f"{table} has no column {', '.join(unknown)}")
        self.rows[table].append(dict(row))

    def write(self, folder: Path) -> None:
        """One CSV file per table, UTF-8, comma, line feed; and the description of the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, rows in self.rows.items():
            with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow(self._columns[name])
                writer.writerows([_text(row.get(column)) for column in self._columns[name]] for row in rows)
        (folder / "datapackage.json").write_text(datapackage_text(folder), encoding="utf-8")

    def keys(self, name: str) -> list[tuple[Cell, ...]]:
        """The key of each row of a table."""
        return [tuple(row.get(column) for column in BY_NAME[name].key) for row in self.rows[name]]


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return f"{cell:%Y-%m-%dT%H:%M}"
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def clock(minute: int) -> str:
    """Minutes after midnight as a time of day."""
    return f"{minute // 60:02d}:{minute % 60:02d}"
