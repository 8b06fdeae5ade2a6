"""The feed's description for those who build devices: an OpenAPI 3.1 document, made of the words that check packs."""

from __future__ import annotations

from typing import Any

from tracker import __version__
from tracker.intake import feed, senml

RECORD: dict[str, Any] = {
    "type": "object",
    "description": "A record of RFC 8428. Fields that begin with b are base values for the records that follow.",
    "properties": {
        "bn": {"type": "string", "description": "base name, put before each name"},
        "bt": {"type": "number", "description": "base time, added to each time"},
        "bu": {"type": "string", "description": "base unit, where a record has none"},
        "bv": {"type": "number", "description": "base value, added to each value"},
        "bver": {"type": "integer", "const": senml.VERSION},
        "n": {"type": "string", "description": "name; with the base name, the channel's name"},
        "u": {"type": "string", "description": "l or m3; kWh, Wh or J; count or none; / or %"},
        "v": {"type": "number", "description": "what a counter shows, or a level"},
        "vb": {"type": "boolean", "description": "whether the tank is low, or the unit out of use"},
        "t": {"type": "number", "description": "seconds since 1970 in UTC; with the base time, never relative to now"},
        "ut": {"type": "number", "description": "passed over"},
    },
}
PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "RFC 9457",
    "required": ["title", "status", "detail"],
    "properties": {
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "record": {"type": "integer", "description": "number of the record, from 0"},
        "problems": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["record", "name", "detail"],
                "properties": {
                    "record": {"type": "integer"},
                    "name": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}
ANSWERS = {
    400: "The body is not JSON, or a record cannot be read.",
    401: "The key is not known, or has ended.",
    413: "The body is larger than the server takes.",
    415: "The body has another media type.",
    422: "A record does not fit its channel, or a clock is wrong. Nothing of the pack was kept.",
    429: "Too many wrong keys from this address.",
}


def described() -> dict[str, Any]:
    """The document."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Readings from a school's devices",
            "version": __version__,
            "description": "Packs are taken whole or not at all. Late, repeated and out-of-order packs are welcome.",
        },
        "paths": {"/api/readings": {"post": _operation()}},
        "components": {
            "securitySchemes": {"key": {"type": "http", "scheme": "bearer"}},
            "schemas": {"Record": RECORD, "Problem": PROBLEM},
        },
    }


def _operation() -> dict[str, Any]:
    pack = {"type": "array", "minItems": 1, "maxItems": senml.MOST, "items": {"$ref": "#/components/schemas/Record"}}
    return {
        "summary": "Keep a pack of readings",
        "description": (
            f"A reading may be at most {round(feed.AHEAD.total_seconds() / 60)} minutes ahead of the server's clock. "
            "Of a counter, one row an hour is kept (vends: a day; long visits: a week), never a finer time."
        ),
        "security": [{"key": []}],
        "requestBody": {
            "required": True,
            "content": {media: {"schema": pack} for media in ("application/senml+json", "application/json")},
        },
        "responses": {
            "200": {
                "description": "All records were taken, or were on record already.",
                "content": {
                    "application/json": {
                        "schema": {
                            "type": "object",
                            "required": ["taken"],
                            "properties": {"taken": {"type": "integer"}},
                        }
                    }
                },
            },
            **{
                str(code): {
                    "description": text,
                    "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
                }
                for code, text in ANSWERS.items()
            },
        },
    }
