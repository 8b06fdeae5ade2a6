"""The CSV files of a report as a data package: a description of every file, its columns, types and units beside them.

Source: Data Package and Table Schema, Frictionless Data, version 1 (from memory): a resource is a path with a schema
of fields, each with a name and a type; ``missingValues`` says what stands for nothing.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from tracker.reports.export_csv import ABOUT, csv_files, file_name
from tracker.reports.report import Report

DESCRIPTION: Final = "datapackage.json"
NUMBER: Final = re.compile(r"-?\d+(\.\d+)?")
SMALL_COUNTS: Final = (
    "Counts of pupils and of supplies that they took are withheld where they are small, and others where they would "
    "give one away; a cell says so in the column beside it. Blank is never zero."
)


def package_files(report: Report) -> dict[str, str]:
    """Every CSV file of the report, and ``datapackage.json`` that describes them."""
    files = csv_files(report)
    return {**files, DESCRIPTION: json.dumps(described(report, files), ensure_ascii=False, indent=2) + "\n"}


def described(report: Report, files: dict[str, str]) -> dict[str, Any]:
    """The package's description as plain values."""
    titles = {file_name(table.key, "csv"): table.title for table in report.tables()}
    notes = {file_name(table.key, "csv"): table.note for table in report.tables()}
    return {
        "profile": "tabular-data-package",
        "name": re.sub(r"[^a-z0-9]+", "-", f"{report.programme} {report.term} {report.kind.value}".lower()).strip("-"),
        "title": f"{report.title}, {report.term}",
        "description": f"{SMALL_COUNTS} What the columns mean stands in {ABOUT}.",
        "version": report.code_version,
        "created": report.cutoff_at.isoformat(),
        "resources": [_resource(name, body, titles.get(name, ""), notes.get(name, "")) for name, body in files.items()],
    }


def _resource(name: str, body: str, title: str, note: str) -> dict[str, Any]:
    raw = body.encode()
    found = {
        "profile": "tabular-data-resource",
        "name": name.removesuffix(".csv").replace("_", "-").lower(),
        "path": name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(raw),
        "hash": "sha256:" + hashlib.sha256(raw).hexdigest(),
        "schema": _schema(body),
    }
    return {**found, **({"title": title} if title else {}), **({"description": note} if note else {})}


def _schema(body: str) -> dict[str, Any]:
    head, *rows = csv.reader(io.StringIO(body, newline=""))
    fields = [{"name": name, "type": kind_of([row[place] for row in rows])} for place, name in enumerate(head)]
    return {"fields": [field for field in fields if field["name"]], "missingValues": [""]}


def kind_of(cells: Sequence[str]) -> str:
    """The type of a column by its cells, blanks left out.

    >>> kind_of(["1", "", "2.5"]), kind_of(["2026-02-03"]), kind_of(["1", "not recorded"]), kind_of([""])
    ('number', 'date', 'string', 'string')
    """
    told = [cell for cell in cells if cell]
    if told and all(NUMBER.fullmatch(cell) for cell in told):
        return "number" if any("." in cell for cell in told) else "integer"
    return "date" if told and all(day_of(cell) for cell in told) else "string"


def day_of(cell: str) -> date | None:
    """The day of a cell, where it holds one and nothing else."""
    try:
        found = date.fromisoformat(cell)
    except ValueError:
        return None
    return found if found.isoformat() == cell else None
