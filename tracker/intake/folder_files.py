"""Files of a folder become rows of text: sizes, encoding, header and shape are checked here, cells later."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.intake.problems import Problem, shown
from tracker.intake.rows import header
from tracker.intake.tables import BY_NAME, TABLES, Table

LARGEST_BYTES = 20 * 1024 * 1024
OTHER_FILES = frozenset({"README.md", "datapackage.json"})
LONGEST_CELL = 10_000
MEBIBYTE = 1024 * 1024


@dataclass(frozen=True, slots=True)
class FileText:
    """One file as it was read: its rows as (line, cells in the order of ``columns``), and the hash of its bytes."""

    table: Table
    sha256: str
    columns: tuple[str, ...]
    rows: Sequence[tuple[int, list[str]]]


def read_files(folder: Path) -> tuple[dict[str, FileText], list[Problem]]:
    """Every file of a folder by table name, and what is wrong with files as a whole.

    A file that is too large, wrongly encoded or has a wrong header gives problems and no rows.
    """
    files: dict[str, FileText] = {}
    problems: list[Problem] = []
    if not folder.is_dir():
        return {}, [Problem("", 0, "", shown(folder.name), "There is no such folder. Name the folder of CSV files.")]
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or path.name in OTHER_FILES:
            continue
        table = BY_NAME.get(path.stem) if path.suffix == ".csv" and path.is_file() else None
        if table is None:
            known = "docs/exchange.md lists the names of the files."
            problems.append(Problem("", 0, "", shown(path.name), f"This file is not known. Take it out; {known}"))
            continue
        text, wrong = _read(path, table)
        problems += wrong
        if text is not None:
            files[table.name] = text
    if "programme" not in files and not any(one.table == "programme" for one in problems):
        problems.append(Problem("programme", 0, "", "", "The file programme.csv is missing. Add it with one row."))
    return {table.name: files[table.name] for table in TABLES if table.name in files}, problems


def _read(path: Path, table: Table) -> tuple[FileText | None, list[Problem]]:
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        message = (
            f"This file has {size / MEBIBYTE:.0f} MiB; at most {LARGEST_BYTES // MEBIBYTE} MiB are read. "
            "Split it over several loads, for example one term each."
        )
        return None, [Problem(table.name, 0, "", "", message)]
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return None, [_wrong_encoding(table, data, error)]
    if not text.strip():
        message = f"This file is empty. Write the header line: {','.join(header(table))}."
        return None, [Problem(table.name, 0, "", "", message)]
    try:
        lines = list(_records(text))
    except csv.Error:
        message = "This file cannot be read as CSV. Save it again as CSV, UTF-8, with commas."
        return None, [Problem(table.name, 0, "", "", message)]
    columns = tuple(cell.strip() for cell in lines[0][1])
    wrong = list(_header_problems(table, lines[0][0], columns))
    if wrong:
        return None, wrong
    rows = lines[1:]
    wrong = [_wrong_width(table, line, cells, columns) for line, cells in rows if len(cells) != len(columns)]
    good = [(line, cells) for line, cells in rows if len(cells) == len(columns)]
    return FileText(table, hashlib.sha256(data).hexdigest(), columns, good), wrong


def _records(text: str) -> Iterator[tuple[int, list[str]]]:
    """Records with the line on which each begins; blank lines are passed over."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    line = 1
    for cells in reader:
        if any(len(cell) > LONGEST_CELL for cell in cells):
            raise csv.Error("a cell is too long: a quote is open")
        if any(cell.strip() for cell in cells):
            yield line, cells
        line = reader.line_num + 1


def _wrong_encoding(table: Table, data: bytes, error: UnicodeDecodeError) -> Problem:
    line = data.count(b"\n", 0, error.start) + 1
    message = "This line is not UTF-8. Save the file again as CSV with the encoding UTF-8."
    begin = data.rfind(b"\n", 0, error.start) + 1
    piece = data[begin : error.start + 20].split(b"\n")[0].decode("utf-8", "replace")
    return Problem(table.name, line, "", shown(piece), message)


def _header_problems(table: Table, line: int, columns: Sequence[str]) -> Iterator[Problem]:
    wanted = header(table)
    for name in dict.fromkeys(columns):
        if columns.count(name) > 1:
            yield Problem(table.name, line, shown(name), "", "This column comes twice. Keep one of them.")
        if name not in wanted:
            message = f"This column is not known. Take it out; the columns are {', '.join(wanted)}."
            yield Problem(table.name, line, shown(name), "", message)
    for name in wanted:
        if name not in columns:
            yield Problem(
                table.name, line, name, "", "This column is missing. Add it; its cells may be blank if optional."
            )


def _wrong_width(table: Table, line: int, cells: Sequence[str], columns: Sequence[str]) -> Problem:
    message = (
        f"This line has {len(cells)} cells, the header has {len(columns)}. "
        "Write one cell for each column; put texts with commas in quotes."
    )
    return Problem(table.name, line, "", shown(",".join(cells)), message)
