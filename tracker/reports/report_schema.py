"""The shape of ``report.json``: a JSON Schema (draft 2020-12) that every report and every published version keeps."""

from __future__ import annotations

from typing import Any, Final

from tracker.vocabulary import Basis, ReportKind, WorkPaper

NUMBER: Final = {"type": ["number", "null"]}
TEXT: Final = {"type": "string"}
DAY: Final = {"type": "string", "format": "date"}


def _object(fields: dict[str, Any], about: str = "", optional: tuple[str, ...] = ()) -> dict[str, Any]:
    required = sorted(set(fields) - set(optional))
    made: dict[str, Any] = {"type": "object", "properties": fields, "required": required}
    return {**made, "additionalProperties": False, **({"description": about} if about else {})}


def _list(items: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": items}


FIGURE: Final = _object(
    {
        "value": {**NUMBER, "description": "null: not recorded, or withheld; a blank is never 0"},
        "low": NUMBER,
        "high": NUMBER,
        "unit": TEXT,
        "basis": {"enum": [basis.value for basis in Basis]},
        "used": {"type": "integer", "description": "records that the figure rests on"},
        "expected": {"type": "integer", "description": "records that it should rest on; 0: not counted"},
        "records": TEXT,
        "note": TEXT,
        "withheld": {**TEXT, "description": "what stands in the place of a small count, else empty"},
        "printed": {**TEXT, "description": "the whole figure as people read it"},
    },
    "A number with all that must stand beside it.",
)
CELL: Final = {"anyOf": [{"$ref": "#/$defs/figure"}, NUMBER, TEXT]}
TABLE: Final = _object(
    {
        "key": TEXT,
        "title": TEXT,
        "columns": _list(_object({"key": TEXT, "heading": TEXT, "unit": TEXT})),
        "rows": _list(_list(CELL)),
        "note": TEXT,
        "empty": {**TEXT, "description": "what is said where there is no row"},
    }
)
LINE: Final = _object(
    {
        "key": {**TEXT, "description": "the same in every version and term"},
        "label": TEXT,
        "figure": {"$ref": "#/$defs/figure"},
        "last_term": {"anyOf": [{"$ref": "#/$defs/figure"}, {"type": "null"}]},
        "year_before": {"$ref": "#/$defs/figure", "description": "the same term last year; left out where none is"},
        "target": NUMBER,
        "target_side": {"enum": ["at least", "at most", None]},
        "target_verdict": {"type": ["string", "null"]},
        "target_words": {"type": ["string", "null"]},
        "target_set_at": {"anyOf": [DAY, {"type": "null"}]},
        "baseline": TEXT,
    },
    "A headline.",
    optional=("year_before",),
)
SECTION: Final = _object(
    {
        "key": TEXT,
        "title": TEXT,
        "intro": TEXT,
        "lines": _list({"$ref": "#/$defs/line"}),
        "tables": _list({"$ref": "#/$defs/table"}),
        "charts": _list(_object({"key": TEXT, "title": TEXT, "description": TEXT, "table": {"$ref": "#/$defs/table"}})),
        "cautions": _list(TEXT),
    }
)


def report_schema() -> dict[str, Any]:
    """The schema of a report's JSON; a published version holds such a report beside its checks and changes."""
    report = _object(
        {
            "kind": {"enum": [kind.value for kind in (*ReportKind, *WorkPaper)]},
            "title": TEXT,
            "programme": TEXT,
            "scope": {**TEXT, "description": "a school's code, or empty for the whole programme"},
            "term": TEXT,
            "first_day": DAY,
            "last_day": DAY,
            "term_last_day": DAY,
            "cutoff_at": {"type": "string", "format": "date-time"},
            "code_version": TEXT,
            "targets": _list(_object({"title": TEXT, "sentences": _list(TEXT)})),
            "sections": _list({"$ref": "#/$defs/section"}),
            "notes": _list(TEXT),
        }
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A report of one term",
        **report,
        "$defs": {"figure": FIGURE, "line": LINE, "table": TABLE, "section": SECTION},
    }
