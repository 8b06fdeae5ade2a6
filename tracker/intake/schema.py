"""The exchange format as a data package description, and as the text of docs/exchange.md: both from the tables."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tracker.intake.folder_files import LARGEST_BYTES, MEBIBYTE
from tracker.intake.rows import header, link_columns
from tracker.intake.setup_apart import ALL_CLASHES, ALL_SINGLE
from tracker.intake.tables import BY_NAME, TABLES, Column, Table

TYPES = {
    "text": "string",
    "whole": "integer",
    "date": "date",
    "local_time": "datetime",
    "clock": "string",
    "yes_no": "boolean",
    "word": "string",
    "degrees": "number",
}
FORMATS = {"local_time": "%Y-%m-%dT%H:%M"}
CLOCK_PATTERN = "[0-9]{1,2}:[0-9]{2}"
WRITTEN = {
    "text": "text",
    "whole": "whole number",
    "date": "day (2026-02-03)",
    "local_time": "local time (2026-02-03T08:10)",
    "clock": "time of day (08:10)",
    "yes_no": "yes or no",
    "word": "one of",
    "degrees": "degrees (12.345678)",
}


def _own(table: Table) -> dict[str, Column]:
    return {column.name: column for column in table.columns}


def _field(table: Table, name: str) -> dict[str, Any]:
    column = _own(table).get(name)
    if column is None:
        needed = link_columns(table)[name]
        return {"name": name, "type": "string", "constraints": {"required": True} if needed else {}}
    field: dict[str, Any] = {"name": name, "type": TYPES[column.kind]}
    if column.kind in FORMATS:
        field["format"] = FORMATS[column.kind]
    if column.kind == "yes_no":
        field |= {"trueValues": ["yes"], "falseValues": ["no"]}
    if column.doc:
        field["description"] = column.doc
    field["constraints"] = _constraints(column)
    return field


def _constraints(column: Column) -> dict[str, Any]:
    found: dict[str, Any] = {"required": True} if column.required else {}
    if column.words is not None:
        found["enum"] = [str(word.value) for word in column.words]
    if column.length is not None:
        found["maxLength"] = column.length
    if column.low is not None:
        found["minimum"] = column.low
    if column.high is not None:
        found["maximum"] = column.high
    if column.kind == "clock":
        found["pattern"] = CLOCK_PATTERN
    return found


def _foreign_keys(table: Table) -> list[dict[str, Any]]:
    return [
        {
            "fields": list(link.columns),
            "reference": {"resource": link.target, "fields": list(BY_NAME[link.target].key)},
        }
        for link in table.links
    ]


def table_schema(table: Table) -> dict[str, Any]:
    """Fields, primary key and foreign keys of one file."""
    return {
        "fields": [_field(table, name) for name in header(table)],
        "missingValues": [""],
        "primaryKey": list(table.key),
        "foreignKeys": _foreign_keys(table),
    }


def datapackage(folder: Path) -> dict[str, Any]:
    """The description of a folder's files that are there, as ``datapackage.json`` holds it.

    A file that is not in the folder is left out; so is a foreign key to it, as a reader could not follow it.
    """
    there = [table for table in TABLES if (folder / f"{table.name}.csv").is_file()]
    names = {table.name for table in there}
    resources = []
    for table in there:
        schema = table_schema(table)
        schema["foreignKeys"] = [key for key in schema["foreignKeys"] if key["reference"]["resource"] in names]
        resources.append(
            {
                "name": table.name,
                "path": f"{table.name}.csv",
                "profile": "tabular-data-resource",
                "description": table.doc,
                "encoding": "utf-8",
                "schema": schema,
            }
        )
    return {"name": "washbell-records", "profile": "tabular-data-package", "resources": resources}


def datapackage_text(folder: Path) -> str:
    """The same as the text of the file."""
    return json.dumps(datapackage(folder), indent=1, ensure_ascii=False) + "\n"


OPENING = f"""# The exchange format

A folder of plain CSV files, one for each kind of record. `washbell load FOLDER` checks the folder whole and loads it
in one transaction: on any error nothing is loaded, and every error is listed with file, line, column, value and what
to do. Loading the same folder twice changes nothing. The demo in `seed_data/` is such a folder.

- Files are UTF-8 (a byte order mark is tolerated), with commas, one header line, one row a line. At most
  {LARGEST_BYTES // MEBIBYTE} MiB a file. Only `programme.csv` must be there.
- Every column of a file stands in its header, in any order. A blank cell is "not recorded", never zero.
- A number's unit is in its column's name: `_ml` millilitres, `_s` seconds, `_minor` the currency's minor unit,
  `_permille` thousandths, `_days`, `_hours`, `_deg`.
- A day is written 2026-02-03, a local time 2026-02-03T08:10 in the programme's zone. `from_day` is the first day on
  which something holds, `until_day` the last.
- A row is named by its key. A row that is on record with the same values is left alone; with other values it is
  refused, unless the load gives a correction reason (`--correct`), which is kept in the audit trail.
- A cell that begins with =, +, - or @ is refused as a formula, but for negative numbers where they make sense and
  telephone numbers.
- Where a check asks about a figure (docs/checks.md, "asks"), a text in the column `note` answers it.
- `week_sheets.csv` names the sheets that were sent. The facts of the coordinator (source `tally`, or no source) of
  that school and week belong to the sheet. Other figures for a sheet on record need a higher `version` there.
- Weeks, school days and, where none are given, the drawn breaks are derived when the folder is loaded.
- `README.md` and `datapackage.json` (the table schema, made from the same source as this page) may stand beside.
"""


def exchange_text() -> str:
    """The text of docs/exchange.md."""
    return OPENING + "".join(_section(table) for table in TABLES)


def _section(table: Table) -> str:
    lines = ["", f"## {table.name}.csv", "", table.doc, "", f"Key: {', '.join(f'`{name}`' for name in table.key)}."]
    for link in table.links:
        names, target = " + ".join(f"`{name}`" for name in link.columns), f"`{link.target}.csv`"
        lines.append(f"{names} names a row of {target}{'' if link.required else ', or is blank'}.")
    lines += ["", "| column | holds | must be filled | about |", "| --- | --- | --- | --- |"]
    lines += [_row(table, name) for name in header(table)]
    return "\n".join(lines) + "\n"


def _row(table: Table, name: str) -> str:
    column = _own(table).get(name)
    if column is None:
        return f"| `{name}` | code | {'yes' if link_columns(table)[name] else 'no'} | |"
    return f"| `{name}` | {_holds(column)} | {'yes' if column.required else 'no'} | {column.doc} |"


def _holds(column: Column) -> str:
    if column.words is not None:
        return "one of: " + ", ".join(str(word.value) for word in column.words)
    if column.kind == "text":
        return f"text, at most {column.length} characters"
    if column.kind == "whole" and column.low is not None:
        return f"whole number, {column.low} {'or more' if column.high is None else f'to {column.high}'}"
    return WRITTEN[column.kind]


CHECKS_OPENING = """# Checks of input

One checker for all ways in: what is refused in the week sheet is refused in a folder with the same sentence.
"refuses" cannot be settled by a note. "asks" asks once: a note in the row, or a confirmation, settles it, and the
question is kept beside the sheet. In a folder a table without a column `note` is loaded, and the question is listed.

## Cells

Every cell is checked for its kind, bounds, length and words as docs/exchange.md lists them (rule `readable`). In a
folder: codes stand in the folder or on record (`code_known`), nothing is said twice (`once`), rows on record keep
their values without a correction reason (`unchanged`), and a sheet on record takes other figures only as a higher
version (`version_raised`). What the database itself refuses although all checks passed is named `database`.

All errors of a folder are listed at once. Codes that may stand in a file, or a line, that could not be read are not
called unknown: the file that names them gets one sentence instead (`not_checked`). Rules about what happened look at
a school only where its set-up has no error; the others come with the next load.
"""


def checks_text() -> str:
    """The text of docs/checks.md."""
    from tracker.intake.rules import RULES

    lines = [CHECKS_OPENING, "## What happened", "", "| rule | looks at | does | says |", "| --- | --- | --- | --- |"]
    for rule in RULES:
        lines.append(_check(rule.name, rule.tables, "asks" if rule.soft else "refuses", rule.says))
    lines += ["", "## What stands where", "", "| rule | looks at | does | says |", "| --- | --- | --- | --- |"]
    for one in (*ALL_SINGLE, *ALL_CLASHES):
        lines.append(_check(one.name, one.tables, "refuses", one.says))
    return "\n".join(lines) + "\n"


def _check(name: str, tables: tuple[str, ...], does: str, says: str) -> str:
    return f"| `{name}` | {', '.join(tables)} | {does} | {says} |"
